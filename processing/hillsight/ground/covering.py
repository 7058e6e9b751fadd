"""What a terrain asks of whatever knows its cover."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from hillsight.arrays import Floats32
    from hillsight.ground.cover import Cover
    from hillsight.ground.grid import Grid


class Covering(Protocol):
    """Whatever tells the cover of any part of a terrain's posts, the same for each post whatever the part."""

    def on(self, grid: Grid, height_m: Floats32) -> Cover:
        """The cover of some posts, whose bare ground has these heights."""
