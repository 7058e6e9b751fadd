"""Layers and table of the profile script, declared once for the writer, the docs and the tests."""

from __future__ import annotations

from hillsight.schema.columns import (
    ABOVE_LEVEL_DEG,
    DATUM_M,
    ELLIPSOID_M,
    EVIDENCE_CLASSES,
    GRID_M,
    HIDDEN_BY,
    HIDDEN_BY_DISTANCE,
    STATION,
    TRUE_DEG,
    Layer,
    integer,
    real,
    text,
)

_LOWERED = "m, the terrain's own datum, lowered as the eye sees it"

SECTION = integer("section", "", "number of the section within the file")
_TARGET = text("target", "", "what the section leads to; null on a bearing", optional=True)
_ROLE = text(
    "role",
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
        text("ends_at", "target, reach or terrain_edge", "what ends the section"),
        real("bearing_true_deg", TRUE_DEG, "bearing at the station"),
        real("bearing_grid_deg", "degrees from grid north", "bearing at the station"),
        real("length_m", ELLIPSOID_M, "length of the section"),
        real("ground_height_m", DATUM_M, "ground under the station"),
        real("eye_level_m", DATUM_M, "ground height plus eye height"),
        real("drop_m", "m", "how much the far end is lowered for curvature and refraction"),
        real("visible_m", ELLIPSOID_M, "length of ground that is seen"),
        real("hidden_m", ELLIPSOID_M, "length of dead ground"),
        real("unknown_m", ELLIPSOID_M, "length of ground that cannot be judged: on or behind a void"),
        real("depth_max_m", "m", "greatest depth of dead ground; 0 without any"),
        text(
            "state",
            "visible, hidden or unknown",
            "of the point aimed at on the target; null without a target",
            optional=True,
        ),
        real(
            "visible_share",
            "0 to 1",
            "share of the whole target that is seen, as in bearing_list; of lines and areas alone",
            optional=True,
        ),
        real(
            "clearance_m",
            "m",
            "how far the target stands above the line grazing the highest nearer ground; hidden below 0",
            optional=True,
        ),
        real("crest_distance_m", ELLIPSOID_M, "what sets that grazing line", optional=True),
        HIDDEN_BY,
        real(
            "vertical_angle_deg",
            ABOVE_LEVEL_DEG,
            "of the target, apparent, with curvature and refraction",
            optional=True,
        ),
        real(
            "closest_m",
            "m",
            "least gap from the ground up to the line between eye and target, between its ends; below 0 the "
            "ground rises above it; null where the line only parts from one end and nears the other",
            optional=True,
        ),
        real("closest_distance_m", ELLIPSOID_M, "where that is", optional=True),
    ),
)

PROFILE_STRETCHES = Layer(
    "profile_stretches",
    "LineString Z",
    "sections cut up by what is seen of their ground",
    (
        STATION,
        SECTION,
        integer("stretch", "", "number within the section, nearest first"),
        text("state", "visible, hidden or unknown", "of the ground, without any target height"),
        real("from_m", ELLIPSOID_M, "near end"),
        real("to_m", ELLIPSOID_M, "far end; of dead ground seen beyond it, the re-emergence"),
        real("length_m", ELLIPSOID_M, "length"),
        integer("crest", "", "the crest that hides it; null if seen or not known", optional=True),
        _ROLE,
        real("depth_max_m", "m", "greatest depth; null unless hidden", optional=True),
        real("depth_max_distance_m", ELLIPSOID_M, "where that is", optional=True),
        HIDDEN_BY,
        HIDDEN_BY_DISTANCE,
    ),
)

PROFILE_POINTS = Layer(
    "profile_points",
    "Point Z",
    "what is worth a mark on a section: crests, deepest places, re-emergences, the target, map features",
    (
        STATION,
        SECTION,
        text(
            "what",
            "crest, deepest, re_emergence, closest, target, crossed or beside",
            "what the point stands for",
        ),
        integer("crest", "", "number of the crest, or of that before it", optional=True),
        _ROLE,
        text("name", "", "name of a feature or target, or null", optional=True),
        text("kind", "", "the feature's kind as given, or null", optional=True),
        text("evidence_class", EVIDENCE_CLASSES, "of a feature", optional=True),
        real("from_m", ELLIPSOID_M, "where it is; of what is crossed, where that begins"),
        real("to_m", ELLIPSOID_M, "where what is crossed ends; else as from_m"),
        real("offset_m", "m on the grid, to the right positive", "how far beside the section"),
        real("height_m", DATUM_M, "ground there; null on a void", optional=True),
        text("state", "visible, partly, hidden or unknown", "whether it is seen"),
        real(
            "clearance_m",
            "m",
            "of the place that shows best; null where no ground is nearer, or unknown",
            optional=True,
        ),
        text("source", "", "file and layer a feature came from", optional=True),
    ),
)

PROFILE_LAYERS = (PROFILE_LINE, PROFILE_STRETCHES, PROFILE_POINTS)

#: Columns of the CSV of samples.
PROFILE_SAMPLES = (
    STATION,
    SECTION,
    _TARGET,
    integer("sample", "", "number within the section, 0 at the station's feet"),
    real("distance_m", ELLIPSOID_M, "from the station"),
    real("distance_grid_m", GRID_M, "from the station"),
    real("easting_m", "m in the terrain's grid", "easting"),
    real("northing_m", "m in the terrain's grid", "northing"),
    real("height_m", DATUM_M, "ground; null on a void", optional=True),
    real("cover_m", "m", "what stands on the ground; null where nothing is known of cover", optional=True),
    real("lowered_m", _LOWERED, "ground lowered for curvature and refraction", optional=True),
    real("grazing_m", _LOWERED, "line grazing the highest nearer ground", optional=True),
    real("sight_line_m", _LOWERED, "line from the eye to the target", optional=True),
    real("clearance_m", "m", "ground above the grazing line; below 0 minus the depth", optional=True),
    text("state", "visible, hidden or unknown", "of the ground"),
)
