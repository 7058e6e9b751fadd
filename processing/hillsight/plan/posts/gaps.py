"""What no post sees of a course, how long runners are out of sight, and when they pass each post.

All along the course in running order, laps and ground run over again included. Lengths are metres on the
grid, times minutes after the first runner's start.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError
from hillsight.plan.posts.hill_pace import tobler_minutes

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.plan.posts.course import Stretches


@dataclass(frozen=True)
class Unseen:
    """Course that no post sees, without a break.

    from_m, to_m : from the start, of all laps
    share : of the whole course's length
    weight : the largest of its stretches; reasons : why they are dangerous, each once, in running order
    """

    from_m: float
    to_m: float
    share: float
    weight: float
    reasons: tuple[str, ...]

    @property
    def length_m(self) -> float:
        """Metres on the grid."""
        return self.to_m - self.from_m


@dataclass(frozen=True)
class Runner:
    """One whose times are wanted.

    min_per_km : on the flat, minutes for a kilometre on the grid
    leaves_min : when the start is left
    """

    min_per_km: float
    leaves_min: float = 0.0

    def __post_init__(self) -> None:
        if not 0.0 < self.min_per_km <= 1000.0:
            raise CallError(
                f"nobody runs a kilometre in {self.min_per_km:g} minutes",
                where="paces",
                remedy="Give minutes for a kilometre on the flat, such as 6",
            )
        if not 0.0 <= self.leaves_min <= 100_000.0:
            raise CallError(
                f"a start {self.leaves_min:g} minutes after the first runner's makes no sense",
                where="paces",
                remedy="Give minutes, 0 or more",
            )


@dataclass(frozen=True)
class HandoverGap:
    """A time out of sight, between the post that loses a runner and the one that finds them.

    post_before, post_after : indices of posts; None before the first is reached, and after the last
    from_m, to_m : from the start, of all laps
    minutes : out of sight, (runners,) in the order in which they were given
    leaves_min, comes_min : (runners,) when sight is lost, and found
    """

    post_before: int | None
    post_after: int | None
    from_m: float
    to_m: float
    minutes: Floats
    leaves_min: Floats
    comes_min: Floats


@dataclass(frozen=True)
class Passing:
    """When runners pass a post: at the place nearest to it of those that it sees.

    along_m : from the start, of the first run over that place and of the last
    away_m : of that place from the post, on the grid
    first_min : (runners,) at the first run over it; last_min : at the last
    """

    along_m: tuple[float, float]
    away_m: float
    first_min: Floats
    last_min: Floats


def unseen_stretches(stretches: Stretches, seen: Flags) -> tuple[Unseen, ...]:
    """What no post sees, in running order.

    seen : (posts, pieces)
    """
    hidden = ~seen.any(axis=0)[stretches.piece]
    whole_m = float(stretches.length_m.sum())
    found = []
    for first, last in runs(hidden):
        some = slice(first, last + 1)
        length_m = float(stretches.length_m[some].sum())
        reasons = dict.fromkeys(reason for reason in stretches.reason[some] if reason)
        found.append(
            Unseen(
                float(stretches.from_m[first]),
                float(stretches.to_m[last]),
                length_m / whole_m,
                float(stretches.weight[some].max()),
                tuple(reasons),
            )
        )
    return tuple(found)


def minutes_at_ends(stretches: Stretches, runner: Runner, rise_m: Floats | None = None) -> Floats:
    """When a runner is at the start of each stretch, and at the end of the last: (n + 1,) minutes.

    rise_m : (n,) how much the ground rises along each stretch, as it is run; the pace then changes with the
        slope as Tobler's function has it, and holds on the flat. None for the same pace everywhere
    """
    minutes = stretches.length_m / 1000.0 * runner.min_per_km
    if rise_m is not None:
        flat = tobler_minutes(stretches.length_m, np.zeros(stretches.length_m.size))
        minutes = minutes * tobler_minutes(stretches.length_m, rise_m) / flat
    return runner.leaves_min + np.concatenate(([0.0], np.cumsum(minutes)))


def handover_gaps(stretches: Stretches, seen: Flags, at_ends_min: Floats) -> tuple[HandoverGap, ...]:
    """Times out of sight, in running order; the longest is for the caller to pick.

    Parameters
    ----------
    seen : (posts, pieces)
    at_ends_min : (runners, n + 1) as ``minutes_at_ends`` tells them
    """
    along = seen[:, stretches.piece]
    found = []
    for first, last in runs(~along.any(axis=0)):
        before = _keeper(along, first - 1, -1)
        after = _keeper(along, last + 1, 1)
        leaves, comes = at_ends_min[:, first], at_ends_min[:, last + 1]
        found.append(
            HandoverGap(
                before,
                after,
                float(stretches.from_m[first]),
                float(stretches.to_m[last]),
                comes - leaves,
                leaves,
                comes,
            )
        )
    return tuple(found)


def passings(
    stretches: Stretches, seen: Flags, easting_m: Floats, northing_m: Floats, at_ends_min: Floats
) -> tuple[Passing | None, ...]:
    """When runners pass each post; None for a post that sees nothing of the course.

    Parameters
    ----------
    seen : (posts, pieces)
    easting_m, northing_m : (posts,) where they stand
    at_ends_min : (runners, n + 1) as ``minutes_at_ends`` tells them
    """
    first = stretches.first
    middles_m = stretches.easting_m[first], stretches.northing_m[first]
    found: list[Passing | None] = []
    for sees, east_m, north_m in zip(seen, easting_m, northing_m, strict=True):
        if not sees.any():
            found.append(None)
            continue
        away_m = np.where(sees, np.hypot(middles_m[0] - east_m, middles_m[1] - north_m), np.inf)
        nearest = int(np.argmin(away_m))
        runs = np.flatnonzero(stretches.piece == nearest)
        once, again = int(runs[0]), int(runs[-1])
        middle_m = (stretches.from_m + stretches.to_m) / 2.0
        middle_min = (at_ends_min[:, :-1] + at_ends_min[:, 1:]) / 2.0
        found.append(
            Passing(
                (float(middle_m[once]), float(middle_m[again])),
                float(away_m[nearest]),
                middle_min[:, once],
                middle_min[:, again],
            )
        )
    return tuple(found)


def runs(flags: Flags) -> list[tuple[int, int]]:
    """First and last of each run of flags that are set."""
    edges = np.diff(np.concatenate(([0], flags.astype(np.int8), [0])))
    ends = np.flatnonzero(edges == -1) - 1
    return [(int(a), int(b)) for a, b in zip(np.flatnonzero(edges == 1), ends, strict=True)]


def _keeper(along: Flags, at: int, step: int) -> int | None:
    """Of the posts that see a stretch the one that has seen, or will see, the runner longest from there.

    along : (posts, stretches); step : -1 looks back from there, 1 ahead
    """
    if not 0 <= at < along.shape[1]:
        return None
    sees = along[:, at:] if step > 0 else along[:, at::-1]
    long = np.where(sees.all(axis=1), sees.shape[1], np.argmin(sees, axis=1))
    return int(np.argmax(long))
