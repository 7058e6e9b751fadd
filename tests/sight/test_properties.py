"""What must hold of any sight line over any ground, whatever the ground (hypothesis)."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from assertions import assert_same_states, states
from hillsight.ground.geodesy import drop_coefficient_per_m
from hillsight.sight.bearings import see_bearings
from hillsight.sight.points import see_points
from hillsight.sight.posts import see_posts
from hillsight.sight.viewing import TIE_M, Eye
from views import surface_of

ALL = 1e9
SIDES = st.tuples(st.integers(3, 11), st.integers(3, 11))
#: Sixteenths of a metre: sums and multiples stay exact in float32, so ties stay ties.
GROUND = SIDES.flatmap(
    lambda shape: arrays(
        np.float32, shape, elements=st.integers(-800, 800).map(lambda v: v / 16), fill=st.nothing()
    )
)
SHARE = st.sampled_from([0.0, 0.25, 0.5, 1.0]) | st.floats(0, 1)
TALL = st.sampled_from([0.0, 1.6, 12.5]) | st.floats(0, 300)
quick = settings(deadline=None, max_examples=60)


def _eye(height_m, share, eye_height_m, drop=0.0):
    row, column = (s * (n - 1) for s, n in zip(share, height_m.shape, strict=True))
    surface = surface_of(height_m)
    under_m = surface.height_at_m(*(float(v) for v in surface.grid.to_map(row, column)))
    return Eye(row, column, under_m + eye_height_m, drop)


def _clearance(height_m, eye, target_m=0.0, spacing_y_m=10.0):
    return see_posts(surface_of(height_m, 10.0, spacing_y_m), eye, ALL, target_m).clearance_m


def _nowhere_near_a_tie(clearance_m):
    """Rounding decides between the two sides of a tie; only exact ones survive a change of the sums."""
    finite = clearance_m[np.isfinite(clearance_m)]
    return bool((np.abs(finite) > 1e-4).all())


@quick
@given(
    GROUND,
    st.tuples(SHARE, SHARE),
    TALL,
    st.integers(-64, 64),
    st.integers(-64, 64),
    st.integers(-9000, 9000),
)
def test_adding_a_plane_changes_no_state(height_m, share, eye_m, p, q, constant):
    eye = _eye(height_m, share, eye_m)
    before = _clearance(height_m, eye)
    assume(_nowhere_near_a_tie(before))
    r, c = np.indices(height_m.shape)
    plane = (constant + p / 16 * r + q / 16 * c).astype(np.float32)
    under = constant + p / 16 * eye.row + q / 16 * eye.column
    after = _clearance(height_m + plane, Eye(eye.row, eye.column, eye.level_m + under))
    assert_same_states(after, before)


@quick
@given(GROUND, st.tuples(SHARE, SHARE), TALL, st.floats(0, 50), st.floats(0, 1e-4))
def test_raising_the_target_never_hides(height_m, share, eye_m, tall_m, drop):
    eye = _eye(height_m, share, eye_m, drop)
    low, high = _clearance(height_m, eye), _clearance(height_m, eye, tall_m)
    assert not ((low >= 0) & ~(high >= 0)).any()
    hidden = low < -2 * TIE_M
    np.testing.assert_allclose(high[hidden], low[hidden] + tall_m, rtol=1e-5, atol=1e-4)


@quick
@given(SIDES, st.tuples(SHARE, SHARE), st.floats(0.1, 40), st.floats(0, 100), st.floats(0.05, 8))
def test_over_a_dome_raising_the_eye_never_hides(shape, share, eye_m, more_m, bend):
    r, c = np.indices(shape)
    dome = (-bend * ((r - shape[0] / 3) ** 2 + (c - shape[1] / 2) ** 2)).astype(np.float32)
    low = _clearance(dome, _eye(dome, share, eye_m))
    high = _clearance(dome, _eye(dome, share, eye_m + more_m))
    assert not ((low >= 0) & ~(high >= 0)).any()


@quick
@given(GROUND, st.tuples(SHARE, SHARE), TALL, st.floats(0, 1e-4))
def test_turned_and_mirrored_ground_gives_turned_and_mirrored_views(height_m, share, eye_m, drop):
    eye = _eye(height_m, share, eye_m, drop)
    before = _clearance(height_m, eye, spacing_y_m=10.0)
    assume(_nowhere_near_a_tie(before))
    rows, columns = height_m.shape
    turned = Eye(columns - 1 - eye.column, eye.row, eye.level_m, drop)
    assert_same_states(_clearance(np.rot90(height_m).copy(), turned), np.rot90(before), "turned")
    mirrored = Eye(eye.row, columns - 1 - eye.column, eye.level_m, drop)
    assert_same_states(_clearance(height_m[:, ::-1].copy(), mirrored), before[:, ::-1], "mirrored")
    flipped = Eye(rows - 1 - eye.row, eye.column, eye.level_m, drop)
    assert_same_states(_clearance(height_m[::-1].copy(), flipped), before[::-1], "flipped")


@quick
@given(GROUND, st.tuples(SHARE, SHARE), TALL)
def test_stretched_ground_gives_the_same_view(height_m, share, eye_m):
    """Without curvature, states do not depend on the spacings, nor on a stretch of all heights."""
    eye = _eye(height_m, share, eye_m)
    before = _clearance(height_m, eye)
    assume(_nowhere_near_a_tie(before))
    assert_same_states(_clearance(height_m, eye, spacing_y_m=3.7), before)
    assert_same_states(_clearance(height_m * 2, Eye(eye.row, eye.column, eye.level_m * 2)), before)


@quick
@given(
    GROUND,
    st.tuples(SHARE, SHARE),
    st.tuples(SHARE, SHARE),
    st.tuples(TALL, TALL),
    st.sampled_from([0, 7e-8]),
)
def test_whom_i_see_sees_me(height_m, a, b, tall, drop):
    surface = surface_of(height_m)
    here, there = _eye(height_m, a, tall[0], drop), _eye(height_m, b, tall[1], drop)
    assume((here.row, here.column) != (there.row, there.column))
    out, back = (
        see_points(surface, p, np.array([q.row]), np.array([q.column]), t).clearance_m[0]
        for p, q, t in ((here, there, tall[1]), (there, here, tall[0]))
    )
    # With curvature the two frames differ by a plane over the whole line, but for a trifle between posts.
    assume(abs(out) > 1e-3 and abs(back) > 1e-3)
    assert (out >= 0) == (back >= 0)


@quick
@given(GROUND, st.tuples(SHARE, SHARE), TALL, st.data())
def test_voids_take_knowledge_away_and_add_none(height_m, share, eye_m, data):
    eye = _eye(height_m, share, eye_m)
    before = states(_clearance(height_m, eye))
    holes = data.draw(arrays(np.bool_, height_m.shape, elements=st.integers(0, 9).map(lambda v: v == 0)))
    holed = np.where(holes, np.float32(np.nan), height_m)
    after = states(_clearance(holed, eye))
    # Hidden by known ground stays so; what may have been hidden by ground now unknown becomes unknown.
    assert not ((after == -1) & (before != -1)).any()
    assert not ((after == 1) & (before != 1)).any()
    assert (after[holes] == 0).all()


@quick
@given(GROUND, st.tuples(SHARE, SHARE), TALL)
def test_a_smaller_reach_only_leaves_out(height_m, share, eye_m):
    surface, eye = surface_of(height_m), _eye(height_m, share, eye_m)
    whole, near = see_posts(surface, eye, ALL).clearance_m, see_posts(surface, eye, 25.0).clearance_m
    r, c = np.indices(height_m.shape)
    within = np.hypot(r - eye.row, c - eye.column) <= 2.5
    assert np.array_equal(near[within], whole[within], equal_nan=True)
    assert np.isnan(near[~within]).all()


@quick
@given(GROUND, st.tuples(SHARE, SHARE), TALL, st.floats(0, 360))
def test_the_skyline_stands_above_all_posts_on_its_bearing(height_m, share, eye_m, bearing):
    surface, eye = surface_of(height_m), _eye(height_m, share, eye_m)
    found = see_bearings(surface, eye, ALL, np.array([bearing]))
    assume(found.skyline_distance_m[0] > 0.1)
    d = found.skyline_distance_m[0]
    row = eye.row - d * np.cos(np.radians(bearing)) / 10
    column = eye.column + d * np.sin(np.radians(bearing)) / 10
    seen = see_points(surface, eye, np.array([row]), np.array([column]))
    assert seen.clearance_m[0] >= -1e-5  # the skyline is seen
    assert abs(seen.slope[0] - found.skyline_slope[0]) < 1e-5
    assert abs(seen.ground_m[0] - found.skyline_height_m[0]) < 1e-4
    if np.isfinite(found.brow_distance_m[0]):
        assert found.brow_distance_m[0] <= d + 1e-9
        assert found.crest_count[0] >= 1


def test_refraction_of_one_switches_curvature_off():
    assert drop_coefficient_per_m(6_371_000.0, 1.0) == 0.0
    rough = surface_of(np.random.default_rng(3).normal(0, 5, (40, 40)), 500.0)
    level_m = float(rough.height_m[20, 20]) + 1.6
    flat, curved = (
        see_posts(rough, Eye(20, 20, level_m, drop_coefficient_per_m(6_371_000.0, k)), ALL).clearance_m
        for k in (1.0, 0.13)
    )
    bare = see_posts(rough, Eye(20, 20, level_m), ALL).clearance_m
    assert np.array_equal(flat, bare)
    assert (states(curved) != states(flat)).sum() > 20
