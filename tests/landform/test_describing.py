"""What descriptions say, word for word."""

from __future__ import annotations

from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

from hillsight.landform.describing import described
from hillsight.schema.frames import column_names
from hillsight.schema.landforms import LANDFORM_LAYERS
from landform.known import CENTRE

Frames = dict[str, geopandas.GeoDataFrame]


def frames_of(**rows: list[dict[str, Any]]) -> Frames:
    """Frames of all layers with these rows; columns that a row leaves out are None."""
    out = {}
    for layer in (declared.name for declared in LANDFORM_LAYERS):
        columns = column_names(layer)
        made = [{c: row.get(c) for c in columns} for row in rows.get(layer, [])]
        geometry = [row.get("geometry", shapely.Point(CENTRE)) for row in rows.get(layer, [])]
        table = pd.DataFrame(made, columns=columns, dtype=object)
        out[layer] = geopandas.GeoDataFrame(table, geometry=geometry, crs="EPSG:27700")
    return out


HIGH = {"landform": "t1", "kind": "summit", "height_m": 512.4, "prominence_m": 87.6, "is_least": True}
LOW = {
    "landform": "t2",
    "kind": "knoll",
    "height_m": 430.2,
    "prominence_m": 11.9,
    "is_least": False,
    "name": "Rook Hill",
}
SADDLE = {"landform": "s1", "height_m": 418.3, "higher_top": "t1", "lower_top": "t2"}
RIDGE = {
    "landform": "r1",
    "height_min_m": 418.3,
    "height_max_m": 512.4,
    "higher_top": "t1",
    "lower_top": "t2",
    "saddle": "s1",
}
VALLEY = {"landform": "v1", "length_m": 1234.4, "drop_m": 56.7, "height_min_m": 201.0}


def say(layer: str, row: dict[str, Any], **more: list[dict[str, Any]]) -> str:
    rows = {"tops": [HIGH, LOW], "saddles": [SADDLE], "ridges": [RIDGE], "valley_lines": [VALLEY], **more}
    rows[layer] = [*(r for r in rows.get(layer, []) if r.get("landform") != row["landform"]), row]
    return str(described(frames_of(**rows))[layer]["description"].iloc[-1])


FOLD = {"falls_towards": "NE", "length_m": 310.2, "drop_m": 45.4}
AREA = {"landform": "a", "area_ha": 1234.56, "height_mean_m": 333.3}

