"""What is told of brows, dead ground and skylines is true, by the brute-force walker and by formula."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

import numpy as np
import pytest

from hillsight.ground.grid import Surface
from hillsight.plan.kinds.brow import DISTANCES
from hillsight.plan.kinds.dead_ground import EXTENTS
from hillsight.plan.kinds.shared.slopes import SLOPES
from hillsight.plan.kinds.skyline import SHAPES
from hillsight.plan.look.glance import Glance
from hillsight.plan.verdict import Fact
from hillsight.plan.weighing.facts import fact
from hillsight.plan.weighing.statements import Weighing
from plan.made_hills import (
    heading_index,
    look,
    plane,
    ridge,
    saddle_crest,
    steps,
    surface_of,
    together,
    told,
    valleys,
    weighing_of,
)
from plan.plain_geometry import Watcher, part_bearings
from terrains import fractal

LOOKS = (0.0, 90.0, 180.0, 222.0, 314.0)
PARTS = ("left", "middle", "right")
ANY_WAY = weighing_of(looks_deg=None)

#: A brow farther off is none of the near ground.
NEAR_GROUND_M = 1_500.0


def told_of(place: Glance, looks_deg: float, kind: str, part: str = "anywhere", **values: Any) -> Fact:
    """What is told of the ground if the picture looks so."""
    direction = heading_index(ANY_WAY, looks_deg)
    assert ANY_WAY.framing.heading_deg[direction] == looks_deg
    return fact(told(kind, part, **values), place, ANY_WAY, direction)


def metres(words: str) -> float:
    """The first distance of a sentence."""
    value, unit = re.search(r"(\d+(?:\.\d+)?) (km|m)\b", words).groups()
    return float(value) * (1000 if unit == "km" else 1)


def degrees(words: str) -> float:
    """The first degrees of a sentence."""
    return float(re.search(r"([-+]?\d+(?:\.\d+)?) degrees?", words).group(1))


def rounding_m(value_m: float) -> float:
    """How far a distance of two figures may be out."""
    return 50.1 if value_m >= 1000 else 5.1


@cache
def rough(seed: int) -> tuple[Glance, Watcher]:
    """A fractal and an eye on it."""
    posts = fractal(121, 121, seed=seed, relief_m=150.0)
    surface = surface_of(lambda east, north: posts, half_m=600.0)
    place = look(surface, *np.random.default_rng(seed).uniform(-250, 250, 2))
    return place, Watcher.at(surface, place)


@pytest.fixture(scope="module", params=[11, 12, 13])
def seen(request: pytest.FixtureRequest) -> tuple[Glance, Watcher]:
    return rough(request.param)


def brows_of(watcher: Watcher, looks_deg: float, part: str) -> np.ndarray:
    """(n, 3): bearing, brow's distance and metres hidden behind it, on every bearing of a part."""
    bearings = part_bearings(looks_deg, 60.0, part)
    return np.array([(bearing, *watcher.brow(bearing)) for bearing in bearings])


def agrees(word: str, bounds: dict[str, tuple[float, float]], figure: float) -> bool:
    """Whether a figure is one that a word is said of."""
    low, high = bounds[word]
    return low <= figure < high


def test_brow(seen: tuple[Glance, Watcher]) -> None:
    place, watcher = seen
    told_distances = 0
    for looks_deg in LOOKS:
        for part in PARTS:
            found = told_of(place, looks_deg, "brow", part, distance="near")
            brow_m = brows_of(watcher, looks_deg, part)[:, 1]
            near = brow_m <= NEAR_GROUND_M
            if "stays in view" in found.words:
                assert (1 - near.mean()) >= 0.45
                continue
            if not found.word:
                assert "hard to tell" in found.words
                continue
            told_distances += 1
            assert agrees(found.word, DISTANCES, found.figure)
            median_m = np.median(brow_m[np.isfinite(brow_m)])
            if agrees(found.word, DISTANCES, median_m):
                assert found.figure == pytest.approx(median_m, rel=0.02, abs=1.0)
            assert metres(found.words) == pytest.approx(found.figure, abs=rounding_m(found.figure))
    assert told_distances > 5


