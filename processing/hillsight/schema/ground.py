"""Layers of stations and of the ground seen from them: seen, dead and first ground, crest lines, skyline."""

from __future__ import annotations

from hillsight.schema.columns import (
    ABOVE_LEVEL_DEG,
    AREA,
    DATUM_M,
    DISTANCE_MAX,
    DISTANCE_MIN,
    ELLIPSOID_M,
    FROM,
    GRID_M,
    HEIGHT_MAX,
    HEIGHT_MIN,
    HIDDEN_BY,
    HIDDEN_BY_DISTANCE,
    PLANE_HA,
    STATION,
    TO,
    TRUE_DEG,
    Column,
    Layer,
    integer,
    real,
    text,
)

STATIONS = Layer(
    "stations",
    "Point",
    "the places looked from, with the totals of what each sees",
    (
        STATION,
        text("name", "", "the name as given, or null", optional=True),
        real("easting_m", "m in the terrain's grid", "easting"),
        real("northing_m", "m in the terrain's grid", "northing"),
        real("longitude", "degrees, WGS 84", "longitude, east positive"),
        real("latitude", "degrees, WGS 84", "latitude, north positive"),
        real("ground_height_m", DATUM_M, "ground under the station"),
        real("eye_level_m", DATUM_M, "ground height plus eye height"),
        real("convergence_deg", "degrees", "grid north's true bearing: true = grid + convergence"),
        real(
            "declination_deg",
            "degrees, east positive",
            "magnetic north's true bearing: true = magnetic + declination; null if not asked for",
            optional=True,
        ),
        real(
            "declination_uncertainty_deg",
            "degrees, one standard deviation",
            "uncertainty of the declination by the model's own error figures",
            optional=True,
        ),
        text("declination_date", "ISO 8601 date", "day the declination is for", optional=True),
        real("reach_m", GRID_M, "how far from the station the work went"),
        real(
            "reach_ha",
            PLANE_HA,
            "area of the reach: visible + hidden + unknown + uncertain",
        ),
        real("visible_ha", PLANE_HA, "ground seen"),
        real("hidden_ha", PLANE_HA, "dead ground, listed or not"),
        real("unknown_ha", PLANE_HA, "void or off the terrain, or behind a void"),
        real("uncertain_ha", PLANE_HA, "seen through leafy woods alone, or inside cover; 0 without cover"),
        real(
            "unlisted_hidden_ha",
            PLANE_HA,
            "part of hidden_ha in pockets smaller than the least area asked for, absent from dead_ground",
        ),
        real(
            "expected_visible_ha",
            PLANE_HA,
            "mean of the ground seen under the error model; null unless probabilities are asked for",
            optional=True,
        ),
        real("expected_visible_low_ha", PLANE_HA, "least, of a 95 % interval", optional=True),
        real("expected_visible_high_ha", PLANE_HA, "greatest, of a 95 % interval", optional=True),
    ),
)

VISIBLE_GROUND = Layer("visible_ground", "MultiPolygon", "ground seen from a station", (STATION, AREA))

UNCERTAIN_GROUND = Layer(
    "uncertain_ground",
    "MultiPolygon",
    "ground within the reach that is seen through leafy woods alone, or inside cover; none without cover",
    (STATION, AREA),
)

UNKNOWN_GROUND = Layer(
    "unknown_ground",
    "MultiPolygon",
    "ground within the reach that cannot be judged: void, off the terrain, or seen only across a void",
    (STATION, AREA),
)


def _doubt(name: str, unit: str, meaning: str) -> Column:
    return Column(name, "real", unit, f"{meaning}, by the error model; null if not asked for", optional=True)


def _plus_minus(name: str, where: str) -> Column:
    meaning = f"how far {name} may be out, at 95 %, {where}, if it is that crest"
    return _doubt(f"{name.removesuffix('_m')}_plus_minus_m", "m", meaning)


def _interval(name: str, where: str) -> list[Column]:
    return [
        _doubt(f"{name.removesuffix('_m')}_{end}_m", "m", f"{most} {name} of a 95 % interval, {where}")
        for end, most in (("low", "least"), ("high", "greatest"))
    ]


_EXTENT_AND_DEPTH = (
    real("nearest_m", ELLIPSOID_M, "near edge"),
    real("farthest_m", ELLIPSOID_M, "far edge"),
    FROM,
    TO,
    real("depth_mean_m", "m", "mean height that a thing must stand to show"),
    real("depth_max_m", "m", "greatest height that a thing must stand to show"),
    _plus_minus("nearest_m", "on the bearing of that place"),
    *_interval("depth_max_m", "at that place"),
    _doubt("hidden_probability", "0 to 1", "chance that the ground is out of view where it is deepest"),
    text("state", "hidden or uncertain", "uncertain: that chance lies between the limits of uncertain"),
    HIDDEN_BY,
    HIDDEN_BY_DISTANCE,
)

DEAD_GROUND = Layer(
    "dead_ground",
    "Polygon",
    "pockets of dead ground: connected ground that a station cannot see",
    (
        STATION,
        integer("pocket", "", "number within the station, nearest first"),
        AREA,
        *_EXTENT_AND_DEPTH,
        integer("crest", "", "the crest line that hides most of it; null for specks", optional=True),
    ),
)

