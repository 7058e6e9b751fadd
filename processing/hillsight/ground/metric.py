"""Choice of the metric grid that a terrain is worked on, and whether a grid is fit for a place."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyproj
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import PolarStereographicAConversion, UTMConversion

from hillsight.errors import CallError, TerrainError
from hillsight.ground.crs import from_own_degrees, horizontal_crs, is_metric, own_degrees, parse_crs
from hillsight.ground.transform import within
from hillsight.words.angles import signed_deg
from hillsight.words.quantities import per_cent

if TYPE_CHECKING:
    from hillsight.arrays import Floats

# UTM is defined from 80 S to 84 N (from memory); beyond, the universal polar stereographic grids.
_UTM_SOUTH_DEG, _UTM_NORTH_DEG = -80.0, 84.0
#: Beyond this, plane distances on a grid are no distances on the ground: a file on it is warped, a grid asked
#: for is refused. Beyond the lesser share a note says so. Our choice, no source.
MOST_SCALE_ERROR, TOLD_SCALE_ERROR = 0.01, 0.002
#: A place must come back from longitude and latitude as near as this.
_ROUND_TRIP_M = 1e-3
_STEP_M = 50.0  # half the length of the plane pieces that are measured on the ellipsoid


def named_grid(text: str) -> pyproj.CRS:
    """The metric CRS that the user named.

    Raises
    ------
    CallError : not a CRS, not projected, or not in metres
    """
    flat = horizontal_crs(parse_crs(text, "the working grid", ("grid_crs",)))
    if not is_metric(flat):
        raise CallError(
            f"the working grid {text!r} ({flat.name}) is not a projected CRS in metres",
            remedy="Name one that is, such as a UTM zone, or leave it out",
            parameters=("grid_crs",),
        )
    return flat


def local_grid(crs: pyproj.CRS, longitude: float, latitude: float) -> pyproj.CRS:
    """Metric grid for a place: UTM, or the polar grid, on the terrain's own datum.

    Staying on the datum keeps the warp free of any datum shift. A datum known only by its shift to WGS 84, or
    one that counts from another meridian than Greenwich, is left for WGS 84.

    longitude, latitude : degrees, WGS 84
    """
    base = crs.geodetic_crs
    if base is None or crs.is_bound or base.prime_meridian is None or base.prime_meridian.longitude != 0:
        base = pyproj.CRS.from_epsg(4326)
    longitude = float(signed_deg(longitude))
    if not _UTM_SOUTH_DEG <= latitude < _UTM_NORTH_DEG:
        side = "North" if latitude > 0 else "South"
        if base.to_2d().equals(pyproj.CRS.from_epsg(4326), ignore_axis_order=True):
            return pyproj.CRS.from_epsg(5041 if latitude > 0 else 5042)
        pole = PolarStereographicAConversion(
            latitude_natural_origin=90.0 if latitude > 0 else -90.0,
            scale_factor_natural_origin=0.994,
            false_easting=2_000_000,
            false_northing=2_000_000,
        )
        return ProjectedCRS(pole, name=f"{base.name} / UPS {side}", geodetic_crs=base.to_2d())
    zone = f"{int((longitude + 180) // 6) + 1}{'N' if latitude >= 0 else 'S'}"
    wanted = f"{base.name} / UTM zone {zone}"
    for entry in pyproj.database.query_utm_crs_info(datum_name=base.name):
        if entry.name == wanted:
            found = pyproj.CRS.from_authority(entry.auth_name, entry.code)
            if found.geodetic_crs is not None and found.geodetic_crs.to_2d().equals(
                base.to_2d(), ignore_axis_order=True
            ):
                return found
    return ProjectedCRS(UTMConversion(zone[:-1], zone[-1]), name=wanted, geodetic_crs=base.to_2d())


def scale_error(crs: pyproj.CRS, easting_m: Floats, northing_m: Floats) -> Floats:
    """Largest relative error, in any direction, of plane distances at places on a projected CRS in metres.

    Found by measuring plane pieces of 100 m along the ellipsoid's geodesics: lengths along both axes and both
    diagonals give the ellipse of distortion (Tissot's indicatrix).

    Parameters
    ----------
    easting_m, northing_m : (n,) metres

    Returns
    -------
    (n,) plane length over ground length, less 1, with the largest size; infinite where there is no place
    """
    x, y = np.atleast_1d(np.asarray(easting_m, np.float64)), np.atleast_1d(np.asarray(northing_m, np.float64))
    east, north, rising, falling = (
        _ground_m(crs, x, y, right, up) ** 2 for right, up in ((1, 0), (0, 1), (1, 1), (1, -1))
    )
    mixed = (rising - falling) / 4.0
    with np.errstate(invalid="ignore"):
        middle, apart = (east + north) / 2.0, np.hypot((east - north) / 2.0, mixed)
        axes_m = np.sqrt(np.maximum(np.stack([middle + apart, middle - apart]), 1e-6))
        errors = 2 * _STEP_M / axes_m - 1.0
        worst = np.take_along_axis(errors, np.abs(errors).argmax(axis=0)[None], axis=0)[0]
    return np.where(np.isfinite(worst), worst, np.inf)


def _ground_m(crs: pyproj.CRS, x: Floats, y: Floats, right: int, up: int) -> Floats:
    """Length on the ellipsoid of plane pieces through places, a step to either side along a direction."""
    geod = crs.get_geod()
    if geod is None:
        return np.full(x.shape, np.nan)
    start = own_degrees(crs, x - right * _STEP_M, y - up * _STEP_M)
    end = own_degrees(crs, x + right * _STEP_M, y + up * _STEP_M)
    good = np.isfinite([*start, *end]).all(axis=0)
    from_x, from_y, to_x, to_y = (np.where(good, v, 0.0) for v in (*start, *end))
    return np.where(good, geod.inv(from_x, from_y, to_x, to_y)[2], np.nan)


def comes_back(crs: pyproj.CRS, easting_m: Floats, northing_m: Floats) -> bool:
    """Whether places on a projected CRS are the same again, to 1 mm, by way of longitude and latitude."""
    again = from_own_degrees(crs, *own_degrees(crs, easting_m, northing_m))
    away_m = np.hypot(again[0] - easting_m, again[1] - northing_m)
    return bool((away_m <= _ROUND_TRIP_M).all())  # NaN and infinity are not


def check_plane(crs: pyproj.CRS, easting_m: Floats, northing_m: Floats, where: str, remedy: str) -> float:
    """Hold that distances and places on a grid are true enough at places; gives the worst scale error.

    Raises
    ------
    TerrainError : off by over 1 %, or a place that does not come back to 1 mm
    """
    errors = scale_error(crs, easting_m, northing_m)
    worst = int(np.abs(errors).argmax())
    here = f"at E {easting_m[worst]:.0f} N {northing_m[worst]:.0f}"
    if not np.isfinite(errors[worst]) or not comes_back(crs, easting_m, northing_m):
        raise TerrainError(
            f"{crs.name} does not reach so far: places {here} do not come back from longitude and latitude",
            where=where,
            remedy=remedy,
            parameters=("grid_crs",),
        )
    if abs(errors[worst]) > MOST_SCALE_ERROR:
        raise TerrainError(
            f"distances on {crs.name} are off by {per_cent(abs(errors[worst]))} {here}: 500 m on it are "
            f"{500 / (1 + errors[worst]):.0f} m on the ground",
            where=where,
            remedy=remedy,
            parameters=("grid_crs",),
        )
    return float(errors[worst])


def plane_notes(crs: pyproj.CRS, near: tuple[float, float], error: float) -> tuple[str, ...]:
    """What to know of a grid at a longitude and latitude: off its area of use, scale off by over 0.2 %."""
    notes: tuple[str, ...] = ()
    area = crs.area_of_use
    if area is not None and not within(area.bounds, near):
        notes += (f"{crs.name} is meant for {area.name.rstrip('.')}: the work lies outside it.",)
    if abs(error) > TOLD_SCALE_ERROR:
        longer = "longer" if error > 0 else "shorter"
        notes += (
            f"Plane distances on {crs.name} are {per_cent(abs(error), 1)} {longer} here than on the ground.",
        )
    return notes
