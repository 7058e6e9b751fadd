"""Visible, hidden and unknown ground tile the reach: no gap, no overlap, no sliver, every post in its own.

Held on views over rough ground and on arbitrary patterns of states (hypothesis), where classes meet in
ways that ground alone seldom shows.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from hillsight.reading.ground import cover
from hillsight.reading.ground.regions import HIDDEN, LEAST_SHARE, UNKNOWN, VISIBLE
from hillsight.sight.posts import PostSight
from terrains import fractal, with_hole, with_voids
from views import reading_of, view_of

ROUGH = fractal(61, 71, seed=12, relief_m=80.0)
VIEWS = {
    "middle": lambda: view_of(ROUGH, 30, 35, reach_m=280.0),
    "between posts": lambda: view_of(ROUGH, 30.37, 35.81, reach_m=250.0),
    "reach over all the terrain": lambda: view_of(ROUGH, 20.5, 40, reach_m=5000.0),
    "terrain's edge": lambda: view_of(ROUGH, 0, 33.3, reach_m=200.0),
    "terrain's corner": lambda: view_of(ROUGH, 60, 70, reach_m=300.0),
    "reach below the spacing": lambda: view_of(ROUGH, 30.4, 35.4, reach_m=3.0),
    "reach of one spacing": lambda: view_of(ROUGH, 30, 35, reach_m=10.0),
    "voids": lambda: view_of(with_voids(ROUGH, seed=4, share=0.04), 30, 35, reach_m=280.0),
    "beside a hole": lambda: view_of(with_hole(ROUGH, 31, 20, 9, 30), 30, 35, reach_m=280.0),
    "oblong posts": lambda: view_of(ROUGH, 30.2, 35.7, spacing_x_m=25.0, spacing_y_m=8.0, reach_m=400.0),
    "curvature": lambda: view_of(ROUGH, 30, 35, spacing_x_m=90.0, reach_m=2000.0, refraction=0.13),
    "flat": lambda: view_of(np.zeros((41, 41)), 20, 20, reach_m=150.0),
    "one post": lambda: view_of(np.zeros((1, 1)), 0, 0, reach_m=50.0),
    "one row": lambda: view_of(ROUGH[:1], 0, 30.5, reach_m=200.0),
}


@pytest.fixture(scope="module", params=list(VIEWS))
def reading(request):
    return reading_of(VIEWS[request.param]())


def _all(ground):
    return np.concatenate([ground.hidden.polygons, ground.visible.polygons, ground.unknown.polygons])


def assert_tiles(view, ground):
    """The rule of the module's name, for zero lines of clearance."""
    polygons = _all(ground)
    assert shapely.is_valid(polygons).all()
    assert (shapely.get_type_id(polygons) == shapely.GeometryType.POLYGON).all()
    disc_m2 = np.pi * view.viewing.reach_m**2
    assert shapely.area(polygons).sum() == pytest.approx(disc_m2, rel=1e-9)
    assert shapely.union_all(polygons).area == pytest.approx(disc_m2, rel=1e-9)
    # Neighbours share their vertices, so their union has neither a slit nor a spike.
    assert shapely.coverage_is_valid(polygons)
    whole = shapely.coverage_union_all(polygons)
    assert shapely.get_type_id(whole) == shapely.GeometryType.POLYGON or (
        shapely.get_num_geometries(whole) == 1
    )
    assert shapely.get_num_interior_rings(shapely.get_geometry(whole, 0)) == 0
    assert shapely.symmetric_difference(shapely.union_all(polygons), ground.reach).area <= 1e-9 * disc_m2


def assert_posts_in_their_own(view, ground):
    """Every post well within the reach lies in a polygon of its own class and in none of another."""
    easting, northing = view.grid.to_map(*np.indices(view.classes.shape))
    well_within = view.distance_m < view.viewing.reach_m * (1 - 1e-4)
    for of_class, patches in ((HIDDEN, ground.hidden), (VISIBLE, ground.visible), (UNKNOWN, ground.unknown)):
        inside = np.zeros(view.classes.shape, bool)
        for polygon in patches.polygons:
            inside |= shapely.contains_xy(polygon, easting, northing)
        expected = (view.classes == of_class) & well_within
        assert inside[well_within].tolist() == expected[well_within].tolist()