def test_slope_before_and_beyond(seen: tuple[Glance, Watcher]) -> None:
    place, watcher = seen
    for looks_deg in LOOKS:
        for part in PARTS:
            brows = brows_of(watcher, looks_deg, part)
            brows = brows[brows[:, 1] <= NEAR_GROUND_M]
            found = told_of(place, looks_deg, "brow", part, slope_before="level")
            if "up to the brow" not in found.words:
                continue
            feet_m = watcher.level_m - 1.6
            slopes = [
                np.degrees(np.arctan2(watcher.ground_along_m(bearing, brow_m) - feet_m, brow_m))
                for bearing, brow_m, _ in brows
            ]
            if found.word and agrees(found.word, SLOPES, np.median(slopes)):
                assert found.figure == pytest.approx(np.median(slopes), abs=0.3)
            assert_slope_words(found)
            beyond = told_of(place, looks_deg, "brow", part, slope_beyond="level")
            falls = [
                watcher.ground_along_m(bearing, brow_m + run_m) - watcher.ground_along_m(bearing, brow_m)
                for bearing, brow_m, hidden_m in brows
                for run_m in [min(60.0, hidden_m)]
            ]
            if beyond.figure is None:
                continue
            if beyond.word and abs(np.median(falls)) > 5:
                assert (beyond.figure > 0) is bool(np.median(falls) > 0)
            if "behind the brow" in beyond.words:
                assert_slope_words(beyond)


def assert_slope_words(found: Fact) -> None:
    """Word, number and figure agree."""
    assert degrees(found.words) == pytest.approx(found.figure, abs=0.51)
    if not found.word:
        assert "hard to tell" in found.words
        return
    assert agrees(found.word, SLOPES, found.figure)
    assert ("is level" if found.word == "level" else found.word) in found.words


def test_dead_ground(seen: tuple[Glance, Watcher]) -> None:
    place, watcher = seen
    told_extents = 0
    for looks_deg in LOOKS:
        for part in PARTS:
            found = told_of(place, looks_deg, "dead_ground", part, extent="much")
            brows = brows_of(watcher, looks_deg, part)
            there = np.isfinite(brows[:, 1])
            hidden_m = np.median(brows[there, 2]) if there.any() else 0.0
            if found.word == "none":
                assert "no ground is out of view" in found.words
                assert (1 - there.mean()) >= 0.4 or hidden_m < 40.0
            elif not found.word:
                assert "hard to tell" in found.words
            elif found.figure is not None and agrees(found.word, EXTENTS, hidden_m):
                told_extents += 1
                # Seen again between two crossings of the posts' lines, 14 m apart at most.
                assert found.figure == pytest.approx(hidden_m, abs=10.0)
                assert metres(found.words) == pytest.approx(found.figure, abs=rounding_m(found.figure))
    assert told_extents > 0


def skyline_of(watcher: Watcher, looks_deg: float, part: str) -> np.ndarray:
    return np.array([watcher.skyline_deg(b) for b in part_bearings(looks_deg, 60.0, part)])


