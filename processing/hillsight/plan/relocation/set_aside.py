"""Statements that say less exactly what was measured on the photograph are set aside, not counted twice.

A trace measures the sky's edge, so what is said of its shape, in the part that was traced, is no news. Marks
measure where landmarks lie in the picture, so what is said of the places of marked things among each other is
none. What stays: that a thing is seen or stands against the sky, brows, dead ground, and a direction told by
compass, which no mark tells.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.vocabulary import PARTS
from hillsight.words.english import folded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats
    from hillsight.plan.statement import Statement

#: What says how the sky's edge runs.
OF_THE_SKYLINE = ("skyline", "skyline_points", "skyline_end", "humps", "high_and_low")

#: What says where things lie in the picture.
OF_MARKED_THINGS = ("order", "relation", "angle", "height", "two_heights", "vertical_angle")

#: A part of the picture counts as traced if so much of it is.
_TRACED_FROM = 0.5

#: A trace's points lie no farther apart than this, as a share of the picture's width, or it has a gap there.
_GAP = 0.05


def set_aside(
    statements: Sequence[Statement], traced: Sequence[Floats], width_px: float, marked: Sequence[str]
) -> Flags:
    """Which statements are set aside, (s,).

    Parameters
    ----------
    traced : pieces of the trace, pixels right of the picture's left side; marked : names of marked things
    """
    names = {folded(name) for name in marked if name}
    found = [
        _measures_skyline(statement, traced, width_px)
        if statement.kind in OF_THE_SKYLINE
        else statement.kind in OF_MARKED_THINGS and _all_marked(statement, names)
        for statement in statements
    ]
    return np.array(found, bool)


def _measures_skyline(statement: Statement, traced: Sequence[Floats], width_px: float) -> bool:
    """Whether the part that a statement is about was traced."""
    left, right = (edge + 0.5 for edge in PARTS[statement.part])
    at = np.linspace(left, right, 61)
    covered = np.zeros(at.size, bool)
    for x_px in traced:
        shares = np.sort(np.asarray(x_px, np.float64)) / width_px
        if shares.size < 2:
            continue
        covered |= (at >= shares[0]) & (at <= shares[-1])
        for first, last in pairwise(shares):
            if last - first > 4 * _GAP:
                covered &= ~((at > first + _GAP) & (at < last - _GAP))
    return bool(covered.mean() >= _TRACED_FROM)


def _all_marked(statement: Statement, names: set[str]) -> bool:
    return bool(statement.things) and all(folded(what) in names for what in statement.things)