DEAD_GROUND_BY_CREST = Layer(
    "dead_ground_by_crest",
    "MultiPolygon",
    "dead ground cut up by what hides it: all that lies out of view behind one crest line",
    (
        STATION,
        integer("crest", "", "the crest line that hides it; null for specks", optional=True),
        text("role", "brow, crest or skyline", "role of that crest line", optional=True),
        integer("pocket", "", "the pocket it is part of"),
        AREA,
        *_EXTENT_AND_DEPTH,
    ),
)

CREST_LINES = Layer(
    "crest_lines",
    "LineString Z",
    "where ground turns out of view with hidden ground behind it",
    (
        STATION,
        integer("crest", "", "number within the station, nearest first"),
        text("role", "brow, crest or skyline", "skyline: against the sky; brow: nearest on its bearings"),
        real("nearest_share", "0 to 1", "share of its width on which no nearer ground turns out of view"),
        real("sky_share", "0 to 1", "share of its width on which it stands against the sky"),
        DISTANCE_MIN,
        DISTANCE_MAX,
        FROM,
        TO,
        HEIGHT_MIN,
        HEIGHT_MAX,
        real("length_m", GRID_M, "length along the ground plan"),
        real("hidden_ha", PLANE_HA, "dead ground behind this crest line, as in dead_ground_by_crest"),
        _plus_minus("distance_min_m", "on the bearing of that point"),
        _plus_minus("distance_max_m", "on the bearing of that point"),
        _doubt(
            "hides_probability",
            "0 to 1",
            "chance that this crest, not one nearer or farther, hides the ground behind its nearest or "
            "farthest point, whichever is surer",
        ),
        _doubt("hidden_probability", "0 to 1", "chance that the deepest ground behind it is out of view"),
    ),
)

_SKYLINE_STATE = text(
    "state",
    "ground, reach, terrain_edge or void",
    "ground: no ground could rise above it; terrain_edge or void: ground beyond the edge of the terrain, "
    "or in a void, would rise above it if it were no higher than the highest of the file; reach: the file is "
    "too large to be held, and its far ground was not looked at",
)

SKYLINE = Layer(
    "skyline",
    "LineString Z",
    "the sky's edge, however far off, in pieces that follow the ground",
    (
        STATION,
        integer("piece", "", "number within the station, clockwise from north"),
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
    "the sky's edge bearing by bearing, however far off",
    (
        STATION,
        real("bearing_true_deg", TRUE_DEG, "bearing of the skyline point"),
        real("bearing_grid_deg", "degrees from grid north", "bearing of the skyline point"),
        real("angle_deg", ABOVE_LEVEL_DEG, "vertical angle with curvature and refraction"),
        real("distance_m", ELLIPSOID_M, "distance of the skyline point"),
        real("height_m", DATUM_M, "ground height of the skyline point"),
        _SKYLINE_STATE,
        real("edge_distance_m", GRID_M, "where the terrain file ends on this bearing", optional=True),
        real(
            "edge_height_m",
            DATUM_M,
            "how high ground there would have to be to stand against the sky",
            optional=True,
        ),
        real(
            "brow_distance_m",
            GRID_M,
            "nearest place on this bearing where ground turns out of view, of any role; null if none does",
            optional=True,
        ),
        real(
            "brow_angle_deg",
            ABOVE_LEVEL_DEG,
            "vertical angle of that place with curvature and refraction",
            optional=True,
        ),
    ),
)


def _of_brow(name: str, unit: str, meaning: str) -> Column:
    return Column(name, "real", unit, meaning, optional=True)


FIRST_GROUND = Layer(
    "first_ground",
    "Polygon",
    "sector by sector the ground from the feet out to the nearest brow, or without one to the end of what is "
    "seen; the figures are those of the bearing with the middle brow distance, null without a brow",
    (
        STATION,
        integer("sector", "", "number within the station, clockwise from true north"),
        FROM,
        TO,
        real("brow_share", "0 to 1", "share of the sector's bearings that have a brow"),
        _of_brow("brow_bearing_true_deg", TRUE_DEG, "the bearing of the figures"),
        _of_brow("brow_distance_m", GRID_M, "how far ground stays in view"),
        _of_brow("brow_nearest_m", GRID_M, "nearest brow of the sector"),
        _of_brow("brow_farthest_m", GRID_M, "farthest brow of the sector"),
        _of_brow("slope_to_brow_deg", "degrees, falling negative", "mean slope from the feet to the brow"),
        _of_brow(
            "slope_beyond_deg", "degrees, falling negative", "slope of the hidden ground just beyond the brow"
        ),
        _of_brow("depth_max_m", "m", "greatest height that a thing must stand to show over the brow"),
        _of_brow("drop_m", "m", "the brow above the lowest ground between it and where ground shows again"),
        _of_brow("out_again_m", GRID_M, "where ground shows again; null too if not within the reach"),
        _doubt(
            "brow_probability",
            "0 to 1",
            "chance that the first brow on the bearing of the figures is that one, not one nearer or farther",
        ),
        _plus_minus("brow_distance_m", "on the bearing of the figures"),
        *_interval("out_again_m", "on the bearing of the figures, if it is that brow"),
        *_interval("depth_max_m", "on the bearing of the figures, if it is that brow"),
        text("description", "", "the same in plain words, no finer than it is known"),
    ),
)

GROUND_LAYERS = (
    STATIONS,
    VISIBLE_GROUND,
    UNCERTAIN_GROUND,
    UNKNOWN_GROUND,
    DEAD_GROUND,
    DEAD_GROUND_BY_CREST,
    CREST_LINES,
    SKYLINE,
    SKYLINE_BEARINGS,
    FIRST_GROUND,
)
