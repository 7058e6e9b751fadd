"""States of ground and of map features, and the codes that stand for them in rasters."""

from __future__ import annotations

from enum import IntEnum


class GroundState(IntEnum):
    """Codes of a viewshed raster; the same words are the states of the bearing list."""

    BEYOND = 0
    HIDDEN = 1
    UNCERTAIN = 2
    VISIBLE = 3
    UNKNOWN = 4


GROUND_STATE_MEANINGS = {
    GroundState.BEYOND: "not asked about: beyond the reach, outside the sector or within the inner distance",
    GroundState.HIDDEN: "dead ground: the sight line meets nearer ground",
    GroundState.UNCERTAIN: "could be either within the error model",
    GroundState.VISIBLE: "seen from the station's eye",
    GroundState.UNKNOWN: "the sight line or the place itself is on a void or off the terrain",
}
