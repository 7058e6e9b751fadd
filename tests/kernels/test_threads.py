"""Threads: a budget that pools share, whatever calls what."""

from __future__ import annotations

import threading
import time

import pytest

from hillsight.kernels.threads import VARIABLE, budget, cores, in_slices, limited_to, workers


@pytest.fixture(autouse=True)
def _no_variable(monkeypatch):
    monkeypatch.delenv(VARIABLE, raising=False)


class Busy:
    """Counts the threads that are at work at a time."""

    def __init__(self):
        self.most, self._now, self._lock = 0, 0, threading.Lock()

    def work(self, *_):
        with self._lock:
            self._now += 1
            self.most = max(self.most, self._now)
        time.sleep(0.005)
        with self._lock:
            self._now -= 1


def test_the_budget_is_the_cores_unless_less_is_said(monkeypatch):
    assert budget() == cores() >= 1
    monkeypatch.setenv(VARIABLE, "3")
    assert budget() == 3
    with limited_to(2):
        assert budget() == 2
    for nonsense in ("", "0", "-1", "many"):
        monkeypatch.setenv(VARIABLE, nonsense)
        assert budget() == cores()
    with pytest.raises(ValueError, match="0 threads"), limited_to(0):
        pass


def test_a_pool_within_a_pool_keeps_to_the_budget():
    busy, shares = Busy(), []

    def outer(_):
        shares.append(budget())
        in_slices(busy.work, 12, 1)

    with limited_to(4), workers(2) as pool:
        list(pool.map(outer, range(4)))
    assert shares == [2] * 4
    assert 1 < busy.most <= 4
    busy, shares = Busy(), []
    with limited_to(2), workers(8) as pool:
        list(pool.map(outer, range(4)))
    assert shares == [1] * 4
    assert busy.most <= 2


def test_one_thread_works_in_the_caller():
    at_work = set()
    with limited_to(1):
        in_slices(lambda *_: at_work.add(threading.get_ident()), 5, 1)
        with workers(3) as pool:
            future = pool.submit(threading.get_ident)
            assert future.done()
            at_work.add(future.result())
            failed = pool.submit(lambda: 1 / 0)
            with pytest.raises(ZeroDivisionError):
                failed.result()
    assert at_work == {threading.get_ident()}


@pytest.mark.parametrize("threads", [1, 3])
@pytest.mark.parametrize("count", [0, 1, 7, 8])
def test_every_item_is_done_once_and_progress_ends_at_one(threads, count):
    done, told = [0] * count, []

    def work(first, after):
        for item in range(first, after):
            done[item] += 1

    with limited_to(threads):
        in_slices(work, count, 3, told.append)
    assert done == [1] * count
    assert told[-1] == 1.0 and told == sorted(told)


def test_a_pool_of_one_does_work_when_it_is_asked_for():
    done = []

    def work(number):
        done.append(number)
        return number

    with limited_to(1), workers(4) as pool:
        found = pool.map(work, range(3))
        assert done == []
        assert next(found) == 0
        assert done == [0]
        assert list(found) == [1, 2]
