"""Every word that may stand in a statement fits best, of those beside it, where it is true by formula.

Words that take in others ("above" takes in "well above") are set beside those alone that they exclude.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pyproj
import pytest

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.kinds.shared.slopes import SLOPES
from hillsight.plan.look.glance import Glance
from hillsight.plan.statement import Statement
from hillsight.plan.vocabulary import COMMON
from hillsight.plan.weighing.statements import Weighing
from plan.made_hills import (
    EAST_M,
    NORTH_M,
    NOTHING,
    cone,
    knoll,
    likelihood,
    line,
    look,
    plane,
    ridge,
    saddle_crest,
    steps,
    surface_of,
    things_of,
    together,
    told,
    weighing_of,
)

#: The word that is true fits so many times better than any it excludes.
CLEARLY = 1.1

Scene = tuple[Glance, Weighing]


@dataclass(frozen=True)
class Word:
    """A word, those it excludes, how it is said, and a place where it is true."""

    kind: str
    field: str
    word: str | bool
    beside: tuple[str | bool, ...]
    say: Callable[[str | bool], Statement]
    scene: Callable[[], Scene]

    @property
    def name(self) -> str:
        return f"{self.kind}-{self.field}-{self.word}"


WORDS: list[Word] = []


def add(
    kind: str,
    field: str,
    scenes: dict[str | bool, Callable[[], Scene]],
    say: Callable[[str | bool], Statement] | None = None,
) -> None:
    """Words that exclude each other, each with a place where it is true."""

    def plainly(word: str | bool) -> Statement:
        return told(kind, "middle", **{field: word})

    for word, scene in scenes.items():
        beside = tuple(other for other in scenes if other != word)
        WORDS.append(Word(kind, field, word, beside, say or plainly, scene))


def _over(*stretches: tuple[float, float], first_deg: float = 0.0, north_m: float = 0.0) -> Scene:
    ground = surface_of(steps(*stretches, first_deg=first_deg))
    return look(ground, 0, north_m), weighing_of()


# Level ground to an edge 60 m, 300 m and 1 km ahead, and without an edge.
add(
    "brow",
    "distance",
    {
        "near": lambda: _over((400, -30), (600, 0), north_m=340),
        "middle": lambda: _over((400, -30), (600, 0), north_m=100),
        "far": lambda: _over((400, -30), (600, 0), north_m=-600),
        "none": lambda: _over(),
    },
)

STEEPNESS = {"falls steeply": -22.0, "falls gently": -8.0, "level": 0.0, "rises gently": 8.0}
STEEPNESS["rises steeply"] = 22.0

# The ground runs so for 100 m, then turns down by 25 degrees more.
add(
    "brow",
    "slope_before",
    {word: (lambda s=s: _over((100, s - 25), (250, s - 25), first_deg=s)) for word, s in STEEPNESS.items()},
)

# The ground runs 20 degrees more upward for 100 m, then so.
add(
    "brow",
    "slope_beyond",
    {word: (lambda s=s: _over((100, s), first_deg=s + 20)) for word, s in STEEPNESS.items()},
)


def _edge_across(width: str) -> Scene:
    """An edge 300 m ahead: over all of the picture, or over its left third and no farther."""
    edge = steps((300, -30), (500, 0))
    if width == "all":
        return look(surface_of(edge), 0, 0), weighing_of()
    ground = surface_of(lambda east, north: np.where(east < -53, edge(east, north), 500.0))
    return look(ground, 0, 0), weighing_of()


add(
    "brow",
    "across",
    {word: (lambda word=word: _edge_across(word)) for word in ("all", "some")},
    lambda word: told("brow", distance="middle", across=word),
)

# No ditch, one of 100 m, one of 700 m, each with level ground before and behind it.
add(
    "dead_ground",
    "extent",
    {
        "none": lambda: _over(),
        "little": lambda: _over((100, -45), (120, 0), (180, 45), (200, 0)),
        "much": lambda: _over((100, -45), (130, 0), (770, 45), (800, 0)),
    },
)

# The ground falls or rises 10 degrees less than what lies beyond a dip, so that all of that is seen again.
add(
    "dead_ground",
    "beyond",
    {word: (lambda s=s: _over((100, s - 50), (130, s), first_deg=s - 10)) for word, s in STEEPNESS.items()}
    | {"nothing": lambda: _over((100, -30))},
)


def _top_at(angle_deg: float) -> Scene:
    """A knoll 300 m ahead, its top at so many degrees above the eye, which stands on a shelf if need be."""
    above_m = 300 * np.tan(np.radians(angle_deg)) + 1.6
    shelf_m = max(0.0, 10.0 - above_m)
    ground = surface_of(
        together(
            plane(), cone(0, 300, above_m + shelf_m, 100), ridge(0, 150, lambda east: shelf_m + 0 * east)
        )
    )
    knolls = things_of(knoll("Top", 0, 300))
    return look(ground, 0, 0, knolls), weighing_of(knolls)


def _stands(word: str | bool) -> Statement:
    return told("height", what="Top", stands=word)


add(
    "height",
    "stands",
    {
        "well above": lambda: _top_at(10.0),
        "a little above": lambda: _top_at(1.7),
        "level": lambda: _top_at(0.0),
        "a little below": lambda: _top_at(-1.7),
        "well below": lambda: _top_at(-10.0),
    },
    _stands,
)
add(
    "height",
    "stands",
    {"above": lambda: _top_at(3.0), "level": lambda: _top_at(0.0), "below": lambda: _top_at(-3.0)},
    _stands,
)


def _against_the_sky(behind_m: float) -> Scene:
    ground = surface_of(together(plane(), cone(0, 300, 50, 100), ridge(800, 200, lambda e: behind_m + 0 * e)))
    knolls = things_of(knoll("Top", 0, 300))
    return look(ground, 0, 0, knolls), weighing_of(knolls)


add(
    "against_sky",
    "stands",
    {True: lambda: _against_the_sky(0.0), False: lambda: _against_the_sky(250.0)},
    lambda stands: told("against_sky", what="Top", stands=stands),
)


def _behind(bank_m: float) -> Scene:
    ground = surface_of(together(plane(), cone(0, 300, 50, 100), ridge(100, 40, lambda e: bank_m + 0 * e)))
    knolls = things_of(knoll("Top", 0, 300))
    return look(ground, 0, 0, knolls), weighing_of(knolls)


add(
    "seen",
    "seen",
    {True: lambda: _behind(0.0), False: lambda: _behind(60.0)},
    lambda is_seen: told("seen", what="Top", seen=is_seen),
)


def _pair(one: tuple[float, float], other: tuple[float, float], eye: tuple[float, float]) -> Scene:
    """Two knolls, Top and Howe; the farther is the higher."""
    far = max((one, other), key=lambda place: place[1])
    grounds = [cone(*place, 150 if place == far else 40, 100) for place in (one, other)]
    knolls = things_of(knoll("Top", *one, 30), knoll("Howe", *other, 30))
    return look(surface_of(together(plane(), *grounds)), *eye, knolls), weighing_of(knolls)


def _relation(word: str | bool) -> Statement:
    return told("relation", what="Top", is_=word, other="Howe")


add(
    "relation",
    "is",
    {
        "left of": lambda: _pair((-100, 300), (100, 301), (0, -100)),
        "right of": lambda: _pair((100, 300), (-100, 301), (0, -100)),
        "in front of": lambda: _pair((0, 100), (0, 500), (0, -200)),
        "behind": lambda: _pair((0, 500), (0, 100), (0, -200)),
    },
    _relation,
)
add(
    "relation",
    "is",
    {
        "left of": lambda: _pair((-100, 300), (100, 301), (0, -100)),
        "right of": lambda: _pair((100, 300), (-100, 301), (0, -100)),
        "overlapping": lambda: _pair((0, 100), (0, 500), (0, -200)),
    },
    _relation,
)

CRESTS = {
    "flat": lambda east: 80 + 0 * east,
    "pointed": lambda east: 50 + 80 * np.maximum(0, 1 - np.abs(east) / 200),
    "saddle": saddle_crest(high_m=130, half_m=200),
    # Lower on the left, then on the right: looking north, left is west.
    "falls left": lambda east: 90 + 0.1 * east,
    "falls right": lambda east: 90 - 0.1 * east,
}


def _skyline(word: str, looks_deg: float = 0.0) -> Scene:
    """A ridge 600 m off, to the north or the south; seen from there the crest runs the same way."""
    side = 1 if looks_deg == 0 else -1
    ground = surface_of(together(plane(), ridge(side * 600, 200, lambda east: CRESTS[word](side * east))))
    return look(ground, 0, 0), weighing_of(looks_deg=looks_deg)


for looks_deg in (0.0, 180.0):
    add(
        "skyline",
        "shape",
        {word: (lambda word=word, looks_deg=looks_deg: _skyline(word, looks_deg)) for word in CRESTS},
        lambda word: told("skyline", shape=word),
    )


def _picture(level_deg: Callable[[np.ndarray], np.ndarray]) -> Scene:
    """A ridge 600 m ahead whose crest stands at angles given by degrees right of the picture's middle."""

    def crest(east: np.ndarray) -> np.ndarray:
        right_deg = np.degrees(np.arctan2(east, 600))
        return np.hypot(600, east) * np.tan(np.radians(level_deg(np.clip(right_deg, -40, 40)))) + 1.6

    return look(surface_of(together(plane(), ridge(600, 100, crest))), 0, 0), weighing_of()


