"""Errors of a terrain drawn many times from its error model."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from hillsight.arrays import Floats32
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Grid

_SIDE = 1024


@dataclass(frozen=True)
class ErrorFields:
    """Fields of errors over one lattice."""

    grid: Grid
    errors: ErrorModel

    @cached_property
    def _torus(self) -> Floats32:
        down = np.minimum(np.arange(_SIDE), _SIDE - np.arange(_SIDE)) * self.grid.spacing_y_m
        across = np.minimum(np.arange(_SIDE), _SIDE - np.arange(_SIDE)) * self.grid.spacing_x_m
        covariance = self.errors.covariance_m2(np.hypot(down[:, None], across[None, :]))
        power = np.maximum(np.fft.rfft2(covariance).real, 0.0)
        noise = np.fft.rfft2(np.random.default_rng(5).standard_normal((_SIDE, _SIDE)))
        return np.fft.irfft2(noise * np.sqrt(power), s=(_SIDE, _SIDE)).astype(np.float32)

    def drawn(self, number: int) -> Floats32:
        """(rows, columns) metres."""
        random = np.random.default_rng(1_000 + number)
        torus = self._torus * np.float32(random.choice((-1.0, 1.0)))
        if random.random() < 0.5:
            torus = torus[::-1]
        top, left = random.integers(_SIDE, size=2)
        rows = (top + np.arange(self.grid.rows)) % _SIDE
        columns = (left + np.arange(self.grid.columns)) % _SIDE
        return torus[np.ix_(rows, columns)]
