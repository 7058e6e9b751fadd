"""Layers of the reading of a station besides ground and lists: first ground, and features as far as seen."""

from __future__ import annotations

from hillsight.schema.columns import FROM, STATION, TO, Column, Layer

_RANK = Column("rank", "integer", "", "the feature's place in bearing_list")
_NAME = Column("name", "text", "", "the feature's name, or null", optional=True)
_KIND = Column("kind", "text", "", "the feature's kind as given, or null", optional=True)
_CLASS = Column(
    "evidence_class", "text", "ground_shape, water, man_made or unclassed", "trust class of the kind"
)
_SOURCE = Column("source", "text", "", "file and layer the feature came from")


def _of_brow(name: str, unit: str, meaning: str) -> Column:
    return Column(name, "real", unit, meaning, optional=True)


FIRST_GROUND = Layer(
    "first_ground",
    "Polygon",
    "sector by sector the ground from the feet out to the nearest brow, or without one to the end of what is "
    "seen; the figures are those of the bearing with the middle brow distance, null without a brow",
    (
        STATION,
        Column("sector", "integer", "", "number within the station, clockwise from true north"),
        FROM,
        TO,
        Column("brow_share", "real", "0 to 1", "share of the sector's bearings that have a brow"),
        _of_brow("brow_bearing_true_deg", "degrees from true north", "the bearing of the figures"),
        _of_brow("brow_distance_m", "m on the grid", "how far ground stays in view"),
        _of_brow("brow_nearest_m", "m on the grid", "nearest brow of the sector"),
        _of_brow("brow_farthest_m", "m on the grid", "farthest brow of the sector"),
        _of_brow("slope_to_brow_deg", "degrees, falling negative", "mean slope from the feet to the brow"),
        _of_brow(
            "slope_beyond_deg", "degrees, falling negative", "slope of the hidden ground just beyond the brow"
        ),
        _of_brow("depth_max_m", "m", "greatest height that a thing must stand to show over the brow"),
        _of_brow("drop_m", "m", "the brow above the lowest ground between it and where ground shows again"),
        _of_brow(
            "out_again_m", "m on the grid", "where ground shows again; null too if not within the reach"
        ),
        Column("description", "text", "", "the same in plain words"),
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
        Column("seen_length_m", "real", "m on the grid", "length that is seen"),
        Column("hidden_length_m", "real", "m on the grid", "length that known ground hides"),
        Column("unknown_length_m", "real", "m on the grid", "length that cannot be judged"),
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
        Column("seen_ha", "real", "ha, plane grid area", "area that is seen"),
        Column("hidden_ha", "real", "ha, plane grid area", "area that known ground hides"),
        Column("unknown_ha", "real", "ha, plane grid area", "area that cannot be judged"),
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
            "m, ground distance on the ellipsoid",
            "how much nearer it is where both are seen; null where they are not on one bearing",
            optional=True,
        ),
        Column("description", "text", "", "the relation in plain words"),
    ),
)

READING_LAYERS = (FIRST_GROUND, SEEN_LINES, SEEN_AREAS, RELATIONS)
