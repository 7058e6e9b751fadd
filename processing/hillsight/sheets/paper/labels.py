"""Placing labels so that none overlaps another or leaves the frame: plain geometry in pixels, no drawing."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from math import hypot
from typing import TYPE_CHECKING

from hillsight.words.marks import marks_shown

if TYPE_CHECKING:
    from collections.abc import Sequence

# Where a label may stand about its mark, best first: (across, up) as shares of its width and height.
_ABOUT = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))
_LINK_STEPS = (1.0, 1.7)
_INSET = 3.0  # pixels that a label starts left of its leader


@dataclass(frozen=True)
class Box:
    """Upright rectangle, pixels, y upwards."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        """Pixels across."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Pixels up."""
        return self.top - self.bottom

    def overlaps(self, other: Box, gap: float = 0.0) -> bool:
        """Whether the two come nearer than ``gap`` pixels to each other."""
        return (
            self.left < other.right + gap
            and other.left < self.right + gap
            and self.bottom < other.top + gap
            and other.bottom < self.top + gap
        )

    def within(self, other: Box) -> bool:
        """Whether this box lies inside the other one, edges included."""
        return (
            self.left >= other.left
            and self.right <= other.right
            and self.bottom >= other.bottom
            and self.top <= other.top
        )


@dataclass
class Placer:
    """Finds room for labels one after the other; what is placed first has the better choice.

    Parameters
    ----------
    bounds : labels stay inside
    taken : boxes that labels keep off; grows with every label placed
    gap : least pixels between labels
    """

    bounds: Box
    taken: list[Box] = field(default_factory=list)
    gap: float = 2.0

    def beside(self, x: float, y: float, width: float, height: float, clear: float) -> Box | None:
        """Room for a label about a mark at (x, y), or None where there is none.

        Parameters
        ----------
        width, height : of the label
        clear : least distance from the mark's centre; farther places are tried when the near ones are taken
        """
        for step in _LINK_STEPS:
            away = clear * step
            for across, up in _ABOUT:
                diagonal = away / hypot(across, up)
                middle_x = x + across * (width / 2 + diagonal)
                middle_y = y + up * (height / 2 + diagonal)
                box = Box(
                    middle_x - width / 2, middle_y - height / 2, middle_x + width / 2, middle_y + height / 2
                )
                if self.free(box):
                    self.taken.append(box)
                    return box
        return None

    def free(self, box: Box) -> bool:
        """Whether a box lies inside the bounds and off everything that is placed."""
        return box.within(self.bounds) and not any(box.overlaps(other, self.gap) for other in self.taken)


def rows_above(
    anchors_x: Sequence[float],
    widths: Sequence[float],
    height: float,
    bounds: Box,
    *,
    gap: float = 4.0,
    all_or_none: bool = False,
) -> list[Box | None]:
    """Place labels in rows above their marks, with room for a leader straight up from each mark to its label.

    A label starts over its mark and runs to the right, in the lowest row that is free there. One that would
    run out of the bounds ends at their right edge instead, in the highest free row, so that it covers no
    mark to its left. No leader crosses a label. Labels choose from right to left, whatever their order here.

    Parameters
    ----------
    anchors_x : pixels across of each mark
    widths, height : of the labels, pixels
    bounds : the band for the rows
    gap : least pixels between labels, and between a label and a leader
    all_or_none : stop at the first label without room and place none

    Returns
    -------
    one box a label, or None where no row has room
    """
    step = height + gap / 2
    rows = max(0, int((bounds.height - height) // step) + 1)
    placed: list[Box | None] = [None] * len(widths)
    boxes: list[Box] = []
    leaders: list[tuple[float, float]] = []  # x, and how high it goes
    for i in sorted(range(len(widths)), key=lambda i: (-anchors_x[i], i)):
        x, width = anchors_x[i], widths[i]
        left = min(x - _INSET, bounds.right - width)
        order = range(rows) if left == x - _INSET else range(rows - 1, -1, -1)
        for row in order:
            bottom = bounds.bottom + row * step
            box = Box(left, bottom, left + width, bottom + height)
            if (
                box.within(bounds)
                and not any(box.overlaps(other, gap - 0.01) and box.bottom == other.bottom for other in boxes)
                and not any(_crosses(x, bottom, other, gap) for other in boxes)
                and not any(_crosses(lx, top, box, gap) for lx, top in leaders)
            ):
                placed[i] = box
                boxes.append(box)
                leaders.append((x, bottom))
                break
        if all_or_none and placed[i] is None:
            return [None] * len(widths)
    return placed


def spread(places: Sequence[float], least: float) -> list[float]:
    """Places moved apart as little as it takes for neighbours to be ``least`` apart; order is kept.

    Pools of places that are too near each other are laid out evenly about their mean.
    """
    order = sorted(range(len(places)), key=lambda i: (places[i], i))
    pools: list[list[int]] = []
    middles: list[float] = []

    def half(pool: list[int]) -> float:
        return (len(pool) - 1) / 2 * least

    for i in order:
        pools.append([i])
        middles.append(places[i])
        while len(pools) > 1 and middles[-1] - half(pools[-1]) < middles[-2] + half(pools[-2]) + least:
            joined = pools[-2] + pools[-1]
            pools[-2:] = [joined]
            middles[-2:] = [sum(places[j] for j in joined) / len(joined)]
    moved = [0.0] * len(places)
    for pool, middle in zip(pools, middles, strict=True):
        for k, i in enumerate(pool):
            moved[i] = middle - half(pool) + k * least
    return moved


def _crosses(x: float, top: float, box: Box, gap: float) -> bool:
    """Whether a leader from below up to ``top`` runs through a box."""
    return box.left - gap < x < box.right + gap and box.bottom < top


def drawable(text: object, most: int, known: frozenset[int] | None = None) -> str:
    """A name as one short line that the font can draw.

    Signs that act become their numbers, line breaks spaces, and runs of characters that the font lacks one □;
    what is longer than ``most`` characters ends in an ellipsis. None and blank give "".

    Parameters
    ----------
    text : any text, or None or NaN
    most : characters >= 2
    known : code points that the font has; None for any
    """
    if not isinstance(text, str):
        return ""
    kept = []
    for character in unicodedata.normalize("NFC", marks_shown(text)):
        kind = unicodedata.category(character)
        # Joiners and variation selectors draw nothing of their own.
        if kind == "Cf" or 0xFE00 <= ord(character) <= 0xFE0F:
            continue
        if kind[0] in "CZ":
            kept.append(" ")
        elif known is not None and ord(character) not in known:
            kept.append("" if kind == "Mn" else "□")
        else:
            kept.append(character)
    line = re.sub(r"□(?: ?□)+", "□", re.sub(r" +", " ", "".join(kept))).strip()
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"