AT_DEG = {"left": -20.0, "middle": 0.0, "right": 20.0}

# Level at 8 degrees but for a top, or a dip, of 4 degrees.
for key, sign in (("highest", 1), ("lowest", -1)):
    add(
        "high_and_low",
        key,
        {
            word: (
                lambda at=at, sign=sign: _picture(
                    lambda right: 8 + 4 * sign * np.maximum(0, 1 - np.abs(right - at) / 5)
                )
            )
            for word, at in AT_DEG.items()
        },
        lambda word, key=key: told("high_and_low", **{key: word}),
    )

# The skyline slopes evenly in the picture, falling and rising to the right.
add(
    "skyline_end",
    "runs",
    {
        word: (lambda slope=slope: _picture(lambda right: 12 + np.tan(np.radians(slope)) * right))
        for word, slope in {
            "falls steeply": -15.0,
            "falls gently": -6.5,
            "level": 0.0,
            "rises gently": 6.5,
            "rises steeply": 15.0,
        }.items()
    },
    lambda word: told("skyline_end", side="right", runs=word),
)
add(
    "skyline_end",
    "side",
    {
        word: (lambda sign=sign: _picture(lambda right: 12 + 0.27 * sign * right))
        for word, sign in (("left", 1), ("right", -1))
    },
    lambda side: told("skyline_end", side=side, runs="falls steeply"),
)


