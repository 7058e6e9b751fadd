"""What stands on the ground, on the drawing of a section: woods, other cover, walls and hedges."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.reading.section.cover_along import cover_along
from hillsight.sheets.paper import palette
from hillsight.sheets.paper.page import LINES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from hillsight.reading.section.profile import Section

_EDGE: dict[str, Any] = {"edgecolor": palette.MAN_MADE, "linewidth": 0.5}
_PATCHES: dict[bool, dict[str, Any]] = {
    True: {"facecolor": palette.VIEW_WOODS, "alpha": 0.45, **_EDGE},
    False: {"facecolor": palette.VIEW_WOODS, **_EDGE},
}
_WORDS = {True: "leafy wood, lets some sight pass", False: "cover that lets no sight pass"}
_SCREEN: dict[str, Any] = {"color": palette.MAN_MADE, "linewidth": 2.2}
_SCREEN_WORDS = "wall, hedge or other screen"


def draw_cover(axes: Axes, section: Section) -> None:
    """Cover above the ground of a section; nothing where nothing is known of it."""
    along = cover_along(section)
    if along is None:
        return
    samples = section.samples
    for passes, style in _PATCHES.items():
        here = (along.tall_m > 0) & ((along.passes > 0) == passes)
        # A rise or fall to bare ground beside it belongs to it.
        beside = here | np.r_[here[1:], False] | np.r_[False, here[:-1]]
        tall_m = np.where(here, along.tall_m, 0.0)
        axes.fill_between(
            samples.grid_m, samples.lowered_m, samples.lowered_m + tall_m, where=beside, zorder=1.8, **style
        )
    for away_m, tall_m in along.screens_m.tolist():
        foot_m = section.lowered_m(away_m)
        axes.plot([away_m, away_m], [foot_m, foot_m + tall_m], zorder=3.1, **LINES, **_SCREEN)


def cover_signs(section: Section) -> list[tuple[str, bool, dict[str, Any]]]:
    """Words, whether it is a line, and style of what a legend must tell of the cover drawn."""
    along = cover_along(section)
    if along is None or not along.stands:
        return []
    stands = along.tall_m > 0
    found = [
        (_WORDS[passes], False, style)
        for passes, style in _PATCHES.items()
        if (stands & ((along.passes > 0) == passes)).any()
    ]
    return found + [(_SCREEN_WORDS, True, _SCREEN)] * bool(len(along.screens_m))


def blocked_at(section: Section) -> int:
    """Number of samples before, and just beyond, what first blocks the line to a hidden target."""
    samples, line, along = section.samples, section.line, cover_along(section)
    assert line is not None
    over_m = line.level_m - samples.lowered_m - (0.0 if along is None else along.tall_m)
    blocked = np.flatnonzero(over_m[1:-1] < 0) + 1
    stop = int(blocked[0]) if blocked.size else samples.grid_m.size - 1
    if along is not None:
        for away_m, tall_m in along.screens_m.tolist():
            level_m = float(np.interp(away_m, samples.grid_m, line.level_m))
            if level_m < section.lowered_m(away_m) + tall_m:
                stop = min(stop, int(np.searchsorted(samples.grid_m, away_m)))
                break
    return stop + 1
