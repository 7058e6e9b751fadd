"""How well statements about the ground itself fit a place: brows, dead ground, skylines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.plan.vocabulary import DEAD_GROUND, DISTANCES, SLOPES

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.observer import Observer
    from hillsight.plan.statement import Statement


#: A brow farther off than this is none of the near ground: who says there is no brow has not looked so far.
BROW_WITHIN_M = 1_500.0

#: A rise or fall of the skyline smaller than this, in degrees and as a share of the width of its part, is
#: flat. Common practice, no source.
_FLAT_DEG, _FLAT_SHARE = 0.4, 0.02

#: Traced points tell at most so many separate things: a skyline is smooth.
_MOST_POINTS = 3


def brow_fit(statement: Statement, glance: Glance, framing: Framing, observer: Observer) -> Floats:
    """Chance that an observer who looks each way would say this of the near ground, (h,)."""
    at = framing.bearings(statement.part)
    values = statement.values
    brow_m = glance.brow_m[at]
    near = np.isfinite(brow_m) & (brow_m <= BROW_WITHIN_M)
    fit = np.ones(at.shape[0])
    if values.get("distance") == "none":
        return np.asarray((~near).mean(axis=1), np.float64)
    across = near.copy()
    along = np.ones(at.shape)
    if "distance_m" in values:
        along = _log_kernel(brow_m, float(values["distance_m"]), observer.distance_log)
    elif "distance" in values:
        along = _between_log(brow_m, DISTANCES[values["distance"]], observer.distance_log)
        across = np.isfinite(brow_m)
    share = _mean(np.where(across, along, 0.0))
    fit = share
    if values.get("across") == "some":
        # Of all or next to nothing nobody says some; of a half anybody may.
        fit = np.minimum(2.0 * share, 1.0) * np.minimum(2.0 * (1.0 - across.mean(axis=1)), 1.0)
    for key, slope in (("slope_before", glance.before_deg), ("slope_beyond", glance.beyond_deg)):
        if key in values:
            one = _slope(slope[at], values[key], observer.slope_deg)
            fit = fit * _mean_where(one, np.isfinite(slope[at]), 0.05)
    return np.asarray(fit, np.float64)


def dead_ground_fit(statement: Statement, glance: Glance, framing: Framing, observer: Observer) -> Floats:
    """Chance that an observer would say this of the ground behind the nearest brow, (h,)."""
    at = framing.bearings(statement.part)
    values = statement.values
    brow_m, out_m = glance.brow_m[at], glance.out_again_m[at]
    hidden_m = np.where(np.isfinite(brow_m), out_m - brow_m, 0.0)
    fit = np.ones(at.shape[0])
    if "extent_m" in values:
        fit = fit * _mean(_log_kernel(hidden_m, float(values["extent_m"]), 1.5 * observer.distance_log))
    elif "extent" in values:
        # How far ground goes on out of sight is judged worse than distances that are seen.
        fit = fit * _mean(_between_log(hidden_m, DEAD_GROUND[values["extent"]], 1.5 * observer.distance_log))
    if "beyond" in values:
        brow = np.isfinite(brow_m)
        again = brow & np.isfinite(out_m)
        if values["beyond"] == "nothing":
            fit = fit * _mean_where((~again).astype(float), brow, 0.5)
        else:
            one = np.where(again, _slope(glance.again_deg[at], values["beyond"], observer.slope_deg), 0.0)
            fit = fit * _mean_where(one, brow, 0.05)
    return np.asarray(fit, np.float64)


def skyline_fit(statement: Statement, glance: Glance, framing: Framing, observer: Observer) -> Floats:
    """Chance that an observer would call the skyline so, (h,)."""
    at = framing.bearings(statement.part)
    left, right, top, bottom, spread = skyline_figures(glance.skyline_deg[at])
    width_deg = framing.edges_deg(statement.part)[1] - framing.edges_deg(statement.part)[0]
    flat = max(_FLAT_DEG, _FLAT_SHARE * width_deg)
    sigma = observer.skyline_deg
    ends_low, ends_high = np.minimum(left, right), np.maximum(left, right)
    scores = {
        "pointed": top - ends_high,
        "saddle": ends_low - bottom,
        "falls right": left - right,
        "falls left": right - left,
    }
    if statement.values["shape"] == "flat":
        return np.asarray(special.ndtr((1.5 * flat - spread) / sigma), np.float64)
    score = scores[statement.values["shape"]]
    fit = special.ndtr((score - flat) / sigma)
    if statement.values["shape"].startswith("falls"):
        # A hump or a dip in the middle that outweighs the fall is what would be told.
        hump = np.maximum(top - ends_high, ends_low - bottom)
        fit = fit * special.ndtr((score - hump) / sigma)
    return np.asarray(fit, np.float64)


def skyline_figures(skyline_deg: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Level of the left and of the right end, highest and lowest of the middle, and whole range, each (h,).

    Ends are means of a sixth of the width, the middle is the half between the quarters.

    Parameters
    ----------
    skyline_deg : (h, k) vertical angles from left to right
    """
    angles = np.nan_to_num(skyline_deg, nan=-5.0)
    k = angles.shape[1]
    sixth, quarter = max(1, k // 6), k // 4
    left, right = angles[:, :sixth].mean(axis=1), angles[:, k - sixth :].mean(axis=1)
    middle = angles[:, quarter : max(k - quarter, quarter + 1)]
    return left, right, middle.max(axis=1), middle.min(axis=1), np.ptp(angles, axis=1)


def skyline_points_fit(statement: Statement, glance: Glance, framing: Framing, observer: Observer) -> Floats:
    """How well traced points lie along the skyline, whatever the level they are counted from, (h,)."""
    points = np.asarray(statement.values["points"], np.float64)
    sigma = float(statement.values.get("give_or_take_deg", observer.trace_deg))
    bearing = framing.heading_deg[:, None] + points[None, :, 0]
    step = 360.0 / glance.skyline_deg.size
    angles = np.nan_to_num(glance.skyline_deg, nan=-5.0)
    at = np.interp(bearing % 360.0, np.arange(angles.size + 1) * step, np.r_[angles, angles[0]])
    off = at - points[None, :, 1]
    off = off - off.mean(axis=1, keepdims=True)
    each = (off**2).mean(axis=1) / sigma**2
    return np.asarray(np.exp(-0.5 * each * min(len(points) - 1, _MOST_POINTS)), np.float64)


def _between_log(values: Floats, bounds: tuple[float, float], sigma: float) -> Floats:
    """Chance that a distance is judged to lie between two, the logarithm being judged; NaN gives 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(np.maximum(values, 0.5))
        low = -np.inf if bounds[0] <= 0 else float(np.log(bounds[0]))
        high = float(np.log(bounds[1])) if np.isfinite(bounds[1]) else np.inf
        chance = special.ndtr((high - logs) / sigma) - special.ndtr((low - logs) / sigma)
    chance = np.where(np.isposinf(values), float(not np.isfinite(bounds[1])), chance)
    return np.asarray(np.nan_to_num(chance, nan=0.0), np.float64)


def _log_kernel(values: Floats, told: float, sigma: float) -> Floats:
    """How well a distance fits one told, 1 at best; NaN and inf give 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        off = (np.log(np.maximum(values, 0.5)) - np.log(told)) / sigma
        return np.asarray(np.nan_to_num(np.exp(-0.5 * off**2), nan=0.0), np.float64)


def _slope(slope_deg: Floats, word: str, sigma: float) -> Floats:
    """Chance that a slope is called so."""
    low, high = SLOPES[word]
    low, high = (-np.inf if low <= -90 else low), (np.inf if high >= 90 else high)
    # Steeper ground is judged worse in proportion.
    spread = sigma * np.maximum(0.5, np.minimum(np.abs(slope_deg) / 12.0, 1.5))
    with np.errstate(invalid="ignore"):
        chance = special.ndtr((high - slope_deg) / spread) - special.ndtr((low - slope_deg) / spread)
    return np.asarray(np.nan_to_num(chance, nan=0.0), np.float64)


def _mean(values: Floats) -> Floats:
    return np.asarray(values.mean(axis=1), np.float64)


def _mean_where(values: Floats, there: Flags, otherwise: float) -> Floats:
    """Mean of each row over the bearings that count; a figure of its own where none does."""
    count = there.sum(axis=1)
    total = np.where(there, values, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), otherwise)
