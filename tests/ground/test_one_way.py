"""All that one run carries between two systems goes one way, chosen where the work is and not by a frame."""

from __future__ import annotations

import geopandas
import pytest
import shapely
from pyproj import CRS

from hillsight.ground import vector
from hillsight.ground.grid import Grid
from hillsight.ground.transform import middle_of, operation_between
from hillsight.layers.contents import Content


def test_layers_far_apart_are_carried_by_the_way_of_the_work(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def noted(source, target, near):
        asked.append(near)
        return operation_between(source, target, near)

    monkeypatch.setattr(vector, "operation_between", noted)
    frames = {
        name: geopandas.GeoDataFrame({"geometry": [shapely.Point(*place)]}, crs="EPSG:27700")
        for name, place in {"north": (320_000, 960_000), "south": (180_000, 20_000)}.items()
    }
    Content("a", frames, {}, {}, ()).in_crs(CRS(4326), (-3.0, 54.0))
    assert asked == [(-3.0, 54.0)] * 2


def test_the_middle_of_a_grid() -> None:
    # Grid origin of EPSG:32631 (EPSG Guidance Note 7-2, UTM): longitude 3, latitude 0 is E 500 000 N 0.
    grid = Grid(CRS(32631), 499_000.0, 500.0, 10.0, 10.0, 101, 201)
    assert middle_of(grid) == pytest.approx((3.0, 0.0), abs=1e-9)