def _aslant(runs: float) -> Scene:
    """Level ground to an edge 200 m ahead that runs aslant; nearer on the left if that is above 0."""
    ground = surface_of(lambda east, north: 500 - np.clip(0.6 * (north - 200 - runs * east), 0, 100))
    return look(ground, 0, 0), weighing_of()


add(
    "two_brows",
    "nearer",
    {"left": lambda: _aslant(0.8), "right": lambda: _aslant(-0.8), "neither": lambda: _aslant(0.0)},
    lambda side: told("two_brows", nearer=side),
)


def _two_tops(one_m: float, other_m: float) -> Scene:
    """Top and Howe, so many metres high and as far off."""
    knolls = things_of(knoll("Top", -100, 400), knoll("Howe", 100, 400))
    ground = together(plane(), cone(-100, 400, one_m, 80), cone(100, 400, other_m, 80))
    return look(surface_of(ground), 0, 0, knolls), weighing_of(knolls)


add(
    "two_heights",
    "stands",
    {
        "higher": lambda: _two_tops(60, 40),
        "lower": lambda: _two_tops(40, 60),
        "as high": lambda: _two_tops(50, 50),
    },
    lambda word: told("two_heights", what="Top", stands=word, other="Howe"),
)


def _spur(high_east: float) -> Scene:
    """A spur that falls across the picture from the side where its high end is."""
    things = things_of(("Spur", "spur", "ground_shape", 0.0, line((-200, 500), (200, 500))))
    crest = ridge(500, 100, lambda east: np.clip(60 + np.sign(high_east) * 0.2 * east, 5, 110))
    return look(surface_of(together(plane(), crest)), 0, 0, things), weighing_of(things)


add(
    "comes_down",
    "to",
    {"left": lambda: _spur(1.0), "right": lambda: _spur(-1.0)},
    lambda side: told("comes_down", what="Spur", to=side),
)

