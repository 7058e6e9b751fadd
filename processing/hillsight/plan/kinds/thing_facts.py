"""What a place shows of one thing: whether it is seen, how high it stands, where it lies."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.plan.kinds.weigh_things import LEVEL_DEG, WELL_DEG, noticed, shown
from hillsight.plan.verdict import Fact
from hillsight.words.english import with_article
from hillsight.words.quantities import rough_distance_words

if TYPE_CHECKING:
    from hillsight.plan.kinds.weigh import Weighing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Statement

#: Chance of showing in the picture below which a thing is told not to show.
SHOWS_FROM = 0.3


def the(what: str, weighing: Weighing) -> str:
    """A name as it is, a kind as one already spoken of."""
    return what if weighing.things.is_named(what) else f"the {what}"


def a(what: str, weighing: Weighing) -> str:
    """A name as it is, a kind with its article."""
    if weighing.things.is_named(what):
        return what
    return with_article(what)


def likeliest(what: str, part: str, glance: Glance, weighing: Weighing, direction: int) -> tuple[int, float]:
    """The thing of that name or kind likeliest to be meant, and its chance of showing in that part."""
    chances = shown(what, part, glance, weighing.framing, weighing.things, weighing.observer)[direction]
    best = int(np.argmax(chances))
    return int(weighing.things.rows(what)[best]), float(chances[best])


def absent(what: str, part: str, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """That a thing does not show in a part of the picture, and why: of several, of the one nearest to it."""
    rows = weighing.things.rows(what)
    seen, named = glance.things, weighing.things.is_named(what)
    held, whole = (
        weighing.framing.holds(name, seen.left_deg[rows], seen.width_deg[rows])[direction]
        for name in (part, "anywhere")
    )
    chance = np.nan_to_num(seen.chance[rows])
    noticed_share = noticed(what, glance, weighing.things, weighing.observer)
    one = int(np.argmax(held * (noticed_share + 1e-3 * chance + 1e-6) + 1e-6 * noticed_share))
    name = what if named else f"no {what}"
    if chance[one] < 0.5:
        words = f"{name} is out of view" if named else f"{name} is in view there"
    elif whole[one] < 0.5:
        words = f"{name} lies outside the picture" if named else f"{name} lies in the picture"
    elif held[one] < 0.5:
        words = (
            f"{name} lies elsewhere in the picture" if named else f"{name} lies in that part of the picture"
        )
    elif noticed_share[one] < 0.5 * chance[one]:
        words = f"{name} is too far off to be told" if named else f"{name} is near enough to be told"
    else:
        words = f"{name} hardly shows" if named else f"{name} shows plainly"
    thing = int(rows[one])
    return Fact(
        words,
        float(chance[one]),
        "probability of being seen",
        place(thing, weighing),
        _bearing(glance, thing),
        absent=True,
    )


def place(thing: int, weighing: Weighing) -> shapely.Geometry:
    """Where it is on the map."""
    return weighing.things.frame.geometry.iloc[thing]


def _bearing(glance: Glance, thing: int) -> float:
    return float(glance.things.middle_deg[thing])


def side_words(right_deg: float) -> str:
    """Where something lies from the picture's middle."""
    if abs(right_deg) < 3.0:
        return "in the middle"
    return f"{abs(right_deg):.0f} degrees {'right' if right_deg > 0 else 'left'} of the middle"


def from_middle(glance: Glance, thing: int, weighing: Weighing, direction: int) -> float:
    """Middle of the part of a thing in the picture, from the picture's own middle; right positive."""
    left = float(glance.things.left_deg[thing] - weighing.framing.heading_deg[direction])
    left = (left + 180.0) % 360.0 - 180.0
    right = left + float(glance.things.width_deg[thing])
    half = weighing.framing.width_deg / 2.0
    if right > 180.0 and left > half:  # it reaches in from the left, round the back
        left, right = left - 360.0, right - 360.0
    inside = max(left, -half), min(right, half)
    return (inside[0] + inside[1]) / 2.0 if inside[0] <= inside[1] else (left + right) / 2.0


