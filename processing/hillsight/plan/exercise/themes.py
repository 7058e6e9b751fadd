"""What exercises are about: matters that the true place has one way and the wrong ones the other.

A theme measures quick looks: at places below one figure it is so, above another it is otherwise, and between
the two it is hard to tell. Then statements say it, and a picture looked at with care must bear them out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.statement import Statement

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.exercise.marks_in_view import MarksInView
    from hillsight.plan.exercise.quick_looks import QuickLooks

#: A statement bears a theme out if it would be made of the true place with the one chance at least, and of a
#: wrong one with the other at most.
SAID_FROM, SAID_UP_TO = 0.6, 0.25

_PARTS = ("middle", "left", "right")


@dataclass(frozen=True)
class Contrast:
    """A theme on one ground: the figure that it measures, and what is said on either side.

    measured : (n, d) of places and directions, NaN where there is nothing to measure
    low, high : it is one way up to ``low``, the other from ``high``
    says_low, says_high : statements, one of which is made there
    """

    theme: str
    about: str
    without: tuple[str, ...]
    measured: Floats
    low: float
    high: float
    says_low: tuple[Statement, ...]
    says_high: tuple[Statement, ...]

    def sides(self) -> Floats:
        """(n, d): -1 where it is the one way, 1 the other, 0 where it is hard to tell."""
        side = (self.measured >= self.high).astype(np.float64) - (self.measured <= self.low)
        return np.where(np.isfinite(self.measured), side, 0.0)

    def says(self, side: float) -> tuple[Statement, ...]:
        """What is said on a side."""
        return self.says_high if side > 0 else self.says_low


@dataclass(frozen=True)
class Across:
    """Quick looks laid across pictures of a width in d directions.

    sky_deg : (n, d, k) of the sky's edge from left to right
    inner : (d, k) bearings of the middle third
    """

    looks: QuickLooks
    directions_deg: Floats
    width_deg: float

    @property
    def sky_deg(self) -> Floats:
        """(n, d, k) vertical angle of the sky's edge from left to right."""
        return self.looks.skyline_deg[:, self.looks.at(self.directions_deg, self.width_deg / 2.0)]

    def middle(self, values: Floats) -> Floats:
        """(n, d, k) of the middle third."""
        return np.asarray(values[:, self.looks.at(self.directions_deg, self.width_deg / 6.0)])


def _brow(across: Across) -> Floats:
    return np.asarray(np.median(across.middle(across.looks.brow_m), axis=-1))


def _ahead(across: Across) -> Floats:
    return np.asarray(across.middle(across.looks.ahead_deg).mean(axis=-1))


def _hidden(across: Across) -> Floats:
    return np.asarray(np.median(across.middle(across.looks.hidden_m), axis=-1))


