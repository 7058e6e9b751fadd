"""Lines of known length, and the figures of ridges given by a formula."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hillsight.arrays import Floats
from hillsight.ground.grid import Surface
from hillsight.landform import axes
from hillsight.landform.along import Bundle
from hillsight.landform.axes import (
    Figures,
    places_of,
    smoothed_lines,
    standing_parts,
    with_heights,
)
from hillsight.landform.scale import SCALE_PER_SIGMA, Worked
from hillsight.schema.landforms import RE_ENTRANTS, SPURS
from landform.known import CENTRE
from landform.worked_ground import as_it_is, grid_of, ground, places_on

SCALE_M = 240.0


def smoothed_line(line: Floats) -> Floats:
    (found,) = smoothed_lines([line])
    return found


def length_m(line: Floats) -> float:
    (found,) = Bundle.of([line]).length_m
    return float(found)


def figures(worked: Worked, axis: Floats) -> Figures:
    (found,) = axes.figures(worked, [axis])
    return found


def along_axis(turned_deg: float, count: int = 41, spacing_m: float = 10.0) -> Floats:
    """Places on a straight line through the centre."""
    at = (np.arange(count) - (count - 1) / 2) * spacing_m
    turn = np.radians(turned_deg)
    return np.column_stack([CENTRE[0] + at * np.sin(turn), CENTRE[1] + at * np.cos(turn)])


def across(x: Floats, y: Floats, turned_deg: float) -> Floats:
    """Distance to the right of the axis."""
    turn = np.radians(turned_deg)
    return x * np.cos(turn) - y * np.sin(turn)


def test_lengths_of_a_straight_and_a_bent_line() -> None:
    assert length_m(np.array([[0.0, 0.0], [30.0, 40.0]])) == 50.0
    assert length_m(np.array([[0.0, 0.0], [0.0, 100.0], [50.0, 100.0], [50.0, 90.0]])) == 160.0
    assert length_m(np.array([[5.0, 5.0]])) == 0.0


def test_places_of_posts_by_row_and_column() -> None:
    places = places_of(grid_of(3, 5, 10.0, 20.0), np.array([0, 7, 14]))
    assert (places - CENTRE).tolist() == [[-20.0, 20.0], [0.0, 0.0], [20.0, -20.0]]


@given(turned_deg=st.floats(0, 180), count=st.integers(2, 60))
@settings(max_examples=25, deadline=None)
def test_smoothing_leaves_a_straight_line_straight_and_as_long(turned_deg: float, count: int) -> None:
    line = along_axis(turned_deg, count)
    assert smoothed_line(line) == pytest.approx(line, abs=1e-6)


@given(steps=st.lists(st.tuples(st.integers(-1, 1), st.integers(-1, 1)), min_size=1, max_size=40))
@settings(max_examples=40, deadline=None)
def test_smoothing_keeps_both_ends_and_comes_out_the_same_backwards(steps: list[tuple[int, int]]) -> None:
    line = 10.0 * np.cumsum(np.array([(0, 0), *steps], float), axis=0)
    smooth = smoothed_line(line)
    assert smooth[[0, -1]] == pytest.approx(line[[0, -1]], abs=1e-9)
    assert smoothed_line(line[::-1])[::-1] == pytest.approx(smooth, abs=1e-9)
    assert np.abs(smooth - line).max() <= 30.0


def test_smoothing_takes_the_corners_out_of_a_staircase() -> None:
    """Steps two east, one north: their true line is sqrt(5) long where the posts walk 1 + sqrt(2)."""
    step = np.array([[1.0, 0.0], [1.0, 1.0]])
    line = 10.0 * np.concatenate([[[0.0, 0.0]], np.cumsum(np.tile(step, (30, 1)), axis=0)])
    true_m = 10.0 * 30 * np.sqrt(5.0)
    assert length_m(line) > 1.07 * true_m
    assert length_m(smoothed_line(line)) == pytest.approx(true_m, rel=0.01)


def standing(stands: list[int], scale_m: float, spacing_x_m: float = 10.0) -> tuple[int, int, float]:
    """Of a line along a row of 20 posts: first and last index of the part that stands out, and its length."""
    grid = grid_of(1, 20, spacing_x_m, 10.0)
    which = np.isin(np.arange(20), stands)
    part, length = standing_parts(grid, [np.arange(20)], which, scale_m)
    return int(part[0, 0]), int(part[0, 1]), float(length[0])


def test_the_longest_standing_part_bridges_small_breaks_only() -> None:
    stands = [1, 2, 8, 9, 11, 12, 17]
    # A third of the scale is bridged: of 90 m the 20 m from 9 to 11, and not the 50 m or 60 m.
    assert standing(stands, 91.0) == (8, 12, 40.0)
    assert standing(stands, 151.0) == (8, 17, 90.0)
    assert standing(stands, 181.0) == (1, 17, 160.0)
    assert standing([5], 90.0) == (5, 5, 0.0)
    assert standing([], 90.0) == (-1, -1, 0.0)


def test_breaks_are_measured_on_the_ground_and_not_in_posts() -> None:
    assert standing([0, 2, 3], 181.0, 30.0) == (0, 3, 90.0)
    assert standing([0, 2, 3], 179.0, 30.0) == (2, 3, 30.0)


def test_parts_of_several_lines_are_found_for_each() -> None:
    grid = grid_of(4, 4, 30.0, 40.0)
    lines = [np.array([0, 5, 10, 15]), np.array([3]), np.array([12, 8, 4])]
    part, length = standing_parts(grid, lines, np.isin(np.arange(16), [5, 10, 15, 4, 8]), 200.0)
    assert part.tolist() == [[1, 3], [-1, -1], [1, 2]]
    assert length.tolist() == [100.0, 0.0, 40.0]
    none, _ = standing_parts(grid, [], np.zeros(16, bool), 90.0)
    assert none.shape == (0, 2)


def test_neighbouring_posts_are_no_break_however_coarse_the_posts() -> None:
    """Posts 10 m apart are 14 m apart on the diagonal, more than a third of a scale of 40 m."""
    diagonal = np.arange(5) * 6
    part, length = standing_parts(grid_of(5, 5), [diagonal], np.ones(25, bool), 40.0)
    assert part.tolist() == [[0, 4]]
    assert length == pytest.approx([4 * np.hypot(10.0, 10.0)])


def test_lines_taken_together_come_out_as_each_alone() -> None:
    lines = [along_axis(10.0, 9) + np.random.default_rng(k).normal(0, 5, (9, 2)) for k in range(3)]
    lines.insert(1, lines[0][:2])
    for line, found in zip(lines, smoothed_lines(lines), strict=True):
        assert found.tolist() == smoothed_line(line).tolist()
    assert smoothed_lines([]) == []


@pytest.mark.parametrize("turned_deg", [0.0, 27.0, 90.0, 141.0])
@pytest.mark.parametrize("spread_m", [50.0, 80.0])
def test_figures_of_a_gaussian_ridge(turned_deg: float, spread_m: float) -> None:
    """exp(-c^2 / 2 s^2) is steepest at c = s on both sides, and its fall half a scale out is known."""
    worked = as_it_is(
        lambda x, y: 300.0 + 40.0 * np.exp(-(across(x, y, turned_deg) ** 2) / (2 * spread_m**2)),
        grid_of(141, 141, 5.0),
        SCALE_M,
    )
    measured = figures(worked, along_axis(turned_deg, 21))
    step_m = SCALE_M / 24
    assert measured.length_m == pytest.approx(200.0)
    assert measured.width_m == pytest.approx(2 * spread_m, abs=step_m + 5.0)
    fall_m = 40.0 * (1 - np.exp(-((SCALE_M / 2) ** 2) / (2 * spread_m**2)))
    assert measured.relief_m == pytest.approx(fall_m, abs=0.3)


def test_widths_and_reliefs_are_those_of_the_smoothed_ground_and_their_columns_say_so() -> None:
    """A Gaussian ridge smoothed by a Gaussian is one again: wider, variances adding, and lower by as much."""
    spread_m, sigma_m = 40.0, SCALE_M / SCALE_PER_SIGMA
    surface = ground(lambda x, y: 300.0 + 40.0 * np.exp(-(x**2) / (2 * spread_m**2)), grid_of(141, 141, 5.0))
    measured = figures(Worked.of(surface, SCALE_M), along_axis(0.0, 21))
    wide_m = np.hypot(spread_m, sigma_m)
    fall_m = 40.0 * spread_m / wide_m * (1 - np.exp(-((SCALE_M / 2) ** 2) / (2 * wide_m**2)))
    assert measured.relief_m == pytest.approx(fall_m, abs=0.5)
    assert measured.width_m == pytest.approx(2 * wide_m, abs=SCALE_M / 24 + 5.0)
    for layer, column in (
        (SPURS, "relief_m"),
        (RE_ENTRANTS, "depth_m"),
        (SPURS, "width_m"),
        (RE_ENTRANTS, "width_m"),
    ):
        assert "smoothed" in next(c.meaning for c in layer.columns if c.name == column), column


def test_a_valley_has_the_same_figures_below_and_a_bent_line_the_same_flanks() -> None:
    ridge = as_it_is(lambda x, y: 300.0 + 40.0 * np.exp(-(x**2) / 5000.0), grid_of(141, 141, 5.0), SCALE_M)
    valley = as_it_is(lambda x, y: 300.0 - 40.0 * np.exp(-(x**2) / 5000.0), grid_of(141, 141, 5.0), SCALE_M)
    one, other = figures(ridge, along_axis(0.0, 21)), figures(valley, along_axis(0.0, 21))
    assert other.relief_m == pytest.approx(-one.relief_m)
    assert other.width_m == pytest.approx(one.width_m)
    back = figures(ridge, along_axis(0.0, 21)[::-1])
    assert (back.length_m, back.relief_m, back.width_m) == pytest.approx(
        (one.length_m, one.relief_m, one.width_m)
    )


def test_the_slope_along_an_axis_changes_neither_width_nor_relief() -> None:
    def ridge(lean: float) -> Worked:
        return as_it_is(
            lambda x, y: 300.0 - lean * y + 40.0 * np.exp(-(x**2) / 5000.0), grid_of(141, 141, 5.0), SCALE_M
        )

    level, leaning = (figures(ridge(lean), along_axis(0.0, 21)) for lean in (0.0, 0.5))
    assert leaning.width_m == pytest.approx(level.width_m)
    assert leaning.relief_m == pytest.approx(level.relief_m)


def test_heights_are_the_terrains_own() -> None:
    """A spike of one post on the terrain is in the height there, and not smoothed away."""
    grid = grid_of(61, 61)
    height_m = ground(lambda x, y: 100.0 + 0.1 * x, grid).height_m.copy()
    height_m[30, 30] += 50.0
    worked = Worked.of(Surface(grid, height_m), 120.0)
    (found,) = with_heights(worked, [np.array([CENTRE, (CENTRE[0] + 100.0, CENTRE[1])])])
    assert found[:, 2] == pytest.approx([150.0, 110.0], abs=1e-3)
    assert found[:, :2].tolist() == [[400_000.0, 300_000.0], [400_100.0, 300_000.0]]


def test_a_post_beside_a_void_has_a_height() -> None:
    grid = grid_of(61, 61)
    surface = ground(lambda x, y: 100.0 + 0.1 * x - 0.2 * y, grid)
    height_m = surface.height_m.copy()
    height_m[30:34, 30:34] = np.nan
    worked = Worked.of(Surface(grid, height_m), 60.0)
    posts = np.array([29 * 61 + 31, 31 * 61 + 29, 34 * 61 + 31, 31 * 61 + 34])
    east, north = places_on(grid)
    expected = 100.0 + 0.1 * east.flat[posts] - 0.2 * north.flat[posts]
    (found,) = with_heights(worked, [places_of(grid, posts)])
    assert found[:, 2] == pytest.approx(expected, abs=1e-3)
