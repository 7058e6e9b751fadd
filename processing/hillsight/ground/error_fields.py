"""Errors of a terrain drawn many times from its error model."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.roughness import ROUGHNESS

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32, Integers
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Grid

#: Posts along each side of the fields that pieces are taken of.
_SIDE = 1024

#: Posts of a terrain stand at whole multiples of the spacing from nought, or a half off; seldom just here.
_BETWEEN = 0.3137


@dataclass(frozen=True)
class ErrorFields:
    """Fields of errors over one lattice: pieces of one large field that has no edge, each begun elsewhere.

    A post has the same errors whatever piece of its terrain is held, so that no answer hangs on the reach.

    grid : the lattice
    errors : of the terrain
    rough_m : (rows, columns) scale of the roughness between posts, ``roughness.rough_scale_m``
    """

    grid: Grid
    errors: ErrorModel
    rough_m: Floats32

    def drawn(self, number: int) -> Floats32:
        """(rows, columns) metres; not to be written to."""
        sign, field_m, share, noise = self._layers(number)
        piece: Floats32 = sign * field_m
        return piece if noise is None else piece + share * self.rough_m * noise

    def at(self, number: int, rows: Integers, columns: Integers) -> Floats:
        """What :meth:`drawn` has at some posts, metres, of the shape of ``rows`` and ``columns``."""
        sign, field_m, share, noise = self._layers(number)
        error_m = np.asarray(sign * field_m[rows, columns], np.float64)
        if noise is not None:
            error_m += share * self.rough_m[rows, columns] * noise[rows, columns]
        return error_m

    def _layers(self, number: int) -> tuple[np.float32, Floats32, np.float32, Floats32 | None]:
        """Sign and field of the errors of posts; share and noise of the roughness, no noise without any."""
        random = np.random.default_rng(1_000 + number)
        sign = float(random.choice((-1.0, 1.0)))
        mirrored = bool(random.random() < 0.5)
        grid = self.grid
        # So often side by side that every piece is one slice, far quicker than a list of posts.
        times = 1 + -(-grid.rows // _SIDE), 1 + -(-grid.columns // _SIDE)
        torus = _tiled(grid.spacing_y_m, grid.spacing_x_m, self.errors, times)
        if mirrored:
            torus = torus[::-1]
        field_m = torus[self._piece(random)]
        rough = ROUGHNESS[self.errors.between_posts]
        if rough.between == 0.0:
            return np.float32(sign), field_m, np.float32(0.0), None
        # What is drawn lies straight between posts, its variance on the way two thirds of theirs. So much
        # larger it is at the posts that the mean along a grid line is right.
        along = rough.at_posts + (1.0 - rough.at_posts) * 2.0 / 3.0
        share = np.float32(rough.between * np.sqrt(along * 3.0 / 2.0))
        return np.float32(sign), field_m, share, _noise(times)[self._piece(random)]

    def _piece(self, random: np.random.Generator) -> tuple[slice, slice]:
        """Where the lattice lies in a large field that is begun anywhere."""
        grid = self.grid
        first = -grid.north_m / grid.spacing_y_m, grid.west_m / grid.spacing_x_m
        top, left = ((math.floor(post + _BETWEEN) + int(random.integers(_SIDE))) % _SIDE for post in first)
        return slice(top, top + grid.rows), slice(left, left + grid.columns)


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


@lru_cache(maxsize=1)
def _noise(times: tuple[int, int]) -> Floats32:
    """Normal noise, another at every post, repeated down and across."""
    return np.tile(np.random.default_rng(6).standard_normal((_SIDE, _SIDE), np.float32), times)
