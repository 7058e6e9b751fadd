"""Where a ray first meets ground: against a fine march over the same surface, and the slow walker."""

from __future__ import annotations

import math

import numpy as np
import pytest

import oracle
from hillsight.ground.grid import between_posts
from hillsight.sight.down_ray import Way, meet
from hillsight.sight.viewing import Eye
from shared_data import shared_file
from views import surface_of

SPACING_X, SPACING_Y, DROP = 10.0, 20.0, 6.8e-8


def rough(seed: int = 1, rows: int = 40, columns: int = 50) -> np.ndarray:
    return (np.random.default_rng(seed).random((rows, columns)) * 40).astype(np.float32)


def looking(height_m: np.ndarray, row: float, column: float, up_m: float = 1.6) -> tuple:
    surface = surface_of(height_m, SPACING_X, SPACING_Y)
    level_m = float(between_posts(height_m.astype(float), row, column)) + up_m
    return surface.grid, lambda r, c: height_m[r, c].astype(float), Eye(row, column, level_m, DROP)


def marched(height_m: np.ndarray, eye: Eye, bearing_deg: float, angle_deg: float, step_m: float) -> float:
    """First ground by small steps over bilinear ground, NaN without any.

    Ground within two spacings that the ray has left again before the next grid line is passed over.
    """
    d = np.arange(0.0, 1_200.0, step_m)
    row = eye.row - d * math.cos(math.radians(bearing_deg)) / SPACING_Y
    column = eye.column + d * math.sin(math.radians(bearing_deg)) / SPACING_X
    lowered = oracle.lowered_posts(height_m, SPACING_X, SPACING_Y, eye.row, eye.column, DROP)
    over = eye.level_m + d * math.tan(math.radians(angle_deg)) - between_posts(lowered, row, column)
    cell = np.stack((np.floor(row), np.floor(column)))
    begins = 0
    for end in np.flatnonzero((np.diff(cell, axis=1) != 0).any(axis=0)):
        met = np.flatnonzero(over[begins : end + 1] <= 0.0)
        if met.size and (over[end] <= 0.0 or d[begins] >= 2.0 * SPACING_Y):
            return float(d[begins + met[0]])
        begins = end + 1
    return math.nan


def test_first_ground_is_where_a_fine_march_finds_it() -> None:
    height_m = rough()
    grid, posts, eye = looking(height_m, 20.3, 23.7)
    random = np.random.default_rng(5)
    sky = ground = apart = 0
    for k in range(300):
        bearing = 90.0 * k if k < 4 else random.uniform(0, 360)
        angle = random.normal() * 8.0
        met = meet(grid, posts, 40.0, eye, bearing, angle)
        by_steps = marched(height_m, eye, bearing, angle, 0.02)
        if math.isnan(by_steps):
            sky += 1
            assert met.meets in ("sky", "terrain_edge")
        else:
            ground += 1
            # A march may step over a hair's breadth of ground beside a line.
            apart += met.meets != "ground" or abs(met.distance_m - by_steps) > 0.021
    assert sky > 2
    assert ground > 200
    assert apart <= 2


@pytest.mark.parametrize(("rows_off", "meets"), [(4, "ground"), (1, "sky")])
def test_a_bulge_inside_a_cell_is_met_but_not_at_ones_feet(rows_off: int, meets: str) -> None:
    """Two posts of 30 m at corners across from each other, the others at nought: on the way between the low
    corners the ground is 60 u (1 - u), so 15 m high half-way, and nought on all lines crossed."""
    height_m = np.zeros((9, 9), np.float32)
    row = 7 - rows_off
    height_m[row, 8 - row - 1], height_m[row + 1, 8 - row] = 30.0, 30.0
    surface = surface_of(height_m, 10.0, 10.0)
    eye = Eye(8.0, 0.0, 12.0, 0.0)  # looking along the diagonal, which crosses lines at posts alone
    met = meet(surface.grid, lambda r, c: height_m[r, c].astype(float), 30.0, eye, 45.0, 0.0)
    if meets == "ground":
        share = (1.0 - math.sqrt(1.0 - 4.0 * 12.0 / 60.0)) / 2.0
        assert (met.meets, met.distance_m) == (
            "ground",
            pytest.approx((7 - row + share) * 10.0 * math.sqrt(2)),
        )
    else:
        assert met.meets != "ground"


def test_ground_met_is_visible_by_the_slow_walker_and_under_the_ray() -> None:
    height_m = rough(2)
    grid, posts, eye = looking(height_m, 11.25, 30.5, up_m=6.0)
    lowered = oracle.lowered_posts(height_m, SPACING_X, SPACING_Y, eye.row, eye.column, DROP)
    random = np.random.default_rng(6)
    checked = 0
    for _ in range(200):
        bearing, angle = random.uniform(0, 360), random.uniform(-30, 2)
        met = meet(grid, posts, 40.0, eye, bearing, angle)
        if met.meets != "ground":
            continue
        row = eye.row - met.distance_m * math.cos(math.radians(bearing)) / SPACING_Y
        column = eye.column + met.distance_m * math.sin(math.radians(bearing)) / SPACING_X
        seen = oracle.sighting(lowered, eye.row, eye.column, eye.level_m, row, column)
        assert seen.clearance_m >= -1e-6
        height = oracle.bilinear(lowered, row, column)
        assert math.degrees(math.atan2(height - eye.level_m, met.distance_m)) == pytest.approx(
            angle, abs=1e-5 + math.degrees(2e-6 / met.distance_m)
        )
        checked += 1
    assert checked > 150


