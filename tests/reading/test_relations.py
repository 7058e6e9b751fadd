"""How things in view stand to each other: a row of three, one behind another, all round, across north."""

from __future__ import annotations

import geopandas
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from hillsight.reading.things.relations import Seen, relations
from hillsight.schema.frames import BUT_STATION, column_names

GRID = CRS.from_epsg(27700)


def thing(
    rank: int, left_deg: float, right_deg: float, distance_m: float | list[float] = 1000.0, told: bool = True
) -> Seen:
    """Seen at every slice of the view between its edges, at one distance or at these."""
    bearing_deg = np.arange(left_deg + 0.01, right_deg + 0.009, 0.25)
    distances_m = np.resize(np.asarray(distance_m, float), bearing_deg.size)
    middle = np.radians((left_deg + right_deg) / 2)
    far_m = float(distances_m.mean())
    place = 4e5 + far_m * float(np.sin(middle)), 3e5 + far_m * float(np.cos(middle))
    return Seen(
        rank,
        f"thing {rank}",
        told,
        bearing_deg % 360.0,
        distances_m,
        left_deg % 360.0,
        right_deg if right_deg - left_deg >= 360 else right_deg % 360.0,
        *place,
        100.0 + rank,
    )


def told(*things: Seen) -> dict[tuple[int, int], tuple[str, float, float]]:
    """(rank, other rank) -> relation, gap, how much nearer."""
    frame = relations(things, GRID)
    assert list(frame.columns) == [*column_names("relations", but=BUT_STATION), "geometry"]
    assert not frame.duplicated(["rank", "other_rank"]).any()
    return {(r.rank, r.other_rank): (r.relation, r.gap_deg, r.nearer_by_m) for r in frame.itertuples()}


def test_three_in_a_row_know_their_neighbours_and_the_gaps() -> None:
    found = told(thing(1, 10, 20), thing(2, 25, 30), thing(3, 32, 50))
    assert {
        pair: (word, round(gap, 6)) for pair, (word, gap, _) in found.items() if abs(pair[0] - pair[1]) == 1
    } == {
        (1, 2): ("left_of", 5.0),
        (2, 1): ("right_of", 5.0),
        (2, 3): ("left_of", 2.0),
        (3, 2): ("right_of", 2.0),
    }
    # The first and the last see each other round the back no nearer than their neighbours.
    assert (1, 3) not in found
    assert (3, 1) not in found
    assert all(np.isnan(nearer) for _, _, nearer in found.values())


def test_across_north() -> None:
    found = told(thing(1, 350, 355), thing(2, 359, 363), thing(3, 5, 9))
    assert found[1, 2][:2] == ("left_of", pytest.approx(4.0))
    assert found[2, 1][:2] == ("right_of", pytest.approx(4.0))
    assert found[2, 3][:2] == ("left_of", pytest.approx(2.0))


def test_the_nearer_of_two_on_one_bearing_is_in_front() -> None:
    found = told(thing(1, 10, 20, 500.0), thing(2, 12, 30, 1700.0))
    assert found == {
        (1, 2): ("in_front_of", 0.0, pytest.approx(1200.0)),
        (2, 1): ("behind", 0.0, pytest.approx(-1200.0)),
    }


def test_two_that_change_places_overlap() -> None:
    found = told(thing(1, 10, 20, [500.0, 1500.0]), thing(2, 10, 20, 1000.0))
    assert found[1, 2][0] == found[2, 1][0] == "overlapping"


@pytest.mark.parametrize("shares", [2, 3, 4, 5, 7, 10])
def test_what_one_is_to_another_the_other_is_to_it(shares: int) -> None:
    """At any share of slices, as at the limits of a fifth and four fifths."""
    turned = {"in_front_of": "behind", "behind": "in_front_of", "overlapping": "overlapping"}
    for nearer in range(shares + 1):
        near, far = [900.0] * nearer, [1100.0] * (shares - nearer)
        found = told(thing(1, 10, 10 + shares / 4, near + far), thing(2, 10, 10 + shares / 4, 1000.0))
        assert found[2, 1][0] == turned[found[1, 2][0]], (nearer, shares)
        assert found[2, 1][2] == -found[1, 2][2]


def test_neither_of_two_in_one_place_is_behind_the_other() -> None:
    found = told(thing(1, 10, 20, 1000.0), thing(2, 10, 20, 1000.0))
    assert found[1, 2][0] == found[2, 1][0] == "overlapping"


def test_what_lies_all_round_overlaps_everything_and_is_beside_nothing() -> None:
    found = told(thing(1, 0, 360, 5000.0), thing(2, 100, 110, 1000.0), thing(3, 355, 365, 9000.0))
    assert found[1, 2][0] == "behind"
    assert found[2, 1][0] == "in_front_of"
    assert found[1, 3][0] == "in_front_of"
    assert {pair[1] for pair in found if pair[0] == 1} == {2, 3}


def test_only_those_to_be_told_are_told_and_others_serve_as_marks() -> None:
    found = told(thing(1, 10, 20), thing(2, 25, 30, told=False))
    assert list(found) == [(1, 2)]
    assert told(thing(1, 10, 20)) == {}
    assert told() == {}


