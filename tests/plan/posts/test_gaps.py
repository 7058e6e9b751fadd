"""Unseen stretches, times out of sight and passing times, reckoned by hand on courses of few stretches."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.errors import CallError
from hillsight.plan.posts.course import Course, Stretches, cut
from hillsight.plan.posts.gaps import (
    Runner,
    handover_gaps,
    minutes_at_ends,
    passings,
    unseen_stretches,
)


def straight(stretches: int = 10) -> Stretches:
    """East along a line, 100 m a stretch."""
    return cut(Course("line", np.array([0.0, 100.0 * stretches]), np.zeros(2)), 100.0)


def sees(posts: list[str]) -> np.ndarray:
    """One word for each post: x for a piece that it sees."""
    return np.array([[letter == "x" for letter in post] for post in posts])


def test_unseen_in_running_order() -> None:
    found = unseen_stretches(straight(), sees(["..xx......", "...x..x..."]))
    assert [(one.from_m, one.to_m) for one in found] == [(0, 200), (400, 600), (700, 1000)]
    assert [one.length_m for one in found] == [200, 200, 300]
    assert [one.share for one in found] == pytest.approx([0.2, 0.2, 0.3])


def test_unseen_tells_what_is_dangerous() -> None:
    plain = straight(4)
    course = Stretches(
        plain.from_m,
        plain.to_m,
        plain.easting_m,
        plain.northing_m,
        plain.piece,
        np.array([1.0, 3.0, 2.0, 1.0]),
        ("", "edge", "steep", ""),
    )
    (found,) = unseen_stretches(course, sees(["x..."]))
    assert (found.weight, found.reasons) == (3.0, ("edge", "steep"))


def test_all_seen_leaves_nothing() -> None:
    assert unseen_stretches(straight(3), sees(["xx.", "..x"])) == ()
    course = straight(3)
    times = minutes_at_ends(course, Runner(5.0))[None, :]
    assert handover_gaps(course, sees(["xx.", "..x"]), times) == ()


def test_nobody_sees_anything() -> None:
    course = straight(3)
    times = minutes_at_ends(course, Runner(5.0))[None, :]
    (gap,) = handover_gaps(course, np.zeros((0, 3), bool), times)
    assert (gap.post_before, gap.post_after, gap.minutes.tolist()) == (None, None, pytest.approx([1.5]))
    (unseen,) = unseen_stretches(course, np.zeros((0, 3), bool))
    assert unseen.share == pytest.approx(1.0)


def test_times_out_of_sight() -> None:
    """At 5 and 15 minutes a kilometre a stretch of 100 m takes 0.5 and 1.5 minutes."""
    course = straight()
    runners = [Runner(5.0), Runner(15.0, 30.0)]
    times = np.stack([minutes_at_ends(course, one) for one in runners])
    assert times[:, 0].tolist() == [0.0, 30.0]
    assert times[:, -1] == pytest.approx([5.0, 45.0])
    found = handover_gaps(course, sees(["..xx......", "...x..x..."]), times)
    assert [(g.post_before, g.post_after) for g in found] == [(None, 0), (0, 1), (1, None)]
    assert [g.minutes.tolist() for g in found] == [
        pytest.approx([1.0, 3.0]),
        pytest.approx([1.0, 3.0]),
        pytest.approx([1.5, 4.5]),
    ]
    assert found[1].leaves_min == pytest.approx([2.0, 36.0])
    assert found[1].comes_min == pytest.approx([3.0, 39.0])


def test_pace_changes_with_the_slope() -> None:
    """Tobler's function (1993; from memory): exp(-3.5 |s + 0.05|), so 1.42 times as long up a tenth."""
    course = straight(2)
    times = minutes_at_ends(course, Runner(10.0), np.array([10.0, -5.0]))
    assert np.diff(times) == pytest.approx([np.exp(0.35), np.exp(-0.175)])


def test_passing_where_the_post_sees_and_is_nearest() -> None:
    course = straight()
    times = np.stack([minutes_at_ends(course, Runner(10.0)), minutes_at_ends(course, Runner(20.0, 10.0))])
    seen = sees(["xx...x....", ".........."])
    found = passings(course, seen, np.array([320.0, 0.0]), np.array([40.0, 0.0]), times)
    assert found[1] is None
    # Nearest of all is the stretch from 300 m, which it does not see; of those seen that from 100 m.
    assert found[0] is not None
    assert found[0].along_m == (150.0, 150.0)
    assert found[0].away_m == pytest.approx(np.hypot(170.0, 40.0))
    assert found[0].first_min == pytest.approx([1.5, 13.0])


def test_ground_run_twice_is_passed_twice() -> None:
    """Out and back along 400 m: a place some 150 m out is passed again as far from the end."""
    out_and_back = Course("both ways", np.array([0.0, 400.0, 0.0]), np.array([0.0, 0.0, 0.0]))
    course = cut(out_and_back, 100.0)
    assert course.pieces < course.piece.size
    at = int(np.argmin(np.abs(course.easting_m[course.first] - 150.0)))
    seen = np.zeros((1, course.pieces), bool)
    seen[0, at] = True
    times = minutes_at_ends(course, Runner(10.0))[None, :]
    (found,) = passings(course, seen, np.array([150.0]), np.array([10.0]), times)
    assert found is not None
    assert found.along_m[0] == pytest.approx(150.0, abs=50.0)
    assert sum(found.along_m) == pytest.approx(800.0)
    assert found.last_min - found.first_min == pytest.approx([(found.along_m[1] - found.along_m[0]) / 100.0])
    # Seen on both ways, so there are three gaps.
    assert len(unseen_stretches(course, seen)) == 3


@pytest.mark.parametrize("pace", [0.0, -3.0, float("nan"), 2000.0])
def test_no_such_pace(pace: float) -> None:
    with pytest.raises(CallError, match="nobody runs"):
        Runner(pace)
    with pytest.raises(CallError, match="makes no sense"):
        Runner(5.0, -1.0)
