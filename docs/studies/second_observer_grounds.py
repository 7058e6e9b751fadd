"""Grounds of the second observer's exercises: real ground, finer than the model that is weighed on.

OS Terrain 50 (Open Government Licence v3: Contains OS data (c) Crown copyright and database right) and SRTM
of Big Tujunga (public domain, NASA/USGS). Windows are drawn by seed; every one with 300 m of relief is
taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import rasterio
from pyproj import CRS
from scipy import ndimage

from second_observer_sight import Ground

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    Floats32 = NDArray[np.float32]

#: Cases: what the truth is and what the weighing gets of it.
CASES = ("thinned", "means", "noise", "ten", "tujunga")

#: Ground is held so far about the middle of a window, in eastings and in northings.
_HELD_M = 42_000.0

#: Places lie, and relief is measured, within so much of the middle.
_CORE_M = 4_000.0

#: Tuning ground ends in the east, reporting ground begins in the west, at these eastings.
_WEST_OF_M, _EAST_OF_M = 240_000.0, 270_000.0


@dataclass(frozen=True)
class Pair:
    """True ground, and the coarser or erring model of it that the weighing gets."""

    case: str
    truth: Ground
    model: Ground
    crs: CRS


@lru_cache(maxsize=2)
def _file(path: Path) -> tuple[Floats32, Any, CRS]:
    with rasterio.open(path) as source:
        heights = source.read(1)
        known = heights != source.nodata
        scaled = np.where(known, heights * source.scales[0], np.nan).astype(np.float32)
        return scaled, source.transform, CRS(source.crs)


def pair_of(folder: Path, case: str, side: str, seed: int) -> Pair:
    """The window that a seed draws.

    Parameters
    ----------
    folder : holds the open terrain models
    case : one of CASES
    side : west (to tune on) or east (to report on), of the Highlands
    """
    name = "srtm30_big_tujunga.tif" if case == "tujunga" else "osterrain50_highlands.tif"
    heights, transform, crs = _file(folder / name)
    spacing_m = float(transform.a)
    random = np.random.default_rng((seed, 4_711))
    core = int(_CORE_M / spacing_m)
    while True:
        row = int(random.integers(core, heights.shape[0] - core))
        column = int(random.integers(core, heights.shape[1] - core))
        east_m, _ = transform * (column + 0.5, row + 0.5)
        if case != "tujunga" and (
            east_m + _CORE_M > _WEST_OF_M if side == "west" else east_m - _CORE_M < _EAST_OF_M
        ):
            continue
        middle = heights[row - core : row + core + 1, column - core : column + core + 1]
        if np.isnan(middle).any() or np.ptp(middle) < 300.0:
            continue
        break
    half = int((6_500.0 if case == "ten" else _HELD_M) / spacing_m) // 2 * 2
    top, left = max(row - half, 0), max(column - half, 0)
    held = heights[top : row + half + 1, left : column + half + 1]
    # The middle of the window must stay the middle of what is held.
    rows, columns = (
        min(row - top, top + held.shape[0] - 1 - row),
        min(column - left, left + held.shape[1] - 1 - column),
    )
    if case == "ten":
        held = held[
            row - top - rows : row - top + rows + 1, column - left - columns : column - left + columns + 1
        ]
        top, left = row - rows, column - columns
    west_m, north_m = transform * (left + 0.5, top + 0.5)
    truth = Ground(np.ascontiguousarray(held), spacing_m, west_m, north_m)
    if case == "ten":
        truth = _finer(truth, 10, random)
    made = _model(truth, case, seed, random)
    centre = transform * (column + 0.5, row + 0.5)
    return Pair(case, _about(truth, centre), made, crs)


@dataclass(frozen=True)
class Window(Ground):
    """Ground whose middle is where the exercises are, wherever its edges lie."""

    centre_m: tuple[float, float] = (0.0, 0.0)

    @property
    def middle_m(self) -> tuple[float, float]:
        """Easting and northing of the window's middle."""
        return self.centre_m


