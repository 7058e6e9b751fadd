"""Traced skylines of views over made ground, by a walk and a camera that share nothing with the search."""

from __future__ import annotations

import numpy as np

from hillsight.plan.picture.marks import MarkedPhotograph, Marks, Trace

WIDTH_PX, HEIGHT_PX = 3_000, 2_000


def sky_edge_rad(
    height_m: np.ndarray, spacing_m: float, row: float, column: float, eye_m: float
) -> np.ndarray:
    """Vertical angle of the sky's edge every fifth of a degree from grid north, flat earth, by sampling."""
    steps = np.arange(0.5, 2.0 * max(height_m.shape), 0.5) * spacing_m
    found = np.empty(1800)

    def ground(r: np.ndarray, c: np.ndarray) -> np.ndarray:
        i, j = r.astype(int), c.astype(int)
        down, right = r - i, c - j
        upper = height_m[i, j] * (1 - right) + height_m[i, j + 1] * right
        lower = height_m[i + 1, j] * (1 - right) + height_m[i + 1, j + 1] * right
        return upper * (1 - down) + lower * down

    level_m = float(ground(np.array([row]), np.array([column]))[0]) + eye_m
    for k, turn in enumerate(np.radians(np.arange(1800) / 5.0)):
        r, c = row - np.cos(turn) * steps / spacing_m, column + np.sin(turn) * steps / spacing_m
        inside = (r >= 0) & (c >= 0) & (r < height_m.shape[0] - 1) & (c < height_m.shape[1] - 1)
        found[k] = np.arctan(((ground(r[inside], c[inside]) - level_m) / steps[inside]).max())
    return found


def traced_view(
    height_m: np.ndarray,
    spacing_m: float,
    row: float,
    column: float,
    heading_deg: float,
    *,
    width_deg: float = 60.0,
    tilt_deg: float = 2.0,
    roll_deg: float = -1.0,
    error_deg: float = 0.1,
    hidden: tuple[tuple[float, float], ...] = (),
    seed: int = 1,
) -> Marks:
    """Marks of a picture taken there; parts of its width, degrees from the middle, are ``hidden``."""
    edge = sky_edge_rad(height_m, spacing_m, row, column, 1.6)
    off = np.arange(-0.6 * width_deg, 0.6 * width_deg, 0.25)
    bearing = np.radians(heading_deg + off)
    up = np.interp(np.degrees(bearing) % 360.0, np.arange(1801) / 5.0, np.r_[edge, edge[0]])
    up = up + np.radians(error_deg) * np.random.default_rng(seed).standard_normal(up.size)
    east, north, rise = np.sin(bearing) * np.cos(up), np.cos(bearing) * np.cos(up), np.sin(up)
    turn, tilt, roll = np.radians(heading_deg), np.radians(tilt_deg), np.radians(roll_deg)
    right = east * np.cos(turn) - north * np.sin(turn)
    ahead = east * np.sin(turn) + north * np.cos(turn)
    forward, above = ahead * np.cos(tilt) + rise * np.sin(tilt), rise * np.cos(tilt) - ahead * np.sin(tilt)
    # The camera turned clockwise about its axis: what was level rises to the left in the picture.
    across, up_px = right * np.cos(roll) - above * np.sin(roll), right * np.sin(roll) + above * np.cos(roll)
    focal_px = WIDTH_PX / 2 / np.tan(np.radians(width_deg / 2))
    x_px = WIDTH_PX / 2 + focal_px * across / forward
    y_px = HEIGHT_PX / 2 - focal_px * up_px / forward
    shown = (x_px >= 0) & (x_px <= WIDTH_PX) & (y_px >= 0) & (y_px <= HEIGHT_PX)
    for begin, end in hidden:
        shown &= ~((off >= begin) & (off < end))
    edges = np.flatnonzero(np.diff(np.r_[False, shown, False].astype(int))).reshape(-1, 2)
    pieces = tuple(Trace(x_px[a:b], y_px[a:b]) for a, b in edges if b - a > 3)
    return Marks(MarkedPhotograph("view.jpg", WIDTH_PX, HEIGHT_PX, "cd" * 32), (), pieces)
