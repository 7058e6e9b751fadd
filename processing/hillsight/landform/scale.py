"""The ground at a scale: smoothed so that what is smaller is gone, and laid out no finer than needed.

A landform of some hundred metres must come out the same from posts of 10 m and of 30 m. So the size of the
smoothing is stated in metres, and everything that reads landforms works on the smoothed ground; figures
(heights, prominence) come from the terrain itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy import ndimage

from hillsight.arrays import Flags, Floats, Floats32, Integers
from hillsight.errors import CallError
from hillsight.ground.grid import Grid, Surface
from hillsight.landform.gradient import Slope, horn
from hillsight.landform.sampling import sampled

#: Scales (m) read when none is given: what a walker meets, from a knoll to a hill.
DEFAULT_SCALES_M = (100.0, 300.0, 1_000.0)

#: The smoothing's standard deviation is the scale divided by this: a wave as long as the scale loses
#: two fifths of its height, one a third as long all but a hundredth.
SCALE_PER_SIGMA = 6.0

#: Posts of the smoothed ground to a scale, whatever the terrain's own, so that ground at 10 m and
#: at 30 m is read alike. By trial.
_POSTS_A_SCALE = 16.0

#: But no closer than this (m) or the terrain's own spacing, if that is less; nor than half the terrain's own.
_FINEST_M = 10.0

#: Two spacings are the least that a scale can be; what is so small is guesswork: the usual scales want more.
_LEAST_CELLS, _USUAL_CELLS = 2.0, 3.0
_LARGEST_SHARE = 0.25

#: Standard deviations out to which the Gaussian is reckoned.
_TRUNCATE = 4.0


@dataclass(frozen=True)
class Worked:
    """The ground at one scale.

    scale_m : size of the landforms sought
    sigma_m : standard deviation of the Gaussian that smoothed it, metres
    grid : posts of the smoothed ground, spread evenly about the terrain's middle
    height_m : (rows, columns) float64, metres; NaN is a void of the terrain
    raw : the terrain itself
    """

    scale_m: float
    sigma_m: float
    grid: Grid
    height_m: Floats
    raw: Surface

    @property
    def spacing_m(self) -> float:
        """The wider of the two spacings between posts."""
        return max(self.grid.spacing_x_m, self.grid.spacing_y_m)

    @classmethod
    def of(cls, raw: Surface, scale_m: float) -> Worked:
        """Smooth a terrain for a scale; a void stays one, and its surroundings are smoothed without it."""
        sigma_m = scale_m / SCALE_PER_SIGMA
        grid = raw.grid
        smooth = _smoothed(raw.height_m, sigma_m / grid.spacing_y_m, sigma_m / grid.spacing_x_m)
        own_m = min(grid.spacing_x_m, grid.spacing_y_m)
        spacing_m = max(scale_m / _POSTS_A_SCALE, min(own_m, _FINEST_M), own_m / 2)
        rows, columns = (
            _evenly(size, spacing_m / spacing)
            for size, spacing in ((grid.rows, grid.spacing_y_m), (grid.columns, grid.spacing_x_m))
        )
        laid_out = Grid(
            grid.crs,
            grid.west_m + float(columns[0]) * grid.spacing_x_m,
            grid.north_m - float(rows[0]) * grid.spacing_y_m,
            spacing_m,
            spacing_m,
            rows.size,
            columns.size,
        )
        return cls(scale_m, sigma_m, laid_out, _at(smooth, rows, columns), raw)

    def around(self, easting_m: float, northing_m: float, reach_m: float) -> tuple[Worked, int, int]:
        """The part within a square of a reach about a place, and its first row and column in the whole."""
        grid = self.grid
        top, left = (
            int(np.clip(np.floor(v), 0, size - 1))
            for v, size in zip(
                grid.to_array(easting_m - reach_m, northing_m + reach_m),
                (grid.rows, grid.columns),
                strict=True,
            )
        )
        bottom, right = (
            int(np.clip(np.ceil(v), 0, size - 1))
            for v, size in zip(
                grid.to_array(easting_m + reach_m, northing_m - reach_m),
                (grid.rows, grid.columns),
                strict=True,
            )
        )
        part = replace(
            self,
            grid=grid.part(top, left, bottom - top + 1, right - left + 1),
            height_m=np.ascontiguousarray(self.height_m[top : bottom + 1, left : right + 1]),
        )
        return part, top, left

    @cached_property
    def to_void_m(self) -> Floats | None:
        """Distance of every post to the nearest void; None where there is none."""
        void = np.isnan(self.height_m)
        if not void.any():
            return None
        spacing = (self.grid.spacing_y_m, self.grid.spacing_x_m)
        return np.asarray(ndimage.distance_transform_edt(~void, sampling=spacing), np.float64)

    @cached_property
    def slope(self) -> Slope:
        """Slope of the smoothed ground at every post."""
        return horn(self.height_m, self.grid.spacing_x_m, self.grid.spacing_y_m)

    def forget_slope(self) -> None:
        """Free the memory of the slope; it is worked out again if asked for."""
        self.__dict__.pop("slope", None)

    def at(self, eastings_m: ArrayLike, northings_m: ArrayLike) -> Floats:
        """Smoothed height at map positions, bilinear; NaN off the posts and where a void has a weight."""
        return sampled(self.grid, self.height_m, eastings_m, northings_m)


def settle_scales(surface: Surface, scales_m: Sequence[float] | None) -> tuple[list[float], list[str]]:
    """The scales to read, largest first, and notes on those of the default that the terrain cannot give.

    Raises
    ------
    CallError : a scale below two spacings or above a quarter of the terrain's shorter side, or a terrain
        too narrow for any
    """
    grid = surface.grid
    least_m = _LEAST_CELLS * max(grid.spacing_x_m, grid.spacing_y_m)
    most_m = _LARGEST_SHARE * min(grid.rows * grid.spacing_y_m, grid.columns * grid.spacing_x_m)
    if most_m < least_m:
        raise CallError(
            f"{grid.rows} rows by {grid.columns} columns of posts are too narrow for landforms of any scale: "
            f"a quarter of the shorter side is {most_m:g} m, less than two spacings of posts ({least_m:g} m)",
            where="the terrain to be read",
            remedy="Give a terrain, or a reach, that makes its shorter side "
            f"{least_m / _LARGEST_SHARE:g} m at least, or posts that stand closer",
            parameters=("terrain", "reach"),
        )
    bounds = f"from {least_m:g} m (two spacings of its posts) to {most_m:g} m (a quarter of its shorter side)"
    if scales_m:
        for scale_m in scales_m:
            if not (math.isfinite(scale_m) and least_m <= scale_m <= most_m):
                raise CallError(
                    f"the scale is {scale_m:g} m, and this terrain can be read {bounds}",
                    remedy="Give a scale between these, or another terrain",
                    parameters=("scales",),
                )
        return sorted(set(scales_m), reverse=True), []
    usual_m = _USUAL_CELLS / _LEAST_CELLS * least_m
    kept = [scale_m for scale_m in DEFAULT_SCALES_M if usual_m <= scale_m <= most_m]
    if not kept:
        raise CallError(
            f"none of the usual scales ({', '.join(f'{s:g}' for s in DEFAULT_SCALES_M)} m) suits this "
            f"terrain, which can be read {bounds}",
            remedy="Name one, or give another terrain",
            parameters=("scales",),
        )
    dropped = [f"{s:g} m" for s in DEFAULT_SCALES_M if s not in kept]
    notes = []
    if dropped:
        notes.append(
            f"landforms are not read at a scale of {' and '.join(dropped)}: too small or too large for this "
            f"terrain, which can be read {bounds}"
        )
    return sorted(kept, reverse=True), notes


def _smoothed(height_m: Floats32, sigma_rows: float, sigma_columns: float) -> Floats:
    """Gaussian mean of the known posts; NaN where there is none."""
    known = np.isfinite(height_m)
    if not known.any():
        return np.full(height_m.shape, np.nan)
    # About a middle height, so that a height added everywhere changes nothing but by rounding.
    middle_m = float(np.mean(height_m[known], dtype=np.float64))
    centred = np.where(known, height_m.astype(np.float64) - middle_m, 0.0)
    sigma = (sigma_rows, sigma_columns)
    total = ndimage.gaussian_filter(centred, sigma, mode="constant", truncate=_TRUNCATE)
    weight = weight_known(known, sigma)
    smooth = np.full(height_m.shape, np.nan)
    smooth[known] = total[known] / weight[known] + middle_m
    return smooth


def weight_known(known: Flags, sigma: tuple[float, float]) -> Floats:
    """Share of a Gaussian's weight about each post that lies on known posts.

    Where all are known it hangs on the distance to the edges alone: a few posts stand for all.
    """
    if not known.all():
        weight: Floats = ndimage.gaussian_filter(
            known.astype(np.float64), sigma, mode="constant", truncate=_TRUNCATE
        )
        return weight
    rows, columns = (
        _standing_for(size, int(_TRUNCATE * one + 0.5)) for size, one in zip(known.shape, sigma, strict=True)
    )
    few = np.ones((rows[-1] + 1, columns[-1] + 1))
    few = ndimage.gaussian_filter(few, sigma, mode="constant", truncate=_TRUNCATE)
    return np.ascontiguousarray(few[np.ix_(rows, columns)])


def _standing_for(size: int, radius: int) -> Integers:
    """For each of so many posts in a row the one of a shorter row as far from both ends, within a radius."""
    at = np.arange(size)
    one: Integers = np.minimum(at, radius) + np.maximum(at - np.maximum(size - 1 - radius, radius), 0)
    return one


def _evenly(size: int, step: float) -> Floats:
    """Places along an axis, ``step`` apart and symmetric about its middle: a turned terrain has the same."""
    count = math.floor((size - 1) / step + 1e-9) + 1
    return (size - 1) / 2 + (np.arange(count, dtype=np.float64) - (count - 1) / 2) * step


def _at(smooth: Floats, rows: Floats, columns: Floats) -> Floats:
    """Values at fractional rows and columns by cubic splines; NaN where the nearer posts are void."""
    if _all_whole(rows) and _all_whole(columns):
        return np.ascontiguousarray(smooth[np.ix_(np.rint(rows).astype(int), np.rint(columns).astype(int))])
    void = np.isnan(smooth)
    if void.all():
        return np.full((rows.size, columns.size), np.nan)
    if void.any():
        nearest = ndimage.distance_transform_edt(void, return_distances=False, return_indices=True)
        smooth = smooth[tuple(nearest)]
    places = np.meshgrid(rows, columns, indexing="ij")
    height: Floats = ndimage.map_coordinates(smooth, places, order=3, mode="mirror")
    if void.any():
        height[ndimage.map_coordinates(void.astype(np.float64), places, order=1, mode="nearest") > 0.5] = (
            np.nan
        )
    return height


def _all_whole(places: Floats) -> bool:
    return bool((np.abs(places - np.rint(places)) < 1e-6).all())
