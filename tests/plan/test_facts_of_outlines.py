"""What is told of the skyline's outline and of two brows or tops is true, by the walker and by scipy."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest
from scipy import signal

from hillsight.plan.kinds.high_and_low import THIRDS
from hillsight.plan.kinds.humps import MOST, humps_of
from hillsight.plan.kinds.skyline_end import RUNS, slope_deg
from hillsight.plan.kinds.two_brows import SIDES
from hillsight.plan.kinds.two_heights import STANDS
from hillsight.plan.look.glance import Glance
from hillsight.plan.verdict import Fact
from hillsight.plan.weighing.facts import fact
from plan.made_hills import (
    cone,
    heading_index,
    knoll,
    look,
    plane,
    surface_of,
    things_of,
    together,
    told,
    weighing_of,
)
from plan.plain_geometry import Watcher, part_bearings
from terrains import fractal

LOOKS = tuple(range(0, 360, 30))
PARTS = ("anywhere", "left half", "right half")
ANY_WAY = weighing_of(looks_deg=None)

#: No brow farther off belongs to the near ground.
NEAR_GROUND_M = 1_500.0


@pytest.fixture(scope="module", params=[11, 12, 13])
def seen(request: pytest.FixtureRequest) -> tuple[Glance, Watcher]:
    posts = fractal(121, 121, seed=request.param, relief_m=150.0)
    surface = surface_of(lambda east, north: posts, half_m=600.0)
    place = look(surface, *np.random.default_rng(request.param).uniform(-250, 250, 2))
    return place, Watcher.at(surface, place)


def told_of(place: Glance, looks_deg: float, kind: str, part: str = "anywhere", **values: Any) -> Fact:
    return fact(told(kind, part, **values), place, ANY_WAY, heading_index(ANY_WAY, looks_deg))


def outline(watcher: Watcher, looks_deg: float, part: str) -> np.ndarray:
    return np.array([watcher.skyline_deg(bearing) for bearing in part_bearings(looks_deg, 60.0, part)])


def degrees(words: str) -> float:
    return float(re.search(r"([-+]?\d+(?:\.\d+)?) degrees?", words).group(1))


def test_the_highest_and_the_lowest_third(seen: tuple[Glance, Watcher]) -> None:
    place, watcher = seen
    plain = 0
    for looks_deg in LOOKS:
        for part in PARTS:
            levels = outline(watcher, looks_deg, part)
            for key, sign in (("highest", 1.0), ("lowest", -1.0)):
                found = told_of(place, looks_deg, "high_and_low", part, **{key: "left"})
                if found.word and found.figure > 1.5:
                    plain += 1
                    assert f"stands {key}" in found.words
                    # Where a third ends is a matter of judgement, but no third reaches over the middle.
                    ends = {"left": levels[: levels.size // 2], "right": levels[-(levels.size // 2) :]}
                    held = ends.get(found.word, levels[levels.size // 5 : -(levels.size // 5)])
                    assert (sign * held).max() == pytest.approx((sign * levels).max(), abs=0.05)
                    assert degrees(found.words) == pytest.approx(found.figure, abs=0.051)
    assert plain > 10


def test_a_hump_is_what_scipy_calls_a_peak_of_that_prominence() -> None:
    random = np.random.default_rng(4)
    lines = np.cumsum(random.normal(0.0, 0.3, (40, 60)), axis=1)
    least = np.array([0.1, 0.3, 0.8, 2.0])
    peaks = [[signal.find_peaks(line, prominence=rise)[0].size for line in lines] for rise in least]
    assert humps_of(lines, least).tolist() == peaks
    assert np.ptp(peaks) > 5


def test_humps(seen: tuple[Glance, Watcher]) -> None:
    place, watcher = seen
    counts = set()
    for looks_deg in LOOKS:
        for part in PARTS:
            found = told_of(place, looks_deg, "humps", part, count=1)
            line = outline(watcher, looks_deg, part)[::2]
            rises = np.sort(signal.peak_prominences(line, signal.find_peaks(line)[0])[0])[::-1]
            if not found.word:
                assert "hard to tell" in found.words
                continue
            count = int(found.word)
            counts.add(count)
            # The last that is counted stands out by the figure; of none, the first that is not.
            least = np.append(rises, [0.0] * 20)[max(count, 1) - 1]
            assert found.figure == pytest.approx(least, rel=0.05, abs=0.06)
            assert ("no hump" in found.words) is (count == 0)
            if found.figure >= 0.05:
                assert degrees(found.words) == pytest.approx(found.figure, abs=0.051)
    assert {0, 1} <= counts


def test_the_slope_of_an_end_is_that_of_a_straight_line_through_it() -> None:
    lines = np.random.default_rng(1).normal(0.0, 2.0, (5, 90))
    across_deg = 0.5 * np.arange(30)
    for line, left, right in zip(lines, slope_deg(lines, "left"), slope_deg(lines, "right"), strict=True):
        assert right == pytest.approx(np.degrees(np.arctan(np.polyfit(across_deg, line[-30:], 1)[0])))
        assert left == pytest.approx(np.degrees(np.arctan(np.polyfit(across_deg, line[29::-1], 1)[0])))


def test_ends_of_the_skyline(seen: tuple[Glance, Watcher]) -> None:
    place, watcher = seen
    plain = 0
    for looks_deg in LOOKS:
        line = outline(watcher, looks_deg, "anywhere")
        third = line.size // 3
        for side, outer in (("left", line[third - 1 :: -1]), ("right", line[-third:])):
            found = told_of(place, looks_deg, "skyline_end", side=side, runs="level")
            slope = np.degrees(np.arctan(np.polyfit(0.5 * np.arange(outer.size), outer, 1)[0]))
            assert found.figure == pytest.approx(slope, abs=0.8)
            assert degrees(found.words) == pytest.approx(found.figure, abs=0.51)
            assert f"towards the {side} edge" in found.words
            assert "+0" not in found.words
            if found.word:
                plain += 1
                low, high = RUNS[found.word]
                assert low <= found.figure < high
    assert plain > 10


def test_the_nearer_brow(seen: tuple[Glance, Watcher]) -> None:
    place, watcher = seen
    told_sides = set()
    for looks_deg in LOOKS:
        found = told_of(place, looks_deg, "two_brows", nearer="left")
        means = []
        for part in ("left half", "right half"):
            brow_m = np.array([watcher.brow(b)[0] for b in part_bearings(looks_deg, 60.0, part)])
            means.append(np.log(np.clip(np.nan_to_num(brow_m, nan=NEAR_GROUND_M), 1.0, NEAR_GROUND_M)).mean())
        assert np.log(found.figure) == pytest.approx(means[0] - means[1], abs=0.12)
        if found.word:
            told_sides.add(found.word)
            if found.word != "neither":
                assert (found.word == "left") is bool(means[0] < means[1])
                assert f"sooner on the {found.word}" in found.words
    assert len(told_sides) > 1


def test_no_brow_on_either_side_is_not_called_one() -> None:
    found = told_of(look(surface_of(plane()), 0, 0), 0.0, "two_brows", nearer="left")
    assert found.word == "neither"
    assert found.words == "the near ground stays in view on the left and on the right"


def edge_at(*stretches: tuple[float, float, float]) -> Glance:
    """From level ground that falls away at a distance to the north, from one easting to another."""

    def ground(east: Any, north: Any) -> np.ndarray:
        height_m = np.full(np.shape(east), 500.0)
        for west_m, east_m, away_m in stretches:
            inside = (east >= west_m) & (east < east_m)
            height_m = height_m - np.where(inside, 0.6 * np.maximum(north - away_m, 0.0), 0.0)
        return height_m

    return look(surface_of(ground), 0, 0)


def nearer_words(place: Glance) -> str:
    found = told_of(place, 0.0, "two_brows", nearer="left")
    assert found.word == "left"
    lead = "the near ground falls away sooner on the left than on the right"
    assert found.words.startswith(lead)
    return found.words.removeprefix(lead)


def test_ground_without_a_brow_has_none_that_is_so_many_times_as_far_off() -> None:
    assert nearer_words(edge_at((-999, 0, 200))) == ", where it stays in view"
    # 100 m east of 250 m north lies 22 degrees right of north: most of the right half has a brow.
    far = nearer_words(edge_at((-999, 0, 100), (0, 100, 250)))
    assert far.startswith(", where its brow is at least ")
    # 40 m east of it lies 9 degrees right: only a third of the right half has one.
    assert nearer_words(edge_at((-999, 0, 100), (0, 40, 250))) == ", where it mostly stays in view"


def test_how_many_times_as_far_off_the_farther_brow_is() -> None:
    words = nearer_words(edge_at((-999, 0, 100), (0, 999, 300)))
    assert words.startswith(", where its brow is about ")
    assert degrees(words.replace("times", "degrees")) == pytest.approx(3.0, abs=0.3)


def test_of_a_brow_within_two_spacings_no_figure_is_told() -> None:
    assert nearer_words(edge_at((-999, 0, 5), (0, 999, 300))) == ""


@pytest.mark.parametrize(("one_m", "word"), [(70.0, "higher"), (30.0, "lower"), (50.0, "as high")])
def test_the_higher_of_two_tops_by_plane_trigonometry(one_m: float, word: str) -> None:
    knolls = things_of(knoll("Top", -100, 400), knoll("Howe", 100, 400))
    ground = together(plane(), cone(-100, 400, one_m, 80), cone(100, 400, 50, 80))
    place, weighing = look(surface_of(ground), 0, 0, knolls), weighing_of(knolls)
    direction = int(np.argmax(weighing.framing.prior))
    statement = told("two_heights", what="Top", stands="higher", other="Howe")
    found = fact(statement, place, weighing, direction)
    away_m = np.hypot(100, 400)
    angles = [np.degrees(np.arctan((high_m - 1.6) / away_m)) for high_m in (one_m, 50.0)]
    assert found.figure == pytest.approx(angles[0] - angles[1], abs=0.02)
    assert found.word == word
    assert f"Top stands {word}" in found.words
    lead = "within" if word == "as high" else "by"
    assert found.words.endswith(f", {lead} {max(abs(angles[0] - angles[1]), 0.1):.1f} degrees")


ANSWERS = [
    *(("high_and_low", key, THIRDS, {}) for key in ("highest", "lowest")),
    ("humps", "count", range(MOST + 1), {}),
    *(("skyline_end", "runs", tuple(RUNS), {"side": side}) for side in ("left", "right")),
    ("two_brows", "nearer", SIDES, {}),
]


@pytest.mark.parametrize(("kind", "key", "words", "fixed"), ANSWERS)
def test_the_answers_exclude_one_another_and_one_is_given(kind, key, words, fixed, seen) -> None:
    place, _ = seen
    for part in PARTS:
        fits = np.array([ANY_WAY.fit(told(kind, part, **fixed, **{key: word}), place) for word in words])
        assert (fits >= 0.0).all()
        np.testing.assert_allclose(fits.sum(axis=0), 1.0, atol=1e-9)


def test_a_thing_stands_higher_or_lower_whichever_is_named_first() -> None:
    knolls = things_of(knoll("Top", -100, 400), knoll("Howe", 100, 400))
    ground = together(plane(), cone(-100, 400, 60, 80), cone(100, 400, 55, 80))
    place, weighing = look(surface_of(ground), 0, 0, knolls), weighing_of(knolls)
    turned = dict(zip(STANDS, ("lower", "higher", "as high"), strict=True))
    for word in STANDS:
        one = weighing.fit(told("two_heights", what="Top", stands=word, other="Howe"), place)
        other = weighing.fit(told("two_heights", what="Howe", stands=turned[word], other="Top"), place)
        np.testing.assert_allclose(one, other)