def test_tiles(reading):
    assert_tiles(reading.view, reading.cover)


def test_posts_lie_in_their_own(reading):
    assert_posts_in_their_own(reading.view, reading.cover)


def test_no_patch_is_a_sliver(reading):
    """A patch that the reach does not cut holds a post and keeps its distance from it all round."""
    view, ground = reading.view, reading.cover
    rim = ground.reach.exterior
    for polygon in _all(ground):
        if polygon.distance(rim) > 0:
            least_m2 = 2 * LEAST_SHARE**2 * view.grid.spacing_x_m * view.grid.spacing_y_m
            assert polygon.area >= least_m2 * (1 - 1e-6)


def test_pieces_are_connected_and_apart(reading):
    """Two patches of one class touch nowhere: else they would be one."""
    for patches in (reading.cover.hidden, reading.cover.visible, reading.cover.unknown):
        tree = shapely.STRtree(patches.polygons)
        a, b = tree.query(patches.polygons, predicate="dwithin", distance=1e-6)
        same_piece = patches.pieces[a] == patches.pieces[b]
        assert ((a == b) | same_piece).all()


def test_the_disc_of_the_reach():
    disc = cover.reach_polygon(400_000.0, 300_000.0, 7777.0)
    assert disc.area == pytest.approx(np.pi * 7777.0**2, rel=1e-12)
    away = np.hypot(*(np.array(disc.exterior.coords) - (400_000.0, 300_000.0)).T)
    assert away.min() == pytest.approx(7777.0, rel=2e-5)


def test_an_edge_lies_where_the_clearance_is_nought():
    """A ridge across: the far edge of its shadow on the row of the eye is linear between two posts."""
    height_m = np.zeros((21, 81))
    height_m[:, 30] = 5.0
    view = view_of(height_m, 10, 0, eye_height_m=9.3, reach_m=700.0)
    clearance = view.posts.clearance_m[10].astype(float)
    hidden = np.flatnonzero(clearance < 0)
    last = hidden[-1]
    assert clearance[last + 1] > 0
    share = clearance[last] / (clearance[last] - clearance[last + 1])
    (pocket,) = reading_of(view).cover.hidden.polygons
    row = shapely.LineString([(view.easting_m, view.northing_m), (view.easting_m + 690, view.northing_m)])
    near, far = shapely.intersection(pocket, row).bounds[::2]
    assert far - view.easting_m == pytest.approx(10 * (last + share), abs=1e-3)
    assert far - view.easting_m == pytest.approx(9.3 * 300 / 4.3, abs=0.5)  # similar triangles
    assert 300.0 < near - view.easting_m < 310.0


def test_unknown_ground_begins_half_way_to_a_void():
    height_m = np.zeros((21, 21))
    height_m[10, 15] = np.nan
    view = view_of(height_m, 10, 10, reach_m=80.0)
    unknown = shapely.union_all(reading_of(view).cover.unknown.polygons)
    assert unknown.bounds[0] == pytest.approx(view.grid.west_m + 145.0)


# --- cells -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=list(VIEWS))
def by_cells(request):
    return reading_of(VIEWS[request.param](), cells=True)


