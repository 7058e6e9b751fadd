"""Chances that what is judged by eye is said so: distances, slopes, angles, one of many."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.arrays import known_or

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.plan.kinds.shared.kind import Case


def any_of(chances: Floats) -> Floats:
    """Chance that at least one holds, each by itself, (h, m) to (h,)."""
    none: Floats = np.prod(1.0 - np.clip(chances, 0.0, 1.0), axis=1)
    return 1.0 - none


def said_of(fits: Floats, what: str, case: Case) -> Floats:
    """Chance that it is said, from the chance that there is such a thing: others may be taken for it."""
    noticing = case.observer.noticing[case.things.evidence_class(what)]
    some: Floats = noticing.told_if_not + (noticing.told_if_shown - noticing.told_if_not) * fits
    return some


def missed(fits: Floats, what: str, case: Case) -> Floats:
    """Chance that it is said to be absent, from the chance that it is there."""
    noticing = case.observer.noticing[case.things.evidence_class(what)]
    some: Floats = noticing.missed_if_not + (noticing.missed_if_shown - noticing.missed_if_not) * fits
    return some


def between_log(values: Floats, bounds: tuple[float, float], sigma: float) -> Floats:
    """Chance that a distance is judged to lie between two, the logarithm being judged; NaN gives 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(np.maximum(values, 0.5))
        low = -np.inf if bounds[0] <= 0 else float(np.log(bounds[0]))
        high = float(np.log(bounds[1])) if np.isfinite(bounds[1]) else np.inf
        chance = special.ndtr((high - logs) / sigma) - special.ndtr((low - logs) / sigma)
    chance = np.where(np.isposinf(values), float(not np.isfinite(bounds[1])), chance)
    return known_or(chance, 0.0)


def near_log(values: Floats, given: float, sigma: float) -> Floats:
    """How well a distance fits one given, 1 at best; NaN and inf give 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        off = (np.log(np.maximum(values, 0.5)) - np.log(given)) / sigma
        return known_or(np.exp(-0.5 * off**2), 0.0)


def called_slope(slope_deg: Floats, bounds: tuple[float, float], sigma: float) -> Floats:
    """Chance that a slope is called by the word for slopes between two."""
    low, high = bounds
    low, high = (-np.inf if low <= -90 else low), (np.inf if high >= 90 else high)
    # Steeper ground is judged worse in proportion.
    spread = sigma * np.maximum(0.5, np.minimum(np.abs(slope_deg) / 12.0, 1.5))
    with np.errstate(invalid="ignore"):
        chance = special.ndtr((high - slope_deg) / spread) - special.ndtr((low - slope_deg) / spread)
    return known_or(chance, 0.0)


def mean_across(values: Floats) -> Floats:
    """Mean of each row."""
    return np.asarray(values.mean(axis=1), np.float64)


def mean_where(values: Floats, there: Flags, otherwise: float) -> Floats:
    """Mean of each row over the bearings that count; a figure of its own where none does."""
    count = there.sum(axis=1)
    total = np.where(there, values, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), otherwise)
