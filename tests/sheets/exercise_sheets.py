"""A made exercise as its printed sheets have it, with three places on made ground."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import geopandas
import numpy as np
import shapely
from pyproj import CRS

from hillsight.ground.grid import Grid, Surface
from hillsight.plan.exercise.marking import DECIDES, NOT_SO, TELLS_NOTHING
from hillsight.sheets.exercise.page_data import PageReason
from hillsight.sheets.exercise.sheet_data import SheetData, SheetPlace, Sight
from hillsight.sheets.map.margin import North
from sheets.exercise_pages import view

UTM = CRS("EPSG:32630")
WEST, NORTH, SPACING_M, POSTS = 400_000.0, 5_006_000.0, 25.0, 240
SECRETS = ("the ridge end", "the shelf", "the saddle foot", "where the wall bends")


def surface() -> Surface:
    row, column = np.mgrid[0:POSTS, 0:POSTS].astype(float)
    height_m = 300.0 + 120.0 * np.sin(row / 31.0) * np.cos(column / 27.0) + 0.2 * row
    return Surface(Grid(UTM, WEST, NORTH, SPACING_M, SPACING_M, POSTS, POSTS), height_m.astype(np.float32))


def features() -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame(
        {"name": ["Brock Knott"], "kind": ["summit"], "evidence_class": ["ground_shape"]},
        geometry=[shapely.Point(WEST + 3_200.0, NORTH - 2_800.0)],
        crs=UTM,
    )


def sheets(*, truth: int = 1, places: int = 3, title: str = "Above the tarn", **changes: Any) -> SheetData:
    """An exercise with so many places; the picture is the same whichever is true."""
    made = []
    for k in range(places):
        east_m, north_m = WEST + 2_400.0 + 320.0 * (k % 4), NORTH - 2_600.0 - 330.0 * (k // 4) - 90.0 * k
        dead = shapely.box(east_m + 200.0, north_m - 900.0, east_m + 900.0, north_m - 300.0)
        crest = shapely.LineString([(east_m + 100.0, north_m - 250.0), (east_m + 500.0, north_m - 250.0)])
        layers = {
            "dead_ground": geopandas.GeoDataFrame(geometry=[dead], crs=UTM),
            "crest_lines": geopandas.GeoDataFrame({"role": ["brow"]}, geometry=[crest], crs=UTM),
        }
        sights = (
            Sight(1, east_m + 300.0, north_m - 250.0, (np.asarray(crest.coords),),
                  "130° grid, 130° true, 390 m, 9 m below the eye"),
            Sight(2, WEST + 3_200.0, NORTH - 2_800.0, (),
                  "Brock Knott 095° grid, 095° true, 0.7 km, 40 m above the eye"),
        )  # fmt: skip
        made.append(
            SheetPlace(
                letter="ABCDEFGHIJKLM"[k],
                name=SECRETS[k % len(SECRETS)] + ("" if k < len(SECRETS) else f" {k}"),
                where=f"E {east_m:,.0f} N {north_m:,.0f}; would look 105° to 165° true",
                is_true=k == truth,
                easting_m=east_m,
                northing_m=north_m,
                looks_grid_deg=135.0,
                layers=layers,
                sights=sights,
                view=view(k + 2, (1, 2)),
                ruled_out=() if k == truth else ("In the picture, near ground is short; here it is long.",),
            )
        )  # fmt: skip
    reasons = (
        PageReason(1, "The near ground turns out of view at about 60 m.", DECIDES, "ground_shape", 6,
                   "It rules out A and C: from B it turns out of view at 58 m; from A, C it stays in view."),
        PageReason(2, "The tarn is left of the summit.", DECIDES, "water", 2, "It rules out A."),
        PageReason(3, "A wall runs across the slope.", TELLS_NOTHING, "man_made", 0, "True of every place."),
        PageReason(4, "Ground stays in view for 600 m.", NOT_SO, "ground_shape", -1, "It is what C shows."),
    )  # fmt: skip
    data = SheetData(
        title=title,
        question="From which of these places was the picture taken, and how do you know?",
        picture=view(1, (1,)),
        places=tuple(made),
        surface=surface(),
        features=features(),
        width_deg=60.0,
        scale=25_000.0,
        grid_scale_factor=0.9996,
        reasons=reasons,
        mistakes=("42 of 500 simulated learners choose C.",),
        cautions=("A view drawn from terrain posts leaves out trees.",),
        north=North(1.2),
        made_of="Made by hillsight exercise print from upland.tif.",
        provenance='{"script": "exercise print"}',
    )
    return replace(data, **changes)
