"""Layers of several files for a map: which rows, in which CRS, and what is refused."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from pyproj import CRS

import terrains
from hillsight import outlook, viewshed
from hillsight.errors import FeatureError
from hillsight.layers.map_layers import read_map_layers

NATIONAL = CRS.from_epsg(27700)
NEAR = (-3.6, 56.2)  # of 300000, 700000 on the British grid


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("layers")
    terrains.write_geotiff(folder / "ground.tif", terrains.fractal(81, 81, seed=2, relief_m=80.0))
    places = ((300_300.0, 699_700.0, "One"), (300_500.0, 699_500.0, "Two"))
    outlook(folder / "ground.tif", at=places, reach=250.0, out=folder / "two.gpkg")
    viewshed(folder / "ground.tif", at=places[:1], reach=250.0, out=folder / "states.gpkg")
    return folder


def test_rows_of_one_station_or_of_all(written: Path) -> None:
    both = read_map_layers([str(written / "two.gpkg")], NATIONAL, NEAR)
    assert both.stations == ("One", "Two")
    assert set(both.frames["crest_lines"]["station"]) == {"One", "Two"}
    one = read_map_layers([str(written / "two.gpkg")], NATIONAL, NEAR, "Two")
    assert set(one.frames["dead_ground"]["station"]) == {"Two"}
    assert one.stations == ("Two",)
    assert one.viewshed is None  # the layers tell the states


def test_states_come_from_the_raster_where_no_layer_tells_them(written: Path) -> None:
    read = read_map_layers([str(written / "states.gpkg")], NATIONAL, NEAR)
    assert "dead_ground" not in read.frames
    assert read.viewshed is not None
    assert {1, 3} <= set(np.unique(read.viewshed.array))


def test_layers_of_others_are_carried_to_the_grid(written: Path, tmp_path: Path) -> None:
    place = geopandas.GeoSeries([shapely.Point(300_400.0, 699_600.0)], crs=NATIONAL)
    frame = geopandas.GeoDataFrame({"name": ["Hut"]}, geometry=place.to_crs(32630))
    frame.to_file(tmp_path / "huts.gpkg", layer="huts")
    read = read_map_layers([str(tmp_path / "huts.gpkg")], NATIONAL, NEAR)
    assert list(read.frames) == ["huts"]
    at = read.frames["huts"].geometry[0]
    # The two ways between the datums may differ by metres: pyproj's own against the package's one.
    assert np.hypot(at.x - 300_400.0, at.y - 699_600.0) < 5.0


def test_what_holds_nothing_to_draw_is_refused(written: Path, tmp_path: Path) -> None:
    import pandas
    import pyogrio

    with pytest.raises(FeatureError, match="no such file"):
        read_map_layers([str(tmp_path / "none.gpkg")], NATIONAL, NEAR)
    (tmp_path / "text.gpkg").write_text("not a package")
    with pytest.raises(FeatureError, match="holds no layers"):
        read_map_layers([str(tmp_path / "text.gpkg")], NATIONAL, NEAR)
    pyogrio.write_dataframe(pandas.DataFrame({"a": [1]}), tmp_path / "table.gpkg")
    with pytest.raises(FeatureError, match="no layer of the file has a geometry"):
        read_map_layers([str(tmp_path / "table.gpkg")], NATIONAL, NEAR)
    with pytest.raises(FeatureError, match=r"no layer has a station 'Three'.*One, Two"):
        read_map_layers([str(written / "two.gpkg")], NATIONAL, NEAR, "Three")


def test_a_map_of_another_hand_is_shown_where_it_goes(tmp_path: Path) -> None:
    foreign = geopandas.GeoDataFrame({"title": ["A"]}, geometry=[shapely.Point(0, 0)], crs=NATIONAL)
    foreign.to_file(tmp_path / "other.gpkg", layer="tops")
    with pytest.raises(FeatureError, match="no layer tops as hillsight writes it") as told:
        read_map_layers([str(tmp_path / "other.gpkg")], NATIONAL, NEAR)
    assert "features" in told.value.parameters


def test_depths_come_with_dead_ground_of_one_station(written: Path) -> None:
    one = read_map_layers([str(written / "two.gpkg")], NATIONAL, NEAR, "Two")
    assert one.depth is not None
    other = read_map_layers([str(written / "two.gpkg")], NATIONAL, NEAR, "One")
    assert other.depth is not None
    assert np.nanmin(one.depth.array) >= 0.0
    assert not np.array_equal(one.depth.array, other.depth.array, equal_nan=True)
    assert read_map_layers([str(written / "two.gpkg")], NATIONAL, NEAR).depth is None


def test_layers_that_are_to_be_left_are_named_and_not_read(written: Path) -> None:
    read = read_map_layers([str(written / "two.gpkg")], NATIONAL, NEAR, leave=("skyline_bearings",))
    assert read.left == ("skyline_bearings",)
    assert "skyline_bearings" not in read.frames
    assert "crest_lines" in read.frames
