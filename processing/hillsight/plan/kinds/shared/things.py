"""What a place shows of things: the likeliest to be meant, where it lies, why it does not show."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.arrays import known_or
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField
from hillsight.reading.doubt.trust import Limits
from hillsight.words.angles import signed_deg
from hillsight.words.english import with_article

if TYPE_CHECKING:
    import shapely

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.kind import Case
    from hillsight.plan.look.things import Things

WHAT = SightingField("what", "text", "a name on the map, or a kind such as knoll, tarn or wall", needed=True)
OTHER = SightingField("other", "text", "the other thing, named likewise", needed=True)
SPREAD_DEG = SightingField(
    "give_or_take_deg", "number", "how far it may be out", least=0.01, most=90, unit="degrees"
)

SHOWS_FROM = 0.3
"""Chance of showing in the picture below which a thing is said not to show."""


def definite(what: str, things: Things) -> str:
    """A name as it is, a kind as one already spoken of."""
    return what if things.is_named(what) else f"the {what}"


def indefinite(what: str, things: Things) -> str:
    """A name as it is, a kind with its article."""
    return what if things.is_named(what) else with_article(what)


def likeliest(case: Case, what: str, part: str | None = None) -> tuple[int, float]:
    """The thing of that name or kind likeliest to be meant, and its chance of showing in a part."""
    chances = case.shown(what, part)[case.direction]
    best = int(np.argmax(chances))
    return int(case.rows(what)[best]), float(chances[best])


def place(case: Case, thing: int) -> shapely.Geometry:
    """Where it is on the map."""
    return case.things.frame.geometry.iloc[thing]


def bearing_deg(case: Case, thing: int) -> float:
    """True bearing of its middle."""
    return float(case.glance.things.middle_deg[thing])


def fact_of(case: Case, thing: int, words: str, figure: float | None = None, unit: str = "") -> Fact:
    """A fact about one thing."""
    return Fact(words, figure, unit, place(case, thing), bearing_deg(case, thing))


def is_uncertain(case: Case, thing: int) -> bool:
    """Whether a bearing list calls it uncertain: it may be seen, and may not, by the error model."""
    return Limits().state_word(float(case.glance.things.chance[thing])) == "uncertain"


def out_of_view(case: Case, what: str, thing: int) -> str:
    """That a thing is out of view, as flatly as a bearing list says it; or why that cannot be judged."""
    seen, rows = case.glance.things, case.rows(what)
    if not seen.judged[rows].any():
        return _not_judged(what, case.things.is_named(what), seen.nearest_m[rows], case.glance.reach_m)
    name = what if case.things.is_named(what) else f"no {what}"
    if not is_uncertain(case, thing):
        return f"{name} is {'out of' if case.things.is_named(what) else 'in'} view"
    return f"{name} may be out of view" if case.things.is_named(what) else f"perhaps {name} is in view"


def _not_judged(what: str, named: bool, nearest_m: Floats, reach_m: float) -> str:
    """Why nobody can say whether a thing is seen."""
    if (nearest_m > reach_m).all():
        return f"{what} lies beyond the reach" if named else f"no {what} lies within the reach"
    return f"{what if named else f'no {what}'} can{'not' if named else ''} be judged, for want of terrain"


def absent(case: Case, what: str, part: str | None = None) -> Fact:
    """That a thing does not show in a part of the picture, and why: of several, of the one nearest to it."""
    named = case.things.is_named(what)
    held, whole = (
        case.in_part(what, name)[case.direction] for name in (part or case.statement.part, "anywhere")
    )
    rows = case.rows(what)
    chance = known_or(case.glance.things.chance[rows], 0.0)
    noticed = case.noticed(what)
    one = int(np.argmax(held * (noticed + 1e-3 * chance + 1e-6) + 1e-6 * noticed))
    name = what if named else f"no {what}"
    if chance[one] < 0.5:
        words = out_of_view(case, what, int(rows[one]))
    elif whole[one] < 0.5:
        words = f"{name} lies outside the picture" if named else f"{name} lies in the picture"
    elif held[one] < 0.5:
        words = (
            f"{name} lies elsewhere in the picture" if named else f"{name} lies in that part of the picture"
        )
    elif noticed[one] < 0.5 * chance[one]:
        words = f"{name} is too far off to be told" if named else f"{name} is near enough to be told"
    else:
        words = f"{name} hardly shows" if named else f"{name} shows plainly"
    thing = int(rows[one])
    return Fact(
        words,
        float(chance[one]),
        "probability of being seen",
        place(case, thing),
        bearing_deg(case, thing),
        absent=True,
    )


def side_words(right_deg: float) -> str:
    """Where something lies from the picture's middle."""
    if abs(right_deg) < 3.0:
        return "in the middle"
    return f"{abs(right_deg):.0f} degrees {'right' if right_deg > 0 else 'left'} of the middle"


def from_middle(case: Case, thing: int) -> float:
    """Middle of the part of a thing in the picture, from the picture's own middle; right positive."""
    left = float(signed_deg(case.glance.things.left_deg[thing] - case.heading_deg))
    right = left + float(case.glance.things.width_deg[thing])
    half = case.framing.width_deg / 2.0
    if right > 180.0 and left > half:  # it reaches in from the left, round the back
        left, right = left - 360.0, right - 360.0
    inside = max(left, -half), min(right, half)
    return (inside[0] + inside[1]) / 2.0 if inside[0] <= inside[1] else (left + right) / 2.0
