"""How well statements about one thing fit a place: seen or not, how high, against the sky, how many."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers
    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.things import Things
    from hillsight.plan.observer import Observer
    from hillsight.plan.statement import Statement


#: Where level ends and well above begins, degrees either way; as in reading.things.relative_height.
LEVEL_DEG, WELL_DEG = 0.5, 3.0

#: Vertical angles, in degrees, between which a thing is said to stand so.
HEIGHT_BOUNDS = {
    "well above": (WELL_DEG, np.inf),
    "a little above": (LEVEL_DEG, WELL_DEG),
    "above": (LEVEL_DEG, np.inf),
    "level": (-LEVEL_DEG, LEVEL_DEG),
    "a little below": (-WELL_DEG, -LEVEL_DEG),
    "well below": (-np.inf, -WELL_DEG),
    "below": (-np.inf, -LEVEL_DEG),
}

#: A thing so far below the skyline is as often said to stand on it as not, and the spread of that, degrees.
_ON_SKY_DEG, _SKY_SPREAD_DEG = 0.25, 0.15


def noticed(what: str, glance: Glance, things: Things, observer: Observer) -> Floats:
    """Chance that each thing of that name or kind is seen and noticed, (m,)."""
    rows = things.rows(what)
    within_m = observer.noticing[things.evidence_class(what)].plain_within_m
    # Of a long thing the near end is noticed first.
    distance_m = np.fmin(glance.things.nearest_m[rows], glance.things.distance_m[rows])
    plain = 1.0 / (1.0 + (distance_m / within_m) ** 4)
    return np.nan_to_num(glance.things.chance[rows] * plain)


def shown(
    what: str, part: str, glance: Glance, framing: Framing, things: Things, observer: Observer
) -> Floats:
    """Chance that each such thing is noticed in a part of the picture, (h, m)."""
    rows = things.rows(what)
    held = framing.holds(part, glance.things.left_deg[rows], glance.things.width_deg[rows])
    return held * noticed(what, glance, things, observer)[None, :]


def any_of(chances: Floats) -> Floats:
    """Chance that at least one holds, each by itself, (h, m) to (h,)."""
    none: Floats = np.prod(1.0 - np.clip(chances, 0.0, 1.0), axis=1)
    return 1.0 - none


def told(fits: Floats, what: str, things: Things, observer: Observer) -> Floats:
    """Chance that it is told of, from the chance that there is such a thing: others may be taken for it."""
    noticing = observer.noticing[things.evidence_class(what)]
    some: Floats = noticing.told_if_not + (noticing.told_if_shown - noticing.told_if_not) * fits
    return some


def seen_fit(
    statement: Statement, glance: Glance, framing: Framing, observer: Observer, things: Things
) -> Floats:
    """Chance that it would be told that the thing is seen, or is not, (h,)."""
    what, values = statement.values["what"], statement.values
    each = shown(what, statement.part, glance, framing, things, observer)
    if "within_m" in values:
        nearest_m = np.maximum(glance.things.nearest_m[things.rows(what)], 0.5)
        off = (np.log(float(values["within_m"])) - np.log(nearest_m)) / observer.distance_log
        each = each * np.nan_to_num(special.ndtr(off))[None, :]
    there = any_of(each)
    noticing = observer.noticing[things.evidence_class(what)]
    if values.get("seen", True):
        return told(there, what, things, observer)
    return noticing.missed_if_not + (noticing.missed_if_shown - noticing.missed_if_not) * there


def height_fit(
    statement: Statement, glance: Glance, framing: Framing, observer: Observer, things: Things
) -> Floats:
    """Chance that a thing there would be said to stand so high, (h,)."""
    what, values = statement.values["what"], statement.values
    rows = things.rows(what)
    if "metres_above" in values:
        given = float(values["metres_above"])
        difference = glance.things.height_difference_m[rows]
        own = float(values.get("give_or_take_m", 3.0 + observer.height_share * abs(given)))
        spread = np.hypot(own, glance.things.height_spread_m[rows])
        fits = own / spread * np.exp(-0.5 * ((difference - given) / spread) ** 2)
    else:
        low, high = HEIGHT_BOUNDS[values["stands"]]
        angle = glance.things.vertical_deg[rows]
        spread = np.hypot(observer.vertical_deg, glance.things.vertical_spread_deg[rows])
        fits = special.ndtr((high - angle) / spread) - special.ndtr((low - angle) / spread)
    each = shown(what, statement.part, glance, framing, things, observer) * np.nan_to_num(fits)[None, :]
    return told(any_of(each), what, things, observer)


def against_sky_fit(
    statement: Statement, glance: Glance, framing: Framing, observer: Observer, things: Things
) -> Floats:
    """Chance that a thing there would be said to stand against the sky, or below the skyline, (h,)."""
    what = statement.values["what"]
    rows = things.rows(what)
    spread = np.hypot(_SKY_SPREAD_DEG, glance.things.vertical_spread_deg[rows])
    on_sky = np.nan_to_num(special.ndtr((_ON_SKY_DEG - glance.things.below_sky_deg[rows]) / spread))
    fits = on_sky if statement.values.get("stands", True) else 1.0 - on_sky
    each = shown(what, statement.part, glance, framing, things, observer) * fits[None, :]
    return told(any_of(each), what, things, observer)


def number_fit(
    statement: Statement, glance: Glance, framing: Framing, observer: Observer, things: Things
) -> Floats:
    """Chance that so many of a kind would be counted, (h,)."""
    what = statement.values["what"]
    each = shown(what, statement.part, glance, framing, things, observer)
    expected = each.sum(axis=1)
    own = (each * (1.0 - each)).sum(axis=1)
    # What makes one re-entrant or two is a matter of judgement: a quarter either way, and one.
    spread = np.sqrt(own + 0.8**2 + (0.25 * expected) ** 2)
    off = (float(statement.values["count"]) - expected) / spread
    fits = np.asarray(0.8 / spread * np.exp(-0.5 * off**2), np.float64)
    if statement.values["count"] == 0:  # told to be absent, as in ``seen_fit``
        noticing = observer.noticing[things.evidence_class(what)]
        return noticing.missed_if_shown + (noticing.missed_if_not - noticing.missed_if_shown) * fits
    return told(fits, what, things, observer)


def comes_down_fit(
    statement: Statement, glance: Glance, framing: Framing, observer: Observer, things: Things
) -> Floats:
    """Chance that such a line would be said to come down to that side, (h,)."""
    what = statement.values["what"]
    falls = glance.things.falls_right_deg[things.rows(what)]
    side = 1.0 if statement.values["to"] == "right" else -1.0
    fits = np.nan_to_num(special.ndtr(side * falls / 1.5))
    fits = np.where(np.isfinite(falls), fits, 0.0)
    each = shown(what, statement.part, glance, framing, things, observer) * fits[None, :]
    return told(any_of(each), what, things, observer)


def bearing_fit(
    statement: Statement,
    glance: Glance,
    framing: Framing,
    observer: Observer,
    things: Things,
    declination_deg: float | None,
) -> Floats:
    """How well a thing lies on a bearing, (h,).

    Raises
    ------
    ValueError : a magnetic bearing without a declination
    """
    what, values = statement.values["what"], statement.values
    true_deg = to_true_deg(float(values["degrees"]), values.get("north", "true"), glance, declination_deg)
    own = float(values.get("give_or_take_deg", observer.bearing_deg))
    rows = things.rows(what)
    # Anywhere on a wide thing may have been aimed at.
    left = (true_deg - glance.things.left_deg[rows]) % 360.0
    width = glance.things.width_deg[rows]
    outside = np.where(left <= width, 0.0, np.minimum(left - width, 360.0 - left))
    place_deg = np.degrees(12.0 / np.maximum(glance.things.distance_m[rows], 12.0))
    spread = np.hypot(own, place_deg)
    fits = np.nan_to_num(own / spread * np.exp(-0.5 * (outside / spread) ** 2))
    # The compass does not care where the picture's edges are, unless the observer says so.
    if statement.part == "anywhere":
        each = np.broadcast_to(
            (noticed(what, glance, things, observer) * fits)[None, :], _shape(framing, rows)
        )
    else:
        each = shown(what, statement.part, glance, framing, things, observer) * fits[None, :]
    return told(any_of(each), what, things, observer)


def to_true_deg(degrees: float, north: str, glance: Glance, declination_deg: float | None) -> float:
    """A bearing from true north.

    Raises
    ------
    ValueError : a magnetic bearing without a declination
    """
    if north == "grid":
        return degrees + glance.convergence_deg
    if north == "magnetic":
        if declination_deg is None:
            raise ValueError("a magnetic bearing needs a declination")
        return degrees + declination_deg
    return degrees


def vertical_angle_fit(
    statement: Statement, glance: Glance, framing: Framing, observer: Observer, things: Things
) -> Floats:
    """How well a thing there stands at a vertical angle, (h,)."""
    what, values = statement.values["what"], statement.values
    rows = things.rows(what)
    own = float(values.get("give_or_take_deg", observer.vertical_deg))
    spread = np.hypot(own, glance.things.vertical_spread_deg[rows])
    off = (glance.things.vertical_deg[rows] - float(values["degrees"])) / spread
    fits = np.nan_to_num(own / spread * np.exp(-0.5 * off**2))
    each = shown(what, statement.part, glance, framing, things, observer) * fits[None, :]
    return told(any_of(each), what, things, observer)


def _shape(framing: Framing, rows: Integers) -> tuple[int, int]:
    return framing.heading_deg.size, rows.size
