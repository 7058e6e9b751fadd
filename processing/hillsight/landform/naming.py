"""What landforms are called: identifiers that a rerun gives again, directions, and plain descriptions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hillsight.arrays import Floats

#: The eight points of the compass, from north clockwise.
COMPASS_POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def compass_point(bearing_deg: float) -> str:
    """The nearest of the eight points of the compass."""
    return COMPASS_POINTS[round(bearing_deg / 45.0) % 8]


def identifiers(kind: str, places: Floats, scale_m: float | None, taken: set[str]) -> list[str]:
    """An identifier for each landform: its kind, scale, and where its middle lies, to the metre.

    The same ground read again gives the same; two in one place are told apart by a number.

    Parameters
    ----------
    places : (n, 2) easting and northing
    taken : identifiers in use; the new ones are added
    """
    found = []
    for easting_m, northing_m in places:
        parts = [
            kind,
            *([] if scale_m is None else [f"{scale_m:g}"]),
            f"{easting_m:.0f}",
            f"{northing_m:.0f}",
        ]
        base = name = "-".join(parts)
        number = 2
        while name in taken:
            name, number = f"{base}-{number}", number + 1
        taken.add(name)
        found.append(name)
    return found


def first_columns(name: str, scale_m: float) -> dict[str, Any]:
    """The columns that every landform's row begins with; map name and description come later."""
    return {"landform": name, "scale_m": scale_m, "name": None, "description": ""}
