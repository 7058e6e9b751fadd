"""Room for the numbers of landmarks: over their marks, higher up where that is taken; plain geometry."""

from __future__ import annotations

from dataclasses import dataclass, field

from hillsight.sheets.paper.labels import Box

#: Pixels between a mark's middle and its number, between rows of numbers, and around boxes.
_CLEAR, _ROW_GAP, _GAP = 6.0, 3.0, 2.0
_MOST_ROWS = 14
#: A number may stand so far to the side of its mark, in its own widths.
_SIDES = (0.0, -0.6, 0.6, -0.9, 0.9)


@dataclass(frozen=True)
class Numbered:
    """A number's place: its box, and the leader from it to the mark (None where it stands close by)."""

    box: Box
    leader: tuple[tuple[float, float], tuple[float, float]] | None


@dataclass
class NumberPlacer:
    """Places numbers one after the other; what is placed first has the better choice.

    bounds : numbers stay inside, pixels with y upwards
    taken : boxes that they keep off
    """

    bounds: Box
    taken: list[Box] = field(default_factory=list)
    _leaders: list[Box] = field(default_factory=list)

    def keep_off(self, x: float, y: float, half: float) -> None:
        """Keep numbers off a mark."""
        self.taken.append(Box(x - half, y - half, x + half, y + half))

    def place(self, x: float, y: float, width: float, height: float) -> Numbered | None:
        """Room for a number over a mark; None where there is none."""
        for row in range(_MOST_ROWS):
            bottom = y + _CLEAR + row * (height + _ROW_GAP)
            # Close by, a number may stand well to the side; farther up it needs a leader, all but upright.
            for side in _SIDES if row == 0 else _SIDES[:3]:
                left = x - width / 2 + side * width
                left = min(max(left, self.bounds.left), self.bounds.right - width)
                box = Box(left, bottom, left + width, bottom + height)
                found = self._fits(box, x, y)
                if found is not None:
                    return found
        for row in range(4):  # under the mark, where the frame leaves no room above
            top = y - _CLEAR - row * (height + _ROW_GAP)
            left = min(max(x - width / 2, self.bounds.left), self.bounds.right - width)
            found = self._fits(Box(left, top - height, left + width, top), x, y)
            if found is not None:
                return found
        return None

    def _fits(self, box: Box, x: float, y: float) -> Numbered | None:
        if not box.within(self.bounds):
            return None
        own = Box(x - 7, y - 7, x + 7, y + 7)
        others = [other for other in self.taken if not _same(other, x, y)]
        if any(box.overlaps(other, _GAP) for other in others):
            return None
        if any(box.overlaps(other, 0.5) for other in self._leaders):
            return None
        leader = None
        if not box.overlaps(own, 4.0):
            above = box.bottom > y
            end = ((box.left + box.right) / 2, box.bottom - 1 if above else box.top + 1)
            start = (x, y + 5 if above else y - 5)
            line = Box(
                min(start[0], end[0]) - 0.5, min(start[1], end[1]), max(start[0], end[0]) + 0.5,
                max(start[1], end[1]),
            )  # fmt: skip
            if any(line.overlaps(other) for other in others):
                return None
            leader = (start, end)
            self._leaders.append(line)
        self.taken.append(box)
        return Numbered(box, leader)


def _same(box: Box, x: float, y: float) -> bool:
    """Whether a box is that of the mark itself."""
    return abs((box.left + box.right) / 2 - x) < 0.01 and abs((box.bottom + box.top) / 2 - y) < 0.01
