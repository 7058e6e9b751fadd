"""The layers of landforms, declared once for the writer, the docs and the tests."""

from __future__ import annotations

from hillsight.schema.columns import (
    AREA,
    DATUM_M,
    GRID_M,
    HEIGHT_MAX,
    HEIGHT_MIN,
    PLANE_HA,
    TRUE_DEG,
    Column,
    Layer,
)


def _common(*, several_scales: bool = False) -> tuple[Column, ...]:
    scale = "largest scale at which it shows" if several_scales else "scale it was read at"
    return (
        Column("landform", "text", "", "identifier: kind, scale where it matters, easting and northing"),
        Column("scale_m", "real", "m", scale),
        Column("name", "text", "", "name of a map feature on or beside it, or null", optional=True),
        Column("description", "text", "", "the landform in plain words"),
    )


_CUT_BY = Column(
    "cut_by",
    "text",
    "void, terrain_edge or null",
    "what of the terrain's limits it touches: its figures may be wrong there; null if none",
    optional=True,
)
_LENGTH = Column("length_m", "real", GRID_M, "length along the ground plan")
_DROP = Column("drop_m", "real", "m", "height difference between its ends")
_FALLS = (
    Column("falls_true_deg", "real", TRUE_DEG, "direction in which it falls, end to end"),
    Column("falls_towards", "text", "N, NE, E ... of true north", "the same as one of eight compass points"),
)
_WIDTH = Column(
    "width_m",
    "real",
    GRID_M,
    "mean distance between the flanks' steepest places, on the ground smoothed for the scale",
)
_SLOPE = Column("slope_deg", "real", "degrees", "mean slope along its axis")
_ORDER = Column("order", "integer", "", "Strahler's order: 1 for a line without branches")
_TOP = Column("top", "text", "", "the top it belongs to", optional=True)

TOPS = Layer(
    "tops",
    "Point Z",
    "summits and knolls with their prominence",
    (
        *_common(several_scales=True),
        Column("kind", "text", "summit or knoll", "summit: at least the prominence stated in the metadata"),
        Column("height_m", "real", DATUM_M, "highest post of the terrain model"),
        Column("prominence_m", "real", "m", "height above the key saddle; a least value if is_least is true"),
        Column("is_least", "boolean", "", "whether the terrain ends before higher ground is reached"),
        Column("key_saddle", "text", "", "the highest saddle on the way to higher ground", optional=True),
        Column("key_saddle_height_m", "real", DATUM_M, "height of the key saddle", optional=True),
        Column("dominance", "real", "0 to 1", "prominence over height above the datum", optional=True),
        Column("higher_ground_m", "real", GRID_M, "distance of the nearest higher post", optional=True),
        Column("parent", "text", "", "the higher top beyond the key saddle", optional=True),
        _CUT_BY,
    ),
)

SADDLES = Layer(
    "saddles",
    "Point Z",
    "the lowest places on the ridges between tops",
    (
        *_common(several_scales=True),
        Column("height_m", "real", DATUM_M, "ground at the saddle"),
        Column("lower_top", "text", "", "the lower of the tops it lies between"),
        Column("higher_top", "text", "", "the higher of the tops it lies between"),
        Column("climb_m", "real", "m", "climb from the saddle to the lower top"),
        _CUT_BY,
    ),
)

RIDGES = Layer(
    "ridges",
    "LineString Z",
    "crests of the ground between tops, and from a top out to where spurs begin",
    (
        *_common(),
        _ORDER,
        Column("higher_top", "text", "", "the top at its upper end", optional=True),
        Column("lower_top", "text", "", "the top at its other end", optional=True),
        Column("saddle", "text", "", "the saddle it crosses", optional=True),
        _LENGTH,
        HEIGHT_MIN,
        HEIGHT_MAX,
        _CUT_BY,
    ),
)

VALLEY_LINES = Layer(
    "valley_lines",
    "LineString Z",
    "the lowest lines of valleys, from where water gathers down to the next valley",
    (
        *_common(),
        _ORDER,
        Column("into", "text", "", "the valley line it runs into", optional=True),
        Column("catchment_ha", "real", PLANE_HA, "ground that drains through its lower end"),
        _LENGTH,
        _DROP,
        HEIGHT_MIN,
        HEIGHT_MAX,
        _CUT_BY,
    ),
)

