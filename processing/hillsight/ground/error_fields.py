"""Errors of a terrain drawn many times from its error model."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.roughness import ROUGHNESS

if TYPE_CHECKING:
    from hillsight.arrays import Floats32
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Grid

_SIDE = 1024


@dataclass(frozen=True)
class ErrorFields:
    """Fields of errors over one lattice: pieces of one large field that has no edge, each begun elsewhere.

    grid : the lattice
    errors : of the terrain
    rough_m : (rows, columns) scale of the roughness between posts, ``roughness.rough_scale_m``
    """

    grid: Grid
    errors: ErrorModel
    rough_m: Floats32

    def drawn(self, number: int) -> Floats32:
        """(rows, columns) metres; not to be written to."""
        random = np.random.default_rng(1_000 + number)
        sign = float(random.choice((-1.0, 1.0)))
        mirrored = bool(random.random() < 0.5)
        top, left = (int(first) for first in random.integers(_SIDE, size=2))
        grid = self.grid
        # So often side by side that every piece is one slice, far quicker than a list of posts.
        times = tuple(1 + -(-count // _SIDE) for count in (grid.rows, grid.columns))
        torus = _tiled(grid.spacing_y_m, grid.spacing_x_m, self.errors, (times[0], times[1]))
        if mirrored:
            torus = torus[::-1]
        piece: Floats32 = np.float32(sign) * torus[top : top + grid.rows, left : left + grid.columns]
        rough = ROUGHNESS[self.errors.between_posts]
        if rough.between == 0.0:
            return piece
        # What is drawn lies straight between posts, its variance on the way two thirds of theirs. So much
        # larger it is at the posts that the mean along a grid line is right.
        along = rough.at_posts + (1.0 - rough.at_posts) * 2.0 / 3.0
        share = np.float32(rough.between * np.sqrt(along * 3.0 / 2.0))
        return piece + share * self.rough_m * random.standard_normal(piece.shape, np.float32)


@lru_cache(maxsize=2)
def _tiled(spacing_y_m: float, spacing_x_m: float, errors: ErrorModel, times: tuple[int, int]) -> Floats32:
    """The field repeated down and across."""
    down = np.minimum(np.arange(_SIDE), _SIDE - np.arange(_SIDE)) * spacing_y_m
    across = np.minimum(np.arange(_SIDE), _SIDE - np.arange(_SIDE)) * spacing_x_m
    covariance = errors.covariance_m2(np.hypot(down[:, None], across[None, :]))
    power = np.maximum(np.fft.rfft2(covariance).real, 0.0)
    noise = np.fft.rfft2(np.random.default_rng(5).standard_normal((_SIDE, _SIDE)))
    torus = np.fft.irfft2(noise * np.sqrt(power), s=(_SIDE, _SIDE)).astype(np.float32)
    return np.tile(torus, times)
