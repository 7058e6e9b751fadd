"""Places by pieces: who sees what, with all taken out that cannot matter."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import sparse

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Flags, Floats, Integers

#: Shares of the whole worth that are taken to be alike: rounding errors of sums.
ALIKE = 1e-9


@dataclass(frozen=True)
class Table:
    """Places, pieces and what a piece is worth each time that it is seen.

    seen : (places, pieces) float64, 1 where a place sees a piece
    worth : (pieces,) > 0, for each time that a piece is seen, up to ``times``
    times : (pieces,) 1, or 2 where a second post is worth as much again
    place : (places,) the caller's index of each
    effort : (places,) >= 0, of manning each
    """

    seen: sparse.csr_array
    worth: Floats
    times: Floats
    place: Integers
    effort: Floats

    @classmethod
    def of(cls, seen: Flags, worth: Floats, times: Floats, place: Integers, effort: Floats) -> Table:
        """What is left when pieces of no worth or seen by none, and what is alike, are taken out or merged.

        Of places that see the same pieces as many stay as may be worth having, those of least effort first.
        """
        matters = (worth > 0) & (times > 0) & seen.any(axis=0)
        columns = np.flatnonzero(matters)
        kept, which = _first_alike(seen[:, columns].T, times[columns])
        merged = np.bincount(which, weights=worth[columns], minlength=kept.size)
        columns = columns[kept]
        table = cls(
            sparse.csr_array(seen[:, columns], dtype=np.float64),
            merged,
            times[columns].astype(np.float64),
            np.asarray(place, np.int64),
            np.asarray(effort, np.float64),
        )
        return table._without_alike_places(seen[:, columns])

    @property
    def whole(self) -> float:
        """What all places together see."""
        return self.cover(np.arange(self.place.size))

    @property
    def tolerance(self) -> float:
        """Differences of worth that are nothing but rounding."""
        return ALIKE * max(float(self.worth @ self.times), 1e-300)

    def counts(self, chosen: Integers) -> Floats:
        """How many of some places see each piece, (pieces,)."""
        starts, pieces = self.seen.indptr, self.seen.indices
        seen = [pieces[starts[place] : starts[place + 1]] for place in chosen]
        together = np.concatenate(seen) if seen else np.empty(0, np.int64)
        return np.bincount(together, minlength=self.worth.size).astype(np.float64)

    def cover(self, chosen: Integers) -> float:
        """What some places see together."""
        return float(self.worth @ np.minimum(self.counts(chosen), self.times))

    def gains(self, counts: Floats) -> Floats:
        """What each place would add, (places,), where pieces are seen so often already."""
        found: Floats = self.seen @ np.where(counts < self.times, self.worth, 0.0)
        return found

    def only(self, kept: Flags | Integers) -> Table:
        """Some of the places, with what is alike merged again."""
        chosen = np.flatnonzero(kept) if kept.dtype == np.bool_ else kept
        some = self.seen[chosen].astype(bool).toarray()
        return Table.of(some, self.worth, self.times, self.place[chosen], self.effort[chosen])

    def rows_of(self, places: Integers) -> Integers:
        """Where places of the caller's stand here; those that do not are left out."""
        at = {int(p): k for k, p in enumerate(self.place)}
        return np.array([at[int(p)] for p in places if int(p) in at], np.int64)

    def undominated(self, *, spare_effort: bool) -> Table:
        """Without places for which another sees all that they see, and more.

        Where some pieces are worth seeing twice, a place goes only if two others see all that it sees.
        Nothing that can be reached with a number of posts is lost.

        spare_effort : whether a place stays if those that see more take more effort
        """
        packed = np.packbits(self.seen.astype(bool).toarray(), axis=1)
        starts, pieces = self.seen.indptr, self.seen.indices
        sizes = np.diff(starts)
        turned = self.seen.T.tocsr()
        seers = np.diff(turned.indptr)
        beaten = np.zeros(self.place.size, np.int64)
        for place in range(self.place.size):
            own = pieces[starts[place] : starts[place + 1]]
            # Whoever sees all that this place sees, sees the piece of it that fewest see.
            rarest = own[np.argmin(seers[own])]
            others = turned.indices[turned.indptr[rarest] : turned.indptr[rarest + 1]]
            before = (sizes[others] > sizes[place]) | ((sizes[others] == sizes[place]) & (others < place))
            if spare_effort:
                before &= self.effort[others] <= self.effort[place]
            others = others[before]
            beaten[place] = ((packed[others] & packed[place]) == packed[place]).all(axis=1).sum()
        deep = int(self.times.max(initial=1.0))
        if (beaten < deep).all():
            return self
        return self.only(beaten < deep)

    def _without_alike_places(self, seen: Flags) -> Table:
        """Of places with the same row as many as pieces are worth seeing times; none that sees nothing."""
        order = np.lexsort((self.place, self.effort))
        _, which = _first_alike(seen[order], np.zeros(order.size))
        copies = int(self.times.max(initial=1.0))
        rank = np.zeros(order.size, np.int64)
        by_group = np.argsort(which, kind="stable")
        starts = np.flatnonzero(np.diff(which[by_group], prepend=-1))
        lengths = np.diff(np.append(starts, order.size))
        rank[by_group] = np.arange(order.size) - np.repeat(starts, lengths)
        keep = np.zeros(order.size, bool)
        keep[order] = rank < copies
        keep &= seen.any(axis=1)
        rows = np.flatnonzero(keep)
        return replace(
            self, seen=sparse.csr_array(self.seen[rows]), place=self.place[rows], effort=self.effort[rows]
        )


def _first_alike(rows: Flags, besides: Floats) -> tuple[Integers, Integers]:
    """The first of each set of rows alike, in order, and to which of these each row belongs.

    besides : (rows,) small whole numbers that must be alike too
    """
    packed: Bytes = np.packbits(rows, axis=1)
    packed = np.ascontiguousarray(np.column_stack((packed, besides.astype(np.uint8))))
    keys = packed.view(np.dtype((np.void, packed.shape[1]))).ravel()
    _, first, which = np.unique(keys, return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")
    place_of = np.empty(order.size, np.int64)
    place_of[order] = np.arange(order.size)
    return first[order].astype(np.int64), place_of[which.ravel()]
