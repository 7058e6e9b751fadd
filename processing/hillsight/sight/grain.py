"""A grain that lies on the ground: drawn texture, as a draughtsman stipples a meadow; not measured.

Between posts nothing is known of the ground, and near by a post fills a picture. A grain of fixed size on the
ground shows how it lies: fine far off, coarse near by, drawn together where it is seen at a slant.
"""

from __future__ import annotations

import math

from hillsight.kernels.compiled import compiled, inlined

#: Sizes of the grain on the ground: this many metres, and twice as much each time.
_FINEST_M, _SIZES = 0.015625, 10

#: Pixels that a size of grain covers where it fades in, is full, begins to fade out and is gone.
_FADES = (2.0, 4.0, 24.0, 96.0)


@inlined
def speck(column: int, row: int, size: int) -> float:
    """A number from -1 to 1 for a place of a lattice: always the same one."""
    mixed = (column * 374761393 + row * 668265263 + size * 974634777) & 0xFFFFFFFF
    mixed = ((mixed ^ (mixed >> 13)) * 1274126177) & 0xFFFFFFFF
    mixed = ((mixed ^ (mixed >> 15)) * 2246822519) & 0xFFFFFFFF
    return ((mixed ^ (mixed >> 16)) & 0xFFFF) / 32767.5 - 1.0


@compiled
def grain(east_m: float, south_m: float, pixel_m: float) -> float:
    """Grain at a place of the ground, about -1 to 1, 0 where all its sizes are too fine for a pixel.

    pixel_m : ground that a pixel covers
    """
    total = 0.0
    size_m = _FINEST_M
    for size in range(_SIZES):
        covers = size_m / pixel_m
        weight = min(max((covers - _FADES[0]) / (_FADES[1] - _FADES[0]), 0.0), 1.0)
        weight *= min(max((_FADES[3] - covers) / (_FADES[3] - _FADES[2]), 0.0), 1.0)
        if weight > 0.0:
            at_column, at_row = east_m / size_m, south_m / size_m
            column, row = math.floor(at_column), math.floor(at_row)
            across, down = at_column - column, at_row - row
            across, down = across * across * (3.0 - 2.0 * across), down * down * (3.0 - 2.0 * down)
            upper = (1.0 - across) * speck(column, row, size) + across * speck(column + 1, row, size)
            lower = (1.0 - across) * speck(column, row + 1, size) + across * speck(column + 1, row + 1, size)
            total += weight * ((1.0 - down) * upper + down * lower)
        size_m *= 2.0
    return 0.5 * total
