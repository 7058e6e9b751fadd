"""Axes of landforms: the part of a line of posts that stands out, smoothed, with its figures."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.kernels.compiled import compiled
from hillsight.landform.along import Bundle, starts_of
from hillsight.landform.sampling import sampled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats, Integers, Objects
    from hillsight.ground.grid import Grid
    from hillsight.landform.scale import Worked

#: A break in what stands out, up to this share of the scale, does not end an axis.
_BRIDGED_SHARE = 1 / 3

#: Weights of the smoothing that takes the grid's corners out of a line: a Gaussian of 1.5 posts.
_CORNER_WEIGHTS = np.exp(-0.5 * (np.arange(7) / 1.5) ** 2)

#: Places along an axis where its width is measured, and steps across it within a scale to each side.
_SECTIONS, _STEPS_ACROSS = 15, 24


@dataclass(frozen=True)
class Figures:
    """Measures of an axis.

    length_m : along the ground plan
    relief_m : mean height over the ground half a scale to each side; negative for a valley
    width_m : mean distance between the steepest places of its flanks
    """

    length_m: float
    relief_m: float
    width_m: float


def standing_parts(
    grid: Grid, lines: Sequence[Integers], stands: Flags, scale_m: float
) -> tuple[Integers, Floats]:
    """The longest part of each line whose posts stand out, small breaks bridged.

    Parameters
    ----------
    lines : posts of each by flat index, in order
    stands : flat, whether each post of the grid stands out

    Returns
    -------
    (n, 2) first and last index in each line, -1 for none; (n,) length of the part in metres
    """
    starts = starts_of(lines)
    part = np.full((len(lines), 2), -1, np.int64)
    length = np.zeros(len(lines))
    if len(lines):
        posts = np.concatenate(lines)
        spacings = (grid.spacing_x_m, grid.spacing_y_m)
        _standing_parts(
            posts, starts, stands, grid.columns, *spacings, _BRIDGED_SHARE * scale_m, part, length
        )
    return part, length


@compiled
def _standing_parts(
    posts: Integers,
    starts: Integers,
    stands: Flags,
    columns: int,
    spacing_x_m: float,
    spacing_y_m: float,
    bridged_m: float,
    part: Integers,
    length: Floats,
) -> None:
    for line in range(starts.size - 1):
        begun, last, along, begun_at, last_at = -1, -1, 0.0, 0.0, 0.0
        for k in range(starts[line], starts[line + 1]):
            if k > starts[line]:
                down = posts[k] // columns - posts[k - 1] // columns
                right = posts[k] % columns - posts[k - 1] % columns
                along += math.hypot(down * spacing_y_m, right * spacing_x_m)
            if not stands[posts[k]]:
                continue
            if begun < 0 or (along - last_at > bridged_m and k - starts[line] > last + 1):
                begun, begun_at = k - starts[line], along
            last, last_at = k - starts[line], along
            if part[line, 0] < 0 or last_at - begun_at > length[line]:
                part[line, 0], part[line, 1], length[line] = begun, last, last_at - begun_at


def places_of(grid: Grid, posts: Integers) -> Floats:
    """(n, 2) easting and northing of posts by flat index."""
    return np.column_stack(
        grid.to_map((posts // grid.columns).astype(float), (posts % grid.columns).astype(float))
    )


def smoothed_lines(lines: Sequence[Floats]) -> list[Floats]:
    """Lines without the grid's corners, each (n, 2); their ends stay where they are."""
    if not lines:
        return []
    starts = starts_of(lines)
    whole = np.ascontiguousarray(np.concatenate(lines))
    smooth = np.empty_like(whole)
    _smooth(whole, starts, _CORNER_WEIGHTS, smooth)
    return np.split(smooth, starts[1:-1])


