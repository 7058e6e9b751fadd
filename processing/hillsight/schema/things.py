"""Layers of the things in view: the bearing list, lines and areas as far as seen, and relations."""

from __future__ import annotations

from hillsight.schema.columns import (
    ABOVE_LEVEL_DEG,
    DATUM_M,
    ELLIPSOID_M,
    EVIDENCE_CLASSES,
    GRID_M,
    HIDDEN_BY,
    PLANE_HA,
    STATION,
    TRUE_DEG,
    Layer,
    integer,
    real,
    text,
)

_RANK = integer("rank", "", "the feature's place in bearing_list")
_NAME = text("name", "", "the feature's name, or null", optional=True)
_KIND = text("kind", "", "the feature's kind as given, or null", optional=True)
_CLASS = text("evidence_class", EVIDENCE_CLASSES, "trust class of the kind")
_SOURCE = text("source", "", "file and layer the feature came from")

BEARING_LIST = Layer(
    "bearing_list",
    "Point Z",
    "map features in order from left to right; the point is the middle of what is seen, "
    "or of a hidden feature the place that would show first",
    (
        STATION,
        integer("rank", "", "place in the order, left to right"),
        _NAME,
        _KIND,
        _CLASS,
        text("state", "visible, partly, uncertain, hidden, unknown or out_of_reach", "whether it is seen"),
        real(
            "visible_share",
            "0 to 1",
            "seen share of the part that can be judged: points, length or area within the reach",
            optional=True,
        ),
        real("visible_share_low", "0 to 1", "least seen share, of a 95 % interval", optional=True),
        real("visible_share_high", "0 to 1", "greatest seen share, of a 95 % interval", optional=True),
        real(
            "seen_probability",
            "0 to 1",
            "probability that anything of it is seen, by the error model",
            optional=True,
        ),
        real("bearing_true_deg", TRUE_DEG, "bearing of the listed point: the middle of what is seen"),
        real("bearing_grid_deg", "degrees from grid north", "the same bearing on the grid"),
        real(
            "bearing_magnetic_deg",
            "degrees from magnetic north",
            "the same bearing by compass; null if no declination was asked for",
            optional=True,
        ),
        real(
            "bearing_plus_minus_deg",
            "degrees, 95 %",
            "of the true and grid bearing; a compass errs besides",
            optional=True,
        ),
        real("distance_m", ELLIPSOID_M, "to the point that is listed"),
        real("distance_plus_minus_m", "m, 95 %", "of the distance", optional=True),
        real("slope_distance_m", "m, eye to point", "straight-line distance", optional=True),
        real("height_m", DATUM_M, "ground at the listed point", optional=True),
        real("height_difference_m", "m, eye to point", "above the eye positive", optional=True),
        real("height_difference_plus_minus_m", "m, 95 %", "of the height difference", optional=True),
        real("vertical_angle_deg", ABOVE_LEVEL_DEG, "apparent, with curvature and refraction", optional=True),
        real("vertical_angle_plus_minus_deg", "degrees, 95 %", "of the vertical angle", optional=True),
        text(
            "relative_height",
            "well above us, a little above us, level with us, a little below us or well below us",
            "how high its highest seen point stands, in words; of a hidden one, the listed point",
            optional=True,
        ),
        real("left_edge_true_deg", TRUE_DEG, "left edge of what is seen", optional=True),
        real(
            "left_edge_plus_minus_deg",
            "degrees, 95 %",
            "of that edge by the places of station and feature; not by what is seen",
            optional=True,
        ),
        real("right_edge_true_deg", TRUE_DEG, "right edge of what is seen", optional=True),
        real(
            "right_edge_plus_minus_deg",
            "degrees, 95 %",
            "of that edge by the places of station and feature; not by what is seen",
            optional=True,
        ),
        real("nearest_seen_m", ELLIPSOID_M, "nearest seen point", optional=True),
        real("highest_seen_m", DATUM_M, "highest seen point", optional=True),
        real(
            "highest_seen_angle_deg",
            ABOVE_LEVEL_DEG,
            "apparent, to the top of the feature at its highest seen point",
            optional=True,
        ),
        real("sky_share", "0 to 1", "share of what is seen that stands against the sky", optional=True),
        real(
            "gap_to_next_deg",
            "degrees clockwise",
            "to the next seen feature; null if itself unseen",
            optional=True,
        ),
        real("hidden_by_m", "m", "how much taller the hidden thing must stand to show", optional=True),
        real("hidden_by_distance_m", ELLIPSOID_M, "distance of what hides it", optional=True),
        HIDDEN_BY,
        integer("hidden_by_crest", "", "the crest line that hides it, if listed", optional=True),
        text("landform", "", "identifier of the landform; null for other features", optional=True),
        text("description", "", "the landform in plain words; null for other features", optional=True),
        _SOURCE,
    ),
)

SEEN_LINES = Layer(
    "seen_lines",
    "MultiLineString",
    "what is seen of each listed line feature within the reach; no row where nothing is",
    (
        STATION,
        _RANK,
        _NAME,
        _KIND,
        _CLASS,
        real("seen_length_m", GRID_M, "length that is seen"),
        real("hidden_length_m", GRID_M, "length that known ground hides"),
        real("unknown_length_m", GRID_M, "length that cannot be judged"),
        _SOURCE,
    ),
)

SEEN_AREAS = Layer(
    "seen_areas",
    "MultiPolygon",
    "what is seen of each listed area feature within the reach; no row where nothing is",
    (
        STATION,
        _RANK,
        _NAME,
        _KIND,
        _CLASS,
        real("seen_ha", PLANE_HA, "area that is seen"),
        real("hidden_ha", PLANE_HA, "area that known ground hides"),
        real("unknown_ha", PLANE_HA, "area that cannot be judged"),
        _SOURCE,
    ),
)

RELATIONS = Layer(
    "relations",
    "LineString Z",
    "how landforms stand to what is seen beside them: a line from the one to the other",
    (
        STATION,
        integer("rank", "", "the landform's place in bearing_list"),
        text("feature", "", "its name or description"),
        text(
            "relation",
            "in_front_of, behind, overlapping, left_of or right_of",
            "what it is to the other: nearer or farther where both are seen, changing about, or beside it",
        ),
        integer("other_rank", "", "the other's place in bearing_list"),
        text("other_feature", "", "the other's name or description"),
        real("gap_deg", "degrees clockwise", "between their edges; 0 where they overlap"),
        real(
            "nearer_by_m",
            ELLIPSOID_M,
            "how much nearer it is where both are seen; null where they are not on one bearing",
            optional=True,
        ),
        text("description", "", "the relation in plain words"),
    ),
)

THING_LAYERS = (BEARING_LIST, SEEN_LINES, SEEN_AREAS, RELATIONS)
