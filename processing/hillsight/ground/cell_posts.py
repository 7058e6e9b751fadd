"""Posts that are a raster file's own cells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

if TYPE_CHECKING:
    from hillsight.arrays import Floats32
    from hillsight.ground.grid import Grid
    from hillsight.ground.raster import Band


class Posts(Protocol):
    """A grid of posts and the way to read their heights."""

    @property
    def grid(self) -> Grid: ...

    def read(self, dataset: Any, top: int, left: int, rows: int, columns: int) -> Floats32: ...


@dataclass(frozen=True)
class CellPosts:
    """Posts that are the file's own cells, turned north-up where the file is not."""

    band: Band
    grid: Grid
    metres_per_unit: float

    def read(self, dataset: Any, top: int, left: int, rows: int, columns: int) -> Floats32:
        south_up, east_first = self.band.transform[4] > 0, self.band.transform[0] < 0
        if south_up:
            top = self.band.rows - top - rows
        if east_first:
            left = self.band.columns - left - columns
        height_m = self.band.heights_m(dataset, top, left, rows, columns, self.metres_per_unit)
        if south_up:
            height_m = height_m[::-1]
        if east_first:
            height_m = height_m[:, ::-1]
        return np.ascontiguousarray(height_m)


def rotated(band: Band) -> bool:
    """Whether rows or columns leave the grid's directions by more than a thousandth of a cell in all."""
    a, b, _, d, e, _ = band.transform
    return abs(b) * band.rows > 1e-3 * abs(a) or abs(d) * band.columns > 1e-3 * abs(e)
