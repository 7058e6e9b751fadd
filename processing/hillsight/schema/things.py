"""Layers of the things in view: the bearing list, lines and areas as far as seen, and relations."""

from __future__ import annotations

from hillsight.schema.columns import (
    ABOVE_LEVEL_DEG,
    DATUM_M,
    ELLIPSOID_M,
    EVIDENCE_CLASSES,
    GRID_M,
    PLANE_HA,
    STATION,
    TRUE_DEG,
    Column,
    Layer,
)

_RANK = Column("rank", "integer", "", "the feature's place in bearing_list")
_NAME = Column("name", "text", "", "the feature's name, or null", optional=True)
_KIND = Column("kind", "text", "", "the feature's kind as given, or null", optional=True)
_CLASS = Column("evidence_class", "text", EVIDENCE_CLASSES, "trust class of the kind")
_SOURCE = Column("source", "text", "", "file and layer the feature came from")

BEARING_LIST = Layer(
    "bearing_list",
    "Point Z",
    "map features in order from left to right; the point is the middle of what is seen, "
    "or of a hidden feature the place that would show first",
    (
        STATION,
        Column("rank", "integer", "", "place in the order, left to right"),
        _NAME,
        _KIND,
        _CLASS,
        Column(
            "state",
            "text",
            "visible, partly, uncertain, hidden, unknown or out_of_reach",
            "whether it is seen",
        ),
        Column(
            "visible_share",
            "real",
            "0 to 1",
            "seen share of the part that can be judged: points, length or area within the reach",
            optional=True,
        ),
        Column("visible_share_low", "real", "0 to 1", "least seen share, of a 95 % interval", optional=True),
        Column(
            "visible_share_high", "real", "0 to 1", "greatest seen share, of a 95 % interval", optional=True
        ),
        Column(
            "seen_probability",
            "real",
            "0 to 1",
            "probability that anything of it is seen, by the error model",
            optional=True,
        ),
        Column(
            "bearing_true_deg", "real", TRUE_DEG, "bearing of the listed point: the middle of what is seen"
        ),
        Column("bearing_grid_deg", "real", "degrees from grid north", "the same bearing on the grid"),
        Column(
            "bearing_magnetic_deg",
            "real",
            "degrees from magnetic north",
            "the same bearing by compass; null if no declination was asked for",
            optional=True,
        ),
        Column(
            "bearing_plus_minus_deg",
            "real",
            "degrees, 95 %",
            "of the true and grid bearing; a compass errs besides",
            optional=True,
        ),
        Column("distance_m", "real", ELLIPSOID_M, "to the point that is listed"),
        Column("distance_plus_minus_m", "real", "m, 95 %", "of the distance", optional=True),
        Column("slope_distance_m", "real", "m, eye to point", "straight-line distance", optional=True),
        Column("height_m", "real", DATUM_M, "ground at the listed point", optional=True),
        Column("height_difference_m", "real", "m, eye to point", "above the eye positive", optional=True),
        Column(
            "height_difference_plus_minus_m", "real", "m, 95 %", "of the height difference", optional=True
        ),
        Column(
            "vertical_angle_deg",
            "real",
            ABOVE_LEVEL_DEG,
            "apparent, with curvature and refraction",
            optional=True,
        ),
        Column(
            "vertical_angle_plus_minus_deg", "real", "degrees, 95 %", "of the vertical angle", optional=True
        ),
        Column(
            "relative_height",
            "text",
            "well above us, a little above us, level with us, a little below us or well below us",
            "how high its highest seen point stands, in words; of a hidden one, the listed point",
            optional=True,
        ),
        Column("left_edge_true_deg", "real", TRUE_DEG, "left edge of what is seen", optional=True),
        Column(
            "left_edge_plus_minus_deg",
            "real",
            "degrees, 95 %",
            "of that edge by the places of station and feature; not by what is seen",
            optional=True,
        ),
        Column("right_edge_true_deg", "real", TRUE_DEG, "right edge of what is seen", optional=True),
        Column(
            "right_edge_plus_minus_deg",
            "real",
            "degrees, 95 %",
            "of that edge by the places of station and feature; not by what is seen",
            optional=True,
        ),
        Column("nearest_seen_m", "real", ELLIPSOID_M, "nearest seen point", optional=True),
        Column("highest_seen_m", "real", DATUM_M, "highest seen point", optional=True),
        Column(
            "highest_seen_angle_deg",
            "real",
            ABOVE_LEVEL_DEG,
            "apparent, to the top of the feature at its highest seen point",
            optional=True,
        ),
        Column(
            "sky_share", "real", "0 to 1", "share of what is seen that stands against the sky", optional=True
        ),
        Column(
            "gap_to_next_deg",
            "real",
            "degrees clockwise",
            "to the next seen feature; null if itself unseen",
            optional=True,
        ),
        Column(
            "hidden_by_m", "real", "m", "how much taller the hidden thing must stand to show", optional=True
        ),
        Column(
            "hidden_by_distance_m", "real", ELLIPSOID_M, "distance of the ground that hides it", optional=True
        ),
        Column("hidden_by_crest", "integer", "", "the crest line that hides it, if listed", optional=True),
        Column("landform", "text", "", "identifier of the landform; null for other features", optional=True),
        Column(
            "description", "text", "", "the landform in plain words; null for other features", optional=True
        ),
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
        Column("seen_length_m", "real", GRID_M, "length that is seen"),
        Column("hidden_length_m", "real", GRID_M, "length that known ground hides"),
        Column("unknown_length_m", "real", GRID_M, "length that cannot be judged"),
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
        Column("seen_ha", "real", PLANE_HA, "area that is seen"),
        Column("hidden_ha", "real", PLANE_HA, "area that known ground hides"),
        Column("unknown_ha", "real", PLANE_HA, "area that cannot be judged"),
        _SOURCE,
    ),
)

RELATIONS = Layer(
    "relations",
    "LineString Z",
    "how landforms stand to what is seen beside them: a line from the one to the other",
    (
        STATION,
        Column("rank", "integer", "", "the landform's place in bearing_list"),
        Column("feature", "text", "", "its name or description"),
        Column(
            "relation",
            "text",
            "in_front_of, behind, overlapping, left_of or right_of",
            "what it is to the other: nearer or farther where both are seen, changing about, or beside it",
        ),
        Column("other_rank", "integer", "", "the other's place in bearing_list"),
        Column("other_feature", "text", "", "the other's name or description"),
        Column("gap_deg", "real", "degrees clockwise", "between their edges; 0 where they overlap"),
        Column(
            "nearer_by_m",
            "real",
            ELLIPSOID_M,
            "how much nearer it is where both are seen; null where they are not on one bearing",
            optional=True,
        ),
        Column("description", "text", "", "the relation in plain words"),
    ),
)

THING_LAYERS = (BEARING_LIST, SEEN_LINES, SEEN_AREAS, RELATIONS)
