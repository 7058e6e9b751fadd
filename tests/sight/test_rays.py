"""Rays of a drawn view against a slow walk along each, and their sky against the skyline of bearings."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pyproj import CRS

from hillsight.ground.grid import Grid, Surface
from hillsight.sight.bearings import see_bearings
from hillsight.sight.far_sky import FarGround, far_sky
from hillsight.sight.rays import see_rays
from hillsight.sight.stretches import seen_stretches
from hillsight.sight.viewing import Eye
from ray_walker import walked
from terrains import fractal, plane, with_hole, with_voids

DROP_PER_M = 0.87 / 2 / 6_380_000


def far_of(height_m, spacing_x_m=10.0, spacing_y_m=10.0):
    grid = Grid(CRS.from_epsg(27700), 300_000.0, 700_000.0, spacing_x_m, spacing_y_m, *height_m.shape)
    return FarGround.of(Surface(grid, height_m))


def eye_on(far, row, column, height_m=1.6, drop_per_m=DROP_PER_M):
    easting, northing = far.surface.grid.to_map(row, column)
    return Eye(row, column, far.surface.height_at_m(easting, northing) + height_m, drop_per_m)


def bearings_of(seen):
    """The very bearings that were followed."""
    return (seen.first_bearing_grid_deg + seen.step_deg * np.arange(seen.void_slope.size)) % 360.0


def assert_as_walked(far, eye, bearings=24, angles=41, steepest_deg=25.0):
    seen = seen_stretches(far, eye, 3.0, 360.0, 360.0 / bearings, 1e-6)
    followed = bearings_of(seen)
    angle = np.concatenate([np.linspace(-steepest_deg, steepest_deg, angles), [-89.0, -60.0, 60.0]])
    found = see_rays(seen, followed[:, None], angle)
    for one, bearing in zip(found, followed, strict=True):
        # 32-bit heights above the eye and distances, over a kilometre or so.
        assert one == pytest.approx(walked(far, eye, bearing, angle), rel=2e-4, abs=2e-3, nan_ok=True), (
            bearing
        )
    return found


@pytest.mark.parametrize("seed", [1, 2])
def test_rays_meet_the_ground_where_a_slow_walk_does(seed):
    far = far_of(fractal(41, 57, seed=seed, relief_m=120.0), 10.0, 14.0)
    found = assert_as_walked(far, eye_on(far, 18.3, 27.6))
    assert (found > 0).mean() > 0.3
    assert np.isneginf(found).any()


def test_an_eye_on_a_post_looks_along_grid_lines():
    far = far_of(fractal(31, 31, seed=3, relief_m=60.0))
    eye = eye_on(far, 15.0, 15.0)
    seen = seen_stretches(far, eye, -1.0, 360.0, 2.0, 1e-6)
    due = np.array([0.0, 90.0, 180.0, 270.0])
    assert np.isin(due, np.round(bearings_of(seen), 9)).all()
    angles = np.array([-40.0, -10.0, -3.0, 0.0, 2.0, 8.0])
    for bearing in due:
        expected = walked(far, eye, bearing, angles)
        assert see_rays(seen, bearing, angles) == pytest.approx(expected, rel=2e-4, abs=2e-3, nan_ok=True)


def test_voids_are_neither_ground_nor_sky():
    ground = with_hole(fractal(41, 41, seed=4, relief_m=100.0), 8, 20, 5, 9)
    far = far_of(with_voids(ground, seed=5, share=0.002))
    found = assert_as_walked(far, eye_on(far, 30.4, 12.7, 12.0))
    assert (found[np.isfinite(found)] < 0).any(), "ground beyond a void is known and not sure to be seen"


def test_over_a_plane_by_the_formula():
    # Level ground below a level eye: a ray a degrees down meets it at height / tan a.
    far = far_of(plane(401, 401, height_m=50.0))
    eye = eye_on(far, 200.0, 200.0, 20.0, drop_per_m=0.0)
    down = np.array([80.0, 45.0, 20.0, 5.0, 1.0])
    seen = seen_stretches(far, eye, 0.0, 360.0, 0.5, 0.01)
    for bearing in (0.3, 33.0, 123.4, 359.9):
        assert see_rays(seen, bearing, -down) == pytest.approx(20.0 / np.tan(np.radians(down)), rel=1e-3)


def test_an_eye_off_the_terrain_sees_its_ground_and_none_before():
    far = far_of(plane(21, 21, height_m=10.0))
    eye = Eye(10.0, -10.0, 30.0)
    seen = seen_stretches(far, eye, 80.0, 20.0, 0.1, 1e-4)
    # The terrain begins 100 m off and ends 300 m off, 20 m below the level.
    angles = -np.degrees(np.arctan([20.0 / 99.0, 20.0 / 101.0, 20.0 / 200.0, 20.0 / 299.0]))
    before, *on = see_rays(seen, 90.0, angles)
    assert before < 0
    assert on == pytest.approx([101.0, 200.0, 299.0], rel=1e-3)
    away = seen_stretches(far, eye, 260.0, 20.0, 1.0, 1e-2)
    assert np.isneginf(see_rays(away, 270.0, [-5.0, 5.0])).all()


@pytest.mark.parametrize("seed", [6, 7])
def test_the_sky_begins_at_the_skyline(seed):
    far = far_of(fractal(201, 201, seed=seed, relief_m=300.0))
    eye = eye_on(far, 90.7, 120.2)
    seen = seen_stretches(far, eye, 0.0, 360.0, 1.0, 0.1)
    followed = bearings_of(seen)
    near = see_bearings(far.surface, eye, 300.0, followed)
    easting, northing = far.surface.grid.to_map(eye.row, eye.column)
    sky = far_sky(
        far,
        float(easting),
        float(northing),
        eye.level_m,
        eye.drop_per_m,
        followed,
        near.skyline_slope,
        near.skyline_distance_m,
        near.skyline_height_m,
    )
    edge = np.degrees(np.arctan(sky.slope))
    below, above = see_rays(seen, followed, edge - 1e-5), see_rays(seen, followed, edge + 1e-5)
    assert (below > 0).all()
    assert not np.isfinite(above).any()
    assert np.array_equal(np.isnan(above), sky.end == 0), "open to ground beyond the file, or settled"
    # The bilinear ground may rise to the ray within the cell before the crossing that stands highest.
    assert below == pytest.approx(sky.distance_m, abs=np.hypot(10.0, 10.0))


def test_coarse_stretches_stay_within_what_a_picture_shows():
    far = far_of(fractal(201, 201, seed=8, relief_m=300.0))
    eye = eye_on(far, 100.0, 100.0, 30.0)
    fine = seen_stretches(far, eye, 0.0, 360.0, 1.0, 1e-6)
    coarse = seen_stretches(far, eye, 0.0, 360.0, 1.0, 1.0)
    assert coarse.offsets[-1] < 0.9 * fine.offsets[-1]
    angle = np.linspace(-30.0, 15.0, 300)
    bearing = bearings_of(fine)[:, None]
    reference = see_rays(fine, bearing, angle)
    found = see_rays(coarse, bearing, angle)
    assert np.array_equal(np.isfinite(found), np.isfinite(reference))
    # What a ray of the coarse view meets, rays within half its resolution of it meet in the fine one.
    low, high = (see_rays(fine, bearing, angle + shift) for shift in (-0.5, 0.5))
    known = np.isfinite(reference) & np.isfinite(high)
    within = (found >= low * 0.999) & (found <= high * 1.001)
    assert within[known].all()


def test_rays_beside_the_sector_are_not_answered():
    far = far_of(plane(51, 51))
    seen = seen_stretches(far, eye_on(far, 25.0, 25.0), 350.0, 20.0, 0.5, 0.1)
    found = see_rays(seen, [349.0, 350.0, 0.0, 9.99, 11.0, np.nan], -45.0)
    assert np.array_equal(np.isnan(found), [True, False, False, False, True, True])


def test_what_is_no_view_is_refused():
    far = far_of(plane(5, 5))
    with pytest.raises(ValueError, match="nowhere"):
        seen_stretches(far, Eye(math.nan, 0.0, 1.0), 0.0, 360.0, 1.0, 1.0)
    with pytest.raises(ValueError, match="no view"):
        seen_stretches(far, Eye(1.0, 1.0, 1.0), 0.0, 360.0, 0.0, 1.0)
