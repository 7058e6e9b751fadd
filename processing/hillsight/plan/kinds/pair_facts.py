"""What a place shows of two or more things: their order, how one stands to the other, the angle between."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely

from hillsight.plan.kinds.thing_facts import (
    SHOWS_FROM,
    absent,
    from_middle,
    likeliest,
    place,
    the,
)
from hillsight.plan.verdict import Fact
from hillsight.words.quantities import rough_distance_words

if TYPE_CHECKING:
    from hillsight.plan.kinds.weigh import Weighing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Statement


def order_fact(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """The things that show, from left to right."""
    found = []
    for what in statement.values["things"]:
        one, chance = likeliest(what, statement.part, glance, weighing, direction)
        if chance < SHOWS_FROM:
            return absent(what, statement.part, glance, weighing, direction)
        found.append((from_middle(glance, one, weighing, direction), the(what, weighing), one))
    found.sort(key=lambda each: each[0])
    return Fact(
        "from left to right stand " + ", ".join(name for _, name, _ in found),
        found[-1][0] - found[0][0],
        "degrees between first and last",
        shapely.geometrycollections([place(one, weighing) for _, _, one in found]),
        None,
    )


def _two(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> tuple[int, int] | Fact:
    what, other = statement.values["what"], statement.values["other"]
    one, chance = likeliest(what, statement.part, glance, weighing, direction)
    if chance < SHOWS_FROM:
        return absent(what, statement.part, glance, weighing, direction)
    two, chance = likeliest(other, "anywhere", glance, weighing, direction)
    if chance < SHOWS_FROM:
        return absent(other, "anywhere", glance, weighing, direction)
    if one == two:
        return Fact(f"{the(what, weighing)} and {the(other, weighing)} are one thing", absent=True)
    return one, two


def relation_fact(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """How the one stands to the other."""
    both = _two(statement, glance, weighing, direction)
    if isinstance(both, Fact):
        return both
    one, two = both
    seen = glance.things
    offset = float((seen.middle_deg[one] - seen.middle_deg[two] + 180.0) % 360.0 - 180.0)
    gap = abs(offset) - float(seen.width_deg[one] + seen.width_deg[two]) / 2.0
    name, other = the(statement.values["what"], weighing), the(statement.values["other"], weighing)
    lines = shapely.geometrycollections([place(one, weighing), place(two, weighing)])
    bearing = float(seen.middle_deg[one])
    if gap > 0.0:
        side = "right" if offset > 0 else "left"
        words = f"{name} stands {gap:.1f} degrees {side} of {other}"
        return Fact(words, offset, "degrees to the right", lines, bearing)
    nearer_m = float(seen.distance_m[two] - seen.distance_m[one])
    words = (
        f"{name} stands {'in front of' if nearer_m > 0 else 'behind'} {other}, "
        f"{rough_distance_words(abs(nearer_m))} {'nearer' if nearer_m > 0 else 'farther'}"
    )
    return Fact(words, nearer_m, "m nearer", lines, bearing)


def angle_fact(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """The angle between their middles."""
    both = _two(statement, glance, weighing, direction)
    if isinstance(both, Fact):
        return both
    one, two = both
    middle = glance.things.middle_deg
    apart = abs(float((middle[two] - middle[one] + 180.0) % 360.0 - 180.0))
    name, other = the(statement.values["what"], weighing), the(statement.values["other"], weighing)
    return Fact(
        f"{name} and {other} stand {apart:.0f} degrees apart",
        apart,
        "degrees",
        shapely.geometrycollections([place(one, weighing), place(two, weighing)]),
        float((middle[one] + ((middle[two] - middle[one] + 180.0) % 360.0 - 180.0) / 2.0) % 360.0),
    )
