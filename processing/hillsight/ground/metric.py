"""Choice of the metric grid that a terrain is worked on, and the way from it back to the terrain's cells."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyproj
from pyproj.aoi import AreaOfInterest
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import PolarStereographicAConversion, UTMConversion
from pyproj.enums import TransformDirection
from pyproj.exceptions import ProjError
from pyproj.transformer import TransformerGroup

from hillsight.errors import TerrainError
from hillsight.ground.raster import tidy

if TYPE_CHECKING:
    from hillsight.arrays import Floats

# UTM is defined from 80 S to 84 N (from memory); beyond, the universal polar stereographic grids.
_UTM_SOUTH_DEG, _UTM_NORTH_DEG = -80.0, 84.0
# Beyond this, plane distances on the file's own grid are no distances on the ground (our choice, no source).
MOST_SCALE_ERROR = 0.02


@dataclass(frozen=True)
class Operation:
    """A single coordinate operation from the terrain's CRS to the metric one, the same at every point.

    description, accuracy_m : PROJ's words and figure; None where PROJ gives none
    missing : grids that a better operation would need and that are not installed
    """

    transformer: pyproj.Transformer
    description: str
    accuracy_m: float | None
    missing: tuple[str, ...]

    def forward(self, x: Floats, y: Floats) -> tuple[Floats, ...]:
        """Terrain CRS to metric grid, x east and y north; infinite where there is no answer."""
        return tuple(np.asarray(v, float) for v in self.transformer.transform(x, y))

    def backward(self, x: Floats, y: Floats) -> tuple[Floats, ...]:
        """Metric grid to terrain CRS."""
        answer = self.transformer.transform(x, y, direction=TransformDirection.INVERSE)
        return tuple(np.asarray(v, float) for v in answer)


def horizontal_part(crs: pyproj.CRS, where: str) -> pyproj.CRS:
    """The CRS without its vertical part, so that nothing ever changes a height on the way.

    Raises
    ------
    TerrainError : neither geographic nor projected, or with axes that do not run east and north
    """
    flat = (
        tidy(crs.sub_crs_list[0]) if crs.is_compound else tidy(crs.to_2d()) if len(crs.axis_info) > 2 else crs
    )
    if not (flat.is_geographic or flat.is_projected):
        raise TerrainError(
            f"its CRS {flat.name!r} is neither geographic nor projected, so it has no place on the Earth",
            where=where,
            remedy="State the right one with --terrain-crs",
        )
    directions = {axis.direction.lower() for axis in flat.axis_info}
    if "west" in directions or (flat.is_projected and directions == {"south", "west"}):
        raise TerrainError(
            f"the axes of its CRS {flat.name!r} run west or south",
            where=where,
            remedy="Warp the file to a CRS with eastings and northings, or state one with --terrain-crs",
        )
    return flat


def vertical_axis(crs: pyproj.CRS, where: str) -> tuple[str, float] | None:
    """Name and length in metres of the unit of a CRS's vertical axis; None if it has none.

    Raises
    ------
    TerrainError : the axis counts downwards
    """
    axes = crs.sub_crs_list[-1].axis_info if crs.is_compound else crs.axis_info[2:]
    if not axes:
        return None
    if axes[0].direction.lower() == "down":
        raise TerrainError(
            f"its vertical CRS counts depths downwards ({crs.name})",
            where=where,
            remedy="Give heights, not depths",
        )
    return axes[0].unit_name, float(axes[0].unit_conversion_factor)


def is_metric(crs: pyproj.CRS) -> bool:
    """Projected, and in metres."""
    return bool(crs.is_projected) and all(abs(a.unit_conversion_factor - 1) < 1e-12 for a in crs.axis_info)


def named_grid(text: str) -> pyproj.CRS:
    """The metric CRS that the user named.

    Raises
    ------
    TerrainError : not a CRS, not projected, or not in metres
    """
    crs = named_crs(text, "--grid-crs")
    flat = horizontal_part(crs, f"--grid-crs {text}")
    if not is_metric(flat):
        raise TerrainError(
            f"{flat.name!r} is not a projected CRS in metres",
            where=f"--grid-crs {text}",
            remedy="Name one that is, such as a UTM zone, or leave it out",
        )
    return flat


def named_crs(text: str, option: str) -> pyproj.CRS:
    """A CRS as the user names it: a code, WKT or PROJ text."""
    try:
        return pyproj.CRS.from_user_input(text)
    except ProjError as fault:
        raise TerrainError(
            f"{text!r} is not a coordinate reference system that PROJ knows",
            where=option,
            remedy="Give a code such as EPSG:27700, or WKT",
        ) from fault


def local_grid(crs: pyproj.CRS, longitude: float, latitude: float) -> pyproj.CRS:
    """Metric grid for a place: UTM, or the polar grid, on the terrain's own datum.

    Staying on the datum keeps the warp free of any datum shift. A datum known only by its shift to WGS 84, or
    one that counts from another meridian than Greenwich, is left for WGS 84.

    longitude, latitude : degrees, WGS 84
    """
    base = crs.geodetic_crs
    if base is None or crs.is_bound or base.prime_meridian is None or base.prime_meridian.longitude != 0:
        base = pyproj.CRS.from_epsg(4326)
    longitude = (longitude + 180) % 360 - 180
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


def operation_between(source: pyproj.CRS, metric: pyproj.CRS, longitude: float, latitude: float) -> Operation:
    """The best installed operation near a place, one for all points: PROJ alone may change it on the way.

    Raises
    ------
    TerrainError : PROJ knows no way
    """
    west, east = max(longitude - 1, -180), min(longitude + 1, 180)
    area = AreaOfInterest(west, max(latitude - 1, -90), east, min(latitude + 1, 90))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # a better operation may exist: said in `missing`
        try:
            # pyproj names another module for this class in its own type hints.
            group = TransformerGroup(source, metric, always_xy=True, area_of_interest=area)  # type: ignore[arg-type]
        except ProjError as fault:
            raise TerrainError(f"no way from {source.name!r} to {metric.name!r} ({fault})") from fault
    if not group.transformers:
        raise TerrainError(
            f"no way from {source.name!r} to {metric.name!r}", remedy="Name another --grid-crs"
        )
    chosen = group.transformers[0]
    missing: tuple[str, ...] = ()
    if not group.best_available:
        grids = (grid for op in group.unavailable_operations[:1] for grid in op.grids if not grid.available)
        missing = tuple(grid.short_name for grid in grids)
    description = str(chosen.description).replace(" (with axis order normalized for visualization)", "")
    return Operation(chosen, description, _accuracy_m(source, metric, chosen), missing)


def _accuracy_m(source: pyproj.CRS, metric: pyproj.CRS, chosen: pyproj.Transformer) -> float | None:
    here, there = source.geodetic_crs, metric.geodetic_crs
    if here is not None and there is not None and here.equals(there, ignore_axis_order=True):
        return 0.0  # the datum stays: only the projection changes, which is exact
    if "ballpark" in str(chosen.description).lower() or chosen.accuracy is None or chosen.accuracy < 0:
        return None
    return float(chosen.accuracy)


def scale_error(crs: pyproj.CRS, longitude: float, latitude: float) -> float | None:
    """Largest relative error of plane distances on a projected CRS at a place; None where it cannot be told.

    Source: the scale factors of pyproj.Proj.get_factors.
    """
    try:
        factors = pyproj.Proj(crs).get_factors(longitude, latitude, errcheck=True)
    except ProjError:
        return None
    scales = (factors.tissot_semimajor, factors.tissot_semiminor)
    return float(max(abs(s - 1) for s in scales)) if np.isfinite(scales).all() else None
