"""What is not known of cover: how tall it is, where its edges are, whether light passes.

Height errs as one for all cover of a view, and goes into the gaps of sight lines (doubt_gaps). Edges are
tried at three places, so that the chance is a mean of three (Gauss-Hermite quadrature). Where woods let sight
pass, the chance lies between that over all cover and that over what is opaque, by the share of sight that
comes through; how far sight passes is known to a factor of two. The worst screen on a line is taken alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage, special

from hillsight.sight import doubt_gaps as gaps
from hillsight.sight.doubt_ground import slope_bounds, smoothed
from hillsight.sight.screens import over_screens
from hillsight.sight.viewing import TIE_M
from hillsight.sight.woods import paths_through_wood

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Grid, Surface

#: Where edges are tried, standard deviations outwards, and how much each counts.
_EDGES = ((0.0, 2.0 / 3.0), (-math.sqrt(3.0), 1.0 / 6.0), (math.sqrt(3.0), 1.0 / 6.0))

#: How far sight may pass through wood, as a factor, and how much each counts (common practice, no source).
_PASSING = ((1.0, 2.0 / 3.0), (0.5, 1.0 / 6.0), (2.0, 1.0 / 6.0))


@dataclass(frozen=True)
class Tops:
    """What blocks sight, as it may be.

    weight : how much it counts
    height_m : (rows, columns) float32, metres
    smooth_m, steep, steepest : as ``doubt.Doubtful`` has them, of these heights
    """

    weight: float
    height_m: Floats32
    smooth_m: Floats32
    steep: Floats32
    steepest: float


def tops_of(surface: Surface, astray_m: float, *, opaque: bool = False) -> tuple[Tops, ...]:
    """Heights that block sight, the likeliest first; the ground alone where nothing stands on it.

    astray_m : how far places err
    opaque : whether woods that let some sight pass are left out
    """
    cover = surface.cover
    blocking_m = surface.opaque_m if opaque else surface.blocking_m
    if cover is None or cover.edge_sigma_m == 0.0 or blocking_m is surface.height_m:
        return (_tops(surface.grid, blocking_m, astray_m, 1.0),)
    tall_m = cover.solid_m if opaque and cover.lets_pass else cover.tallest_m
    if not tall_m.any():
        return (_tops(surface.grid, blocking_m, astray_m, 1.0),)
    return tuple(
        _tops(
            surface.grid,
            surface.height_m + edges_moved(surface.grid, tall_m, sigmas * cover.edge_sigma_m),
            astray_m,
            weight,
        )
        for sigmas, weight in _EDGES
    )


def _tops(grid: Grid, height_m: Floats32, astray_m: float, weight: float) -> Tops:
    height_m = np.ascontiguousarray(height_m, np.float32)
    smooth_m = smoothed(grid, height_m, astray_m)
    steep = slope_bounds(grid, smooth_m)
    return Tops(weight, height_m, smooth_m, steep, float(steep.max(initial=0.0)))


def edges_moved(grid: Grid, tall_m: Floats32, outwards_m: float) -> Floats32:
    """Cover (rows, columns) whose edges stand so far out, or in; parts of a spacing by a mean of two."""
    if outwards_m == 0.0:
        return tall_m
    moved: Floats32 = tall_m
    widen = ndimage.maximum_filter1d if outwards_m > 0 else ndimage.minimum_filter1d
    for axis, spacing_m in enumerate((grid.spacing_y_m, grid.spacing_x_m)):
        steps = abs(outwards_m) / spacing_m
        whole = int(steps)
        near = widen(moved, 2 * whole + 1, axis=axis, mode="nearest")
        far = widen(moved, 2 * whole + 3, axis=axis, mode="nearest")
        moved = (near + np.float32(steps - whole) * (far - near)).astype(np.float32)
    return moved


def light_in_doubt(
    surface: Surface, errors: ErrorModel, eyes: Floats, rows: Floats, columns: Floats, targets_m: Floats
) -> Floats:
    """Share of sight, (n,), that comes through on lines that woods may hide; parameters as for woods.

    What may hide is about a standard deviation taller than what is told: a line that passes just over a wood
    goes through its top if that hides at all.
    """
    cover = surface.cover
    assert cover is not None
    taller_m = np.float32(math.hypot(cover.height_sigma_m, errors.terrain_rmse_m))
    wood_m = np.where(cover.wood_m > cover.solid_m, cover.wood_m + taller_m, cover.wood_m)
    raised = replace(surface, cover=replace(cover, wood_m=wood_m))
    path_m = paths_through_wood(raised, eyes, rows, columns, targets_m)
    light = np.zeros(path_m.shape)
    for factor, weight in _PASSING:
        light += weight * np.exp(-path_m / (factor * cover.passing_m))
    return light


def chance_past_screens(
    surface: Surface, errors: ErrorModel, numbers: Floats, rows: Floats, columns: Floats, targets_m: Floats
) -> Floats:
    """Chance, (n,), that lines pass over the worst screen on their way; 1 where there is none.

    numbers : of the eye, see doubt_gaps
    targets_m : (n,) heights of the targets as seen from the eye
    """
    assert surface.cover is not None
    eyes = numbers[np.newaxis, [gaps.E_ROW, gaps.E_COLUMN, gaps.E_LEVEL, gaps.E_DROP]]
    rise_m, share, _ = over_screens(surface, eyes, rows, columns)
    grid, level_m = surface.grid, numbers[gaps.E_LEVEL]
    down_m = (rows - numbers[gaps.E_ROW]) * grid.spacing_y_m
    right_m = (columns - numbers[gaps.E_COLUMN]) * grid.spacing_x_m
    length_m = np.maximum(np.hypot(down_m, right_m), 1e-9)
    gap_m = share * (targets_m - level_m - np.where(np.isfinite(rise_m), rise_m, 0.0))
    ground_m2 = float(errors.covariance_m2(np.zeros(1))[0])
    eye = 1.0 - share
    variance = share**2 * ground_m2 + ground_m2 + surface.cover.sigma_of_screens_m**2
    variance += eye**2 * (numbers[gaps.E_GROUND_VARIANCE] + numbers[gaps.E_HEIGHT_VARIANCE])
    variance -= 2.0 * share * errors.covariance_m2(eye * length_m)
    if errors.station_height_m is None:
        variance += 2.0 * share * eye * errors.covariance_m2(length_m)
        variance -= 2.0 * eye * errors.covariance_m2(share * length_m)
    variance += (numbers[gaps.E_DROP_SIGMA] * length_m**2 * share * eye) ** 2
    climb = (targets_m - level_m) / length_m
    steep = numbers[gaps.E_RISE_DOWN] ** 2 + numbers[gaps.E_RISE_RIGHT] ** 2
    variance += (eye * numbers[gaps.E_PLACE_SIGMA]) ** 2 * (climb**2 + steep)
    variance += (share * numbers[gaps.E_TARGET_SIGMA] * climb) ** 2
    with np.errstate(invalid="ignore"):
        chance = special.ndtr((gap_m + TIE_M) / np.sqrt(np.maximum(variance, 1e-16)))
    return np.where(np.isfinite(rise_m), chance, 1.0)
