"""What stands on the straight line between two places: where it crosses grid lines and meets screens."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.grid import between_posts
from hillsight.sight.viewing import CROSSING_SNAP

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Floats, Integers
    from hillsight.ground.cover import Screens
    from hillsight.ground.grid import Surface


def crossing_shares(eye_row: float, eye_column: float, row: float, column: float) -> Floats:
    """Shares of the way, without its ends, at which a line crosses rows and columns; each place once."""
    shares = []
    for eye, end in ((eye_row, row), (eye_column, column)):
        if eye != end:
            lines = np.arange(np.floor(min(eye, end)) + 1, np.ceil(max(eye, end)))
            shares.append((lines - eye) / (end - eye))
    found: Floats = np.unique(np.concatenate(shares)) if shares else np.empty(0)
    found = found[(found > 0.0) & (found < 1.0)]
    # A post on the way is crossed by its row and by its column: one place, told apart by rounding only.
    apart = np.diff(found, prepend=-1.0) * max(abs(row - eye_row), abs(column - eye_column)) > CROSSING_SNAP
    return found[apart]


@dataclass(frozen=True)
class Standing:
    """What stands on the line between two places, nearest to the first place first; (n,) each.

    along_m : metres on the grid from the first place, strictly between the ends
    height_m : of ground and cover together, metres in the terrain's datum; NaN beside a void
    kind : index into the kinds of the surface's cover; 0 for bare ground
    """

    along_m: Floats
    height_m: Floats
    kind: Bytes


def standing_between(surface: Surface, from_m: tuple[float, float], to_m: tuple[float, float]) -> Standing:
    """Ground and cover where the line between two places crosses grid lines, and screens where it meets them.

    Parameters
    ----------
    from_m, to_m : easting and northing of its ends, metres on the surface's grid
    """
    rows, columns = surface.grid.to_array(np.array([from_m[0], to_m[0]]), np.array([from_m[1], to_m[1]]))
    ways = float(rows[1] - rows[0]), float(columns[1] - columns[0])
    shares = crossing_shares(float(rows[0]), float(columns[0]), float(rows[1]), float(columns[1]))
    height_m = between_posts(surface.blocking_m, rows[0] + shares * ways[0], columns[0] + shares * ways[1])
    kind = np.zeros(shares.size, np.uint8)
    if surface.cover is not None:
        on_lattice = [
            np.clip(np.rint(start + shares * way), 0, last - 1).astype(np.intp)
            for start, way, last in zip((rows[0], columns[0]), ways, surface.cover.shape, strict=True)
        ]
        kind = surface.cover.kind[on_lattice[0], on_lattice[1]]
        screen_shares, which = _screens_met(surface.cover.screens, float(rows[0]), float(columns[0]), *ways)
        screens_m = surface.cover.screens.height_m[which] + between_posts(
            surface.height_m, rows[0] + screen_shares * ways[0], columns[0] + screen_shares * ways[1]
        )
        order = np.argsort(np.r_[shares, screen_shares], kind="stable")
        shares = np.r_[shares, screen_shares][order]
        height_m = np.r_[height_m, screens_m][order]
        kind = np.r_[kind, surface.cover.screens.kind[which]][order]
    length_m = float(np.hypot(to_m[0] - from_m[0], to_m[1] - from_m[1]))
    return Standing(shares * length_m, height_m, kind)


def _screens_met(
    screens: Screens, row: float, column: float, rows: float, columns: float
) -> tuple[Floats, Integers]:
    """Shares of the way at which upright screens are met, ends left out, and which screens these are."""
    down, right = screens.to_row - screens.row, screens.to_column - screens.column
    across = rows * right - columns * down
    with np.errstate(divide="ignore", invalid="ignore"):
        share = ((screens.row - row) * right - (screens.column - column) * down) / across
        along = ((screens.row - row) * columns - (screens.column - column) * rows) / across
        met = (share > 0) & (share < 1) & (along >= 0) & (along <= 1)
    which = np.flatnonzero(met).astype(np.int64)
    return share[which], which
