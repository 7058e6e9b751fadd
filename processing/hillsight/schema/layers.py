"""Every layer and column that hillsight writes, declared once for the writer, the docs and the tests."""

from __future__ import annotations

from hillsight.schema.columns import (
    AREA,
    DISTANCE_MAX,
    DISTANCE_MIN,
    FROM,
    HEIGHT_MAX,
    HEIGHT_MIN,
    STATION,
    TO,
    Column,
    Layer,
)
from hillsight.schema.landforms import LANDFORM_LAYERS
from hillsight.schema.reading import READING_LAYERS
from hillsight.schema.section import PROFILE_LAYERS
from hillsight.schema.verdict import VERDICT_LAYERS
from hillsight.words.states import GROUND_STATE_MEANINGS, GroundState

__all__ = ["GROUND_STATE_MEANINGS", "LAYERS", "Column", "GroundState", "Layer"]

STATIONS = Layer(
    "stations",
    "Point",
    "the places looked from, with the totals of what each sees",
    (
        STATION,
        Column("name", "text", "", "the name as given, or null", optional=True),
        Column("easting_m", "real", "m in the terrain's grid", "easting"),
        Column("northing_m", "real", "m in the terrain's grid", "northing"),
        Column("longitude", "real", "degrees, WGS 84", "longitude, east positive"),
        Column("latitude", "real", "degrees, WGS 84", "latitude, north positive"),
        Column("ground_height_m", "real", "m, the terrain's own datum", "ground under the station"),
        Column("eye_level_m", "real", "m, the terrain's own datum", "ground height plus eye height"),
        Column("convergence_deg", "real", "degrees", "grid north's true bearing: true = grid + convergence"),
        Column(
            "declination_deg",
            "real",
            "degrees, east positive",
            "magnetic north's true bearing: true = magnetic + declination; null if not asked for",
            optional=True,
        ),
        Column(
            "declination_uncertainty_deg",
            "real",
            "degrees, one standard deviation",
            "uncertainty of the declination by the model's own error figures",
            optional=True,
        ),
        Column("declination_date", "text", "ISO 8601 date", "day the declination is for", optional=True),
        Column("reach_m", "real", "m on the grid", "how far from the station the work went"),
        Column("reach_ha", "real", "ha, plane grid area", "area of the reach: visible + hidden + unknown"),
        Column("visible_ha", "real", "ha, plane grid area", "ground seen"),
        Column("hidden_ha", "real", "ha, plane grid area", "dead ground, listed or not"),
        Column("unknown_ha", "real", "ha, plane grid area", "void or off the terrain, or behind a void"),
        Column(
            "unlisted_hidden_ha",
            "real",
            "ha, plane grid area",
            "part of hidden_ha in pockets smaller than the least area asked for, absent from dead_ground",
        ),
        Column(
            "expected_visible_ha",
            "real",
            "ha, plane grid area",
            "mean of the ground seen under the error model; null unless probabilities are asked for",
            optional=True,
        ),
        Column(
            "expected_visible_low_ha",
            "real",
            "ha, plane grid area",
            "least, of a 95 % interval",
            optional=True,
        ),
        Column(
            "expected_visible_high_ha",
            "real",
            "ha, plane grid area",
            "greatest, of a 95 % interval",
            optional=True,
        ),
    ),
)

VISIBLE_GROUND = Layer("visible_ground", "MultiPolygon", "ground seen from a station", (STATION, AREA))

UNKNOWN_GROUND = Layer(
    "unknown_ground",
    "MultiPolygon",
    "ground within the reach that cannot be judged: void, off the terrain, or seen only across a void",
    (STATION, AREA),
)

DEAD_GROUND = Layer(
    "dead_ground",
    "Polygon",
    "pockets of dead ground: connected ground that a station cannot see",
    (
        STATION,
        Column("pocket", "integer", "", "number within the station, nearest first"),
        AREA,
        Column("nearest_m", "real", "m, ground distance on the ellipsoid", "near edge"),
        Column("farthest_m", "real", "m, ground distance on the ellipsoid", "far edge"),
        FROM,
        TO,
        Column("depth_mean_m", "real", "m", "mean height that a thing must stand to show"),
        Column("depth_max_m", "real", "m", "greatest height that a thing must stand to show"),
        Column(
            "crest", "integer", "", "the crest line that hides most of it; null for specks", optional=True
        ),
    ),
)

DEAD_GROUND_BY_CREST = Layer(
    "dead_ground_by_crest",
    "MultiPolygon",
    "dead ground cut up by what hides it: all that lies out of view behind one crest line",
    (
        STATION,
        Column("crest", "integer", "", "the crest line that hides it; null for specks", optional=True),
        Column("role", "text", "brow, crest or skyline", "role of that crest line", optional=True),
        Column("pocket", "integer", "", "the pocket it is part of"),
        AREA,
        Column("nearest_m", "real", "m, ground distance on the ellipsoid", "near edge"),
        Column("farthest_m", "real", "m, ground distance on the ellipsoid", "far edge"),
        FROM,
        TO,
        Column("depth_mean_m", "real", "m", "mean height that a thing must stand to show"),
        Column("depth_max_m", "real", "m", "greatest height that a thing must stand to show"),
    ),
)

