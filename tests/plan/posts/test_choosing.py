"""The choice of posts is the best there is: against all choices one by one, and published optima."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import pytest

from hillsight.errors import CallError
from hillsight.plan.posts.choosing import choose

if TYPE_CHECKING:
    from collections.abc import Iterable

    from hillsight.arrays import Flags, Floats


def cover(seen: Flags, weight: Floats, asked: Floats, chosen: Iterable[int]) -> float:
    """Weight seen, by the rule itself: each piece as often as it is seen, up to what is asked."""
    total = 0.0
    for piece in range(weight.size):
        times = sum(bool(seen[place, piece]) for place in chosen)
        total += weight[piece] * min(times, asked[piece]) / asked[piece]
    return total


class Case:
    """A small course with all choices of places that its rules allow."""

    def __init__(self, seed: int) -> None:
        random = np.random.default_rng(seed)
        places, pieces = int(random.integers(4, 9)), int(random.integers(5, 25))
        self.seen = random.random((places, pieces)) < random.uniform(0.1, 0.5)
        self.weight = random.integers(0, 9, pieces).astype(float) + (0.3 if seed % 3 else 0.0)
        self.twice = (random.random(pieces) < 0.4) & (seed % 2 == 1)
        self.effort = random.integers(0, 20, places).astype(float)
        self.fixed, self.banned = np.zeros(places, bool), np.zeros(places, bool)
        self.fixed[0], self.banned[1] = seed % 5 == 0, seed % 4 == 0
        self.asked = np.where(self.twice, 2.0, 1.0)
        free = np.flatnonzero(~self.fixed & ~self.banned)
        always = tuple(np.flatnonzero(self.fixed))
        self.choices = [
            always + some for count in range(free.size + 1) for some in itertools.combinations(free, count)
        ]
        self.covers = [cover(self.seen, self.weight, self.asked, one) for one in self.choices]
        self.whole = float(self.weight.sum())

    def asked_for(self) -> dict[str, Flags]:
        return {"fixed": self.fixed, "banned": self.banned, "twice": self.twice}


@pytest.mark.parametrize("seed", range(14))
def test_most_cover_for_so_many_posts(seed: int) -> None:
    case, posts = Case(seed), 1 + seed % 4
    found = choose(case.seen, case.weight, posts=posts, seconds=10, effort=case.effort, **case.asked_for())
    few = [(c, one) for c, one in zip(case.covers, case.choices, strict=True) if len(one) <= posts]
    best = max(c for c, _ in few)
    assert found.is_proven
    assert found.covered_share * case.whole == pytest.approx(best)
    assert found.at_most_share == pytest.approx(found.covered_share)
    # No cover is given up, and no needless step is walked.
    least = min(case.effort[list(one)].sum() for c, one in few if c >= best - 1e-9)
    assert case.effort[found.chosen].sum() == pytest.approx(least)
    assert set(np.flatnonzero(case.fixed)) <= set(found.chosen)
    assert not case.banned[found.chosen].any()


@pytest.mark.parametrize("seed", range(14))
def test_fewest_posts_for_so_much_cover(seed: int) -> None:
    case = Case(100 + seed)
    wanted = (0.5, 0.8, 1.0)[seed % 3] * max(case.covers) / case.whole
    found = choose(case.seen, case.weight, share=wanted, seconds=10, **case.asked_for())
    fewest = min(
        len(o) for c, o in zip(case.covers, case.choices, strict=True) if c >= wanted * case.whole - 1e-9
    )
    assert found.chosen.size == found.needed_posts == fewest
    assert found.is_proven
    assert found.covered_share >= wanted - 1e-9


@pytest.mark.parametrize("first", range(0, 240, 40))
def test_every_rule_at_once_against_all_choices(first: int) -> None:
    """Double cover, pins and bans together, 240 cases: the most for so many, and the fewest for so much."""
    for seed in range(first, first + 40):
        case = Case(1_000 + seed)
        random = np.random.default_rng(seed)
        places, pieces = case.seen.shape
        case.twice = random.random(pieces) < random.uniform(0.0, 1.0)
        case.asked = np.where(case.twice, 2.0, 1.0)
        case.fixed, case.banned = np.zeros(places, bool), np.zeros(places, bool)
        order = random.permutation(places)
        pins, bans = int(random.integers(0, 3)), int(random.integers(0, places - 2))
        case.fixed[order[:pins]] = True
        case.banned[order[pins : min(pins + bans, places)]] = True
        free = np.flatnonzero(~case.fixed & ~case.banned)
        always = tuple(np.flatnonzero(case.fixed))
        choices = [always + some for n in range(free.size + 1) for some in itertools.combinations(free, n)]
        covers = [cover(case.seen, case.weight, case.asked, one) for one in choices]
        posts = max(pins + int(random.integers(0, 4)), 1)
        found = choose(case.seen, case.weight, posts=posts, seconds=10, **case.asked_for())
        best = max(c for c, one in zip(covers, choices, strict=True) if len(one) <= posts)
        assert found.is_proven, seed
        assert found.covered_share * case.whole == pytest.approx(best), seed
        assert len(found.chosen) <= posts
        wanted = float(random.uniform(0.3, 1.0)) * max(covers) / case.whole
        if wanted == 0:  # the bans leave nothing that sees anything
            continue
        fewer = choose(case.seen, case.weight, share=wanted, seconds=10, **case.asked_for())
        enough = [len(o) for c, o in zip(covers, choices, strict=True) if c >= wanted * case.whole - 1e-9]
        assert fewer.chosen.size == min(enough), seed
        assert fewer.is_proven, seed
        for one in (found, fewer):
            assert set(np.flatnonzero(case.fixed)) <= set(one.chosen)
            assert not case.banned[one.chosen].any()


@pytest.mark.parametrize("seed", range(6))
def test_walking_is_spared_at_its_price(seed: int) -> None:
    case = Case(200 + seed)
    price = 0.01

    def value(chosen: Iterable[int]) -> float:
        seen = cover(case.seen, case.weight, case.asked, chosen) / case.whole
        return seen - price * float(case.effort[list(chosen)].sum())

    found = choose(
        case.seen,
        case.weight,
        posts=3,
        effort=case.effort,
        effort_price=price,
        seconds=10,
        **case.asked_for(),
    )
    assert value(found.chosen) == pytest.approx(max(value(o) for o in case.choices if len(o) <= 3))


@pytest.mark.parametrize("seed", range(6))
def test_alternatives_are_those_that_lose_least(seed: int) -> None:
    case = Case(300 + seed)
    found = choose(case.seen, case.weight, posts=2, seconds=10, **case.asked_for())
    free = set(np.flatnonzero(~case.fixed & ~case.banned)) - set(found.chosen)
    for at, post in enumerate(found.chosen):
        others = [k for k in found.chosen if k != post]
        without = cover(case.seen, case.weight, case.asked, others)
        lost = found.covered_share * case.whole - without
        assert found.own_share[at] * case.whole == pytest.approx(lost)
        told = [one for one in found.alternatives if one.post == post]
        if case.fixed[post]:
            assert not told
            continue
        losses = sorted(
            found.covered_share * case.whole - cover(case.seen, case.weight, case.asked, [*others, other])
            for other in free
        )
        assert [one.loss_share * case.whole for one in told] == pytest.approx(losses[:3], abs=1e-6)
        assert {one.place for one in told} <= free


def lines_of_space(dimensions: int) -> Flags:
    """Points by lines of the affine space over three elements: which points lie on which line."""
    points = list(itertools.product(range(3), repeat=dimensions))
    at = {point: k for k, point in enumerate(points)}
    third = {
        tuple(sorted((at[a], at[b], at[tuple((-x - y) % 3 for x, y in zip(a, b, strict=True))])))
        for a, b in itertools.combinations(points, 2)
    }
    seen = np.zeros((len(points), len(third)), bool)
    for k, line in enumerate(sorted(third)):
        seen[list(line), k] = True
    return seen


def squares_of_cube(dimensions: int) -> Flags:
    """Edges by squares of a cube of so many dimensions: which edges bound which square."""
    pairs = itertools.combinations(range(dimensions), 2)
    edges = [(v, i) for v in range(2**dimensions) for i in range(dimensions) if not v >> i & 1]
    squares = [(v, i, j) for i, j in pairs for v in range(2**dimensions) if not v >> i & 1 and not v >> j & 1]
    at = {edge: k for k, edge in enumerate(edges)}
    seen = np.zeros((len(edges), len(squares)), bool)
    for k, (v, i, j) in enumerate(squares):
        for edge in ((v, i), (v, j), (v | 1 << j, i), (v | 1 << i, j)):
            seen[at[edge], k] = True
    return seen


@pytest.mark.parametrize(
    ("seen", "fewest"),
    [
        # Set covering problems A9 and A27 of Fulkerson, Nemhauser and Trotter (1974), 5 and 18; that is what
        # is left of the space by its largest sets without a line, of 4 and 9 points (Pellegrino 1970). From
        # memory.
        pytest.param(lines_of_space(2), 5, id="A9"),
        pytest.param(lines_of_space(3), 18, id="A27"),
        # The most edges of a cube without a square are 9 of 12, 24 of 32 and 56 of 80 (OEIS A245762; the
        # problem CYC of the OR-Library is the same of six dimensions). From memory.
        pytest.param(squares_of_cube(3), 3, id="cube of 3"),
        pytest.param(squares_of_cube(4), 8, id="cube of 4"),
        pytest.param(squares_of_cube(5), 24, id="cube of 5"),
    ],
)
def test_published_optima_of_covering_everything(seen: Flags, fewest: int) -> None:
    found = choose(seen, np.ones(seen.shape[1]), share=1.0, seconds=120)
    assert found.chosen.size == found.needed_posts == fewest
    assert seen[found.chosen].any(axis=0).all()
    assert found.in_words == f"{fewest} posts see 100.0 % of the course. No fewer posts see 100.0 %."


def test_the_same_on_every_run() -> None:
    random = np.random.default_rng(4)
    seen, weight = random.random((30, 120)) < 0.08, random.random(120)
    once, again = (choose(seen, weight, posts=8, seconds=60) for _ in range(2))
    assert once.chosen.tolist() == again.chosen.tolist()
    assert once.alternatives == again.alternatives


def test_order_of_places_makes_no_odds_to_the_cover() -> None:
    random = np.random.default_rng(5)
    seen, weight = random.random((40, 200)) < 0.08, random.random(200)
    turned = random.permutation(40)
    here, there = choose(seen, weight, posts=6, seconds=60), choose(seen[turned], weight, posts=6, seconds=60)
    assert here.covered_share == pytest.approx(there.covered_share)


def test_fewest_up_to_a_number_else_most() -> None:
    seen, weight = np.eye(5, dtype=bool), np.array([5.0, 4.0, 3.0, 2.0, 1.0])
    few = choose(seen, weight, posts=4, share=0.6, seconds=5)
    assert few.chosen.tolist() == [0, 1]
    assert few.wanted_share == 0.6
    most = choose(seen, weight, posts=2, share=0.9, seconds=5)
    assert most.chosen.tolist() == [0, 1]
    assert most.wanted_share is None
    assert most.in_words == "2 posts see 60.0 % of the course. No choice of as many posts sees more."


def test_no_more_posts_than_see_all() -> None:
    seen = np.zeros((4, 4), bool)
    seen[0], seen[1, :2], seen[2, 2:] = [1, 1, 1, 0], True, True
    found = choose(seen, np.ones(4), posts=4, seconds=5)
    assert found.chosen.tolist() == [1, 2] or found.chosen.size == 2
    assert found.in_words == "2 posts see 100.0 % of the course, all that any place sees."


def test_two_posts_for_dangerous_pieces() -> None:
    """Three places see one dangerous piece, one more sees an ordinary one of the same weight."""
    seen = np.array([[1, 0], [1, 0], [1, 0], [0, 1]], bool)
    found = choose(seen, np.array([10.0, 4.0]), posts=2, twice=np.array([True, False]), seconds=5)
    assert found.chosen.tolist() == [0, 1]  # 10, against 5 + 4
    assert found.covered_share == pytest.approx(10 / 14)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({}, "neither a number of posts nor a cover"),
        ({"posts": 0}, "0 posts see nothing"),
        ({"share": 1.5}, "1.5 is no share"),
        ({"share": float("nan")}, "no share"),
        ({"posts": 1, "fixed": np.array([True, True, False])}, "2 posts fixed, but no more than 1"),
        ({"share": 0.9}, "all places together see 75.0 % of the course, not 90.0 %"),
        ({"posts": 1, "fixed": np.array([True, False, False]), "banned": np.array([True] * 3)}, "both fixed"),
        ({"posts": 1, "effort": np.array([1.0, -1.0, 1.0])}, "effort"),
        ({"posts": 1, "twice": np.array([True])}, "twice"),
        ({"posts": 1, "seconds": -1.0}, "no time"),
        ({"posts": 1, "effort_price": -1.0}, "price"),
    ],
)
def test_what_makes_no_sense_is_said(asked: dict[str, object], words: str) -> None:
    seen = np.array([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0]], bool)
    with pytest.raises(CallError, match=words):
        choose(seen, np.ones(4), **asked)  # type: ignore[arg-type]


def test_a_course_without_weight_is_none() -> None:
    with pytest.raises(CallError, match="nothing is to be watched"):
        choose(np.ones((2, 3), bool), np.zeros(3), posts=1)
    with pytest.raises(CallError, match="weight"):
        choose(np.ones((2, 3), bool), np.array([1.0, np.nan, 1.0]), posts=1)


def test_nothing_seen_is_told() -> None:
    found = choose(np.zeros((3, 4), bool), np.ones(4), posts=2, seconds=5)
    assert found.chosen.size == 0
    assert found.covered_share == 0.0
    assert found.in_words.startswith("0 posts see 0.0 % of the course, all that any place sees")
