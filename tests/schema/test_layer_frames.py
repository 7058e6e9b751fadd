"""Frames made as the schema declares them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely

from hillsight.schema.frames import BUT_STATION, column_names, frame_of, frame_of_rows, in_order, with_station
from hillsight.schema.layers import LAYERS

DTYPES = {"text": "object", "real": "float64", "integer": ("int64", "Int64"), "boolean": ("bool", "boolean")}


@pytest.mark.parametrize("layer", LAYERS)
def test_a_frame_has_the_columns_in_order_with_their_types_whether_it_has_rows_or_not(layer):
    values = {"text": "word", "real": 1.5, "integer": 3, "boolean": True}
    least = {c.name: values[c.type] for c in reversed(LAYERS[layer].columns) if not c.optional}
    for rows in ([], [least, least]):
        frame = frame_of_rows(layer, rows, [shapely.Point(1, 2)] * len(rows), "EPSG:27700")
        assert list(frame.columns) == [*column_names(layer), "geometry"]
        for column in LAYERS[layer].columns:
            dtype = DTYPES[column.type]
            assert frame[column.name].dtype == (dtype if isinstance(dtype, str) else dtype[column.optional])
            assert frame[column.name].isna().all() == (column.optional or not rows)
        assert frame.crs.to_epsg() == 27700


def test_nulls_of_every_kind_are_null():
    frame = frame_of(
        "dead_ground_by_crest",
        {
            **dict.fromkeys(column_names("dead_ground_by_crest"), np.ones(4)),
            "station": ["a"] * 4,
            "crest": [None, np.nan, pd.NA, 7.0],
            "role": [None, float("nan"), pd.NA, "brow"],
            "depth_max_m": [None, np.nan, pd.NA, 2],
        },
        shapely.points(np.arange(8.0).reshape(4, 2)),
        "EPSG:27700",
    )
    assert frame["crest"].isna().tolist() == [True, True, True, False]
    assert frame["role"].tolist() == [None, None, None, "brow"]
    assert frame["depth_max_m"].isna().tolist() == [True, True, True, False]


def test_a_misspelt_or_a_missing_column_is_refused():
    row = {"station": "a", "area_ha": 1.0}
    for wrong, what in (({**row, "crests": 1}, "crests"), ({"station": "a"}, "area_ha")):
        with pytest.raises(ValueError, match=what):
            frame_of_rows("visible_ground", [wrong], [shapely.Point(0, 0)], None)
    with pytest.raises((TypeError, ValueError)):  # a pocket without its number
        columns = {
            **{name: [1.0] for name in column_names("dead_ground")},
            "station": ["a"],
            "pocket": [None],
        }
        frame_of("dead_ground", columns, [shapely.Point(0, 0)], None)


def test_a_reading_goes_without_its_station_until_stations_are_put_together():
    frame = frame_of("visible_ground", {"area_ha": [1.0]}, [shapely.Point(0, 0)], None, but=BUT_STATION)
    assert list(frame.columns) == ["area_ha", "geometry"]
    whole = with_station(frame, "Saddle")
    assert list(whole.columns) == [*column_names("visible_ground"), "geometry"]
    assert whole["station"].tolist() == ["Saddle"]
    assert "station" not in frame.columns


def test_what_a_file_gives_back_gets_the_order_and_the_types():
    shuffled = frame_of(
        "relations",
        {
            **{name: ["x"] for name in column_names("relations")},
            "rank": [1],
            "other_rank": [2],
            "gap_deg": [3],
            "nearer_by_m": [None],
        },
        [shapely.Point(0, 0)],
        "EPSG:27700",
    )
    again = in_order(shuffled.astype({"rank": float})[list(reversed(shuffled.columns))], LAYERS["relations"])
    assert list(again.columns) == list(shuffled.columns)
    assert again.dtypes.tolist() == shuffled.dtypes.tolist()
    older = in_order(shuffled.drop(columns="nearer_by_m"), LAYERS["relations"])
    assert older.dtypes.tolist() == shuffled.dtypes.tolist()
    assert older["nearer_by_m"].isna().all()
    with pytest.raises(KeyError, match="gap_deg"):
        in_order(shuffled.drop(columns="gap_deg"), LAYERS["relations"])
