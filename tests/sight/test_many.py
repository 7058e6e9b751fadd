"""Many eyes: the answers of each alone, in order, a few at a time, and nothing left running."""

from __future__ import annotations

import itertools
import threading
import time

import numpy as np
import pytest

import terrains
from hillsight.kernels.threads import VARIABLE
from hillsight.sight import many
from hillsight.sight.field import FieldOfView
from hillsight.sight.many import count_visible, see_many
from hillsight.sight.maxima import Maxima
from hillsight.sight.posts import see_posts, see_states
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState
from views import surface_of

SHAPE = (90, 130)
FIELDS = {
    "short": FieldOfView(130.0),
    "ring": FieldOfView(400.0, 90.0),
    "sector": FieldOfView(600.0, 0.0, 300.0, 80.0),
    "all": FieldOfView(float("inf")),
}


def _surface(*, voids=False):
    height_m = terrains.fractal(*SHAPE, seed=21, relief_m=120.0)
    if voids:
        height_m = terrains.with_hole(terrains.with_voids(height_m, seed=2, share=0.002), 30, 60, 9, 14)
    return surface_of(height_m, 10.0, 8.0)


def _eyes(number, seed=3):
    """On posts, between them, at corners and off the terrain."""
    random = np.random.default_rng(seed)
    for i in range(number):
        row, column = random.uniform(-8, SHAPE[0] + 8), random.uniform(-8, SHAPE[1] + 8)
        if i % 3 == 0:
            row, column = round(row), round(column)
        if i % 7 == 0:
            row, column = random.choice([0, SHAPE[0] - 1]), random.choice([0, SHAPE[1] - 1])
        yield Eye(float(row), float(column), random.uniform(40, 260), 6.8e-8)


def _whole(window, part, nothing):
    """An array of a window laid out on the whole lattice."""
    whole = np.full(SHAPE, nothing, part.dtype)
    whole[window.row : window.row + window.rows, window.column : window.column + window.columns] = part
    return whole


def _pool_threads():
    return {t for t in threading.enumerate() if t.name.startswith("ThreadPoolExecutor")}


@pytest.mark.parametrize("voids", [False, True])
@pytest.mark.parametrize("name", FIELDS)
def test_each_of_many_is_seen_as_if_alone(name, voids):
    surface, field, eyes, targets_m = _surface(voids=voids), FIELDS[name], list(_eyes(16)), [2.0, 0.0, 30.0]
    answers = list(see_many(surface, eyes, field, targets_m, clearance=True, crests=True))
    assert len(answers) == len(eyes)
    for eye, sight in zip(eyes, answers, strict=True):
        assert sight.window == field.window(surface.grid, eye)
        assert sight.states.shape == (3, sight.window.rows, sight.window.columns)
        alone = see_states(surface, eye, field, targets_m)
        for target in range(3):
            assert np.array_equal(_whole(sight.window, sight.states[target], 0), alone[target])
        post_by_post = see_posts(surface, eye, field, targets_m[0])
        for values in ("clearance_m", "crest_distance_m"):
            found = _whole(sight.window, getattr(sight, values), np.nan)
            assert np.array_equal(found, getattr(post_by_post, values), equal_nan=True), values
    assert {GroundState.VISIBLE, GroundState.HIDDEN} <= {s for a in answers for s in np.unique(a.states)}


def test_only_what_is_asked_for_is_worked_out():
    surface, eyes = _surface(), list(_eyes(5))
    for clearance, crests in itertools.product((False, True), repeat=2):
        for sight in see_many(surface, eyes, 300.0, clearance=clearance, crests=crests):
            assert (sight.clearance_m.size > 0) == (sight.states.size > 0 and (clearance or crests))
            assert (sight.crest_distance_m.size > 0) == (sight.states.size > 0 and crests)
            assert sight.states.shape[0] == 1


@pytest.mark.parametrize("voids", [False, True])
@pytest.mark.parametrize("name", FIELDS)
def test_the_count_is_the_sum_of_the_views(name, voids):
    surface, field, eyes = _surface(voids=voids), FIELDS[name], list(_eyes(23))
    told = []
    count = count_visible(surface, iter(eyes), field, 1.5, told.append)
    views = np.array([see_states(surface, eye, field, 1.5) for eye in eyes])
    assert count.dtype == np.uint32
    assert np.array_equal(count, (views == GroundState.VISIBLE).sum(axis=0))
    assert count.max() > 1
    assert told == list(range(1, 24))


def test_maxima_made_before_change_nothing():
    surface, eyes = _surface(voids=True), list(_eyes(6))
    maxima = Maxima.of(surface.height_m)
    for a, b in zip(
        see_many(surface, eyes, 900.0, maxima=maxima), see_many(surface, eyes, 900.0), strict=True
    ):
        assert np.array_equal(a.states, b.states)
    assert np.array_equal(
        count_visible(surface, eyes, 900.0, maxima=maxima), count_visible(surface, eyes, 900.0)
    )


