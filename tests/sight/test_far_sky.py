"""The sky's edge, followed past any reach: against a walk over every crossing to the end of the file."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS

import oracle
from hillsight.ground.grid import Grid, Surface
from hillsight.ground.terrain import open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.sight.bearings import see_bearings
from hillsight.sight.far_sky import FarGround, far_sky, to_the_sky
from hillsight.sight.viewing import Eye
from shared_data import shared_file
from terrains import fractal, with_hole

BEARINGS = np.r_[np.arange(720) * 0.5, 33.7, 211.3]
DROP = 0.87 / (2 * 6_371_000.0)


def surface_of(height_m: np.ndarray, spacing_m: float = 50.0) -> Surface:
    height_m = np.asarray(height_m, np.float32)
    return Surface(Grid(CRS(27700), 200_000.0, 800_000.0, spacing_m, spacing_m, *height_m.shape), height_m)


def eye_at(surface: Surface, row: float, column: float, drop: float = DROP) -> tuple[Eye, float, float]:
    east, north = (float(v) for v in surface.grid.to_map(row, column))
    level_m = float(surface.heights_at_m(east, north)) + 1.6
    return Eye.on(surface.grid, east, north, level_m, drop), east, north


def sky(far: FarGround, surface: Surface, eye: Eye, east: float, north: float, reach_m: float):
    near = see_bearings(surface, eye, reach_m, BEARINGS)
    return to_the_sky(far, east, north, eye.level_m, eye.drop_per_m, BEARINGS, near)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("drop", [DROP, 0.0, 40 * DROP])
def test_every_bearing_agrees_with_an_independent_walk(seed: int, drop: float) -> None:
    random = np.random.default_rng(seed)
    surface = surface_of(fractal(70, 90, seed=seed, relief_m=600.0))
    eye, east, north = eye_at(surface, *random.uniform(2, 67, 2), drop)
    found = sky(FarGround.of(surface), surface, eye, east, north, float(random.uniform(50.0, 700.0)))
    lowered = oracle.lowered_posts(surface.height_m, 50.0, 50.0, eye.row, eye.column, drop)
    for k in range(0, BEARINGS.size, 13):
        walk = oracle.look_along(lowered, 50.0, 50.0, eye, np.inf, BEARINGS[k])
        assert found.skyline_slope[k] == pytest.approx(walk.skyline_slope, abs=1e-9)
        assert np.abs(np.array(walk.skyline_distances_m) - found.skyline_distance_m[k]).min() < 1e-6


@pytest.mark.parametrize(
    "name",
    [
        "osterrain50_nn.tif",
        "srtm30_big_tujunga.tif",
        "srtm90_n49w123.tif",
        pytest.param("osterrain50_highlands.tif", marks=pytest.mark.slow),
    ],
)
def test_no_bearing_is_wrong_on_real_ground(name: str) -> None:
    """Terrain: OS Terrain 50 (OGL v3: Contains OS data (c) Crown copyright and database right); SRTM."""
    source = open_terrain(str(shared_file(name)), TerrainOptions())
    terrain = source.on_metric_grid(*source.middle())
    surface = terrain.whole()
    far = FarGround.of(surface)
    random = np.random.default_rng(4)
    farther = 0
    for _ in range(12):
        place = random.uniform(0, 1, 2) * (surface.grid.rows - 1, surface.grid.columns - 1)
        if np.isnan(surface.heights_at_m(*surface.grid.to_map(*place))):
            continue
        eye, east, north = eye_at(surface, *place)
        near = see_bearings(surface, eye, 8_000.0, BEARINGS)
        found = to_the_sky(far, east, north, eye.level_m, DROP, BEARINGS, near)
        whole = see_bearings(surface, eye, 1e9, BEARINGS)
        assert np.array_equal(found.skyline_slope, whole.skyline_slope, equal_nan=True)
        assert np.array_equal(found.skyline_distance_m, whole.skyline_distance_m, equal_nan=True)
        farther += int((found.skyline_slope > near.skyline_slope).sum())
    assert farther > 100


def test_how_a_bearing_ends() -> None:
    # Level ground at 100 m with a wall of 200 m, 1 km east of the eye; flat earth. Ground as high as the wall
    # could rise above the level skyline to the west, but not above the wall: 98.4 m over 1 km from the eye is
    # 442.8 m over 4.5 km, where the terrain ends.
    height_m = np.full((101, 181), 100.0, np.float32)
    height_m[:, 110] = 200.0
    surface = surface_of(height_m)
    eye, east, north = eye_at(surface, 50.0, 90.0, 0.0)
    near = see_bearings(surface, eye, 500.0, np.array([90.0, 270.0]))
    found = to_the_sky(FarGround.of(surface), east, north, eye.level_m, 0.0, np.array([90.0, 270.0]), near)
    assert found.skyline_end.tolist() == [0, 2]
    assert found.skyline_distance_m[0] == pytest.approx(1_000.0)
    assert found.edge_distance_m == pytest.approx([4_500.0, 4_500.0])
    assert found.edge_height_m[0] == pytest.approx(101.6 + 98.4 * 4.5)
    # To the west the farthest ground stands highest, 1.6 m below the level: at the edge itself 100 m will do.
    assert found.edge_height_m[1] == pytest.approx(100.0, abs=1e-3)


def test_a_void_counts_only_where_ground_in_it_could_rise() -> None:
    height_m = np.full((101, 181), 100.0, np.float32)
    height_m[:, 110] = 200.0
    surface = surface_of(with_hole(with_hole(height_m, 45, 130, 10, 10), 45, 40, 10, 10))
    eye, east, north = eye_at(surface, 50.0, 90.0, 0.0)
    bearings = np.array([90.0, 270.0])
    near = see_bearings(surface, eye, 500.0, bearings)
    found = to_the_sky(FarGround.of(surface), east, north, eye.level_m, 0.0, bearings, near)
    assert found.skyline_end.tolist() == [0, 3]


def test_ground_that_is_held_in_part_says_so() -> None:
    surface = surface_of(fractal(40, 40, seed=2, relief_m=300.0))
    eye, east, north = eye_at(surface, 20.0, 20.0)
    none = np.full(BEARINGS.size, np.nan)
    call = (east, north, eye.level_m, DROP, BEARINGS, none, none, none)
    whole, part = (far_sky(FarGround.of(surface, is_cut=cut), *call) for cut in (False, True))
    assert set(whole.end[part.end != whole.end]) <= {2}
    assert (part.end[whole.end == 2] == 1).all()
    assert np.isfinite(whole.slope).all() and np.array_equal(whole.slope, part.slope)
