"""A slow walk along single rays of a drawn view, crossing by crossing: what the kernels are held against."""

from __future__ import annotations

import math

import numpy as np

import oracle


def highest_slope_beyond(highest_m, eye, from_m):
    """Greatest slope of ground as high as the highest, at a distance or farther: looked for, not reckoned."""
    d = from_m * np.geomspace(1.0, 1e6, 200_001)
    return float(np.max((highest_m - eye.drop_per_m * d**2 - eye.level_m) / d))


def walked(far, eye, bearing_deg, angles_deg):
    """Distances at which rays of one bearing first meet ground; as ``see_rays`` has them."""
    grid = far.surface.grid
    spacings = grid.spacing_x_m, grid.spacing_y_m
    lowered = oracle.lowered_posts(far.surface.height_m, *spacings, eye.row, eye.column, eye.drop_per_m)
    east, north = math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))

    def gap_m(slope, d):
        row, column = eye.row - d * north / grid.spacing_y_m, eye.column + d * east / grid.spacing_x_m
        row, column = min(max(row, 0.0), grid.rows - 1.0), min(max(column, 0.0), grid.columns - 1.0)
        return oracle.bilinear(lowered, row, column) - eye.level_m - slope * d

    along = oracle.look_along(lowered, *spacings, eye, math.inf, bearing_deg)
    distances = [0.0, *(d for d, _ in along.crossings)]
    heights = [math.nan, *(h for _, h in along.crossings)]
    filled = np.where(np.isnan(lowered), 0.0, lowered)
    every = oracle.look_along(filled, *spacings, eye, math.inf, bearing_deg).crossings
    places, known = [0.0, *(d for d, _ in every)], set(distances)
    void_m = next((places[i - 1] for i, d in enumerate(places) if d not in known), math.inf)
    void_slope = (
        highest_slope_beyond(far.highest_m, eye, max(void_m, 1e-9)) if void_m < math.inf else -math.inf
    )
    open_slope = max(void_slope, highest_slope_beyond(far.highest_m, eye, places[-1]))

    def met(slope):
        for before, here, height in zip(distances[:-1], distances[1:], heights[1:], strict=True):
            if height - eye.level_m < slope * here:
                continue
            low, high = before, here
            if math.isnan(gap_m(slope, (low + high) / 2)):
                low = high
            for _ in range(60):
                middle = (low + high) / 2
                low, high = (middle, high) if gap_m(slope, middle) < 0 else (low, middle)
            return -high if here > void_m and slope <= void_slope else high
        return -math.inf if slope <= open_slope else math.nan

    return [met(math.tan(math.radians(angle))) for angle in angles_deg]
