"""Many lines at once: how far along each its places lie, and places at given lengths along them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats, Integers


@dataclass(frozen=True)
class Bundle:
    """Lines one after another.

    places : (n, 2) easting and northing
    starts : (lines + 1,) where each begins, and where the last ends
    along_m : (n,) length of its line up to each place, along the ground plan
    """

    places: Floats
    starts: Integers
    along_m: Floats

    @classmethod
    def of(cls, lines: Sequence[Floats]) -> Bundle:
        """A bundle of lines, each (n, 2 or more) with at least one place."""
        starts = starts_of(lines)
        places = np.concatenate([line[:, :2] for line in lines]) if lines else np.empty((0, 2))
        steps_m = np.zeros(len(places))
        if len(places) > 1:
            steps_m[1:] = np.hypot(*np.diff(places, axis=0).T)
        along_m = np.empty(len(places))
        _add_up(steps_m, starts, along_m)
        return cls(np.ascontiguousarray(places, np.float64), starts, along_m)

    @property
    def length_m(self) -> Floats:
        """(lines,) length of each."""
        return self.along_m[self.starts[1:] - 1]

    def places_at(self, along_m: Floats) -> Floats:
        """Places at lengths along each line, (lines, k) metres: (lines, k, 2); beyond an end, that end."""
        found = np.empty((*along_m.shape, 2))
        _interpolate(self.places, self.starts, self.along_m, np.ascontiguousarray(along_m), found)
        return found

    def middles(self) -> Floats:
        """(lines, 2) easting and northing half-way along each."""
        return self.places_at(self.length_m[:, None] / 2)[:, 0]


def starts_of(lines: Sequence[Floats] | Sequence[Integers]) -> Integers:
    """Where each of several arrays begins once they are joined, and where the last one ends."""
    return np.concatenate([[0], np.cumsum([len(line) for line in lines])]).astype(np.int64)


@compiled
def _add_up(steps_m: Floats, starts: Integers, along_m: Floats) -> None:
    """Sum of the steps up to each place; the step to a line's first place does not count."""
    for line in range(starts.size - 1):
        total = 0.0
        for k in range(starts[line], starts[line + 1]):
            if k > starts[line]:
                total += steps_m[k]
            along_m[k] = total


@compiled
def _interpolate(places: Floats, starts: Integers, along_m: Floats, at_m: Floats, found: Floats) -> None:
    for line in range(starts.size - 1):
        first, last = starts[line], starts[line + 1] - 1
        for k in range(at_m.shape[1]):
            at = at_m[line, k]
            low, high = first, last + 1
            while high - low > 1:  # the last place that is not beyond
                middle = (low + high) // 2
                if along_m[middle] <= at:
                    low = middle
                else:
                    high = middle
            for axis in range(2):
                here = places[low, axis]
                if low == last or at <= along_m[low]:
                    found[line, k, axis] = here
                else:
                    slope = (places[low + 1, axis] - here) / (along_m[low + 1] - along_m[low])
                    found[line, k, axis] = slope * (at - along_m[low]) + here
