"""Layers of the panorama script: pictures, and what is on them, on the ground and in picture coordinates."""

from __future__ import annotations

from hillsight.schema.columns import (
    ABOVE_LEVEL_DEG,
    DATUM_M,
    DISTANCE_MAX,
    DISTANCE_MIN,
    ELLIPSOID_M,
    EVIDENCE_CLASSES,
    GRID_M,
    STATION,
    TRUE_DEG,
    Layer,
    integer,
    real,
    text,
)

_PX = "px, 0 at the picture's upper left corner"
_GRID_DEG = "degrees from grid north"
_PICTURE = integer("picture", "", "number of the picture within the file")
_NAME = text("name", "", "the feature's name, or null", optional=True)
_KIND = text("kind", "", "the feature's kind as given, or null", optional=True)

PANORAMA_FRAMES = Layer(
    "panorama_frames",
    "Polygon",
    "pictures drawn of a view, as the sector looked over, out to the farthest ground against the sky",
    (
        STATION,
        _PICTURE,
        text("projection", "cylinder or camera", "how directions lie on the picture"),
        integer("width_px", "px", "width of the picture, without margins"),
        integer("height_px", "px", "height of the picture, without margins"),
        real("sheet_x_px", "px, from the page's left edge", "left edge of the picture on its page"),
        real("sheet_y_px", "px, from the page's top", "top of the picture on its page"),
        real("bearing_from_true_deg", TRUE_DEG, "left edge as seen from the station"),
        real("bearing_to_true_deg", TRUE_DEG, "right edge as seen from the station"),
        real("bearing_left_grid_deg", _GRID_DEG, "left edge", optional=True),
        real("degrees_per_px", "degrees a px", "of bearing; null for a camera", optional=True),
        real(
            "vertical_degrees_per_px", "degrees a px", "of vertical angle; null for a camera", optional=True
        ),
        real("horizon_y_px", _PX, "where the level lies; null for a camera", optional=True),
        real("exaggeration", "1", "how many times vertical angles are drawn larger than bearings"),
        real(
            "heading_grid_deg", _GRID_DEG, "where a camera's axis points; null for a cylinder", optional=True
        ),
        real("tilt_deg", ABOVE_LEVEL_DEG, "of a camera's axis", optional=True),
        real("roll_deg", "degrees", "how far a camera is turned clockwise about its axis", optional=True),
        real("focal_px", "px", "a camera's focal length", optional=True),
        real("easting_m", "m in the terrain's grid", "of the eye"),
        real("northing_m", "m in the terrain's grid", "of the eye"),
        real("eye_level_m", DATUM_M, "ground height plus eye height"),
        real("drop_per_m", "1/m", "a place d metres off on the grid is drawn lower by this times d squared"),
    ),
)

PANORAMA_LINES = Layer(
    "panorama_lines",
    "LineString Z",
    "lines of a picture where they run on the ground; picture_wkt has the same vertices on the picture",
    (
        STATION,
        _PICTURE,
        integer("line", "", "number of the line within the picture; one cut at an edge comes in pieces"),
        text(
            "role",
            "skyline, brow, crest, line or outline",
            "what it is: of the ground, or a map feature or the edge of an area as far as seen",
        ),
        _NAME,
        _KIND,
        text("evidence_class", EVIDENCE_CLASSES, "of a map feature", optional=True),
        DISTANCE_MIN,
        DISTANCE_MAX,
        real("vertical_angle_min_deg", ABOVE_LEVEL_DEG, "lowest, apparent"),
        real("vertical_angle_max_deg", ABOVE_LEVEL_DEG, "highest, apparent"),
        real(
            "dead_ground_max_m",
            GRID_M,
            "longest dead ground behind a crest, as far as it ends",
            optional=True,
        ),
        real("depth_max_m", "m", "its greatest depth", optional=True),
        text("picture_wkt", "px, well-known text", "the line on the picture: x right, y down"),
    ),
)

PANORAMA_POINTS = Layer(
    "panorama_points",
    "Point Z",
    "landmarks of a picture where they stand on the ground, with their places on the picture",
    (
        STATION,
        _PICTURE,
        integer("number", "", "the landmark's number on the drawing; null for a mark alone", optional=True),
        integer("rank", "", "the feature's place in bearing_list"),
        _NAME,
        _KIND,
        text("evidence_class", EVIDENCE_CLASSES, "trust class of the kind"),
        text("state", "visible, partly, uncertain or hidden", "whether it is seen; hidden: all but seen"),
        real("x_px", _PX, "to the right"),
        real("y_px", _PX, "down"),
        real("bearing_true_deg", TRUE_DEG, "bearing"),
        real("bearing_grid_deg", _GRID_DEG, "the same bearing on the grid"),
        real(
            "bearing_magnetic_deg",
            "degrees from magnetic north",
            "the same bearing by compass; null if no declination was asked for",
            optional=True,
        ),
        real("vertical_angle_deg", ABOVE_LEVEL_DEG, "apparent, with curvature and refraction"),
        real("distance_m", ELLIPSOID_M, "from the station"),
        real("height_m", DATUM_M, "ground there", optional=True),
        real("height_difference_m", "m, eye to point", "above the eye positive", optional=True),
        real(
            "hidden_by_m", "m", "how much taller it must stand to show; null where it is seen", optional=True
        ),
    ),
)

PANORAMA_LAYERS = (PANORAMA_FRAMES, PANORAMA_LINES, PANORAMA_POINTS)