def _dip(across: Across) -> Floats:
    """By how much the skyline dips between its two ends, degrees; a point negative."""
    sky = across.sky_deg
    sixth, quarter = max(1, sky.shape[-1] // 6), sky.shape[-1] // 4
    ends = np.minimum(sky[..., :sixth].mean(axis=-1), sky[..., -sixth:].mean(axis=-1))
    return np.asarray(ends - sky[..., quarter:-quarter].min(axis=-1))


def _lean(across: Across) -> Floats:
    sky = across.sky_deg
    third = max(1, sky.shape[-1] // 3)
    return np.asarray(sky[..., :third].mean(axis=-1) - sky[..., -third:].mean(axis=-1))


def _tops(across: Across) -> Floats:
    """How many tops the skyline shows that rise by a degree on either side."""
    sky = across.sky_deg
    count = np.zeros(sky.shape[:-1])
    highest, lowest, rising = sky[..., 0].copy(), sky[..., 0].copy(), np.ones(sky.shape[:-1], bool)
    # Up by a degree from the last hollow, then down by one from the top, is one.
    for k in range(1, sky.shape[-1]):
        here = sky[..., k]
        highest, lowest = np.maximum(highest, here), np.minimum(lowest, here)
        over, under = rising & (here <= highest - 1.0), ~rising & (here >= lowest + 1.0)
        count += over
        rising = (rising & ~over) | under
        highest, lowest = np.where(under, here, highest), np.where(over, here, lowest)
    return count


def _of_parts(kind: str, field: str, words: tuple[str, ...], parts: tuple[str, ...]) -> tuple[Statement, ...]:
    return tuple(Statement(kind, {field: word}, part) for part in parts for word in words)


@dataclass(frozen=True)
class Theme:
    """A theme of the ground itself.

    without : traits of a glance (``at_a_glance.TRAITS``) that need not be alike, as the theme is about them
    """

    name: str
    without: tuple[str, ...]
    measure: Callable[[Across], Floats]
    low: float
    high: float
    says_low: tuple[Statement, ...]
    says_high: tuple[Statement, ...]


_WHOLE = ("anywhere", "left half", "right half")

_GROUND = (
    Theme(
        "near brow or far brow",
        ("brow", "form ahead"),
        _brow,
        120.0,
        300.0,
        _of_parts("brow", "distance", ("near",), _PARTS),
        _of_parts("brow", "distance", ("middle", "far", "none"), _PARTS),
    ),
    Theme(
        "rising or falling ground before us",
        ("slope ahead", "brow", "skyline"),
        _ahead,
        -6.0,
        6.0,
        _of_parts("brow", "slope_before", ("falls gently", "falls steeply"), _PARTS),
        _of_parts("brow", "slope_before", ("rises gently", "rises steeply"), _PARTS),
    ),
    Theme(
        "much or little ground out of view",
        ("brow", "form ahead"),
        _hidden,
        20.0,
        400.0,
        _of_parts("dead_ground", "extent", ("none", "little"), _PARTS),
        _of_parts("dead_ground", "extent", ("much",), _PARTS),
    ),
    Theme(
        "saddle on the skyline",
        ("skyline bulges", "skyline's distance"),
        _dip,
        0.2,
        2.0,
        _of_parts("skyline", "shape", ("pointed", "flat", "falls left", "falls right"), _WHOLE),
        _of_parts("skyline", "shape", ("saddle",), _WHOLE),
    ),
    Theme(
        "high ground on the left or on the right",
        ("skyline leans", "skyline bulges"),
        _lean,
        -4.0,
        4.0,
        (
            Statement("high_and_low", {"highest": "right"}),
            *_of_parts("skyline", "shape", ("falls left",), _WHOLE),
        ),
        (
            Statement("high_and_low", {"highest": "left"}),
            *_of_parts("skyline", "shape", ("falls right",), _WHOLE),
        ),
    ),
    Theme(
        "one top or several on the skyline",
        ("skyline bulges",),
        _tops,
        1.0,
        2.0,
        tuple(Statement("humps", {"count": count}) for count in (0, 1)),
        tuple(Statement("humps", {"count": count}) for count in (2, 3, 4, 5)),
    ),
)

HIGHER_OR_LOWER = "higher or lower than us"
SPUR_AND_STREAM = "spur left or right of the stream"

THEMES = (
    "near brow or far brow",
    SPUR_AND_STREAM,
    HIGHER_OR_LOWER,
    "saddle on the skyline",
    *(one.name for one in _GROUND if one.name not in ("near brow or far brow", "saddle on the skyline")),
)
"""All themes, those first that instructors ask for most."""


def contrasts(across: Across, marks: MarksInView) -> list[Contrast]:
    """The themes on one ground, in the order of THEMES; those about things once for each thing.

    Parameters
    ----------
    marks : tops, spurs and streams that the places see
    """
    found = [
        Contrast(
            one.name,
            "",
            one.without,
            one.measure(across),
            one.low,
            one.high,
            one.says_low,
            one.says_high,
        )
        for one in _GROUND
    ]
    half_deg = across.width_deg / 2.0
    for what, measured in marks.heights_deg(across.directions_deg, half_deg):
        found.append(
            Contrast(
                HIGHER_OR_LOWER,
                what,
                ("height", "skyline", "slope ahead"),
                measured,
                -1.5,
                1.5,
                tuple(
                    Statement("height", {"what": what, "stands": w})
                    for w in ("well below", "a little below", "below")
                ),
                tuple(
                    Statement("height", {"what": what, "stands": w})
                    for w in ("well above", "a little above", "above")
                ),
            )
        )
    for spur, stream, measured in marks.spurs_beside(across.directions_deg, half_deg):
        found.append(
            Contrast(
                SPUR_AND_STREAM,
                f"{spur}, {stream}",
                ("form ahead", "slope ahead"),
                measured,
                -6.0,
                6.0,
                (Statement("relation", {"what": spur, "is": "left of", "other": stream}),),
                (Statement("relation", {"what": spur, "is": "right of", "other": stream}),),
            )
        )
    return sorted(found, key=lambda one: THEMES.index(one.theme))