def assert_shape(words: str, angles: np.ndarray) -> None:
    """What the words say holds of angles from left to right, by the means of their ends and the extremes."""
    n = angles.size
    left, right = angles[: n // 6 + 1].mean(), angles[-(n // 6) - 1 :].mean()
    middle = angles[n // 4 : n - n // 4]
    if "falls to the left" in words:
        assert left < right
    elif "falls to the right" in words:
        assert right < left
    elif "rises to a point" in words:
        assert middle.max() > max(left, right)
    elif "dips to a saddle" in words:
        assert middle.min() < min(left, right)
    else:
        assert "is flat" in words
        assert np.ptp(angles) < 3.0


def shape_deg(shape: str, angles: np.ndarray) -> float:
    """By how much angles from left to right have a shape, as docs/verdict.md tells it."""
    n = angles.size
    left, right = angles[: n // 6].mean(), angles[n - n // 6 :].mean()
    middle = angles[n // 4 : n - n // 4]
    return {
        "flat": np.ptp(angles),
        "pointed": middle.max() - max(left, right),
        "saddle": min(left, right) - middle.min(),
        "falls right": left - right,
        "falls left": right - left,
    }[shape]


def test_skyline(seen: tuple[Glance, Watcher]) -> None:
    place, watcher = seen
    for looks_deg in LOOKS:
        for part in ("anywhere", "left half", "right half", "middle"):
            found = told_of(place, looks_deg, "skyline", part, shape="flat")
            angles = skyline_of(watcher, looks_deg, part)
            if not found.word:
                assert "hard to tell" in found.words
                continue
            assert_shape(found.words, angles)
            assert found.figure == pytest.approx(shape_deg(found.word, angles), abs=0.35)
            assert degrees(found.words) == pytest.approx(found.figure, abs=0.051)


def test_traced_points(seen: tuple[Glance, Watcher]) -> None:
    place, watcher = seen
    for looks_deg in LOOKS:
        off = np.array([-20.0, -7.0, 4.0, 19.0])
        up = np.array([0.0, 2.0, -1.0, 3.0])
        found = told_of(place, looks_deg, "skyline_points", points=np.column_stack((off, up)).tolist())
        apart = np.array([watcher.skyline_deg(looks_deg + o) for o in off]) - up
        assert found.figure == pytest.approx(apart.std(), abs=0.05)
        assert degrees(found.words) == pytest.approx(found.figure, abs=0.051)


CRESTS = {
    "flat": lambda east: 80 + 0 * east,
    "pointed": lambda east: 50 + 80 * np.maximum(0, 1 - np.abs(east) / 200),
    "saddle": saddle_crest(high_m=130, half_m=200),
    "falls left": lambda east: 90 + 0.1 * east,
    "falls right": lambda east: 90 - 0.1 * east,
}


@pytest.mark.parametrize("looks_deg", [0.0, 90.0, 180.0, 270.0])
@pytest.mark.parametrize("shape", SHAPES)
def test_a_skyline_is_not_mirrored_whichever_way_it_is_looked_at(shape: str, looks_deg: float) -> None:
    # The ground is turned with the picture: right is east, south, west and north.
    place = look(turned(together(plane(), ridge(600, 200, CRESTS[shape])), looks_deg), 0, 0)
    words = {
        "flat": "is flat",
        "pointed": "rises to a point",
        "saddle": "dips to a saddle",
        "falls left": "falls to the left",
        "falls right": "falls to the right",
    }[shape]
    assert words in told_of(place, looks_deg, "skyline", shape="flat").words


def turned(formula: Any, by_deg: float) -> Surface:
    """Ground that lies north, turned clockwise about the middle."""
    cos, sin = np.cos(np.radians(by_deg)), np.sin(np.radians(by_deg))
    return surface_of(lambda east, north: formula(east * cos - north * sin, east * sin + north * cos))


@pytest.mark.parametrize("looks_deg", [0.0, 90.0, 180.0, 270.0])
@pytest.mark.parametrize(("edge_m", "slope_deg"), [(60, -25), (200, -20), (400, -35)])
def test_a_terrace_by_formula(looks_deg: float, edge_m: float, slope_deg: float) -> None:
    # Level to the edge, then down; straight ahead it is edge_m off, ten degrees aside 1.5 % farther.
    place = look(turned(steps((edge_m, slope_deg)), looks_deg), 0, 0)
    for values in ({"distance": "near"}, {"distance_m": 100.0}):
        found = told_of(place, looks_deg, "brow", "middle", **values)
        assert found.figure == pytest.approx(edge_m, rel=0.02)
        assert str(edge_m) in found.words
    both = told_of(place, looks_deg, "brow", "middle", distance="near", slope_beyond="level")
    assert both.figure == pytest.approx(slope_deg, abs=0.5)
    assert "falls steeply" in both.words
    behind = told_of(place, looks_deg, "dead_ground", "middle", extent="much")
    assert behind.words == "much ground is out of view behind the brow, as far as is looked"
    back = told_of(place, (looks_deg + 180) % 360, "brow", "middle", distance="near")
    assert "stays in view" in back.words
    nothing = told_of(place, (looks_deg + 180) % 360, "dead_ground", "middle", extent="none")
    assert nothing.words == "no ground is out of view"


def test_an_edge_across_a_third_is_told_of_that_third() -> None:
    # The ground drops behind 200 m of level, left of the picture's middle third alone.
    edge = steps((200, -30), (400, 0))
    surface = surface_of(lambda east, north: np.where(east < -0.18 * north, edge(east, north), 500.0))
    place = look(surface, 0, 0)
    left = told_of(place, 0.0, "brow", "left", distance="near").words
    assert "falls away at middle distance (2" in left
    assert "stays in view" in told_of(place, 0.0, "brow", "right", distance="near").words


def test_valleys_beyond_a_spur() -> None:
    # From a spur's back across valleys 50 m deep and 400 m apart: the next back hides the valley behind it.
    surface = surface_of(valleys(400, 50))
    place = look(surface, 200, 0)
    watcher = Watcher.at(surface, place)
    found = told_of(place, 90.0, "dead_ground", "middle", extent="much")
    assert found.figure == pytest.approx(np.median(brows_of(watcher, 90.0, "middle")[:, 2]), abs=10)
    assert 100 < found.figure < 400


def test_what_is_weighed_and_what_is_told_look_the_same_way() -> None:
    weighing: Weighing = weighing_of(looks_deg=180.0)
    place = look(turned(steps((200, -30)), 180.0), 0, 0)
    direction = int(np.argmax(weighing.framing.prior))
    found = fact(told("brow", "middle", distance="middle"), place, weighing, direction)
    assert found.bearing_true_deg == pytest.approx(180.0, abs=0.6)
    assert found.figure == pytest.approx(200, rel=0.02)