SPURS = Layer(
    "spurs",
    "LineString Z",
    "ground that juts out of a hillside: the axis from its root down to its nose",
    (
        *_common(),
        _TOP,
        Column("ridge", "text", "", "the ridge it comes down from", optional=True),
        *_FALLS,
        _LENGTH,
        _DROP,
        _WIDTH,
        Column(
            "relief_m",
            "real",
            "m",
            "mean height of the axis above the ground half a scale to each side, both smoothed for the scale",
        ),
        _SLOPE,
        Column("root_height_m", "real", DATUM_M, "ground at the root"),
        Column("nose_height_m", "real", DATUM_M, "ground at the nose"),
        _CUT_BY,
    ),
)

RE_ENTRANTS = Layer(
    "re_entrants",
    "LineString Z",
    "small valleys that run into a hillside: the axis from the head down to the mouth",
    (
        *_common(),
        Column("valley", "text", "", "the valley line it runs into", optional=True),
        *_FALLS,
        _LENGTH,
        _DROP,
        _WIDTH,
        Column(
            "depth_m",
            "real",
            "m",
            "mean depth of the axis below the ground half a scale to each side, both smoothed for the scale",
        ),
        _SLOPE,
        Column("head_height_m", "real", DATUM_M, "ground at the head"),
        Column("mouth_height_m", "real", DATUM_M, "ground at the mouth"),
        _CUT_BY,
    ),
)

BREAKS_OF_SLOPE = Layer(
    "breaks_of_slope",
    "LineString Z",
    "lines along which the slope changes sharply",
    (
        *_common(),
        Column("kind", "text", "convex_edge or concave_foot", "steeper below it, or gentler below it"),
        Column("slope_above_deg", "real", "degrees", "mean slope from a quarter to half a scale above"),
        Column("slope_below_deg", "real", "degrees", "mean slope from a quarter to half a scale below"),
        Column("sharpness_deg", "real", "degrees", "difference of the two slopes"),
        _LENGTH,
        HEIGHT_MIN,
        HEIGHT_MAX,
        _CUT_BY,
    ),
)

LEVEL_GROUND = Layer(
    "level_ground",
    "Polygon",
    "ground gentler than the slope stated in the metadata, with more slope round it",
    (
        *_common(),
        Column(
            "kind", "text", "flat_top, shelf or floor", "ground falls all round, to one side, or rises round"
        ),
        _TOP,
        AREA,
        Column("height_mean_m", "real", DATUM_M, "mean height"),
        Column("slope_mean_deg", "real", "degrees", "mean slope"),
        Column("falling_share", "real", "0 to 1", "share of its outline from which the ground falls away"),
        _CUT_BY,
    ),
)

STEEP_GROUND = Layer(
    "steep_ground",
    "Polygon",
    "ground within a band of slope; bands are stated in the metadata",
    (
        *_common(),
        Column("slope_from_deg", "real", "degrees", "least slope of the band"),
        Column(
            "slope_to_deg", "real", "degrees", "greatest slope of the band; null for no limit", optional=True
        ),
        Column("faces_towards", "text", "N, NE, E ... of true north", "mean direction in which it falls"),
        AREA,
        HEIGHT_MIN,
        HEIGHT_MAX,
        _CUT_BY,
    ),
)

HOLLOWS = Layer(
    "hollows",
    "Polygon",
    "ground with no way down and out: it would fill with water to its rim",
    (
        *_common(),
        AREA,
        Column("depth_m", "real", "m", "depth below the lowest place of the rim, on the terrain itself"),
        Column("floor_height_m", "real", DATUM_M, "lowest post"),
        Column("rim_height_m", "real", DATUM_M, "lowest place of the rim, where water would leave"),
        _CUT_BY,
    ),
)

LANDFORM_LAYERS = (
    TOPS,
    SADDLES,
    RIDGES,
    VALLEY_LINES,
    SPURS,
    RE_ENTRANTS,
    BREAKS_OF_SLOPE,
    LEVEL_GROUND,
    STEEP_GROUND,
    HOLLOWS,
)
