"""What pandas makes of texts, which hangs on its version and on pyarrow, shows in nothing hillsight does.

From version 3 pandas takes columns of texts for its ``str``, which pyarrow keeps where that is installed
(pandas.pydata.org, "Migration guide for the new string data type"). pyarrow refuses half surrogates.
"""

from __future__ import annotations

import traceback
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pytest

import hillsight
from hillsight.jobs.memory import Raster
from hillsight.schema.frames import plain_texts, texts
from hillsight.schema.layers import LAYERS
from jobs.worlds import NEAR, NORTH, SPACING, WEST, features, heights, stations

HALF = "Half \ud800 Knoll"
GROUND = Raster(heights(), (SPACING, 0.0, WEST, 0.0, -SPACING, NORTH), "EPSG:27700")


def hostile(frame: geopandas.GeoDataFrame) -> geopandas.GeoDataFrame:
    """The same with texts as objects, the first name with half a surrogate."""
    frame = frame.astype({"name": object})
    frame["name"] = pd.Series([HALF, *frame["name"][1:]], dtype=object)
    return frame


@pytest.fixture
def no_inferred_texts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing in hillsight may leave to pandas what becomes of texts, but for the names of columns."""
    if pd.Series(["a"]).dtype == object:
        pytest.skip("this pandas takes texts for objects")
    kept = type(pd.Series(["a"]).array)
    original = kept.__dict__.get("_from_sequence") or kept._from_sequence

    def watched(cls: type, scalars: Any, *, dtype: Any = None, copy: bool = False) -> Any:
        ours = [f for f in traceback.extract_stack() if "hillsight" in f.filename.replace("tests", "")]
        asked = next((f for f in ours[::-1] if "/processing/" in f.filename.replace("\\", "/")), None)
        of_columns = any("indexes" in f.filename for f in traceback.extract_stack()[-8:])
        reads = asked is not None and "pyogrio.read_dataframe" in (asked.line or "")
        if asked is not None and not of_columns and not reads:
            raise AssertionError(f"texts left to pandas: {asked.filename}:{asked.lineno}")
        return original.__func__(cls, scalars, dtype=dtype, copy=copy)

    monkeypatch.setattr(kept, "_from_sequence", classmethod(watched))


def assert_objects(frames: Any) -> None:
    for layer, frame in frames.items():
        for column in LAYERS[layer].columns:
            if column.type == "text":
                assert frame[column.name].dtype == object, (layer, column.name)
                assert {type(v) for v in frame[column.name]} <= {str, type(None)}, (layer, column.name)


@pytest.mark.usefixtures("no_inferred_texts")
def test_half_a_letter_in_names_and_errors_of_the_ground(tmp_path):
    told = hillsight.outlook(
        GROUND,
        stations=hostile(stations()),
        features=hostile(features()),
        at=[NEAR],
        reach=500.0,
        sector_width=45.0,
        landforms=True,
        scales=(100.0,),
        terrain_error=1.0,
        out=tmp_path / "a.gpkg",
        csv=tmp_path / "a.csv",
    )
    assert_objects(told.frames)
    assert "Half <U+D800> Knoll" in set(told.frames["bearing_list"]["name"])
    cut = hillsight.profile(
        GROUND,
        at=[NEAR],
        features=hostile(features()),
        to_feature=(HALF,),
        csv=tmp_path / "b.csv",
        drawing=tmp_path / "b.svg",
    )
    assert_objects(cut.frames)


@pytest.mark.parametrize("storage", ["python", "pyarrow", "category"])
def test_tables_in_memory_are_read_alike_whatever_their_texts_are_kept_in(storage):
    if storage == "pyarrow":
        pytest.importorskip("pyarrow", reason="pyarrow is not installed")
    plain, given = features(), features()
    for name in ("name", "kind"):
        dtype = storage if storage == "category" else pd.StringDtype(storage, na_value=np.nan)
        plain[name], given[name] = plain[name].astype(object), given[name].astype(dtype)
    one, other = (
        hillsight.bearings(GROUND, at=[NEAR], features=frame, reach=500.0) for frame in (plain, given)
    )
    assert len(one.frames["bearing_list"]) >= 3
    for layer, frame in one.frames.items():
        pd.testing.assert_frame_equal(pd.DataFrame(frame), pd.DataFrame(other.frames[layer]))
    assert_objects(other.frames)


def test_texts_are_objects_and_nulls_are_none():
    frame = pd.DataFrame({"a": pd.array(["x", None], dtype="str"), "n": [1, 2]}, index=[4, 7])
    plain = plain_texts(frame)
    assert plain["a"].dtype == object
    assert plain["a"].tolist() == ["x", None]
    assert plain.index.tolist() == [4, 7]
    assert plain["n"].dtype == frame["n"].dtype
    assert texts(np.array(["x", "y"])).map(type).tolist() == [str, str]
    assert texts([None, np.nan, pd.NA, HALF]).tolist() == [None, None, None, HALF]