def test_cells_sum_to_the_cells(by_cells):
    view, ground = by_cells.view, by_cells.cover
    cell_m2 = view.grid.spacing_x_m * view.grid.spacing_y_m
    disc = cover.reach_polygon(view.easting_m, view.northing_m, view.viewing.reach_m)
    off_m2 = shapely.difference(disc, shapely.box(*view.grid.cell_edges_m)).area
    for of_class, patches in ((HIDDEN, ground.hidden), (VISIBLE, ground.visible), (UNKNOWN, ground.unknown)):
        area_m2 = int(((view.classes == of_class) & view.within_reach).sum()) * cell_m2
        area_m2 += off_m2 if of_class == UNKNOWN else 0.0
        assert shapely.area(patches.polygons).sum() == pytest.approx(area_m2, rel=1e-9)
    polygons = _all(ground)
    assert shapely.is_valid(polygons).all()
    assert shapely.union_all(polygons).area == pytest.approx(shapely.area(polygons).sum(), rel=1e-9)
    assert ground.reach.area == pytest.approx(int(view.within_reach.sum()) * cell_m2 + off_m2, rel=1e-9)
    assert_posts_in_their_own(view, ground)


def test_cells_leave_what_is_off_the_terrain_unknown():
    """A reach far over the terrain: all but the terrain's own square is unknown, not left out."""
    view = view_of(np.zeros((11, 11)), 5, 5, reach_m=10_000.0)
    ground = cover.celled(view)
    unknown_m2 = shapely.area(ground.unknown.polygons).sum()
    assert unknown_m2 == pytest.approx(np.pi * 10_000.0**2 - 110.0**2, rel=1e-9)


# --- arbitrary patterns ----------------------------------------------------------------------------------


@settings(deadline=None, max_examples=200)
@given(
    st.tuples(st.integers(2, 9), st.integers(2, 9)).flatmap(
        lambda shape: arrays(
            np.float32, shape, elements=st.sampled_from([-3.0, -0.01, 0.0, 0.02, 4.0, float("nan")])
        )
    ),
    st.floats(3.0, 70.0),
    st.data(),
)
def test_any_pattern_of_states_tiles(clearance_m, reach_m, data):
    rows, columns = clearance_m.shape
    row = data.draw(st.integers(0, rows - 1) | st.floats(0, rows - 1))
    column = data.draw(st.integers(0, columns - 1) | st.floats(0, columns - 1))
    seen = view_of(np.zeros(clearance_m.shape), row, column, reach_m=reach_m)
    view = dataclasses.replace(seen, posts=PostSight(clearance_m, np.zeros_like(clearance_m)))
    tiling = cover.tile(view)
    ground = cover.contoured(view, tiling)
    # Two vertices of the rim may come to lie within a micrometre; there nothing else can be asked.
    assert_tiles(view, ground)
    assert_posts_in_their_own(view, ground)
    for of_class, patches in ((HIDDEN, ground.hidden), (VISIBLE, ground.visible), (UNKNOWN, ground.unknown)):
        for polygon, piece in zip(patches.polygons, patches.pieces, strict=True):
            easting, northing = view.grid.to_map(*np.indices(view.classes.shape))
            inside = shapely.contains_xy(polygon, easting, northing)
            assert (view.classes[inside] == of_class).all()
            assert (ground.post_pieces[inside] == piece).all()


def test_a_checkerboard_and_where_three_classes_meet():
    clearance_m = np.tile(np.array([[-1, 1, np.nan], [1, np.nan, -1], [np.nan, -1, 1]], np.float32), (4, 4))
    seen = view_of(np.zeros(clearance_m.shape), 5, 5, reach_m=47.0)
    view = dataclasses.replace(seen, posts=PostSight(clearance_m, np.zeros_like(clearance_m)))
    assert_tiles(view, cover.contoured(view, cover.tile(view)))
    board = np.where(np.indices((12, 12)).sum(0) % 2, 1.0, -1.0).astype(np.float32)
    for lean in (0.5, -0.5):
        view = dataclasses.replace(seen, posts=PostSight(board + np.float32(lean), np.zeros_like(board)))
        ground = cover.contoured(view, cover.tile(view))
        assert_tiles(view, ground)
        # The mean of a square decides which diagonal joins: the greater magnitude makes one sheet.
        inside = ground.visible if lean > 0 else ground.hidden
        assert np.unique(inside.pieces).size == 1