def seen_fact(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """Whether it shows, and from how near."""
    what = statement.values["what"]
    one, chance = likeliest(what, statement.part, glance, weighing, direction)
    if chance < SHOWS_FROM:
        return absent(what, statement.part, glance, weighing, direction)
    nearest_m = float(glance.things.nearest_m[one])
    name = a(what, weighing)
    side = side_words(from_middle(glance, one, weighing, direction))
    words = f"{name} shows at {rough_distance_words(nearest_m)}, {side}"
    if nearest_m > float(statement.values.get("within_m", np.inf)):
        words += f": farther than the {rough_distance_words(float(statement.values['within_m']))} told"
    return Fact(
        words,
        nearest_m,
        "m on the grid",
        place(one, weighing),
        _bearing(glance, one),
    )


def height_words(angle_deg: float) -> str:
    """Word for a vertical angle."""
    if abs(angle_deg) <= LEVEL_DEG:
        return "level with us"
    much = "well" if abs(angle_deg) > WELL_DEG else "a little"
    return f"{much} {'above' if angle_deg > 0 else 'below'} us"


def height_fact(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """How high it stands."""
    what = statement.values["what"]
    one, chance = likeliest(what, statement.part, glance, weighing, direction)
    if chance < SHOWS_FROM:
        return absent(what, statement.part, glance, weighing, direction)
    angle, difference = float(glance.things.vertical_deg[one]), float(glance.things.height_difference_m[one])
    words = f"{the(what, weighing)} stands {height_words(angle)} ({angle:+.1f} degrees, {difference:+.0f} m)"
    return Fact(words, angle, "degrees above level", place(one, weighing), _bearing(glance, one))


def sky_fact(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """Whether it stands against the sky."""
    what = statement.values["what"]
    one, chance = likeliest(what, statement.part, glance, weighing, direction)
    if chance < SHOWS_FROM:
        return absent(what, statement.part, glance, weighing, direction)
    below = float(glance.things.below_sky_deg[one])
    name = the(what, weighing)
    if below <= 0.25:
        words = f"{name} stands against the sky"
    else:
        words = f"{name} lies below the skyline, by {below:.1f} degrees"
    return Fact(words, below, "degrees below the skyline", place(one, weighing), _bearing(glance, one))


def number_fact(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """How many show."""
    what = statement.values["what"]
    chances = shown(what, statement.part, glance, weighing.framing, weighing.things, weighing.observer)[
        direction
    ]
    count = float(chances.sum())
    rows = weighing.things.rows(what)[chances >= SHOWS_FROM]
    shapes = [place(int(row), weighing) for row in rows]
    return Fact(
        f"about {count:.0f} of the kind {what} show",
        count,
        "expected number",
        shapely.geometrycollections(shapes) if shapes else None,
        None,
    )


def comes_down_fact(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """To which side it comes down."""
    what = statement.values["what"]
    one, chance = likeliest(what, statement.part, glance, weighing, direction)
    falls = float(glance.things.falls_right_deg[one])
    if chance < SHOWS_FROM:
        return absent(what, statement.part, glance, weighing, direction)
    if not np.isfinite(falls):
        return Fact(
            f"{the(what, weighing)} comes down to neither side",
            geometry=place(one, weighing),
            bearing_true_deg=_bearing(glance, one),
        )
    side = "right" if falls > 0 else "left"
    return Fact(
        f"{the(what, weighing)} comes down to the {side}, over {abs(falls):.0f} degrees",
        falls,
        "degrees to the right",
        place(one, weighing),
        _bearing(glance, one),
    )


def bearing_fact(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """On which bearing it lies."""
    what = statement.values["what"]
    rows = weighing.things.rows(what)
    one = int(rows[int(np.argmax(glance.things.chance[rows]))])
    if glance.things.chance[one] < SHOWS_FROM:
        return Fact(
            f"{the(what, weighing)} is out of view",
            geometry=place(one, weighing),
            bearing_true_deg=_bearing(glance, one),
            absent=True,
        )
    true_deg = _bearing(glance, one)
    return Fact(
        f"{the(what, weighing)} lies on {round(true_deg) % 360} degrees true",
        true_deg,
        "degrees from true north",
        place(one, weighing),
        true_deg,
    )