def test_voids_and_the_end_of_the_terrain_are_told_and_not_guessed() -> None:
    height_m = np.full((41, 41), 100.0, np.float32)
    height_m[10:13, 15:26] = np.nan
    grid, posts, eye = looking(height_m, 20.0, 20.0, up_m=2.0)
    # Northwards the void begins 7 rows on (140 m): ground before it is met, ground beyond is not known.
    near = meet(grid, posts, 100.0, eye, 0.0, -math.degrees(math.atan(2.0 / 100.0)))
    assert (near.meets, near.distance_m) == ("ground", pytest.approx(100.0, abs=0.05))
    assert meet(grid, posts, 100.0, eye, 0.0, -0.5).meets == "void"
    # Over the highest ground there is, a void hides nothing.
    assert meet(grid, posts, 100.0, eye, 0.0, 1.0).meets == "sky"
    # A void holds ground as high as any of the file for all that is known.
    assert meet(grid, posts, 150.0, eye, 0.0, 1.0).meets == "void"
    # Southwards the terrain ends 20 rows on, 400 m, with the ray 0.5 m above it.
    edge = meet(grid, posts, 100.0, eye, 180.0, -math.degrees(math.atan(1.5 / 400.0)))
    assert (edge.meets, edge.distance_m) == ("terrain_edge", pytest.approx(400.0))
    assert meet(grid, posts, 100.0, eye, 180.0, 0.5).meets == "sky"
    assert meet(grid, posts, 140.0, eye, 180.0, 0.5).meets == "terrain_edge"
    with pytest.raises(ValueError, match="off the terrain"):
        meet(grid, posts, 100.0, Eye(-1.0, 5.0, 102.0, 0.0), 0.0, 0.0)


def test_flat_ground_is_met_where_curvature_says() -> None:
    """On a level plain the ray at the dip of the horizon touches at the horizon's distance: the ray from 2 m
    drops by h = tan(a) d, the plain by c d^2; it grazes where the two meet once, at d = sqrt(h / c)
    (closed form)."""
    height_m = np.zeros((401, 11), np.float32)
    surface = surface_of(height_m, 50.0, 50.0)
    eye = Eye(400.0, 5.0, 2.0, DROP)
    dip = 2.0 * math.sqrt(2.0 * DROP)
    met = meet(
        surface.grid, lambda r, c: height_m[r, c], 0.0, eye, 0.0, -math.degrees(math.atan(dip * 1.001))
    )
    assert met.meets == "ground"
    horizon_m = math.sqrt(2.0 / DROP)
    assert met.distance_m == pytest.approx(horizon_m, rel=0.06)
    assert meet(
        surface.grid, lambda r, c: height_m[r, c], 0.0, eye, 0.0, -math.degrees(math.atan(dip * 0.99))
    ).meets == "sky"  # fmt: skip


def test_dead_ground_on_the_way_is_measured() -> None:
    """A wall 10 m high at 100 m, seen from 2 m, hides the level ground behind it (plane geometry)."""
    height_m = np.zeros((61, 5), np.float32)
    height_m[50, :] = 10.0
    surface = surface_of(height_m, 10.0, 10.0)
    eye = Eye(60.0, 2.0, 2.0, 0.0)
    way = Way.under(surface.grid, lambda r, c: height_m[r, c].astype(float), eye, 0.0, 600.0)
    assert way.hidden_m(2.0, 0.0, 100.0) == 0.0
    assert way.hidden_m(2.0, 100.0, 400.0) == pytest.approx(300.0)
    assert way.hidden_m(2.0, 400.0, 100.0) == pytest.approx(300.0)


def test_sky_on_real_terrain_is_where_the_sight_lines_have_it() -> None:
    """OS Terrain 50: just under the sky's edge there is ground at its distance, just over it sky."""
    from hillsight.ground.terrain import open_terrain
    from hillsight.sight.bearings import see_bearings

    terrain = open_terrain(str(shared_file("osterrain50_nn.tif"))).on_metric_grid(-4.5, 56.9)
    surface = terrain.window(245_000.0, 750_000.0, 9_000.0)
    grid, height_m = surface.grid, surface.height_m
    level_m = surface.height_at_m(245_010.0, 750_020.0) + 1.6
    eye = Eye.on(grid, 245_010.0, 750_020.0, level_m, DROP)
    bearings = np.arange(0.0, 360.0, 2.5)
    along = see_bearings(surface, eye, 8_500.0, bearings)
    highest_m = float(height_m.max())
    angles = np.degrees(np.arctan(along.skyline_slope))
    for bearing, angle, distance_m in zip(bearings, angles, along.skyline_distance_m, strict=True):
        under = meet(grid, lambda r, c: height_m[r, c], highest_m, eye, float(bearing), float(angle) - 1e-7)
        assert under.meets == "ground"
        assert under.distance_m <= distance_m + 1e-3
        # Inside a cell, and in that at the reach, ground may stand higher than on the lines looked at.
        over = meet(grid, lambda r, c: height_m[r, c], highest_m, eye, float(bearing), float(angle) + 0.1)
        assert over.meets in ("sky", "terrain_edge") or over.distance_m > 8_400.0