def _about(ground: Ground, centre_m: tuple[float, float]) -> Window:
    return Window(ground.height_m, ground.spacing_m, ground.west_m, ground.north_m, centre_m)


def _model(truth: Ground, case: str, seed: int, random: np.random.Generator) -> Ground:
    """What the weighing gets."""
    heights, spacing_m = truth.height_m, truth.spacing_m
    if case == "noise":
        # As large as makers state for such posts: a tenth of the spacing. Alike over three posts, our guess.
        error = field(heights.shape, spacing_m, 3.0 * spacing_m, random)
        return Ground(
            (heights - 0.1 * spacing_m * error).astype(np.float32), spacing_m, truth.west_m, truth.north_m
        )
    if case == "ten":
        error = field(heights[::2, ::2].shape, 2 * spacing_m, 6.0 * spacing_m, random)
        thin = heights[::2, ::2] - 0.1 * 2 * spacing_m * error
        return Ground(thin.astype(np.float32), 2 * spacing_m, truth.west_m, truth.north_m)
    times = 3 if case == "tujunga" else 2
    if case == "means":
        rows, columns = (n // times * times for n in heights.shape)
        blocks = heights[:rows, :columns].reshape(rows // times, times, columns // times, times)
        off_m = (times - 1) / 2 * spacing_m
        return Ground(
            np.ascontiguousarray(blocks.mean(axis=(1, 3))),
            times * spacing_m,
            truth.west_m + off_m,
            truth.north_m - off_m,
        )
    thin = np.ascontiguousarray(heights[::times, ::times])
    return Ground(thin, times * spacing_m, truth.west_m, truth.north_m)


def _finer(ground: Ground, times: int, random: np.random.Generator) -> Ground:
    """Ground so many times as fine, with roughness below its posts that carries on from above them.

    Between posts a smooth surface, and on it a self-affine field (exponent 0.75) with waves shorter than two
    posts, larger on steep ground. Its size, 1.5 m on a slope of 20 degrees, is a rule of thumb of ours.
    """
    rows, columns = ((n - 1) * times + 1 for n in ground.height_m.shape)
    spacing_m = ground.spacing_m / times
    at = np.meshgrid(np.arange(rows) / times, np.arange(columns) / times, indexing="ij")
    smooth = ndimage.map_coordinates(ground.height_m.astype(np.float64), at, order=3, mode="nearest")
    waves = np.hypot(np.fft.fftfreq(rows, spacing_m)[:, None], np.fft.rfftfreq(columns, spacing_m)[None, :])
    longest_m = 2.0 * ground.spacing_m
    power = np.where(waves > 1.0 / longest_m, np.maximum(waves, 1e-9) ** -(0.75 + 1.0), 0.0)
    rough = np.fft.irfft2(np.fft.rfft2(random.standard_normal((rows, columns))) * power, s=(rows, columns))
    slope = ndimage.gaussian_filter(np.hypot(*np.gradient(smooth, spacing_m)), times)
    size_m = 1.5 * (0.15 + slope / np.tan(np.radians(20.0)))
    heights = smooth + size_m * rough / rough.std()
    return Ground(heights.astype(np.float32), spacing_m, ground.west_m, ground.north_m)


def field(
    shape: tuple[int, ...], spacing_m: float, alike_over_m: float, random: np.random.Generator
) -> NDArray[np.float64]:
    """A normal field of unit size whose covariance falls exponentially, on a ring somewhat larger."""
    rows, columns = (n + int(8 * alike_over_m / spacing_m) for n in shape)
    down_m = np.minimum(np.arange(rows), rows - np.arange(rows)) * spacing_m
    right_m = np.minimum(np.arange(columns), columns - np.arange(columns)) * spacing_m
    covariance = np.exp(-np.hypot(down_m[:, None], right_m[None, :]) / alike_over_m)
    power = np.maximum(np.fft.rfft2(covariance).real, 0.0)
    waves = np.fft.rfft2(random.standard_normal((rows, columns))) * np.sqrt(power)
    whole = np.fft.irfft2(waves, s=(rows, columns))
    return np.asarray(whole[: shape[0], : shape[1]] / whole.std(), np.float64)
