"""Grid references of the National Grid of Great Britain: two letters and figures, as maps there have them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.ground.crs import horizontal_crs

if TYPE_CHECKING:
    from pyproj import CRS

#: Squares of 500 km, and in them squares of 100 km, are lettered alike: rows from the north, without I.
_LETTERS = "ABCDEFGHJKLMNOPQRSTUVWXYZ"
_EPSG = 27700


def place_reference(crs: CRS, easting_m: float, northing_m: float) -> str:
    """How a place is read out: a National Grid reference, on other grids easting and northing in full."""
    letters = national_grid_reference(crs, easting_m, northing_m)
    return letters or f"E {round(easting_m)} N {round(northing_m)}"


def national_grid_reference(crs: CRS, easting_m: float, northing_m: float) -> str | None:
    """A reference to the metre, as ``TG 51409 13177``; None on other grids, and off the lettered squares.

    The figures are cut, not rounded: a reference names the square that a place lies in.

    Source: Ordnance Survey's guide to coordinate systems (its example is the one above; from memory)
    """
    if horizontal_crs(crs).to_epsg() != _EPSG:
        return None
    # The letters begin 1,000 km west and 500 km south of the grid's own origin.
    column, row = int((easting_m + 1e6) // 1e5), int((northing_m + 5e5) // 1e5)
    if not (0 <= column < 25 and 0 <= row < 25):
        return None
    first = _LETTERS[(4 - row // 5) * 5 + column // 5]
    second = _LETTERS[(4 - row % 5) * 5 + column % 5]
    return f"{first}{second} {int(easting_m % 1e5):05d} {int(northing_m % 1e5):05d}"