SENTENCES = [
    ("tops", HIGH, "summit at 512 m, prominence at least 88 m"),
    ("tops", LOW, "knoll at 430 m, prominence 12 m"),
    ("saddles", SADDLE, "saddle at 418 m between the top at 512 m and Rook Hill"),
    ("ridges", RIDGE, "ridge from the top at 512 m over the saddle at 418 m to Rook Hill"),
    ("ridges", {**RIDGE, "saddle": None}, "ridge of the top at 512 m, 418 to 512 m"),
    ("ridges", {**RIDGE, "higher_top": None, "lower_top": None}, "ridge, 418 to 512 m"),
    ("valley_lines", VALLEY, "valley line, 1,234 m long, falling 57 m"),
    (
        "valley_lines",
        {**VALLEY, "landform": "v2", "into": "v1"},
        "valley line, 1,234 m long, falling 57 m, running into the valley at 201 m",
    ),
    (
        "spurs",
        {"landform": "p", "top": "t2", **FOLD},
        "spur falling NE from Rook Hill, 310 m long, dropping 45 m",
    ),
    ("spurs", {"landform": "p", **FOLD}, "spur falling NE, 310 m long, dropping 45 m"),
    (
        "re_entrants",
        {"landform": "e", "valley": "v1", "depth_m": 8.4, **FOLD},
        "re-entrant falling NE into the valley at 201 m, 310 m long, 8 m deep",
    ),
    ("re_entrants", {"landform": "e", "depth_m": 8.4, **FOLD}, "re-entrant falling NE, 310 m long, 8 m deep"),
    (
        "breaks_of_slope",
        {
            "landform": "b",
            "kind": "convex_edge",
            "length_m": 2000.0,
            "slope_above_deg": 8.2,
            "slope_below_deg": 25.6,
        },
        "convex edge, 2,000 m long, from 8 degrees above to 26 below",
    ),
    (
        "breaks_of_slope",
        {
            "landform": "b",
            "kind": "concave_foot",
            "length_m": 20.0,
            "slope_above_deg": 28.2,
            "slope_below_deg": 5.6,
        },
        "concave foot, 20 m long, from 28 degrees above to 6 below",
    ),
    ("level_ground", {**AREA, "kind": "shelf"}, "shelf at 333 m, 1,234.6 ha"),
    (
        "level_ground",
        {**AREA, "kind": "flat_top", "top": "t1"},
        "flat top of the top at 512 m at 333 m, 1,234.6 ha",
    ),
    ("level_ground", {**AREA, "kind": "floor"}, "level floor at 333 m, 1,234.6 ha"),
    (
        "steep_ground",
        {**AREA, "slope_from_deg": 30.0, "slope_to_deg": 40.0, "faces_towards": "W"},
        "ground of 30 to 40 degrees facing W, 1,234.6 ha",
    ),
    (
        "steep_ground",
        {**AREA, "slope_from_deg": 40.0, "slope_to_deg": np.nan, "faces_towards": "W"},
        "ground of 40 degrees and more facing W, 1,234.6 ha",
    ),
    (
        "hollows",
        {**AREA, "depth_m": 12.6, "depth_plus_minus_m": 2.8, "state": "hollow"},
        "hollow 13 m deep, give or take 3 m, 1,234.6 ha",
    ),
    (
        "hollows",
        {**AREA, "depth_m": 0.2, "depth_plus_minus_m": 2.8, "state": "uncertain"},
        "perhaps a hollow, less than 1 m deep (give or take 3 m), 1,234.6 ha: "
        "the model may close its way out",
    ),
]


@pytest.mark.parametrize(("layer", "row", "sentence"), SENTENCES)
def test_sentences(layer: str, row: dict[str, Any], sentence: str) -> None:
    assert say(layer, row) == sentence


def test_names_are_used_for_others_and_not_for_the_landform_itself() -> None:
    named = {**VALLEY, "name": "Long Beck"}
    assert say("valley_lines", named) == "valley line, 1,234 m long, falling 57 m"
    sentence = say(
        "re_entrants", {"landform": "e", "valley": "v1", "depth_m": 8.4, **FOLD}, valley_lines=[named]
    )
    assert sentence == "re-entrant falling NE into Long Beck, 310 m long, 8 m deep"
    ridge = say("ridges", RIDGE, saddles=[{**SADDLE, "name": "Hare Gap"}])
    assert ridge == "ridge from the top at 512 m over Hare Gap to Rook Hill"


def test_every_layer_is_described_and_nothing_else_changes() -> None:
    frames = frames_of(tops=[HIGH, LOW], saddles=[SADDLE])
    found = described(frames)
    assert list(found) == [layer.name for layer in LANDFORM_LAYERS]
    assert [len(frame) for frame in found.values()] == [2, 1] + [0] * 8
    for layer, frame in found.items():
        assert list(frame.columns) == list(frames[layer].columns)
        assert frame.drop(columns="description").equals(frames[layer].drop(columns="description"))
    again = described(found)
    assert again["tops"].description.tolist() == found["tops"].description.tolist()


def test_a_landform_that_belongs_to_one_left_out_is_described_all_the_same() -> None:
    """Where only what is near a station is told, the valley or ridge that something runs into may not be."""
    away = {**VALLEY, "landform": "v2", "into": "v9"}
    assert say("valley_lines", away) == "valley line, 1,234 m long, falling 57 m"
    fold = {"landform": "e", "valley": "v9", "depth_m": 8.4, **FOLD}
    assert say("re_entrants", fold) == "re-entrant falling NE, 310 m long, 8 m deep"
