"""The ground at a scale: what smoothing leaves, where its posts lie, and which scales a terrain can give."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from hillsight.arrays import Floats
from hillsight.errors import CallError
from hillsight.ground.grid import Surface
from hillsight.landform.scale import SCALE_PER_SIGMA, Worked, settle_scales, weight_known
from landform.worked_ground import grid_of, ground, places_on
from terrains import fractal


def test_a_cosine_keeps_the_share_that_a_gaussian_leaves_of_it() -> None:
    # The Fourier transform of a Gaussian: a wave of length w keeps exp(-2 pi^2 sigma^2 / w^2).
    for wave_m, left in ((300.0, 0.578), (600.0, 0.872), (100.0, 0.0072)):
        surface = ground(lambda x, y, w=wave_m: 200.0 + 50.0 * np.cos(2 * np.pi * x / w), grid_of(90, 301))
        worked = Worked.of(surface, 300.0)
        row = worked.height_m[worked.grid.rows // 2, 60:-60]
        assert np.ptp(row) / 100.0 == pytest.approx(
            np.exp(-2 * (np.pi * 300.0 / SCALE_PER_SIGMA / wave_m) ** 2), rel=0.02, abs=2e-4
        )
        assert np.ptp(row) / 100.0 == pytest.approx(left, abs=0.01)


@pytest.mark.parametrize(
    ("rows", "columns", "spacing_x_m", "spacing_y_m"), [(90, 91, 10, 10), (80, 50, 20, 8)]
)
def test_a_plane_stays_itself_away_from_the_edge_and_where_the_posts_are(
    rows: int, columns: int, spacing_x_m: float, spacing_y_m: float
) -> None:
    grid = grid_of(rows, columns, spacing_x_m, spacing_y_m)
    worked = Worked.of(ground(lambda x, y: 300.0 + 0.1 * x - 0.2 * y, grid), 60.0)
    east, north = places_on(worked.grid)
    inner = (slice(8, -8), slice(8, -8))
    plane_m = 300.0 + 0.1 * east - 0.2 * north
    assert worked.height_m[inner] == pytest.approx(plane_m[inner], abs=0.01)
    assert np.isfinite(worked.height_m).all()


@given(size=st.integers(3, 90), scale_m=st.floats(20.0, 900.0))
@settings(max_examples=30, deadline=None)
def test_posts_of_the_smoothed_ground_lie_evenly_inside_the_terrain(size: int, scale_m: float) -> None:
    raw = ground(lambda x, y: x, grid_of(size, size + 7))
    grid = Worked.of(raw, scale_m).grid
    assert grid.west_m - raw.grid.west_m == pytest.approx(raw.grid.east_m - grid.east_m, abs=1e-6)
    assert grid.north_m - raw.grid.north_m == pytest.approx(raw.grid.south_m - grid.south_m, abs=1e-6)
    assert raw.grid.west_m - 1e-6 <= grid.west_m < raw.grid.west_m + grid.spacing_x_m
    assert grid.spacing_x_m == grid.spacing_y_m <= max(10.0, scale_m / 16.0 + 1e-9)


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_a_void_stays_as_it_is_however_the_terrain_is_turned(turns: int) -> None:
    height_m = np.rot90(fractal(60, 60, seed=2), turns).copy()
    void = np.rot90(np.pad(np.ones((5, 9), bool), ((20, 35), (11, 40))), turns)
    height_m[void] = np.nan
    worked = Worked.of(Surface(grid_of(60, 60), height_m), 40.0)
    assert (np.isnan(worked.height_m) == void).all()


def test_what_lies_in_a_void_does_not_leak_into_its_surroundings() -> None:
    height_m = np.full((60, 60), 250.0, np.float32)
    height_m[20:30, 20:30] = np.nan
    worked = Worked.of(Surface(grid_of(60, 60), height_m), 100.0)
    assert np.nanmax(np.abs(worked.height_m - 250.0)) < 1e-9


@given(added_m=st.integers(-400, 4000))
@settings(max_examples=15, deadline=None)
def test_a_height_added_everywhere_is_added_to_the_smoothed_ground(added_m: int) -> None:
    height_m = (np.round(fractal(40, 40, seed=5) * 64) / 64).astype(np.float32)
    one, other = (
        Worked.of(Surface(grid_of(40, 40), (height_m + np.float32(c)).astype(np.float32)), 60.0).height_m
        for c in (0, added_m)
    )
    assert other - one == pytest.approx(np.full(one.shape, added_m), abs=1e-8)


def test_bilinear_values_between_posts_on_posts_and_off_them() -> None:
    grid = grid_of(4, 5, 10.0, 20.0)
    east, north = places_on(grid)
    values = 1.0 + 0.5 * east + 0.25 * north + 0.01 * east * north
    e, n = np.array([3.0, -20.0, 20.0, 20.0, 21.0]), np.array([7.0, 30.0, -30.0, 30.0, 0.0])
    found = grid.sampled(values, e + 400_000.0, n + 300_000.0)
    assert found[:4] == pytest.approx(1.0 + 0.5 * e[:4] + 0.25 * n[:4] + 0.01 * (e * n)[:4])
    assert np.isnan(found[4])


def test_a_known_post_beside_a_void_keeps_its_height() -> None:
    grid = grid_of(5, 5)
    values = np.arange(25.0).reshape(5, 5)
    values[2, 2] = np.nan
    east, north = grid.to_map(np.array([1.0, 2.0, 1.0, 1.5]), np.array([2.0, 1.0, 1.0, 2.0]))
    found = grid.sampled(values, east, north)
    assert found[:3].tolist() == [7.0, 11.0, 6.0]
    assert np.isnan(found[3])


def test_the_part_about_a_place_holds_its_square_and_says_where_it_begins() -> None:
    worked = Worked.of(ground(lambda x, y: x + 3 * y, grid_of(60, 80)), 40.0)
    part, top, left = worked.around(400_013.0, 299_931.0, 104.0)
    grid = part.grid
    assert grid.west_m <= 400_013.0 - 104.0 < grid.west_m + 10.0
    assert grid.south_m <= 299_931.0 - 104.0 < grid.south_m + 10.0
    assert grid.east_m - 10.0 < 400_013.0 + 104.0 <= grid.east_m
    assert grid.north_m - 10.0 < 299_931.0 + 104.0 <= grid.north_m
    assert (part.height_m == worked.height_m[top : top + grid.rows, left : left + grid.columns]).all()
    assert part.grid.to_map(0, 0) == worked.grid.to_map(top, left)
    whole, top, left = worked.around(400_000.0, 300_000.0, 1e6)
    assert (whole.grid, top, left) == (worked.grid, 0, 0)


def test_distance_to_the_nearest_void_is_in_metres_both_ways() -> None:
    """The void is one post at 15 m east, 5 m south of the centre, in cells of 30 m by 10 m."""
    height_m = np.full((40, 40), 10.0, np.float32)
    height_m[20, 20] = np.nan
    worked = Worked.of(Surface(grid_of(40, 40, 30.0, 10.0), height_m), 60.0)
    away: Floats | None = worked.to_void_m
    assert away is not None
    east, north = places_on(worked.grid)
    assert away == pytest.approx(np.hypot(east - 15.0, north + 5.0), abs=np.hypot(30.0, 10.0))
    assert Worked.of(ground(lambda x, y: x, grid_of(40, 40)), 60.0).to_void_m is None


def flat(rows: int, columns: int, spacing_x_m: float = 10.0, spacing_y_m: float | None = None) -> Surface:
    return ground(lambda x, y: 0.0, grid_of(rows, columns, spacing_x_m, spacing_y_m))


def test_scales_given_are_sorted_and_told_once() -> None:
    assert settle_scales(flat(100, 200), [100.0, 250.0, 20.0, 100.0]) == ([250.0, 100.0, 20.0], [])


@pytest.mark.parametrize("scale_m", [19.9, 250.1, 0.0, -100.0, float("nan"), float("inf")])
def test_a_scale_that_the_terrain_cannot_give_is_refused(scale_m: float) -> None:
    with pytest.raises(CallError) as refused:
        settle_scales(flat(100, 200), [100.0, scale_m])
    assert "from 20 m" in str(refused.value)
    assert "250 m" in str(refused.value)


def test_the_wider_spacing_and_the_shorter_side_bound_the_scale() -> None:
    assert settle_scales(flat(100, 100, 40.0, 10.0), [80.0, 250.0])[0] == [250.0, 80.0]
    with pytest.raises(CallError, match="from 80 m"):
        settle_scales(flat(100, 100, 40.0, 10.0), [79.0])


def test_usual_scales_that_do_not_suit_are_told() -> None:
    assert settle_scales(flat(500, 500), None) == ([1000.0, 300.0, 100.0], [])
    scales_m, notes = settle_scales(flat(200, 200), None)
    assert scales_m == [300.0, 100.0]
    assert len(notes) == 1
    assert "1000 m" in notes[0]
    with pytest.raises(CallError, match="none of the usual scales"):
        settle_scales(flat(30, 30), None)


@pytest.mark.parametrize("scales_m", [None, [20.0]])
def test_a_strip_too_narrow_for_any_scale_is_told_so_without_bounds(scales_m: list[float] | None) -> None:
    """Seven rows 10 m apart: a quarter of 70 m is less than two spacings, 20 m; eight rows will do."""
    with pytest.raises(CallError) as refused:
        settle_scales(flat(7, 60), scales_m)
    for said in ("7 rows by 60 columns", "too narrow", "17.5 m", "20 m", "80 m at least"):
        assert said in str(refused.value)
    assert "from 20 m" not in str(refused.value)
    assert settle_scales(flat(8, 60), [20.0]) == ([20.0], [])


@given(
    rows=st.integers(1, 60), columns=st.integers(1, 60), down=st.floats(0.3, 9.0), across=st.floats(0.3, 9.0)
)
@settings(max_examples=60, deadline=None)
def test_few_posts_stand_for_the_weights_of_all_bit_for_bit(
    rows: int, columns: int, down: float, across: float
) -> None:
    known = np.ones((rows, columns), bool)
    whole = ndimage.gaussian_filter(known.astype(float), (down, across), mode="constant", truncate=4.0)
    assert np.array_equal(weight_known(known, (down, across)), whole)
