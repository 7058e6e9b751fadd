"""The second observer's words: what may be said of a picture, and the chance of each answer.

Thresholds are soft and have heavy tails (Student's t of three degrees of freedom). They are not those of
``hillsight.plan``, and neither is the way that shapes and sizes are judged; only the words are, as a sighting
file has no others. How people err (common practice, no source): distances judged to some 40 % and all of one
picture too near or too far alike; slopes overestimated; the eye's level out by half a degree to one and a
half; small things overlooked; one statement in ten wrong altogether.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from second_observer_view import prominences, student

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from second_observer_view import View

    Floats = NDArray[np.float64]

#: Chance that a statement is wrong altogether and says any of the answers.
WRONG = 0.1

#: Chance that a thing is told of that does not show: another was taken for it.
MISTAKEN = 0.03

#: Bearings at which a part of the picture is looked at.
_ACROSS = 13

PARTS = {
    "left": (-0.5, -1 / 6),
    "middle": (-1 / 6, 1 / 6),
    "right": (1 / 6, 0.5),
    "left half": (-0.5, 0.0),
    "right half": (0.0, 0.5),
    "anywhere": (-0.5, 0.5),
}

SLOPES = ("falls steeply", "falls gently", "level", "rises gently", "rises steeply")
SHAPES = ("flat", "pointed", "saddle", "falls left", "falls right")
THIRDS = ("left", "middle", "right")
HUMPS = (0, 1, 2, 3, 4, 5, 6)
HEIGHTS = ("well below", "a little below", "level", "a little above", "well above")
METRES = (20, 30, 50, 70, 100, 150, 200, 300, 500, 700, 1_000, 1_500)
DEGREES = tuple(range(5, 125, 5))


@dataclass(frozen=True)
class Draws:
    """What one picture shares in all that is said of it, (n,) each, drawn n times.

    heading_deg : of its middle, from grid north; width_deg : between its sides
    level_deg : how far the level of the eye is misjudged; scale_log : how much too far all distances look
    """

    heading_deg: Floats
    width_deg: Floats
    level_deg: Floats
    scale_log: Floats

    @classmethod
    def of(cls, heading_deg: Floats, random: np.random.Generator) -> Draws:
        """Draw all but the direction."""
        n = heading_deg.size
        return cls(
            heading_deg,
            60.0 * random.uniform(0.9, 1.1, n),
            0.6 * random.standard_t(4, n),
            0.25 * random.standard_t(4, n),
        )


@dataclass(frozen=True)
class Saying:
    """Something that may be said: a question with all its answers.

    key : the field that answers it; answers : its values, a part of the picture before a value that has one
    things : rows of the sheet that it is about; fixed : fields besides
    weight : how striking it is
    """

    kind: str
    part: str
    key: str
    answers: tuple[Any, ...]
    things: tuple[int, ...] = ()
    fixed: tuple[tuple[str, Any], ...] = ()
    weight: float = field(default=1.0, compare=False)

    def chances(self, view: View, draws: Draws) -> Floats:
        """Chance of each answer in each draw, (n, answers), wrong ones among them."""
        told = _CHANCES[self.kind, self.key](self, view, draws)
        return (1.0 - WRONG) * told + WRONG / len(self.answers)

    def without_things(self, rows: dict[int, int]) -> Saying:
        """The same of a sheet that has only some rows."""
        things = tuple(rows[k] for k in self.things)
        return Saying(self.kind, self.part, self.key, self.answers, things, self.fixed, self.weight)

    def values(self, answer: int, names: list[str]) -> tuple[str, str, dict[str, Any]]:
        """Kind, part and values of a statement of a sighting file."""
        values: dict[str, Any] = dict(self.fixed)
        given, part = self.answers[answer], self.part
        if self.kind == "seen" and isinstance(given, str):
            part, given = given, True
        if self.kind == "order":
            given = [names[self.things[k]] for k in given]
        else:
            for name, row in zip(("what", "other"), self.things, strict=False):
                values[name] = names[row]
        values[self.key] = given
        return self.kind, part, values


def between(value: Floats, cuts: tuple[float, ...], spread: float) -> Floats:
    """Chances of the words between cut points, (n, cuts + 1)."""
    below = student(np.asarray(cuts)[None, :] - np.asarray(value)[:, None], spread)
    edge = np.zeros((below.shape[0], 1))
    return np.diff(np.hstack((edge, below, edge + 1.0)), axis=1)


def _bearings(part: str, draws: Draws, count: int = _ACROSS) -> NDArray[np.int64]:
    """Rays of a part of the picture in each draw, (n, count), from left to right."""
    low, high = PARTS[part]
    across = low + (high - low) * (np.arange(count) + 0.5) / count
    found: NDArray[np.int64] = (
        np.rint(draws.heading_deg[:, None] + draws.width_deg[:, None] * across[None, :]).astype(np.int64)
        % 360
    )
    return found


def _typical(values: Floats, where: NDArray[np.bool_], otherwise: float) -> Floats:
    """Median over each row's places, (n,)."""
    ordered = np.sort(np.where(where, values, np.inf), axis=1)
    count = where.sum(axis=1)
    middle = ordered[np.arange(len(ordered)), np.maximum(count - 1, 0) // 2]
    return np.where(count > 0, np.where(np.isfinite(middle), middle, otherwise), otherwise)


def _brow(
    saying: Saying, view: View, draws: Draws
) -> tuple[Floats, NDArray[np.bool_], Floats, NDArray[np.int64]]:
    """Brow on each bearing, where there is one to speak of, and the chance that one is spoken of, (n,)."""
    at = _bearings(saying.part, draws)
    brow_m = view.rays.brow_m[at]
    some = np.isfinite(brow_m) & (brow_m < 2_500.0)
    return brow_m, some, student(some.mean(axis=1) - 0.42, 0.12), at


def _distance(saying: Saying, view: View, draws: Draws) -> Floats:
    brow_m, some, there, _ = _brow(saying, view, draws)
    looks = np.log(_typical(brow_m, some, 2_500.0)) + draws.scale_log
    words = between(looks, (np.log(125.0), np.log(650.0)), 0.32)
    return np.hstack((words * there[:, None], 1.0 - there[:, None]))


def _metres(saying: Saying, view: View, draws: Draws) -> Floats:
    brow_m, some, there, _ = _brow(saying, view, draws)
    looks = np.log(_typical(brow_m, some, 2_500.0)) + draws.scale_log
    logs = np.log(METRES)
    told = between(looks, tuple((logs[1:] + logs[:-1]) / 2.0), 0.35)
    return (MISTAKEN + (1.0 - MISTAKEN) * there)[:, None] * told


def _slope(saying: Saying, view: View, draws: Draws) -> Floats:
    _, some, there, at = _brow(saying, view, draws)
    slopes = view.rays.before_deg if saying.key == "slope_before" else view.rays.beyond_deg
    steep = _typical(slopes[at], some & np.isfinite(slopes[at]), 0.0)
    told = between(1.3 * steep, (-17.0, -4.0, 4.0, 17.0), 4.5)
    return (MISTAKEN + (1.0 - MISTAKEN) * there)[:, None] * told


def _extent(saying: Saying, view: View, draws: Draws) -> Floats:
    brow_m, some, there, at = _brow(saying, view, draws)
    again_m = np.where(np.isfinite(view.rays.again_m[at]), view.rays.again_m[at], 12_000.0)
    hidden = np.log(_typical(again_m - brow_m, some, 10.0)) + draws.scale_log
    words = between(hidden, (np.log(28.0), np.log(290.0)), 0.55)
    words = words * there[:, None]
    words[:, 0] += 1.0 - there
    return words


def _beyond(saying: Saying, view: View, draws: Draws) -> Floats:
    _, some, there, at = _brow(saying, view, draws)
    again = some & np.isfinite(view.rays.again_m[at])
    nothing = student(0.5 - again.sum(axis=1) / np.maximum(some.sum(axis=1), 1), 0.12)
    slopes = view.rays.again_deg[at]
    steep = _typical(slopes, again & np.isfinite(slopes), 0.0)
    words = between(1.3 * steep, (-17.0, -4.0, 4.0, 17.0), 5.0) * (1.0 - nothing)[:, None]
    return (MISTAKEN + (1.0 - MISTAKEN) * there)[:, None] * np.hstack((words, nothing[:, None]))


def _shape(saying: Saying, view: View, draws: Draws) -> Floats:
    """One hill, a dip, a long slope or nothing much: by the strongest of them."""
    sky = view.rays.sky_deg[_bearings(saying.part, draws, 24)]
    left, right = sky[:, :5].mean(axis=1), sky[:, -5:].mean(axis=1)
    inner = np.sort(sky[:, 6:18], axis=1)
    high, low = inner[:, -3:].mean(axis=1), inner[:, :3].mean(axis=1)
    hill = high - np.maximum(left, right)
    dip = np.minimum(left, right) - low
    # Small relief looks larger in a narrow part of the picture.
    least = 0.3 + 0.01 * (PARTS[saying.part][1] - PARTS[saying.part][0]) * draws.width_deg
    scores = np.stack((least, 1.3 * hill, 1.3 * dip, right - left, left - right), axis=1)
    scores = scores / (0.3 * np.maximum(least, 0.25 * np.abs(scores).max(axis=1)))[:, None]
    words = np.exp(scores - scores.max(axis=1, keepdims=True))
    return np.asarray(words / words.sum(axis=1, keepdims=True), np.float64)


def _third(saying: Saying, view: View, draws: Draws) -> Floats:
    """Highest or lowest: every person has a tilted eye and places of his own where a third ends."""
    sky = view.rays.sky_deg[_bearings(saying.part, draws, 30)] * (1.0 if saying.key == "highest" else -1.0)
    told = np.zeros((sky.shape[0], 3))
    across = np.linspace(-0.5, 0.5, sky.shape[1])
    for lean_deg in (-1.2, -0.4, 0.4, 1.2):
        for ends in (7, 10, 13):
            thirds = np.split(sky + lean_deg * across, (ends, sky.shape[1] - ends), axis=1)
            high = np.stack([np.sort(one, axis=1)[:, -2:].mean(axis=1) for one in thirds], axis=1)
            over = high[:, :, None] - high[:, None, :]
            beats = student(over, 0.25) + np.eye(3)
            told += beats.prod(axis=2)
    return np.asarray(told / told.sum(axis=1, keepdims=True), np.float64)


def _humps(saying: Saying, view: View, draws: Draws) -> Floats:
    """Tops by how far each stands above the higher of the two dips beside it; each is told or passed over."""
    stands_deg = prominences(view.rays.sky_deg[_bearings(saying.part, draws, 48)])
    noticed = np.where(stands_deg > 0.0, student(np.log(np.maximum(stands_deg, 1e-3) / 0.45), 0.45), 0.0)
    # One more place above the answers, and one below, for those who count one too many or one too few.
    told = np.zeros((stands_deg.shape[0], len(saying.answers) + 1))
    told[:, 0] = 1.0
    for chance in noticed.T:
        more = told[:, :-1] * chance[:, None]
        told[:, :-1] *= 1.0 - chance[:, None]
        told[:, 1:] += more
    counted = 0.88 * told
    counted[:, 1:] += 0.06 * told[:, :-1]
    counted[:, :-1] += 0.06 * told[:, 1:]
    counted[:, (0, -2)] += np.stack((0.06 * told[:, 0], counted[:, -1]), axis=1)
    return np.asarray(counted[:, :-1] / counted[:, :-1].sum(axis=1, keepdims=True), np.float64)


def _end(saying: Saying, view: View, draws: Draws) -> Floats:
    """From where the skyline leaves the picture to some way in; people see slopes steeper than they are."""
    sky = view.rays.sky_deg[_bearings("anywhere", draws, 30)]
    if dict(saying.fixed)["side"] == "left":
        sky = sky[:, ::-1]
    wide_deg = draws.width_deg / 30.0
    steep = np.degrees(np.arctan((sky[:, -3:].mean(axis=1) - sky[:, -10:-7].mean(axis=1)) / (7.0 * wide_deg)))
    return between(1.2 * steep, (-12.0, -3.5, 3.5, 12.0), 2.5)


def _sooner(saying: Saying, view: View, draws: Draws) -> Floats:
    """By what is typical of each half; where no brow is spoken of it is far."""
    typical = []
    for part in ("left half", "right half"):
        brow_m = view.rays.brow_m[_bearings(part, draws)]
        far = np.where(np.isfinite(brow_m), np.minimum(brow_m, 2_500.0), 2_500.0)
        typical.append(np.log(np.sort(far, axis=1)[:, _ACROSS // 3 : -_ACROSS // 3].mean(axis=1)))
    left, right = (student(off - 0.25, 0.25) for off in (typical[1] - typical[0], typical[0] - typical[1]))
    return np.stack((left, right, np.maximum(1.0 - left - right, 0.0)), axis=1)


def _higher(saying: Saying, view: View, draws: Draws) -> Floats:
    one, other = saying.things
    things = view.things
    over = things.angle_deg[one] - things.angle_deg[other]
    apart = abs((things.bearing_deg[one] - things.bearing_deg[other] + 180.0) % 360.0 - 180.0)
    # A picture that leans by a degree lifts one side.
    spread = float(np.hypot(0.2, 0.012 * min(apart, 60.0)))
    words = between(np.array([-over]), (-0.2, 0.2), spread)[:, [0, 2, 1]]
    return (_told(view, one, draws) * _told(view, other, draws))[:, None] * words


def inside(view: View, thing: int, draws: Draws, part: str = "anywhere") -> Floats:
    """Chance that a thing is put into a part of the picture, (n,)."""
    things = view.things
    middle = (things.left_deg[thing] + things.right_deg[thing]) / 2.0
    half = (things.right_deg[thing] - things.left_deg[thing]) / 2.0
    low, high = PARTS[part]
    off = (middle - draws.heading_deg + 180.0) % 360.0 - 180.0
    off = np.sign(off) * np.maximum(np.abs(off) - half, 0.0) if part == "anywhere" else off
    left = student(off - low * draws.width_deg, 2.0)
    return left * student(high * draws.width_deg - off, 2.0)


def _told(view: View, thing: int, draws: Draws) -> Floats:
    """Chance that somebody speaks of a thing as one that shows, (n,)."""
    return np.asarray(
        MISTAKEN + (1.0 - MISTAKEN) * view.things.shown[thing] * inside(view, thing, draws), np.float64
    )


def _seen(saying: Saying, view: View, draws: Draws) -> Floats:
    thing = saying.things[0]
    told = _told(view, thing, draws)
    left = inside(view, thing, draws, "left half")
    right = inside(view, thing, draws, "right half")
    share = (left + 0.02) / (left + right + 0.04)
    return np.stack((told * share, told * (1.0 - share), 1.0 - told), axis=1)


def _stands(saying: Saying, view: View, draws: Draws) -> Floats:
    thing = saying.things[0]
    looks = view.things.angle_deg[thing] + draws.level_deg
    words = between(looks, (-2.7, -0.6, 0.6, 2.7), 0.4)
    return _told(view, thing, draws)[:, None] * words


def _sky(saying: Saying, view: View, draws: Draws) -> Floats:
    thing = saying.things[0]
    free = student(np.array(-0.15 - view.things.behind_deg[thing]), 0.15)
    words = np.broadcast_to(np.array([free, 1.0 - free]), (draws.heading_deg.size, 2))
    return _told(view, thing, draws)[:, None] * words


def _pair(saying: Saying, view: View, draws: Draws) -> Floats:
    one, other = saying.things
    things = view.things
    off = (things.bearing_deg[other] - things.bearing_deg[one] + 180.0) % 360.0 - 180.0
    half = (things.right_deg - things.left_deg)[[one, other]].sum() / 2.0
    over = float(student(np.array(1.0 - (abs(off) - half)), 1.0))
    nearer = float(student(np.log(things.distance_m[other] / things.distance_m[one]), 0.25))
    left = float(student(np.array(off), 1.2))
    words = np.array([(1 - over) * left, (1 - over) * (1 - left), over * nearer, over * (1 - nearer)])
    return (_told(view, one, draws) * _told(view, other, draws))[:, None] * words[None, :]


def _order(saying: Saying, view: View, draws: Draws) -> Floats:
    bearing = view.things.bearing_deg[list(saying.things)]
    told = np.prod([_told(view, k, draws) for k in saying.things], axis=0)
    words = np.array(
        [
            np.prod(
                [
                    float(student(np.array((bearing[b] - bearing[a] + 180.0) % 360.0 - 180.0), 1.2))
                    for a, b in itertools.combinations(one, 2)
                ]
            )
            for one in saying.answers
        ]
    )
    return np.asarray(told[:, None] * words[None, :] / words.sum(), np.float64)


def _angle(saying: Saying, view: View, draws: Draws) -> Floats:
    one, other = saying.things
    bearing = view.things.bearing_deg
    apart = abs((bearing[other] - bearing[one] + 180.0) % 360.0 - 180.0)
    cuts = tuple(np.array(DEGREES[:-1]) + 2.5)
    words = between(np.array([apart]), cuts, 2.0 + 0.12 * apart)
    return (_told(view, one, draws) * _told(view, other, draws))[:, None] * words


def _down(saying: Saying, view: View, draws: Draws) -> Floats:
    thing = saying.things[0]
    right = float(student(np.nan_to_num(view.things.low_end_deg[thing]), 2.0))
    return _told(view, thing, draws)[:, None] * np.array([[1.0 - right, right]])


def _compass(saying: Saying, view: View, draws: Draws) -> Floats:
    thing = saying.things[0]
    edges = np.array(saying.answers) - 2.5
    off = (edges - view.things.bearing_deg[thing] + 180.0) % 360.0 - 180.0
    words = student(off + 5.0, 3.0) - student(off, 3.0)
    return _told(view, thing, draws)[:, None] * (words / words.sum())[None, :]


_CHANCES: dict[tuple[str, str], Callable[[Saying, View, Draws], Floats]] = {
    ("brow", "distance"): _distance,
    ("brow", "distance_m"): _metres,
    ("brow", "slope_before"): _slope,
    ("brow", "slope_beyond"): _slope,
    ("dead_ground", "extent"): _extent,
    ("dead_ground", "beyond"): _beyond,
    ("skyline", "shape"): _shape,
    ("high_and_low", "highest"): _third,
    ("high_and_low", "lowest"): _third,
    ("humps", "count"): _humps,
    ("skyline_end", "runs"): _end,
    ("two_brows", "nearer"): _sooner,
    ("two_heights", "stands"): _higher,
    ("seen", "seen"): _seen,
    ("height", "stands"): _stands,
    ("against_sky", "stands"): _sky,
    ("relation", "is"): _pair,
    ("order", "things"): _order,
    ("angle", "degrees"): _angle,
    ("comes_down", "to"): _down,
    ("bearing", "degrees"): _compass,
}
"""How likely each answer is, by kind and field of the statement."""
