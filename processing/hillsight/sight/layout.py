"""Where the rows and columns of an octant lie among the heights and among the answers."""

from __future__ import annotations

from typing import NamedTuple

from hillsight.kernels.compiled import compiled
from hillsight.sight.octants import Octant, Window
from hillsight.sight.rows import steps_within


class Layout(NamedTuple):
    """Flat indices and bounds for row i and column j of an octant.

    origin, step, cross : post (i, j) has the height at origin + i step + j cross
    out_origin, out_step, out_cross : and its answer likewise
    block_at, block_step : row i lies at block_at + i block_step along the lattice that blocks are cut on
    first_i, last_i, first_j, last_j : rows and columns that are asked for
    """

    origin: int
    step: int
    cross: int
    out_origin: int
    out_step: int
    out_cross: int
    block_at: int
    block_step: int
    first_i: int
    last_i: int
    first_j: int
    last_j: int


@compiled
def layout_of(octant: Octant, held: Window, asked: Window) -> Layout:
    """The layout of an octant over heights and answers that are held for two windows of the lattice."""
    first_row, last_row = steps_within(octant.row, octant.row_step, asked.row, asked.rows)
    first_column, last_column = steps_within(octant.column, octant.column_step, asked.column, asked.columns)
    origin = (octant.row - held.row) * held.columns + octant.column - held.column
    out_origin = (octant.row - asked.row) * asked.columns + octant.column - asked.column
    if octant.along_rows:
        return Layout(
            origin,
            octant.row_step * held.columns,
            octant.column_step,
            out_origin,
            octant.row_step * asked.columns,
            octant.column_step,
            octant.row - held.row,
            octant.row_step,
            first_row,
            last_row,
            first_column,
            last_column,
        )
    return Layout(
        origin,
        octant.column_step,
        octant.row_step * held.columns,
        out_origin,
        octant.column_step,
        octant.row_step * asked.columns,
        octant.column - held.column,
        octant.column_step,
        first_column,
        last_column,
        first_row,
        last_row,
    )