def test_the_nearest_on_each_side_is_told_and_at_most_four_that_overlap() -> None:
    behind = [thing(k, 10, 20, 1000.0 + 100.0 * k) for k in range(2, 9)]
    found = told(thing(1, 10, 20, 1000.0), *behind, thing(9, 21, 22), thing(10, 23, 24))
    assert {pair[1] for pair in found if pair[0] == 1 and found[pair][0] == "in_front_of"} == {2, 3, 4, 5}
    assert [pair[1] for pair in found if pair[0] == 1 and found[pair][0] == "left_of"] == [9]


@given(
    edges=st.lists(
        st.tuples(st.integers(0, 359), st.integers(1, 40), st.integers(100, 5000)), min_size=2, max_size=6
    ),
    turn_deg=st.integers(0, 359),
)
@settings(max_examples=40, deadline=None)
def test_turning_the_view_changes_no_relation(edges: list[tuple[int, int, int]], turn_deg: int) -> None:
    one, other = (
        told(*(thing(k, left + by, left + width + by, far) for k, (left, width, far) in enumerate(edges)))
        for by in (0, turn_deg)
    )
    assert one.keys() == other.keys()
    assert {pair: word for pair, (word, _, _) in one.items()} == {
        pair: word for pair, (word, _, _) in other.items()
    }
    for pair, (_, gap_deg, _) in one.items():
        assert other[pair][1] == pytest.approx(gap_deg, abs=1e-6)


def test_sentences_and_the_line_from_one_to_the_other() -> None:
    frame = relations([thing(1, 10, 20, 500.0), thing(2, 12, 18, 1734.0), thing(3, 33.3, 40)], GRID)
    said = {(r.rank, r.other_rank): r.description for r in frame.itertuples()}
    assert said[1, 2] == "thing 1 in front of thing 2, 1,234 m nearer"
    assert said[2, 1] == "thing 2 behind thing 1, 1,234 m farther"
    assert said[1, 3] == "thing 1 left of thing 3, 13.3 degrees between"
    assert said[3, 1] == "thing 3 right of thing 1, 13.3 degrees between"
    (line,) = frame[(frame["rank"] == 1) & (frame["other_rank"] == 2)].geometry
    assert [p[2] for p in line.coords] == [101.0, 102.0]
    assert frame.crs == GRID


def test_without_relations_the_columns_are_there_with_their_types() -> None:
    frame = relations([], GRID)
    assert isinstance(frame, geopandas.GeoDataFrame)
    assert pd.api.types.is_integer_dtype(frame["rank"])
    assert pd.api.types.is_float_dtype(frame["gap_deg"])
    assert frame.crs == GRID


def line_thing(rank: int, bearing_deg: list[float], distance_m: list[float], number: list[int]) -> Seen:
    """Few seen samples of a line, numbered as they follow each other."""
    return Seen(
        rank,
        f"thing {rank}",
        True,
        np.array(bearing_deg) % 360.0,
        np.array(distance_m),
        min(bearing_deg) % 360.0,
        max(bearing_deg) % 360.0,
        4e5,
        3e5 + distance_m[0],
        100.0,
        np.array(number),
    )


@pytest.mark.parametrize("turn_deg", [0.0, 350.0])
@pytest.mark.parametrize("backwards", [False, True])
def test_a_line_is_whole_between_seen_samples_next_to_each_other(turn_deg: float, backwards: bool) -> None:
    """From 1,000 m at 10 degrees to 2,000 m at 20, so 1,500 m half-way, where a point stands 200 m behind."""
    bearing, distance = [turn_deg + 10.0, turn_deg + 20.0], [1000.0, 2000.0]
    if backwards:
        bearing, distance = bearing[::-1], distance[::-1]
    middle = turn_deg + 15.1
    point = line_thing(2, [middle], [1700.0], [0])
    found = told(line_thing(1, bearing, distance, [4, 5]), point)
    # The slice from 15 to 15.25 degrees, by its middle: 1,512.5 m.
    assert found[1, 2] == ("in_front_of", 0.0, pytest.approx(187.5))
    assert found[2, 1] == ("behind", 0.0, pytest.approx(-187.5))
    assert told(line_thing(1, bearing, distance, [4, 6]), point) == {}, "a hidden sample lies between"


def test_many_things_at_once_are_told_as_pair_by_pair() -> None:
    """Each of 150 held against each other one: slices shared, shares of them, median, four at most."""
    random = np.random.default_rng(8)
    things = [
        thing(k, float(left), float(left + width), [float(far), 1.1 * float(far), 0.8 * float(far)])
        for k, (left, width, far) in enumerate(random.uniform((0, 0.3, 500), (360, 9, 600), (150, 3)))
    ]
    found = told(*things)
    by_slice = [
        dict(zip((t.bearing_deg // 0.25).astype(int).tolist(), t.distance_m.tolist(), strict=True))
        for t in things
    ]
    for k, mine in enumerate(by_slice):
        expected = []
        for j, theirs in enumerate(by_slice):
            nearer = [theirs[n] - mine[n] for n in mine.keys() & theirs.keys()]
            if j != k and nearer:
                median = float(np.median(nearer))
                word = "overlapping"
                if sum(m > 0 for m in nearer) >= 0.8 * len(nearer):
                    word = "in_front_of"
                elif sum(m < 0 for m in nearer) >= 0.8 * len(nearer):
                    word = "behind"
                expected.append((abs(median), j, word, median))
        assert {
            (pair[1], word, round(nearer, 6))
            for pair, (word, _, nearer) in found.items()
            if pair[0] == k and np.isfinite(nearer)
        } == {(j, word, round(median, 6)) for _, j, word, median in sorted(expected)[:4]}
