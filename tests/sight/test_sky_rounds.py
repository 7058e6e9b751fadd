"""The sky's edge for many eyes: against the walk for one eye, and a walk over every crossing."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS

import oracle
from hillsight.ground.grid import Grid, Surface
from hillsight.ground.terrain import open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.kernels.threads import limited_to
from hillsight.sight.far_sky import FarGround, far_sky
from hillsight.sight.sky_rounds import sky_rounds
from hillsight.sight.viewing import Eye
from shared_data import shared_file
from terrains import fractal, with_hole

BEARINGS = np.arange(0.0, 360.0, 1.5)
DROP = 0.87 / (2 * 6_371_000.0)

#: A float32 holds degrees below 90 to some 4e-6.
ROUNDED_DEG = 8e-6


def surface_of(height_m: np.ndarray, spacing_m: float = 50.0) -> Surface:
    height_m = np.asarray(height_m, np.float32)
    return Surface(Grid(CRS(27700), 200_000.0, 800_000.0, spacing_m, spacing_m, *height_m.shape), height_m)


def one_by_one(
    far: FarGround, row: np.ndarray, column: np.ndarray, level_m: np.ndarray, drop: float
) -> np.ndarray:
    none = np.full(BEARINGS.size, np.nan)
    found = []
    for r, c, level in zip(row, column, level_m, strict=True):
        east, north = (float(v) for v in far.surface.grid.to_map(r, c))
        one = far_sky(far, east, north, level, drop, BEARINGS, none, none, none)
        found.append((np.degrees(np.arctan(one.slope)), one.distance_m))
    return np.array(found)


@pytest.mark.parametrize("drop", [DROP, 0.0, 40 * DROP])
@pytest.mark.parametrize("holed", [False, True])
def test_many_eyes_see_what_each_sees(drop: float, holed: bool) -> None:
    random = np.random.default_rng(3)
    height_m = np.asarray(fractal(140, 170, seed=11, relief_m=700.0), np.float32)
    surface = surface_of(with_hole(height_m, 60, 90, 20, 15) if holed else height_m)
    far = FarGround.of(surface)
    # Neighbours that follow each other, then eyes all over.
    row = np.r_[30.0 + 0.5 * np.arange(40), random.uniform(1, 138, 30)]
    column = np.r_[np.full(40, 51.25), random.uniform(1, 168, 30)]
    level_m = surface.heights_at_m(*surface.grid.to_map(row, column)) + 1.6
    known = np.isfinite(level_m)
    found = sky_rounds(far, row, column, level_m, drop, BEARINGS)
    assert found.angle_deg.shape == (70, BEARINGS.size) and found.angle_deg.dtype == np.float32
    assert np.isnan(found.angle_deg[~known]).all() and np.isnan(found.distance_m[~known]).all()
    expected = one_by_one(far, row[known], column[known], level_m[known], drop)
    assert np.abs(found.angle_deg[known] - expected[:, 0]).max() < ROUNDED_DEG
    # Two crests may stand equally high: then either is right.
    assert (np.abs(found.distance_m[known] - expected[:, 1]) > 0.01).mean() < 1e-3


def test_it_is_the_highest_of_all_crossings() -> None:
    random = np.random.default_rng(8)
    surface = surface_of(fractal(60, 80, seed=4, relief_m=500.0))
    row, column = random.uniform(2, 57, 12), random.uniform(2, 77, 12)
    level_m = surface.heights_at_m(*surface.grid.to_map(row, column)) + 1.6
    found = sky_rounds(FarGround.of(surface), row, column, level_m, DROP, BEARINGS).angle_deg
    for k in range(row.size):
        eye = Eye(row[k], column[k], float(level_m[k]), DROP)
        lowered = oracle.lowered_posts(surface.height_m, 50.0, 50.0, eye.row, eye.column, DROP)
        for i in range(0, BEARINGS.size, 17):
            walk = oracle.look_along(lowered, 50.0, 50.0, eye, np.inf, BEARINGS[i])
            assert found[k, i] == pytest.approx(np.degrees(np.arctan(walk.skyline_slope)), abs=ROUNDED_DEG)


def test_neither_order_nor_threads_change_an_answer() -> None:
    random = np.random.default_rng(5)
    surface = surface_of(fractal(100, 100, seed=9, relief_m=500.0))
    row, column = random.uniform(2, 97, 300), random.uniform(2, 97, 300)
    level_m = surface.heights_at_m(*surface.grid.to_map(row, column)) + 1.6
    far = FarGround.of(surface)
    order = random.permutation(300)
    one = sky_rounds(far, row, column, level_m, DROP, BEARINGS).angle_deg
    with limited_to(2):
        other = sky_rounds(far, row[order], column[order], level_m[order], DROP, BEARINGS).angle_deg
    assert np.abs(one[order] - other).max() < ROUNDED_DEG
    assert (np.abs(one[order] - other) > 0).mean() < 1e-3


def test_from_off_the_ground_there_is_no_edge_where_there_is_no_ground() -> None:
    surface = surface_of(np.full((20, 20), 100.0))
    found = sky_rounds(
        FarGround.of(surface), np.array([-5.0]), np.array([10.0]), np.array([150.0]), 0.0, BEARINGS
    ).angle_deg
    assert np.isnan(found[0, BEARINGS == 0.0]).all() and np.isfinite(found[0, BEARINGS == 180.0]).all()


@pytest.mark.parametrize("name", ["osterrain50_nn.tif", "srtm30_big_tujunga.tif"])
def test_real_ground(name: str) -> None:
    """Terrain: OS Terrain 50 (OGL v3: Contains OS data (c) Crown copyright and database right); SRTM."""
    source = open_terrain(str(shared_file(name)), TerrainOptions())
    surface = source.on_metric_grid(*source.middle()).whole()
    far = FarGround.of(surface)
    middle = np.array(surface.height_m.shape) / 2
    row, column = (v.ravel() for v in np.meshgrid(middle[0] + np.arange(6), middle[1] + np.arange(10)))
    level_m = surface.heights_at_m(*surface.grid.to_map(row, column)) + 1.6
    found = sky_rounds(far, row, column, level_m, DROP, BEARINGS)
    assert np.abs(found.angle_deg - one_by_one(far, row, column, level_m, DROP)[:, 0]).max() < ROUNDED_DEG
