"""Lines down a slope keep to it; the steepest of eight neighbours strays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hillsight.arrays import Floats
from hillsight.landform.flood import Drainage, accumulate, drain
from hillsight.landform.steepest import keep_to_slope
from landform.worked_ground import as_it_is, grid_of, places_on
from terrains import fractal, with_hole

SIDE = 101
HEADS = (50 * SIDE + 50, 30 * SIDE + 40, 60 * SIDE + 71, 20 * SIDE + 20)


def way_down(receiver: np.ndarray, post: int) -> np.ndarray:
    """Posts from one to where its water leaves; ends the test if it never does."""
    posts = [post]
    while receiver[posts[-1]] >= 0:
        posts.append(int(receiver[posts[-1]]))
        assert len(posts) <= receiver.size, "water runs round in a ring"
    return np.array(posts)


def strayed_m(receiver: np.ndarray, place: tuple[Floats, Floats], azimuth_deg: float) -> float:
    """Greatest distance of the ways down from the straight line down the plane, but for the edge's post."""
    east, north = np.sin(np.radians(azimuth_deg)), np.cos(np.radians(azimuth_deg))
    most = 0.0
    for head in HEADS:
        posts = way_down(receiver, head)[:-1]
        x, y = (v.flat[posts] - v.flat[head] for v in place)
        most = max(most, float(np.abs(x * north - y * east).max()))
    return most


def plane_drained(azimuth_deg: float, spacing: tuple[float, float]) -> tuple[Drainage, tuple[Floats, Floats]]:
    east, north = np.sin(np.radians(azimuth_deg)), np.cos(np.radians(azimuth_deg))
    grid = grid_of(SIDE, SIDE, *spacing)
    worked = as_it_is(lambda x, y: 900.0 - 0.2 * (x * east + y * north), grid, 100.0)
    return drain(worked.height_m, *spacing), places_on(grid)


@given(azimuth_deg=st.floats(0.0, 359.9), spacing=st.sampled_from([(10.0, 10.0), (20.0, 8.0)]))
@settings(max_examples=30, deadline=None)
def test_on_a_plane_lines_keep_within_a_cell_of_the_true_line(
    azimuth_deg: float, spacing: tuple[float, float]
) -> None:
    drainage, place = plane_drained(azimuth_deg, spacing)
    receiver = keep_to_slope(drainage, *spacing).receiver
    assert strayed_m(receiver, place, azimuth_deg) <= np.hypot(*spacing)


@pytest.mark.parametrize("azimuth_deg", [20.0, 65.0, 200.0, 340.0])
def test_the_steepest_of_eight_strays_ten_cells_where_the_line_that_keeps_to_the_slope_does_not(
    azimuth_deg: float,
) -> None:
    drainage, place = plane_drained(azimuth_deg, (10.0, 10.0))
    assert strayed_m(drainage.receiver, place, azimuth_deg) > 100.0
    kept = keep_to_slope(drainage, 10.0, 10.0)
    assert strayed_m(kept.receiver, place, azimuth_deg) <= np.hypot(10.0, 10.0)


@pytest.mark.parametrize("seed", range(4))
def test_receivers_are_lower_or_as_they_were_and_the_order_stays_valid(seed: int) -> None:
    height_m = with_hole(fractal(80, 70, seed=seed, relief_m=150), 30, 20, 6, 9).astype(np.float64)
    drainage = drain(height_m, 12.0, 9.0)
    kept = keep_to_slope(drainage, 12.0, 9.0)
    filled = kept.filled_m.ravel()
    posts = np.flatnonzero(kept.receiver >= 0)
    below = kept.receiver[posts]
    changed = below != drainage.receiver[posts]
    assert changed.any()
    assert (filled[below[changed]] < filled[posts[changed]]).all()
    assert (filled[below] <= filled[posts]).all()
    place = np.full(filled.size, -1)
    place[kept.order] = np.arange(kept.order.size)
    assert (place[below] < place[posts]).all()
    row, column = np.divmod(posts, 70)
    assert (np.abs(below // 70 - row) <= 1).all()
    assert (np.abs(below % 70 - column) <= 1).all()
    assert ((kept.receiver == -2) == np.isnan(height_m).ravel()).all()
    # All that falls runs out, through hollows too.
    out = accumulate(kept).ravel()[kept.receiver == -1].sum()
    assert out == np.isfinite(height_m).sum()


def test_a_hollow_still_drains_over_its_lowest_rim() -> None:
    grid = grid_of(41, 41)
    worked = as_it_is(
        lambda x, y: 200.0 + 0.1 * x - 60.0 * np.exp(-(x**2 + y**2) / (2 * 60.0**2)), grid, 100.0
    )
    kept = keep_to_slope(drain(worked.height_m, 10.0, 10.0), 10.0, 10.0)
    posts = way_down(kept.receiver, 20 * 41 + 20)
    assert kept.receiver[posts[-1]] == -1
    assert posts[-1] % 41 == 0, "it leaves westward, down the slope that the hollow lies in"


def test_level_ground_drains_as_it_did() -> None:
    drainage = drain(np.full((12, 15), 5.0), 10.0, 10.0)
    assert (keep_to_slope(drainage, 10.0, 10.0).receiver == drainage.receiver).all()


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (2, 9), (9, 2)])
def test_strips_without_inner_posts_stay_as_they_were(shape: tuple[int, int]) -> None:
    drainage = drain(fractal(9, 9, seed=1)[: shape[0], : shape[1]].astype(np.float64), 10.0, 10.0)
    assert (keep_to_slope(drainage, 10.0, 10.0).receiver == -1).all()
