"""The layers and rasters of a batch job."""

from __future__ import annotations

import math

from hillsight.schema.columns import DATUM_M, GRID_M, PLANE_HA, TRUE_DEG, Layer, integer, real, text
from hillsight.schema.rasters import RasterKind

#: A number of 32 bits that says that nothing was asked.
NOTHING_32 = 0xFFFFFFFF

_NUMBER = integer("number", "", "place of the station in the list, from 1")
_NAME = text("station", "", "its name, or station and its number where it has none")
_TILE = text("tile", "", "row and column of the tile, counted from the north-west, from 0")

BATCH_STATIONS = Layer(
    "batch_stations",
    "Point",
    "stations of a batch job that were seen from, with how they looked",
    (
        _NUMBER,
        _NAME,
        real("easting_m", "m in the terrain's grid", "easting"),
        real("northing_m", "m in the terrain's grid", "northing"),
        real("ground_height_m", DATUM_M, "ground there"),
        real("eye_level_m", DATUM_M, "height of the eye"),
        real("target_height_m", "m above the ground", "of what is looked for"),
        real("reach_m", GRID_M, "how far it looked"),
        real("from_bearing_deg", TRUE_DEG, "where its sector begins; null for all round", optional=True),
        real("to_bearing_deg", TRUE_DEG, "where its sector ends, clockwise", optional=True),
        real("weight", "", "what being seen from it counts"),
        integer("visible_cells", "cells", "that it sees"),
        real("reach_ha", PLANE_HA, "looked at"),
        real("visible_ha", PLANE_HA, "seen"),
        real("hidden_ha", PLANE_HA, "not seen"),
        real("unknown_ha", PLANE_HA, "void, or off the terrain"),
        real("uncertain_ha", PLANE_HA, "seen through leafy woods alone, or inside cover; 0 without cover"),
        text("viewshed", "", "its raster of states, in the folder; null if not wanted", optional=True),
        text("note", "", "what is to know of it; empty if nothing is"),
        integer("part", "", "number of the part that it was seen in"),
    ),
)

REFUSED_STATIONS = Layer(
    "refused_stations",
    "Point",
    "stations of a batch job that could not be used; one without a place stands at the terrain's corner",
    (
        _NUMBER,
        _NAME,
        text("reason", "", "why"),
    ),
)

BATCH_TILES = Layer(
    "batch_tiles",
    "Polygon",
    "tiles that any station looked at, with their rasters",
    (
        _TILE,
        integer("asked_cells", "cells", "within the reach of a station, and not void"),
        integer("seen_cells", "cells", "seen by a station or more"),
        integer("most_stations", "", "greatest number of stations that see one cell"),
        text("rasters", "", "names of its rasters within the folder, a semicolon between"),
    ),
)

BATCH_PARTS = Layer(
    "batch_parts",
    "Polygon",
    "windows of ground that were read for stations which stand near each other",
    (
        integer("part", "", "number of the part"),
        integer("stations_count", "", "stations seen from"),
        integer("refused_count", "", "stations refused for the ground they stand on"),
    ),
)

AREA_SHARES = Layer(
    "area_shares",
    "MultiPolygon",
    "areas, and how much of each is seen from any station",
    (
        integer("area", "", "place of the area in its layer, from 1"),
        text("name", "", "its name, if it has one", optional=True),
        real("area_ha", PLANE_HA, "area, of the cells whose middle lies in it"),
        real("asked_ha", PLANE_HA, "of it within the reach of a station, and not void"),
        real("seen_ha", PLANE_HA, "of it seen by a station or more"),
        real("seen_share", "0 to 1", "seen_ha over asked_ha; null where nothing was asked", optional=True),
    ),
)

PATH_STRETCHES = Layer(
    "path_stretches",
    "LineString",
    "stretches of paths, and how much of each is seen from any station",
    (
        integer("path", "", "place of the path in its layer, from 1"),
        text("name", "", "its name, if it has one", optional=True),
        real("from_m", "m on the grid, along the path", "where the stretch begins"),
        real("to_m", "m on the grid, along the path", "where it ends"),
        real("asked_share", "0 to 1", "of it within the reach of a station, and not void"),
        real("seen_share", "0 to 1", "seen over asked; null where nothing was asked", optional=True),
        real("most_stations", "", "greatest number of stations that see one place of it", optional=True),
    ),
)

STATION_SIGHT = Layer(
    "station_sight",
    "LineString",
    "whether a station sees another, eye to eye, of those within its reach",
    (
        integer("from_number", "", "number of the station that looks"),
        integer("to_number", "", "number of the station looked at"),
        real("distance_m", GRID_M, "between them"),
        text("state", "visible, hidden, uncertain or unknown", "whether the other eye shows"),
    ),
)

BATCH_LAYERS = (
    *(BATCH_STATIONS, REFUSED_STATIONS, BATCH_TILES, BATCH_PARTS),
    *(AREA_SHARES, PATH_STRETCHES, STATION_SIGHT),
)

#: Rasters of a tile, by the product that asks for them.
BATCH_RASTERS: dict[str, RasterKind] = {
    kind.name: kind
    for kind in (
        RasterKind(
            "first_station",
            "first_station_<tile>",
            "uint32",
            "",
            "number of the station that sees each cell, of greatest weight, then first in the list; 0: none",
            float(NOTHING_32),
        ),
        RasterKind(
            "nearest_station",
            "nearest_station_<tile>",
            "uint32",
            "",
            "number of the nearest station that sees each cell; 0 for none",
            float(NOTHING_32),
        ),
        RasterKind(
            "visible_weight",
            "visible_weight_<tile>",
            "float32",
            "",
            "sum of the weights of the stations that see each cell",
            math.nan,
        ),
        RasterKind(
            "least_depth",
            "least_depth_<tile>",
            "float32",
            "m",
            "metres a thing must stand tall in each cell to be seen by any station; 0: the ground is seen",
            math.nan,
        ),
        RasterKind(
            "expected_count",
            "expected_count_<tile>",
            "float32",
            "",
            "stations expected to see each cell: the sum of their chances by the error model",
            math.nan,
        ),
        RasterKind(
            "best_chance",
            "best_chance_<tile>",
            "float32",
            "0 to 1",
            "the greatest chance that one station sees each cell, by the error model",
            math.nan,
        ),
    )
}
