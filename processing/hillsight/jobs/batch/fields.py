"""The fields of a batch job: one table for the reader, the template and the JSON schema."""

from __future__ import annotations

from hillsight.plan.posts.toml_tables import TomlTable
from hillsight.plan.vocabulary import SightingField

FORMAT = "hillsight batch 1"
"""First line of every job: ``format = ...``."""

BETWEEN_POSTS = ("unknown", "points", "means", "straight")


def _number(name: str, meaning: str, least: float, most: float, unit: str = "") -> SightingField:
    return SightingField(name, "number", meaning, least=least, most=most, unit=unit)


def _whole(name: str, meaning: str, least: float, most: float) -> SightingField:
    return SightingField(name, "number", meaning, least=least, most=most, is_whole=True)


def _text(name: str, meaning: str, *, needed: bool = False) -> SightingField:
    return SightingField(name, "text", meaning, needed=needed)


def _texts(name: str, meaning: str) -> SightingField:
    return SightingField(name, "texts", meaning)


def _yes(name: str, meaning: str) -> SightingField:
    return SightingField(name, "yes_no", meaning)


TOP = (
    _text("title", "what the job is called; it stands in every output", needed=True),
    _text("terrain", "raster file, VRT, or folder of tiles, as it lies from this file", needed=True),
    _text("terrain_crs", "CRS of a terrain that names none, as in EPSG:27700"),
    _whole("band", "band with the heights, from 1", 1, 10_000),
    _text("vertical_unit", "unit of the heights where the file does not say it: m, ft, dm"),
    _number("nodata", "a further value that marks voids", -1e38, 1e38),
    _text("grid_crs", "metric CRS to work in where the terrain is in degrees or feet"),
)

STATIONS = TomlTable(
    "stations",
    "Where to look from. Points are stations; lines and areas have one every so many metres.",
    (
        _text("file", "vector file, as it lies from this file"),
        _text("layer", "its layer; needed where it has several"),
        _text("extent", 'instead of a file: edges "west,south,east,north" in the terrain\'s grid'),
        _number("every_m", "spacing of stations along lines and in areas", 0.1, 1e6, "m on the grid"),
    ),
    {"file": "stations.gpkg", "layer": "stations", "every_m": 500},
    needed=True,
)

LOOKING = TomlTable(
    "looking",
    "How every station looks; columns of the same names tell it of single stations.",
    (
        _number("eye_height_m", "of the eye above the ground; 1.6 if not said", 0, 500, "m"),
        _number("target_height_m", "of what is looked for above the ground; 0 if not said", 0, 500, "m"),
        _number("reach_m", "how far to look; 10000 if not said", 1, 1e6, "m on the grid"),
        _number("from_bearing_deg", "true bearing where a sector begins", 0, 360, "degrees from true north"),
        _number("to_bearing_deg", "true bearing where it ends, clockwise", 0, 360, "degrees from true north"),
        _number("weight", "what being seen from a station counts; 1 if not said", 0, 1000),
        _number("refraction", "ray curvature over earth curvature; 0.13 if not said", -20, 20),
    ),
    {
        "eye_height_m": 1.6,
        "target_height_m": 0,
        "reach_m": 10000,
        "from_bearing_deg": 270,
        "to_bearing_deg": 90,
        "weight": 1,
        "refraction": 0.13,
    },
)

PRODUCTS = TomlTable(
    "products",
    "What to make; counts if nothing is said.",
    (
        _yes("counts", "how many stations see each cell"),
        _yes("viewsheds", "the states of each station, a raster each"),
        _yes("first", "which station of greatest weight, then first in the list, sees each cell"),
        _yes("nearest", "which is the nearest station that sees each cell"),
        _yes("weights", "the sum of the weights of the stations that see each cell"),
        _yes("least_depth", "how tall a thing must stand in each cell to be seen by any station"),
        _yes("chances", "how many stations see each cell by the error model, and the best chance"),
        _yes("matrix", "which stations see each other, eye to eye"),
        _text("share", "vector file of areas: the share of each that is seen"),
        _text("share_layer", "its layer"),
        _text("paths", "vector file of lines: the share of each stretch that is seen"),
        _text("paths_layer", "its layer"),
        _number("stretch_m", "length of the stretches of paths; 100 if not said", 1, 1e6, "m on the grid"),
    ),
    {
        "counts": True,
        "viewsheds": False,
        "first": True,
        "nearest": True,
        "weights": True,
        "least_depth": True,
        "chances": True,
        "matrix": True,
        "share": "areas.gpkg",
        "share_layer": "areas",
        "paths": "paths.gpkg",
        "paths_layer": "paths",
        "stretch_m": 100,
    },
)

COVER = TomlTable(
    "cover",
    "What stands on the ground and hides, as the options of other scripts say it (docs/cover.md).",
    (
        _text("surface", "surface model beside the terrain: tree tops and roofs"),
        _texts("file", "vector files of woods, buildings, walls and hedges"),
        _texts("layer", "their layers; all if not said"),
        _text("heights", "table of heights by kind, in place of the built-in one"),
        SightingField("leaf", "word", "whether leafy woods are in leaf; on if not said", ("on", "off")),
    ),
    {
        "surface": "surface.tif",
        "file": ["woods.gpkg", "walls.gpkg"],
        "layer": ["woods", "walls"],
        "heights": "heights.toml",
        "leaf": "on",
    },
    lists=("file", "layer"),
)

WORK = TomlTable(
    "work",
    "A script whose work is done for every station. Without [products] nothing else is made.",
    (_text("script", "its name; its options stand in [work.options]", needed=True),),
    {"script": "outlook"},
)

#: Options in the template, named as `hillsight outlook --describe` names them.
WORK_EXAMPLE = {"least_pocket": 0.5, "features": ["features.gpkg"]}

ERRORS = TomlTable(
    "errors",
    "What may be wrong, for chances; of the terrain it is guessed from its posts if not said.",
    (
        _text("terrain_product", "product that it comes from, by name, as for other scripts"),
        _number("terrain_error_m", "RMSE of its heights", 0, 1000, "m"),
        _number("error_correlation_m", "how far errors are alike", 0.001, 1e6, "m on the grid"),
        SightingField("between_posts", "word", "what its posts are; unknown if not said", BETWEEN_POSTS),
        _number("station_error_m", "of a station's place; 5 if not said", 0, 1e4, "m"),
        _number("eye_height_error_m", "of the eye's height; 0.1 if not said", 0, 100, "m"),
        _number("refraction_error", "of the refraction; 0.05 if not said", 0, 10),
    ),
    {"terrain_error_m": 4, "error_correlation_m": 100, "between_posts": "unknown", "station_error_m": 5},
)

OUTPUT = TomlTable(
    "output",
    "How results are cut and written.",
    (
        _whole("tile_posts", "posts along a side of a tile; 2048 if not said", 64, 16_384),
        _whole("window_posts", "most posts of ground read at a time; 8000000 if not said", 10_000, 6e7),
        _yes("parquet", "tables as GeoParquet too (needs pyarrow: pip install hillsight[batch])"),
        _yes("csv", "the bearing list that [work] makes as CSV too"),
        _yes("stac", "a STAC item for each tile (needs pystac: pip install hillsight[batch])"),
    ),
    {"tile_posts": 2048, "window_posts": 8_000_000, "parquet": True, "csv": True, "stac": True},
)

TABLES = (STATIONS, LOOKING, COVER, PRODUCTS, WORK, ERRORS, OUTPUT)
"""All tables, in the order of the template."""
