"""Ground between posts: one rule, plain and compiled; a void of no weight does not count."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from hillsight.ground.grid import Grid, Surface, between_posts, corner_posts
from hillsight.kernels import corners as compiled
from hillsight.layers.contents import Raster
from hillsight.layers.contents import sampled as read_raster
from hillsight.sight.crossings import lowered_ground
from hillsight.sight.doubt_ground import mean_ground, posts_bearing
from hillsight.words.posts import ON_LINE

BRITISH = CRS("EPSG:27700")


def surface_of(height_m: np.ndarray, spacing_x_m: float = 10.0, spacing_y_m: float = 20.0) -> Surface:
    rows, columns = height_m.shape
    grid = Grid(BRITISH, 400_000.0, 300_000.0, spacing_x_m, spacing_y_m, rows, columns)
    return Surface(grid, height_m.astype(np.float32))


def test_a_doubly_straight_ground_is_read_as_it_is():
    """On h = a + bx + cy + dxy bilinear interpolation is exact (its definition)."""
    row, column = np.mgrid[0:7, 0:9].astype(float)

    def height(r, c):
        return 100.0 + 3.0 * r - 2.0 * c + 0.5 * r * c

    rng = np.random.default_rng(1)
    at_row, at_column = rng.uniform(0, 6, (40, 3)), rng.uniform(0, 8, (40, 3))
    surface = surface_of(height(row, column))
    read = surface.heights_at_m(*surface.grid.to_map(at_row, at_column))
    assert read.shape == (40, 3)
    assert read == pytest.approx(height(at_row, at_column), abs=1e-9)
    one = surface.heights_at_m(*(float(v) for v in surface.grid.to_map(6.0, 8.0)))
    assert float(one) == height(6, 8)


@pytest.mark.parametrize(("row", "column"), [(2, 1), (2, 3), (1, 2), (3, 2), (1, 1), (3, 3)])
def test_a_post_beside_a_void_keeps_its_height_whoever_asks(row, column):
    """On each side of a void; readings of ground on the posts and along the posts' lines do not need it."""
    height_m = np.arange(25.0).reshape(5, 5)
    height_m[2, 2] = np.nan
    surface = surface_of(height_m)
    place = tuple(float(v) for v in surface.grid.to_map(row, column))
    expected = height_m[row, column]
    assert surface.height_at_m(*place) == expected
    assert float(surface.heights_at_m(*place)) == expected
    lowered = np.empty(1)
    lowered_ground(
        surface.height_m,
        10.0,
        20.0,
        0.0,
        0.0,
        0.0,
        np.array([float(row)]),
        np.array([float(column)]),
        lowered,
    )
    assert lowered[0] == expected
    raster = Raster(surface.height_m, surface.grid.cell_edges_m, BRITISH)
    assert read_raster(raster, *(np.array([[v]]) for v in place), BRITISH, smooth=True)[0, 0] == expected
    assert posts_bearing(surface.grid, row, column) == [(row, column, 1.0)]


def test_a_void_with_a_weight_is_not_known():
    height_m = np.ones((3, 3))
    height_m[1, 1] = np.nan
    surface = surface_of(height_m)
    rows, columns = np.array([0.5, 1.0, 1.0, 0.0]), np.array([0.5, 1.0, 1.5, 0.5])
    read = surface.heights_at_m(*surface.grid.to_map(rows, columns))
    assert np.isnan(read).tolist() == [True, True, True, False]


def test_off_the_posts_nothing_is_known_and_on_their_edge_rounding_does_no_harm():
    surface = surface_of(np.ones((3, 4)))
    rows = np.array([-1e-3, 2.001, 0.0, np.nan, -0.9 * ON_LINE, 2 + 0.9 * ON_LINE, -1.1 * ON_LINE])
    columns = np.array([1.0, 1.0, 3.001, 1.0, 1.0, 3 + 0.9 * ON_LINE, 1.0])
    read = between_posts(surface.height_m, rows, columns)
    assert np.isnan(read).tolist() == [True, True, True, True, False, False, True]
    with pytest.raises(ValueError, match="outside the terrain posts"):
        surface.height_at_m(*(float(v) for v in surface.grid.to_map(-0.5, 1.0)))


def test_a_single_row_and_a_single_post_are_ground_too():
    assert between_posts(np.array([[1.0, 3.0]]), 0.0, 0.5) == 2.0
    assert between_posts(np.array([[7.0]]), 0.0, 0.0) == 7.0
    assert np.isnan(between_posts(np.array([[7.0]]), 0.0, 0.1))


@given(
    shape=st.tuples(st.integers(1, 5), st.integers(1, 5)),
    row=st.floats(-0.5, 4.5),
    column=st.floats(-0.5, 4.5),
    nudge=st.sampled_from([None, 0.0, 0.5 * ON_LINE, -0.5 * ON_LINE, 2 * ON_LINE]),
)
@settings(max_examples=300, deadline=None)
def test_plain_and_compiled_code_rest_on_the_same_posts_with_the_same_weights(shape, row, column, nudge):
    if nudge is not None:
        row, column = round(row) + nudge, round(column) - nudge
    filled = np.zeros((4, 3))
    used = compiled.corner_posts(row, column, *shape, filled)
    rows, columns, weights = corner_posts(row, column, shape)
    expected = [(r, c, w) for r, c, w in zip(rows, columns, weights, strict=True) if w > 0]
    assert [tuple(line) for line in filled[:used]] == expected
    assert (used == 0) == bool(np.isnan(weights).all())


def test_mean_ground_about_a_place_beside_a_void_is_not_made_up():
    """Uncertain by next to nothing, the mean ground about a post on a plane is the plane's."""
    row, column = np.mgrid[0:9, 0:9].astype(float)
    height_m = 5.0 * row + 2.0 * column
    surface = surface_of(height_m, 10.0, 10.0)
    plain = mean_ground(surface, np.array([[4.0, 4.0]]), 0.5)[0]
    assert plain == pytest.approx([0.5, 0.2, 0.0], abs=1e-6)
