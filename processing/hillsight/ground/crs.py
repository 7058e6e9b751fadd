"""Coordinate reference systems as users name them and files carry them: parsed, stripped to the map plane."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import pyproj
from pyproj.enums import TransformDirection
from pyproj.exceptions import ProjError

from hillsight.errors import CallError, HillsightError, TerrainError
from hillsight.ground.registry import registry_code

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats


def parse_crs(text: str, what: str, parameters: Sequence[str] = ()) -> pyproj.CRS:
    """A CRS of the map plane, projected or geographic, from any text PROJ knows; heights may come with it.

    Parameters
    ----------
    what : what it is the CRS of, for messages ("the CRS of the output")
    parameters : names of the parameters it was given by

    Raises
    ------
    CallError : PROJ does not understand it, or it has no axes of a map that run east and north
    """
    remedy = "Give a code such as EPSG:27700, or WKT"
    try:
        crs = pyproj.CRS.from_user_input(text)
    except ProjError:
        raise CallError(
            f"{what} {text!r} is no coordinate reference system that PROJ knows",
            remedy=remedy,
            parameters=parameters,
        ) from None
    try:
        horizontal_crs(crs)
    except HillsightError as error:
        raise CallError(f"{what} {text!r}: {error.what}", remedy=remedy, parameters=parameters) from None
    return crs


def horizontal_crs(crs: pyproj.CRS, where: str = "") -> pyproj.CRS:
    """The CRS of the map plane: a compound one without its vertical part, a 3D one without its heights.

    So nothing ever changes a height on the way from one system to another.

    Raises
    ------
    HillsightError : neither geographic nor projected, of degrees about a turned pole, or with axes that run
        west or south, on which "easting, northing" would mean two things
    """
    if crs.is_compound:
        return horizontal_crs(tidy(pyproj.CRS(crs.sub_crs_list[0])), where)
    flat = tidy(pyproj.CRS(crs.to_2d())) if len(crs.axis_info) > 2 else crs
    if not (flat.is_geographic or flat.is_projected):
        raise HillsightError(
            f"its CRS {flat.name!r} is neither geographic nor projected, so it has no place on the Earth",
            where=where,
            remedy="State the right one",
        )
    if flat.is_geographic and flat.is_derived:
        raise HillsightError(
            f"its CRS {flat.name!r} counts degrees from a turned pole, as weather models do",
            where=where,
            remedy="Carry the data to longitude and latitude or to a grid in metres",
        )
    directions = {axis.direction.lower() for axis in flat.axis_info}
    # Of polar grids both axes run south, or both north: PROJ takes them as east and north on the map.
    if "west" in directions or directions == {"east", "south"}:
        raise HillsightError(
            f"the axes of its CRS {flat.name!r} run west or south",
            where=where,
            remedy="Carry the data to a CRS of eastings and northings, or state the one they really are in",
        )
    return flat


def tidy(crs: pyproj.CRS) -> pyproj.CRS:
    """The registry's own entry of a CRS where it is the same one: files often carry it without its code."""
    code = registry_code(crs)
    if code is None:
        return crs
    entry = pyproj.CRS.from_authority(*code)
    return entry if entry.equals(crs, ignore_axis_order=True) else crs


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


def one_datum(one: pyproj.CRS, other: pyproj.CRS) -> bool:
    """Whether two systems stand on one datum, so that the way between them is exact."""
    here, there = one.geodetic_crs, other.geodetic_crs
    return here is not None and there is not None and here.equals(there, ignore_axis_order=True)


def own_degrees(crs: pyproj.CRS, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Longitude (east of Greenwich) and latitude in degrees on the CRS's own datum; inf where there is none.

    Exact on that datum, and within some 200 m of WGS 84: enough to tell which part of the Earth it is.
    """
    way, per_unit, meridian_deg = _to_own_degrees(crs)
    longitude, latitude = way.transform(np.asarray(x, np.float64), np.asarray(y, np.float64))
    return np.asarray(longitude) * per_unit + meridian_deg, np.asarray(latitude) * per_unit


def from_own_degrees(crs: pyproj.CRS, longitude: Floats, latitude: Floats) -> tuple[Floats, Floats]:
    """The inverse of :func:`own_degrees`."""
    way, per_unit, meridian_deg = _to_own_degrees(crs)
    x, y = way.transform(
        (np.asarray(longitude, np.float64) - meridian_deg) / per_unit,
        np.asarray(latitude, np.float64) / per_unit,
        direction=TransformDirection.INVERSE,
    )
    return np.asarray(x), np.asarray(y)


@lru_cache(64)
def _to_own_degrees(crs: pyproj.CRS) -> tuple[pyproj.Transformer, float, float]:
    """The way to the geodetic CRS of the datum, degrees in its unit, degrees of its prime meridian."""
    if crs.is_bound and crs.source_crs is not None:
        crs = crs.source_crs
    base = crs.geodetic_crs
    if base is None:
        raise HillsightError(f"{crs.name} has no datum", remedy="State the CRS by its code")
    base = base.to_2d()
    way = pyproj.Transformer.from_crs(crs, base, always_xy=True)
    return way, float(np.degrees(base.axis_info[0].unit_conversion_factor)), prime_meridian_deg(base)


def prime_meridian_deg(crs: pyproj.CRS) -> float:
    """Degrees east of Greenwich of the meridian that a CRS's longitudes are counted from."""
    meridian = crs.prime_meridian
    if meridian is None:
        return 0.0
    return float(np.degrees(float(meridian.longitude) * float(meridian.unit_conversion_factor)))
