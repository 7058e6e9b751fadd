"""Whether what is in view is noticed: from far off small things are passed over."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.things import Things
    from hillsight.plan.observer import Observer


def noticed(what: str, glance: Glance, things: Things, observer: Observer) -> Floats:
    """Chance that each thing of that name or kind is seen and noticed, (m,)."""
    rows, seen = things.rows(what), glance.things
    within_m = observer.noticing[things.evidence_class(what)].plain_within_m
    # Of a long thing the near end is noticed first.
    distance_m = np.fmin(seen.nearest_m[rows], seen.distance_m[rows])
    plain = 1.0 / (1.0 + (distance_m / within_m) ** 4)
    return np.nan_to_num(seen.chance[rows] * plain)
