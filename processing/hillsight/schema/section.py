"""Layers and table of the profile script, declared once for the writer, the docs and the tests."""

from __future__ import annotations

from hillsight.schema.columns import (
    ABOVE_LEVEL_DEG,
    DATUM_M,
    ELLIPSOID_M,
    EVIDENCE_CLASSES,
    GRID_M,
    STATION,
    TRUE_DEG,
    Column,
    Layer,
)

_LOWERED = "m, the terrain's own datum, lowered as the eye sees it"

SECTION = Column("section", "integer", "", "number of the section within the file")
_TARGET = Column("target", "text", "", "what the section leads to; null on a bearing", optional=True)
_ROLE = Column(
    "role",
    "text",
    "brow, crest or skyline",
    "brow: the nearest; skyline: sky stands behind it, told only of sections out to the reach",
    optional=True,
)

PROFILE_LINE = Layer(
    "profile_line",
    "LineString Z",
    "sections along sight lines, with the ground's height at each grid line crossed and at both ends",
    (
        STATION,
        SECTION,
        _TARGET,
        Column("ends_at", "text", "target, reach or terrain_edge", "what ends the section"),
        Column("bearing_true_deg", "real", TRUE_DEG, "bearing at the station"),
        Column("bearing_grid_deg", "real", "degrees from grid north", "bearing at the station"),
        Column("length_m", "real", ELLIPSOID_M, "length of the section"),
        Column("ground_height_m", "real", DATUM_M, "ground under the station"),
        Column("eye_level_m", "real", DATUM_M, "ground height plus eye height"),
        Column("drop_m", "real", "m", "how much the far end is lowered for curvature and refraction"),
        Column("visible_m", "real", ELLIPSOID_M, "length of ground that is seen"),
        Column("hidden_m", "real", ELLIPSOID_M, "length of dead ground"),
        Column(
            "unknown_m", "real", ELLIPSOID_M, "length of ground that cannot be judged: on or behind a void"
        ),
        Column("depth_max_m", "real", "m", "greatest depth of dead ground; 0 without any"),
        Column(
            "state", "text", "visible, hidden or unknown", "of the target; null without one", optional=True
        ),
        Column(
            "clearance_m",
            "real",
            "m",
            "how far the target stands above the line grazing the highest nearer ground; hidden below 0",
            optional=True,
        ),
        Column(
            "crest_distance_m", "real", ELLIPSOID_M, "the ground that sets that grazing line", optional=True
        ),
        Column(
            "vertical_angle_deg",
            "real",
            ABOVE_LEVEL_DEG,
            "of the target, apparent, with curvature and refraction",
            optional=True,
        ),
        Column(
            "closest_m",
            "real",
            "m",
            "least gap from the ground up to the line between eye and target, between its ends; below 0 the "
            "ground rises above it; null where the line only parts from one end and nears the other",
            optional=True,
        ),
        Column("closest_distance_m", "real", ELLIPSOID_M, "where that is", optional=True),
    ),
)

PROFILE_STRETCHES = Layer(
    "profile_stretches",
    "LineString Z",
    "sections cut up by what is seen of their ground",
    (
        STATION,
        SECTION,
        Column("stretch", "integer", "", "number within the section, nearest first"),
        Column("state", "text", "visible, hidden or unknown", "of the ground, without any target height"),
        Column("from_m", "real", ELLIPSOID_M, "near end"),
        Column("to_m", "real", ELLIPSOID_M, "far end; of dead ground seen beyond it, the re-emergence"),
        Column("length_m", "real", ELLIPSOID_M, "length"),
        Column("crest", "integer", "", "the crest that hides it; null if seen or not known", optional=True),
        _ROLE,
        Column("depth_max_m", "real", "m", "greatest depth; null unless hidden", optional=True),
        Column("depth_max_distance_m", "real", ELLIPSOID_M, "where that is", optional=True),
    ),
)

PROFILE_POINTS = Layer(
    "profile_points",
    "Point Z",
    "what is worth a mark on a section: crests, deepest places, re-emergences, the target, map features",
    (
        STATION,
        SECTION,
        Column(
            "what",
            "text",
            "crest, deepest, re_emergence, closest, target, crossed or beside",
            "what the point stands for",
        ),
        Column("crest", "integer", "", "number of the crest, or of that before it", optional=True),
        _ROLE,
        Column("name", "text", "", "name of a feature or target, or null", optional=True),
        Column("kind", "text", "", "the feature's kind as given, or null", optional=True),
        Column("evidence_class", "text", EVIDENCE_CLASSES, "of a feature", optional=True),
        Column("from_m", "real", ELLIPSOID_M, "where it is; of what is crossed, where that begins"),
        Column("to_m", "real", ELLIPSOID_M, "where what is crossed ends; else as from_m"),
        Column("offset_m", "real", "m on the grid, to the right positive", "how far beside the section"),
        Column("height_m", "real", DATUM_M, "ground there; null on a void", optional=True),
        Column("state", "text", "visible, partly, hidden or unknown", "whether it is seen"),
        Column(
            "clearance_m",
            "real",
            "m",
            "of the place that shows best; null where no ground is nearer, or unknown",
            optional=True,
        ),
        Column("source", "text", "", "file and layer a feature came from", optional=True),
    ),
)

PROFILE_LAYERS = (PROFILE_LINE, PROFILE_STRETCHES, PROFILE_POINTS)

#: Columns of the CSV of samples.
PROFILE_SAMPLES = (
    STATION,
    SECTION,
    _TARGET,
    Column("sample", "integer", "", "number within the section, 0 at the station's feet"),
    Column("distance_m", "real", ELLIPSOID_M, "from the station"),
    Column("distance_grid_m", "real", GRID_M, "from the station"),
    Column("easting_m", "real", "m in the terrain's grid", "easting"),
    Column("northing_m", "real", "m in the terrain's grid", "northing"),
    Column("height_m", "real", DATUM_M, "ground; null on a void", optional=True),
    Column("lowered_m", "real", _LOWERED, "ground lowered for curvature and refraction", optional=True),
    Column("grazing_m", "real", _LOWERED, "line grazing the highest nearer ground", optional=True),
    Column("sight_line_m", "real", _LOWERED, "line from the eye to the target", optional=True),
    Column(
        "clearance_m", "real", "m", "ground above the grazing line; below 0 minus the depth", optional=True
    ),
    Column("state", "text", "visible, hidden or unknown", "of the ground"),
)
