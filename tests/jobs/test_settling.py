"""Parameters as Python people give them: numbers of numpy, tables of pandas, names that are missing."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal

from hillsight.errors import CallError
from hillsight.jobs.bearings import bearings
from hillsight.jobs.outlook import outlook
from hillsight.jobs.scene import direction_deg
from hillsight.jobs.settling import a_direction, a_place
from jobs.worlds import world

AT = (300_700.0, 699_000.0, "Cairn")


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return world(tmp_path_factory.mktemp("world")) / "ground.tif"


@pytest.mark.parametrize("degrees", [45, 45.0, np.float64(45), np.float32(45), np.int64(45), "45"])
def test_a_direction_may_be_any_number(degrees):
    assert direction_deg(a_direction("looks", degrees)) == 45.0


@pytest.mark.parametrize("nonsense", [True, np.bool_(True), [45]])
def test_what_is_no_direction_is_refused(nonsense):
    with pytest.raises(CallError, match="not a text") as error:
        a_direction("looks", nonsense)
    assert error.value.parameters == ("looks",)


@pytest.mark.parametrize("missing", [None, float("nan"), np.nan, pd.NA, pd.NaT])
def test_a_place_whose_name_is_missing_has_no_name(missing):
    assert a_place("at", (300_000, np.float64(700_000), missing)) == "300000.0,700000.0"
    assert a_place("at", (300_000, 700_000, "nan")) == "300000.0,700000.0,nan"


def test_a_table_of_pandas_is_one_source(ground, tmp_path):
    stations = pd.DataFrame({"name": ["Cairn"], "easting": [300_700.0], "northing": [699_000.0]})
    features = pd.DataFrame(
        {"name": ["Knoll"], "kind": ["knoll"], "easting": [300_800.0], "northing": [699_500.0]}
    )
    asked = {"reach": 900, "date": "2026-06-01"}
    in_memory = bearings(ground, stations=stations, features=features, **asked)
    stations.to_csv(tmp_path / "stations.csv", index=False)
    features.to_csv(tmp_path / "features.csv", index=False)
    by_file = bearings(
        ground, stations=tmp_path / "stations.csv", features=tmp_path / "features.csv", **asked
    )
    listed, wanted = (found.frames["bearing_list"].drop(columns="source") for found in (in_memory, by_file))
    assert_geodataframe_equal(listed, wanted)
    assert list(listed["name"]) == ["Knoll"]
    checksums = [item.sha256 for item in in_memory.provenance.inputs[1:]]
    assert len(checksums) == len(set(checksums)) == 2 and all(checksums)


@pytest.mark.parametrize(
    ("landforms", "said"),
    [
        (
            geopandas.GeoDataFrame(geometry=[shapely.Point(0, 0)], crs=27700),
            "the landforms are a GeoDataFrame",
        ),
        ({"tops": geopandas.GeoDataFrame(geometry=[shapely.Point(0, 0)])}, "layer tops do not say their CRS"),
        ({"tops": pd.DataFrame({"name": ["Cairn"]})}, "layer tops do not say their CRS"),
        (3.5, "the landforms are a float"),
    ],
)
def test_landforms_of_another_kind_are_refused(ground, landforms, said):
    with pytest.raises(CallError, match=said) as error:
        bearings(ground, at=AT, landforms=landforms)
    assert error.value.parameters == ("landforms",)


def test_an_evidence_table_is_a_file(ground):
    with pytest.raises(CallError, match="evidence is a dict") as error:
        bearings(ground, at=AT, features="features.gpkg", evidence={"knoll": "shape"})
    assert error.value.parameters == ("evidence",)


def test_a_sector_that_ends_in_the_north_needs_features_too(ground):
    with pytest.raises(CallError, match="to bearing is about map features") as error:
        outlook(ground, at=AT, to_bearing=0)
    assert error.value.parameters == ("to_bearing", "features")
