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
    boolean,
    integer,
    real,
    text,
)


def _common(*, several_scales: bool = False) -> tuple[Column, ...]:
    scale = "largest scale at which it shows" if several_scales else "scale it was read at"
    return (
        text("landform", "", "identifier: kind, scale where it matters, easting and northing"),
        real("scale_m", "m", scale),
        text("name", "", "name of a map feature on or beside it, or null", optional=True),
        text("description", "", "the landform in plain words"),
    )


_CUT_BY = text(
    "cut_by",
    "void, terrain_edge or null",
    "what of the terrain's limits it touches: its figures may be wrong there; null if none",
    optional=True,
)
_LENGTH = real("length_m", GRID_M, "length along the ground plan")
_DROP = real("drop_m", "m", "height difference between its ends")
_FALLS = (
    real("falls_true_deg", TRUE_DEG, "direction in which it falls, end to end"),
    text("falls_towards", "N, NE, E ... of true north", "the same as one of eight compass points"),
)
_WIDTH = real(
    "width_m",
    GRID_M,
    "mean distance between the flanks' steepest places, on the ground smoothed for the scale",
)
_SLOPE = real("slope_deg", "degrees", "mean slope along its axis")
_ORDER = integer("order", "", "Strahler's order: 1 for a line without branches")
_TOP = text("top", "", "the top it belongs to", optional=True)

TOPS = Layer(
    "tops",
    "Point Z",
    "summits and knolls with their prominence",
    (
        *_common(several_scales=True),
        text("kind", "summit or knoll", "summit: at least the prominence stated in the metadata"),
        real("height_m", DATUM_M, "highest post of the terrain model"),
        real("prominence_m", "m", "height above the key saddle; a least value if is_least is true"),
        boolean("is_least", "", "whether the terrain ends before higher ground is reached"),
        text("key_saddle", "", "the highest saddle on the way to higher ground", optional=True),
        real("key_saddle_height_m", DATUM_M, "height of the key saddle", optional=True),
        real("dominance", "0 to 1", "prominence over height above the datum", optional=True),
        real("higher_ground_m", GRID_M, "distance of the nearest higher post", optional=True),
        text("parent", "", "the higher top beyond the key saddle", optional=True),
        _CUT_BY,
    ),
)

SADDLES = Layer(
    "saddles",
    "Point Z",
    "the lowest places on the ridges between tops",
    (
        *_common(several_scales=True),
        real("height_m", DATUM_M, "ground at the saddle"),
        text("lower_top", "", "the lower of the tops it lies between"),
        text("higher_top", "", "the higher of the tops it lies between"),
        real("climb_m", "m", "climb from the saddle to the lower top"),
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
        text("higher_top", "", "the top at its upper end", optional=True),
        text("lower_top", "", "the top at its other end", optional=True),
        text("saddle", "", "the saddle it crosses", optional=True),
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
        text("into", "", "the valley line it runs into", optional=True),
        real("catchment_ha", PLANE_HA, "ground that drains through its lower end"),
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
        text("ridge", "", "the ridge it comes down from", optional=True),
        *_FALLS,
        _LENGTH,
        _DROP,
        _WIDTH,
        real(
            "relief_m",
            "m",
            "mean height of the axis above the ground half a scale to each side, both smoothed for the scale",
        ),
        _SLOPE,
        real("root_height_m", DATUM_M, "ground at the root"),
        real("nose_height_m", DATUM_M, "ground at the nose"),
        _CUT_BY,
    ),
)

RE_ENTRANTS = Layer(
    "re_entrants",
    "LineString Z",
    "small valleys that run into a hillside: the axis from the head down to the mouth",
    (
        *_common(),
        text("valley", "", "the valley line it runs into", optional=True),
        *_FALLS,
        _LENGTH,
        _DROP,
        _WIDTH,
        real(
            "depth_m",
            "m",
            "mean depth of the axis below the ground half a scale to each side, both smoothed for the scale",
        ),
        _SLOPE,
        real("head_height_m", DATUM_M, "ground at the head"),
        real("mouth_height_m", DATUM_M, "ground at the mouth"),
        _CUT_BY,
    ),
)

BREAKS_OF_SLOPE = Layer(
    "breaks_of_slope",
    "LineString Z",
    "lines along which the slope changes sharply",
    (
        *_common(),
        text("kind", "convex_edge or concave_foot", "steeper below it, or gentler below it"),
        real("slope_above_deg", "degrees", "mean slope from a quarter to half a scale above"),
        real("slope_below_deg", "degrees", "mean slope from a quarter to half a scale below"),
        real("sharpness_deg", "degrees", "difference of the two slopes"),
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
        text("kind", "flat_top, shelf or floor", "ground falls all round, to one side, or rises round"),
        _TOP,
        AREA,
        real("height_mean_m", DATUM_M, "mean height"),
        real("slope_mean_deg", "degrees", "mean slope"),
        real("falling_share", "0 to 1", "share of its outline from which the ground falls away"),
        _CUT_BY,
    ),
)

STEEP_GROUND = Layer(
    "steep_ground",
    "Polygon",
    "ground within a band of slope; bands are stated in the metadata",
    (
        *_common(),
        real("slope_from_deg", "degrees", "least slope of the band"),
        real("slope_to_deg", "degrees", "greatest slope of the band; null for no limit", optional=True),
        text("faces_towards", "N, NE, E ... of true north", "mean direction in which it falls"),
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
        real("depth_m", "m", "depth below the lowest place of the rim, on the terrain itself"),
        real(
            "depth_plus_minus_m",
            "m",
            "how far the depth may be out, at 95 %, by errors guessed from the spacing of the posts",
        ),
        text(
            "state",
            "hollow or uncertain",
            "uncertain: no deeper than the depth may be out, so that water may leave by a channel in between",
        ),
        real("floor_height_m", DATUM_M, "lowest post"),
        real("rim_height_m", DATUM_M, "lowest place of the rim, where water would leave"),
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
