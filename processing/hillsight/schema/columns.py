"""What a column and a layer are, and the columns that many layers share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ColumnType = Literal["text", "real", "integer", "boolean"]


@dataclass(frozen=True)
class Column:
    """One column: its name, type, unit with frame (empty for none) and meaning.

    ``optional`` columns may hold nulls where the meaning says so.
    """

    name: str
    type: ColumnType
    unit: str
    meaning: str
    optional: bool = False


@dataclass(frozen=True)
class Layer:
    """One vector layer: its name, geometry type (OGC simple features), what it is for and its columns."""

    name: str
    geometry: str
    meaning: str
    columns: tuple[Column, ...]


def text(name: str, unit: str, meaning: str, *, optional: bool = False) -> Column:
    """A column of texts."""
    return Column(name, "text", unit, meaning, optional)


def real(name: str, unit: str, meaning: str, *, optional: bool = False) -> Column:
    """A column of numbers."""
    return Column(name, "real", unit, meaning, optional)


def integer(name: str, unit: str, meaning: str, *, optional: bool = False) -> Column:
    """A column of whole numbers."""
    return Column(name, "integer", unit, meaning, optional)


def boolean(name: str, unit: str, meaning: str, *, optional: bool = False) -> Column:
    """A column of truth values."""
    return Column(name, "boolean", unit, meaning, optional)


#: Units with their frames, as columns name them.
GRID_M = "m on the grid"
ELLIPSOID_M = "m, ground distance on the ellipsoid"
DATUM_M = "m, the terrain's own datum"
PLANE_HA = "ha, plane grid area"
TRUE_DEG = "degrees from true north"
ABOVE_LEVEL_DEG = "degrees above the level"
EVIDENCE_CLASSES = "ground_shape, water, man_made or unclassed"

STATION = text("station", "", "the station's label, unique within the file")
AREA = real("area_ha", PLANE_HA, "area")
FROM = real("bearing_from_true_deg", TRUE_DEG, "left edge as seen from the station")
TO = real("bearing_to_true_deg", TRUE_DEG, "right edge as seen from the station")
DISTANCE_MIN = real("distance_min_m", ELLIPSOID_M, "nearest point")
DISTANCE_MAX = real("distance_max_m", ELLIPSOID_M, "farthest point")
HEIGHT_MIN = real("height_min_m", DATUM_M, "lowest ground along the line")
HEIGHT_MAX = real("height_max_m", DATUM_M, "highest ground along the line")
HIDDEN_BY = text(
    "hidden_by",
    "ground, or a kind of cover",
    "what hides it, or most of it: the ground, where that hides it with nothing on it, else the cover; null "
    "where nothing is known of cover",
    optional=True,
)
HIDDEN_BY_DISTANCE = real(
    "hidden_by_distance_m", ELLIPSOID_M, "distance of what hides it, or most of it", optional=True
)