@compiled
def _smooth(
    places: Floats,
    starts: Integers,
    weights: Floats,
    smooth: Floats,
) -> None:
    """A weighted mean along each line, which goes on beyond an end as its own image turned about it."""
    for line in range(starts.size - 1):
        first, last = starts[line], starts[line + 1] - 1
        for k in range(first, last + 1):
            # No farther than either end, or a short line's image would run out.
            width = min(weights.size - 1, last - first)
            for axis in range(2):
                total, weight = weights[0] * places[k, axis], weights[0]
                for step in range(1, width + 1):
                    before, after = k - step, k + step
                    one = (
                        places[before, axis]
                        if before >= first
                        else 2.0 * places[first, axis] - places[2 * first - before, axis]
                    )
                    other = (
                        places[after, axis]
                        if after <= last
                        else 2.0 * places[last, axis] - places[2 * last - after, axis]
                    )
                    total += weights[step] * (one + other)
                    weight += 2.0 * weights[step]
                smooth[k, axis] = total / weight


def with_heights(worked: Worked, lines: Sequence[Floats]) -> list[Floats]:
    """Lines of places, each (n, 3), with the terrain's own heights, or the smoothed where those are void."""
    if not lines:
        return []
    places, raw = np.concatenate(lines), worked.raw
    height = sampled(raw.grid, raw.height_m, places[:, 0], places[:, 1])
    void = np.isnan(height)
    height[void] = worked.at(places[void, 0], places[void, 1])
    return np.split(np.column_stack([places, height]), np.cumsum([len(line) for line in lines])[:-1])


def lines_of(places: Sequence[Floats]) -> Objects:
    """Each line, (n, 2 or 3), as a shape; a line of one place as one that goes nowhere is refused."""
    starts = starts_of(places)
    shapes: Objects = shapely.linestrings(
        np.concatenate(places) if len(places) else np.empty((0, 2)),
        indices=np.repeat(np.arange(len(places)), np.diff(starts)),
    )
    return shapes


def figures(worked: Worked, axes: Sequence[Floats]) -> list[Figures]:
    """Measure axes by sections across each."""
    if not axes:
        return []
    bundle = Bundle.of(axes)
    middle, ahead = _sections(bundle, worked.scale_m / 4)
    across = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    steps = np.linspace(-worked.scale_m, worked.scale_m, 2 * _STEPS_ACROSS + 1)
    points = middle[:, None, :] + steps[None, :, None] * across[:, None, :]
    height = worked.at(points[..., 0], points[..., 1]).reshape(len(axes), _SECTIONS, steps.size)
    flank = (height[..., _STEPS_ACROSS // 2] + height[..., -1 - _STEPS_ACROSS // 2]) / 2
    relief = height[..., _STEPS_ACROSS] - flank
    known = np.isfinite(relief)
    count = known.sum(axis=1)
    mean_relief = np.where(known, relief, 0.0).sum(axis=1) / np.maximum(count, 1)
    mean_relief[count == 0] = np.nan
    rise = np.diff(height, axis=2) * np.where(mean_relief < 0, -1.0, 1.0)[:, None, None]
    rise = np.where(np.isfinite(rise), rise, -np.inf)
    left, right = rise[..., :_STEPS_ACROSS], np.where(np.isinf(rise), rise, -rise)[..., _STEPS_ACROSS:]
    steepest = (_STEPS_ACROSS - np.argmax(left, axis=2) - 0.5) + (np.argmax(right, axis=2) + 0.5)
    width = steepest.mean(axis=1) * worked.scale_m / _STEPS_ACROSS
    return [
        Figures(*each)
        for each in zip(bundle.length_m.tolist(), mean_relief.tolist(), width.tolist(), strict=True)
    ]


def _sections(bundle: Bundle, half_m: float) -> tuple[Floats, Floats]:
    """Places along axes, and the unit direction of the axis at each, over a stretch about it; (n, 2) each."""
    share = np.linspace(0.0, bundle.length_m, _SECTIONS + 2, axis=1)[:, 1:-1]
    ahead = (bundle.places_at(share + half_m) - bundle.places_at(share - half_m)).reshape(-1, 2)
    places = bundle.places_at(share).reshape(-1, 2)
    return places, ahead / np.maximum(np.hypot(ahead[:, 0], ahead[:, 1]), 1e-9)[:, None]
