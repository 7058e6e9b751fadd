"""How people misjudge what they see in a picture: the figures that statements are weighed with."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError
from hillsight.frozen import FrozenMapping

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True)
class Noticing:
    """How a thing of a class is told of.

    told_if_shown : chance that it is told of where it plainly shows
    told_if_not : chance that one is told of where the map has none in sight: it was built since, or another
        thing was taken for it
    missed_if_shown : chance that it is told to be absent where it ought to show: it has fallen or gone
    missed_if_not : chance that it is told to be absent where it does not show
    """

    told_if_shown: float
    told_if_not: float
    missed_if_shown: float
    missed_if_not: float


#: By evidence class. That a man-made feature is there tells at most 6 to 1, that it is missing at most
#: 2 to 1. Common practice, no source: walls fall, fences come and go, maps age.
_NOTICING = FrozenMapping(
    {
        "ground_shape": Noticing(0.95, 0.05, 0.10, 0.95),
        "water": Noticing(0.90, 0.06, 0.20, 0.90),
        "man_made": Noticing(0.72, 0.12, 0.45, 0.90),
        "unclassed": Noticing(0.72, 0.12, 0.45, 0.90),
    }
)


#: Figures of what is judged by eye, of which a careful observer has half.
_JUDGED = (
    "distance_log",
    "slope_deg",
    "vertical_deg",
    "height_share",
    "skyline_deg",
    "skyline_slope_deg",
    "hump_log",
    "higher_deg",
    "nearer_log",
    "trace_deg",
    "picture_edge",
    "angle_deg",
    "level_deg",
    "scale_log",
)


@dataclass(frozen=True)
class Observer:
    """Standard deviations of what is judged by eye, from a picture.

    distance_log : of the natural logarithm of a distance judged by eye. Distances outdoors are judged to
        some 20 to 30 % by practised people (from memory, no page at hand); a picture gives less to go by
    slope_deg : of a slope judged by eye, degrees. Slopes are overestimated, a 5 degree hill at some 20
        (Proffitt and others 1995, from memory), so only the words on either side are told apart
    vertical_deg : of a vertical angle judged in a picture whose level is not known. Common practice, no
        source
    height_share : of a height difference told in metres, as a share of it, besides 3 m. Common practice
    skyline_deg : of the shape of a skyline, degrees. Common practice
    skyline_slope_deg : of the slope of a skyline in the picture, degrees, which may lean. Common practice, no
        source
    hump_deg, hump_log : least rise of a skyline that a person counts as a hump of its own, degrees (not a
        standard deviation), and of its natural logarithm between people. Common practice, no source
    higher_deg : of how much higher one thing stands than another in one picture, degrees: its level makes no
        odds, but it may lean. Common practice, no source
    nearer_log : of the natural logarithm of how many times as far one distance is as another in one picture:
        what makes all look too near makes no odds. Common practice, no source
    trace_deg : of points traced along a skyline, degrees: the picture's scale and level are guessed. Settled
        by simulation
    level_deg, scale_log : what of ``vertical_deg`` and of ``distance_log`` is one error in all that is said
        of a picture: where its level lies, and how near everything looks. Common practice, no source
    picture_edge : of where a part of the picture ends, as a share of the picture's width
    sun_deg : of the direction to the sun told from a picture
    bearing_deg : of a bearing whose spread is not given: a hand-held compass, some 3 degrees (common
        practice, no source)
    angle_deg, angle_share : of an angle between two things, besides a share of it
    pair_arcmin : angle of a line pair that the eye just parts, minutes of arc; what looks smaller is passed
        over (``plan.look.noticing``)
    mistaken : chance that all that is said of one matter is wrong together: one thing was taken for another.
        Common practice, no source
    noticing : by evidence class
    """

    distance_log: float = 0.4
    slope_deg: float = 6.0
    vertical_deg: float = 0.8
    height_share: float = 0.5
    skyline_deg: float = 0.35
    skyline_slope_deg: float = 2.5
    hump_deg: float = 0.4
    hump_log: float = 0.5
    higher_deg: float = 0.3
    nearer_log: float = 0.25
    trace_deg: float = 0.5
    level_deg: float = 0.6
    scale_log: float = 0.25
    picture_edge: float = 0.06
    sun_deg: float = 8.0
    bearing_deg: float = 3.0
    angle_deg: float = 1.5
    angle_share: float = 0.1
    pair_arcmin: float = 2.0
    mistaken: float = 0.03
    noticing: Mapping[str, Noticing] = field(default_factory=lambda: _NOTICING)

    def careful(self) -> Observer:
        """One who takes time and knows the ground: half the spread in all that is judged."""
        figures: dict[str, Any] = {name: getattr(self, name) / 2.0 for name in _JUDGED}
        return replace(self, **figures)

    def of_one_draw(self) -> Observer:
        """What is left to err when the errors that all statements share are known."""
        return replace(
            self,
            vertical_deg=math.sqrt(
                max(self.vertical_deg**2 - self.level_deg**2, (self.vertical_deg / 4) ** 2)
            ),
            distance_log=math.sqrt(
                max(self.distance_log**2 - self.scale_log**2, (self.distance_log / 4) ** 2)
            ),
        )

    def __post_init__(self) -> None:
        for name in (*_JUDGED, "hump_deg", "sun_deg", "bearing_deg", "pair_arcmin"):
            value = getattr(self, name)
            if not 0 < value < 1000:
                raise CallError(
                    f"{name} is {value:g}", where="observer", remedy="Give a standard deviation above 0"
                )
        for name in ("mistaken", "angle_share"):
            if not 0 <= getattr(self, name) <= 1:
                raise CallError(f"{name} is {getattr(self, name):g}", where="observer", remedy="Give 0 to 1")
