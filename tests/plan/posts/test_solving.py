"""The parts of choosing: greed keeps its promise, bounds hold, and what is taken out did not matter."""

from __future__ import annotations

import itertools
import time

import numpy as np
import pytest

from hillsight.plan.posts.solving.bound import bound
from hillsight.plan.posts.solving.exact import least_cost, most_cover
from hillsight.plan.posts.solving.search import greedy, searched
from hillsight.plan.posts.solving.stages import fewest, most
from hillsight.plan.posts.solving.table import Table
from shared_data import shared_file


def table_of(seen: np.ndarray, worth: np.ndarray, times: np.ndarray | None = None) -> Table:
    times = np.ones(worth.size) if times is None else times
    return Table.of(np.asarray(seen, bool), worth, times, np.arange(len(seen)), np.zeros(len(seen)))


def made(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    seen = random.random((int(random.integers(5, 11)), int(random.integers(8, 40)))) < random.uniform(
        0.1, 0.5
    )
    times = np.where(random.random(seen.shape[1]) < 0.3 * (seed % 2), 2.0, 1.0)
    return seen, random.random(seen.shape[1]), times


def best_of(seen: np.ndarray, worth: np.ndarray, times: np.ndarray, posts: int) -> float:
    return max(
        float(worth @ np.minimum(seen[list(some)].sum(axis=0), times))
        for some in itertools.combinations(range(len(seen)), min(posts, len(seen)))
    )


@pytest.mark.parametrize("seed", range(20))
def test_greed_sees_at_least_its_share(seed: int) -> None:
    """At least 1 - 1/e of the best (Nemhauser, Wolsey and Fisher 1978; from memory)."""
    seen, worth, times = made(seed)
    table = table_of(seen, worth, times)
    for posts in (2, 3, 4):
        found = table.cover(greedy(table, posts))
        assert found >= (1.0 - 1.0 / np.e) * best_of(seen, worth, times, posts) - 1e-12


def test_greed_falls_into_the_known_trap_and_the_search_does_not() -> None:
    """A place that sees a little more than either half draws greed away from the two halves.

    For two posts greed keeps to 1 - (1 - 1/2)^2, 3/4 of the best, and no better (Cornuejols, Fisher and
    Nemhauser 1977; from memory).
    """
    seen = np.array([[1, 1, 0, 0], [0, 0, 1, 1], [1, 0, 1, 0]], bool)
    table = table_of(seen, np.array([1.01, 1.0, 1.01, 1.0]))
    assert table.cover(greedy(table, 2)) == pytest.approx(3.02)
    assert table.cover(searched(table, 2, time.monotonic() + 5)) == pytest.approx(4.02)


@pytest.mark.parametrize("seed", range(20))
def test_no_choice_sees_more_than_the_bound(seed: int) -> None:
    seen, worth, times = made(50 + seed)
    table = table_of(seen, worth, times)
    posts = 2 + seed % 3
    best = best_of(seen, worth, times, posts)
    found = bound(table, posts, best, time.monotonic() + 10)
    for count in range(1, len(table.place) + 1):
        assert found.by_posts[count] >= best_of(seen, worth, times, count) - 1e-9
    # Whatever is as good as the best has only places that were left in.
    left = set(table.place[found.possible])
    alike = [
        set(some)
        for some in itertools.combinations(table.place, min(posts, len(table.place)))
        if table.cover(table.rows_of(np.array(some))) >= best - 1e-9
    ]
    assert all(some <= left for some in alike)


@pytest.mark.parametrize("seed", range(20))
def test_taking_out_what_is_dominated_loses_nothing(seed: int) -> None:
    seen, worth, times = made(90 + seed)
    doubled = np.concatenate((seen, seen[:2], seen[2:4] & seen[3:5]))
    whole, few = (
        table_of(doubled, worth, times),
        table_of(doubled, worth, times).undominated(spare_effort=False),
    )
    assert few.place.size <= whole.place.size <= len(doubled)
    for posts in (1, 2, 3):
        best = best_of(doubled, worth, times, posts)
        assert best_of(_dense(few), few.worth, few.times, posts) == pytest.approx(best)


def test_pieces_seen_alike_are_one() -> None:
    seen = np.array([[1, 1, 0, 0], [1, 1, 1, 0]], bool)
    table = table_of(seen, np.array([1.0, 2.0, 4.0, 8.0]))
    assert table.worth.tolist() == [3.0, 4.0]
    assert table.whole == 7.0


@pytest.mark.parametrize("seed", range(5))
def test_stages_agree_with_the_solver_alone(seed: int) -> None:
    random = np.random.default_rng(seed)
    seen, worth = random.random((25, 90)) < 0.1, random.random(90)
    table = table_of(seen, worth)
    alone = most_cover(table, 5, 60.0)
    assert alone.chosen is not None
    found = most(table, 5, 60.0)
    assert table.cover(found.chosen) == pytest.approx(table.cover(alone.chosen), rel=1e-6)
    assert found.bound >= table.cover(alone.chosen) - 1e-9
    wanted = 0.9 * table.whole
    fewer = least_cost(table, wanted, np.ones(table.place.size), 60.0)
    assert fewer.chosen is not None
    few = fewest(table, wanted, 60.0)
    assert few.chosen.size == few.needed == fewer.chosen.size


@pytest.mark.parametrize(("name", "least"), [("scp41.txt", 429), ("scp51.txt", 253)])
def test_covering_problems_of_the_or_library(name: str, least: int) -> None:
    """Beasley's OR-Library (1990), optima from memory; the file is looked for beside the real terrain."""
    numbers = np.array(shared_file(f"orlib/{name}").read_text(encoding="ascii").split(), np.int64)
    pieces, places = int(numbers[0]), int(numbers[1])
    cost, rest = numbers[2 : 2 + places].astype(float), numbers[2 + places :]
    seen = np.zeros((places, pieces), bool)
    at = 0
    for piece in range(pieces):
        count = int(rest[at])
        seen[rest[at + 1 : at + 1 + count] - 1, piece] = True
        at += 1 + count
    assert at == rest.size
    table = Table.of(seen, np.ones(pieces), np.ones(pieces), np.arange(places), cost)
    table = table.undominated(spare_effort=True)
    found = least_cost(table, table.whole, table.effort, 300.0)
    assert found.chosen is not None
    assert table.effort[found.chosen].sum() == least
    assert found.bound == pytest.approx(least)
    assert seen[table.place[found.chosen]].any(axis=0).all()


def _dense(table: Table) -> np.ndarray:
    return np.asarray(table.seen.todense()) > 0
