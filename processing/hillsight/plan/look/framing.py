"""The picture laid over the bearings round a place: where its parts lie for each direction it may look."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.arrays import known_or
from hillsight.plan.look.glance import BEARINGS, STEP_DEG
from hillsight.plan.vocabulary import PARTS
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Integers


#: Directions that a picture may look in, degrees apart.
HEADING_STEP_DEG = 2.0

#: Directions farther off than so many standard deviations are not weighed.
_SIGMAS = 3.5


@dataclass(frozen=True)
class Framing:
    """Directions that a picture may look in, and how wide it is.

    heading_deg : (h,) true bearings of its middle, whole multiples of HEADING_STEP_DEG
    prior : (h,) their chances before anything is said, adding up to one
    width_deg : between its sides
    edge_share : standard deviation of where a part of the picture ends, as a share of its width
    """

    heading_deg: Floats
    prior: Floats
    width_deg: float
    edge_share: float

    @classmethod
    def of(
        cls, looks_true_deg: float | None, give_or_take_deg: float, width_deg: float, edge_share: float
    ) -> Framing:
        """All directions where none is given, else those near it, by a normal spread."""
        every = np.arange(0.0, 360.0, HEADING_STEP_DEG)
        if looks_true_deg is None:
            return cls(every, np.full(every.size, 1.0 / every.size), width_deg, edge_share)
        spread_deg = float(np.hypot(give_or_take_deg, HEADING_STEP_DEG / 2))
        off_deg = signed_deg(every - looks_true_deg)
        kept = np.abs(off_deg) <= max(_SIGMAS * spread_deg, HEADING_STEP_DEG)
        weight = np.exp(-0.5 * (off_deg[kept] / spread_deg) ** 2)
        # In order across north too.
        order = np.argsort(off_deg[kept])
        return cls(every[kept][order], weight[order] / weight.sum(), width_deg, edge_share)

    def wider(self, times: float) -> Framing:
        """The same directions with a picture so many times as wide."""
        return replace(self, width_deg=min(self.width_deg * times, 360.0))

    def edges_deg(self, part: str) -> tuple[float, float]:
        """Left and right edge of a part, degrees from the picture's middle."""
        left, right = PARTS[part]
        return left * self.width_deg, right * self.width_deg

    def bearings(self, part: str) -> Integers:
        """Indices of the bearings in a part for each heading, (h, k), from left to right."""
        return self._bearings[part]

    @cached_property
    def _bearings(self) -> dict[str, Integers]:
        found = {}
        middle = np.rint(self.heading_deg / STEP_DEG).astype(np.int64)
        for part in PARTS:
            left, right = (int(np.rint(edge / STEP_DEG)) for edge in self.edges_deg(part))
            across = np.arange(left, max(right, left + 1), dtype=np.int64)
            found[part] = (middle[:, None] + across[None, :]) % BEARINGS
        return found

    def share_of(self, bearings: Flags) -> float:
        """What share of the picture bearings of some sort take up, over the directions it may look in.

        Parameters
        ----------
        bearings : (BEARINGS,) whether each is one
        """
        return float(self.prior @ bearings[self.bearings("anywhere")].mean(axis=1))

    def holds(self, part: str, left_deg: Floats, width_deg: Floats) -> Floats:
        """Chance that an observer puts things into a part, (h, m); soft at its edges.

        Parameters
        ----------
        left_deg, width_deg : (m,) true bearing of each thing's left edge, and its width
        """
        begins, ends = self.edges_deg(part)
        if ends - begins >= 360.0:
            return np.ones((self.heading_deg.size, left_deg.size))
        middle, half = (begins + ends) / 2.0, (ends - begins) / 2.0
        # Where it comes nearest to the middle of the part.
        start = signed_deg(left_deg[None, :] - self.heading_deg[:, None] - middle)
        stop = start + width_deg[None, :]
        over = ((start <= 0) & (stop >= 0)) | (stop >= 360.0)
        off = np.where(over, 0.0, np.fmin(np.abs(start), np.abs(signed_deg(stop))))
        spread = max(self.edge_share * self.width_deg, 0.5)
        inside: Floats = special.ndtr((half - off) / spread) * special.ndtr((half + off) / spread)
        return known_or(inside, 0.0)