CREST_LINES = Layer(
    "crest_lines",
    "LineString Z",
    "where ground turns out of view with hidden ground behind it",
    (
        STATION,
        Column("crest", "integer", "", "number within the station, nearest first"),
        Column(
            "role",
            "text",
            "brow, crest or skyline",
            "skyline: against the sky; brow: nearest on its bearings",
        ),
        Column(
            "nearest_share",
            "real",
            "0 to 1",
            "share of its width on which no nearer ground turns out of view",
        ),
        Column("sky_share", "real", "0 to 1", "share of its width on which it stands against the sky"),
        DISTANCE_MIN,
        DISTANCE_MAX,
        FROM,
        TO,
        HEIGHT_MIN,
        HEIGHT_MAX,
        Column("length_m", "real", "m on the grid", "length along the ground plan"),
        Column(
            "hidden_ha",
            "real",
            "ha, plane grid area",
            "dead ground behind this crest line, as in dead_ground_by_crest",
        ),
    ),
)

_SKYLINE_STATE = Column(
    "state",
    "text",
    "ground, reach, terrain_edge or void",
    "what ends the view: ground against the sky, or a skyline that may lie farther off, beyond "
    "the reach, the terrain's edge or a void",
)

SKYLINE = Layer(
    "skyline",
    "LineString Z",
    "the line where ground meets sky, in pieces that follow the ground",
    (
        STATION,
        Column("piece", "integer", "", "number within the station, clockwise from north"),
        _SKYLINE_STATE,
        FROM,
        TO,
        DISTANCE_MIN,
        DISTANCE_MAX,
        HEIGHT_MIN,
        HEIGHT_MAX,
    ),
)

SKYLINE_BEARINGS = Layer(
    "skyline_bearings",
    "Point Z",
    "the skyline bearing by bearing",
    (
        STATION,
        Column("bearing_true_deg", "real", "degrees from true north", "bearing of the skyline point"),
        Column("bearing_grid_deg", "real", "degrees from grid north", "bearing of the skyline point"),
        Column(
            "angle_deg", "real", "degrees above the level", "vertical angle with curvature and refraction"
        ),
        Column("distance_m", "real", "m, ground distance on the ellipsoid", "distance of the skyline point"),
        Column("height_m", "real", "m, the terrain's own datum", "ground height of the skyline point"),
        _SKYLINE_STATE,
        Column(
            "brow_distance_m",
            "real",
            "m on the grid",
            "nearest place on this bearing where ground turns out of view, of any role; null if none does",
            optional=True,
        ),
        Column(
            "brow_angle_deg",
            "real",
            "degrees above the level",
            "vertical angle of that place with curvature and refraction",
            optional=True,
        ),
    ),
)

BEARING_LIST = Layer(
    "bearing_list",
    "Point Z",
    "map features in order from left to right; the point is the middle of what is seen, "
    "or of a hidden feature the place that would show first",
    (
        STATION,
        Column("rank", "integer", "", "place in the order, left to right"),
        Column("name", "text", "", "the feature's name, or null", optional=True),
        Column("kind", "text", "", "the feature's kind as given, or null", optional=True),
        Column(
            "evidence_class", "text", "ground_shape, water, man_made or unclassed", "trust class of the kind"
        ),
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
            "bearing_true_deg",
            "real",
            "degrees from true north",
            "bearing of the listed point: the middle of what is seen",
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
        Column("distance_m", "real", "m, ground distance on the ellipsoid", "to the point that is listed"),
        Column("distance_plus_minus_m", "real", "m, 95 %", "of the distance", optional=True),
        Column("slope_distance_m", "real", "m, eye to point", "straight-line distance", optional=True),
        Column("height_m", "real", "m, the terrain's own datum", "ground at the listed point", optional=True),
        Column("height_difference_m", "real", "m, eye to point", "above the eye positive", optional=True),
        Column(
            "height_difference_plus_minus_m", "real", "m, 95 %", "of the height difference", optional=True
        ),
        Column(
            "vertical_angle_deg",
            "real",
            "degrees above the level",
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
            "how high the listed point stands, in words",
            optional=True,
        ),
        Column(
            "left_edge_true_deg",
            "real",
            "degrees from true north",
            "left edge of what is seen",
            optional=True,
        ),
        Column(
            "left_edge_plus_minus_deg",
            "real",
            "degrees, 95 %",
            "of that edge by the places of station and feature; not by what is seen",
            optional=True,
        ),
        Column(
            "right_edge_true_deg",
            "real",
            "degrees from true north",
            "right edge of what is seen",
            optional=True,
        ),
        Column(
            "right_edge_plus_minus_deg",
            "real",
            "degrees, 95 %",
            "of that edge by the places of station and feature; not by what is seen",
            optional=True,
        ),
        Column(
            "nearest_seen_m",
            "real",
            "m, ground distance on the ellipsoid",
            "nearest seen point",
            optional=True,
        ),
        Column("highest_seen_m", "real", "m, the terrain's own datum", "highest seen point", optional=True),
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
            "hidden_by_distance_m",
            "real",
            "m, ground distance on the ellipsoid",
            "distance of the ground that hides it",
            optional=True,
        ),
        Column("hidden_by_crest", "integer", "", "the crest line that hides it, if listed", optional=True),
        Column("landform", "text", "", "identifier of the landform; null for other features", optional=True),
        Column(
            "description", "text", "", "the landform in plain words; null for other features", optional=True
        ),
        Column("source", "text", "", "file and layer the feature came from"),
    ),
)

LAYERS: dict[str, Layer] = {
    layer.name: layer
    for layer in (
        STATIONS,
        VISIBLE_GROUND,
        UNKNOWN_GROUND,
        DEAD_GROUND,
        DEAD_GROUND_BY_CREST,
        CREST_LINES,
        SKYLINE,
        SKYLINE_BEARINGS,
        BEARING_LIST,
        *LANDFORM_LAYERS,
        *PROFILE_LAYERS,
        *READING_LAYERS,
        *VERDICT_LAYERS,
    )
}
