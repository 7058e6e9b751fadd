"""The chance that some of a thing is seen: the one place that answers it, whole and at a glance.

A thing is judged by samples of it. Each is seen with a chance (``doubt``), and the chances go together
(``doubt_shares``); of the samples some are chosen, as what may show first counts most. A bearing list takes
its time. A glance leaves things alone that are seen or hidden beyond doubt, and looks at fewer samples of the
others, by the same errors and the same rule.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from hillsight.sight.doubt import on_terrain, targets_of
from hillsight.sight.doubt_shares import ShareSeen, any_of_samples, seen_of_feature

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.sight.doubt import Doubtful

#: Samples of a thing whose chances are worked out: as many spread evenly, and as many of those likeliest to
#: be seen.
_SAMPLES = 24

#: Samples of each thing that a glance looks at first, and those that it looks about if they leave a doubt.
_FIRST, _ABOUT = 3, 6

#: Samples whose chances are worked out together: more would need much memory, fewer more calls.
_AT_ONCE = 512

#: Chances beyond which a glance takes a thing to be hidden or seen: below what is told of any.
_HIDDEN, _SEEN = 0.004, 0.985


@dataclass(frozen=True)
class ThingSamples:
    """Samples of m things, one thing after another; each array (n,) but ``starts``.

    row, column : fractional places on the lattice
    height_m : above the ground
    weight : share of its thing that each stands for; 0 on an area's outline
    near : within the reach
    clearance_m : of the terrain taken at its word, as in ``sight.points.PointSight``
    starts : (m + 1,) where each thing's samples begin, and the end
    """

    row: Floats
    column: Floats
    height_m: Floats
    weight: Floats
    near: Flags
    clearance_m: Floats
    starts: Integers

    def __len__(self) -> int:
        return self.starts.size - 1

    def of(self, thing: int) -> Integers:
        """Indices of a thing's samples."""
        return np.arange(self.starts[thing], self.starts[thing + 1])


@dataclass(frozen=True)
class ChancesOfThings:
    """How much of m things is seen, each array (m,).

    chance : that anything is; NaN of what lies beyond the reach, and where voids leave it unknown
    low, high : between which the seen share lies with a probability of 95 %; NaN at a glance
    """

    chance: Floats
    low: Floats
    high: Floats


class Closer(Protocol):
    """Looks closer at things than their samples do."""

    def __call__(self, about: Sequence[tuple[int, Integers]]) -> ThingSamples:
        """Samples of some things, in order, that stand about some of their samples; weights do not matter."""


def seen_of_things(doubtful: Doubtful, samples: ThingSamples) -> ChancesOfThings:
    """The chance that anything of each thing is seen, and the share of it that is."""
    found = np.full((3, len(samples)), np.nan)
    judged = _judged(samples)
    if not judged.size:
        return ChancesOfThings(*found)
    asked: list[tuple[Integers, Floats]] = []
    for thing in judged:
        at = samples.of(int(thing))
        chosen, weight = evenly_and_best(samples.near[at], samples.clearance_m[at], samples.weight[at])
        asked.append((at[chosen], weight))
    chances = _all_chances(doubtful, samples, [at for at, _ in asked])
    for thing, (at, weight), chance in zip(judged, asked, chances, strict=True):
        share = _beyond_doubt(chance, weight)
        if share is None:
            share = seen_of_feature(
                doubtful, samples.row[at], samples.column[at], samples.height_m[at], weight
            )
        found[:, thing] = share.any_seen, share.low, share.high
    return ChancesOfThings(*found)


def _all_chances(doubtful: Doubtful, samples: ThingSamples, asked: Sequence[Integers]) -> list[Floats]:
    """The chance of each sample asked about, thing by thing; NaN where it is not known."""
    at = np.concatenate(asked)
    targets = targets_of(samples.row[at], samples.column[at], samples.height_m[at])
    inside = on_terrain(doubtful.grid, targets)
    chance = np.full(at.size, np.nan)
    asked_of = np.flatnonzero(inside)
    for part in np.split(asked_of, np.arange(_AT_ONCE, asked_of.size, _AT_ONCE)):
        chance[part] = doubtful.chances(targets[part]).chance
    return np.split(chance, np.cumsum([one.size for one in asked])[:-1])


def _beyond_doubt(chance: Floats, weight: Floats) -> ShareSeen | None:
    """What ``seen_of_feature`` says of a thing whose known samples are all seen or hidden for certain."""
    known = np.isfinite(chance)
    seen, weight = chance[known], weight[known]
    if not known.any() or ((seen > 0.0) & (seen < 1.0)).any():
        return None
    share = float(seen @ (weight / weight.sum())) if weight.sum() > 0 else float(seen.mean())
    return ShareSeen(share, share, share, float(seen.max()), float(seen.max()))