#: Magnetic north of the made pictures, from true north.
DECLINATION_DEG = -6.0


@cache
def _far_east() -> tuple[float, Glance, Weighing]:
    """A top due north on the grid, 200 km east of the meridian, with the grid's convergence by PROJ."""
    knolls = things_of(knoll("Top", 200_000, 400))
    ground = surface_of(together(plane(), cone(0, 400, 50, 100)), east_m=EAST_M + 200_000)
    place = look(ground, 0, 0, knolls)
    crs = pyproj.CRS("EPSG:27700")
    longitude, latitude = pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True).transform(
        EAST_M + 200_000, NORTH_M
    )
    convergence_deg = pyproj.Proj(crs).get_factors(longitude, latitude).meridian_convergence
    return convergence_deg, place, weighing_of(knolls, None, declination_deg=DECLINATION_DEG)


def _bearing(word: str | bool) -> Callable[[str | bool], Statement]:
    """The bearing as it is read from that north, then said of each north."""
    convergence_deg = _far_east()[0]
    read = {"true": convergence_deg, "grid": 0.0, "magnetic": convergence_deg - DECLINATION_DEG}[str(word)]
    return lambda north: told("bearing", what="Top", degrees=read % 360, north=north, give_or_take_deg=0.5)


for north in ("true", "grid", "magnetic"):
    others = tuple(other for other in ("true", "grid", "magnetic") if other != north)
    WORDS.append(Word("bearing", "north", north, others, _bearing(north), lambda: _far_east()[1:]))


def _top_off(right_deg: float) -> Scene:
    """A knoll 400 m off, some way right of the picture's middle."""
    turn = np.radians(right_deg)
    east, north = (float(np.round(400 * along, -1)) for along in (np.sin(turn), np.cos(turn)))  # on a post
    knolls = things_of(knoll("Top", east, north))
    ground = surface_of(together(plane(), cone(east, north, 50, 100)))
    return look(ground, 0, 0, knolls), weighing_of(knolls)


def _seen_in(part: str | bool) -> Statement:
    return told("seen", str(part), what="Top")


add(
    "seen",
    "part",
    {"left": lambda: _top_off(-20), "middle": lambda: _top_off(0), "right": lambda: _top_off(20)},
    _seen_in,
)
add("seen", "part", {"left half": lambda: _top_off(-15), "right half": lambda: _top_off(15)}, _seen_in)
# Where two parts meet it is put into either; that it is in the picture is surer.
WORDS.append(Word("seen", "part", "anywhere", ("left", "middle", "right"), _seen_in, lambda: _top_off(-10)))


def _point_off(right_deg: float) -> Scene:
    """A point of the skyline some way right of the picture's middle."""
    east = 600 * np.tan(np.radians(right_deg))
    crest = ridge(600, 100, lambda e: 40 + 80 * np.maximum(0, 1 - np.abs(e - east) / 80))
    return look(surface_of(together(plane(), crest)), 0, 0, NOTHING), weighing_of()


add(
    "skyline",
    "part",
    {"left": lambda: _point_off(-20), "middle": lambda: _point_off(0), "right": lambda: _point_off(20)},
    lambda part: told("skyline", str(part), shape="pointed"),
)


@pytest.mark.parametrize("case", WORDS, ids=lambda case: case.name)
def test_a_word_fits_best_where_it_is_true(case: Word) -> None:
    place, weighing = case.scene()
    fits = {word: likelihood(case.say(word), place, weighing) for word in (case.word, *case.beside)}
    for word in case.beside:
        assert fits[case.word] >= CLEARLY * fits[word], (word, fits)


def test_every_word_has_a_case() -> None:
    wanted = {
        (kind.name, field.name, word)
        for kind in KINDS.values()
        for field in kind.fields
        for word in (field.words or ((True, False) if field.form == "yes_no" else ()))
    }
    assert {(case.kind, case.field, case.word) for case in WORDS} >= wanted
    parts = next(field.words for field in COMMON if field.name == "part")
    assert {case.word for case in WORDS if case.field == "part"} == set(parts)


def test_the_slopes_made_are_within_the_words() -> None:
    for word, slope_deg in STEEPNESS.items():
        low, high = SLOPES[word]
        assert low <= slope_deg < high
