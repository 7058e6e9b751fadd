"""Tops and the saddles between them: found on the smoothed ground, measured on the terrain itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from hillsight.landform.axes import places_of
from hillsight.landform.merge_tree import nearest_higher_m, prominences
from hillsight.landform.support import LEAST_RELIEF_SHARE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.ground.grid import Grid, Surface
    from hillsight.landform.merge_tree import Peaks
    from hillsight.landform.scale import Worked

#: How far (in scales) a top of the smoothed ground may stand from the terrain's own summit.
_SUMMIT_WITHIN = 0.5


@dataclass(frozen=True)
class Rises:
    """Tops and saddles of the smoothed ground at one scale, as flat indices of its posts.

    summits, saddles : the saddle of each is where it joins a higher top; -1 where the terrain ends first
    parents : index of that higher top; -1 for none
    """

    summits: Integers
    saddles: Integers
    parents: Integers


@dataclass(frozen=True)
class Top:
    """A top of the terrain.

    easting_m, northing_m, height_m : its highest post
    scale_m : largest scale at which it shows
    prominence_m : height above the key saddle; with ``is_least``, above where the terrain ends
    key_height_m : height of the key saddle; NaN where that is not known
    saddle_easting_m, saddle_northing_m : where it joins its parent; NaN where there is none
    higher_ground_m : distance of the nearest higher post; infinite for the highest
    parent : index in the list of the top it joins; -1 for none
    """

    easting_m: float
    northing_m: float
    height_m: float
    scale_m: float
    prominence_m: float
    is_least: bool
    key_height_m: float
    saddle_easting_m: float
    saddle_northing_m: float
    higher_ground_m: float
    parent: int


def rises(worked: Worked) -> Rises:
    """Tops that rise from their surroundings by a share of the scale."""
    found = prominences(worked.height_m, LEAST_RELIEF_SHARE * worked.scale_m)
    return Rises(found.summit, found.saddle, found.parent)


def rises_within(found: Rises, columns: int, part: Grid, top: int, left: int) -> tuple[Rises, Flags]:
    """The rises whose summits lie on a part of the lattice, and which of all they are.

    columns : of the whole lattice; top, left : where the part begins in it
    """

    def moved(posts: Integers) -> Integers:
        row, column = posts // columns - top, posts % columns - left
        inside = (posts >= 0) & (row >= 0) & (column >= 0) & (row < part.rows) & (column < part.columns)
        return np.where(inside, row * part.columns + column, -1)

    summits = moved(found.summits)
    kept = summits >= 0
    return Rises(summits[kept], moved(found.saddles)[kept], np.full(int(kept.sum()), -1, np.int64)), kept


def raw_peaks(raw: Surface) -> Peaks:
    """Every post of the terrain that stands above its neighbours, with its prominence."""
    return prominences(raw.height_m.astype(np.float64), 0.0)


def tops(
    scales: Sequence[tuple[Worked, Rises]], raw: Surface, peaks: Peaks
) -> tuple[list[Top], list[Integers]]:
    """Tops of all scales, highest first, each once.

    Parameters
    ----------
    scales : the ground at each scale with its rises, largest scale first
    peaks : of the raw terrain

    Returns
    -------
    (tops, of each scale the top that each of its rises is; -1 where the terrain has none there)
    """
    grid = raw.grid
    places, saddles = places_of(grid, peaks.summit), places_of(grid, peaks.saddle)
    which = [_peaks_of(worked, found, places, peaks) for worked, found in scales]
    largest: dict[int, float] = {}
    for (worked, _), own in zip(scales, which, strict=True):
        for peak in own[own >= 0].tolist():
            largest.setdefault(peak, worked.scale_m)
    chosen = sorted(largest, key=lambda peak: (-float(raw.height_m.flat[peaks.summit[peak]]), peak))
    number = {peak: k for k, peak in enumerate(chosen)}
    higher_m = nearest_higher_m(
        raw.height_m.astype(np.float64), grid.spacing_x_m, grid.spacing_y_m, peaks.summit[chosen]
    )
    found_tops = []
    for peak, away_m in zip(chosen, higher_m, strict=True):
        height_m = float(raw.height_m.flat[peaks.summit[peak]])
        parent = int(peaks.parent[peak])
        while parent >= 0 and parent not in number:
            parent = int(peaks.parent[parent])
        has_saddle = bool(peaks.saddle[peak] >= 0)
        is_least = bool(peaks.is_least[peak]) or not has_saddle
        found_tops.append(
            Top(
                float(places[peak, 0]),
                float(places[peak, 1]),
                height_m,
                largest[peak],
                float(peaks.prominence_m[peak]),
                is_least,
                np.nan if is_least else height_m - float(peaks.prominence_m[peak]),
                float(saddles[peak, 0]) if has_saddle else np.nan,
                float(saddles[peak, 1]) if has_saddle else np.nan,
                float(away_m),
                number.get(parent, -1),
            )
        )
    return found_tops, [np.array([number.get(p, -1) for p in own.tolist()], np.int64) for own in which]


def _peaks_of(worked: Worked, found: Rises, places: Floats, peaks: Peaks) -> Integers:
    """The raw terrain's most prominent peak beside each rise, each once; -1 for none."""
    peak = np.full(found.summits.size, -1, np.int64)
    if not peaks.summit.size:
        return peak
    beside = cKDTree(places).query_ball_point(
        places_of(worked.grid, found.summits), _SUMMIT_WITHIN * worked.scale_m
    )
    taken: set[int] = set()
    for k, near in enumerate(beside):  # the highest rise chooses first
        free = np.array([p for p in near if p not in taken], np.int64)
        if free.size:
            peak[k] = free[np.lexsort((peaks.summit[free], -peaks.prominence_m[free]))[0]]
            taken.add(int(peak[k]))
    return peak
