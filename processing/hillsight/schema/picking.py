"""Layers of what was picked on a photograph, declared once for the writer, the docs and the tests."""

from __future__ import annotations

from hillsight.schema.columns import (
    ABOVE_LEVEL_DEG,
    DATUM_M,
    ELLIPSOID_M,
    GRID_M,
    STATION,
    TRUE_DEG,
    Column,
    Layer,
    integer,
    real,
    text,
)

_X_PX = "px of the picture as shown, to the right from its left edge"
_Y_PX = "px of the picture as shown, down from its upper edge"
_GRID_DEG = "degrees from grid north"
_SHARE = "0 to 1"

PICK = integer("pick", "", "number of the pick, in the order given")
_LENGTHS = (
    real("semi_major_m", GRID_M, "half the length of the ellipse that holds 95 %"),
    real("semi_minor_m", GRID_M, "half its width"),
    real("orientation_true_deg", TRUE_DEG, "of its length, 0 to 180"),
)


def _may_be_null(columns: tuple[Column, ...]) -> tuple[Column, ...]:
    return tuple(
        Column(c.name, c.type, c.unit, f"{c.meaning}; null where none is told", True) for c in columns
    )


PICKED_POINTS = Layer(
    "picked_points",
    "Point Z",
    "ground that picked pixels of a photograph show; pixels that show none are told in the notes",
    (
        STATION,
        PICK,
        real("x_px", _X_PX, "the pixel"),
        real("y_px", _Y_PX, "the pixel"),
        text(
            "state",
            "ground or grazing",
            "grazing: the ray runs so flat, or so close over a crest, that the place is a guess",
        ),
        real("easting_m", "m in the terrain's grid", "easting"),
        real("northing_m", "m in the terrain's grid", "northing"),
        real("height_m", DATUM_M, "ground there"),
        real("distance_m", ELLIPSOID_M, "from the station"),
        real("bearing_true_deg", TRUE_DEG, "from the station"),
        real("bearing_grid_deg", _GRID_DEG, "from the station"),
        real("bearing_magnetic_deg", "degrees from magnetic north", "null without a day", optional=True),
        real("vertical_angle_deg", ABOVE_LEVEL_DEG, "apparent, with curvature and refraction"),
        *_may_be_null(_LENGTHS),
        real("same_share", _SHARE, "of the draws that stay on this ground"),
        real("nearer_share", _SHARE, "of those that meet other ground, nearer, dead ground between"),
        real("beyond_share", _SHARE, "of those that meet other ground, farther, dead ground between"),
        real("sky_share", _SHARE, "of those that meet the sky"),
        real("unknown_share", _SHARE, "of those that meet a void or the terrain's end"),
        real("nearer_distance_m", GRID_M, "of the nearer ground; null without any", optional=True),
        real("beyond_distance_m", GRID_M, "of the ground beyond; null without any", optional=True),
    ),
)

PICKED_ELLIPSES = Layer(
    "picked_ellipses",
    "Polygon",
    "where picked ground may be: each ellipse holds 95 % of the draws that meet one ground",
    (
        STATION,
        PICK,
        text(
            "ground", "same, nearer or beyond", "the ground picked, or other ground with dead ground between"
        ),
        real("share", _SHARE, "of all draws, those that meet this ground"),
        real("distance_m", GRID_M, "of the middle one of these draws, from the station"),
        *_LENGTHS,
    ),
)

PICKED_LINES = Layer(
    "picked_lines",
    "LineString Z",
    "ground that lines drawn on a photograph show, in pieces; edges are told as the crests they lie on",
    (
        STATION,
        integer("line", "", "number of the line, in the order given"),
        integer("piece", "", "number of the piece within the line"),
        text("of", "skyline, brow or ground", "what the line was drawn along"),
        real("length_m", GRID_M, "length"),
        real("distance_min_m", GRID_M, "nearest point, from the station"),
        real("distance_max_m", GRID_M, "farthest point, from the station"),
        real("found_share", _SHARE, "of the whole line that shows ground, or lies near a crest"),
    ),
)

PICKING_LAYERS = (PICKED_POINTS, PICKED_ELLIPSES, PICKED_LINES)
