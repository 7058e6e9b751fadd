"""What a plan of posts comes to: the posts in running order, and what they see of the course."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.posts.gaps import (
    HandoverGap,
    Passing,
    Runner,
    Unseen,
    handover_gaps,
    minutes_at_ends,
    passings,
    unseen_stretches,
)

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.plan.posts.choosing import Choice
    from hillsight.plan.posts.course import Course, Stretches
    from hillsight.plan.posts.drawn import Drawn
    from hillsight.plan.posts.manned import MannedPosts
    from hillsight.plan.posts.meeting import PairAnswer
    from hillsight.plan.posts.plan import PostsPlan

CAUTIONS = (
    "This is a plan aid. Terrain, vegetation and weather differ from any model: look from each post before "
    "the event.",
    "The safety plan, local rules, land access and qualified leaders decide.",
)
"""Stands on every output."""


@dataclass(frozen=True, eq=False)
class Outcome:
    """All of it.

    seen : (posts, pieces) what each post sees, by the terrain as it is
    chance : (pieces,) that any post sees a runner there, by draws that they share
    heads_share : share of the weighed course over which the heads of the tallest runners show
    share_range : mean share of the weighed course seen, and between what it lies in nine draws of ten
    at_ends_min : (2, stretches + 1) minutes after the start at which the first and the last runner are at
        the start of each stretch, and at the end of the last
    """

    plan: PostsPlan
    course: Course
    stretches: Stretches
    posts: MannedPosts
    choice: Choice
    seen: Flags
    chance: Floats
    heads_share: float
    share_range: tuple[float, float, float]
    at_ends_min: Floats
    unseen: tuple[Unseen, ...]
    gaps: tuple[HandoverGap, ...]
    passings: tuple[Passing | None, ...]
    pairs: tuple[PairAnswer, ...]

    @classmethod
    def of(
        cls,
        plan: PostsPlan,
        course: Course,
        stretches: Stretches,
        posts: MannedPosts,
        choice: Choice,
        seen: Flags,
        heads: Flags,
        drawn: Drawn,
        rise_m: Floats,
        pairs: tuple[PairAnswer, ...],
    ) -> Outcome:
        """All that follows from the choice.

        Parameters
        ----------
        seen : (posts, pieces), in running order of the posts, and so ``drawn``
        heads : likewise, whether the head of the tallest runner shows
        rise_m : (stretches,) how much the ground rises along each
        """
        paces = plan.paces
        runners = Runner(paces.first_min_per_km), Runner(paces.last_min_per_km, paces.last_start_min)
        at_ends_min = np.stack([minutes_at_ends(stretches, runner, rise_m) for runner in runners])
        gaps = handover_gaps(stretches, seen, at_ends_min)
        weight_m = stretches.piece_weight_m()
        return cls(
            plan,
            course,
            stretches,
            posts,
            choice,
            seen,
            drawn.of_any(),
            float(weight_m[heads.any(axis=0)].sum() / weight_m.sum()),
            drawn.of_share(weight_m),
            at_ends_min,
            unseen_stretches(stretches, seen),
            gaps,
            passings(stretches, seen, posts.easting_m, posts.northing_m, at_ends_min),
            pairs,
        )

    @cached_property
    def along(self) -> Flags:
        """(posts, stretches) what each post sees, in running order."""
        return self.seen[:, self.stretches.piece]

    @property
    def unseen_share(self) -> float:
        """Share of the course's length that no post sees."""
        return sum(one.share for one in self.unseen)

    @property
    def seen_share(self) -> float:
        """Share of the weighed course that any post sees, by the terrain as it is."""
        weight_m = self.stretches.piece_weight_m()
        return float(weight_m[self.seen.any(axis=0)].sum() / weight_m.sum())

    @property
    def longest_gap(self) -> HandoverGap | None:
        """The one in which the last runner is out of sight for longest."""
        return max(self.gaps, key=lambda gap: float(gap.minutes[1]), default=None)

    @property
    def is_short(self) -> bool:
        """Whether less is seen than is wanted, or a pair does not reach each other."""
        wanted = self.plan.wanted.share
        short = wanted is not None and self.choice.covered_share < wanted - 1e-9
        return short or not all(pair.is_met for pair in self.pairs)

    def stretches_of(self, from_m: float, to_m: float) -> slice:
        """The stretches between two places along the course that are ends of stretches."""
        first = int(np.searchsorted(self.stretches.from_m, from_m - 1e-6))
        return slice(first, int(np.searchsorted(self.stretches.to_m, to_m + 1e-6)))

    def seers(self, stretch: int) -> list[str]:
        """Names of the posts that see a stretch, in running order."""
        return [self.posts.name[k] for k in np.flatnonzero(self.along[:, stretch])]

    def own_shares(self) -> Floats:
        """(posts,) share of the weighed course that each alone sees."""
        weight_m = self.stretches.piece_weight_m()
        alone = self.seen.sum(axis=0) == 1
        return np.array([weight_m[alone & seen].sum() for seen in self.seen]) / weight_m.sum()

    def in_sight_min(self, post: int) -> tuple[float, float] | None:
        """When the first runner comes into a post's sight and the last leaves it; None if it sees nothing."""
        seen = np.flatnonzero(self.along[post])
        if seen.size == 0:
            return None
        return float(self.at_ends_min[0, seen[0]]), float(self.at_ends_min[1, seen[-1] + 1])
