"""Stems of small drainage trees drawn by hand, and Strahler's orders of their lower ends.

Strahler's rule (Hypsometric (area-altitude) analysis of erosional topography, 1952, and 1957; from memory):
a line without branches is of order 1; where two of order n meet, n + 1 begins; a lower order changes nothing.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hillsight.landform.flood import Drainage
from hillsight.landform.network import Stem, stems, strahler_orders
from landform.worked_ground import drainage_of

# Posts of a 5 x 5 lattice. A trunk 3-2-7-12-17-22 leaves southward; 10-11 comes in from the west at 12,
# 14-13 from the east at 12, and 15-16 at 17.
TREE = {22: -1, 17: 22, 12: 17, 7: 12, 2: 7, 3: 2, 11: 12, 10: 11, 13: 12, 14: 13, 16: 17, 15: 16}
SHAPE = (5, 5)


def sources(*posts: int) -> np.ndarray:
    found = np.zeros(SHAPE, bool)
    found.flat[list(posts)] = True
    return found


def as_lists(found: list[Stem]) -> list[tuple[list[int], int]]:
    return [(stem.posts.tolist(), stem.joins) for stem in found]


def orders_of(*found: tuple[list[int], int]) -> list[int]:
    return strahler_orders([Stem(np.array(posts), joins) for posts, joins in found]).tolist()


def test_the_longest_goes_on_and_the_others_join_it() -> None:
    found = stems(drainage_of(TREE, SHAPE), sources(3, 10, 14, 15), np.ones(SHAPE))
    assert as_lists(found) == [
        ([3, 2, 7, 12, 17, 22], -1),
        ([15, 16, 17], 0),
        ([10, 11, 12], 0),
        ([14, 13, 12], 0),
    ]


def test_merit_decides_and_not_length() -> None:
    merit = np.ones(SHAPE)
    merit.flat[14] = 5.0
    found = stems(drainage_of(TREE, SHAPE), sources(3, 10, 14, 15), merit)
    assert as_lists(found)[0] == ([14, 13, 12, 17, 22], -1)
    assert ([3, 2, 7, 12], 0) in as_lists(found)


def test_short_branches_are_left_out_by_their_own_merit() -> None:
    merit = np.ones(SHAPE)
    merit.flat[[15, 16]] = 0.4
    found = stems(drainage_of(TREE, SHAPE), sources(3, 10, 14, 15), merit, 1.0)
    assert [posts for posts, _ in as_lists(found)] == [[3, 2, 7, 12, 17, 22], [10, 11, 12], [14, 13, 12]]
    assert stems(drainage_of(TREE, SHAPE), sources(3), np.ones(SHAPE), 7.0) == []


def test_lines_begin_at_sources_only() -> None:
    found = stems(drainage_of(TREE, SHAPE), sources(7, 16), np.ones(SHAPE))
    assert as_lists(found) == [([7, 12, 17, 22], -1), ([16, 17], 0)]
    assert stems(drainage_of(TREE, SHAPE), sources(), np.ones(SHAPE)) == []


@st.composite
def drainages(draw: st.DrawFn) -> tuple[Drainage, np.ndarray]:
    """A random forest: each post drains to an earlier one, or leaves."""
    count = draw(st.integers(1, 30))
    below = [draw(st.integers(-1, post - 1)) for post in range(count)]
    picked = np.array(draw(st.lists(st.booleans(), min_size=count, max_size=count)))
    return drainage_of(dict(enumerate(below)), (1, count)), picked


@given(drawn=drainages())
@settings(max_examples=80, deadline=None)
def test_stems_hold_every_post_below_a_source_once(drawn: tuple[Drainage, np.ndarray]) -> None:
    drainage, picked = drawn
    found = stems(drainage, picked[None], np.ones((1, picked.size)))
    wet = picked.copy()
    for post in range(picked.size - 1, -1, -1):
        if wet[post] and drainage.receiver[post] >= 0:
            wet[drainage.receiver[post]] = True
    own = [stem.posts if stem.joins < 0 else stem.posts[:-1] for stem in found]
    assert sorted(int(post) for posts in own for post in posts) == np.flatnonzero(wet).tolist()
    for me, stem in enumerate(found):
        assert (drainage.receiver[stem.posts[:-1]] == stem.posts[1:]).all()
        assert stem.joins < me
        if stem.joins >= 0:
            assert stem.posts[-1] in own[stem.joins]


@given(drawn=drainages())
@settings(max_examples=80, deadline=None)
def test_orders_are_those_of_the_rule_read_post_by_post(drawn: tuple[Drainage, np.ndarray]) -> None:
    """Orders at the way out of each tree, by the rule itself applied at every post from the top down."""
    drainage, picked = drawn
    found = stems(drainage, picked[None], np.ones((1, picked.size)))
    inflow: dict[int, list[int]] = {}
    at: dict[int, int] = {}
    for post in range(picked.size - 1, -1, -1):
        above = inflow.get(post, [])
        if not (above or picked[post]):
            continue
        most = max(above, default=1)
        at[post] = most + 1 if above.count(most) > 1 else most
        if drainage.receiver[post] >= 0:
            inflow.setdefault(int(drainage.receiver[post]), []).append(at[post])
    for stem, order in zip(found, strahler_orders(found), strict=True):
        if stem.joins < 0:
            assert order == at[int(stem.posts[-1])]


def test_two_equal_ones_raise_the_order_and_a_lesser_one_does_not() -> None:
    assert orders_of(([0, 1, 2, 3], -1)) == [1]
    assert orders_of(([0, 1, 2, 3], -1), ([9, 1], 0)) == [2, 1]
    assert orders_of(([0, 1, 2, 3], -1), ([9, 1], 0), ([8, 2], 0)) == [2, 1, 1]
    # A branch of order 2 meets the trunk, by then of order 2: the trunk is of order 3 below.
    assert orders_of(([0, 1, 2, 3], -1), ([9, 1], 0), ([7, 6, 2], 0), ([8, 6], 2)) == [3, 1, 2, 1]


@pytest.mark.parametrize("turned", [False, True])
def test_where_several_meet_at_one_post_only_equals_of_the_highest_count(turned: bool) -> None:
    # At post 1 the trunk (order 1), a branch of order 1 and one of order 2 meet: order 2 goes on.
    small, large = ([9, 1], 0), ([7, 6, 1], 0)
    if turned:
        assert orders_of(([0, 1, 2], -1), large, small, ([8, 6], 1))[0] == 2
    else:
        assert orders_of(([0, 1, 2], -1), small, large, ([8, 6], 2))[0] == 2
    # Three of order 1 make 2, not 3.
    assert orders_of(([0, 1, 2], -1), ([9, 1], 0), ([8, 1], 0))[0] == 2


def test_a_long_line_of_which_little_has_the_least_merit_is_there_whole() -> None:
    drainage = drainage_of({post: post - 1 for post in range(60)}, (1, 60))
    found = stems(drainage, np.arange(60)[None] == 59, np.ones((1, 60)), 58.0)
    assert as_lists(found) == [(list(range(59, -1, -1)), -1)]
