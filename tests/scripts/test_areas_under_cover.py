"""What a place sees under leafy woods: dead ground, viewsheds and batches tell the same four areas."""

from __future__ import annotations

import geopandas
import numpy as np
import pytest
import shapely

import hillsight
from hillsight.words.states import GroundState
from scripts.commands import AT, NORTH, REACH, WEST, terrain

AREAS = ["reach_ha", "visible_ha", "hidden_ha", "unknown_ha", "uncertain_ha"]


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    folder = tmp_path_factory.mktemp("woods")
    wood = shapely.box(WEST + 330, NORTH - 400, WEST + 420, NORTH - 180)
    cover = geopandas.GeoDataFrame({"kind": ["wood"]}, geometry=[wood], crs="EPSG:27700")
    return {
        "terrain": terrain(folder),
        "at": AT,
        "reach": float(REACH),
        "cover": cover,
        "leaf": "off",
    }


def test_outlines_of_cells_have_the_areas_of_the_viewshed_to_the_cell(asked: dict[str, object]) -> None:
    outlined = hillsight.dead_ground(**asked, cells=True)
    counted = hillsight.viewshed(**asked)
    mine, theirs = outlined.frames["stations"].iloc[0], counted.frames["stations"].iloc[0]
    assert theirs["uncertain_ha"] > 0.5
    assert theirs["hidden_ha"] > 0.5
    for column in AREAS:
        assert mine[column] == pytest.approx(theirs[column], abs=1e-9), column


def test_the_four_kinds_of_ground_tile_the_reach(asked: dict[str, object]) -> None:
    found = hillsight.dead_ground(**asked)
    row = found.frames["stations"].iloc[0]
    layers = ("visible_ground", "dead_ground", "unknown_ground", "uncertain_ground")
    shapes = [shapely.union_all(found.frames[layer].geometry.to_numpy()) for layer in layers]
    for shape, column in zip(shapes, AREAS[1:], strict=True):
        assert shape.area / 1e4 == pytest.approx(row[column], abs=1e-6), column
    assert row["uncertain_ha"] > 0.5
    assert sum(row[AREAS[1:]]) == pytest.approx(row["reach_ha"], rel=1e-9)
    # They overlap nowhere.
    assert shapely.union_all(shapes).area == pytest.approx(sum(shape.area for shape in shapes), rel=1e-9)


def test_posts_lie_in_the_ground_that_the_raster_calls_them(asked: dict[str, object]) -> None:
    found = hillsight.dead_ground(**asked)
    raster = hillsight.viewshed(**asked).rasters
    (name,) = [one for one in raster if one.startswith("viewshed")]
    codes, grid = raster[name].array, raster[name].transform
    row, column = np.indices(codes.shape)
    east, north = grid[0] + (column + 0.5) * grid[1], grid[3] + (row + 0.5) * grid[5]
    for layer, code in (
        ("visible_ground", GroundState.VISIBLE),
        ("dead_ground", GroundState.HIDDEN),
        ("uncertain_ground", GroundState.UNCERTAIN),
    ):
        shape = shapely.union_all(found.frames[layer].geometry.to_numpy())
        place = found.frames["stations"].geometry.iloc[0]
        near = np.hypot(east - place.x, north - place.y) < float(REACH) - 0.5
        assert ((shapely.contains_xy(shape, east, north) & near) == ((codes == code) & near)).all(), layer


def test_no_ground_is_uncertain_without_cover(asked: dict[str, object]) -> None:
    bare = {key: value for key, value in asked.items() if key not in ("cover", "leaf")}
    for row in (hillsight.dead_ground(**bare), hillsight.viewshed(**bare)):
        assert row.frames["stations"].iloc[0]["uncertain_ha"] == 0
