"""Places that nobody has named: what a picture would show if it were taken from none of the candidates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.ground.grid import Surface


_SEED = 20_260_401


def reference_places(
    surface: Surface,
    easting_m: Floats,
    northing_m: Floats,
    count: int,
    within_m: float,
    least_m: float,
) -> Floats:
    """Places on known ground about the candidates, (n, 2) easting and northing, the same every time.

    Parameters
    ----------
    easting_m, northing_m : (c,) of the candidates
    count : wanted; fewer where the ground does not hold so many
    within_m : no farther from the nearest candidate
    least_m : nor nearer to any: that would be the candidate itself
    """
    grid = surface.grid
    # In whatever order the candidates are given.
    order = np.lexsort((northing_m, easting_m))
    easting_m, northing_m = easting_m[order], northing_m[order]
    random = np.random.default_rng(_SEED)
    found: list[tuple[float, float]] = []
    for _ in range(40 * count):
        if len(found) == count:
            break
        k = int(random.integers(easting_m.size))
        # Evenly over the disc about one of them.
        away_m, turn = within_m * np.sqrt(random.random()), 2 * np.pi * random.random()
        east, north = easting_m[k] + away_m * np.sin(turn), northing_m[k] + away_m * np.cos(turn)
        row, column = (float(v) for v in grid.to_array(east, north))
        if not (0 <= row <= grid.rows - 1 and 0 <= column <= grid.columns - 1):
            continue
        top, left = min(int(row), grid.rows - 2), min(int(column), grid.columns - 2)
        if not np.isfinite(surface.height_m[top : top + 2, left : left + 2]).all():
            continue
        if np.hypot(easting_m - east, northing_m - north).min() >= least_m:
            found.append((east, north))
    return np.array(found).reshape(-1, 2)