def seen_at_a_glance(doubtful: Doubtful, samples: ThingSamples, closer: Closer) -> ChancesOfThings:
    """The same at a fraction of the work, from samples that stand far apart; without shares.

    Within 0.05 of ``seen_of_things`` for 95 in 100 things in doubt (tests/plan/test_chances_at_a_glance.py).
    """
    chance = np.full(len(samples), np.nan)
    judged = _judged(samples)
    chance[judged] = 0.0
    first = _best_of_each(samples, judged, _FIRST)
    owner = np.searchsorted(samples.starts, first, side="right") - 1
    targets = targets_of(samples.row[first], samples.column[first], samples.height_m[first])
    np.fmax.at(chance, owner, doubtful.chances(targets).chance)
    counts = np.diff(samples.starts)
    left = judged[(counts[judged] > 1) & (chance[judged] >= _HIDDEN) & (chance[judged] <= _SEEN)]
    if left.size:
        about = [(int(thing), _best(samples, int(thing))) for thing in left]
        asked = _asked_closely(samples, left, closer(about))
        together = doubtful.chances(np.concatenate(asked), blaming=True)
        ends = np.cumsum([len(targets) for targets in asked])
        for thing, targets, end in zip(left, asked, ends, strict=True):
            own = together.some(slice(end - len(targets), end))
            chance[thing] = np.fmax(any_of_samples(doubtful, targets, own), chance[thing])
    nothing = np.full(len(samples), np.nan)
    return ChancesOfThings(chance, nothing, nothing)


def _judged(samples: ThingSamples) -> Integers:
    """Things that something can be said of: within the reach, and seen or hidden by known ground."""
    near = samples.near
    with np.errstate(invalid="ignore"):
        seen, unknown = near & (samples.clearance_m >= 0), near & np.isnan(samples.clearance_m)
    any_near, any_seen, any_unknown = (_any(what, samples.starts) for what in (near, seen, unknown))
    return np.flatnonzero(any_near & (any_seen | ~any_unknown))


def _any(what: Flags, starts: Integers) -> Flags:
    total = np.concatenate(([0], np.cumsum(what)))
    return np.asarray(total[starts[1:]] > total[starts[:-1]])


def _best_of_each(samples: ThingSamples, things: Integers, most: int) -> Integers:
    """Indices of the samples within the reach with the greatest clearance, up to so many of each thing."""
    owner = np.repeat(np.arange(len(samples)), np.diff(samples.starts))
    known = samples.near & ~np.isnan(samples.clearance_m) & np.isin(owner, things)
    at = np.flatnonzero(known)
    order = at[np.lexsort((-samples.clearance_m[at], owner[at]))]
    begins = np.searchsorted(owner[order], np.arange(len(samples)))
    best: Integers = order[np.arange(order.size) - begins[owner[order]] < most]
    return best


def _best(samples: ThingSamples, thing: int) -> Integers:
    """The samples of a thing about which a glance looks closer."""
    at = samples.of(thing)
    clearance_m = np.nan_to_num(samples.clearance_m[at], nan=-np.inf)
    order = np.argsort(-np.where(samples.near[at], clearance_m, -np.inf), kind="stable")
    return at[order[:_ABOUT]]


def _asked_closely(samples: ThingSamples, things: Integers, closer: ThingSamples) -> list[Floats]:
    """Targets (k, 3) that stand for each thing in doubt: spread over it, and about what shows first."""
    found = []
    for number, thing in enumerate(things):
        at = samples.of(int(thing))
        chosen, weight = evenly_and_best(samples.near[at], samples.clearance_m[at], samples.weight[at])
        spread = at[chosen[weight > 0]] if chosen.size > _SAMPLES else at[chosen]
        at = closer.of(number)
        at = at[closer.near[at] & ~np.isnan(closer.clearance_m[at])]
        best = at[np.argsort(-closer.clearance_m[at], kind="stable")[:_SAMPLES]]
        found.append(
            np.unique(
                [
                    (all_of.row[i], all_of.column[i], all_of.height_m[i])
                    for all_of, chosen in ((samples, spread), (closer, best))
                    for i in chosen
                ],
                axis=0,
            )
        )
    return found


def evenly_and_best(near: Flags, clearance_m: Floats, weight: Floats) -> tuple[Integers, Floats]:
    """Indices of the samples within the reach to look at, and the weight that each stands for.

    Shares rest on samples spread evenly over what the terrain as it is shows, hides and leaves unknown, so
    that of each as much is kept as there is. Those likeliest to be seen are added for the chance that
    anything is seen, without weight.
    """
    within = np.flatnonzero(near)
    if within.size <= 2 * _SAMPLES:
        return within, weight[within]
    weight = weight if weight[within].any() else np.ones_like(weight)
    whole = float(weight[within].sum())
    kept = np.zeros(weight.size)
    with np.errstate(invalid="ignore"):
        states = near & (clearance_m >= 0), near & (clearance_m < 0), near & np.isnan(clearance_m)
    for state in states:
        members = np.flatnonzero(state & (weight > 0))
        if not members.size:
            continue
        upto = np.cumsum(weight[members])
        count = max(1, round(_SAMPLES * float(upto[-1]) / whole))
        middles = (np.arange(count) + 0.5) / count * upto[-1]
        np.add.at(kept, members[np.searchsorted(upto, middles)], upto[-1] / count)
    clearance = np.nan_to_num(clearance_m[within], nan=-np.inf)
    best = within[np.argsort(-clearance, kind="stable")[:_SAMPLES]]
    chosen = np.union1d(np.flatnonzero(kept), best)
    return chosen, kept[chosen]
