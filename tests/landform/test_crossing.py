"""Ridges that cross a valley on a post or on a diagonal, drawn by hand on a lattice of 6 columns."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from hillsight.landform.axes import smoothed_lines
from hillsight.landform.crossing import kept_apart, smoothed_apart
from hillsight.landform.lines import Line, Network
from landform.worked_ground import drainage_of

COLUMNS = 6
NO_SADDLES = np.empty(0, np.int64)
EMPTY = drainage_of({0: -1}, (COLUMNS, COLUMNS))


def post(row: int, column: int) -> int:
    return row * COLUMNS + column


def network(*lines: list[tuple[int, int]], standing: tuple[int, int] | None = None) -> Network:
    made = [Line(np.array([post(*p) for p in line]), -1, 1, standing, -1) for line in lines]
    return Network(made, EMPTY, np.zeros(COLUMNS * COLUMNS))


def left(ridge: Network, valley: Network) -> list[tuple[int, int]]:
    (line,) = kept_apart(ridge, valley, NO_SADDLES, COLUMNS).lines
    return [divmod(int(p), COLUMNS) for p in line.posts]


RIDGE = [(5, 0), (4, 1), (3, 2), (2, 3), (1, 4), (0, 5)]  # from its nose, in the south-west, up north-east


def test_apart_they_stay_as_they_are() -> None:
    ridge = network(RIDGE, standing=(0, 5))
    assert (
        kept_apart(ridge, network([(0, 0), (1, 1), (1, 2), (0, 2)]), NO_SADDLES, COLUMNS).lines == ridge.lines
    )
    assert kept_apart(ridge, network(), NO_SADDLES, COLUMNS).lines == ridge.lines


def test_a_meeting_on_a_post_takes_the_post_and_what_is_below() -> None:
    valley = network([(0, 2), (1, 2), (2, 2), (3, 2), (4, 2)])
    assert left(network(RIDGE), valley) == [(2, 3), (1, 4), (0, 5)]


@pytest.mark.parametrize("backwards", [False, True])
def test_two_diagonals_of_one_square_cross(backwards: bool) -> None:
    valley = [(2, 2), (3, 3), (4, 3)]  # north-west to south-east through the square of (3, 2) and (2, 3)
    assert left(network(RIDGE), network(valley[::-1] if backwards else valley)) == [(2, 3), (1, 4), (0, 5)]


def test_the_other_slant_crosses_too() -> None:
    ridge = [(0, 0), (1, 1), (2, 2), (3, 3)]
    assert left(network(ridge), network([(1, 2), (2, 1)])) == [(2, 2), (3, 3)]


def test_diagonals_of_neighbouring_squares_and_parallel_ones_do_not_cross() -> None:
    assert left(network(RIDGE), network([(3, 3), (2, 4)], [(2, 4), (3, 5)], [(4, 2), (5, 3)])) == RIDGE


def test_of_the_pieces_between_two_meetings_one_whole_piece_remains() -> None:
    valley = network([(4, 0), (4, 1), (5, 1)], [(1, 3), (2, 4)])
    assert left(network(RIDGE), valley) == [(1, 4), (0, 5)]


def test_what_stands_out_moves_with_the_beginning() -> None:
    meeting = network([(3, 2), (4, 2)])
    for before, after in (((0, 5), (0, 2)), ((4, 5), (1, 2)), ((0, 3), None), ((1, 2), None)):
        (line,) = kept_apart(network(RIDGE, standing=before), meeting, NO_SADDLES, COLUMNS).lines
        assert line.standing == after


def test_the_end_of_one_row_is_no_neighbour_of_the_next_ones_beginning() -> None:
    assert left(network([(2, 5), (1, 5)]), network([(2, 0), (3, 0)], [(1, 0), (2, 1)])) == [(2, 5), (1, 5)]


def test_a_line_met_at_its_upper_end_keeps_the_rest_and_the_others_their_numbers() -> None:
    ridges = network([(5, 0), (4, 1)], RIDGE[2:])
    found = kept_apart(ridges, network([(4, 1), (5, 1)]), NO_SADDLES, COLUMNS).lines
    assert [len(line.posts) for line in found] == [1, 4]


def over_saddle(posts: list[tuple[int, int]], saddle: tuple[int, int], valley: list[tuple[int, int]]) -> Line:
    line = Line(np.array([post(*p) for p in posts]), -1, 1, None, 0)
    ridge = Network([line], EMPTY, np.zeros(COLUMNS * COLUMNS))
    (found,) = kept_apart(ridge, network(valley), np.array([post(*saddle)]), COLUMNS).lines
    return found


def test_a_line_from_a_saddle_that_a_valley_crosses_begins_beside_it() -> None:
    climb = [(2, 3), (1, 4), (0, 5)]
    assert over_saddle(climb, (3, 2), [(5, 0), (5, 1)]).over_saddle == 0
    # Through the saddle's own post, and across the step from the saddle to the line's first post.
    for valley in ([(2, 1), (3, 2), (4, 3)], [(2, 2), (3, 3)]):
        found = over_saddle(climb, (3, 2), valley)
        assert (found.over_saddle, found.posts.tolist()) == (-1, [post(*p) for p in climb])
    assert over_saddle(climb, (3, 2), [(2, 3), (2, 2)]).posts.tolist() == [post(1, 4), post(0, 5)]


def test_smoothing_brings_no_ridge_across_a_valley() -> None:
    """A valley turns sharply round the end of a ridge: with its corner cut it would run through it."""
    valley = 10.0 * np.array([[x, 0.0] for x in range(-8, 1)] + [[0.0, y] for y in range(-1, -9, -1)])
    ridge = np.array([[-60.0 + 5.0 * k, -60.0 + 5.0 * k] for k in range(12)])
    away = valley + 500.0
    alone = [smoothed_lines([each])[0] for each in (ridge, valley)]
    assert shapely.LineString(alone[0]).intersects(shapely.LineString(alone[1])), "no trouble to begin with"
    (one,), (other, third) = smoothed_apart([ridge], [valley, away])
    assert not shapely.LineString(one).intersects(shapely.LineString(other))
    assert third == pytest.approx(smoothed_lines([away])[0]), "what crosses nothing is smoothed"


def test_a_line_of_one_post_and_no_lines_are_no_trouble() -> None:
    (one,), (other,) = smoothed_apart([np.array([[5.0, 5.0]])], [np.array([[0.0, 0.0], [10.0, 0.0]])])
    assert one.tolist() == [[5.0, 5.0]]
    assert len(other) == 2
    assert smoothed_apart([], []) == ([], [])