@pytest.mark.parametrize("workers", [1, 3, 8])
def test_the_number_of_threads_changes_nothing(monkeypatch, workers):
    surface, eyes = _surface(voids=True), list(_eyes(20))
    views = [sight.states for sight in see_many(surface, eyes, 900.0)]
    count = count_visible(surface, eyes, 900.0)
    monkeypatch.setenv(VARIABLE, str(workers))
    for before, after in zip(views, see_many(surface, eyes, 900.0), strict=True):
        assert np.array_equal(after.states, before)
    assert np.array_equal(count_visible(surface, eyes, 900.0), count)


@pytest.mark.parametrize("workers", [1, 3])
def test_views_come_in_order_and_eyes_are_taken_as_needed(monkeypatch, workers):
    """Eyes whose views take unlike times; each is known by where its window begins."""
    monkeypatch.setenv(VARIABLE, str(workers))
    surface, taken = _surface(), []

    def endless():
        for eye in itertools.cycle(_eyes(12)):
            taken.append(eye)
            yield eye

    views = see_many(surface, endless(), 150.0)
    assert not taken, "work began before anything was asked for"
    for given, sight in enumerate(itertools.islice(views, 40), 1):
        assert sight.window == FieldOfView(150.0).window(surface.grid, taken[given - 1])
        assert len(taken) <= given + workers + 2
    views.close()
    assert len(taken) <= 40 + workers + 2


def test_a_slow_first_view_lets_no_other_by(monkeypatch):
    """Results wait for those before them, and no more eyes than agreed are taken meanwhile."""
    monkeypatch.setenv(VARIABLE, "3")
    began, order = [], []

    def work(eye):
        began.append(eye)
        if eye == 0:
            time.sleep(0.3)
        return eye

    for eye in many._in_order(work, range(30)):
        if not order:
            assert len(began) <= 3 + 2
        order.append(eye)
    assert order == list(range(30))


def _interrupted(views):
    next(views)
    raise KeyboardInterrupt


@pytest.mark.parametrize("how", ["closed", "dropped", "exception"])
def test_an_interrupted_consumer_closes_the_pool(how, monkeypatch):
    monkeypatch.setenv(VARIABLE, "2")
    before, surface = _pool_threads(), _surface()
    taken = []

    def endless():
        for eye in itertools.cycle(_eyes(5)):
            taken.append(eye)
            yield eye

    views = see_many(surface, endless(), 200.0)
    if how == "exception":
        with pytest.raises(KeyboardInterrupt):
            _interrupted(views)
        views.close()
    else:
        next(views)
        assert _pool_threads() - before
        if how == "closed":
            views.close()
        else:
            del views
    assert not _pool_threads() - before
    number = len(taken)
    time.sleep(0.05)
    assert len(taken) == number


def test_an_error_reaches_whoever_takes_and_closes_the_pool():
    before, surface = _pool_threads(), _surface()
    eyes = [Eye(5.0, 5.0, 100.0), Eye(float("nan"), 5.0, 100.0), *_eyes(40)]
    with pytest.raises(ValueError, match=r"stand|nan|NaN"):
        list(see_many(surface, eyes, 200.0))
    with pytest.raises(ValueError, match=r"stand|nan|NaN"):
        count_visible(surface, eyes, 200.0)

    def broken_off():
        yield from _eyes(3)
        raise RuntimeError("no more stations")

    with pytest.raises(RuntimeError, match="no more stations"):
        count_visible(surface, broken_off(), 200.0)
    assert not _pool_threads() - before


def test_an_interrupted_count_closes_the_pool():
    before, done = _pool_threads(), []

    def stop(number):
        done.append(number)
        if number == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        count_visible(_surface(), _eyes(200), 300.0, progress=stop)
    assert done == [1, 2, 3]
    assert not _pool_threads() - before


def test_no_eyes_see_nothing():
    surface = _surface()
    assert list(see_many(surface, [], 100.0)) == []
    assert not count_visible(surface, [], 100.0).any()


def test_an_eye_out_of_reach_of_the_ground_gets_an_empty_window():
    surface, eyes = _surface(), [Eye(-500.0, 3.0, 200.0), Eye(40.0, 40.0, 200.0)]
    off, on = see_many(surface, eyes, 50.0, clearance=True, crests=True)
    assert off.states.size == off.clearance_m.size == off.crest_distance_m.size == 0
    assert (on.states == GroundState.VISIBLE).any()
    assert count_visible(surface, eyes[:1], 50.0).sum() == 0
