"""All the ground of a terrain file that may stand against the sky, read once for all stations."""

from __future__ import annotations

from functools import lru_cache
from math import sqrt
from typing import TYPE_CHECKING

from hillsight.ground.terrain import MOST_POSTS
from hillsight.sight.far_sky import FarGround

if TYPE_CHECKING:
    from hillsight.ground.terrain import Terrain

#: So few posts short of the most that are held, that a window's own margins fit in.
_SPARE_POSTS = 16


def far_ground(terrain: Terrain, easting_m: float, northing_m: float) -> FarGround:
    """The ground about a place as far as the file goes, or as far as it can be held.

    Raises
    ------
    TerrainError : the file cannot be read
    """
    if terrain.grid.rows * terrain.grid.columns <= MOST_POSTS:
        return _whole(terrain)
    side_m = (sqrt(MOST_POSTS) - _SPARE_POSTS) * min(terrain.spacing_x_m, terrain.spacing_y_m)
    return FarGround.of(terrain.window(easting_m, northing_m, side_m / 2.0), is_cut=True)


@lru_cache(maxsize=1)
def _whole(terrain: Terrain) -> FarGround:
    return FarGround.of(terrain.whole())
