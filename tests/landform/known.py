"""What a ground by formula holds: the landforms known to be on it, and its posts."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import shapely
from pyproj import CRS

from hillsight.arrays import Floats
from hillsight.ground.grid import Grid, Surface
from landform.formulas import Formula, Frame, crest_from, critical_places, joined

#: British National Grid near its central meridian, where grid and true north all but agree.
CENTRE = (400_000.0, 300_000.0)

Bounds = tuple[float, float, float, float]


@dataclass(frozen=True)
class Expected:
    """A landform that the formula put somewhere.

    kind : name of the layer
    geometry : on the map
    size_m : how wide it is
    figures : columns of the layer and their values by the formula
    optional : a matter of opinion
    """

    kind: str
    geometry: shapely.Geometry
    size_m: float
    figures: dict[str, Any] = field(default_factory=dict)
    optional: bool = False


@dataclass(frozen=True)
class Made:
    """A ground by formula: posts, the formula of map position, and its landforms; read at ``scale_m``."""

    surface: Surface
    ground: Formula
    frame: Frame
    expected: list[Expected]
    scale_m: float

    def required(self, kind: str | None = None) -> list[Expected]:
        return [e for e in self.expected if not e.optional and kind in (None, e.kind)]


def posts_of(ground: Formula, side_m: float, spacing_m: float) -> Surface:
    """The formula at the posts of a square about the centre; cells of any spacing cover the same square."""
    count = round(side_m / spacing_m)
    west, north = CENTRE[0] - (count - 1) / 2 * spacing_m, CENTRE[1] + (count - 1) / 2 * spacing_m
    grid = Grid(CRS.from_epsg(27700), west, north, spacing_m, spacing_m, count, count)
    x, y = np.meshgrid(west + np.arange(count) * spacing_m, north - np.arange(count) * spacing_m)
    return Surface(grid, ground(x, y).astype(np.float32))


def with_noise(made: Made, seed: int, sd_m: float = 1.0) -> Made:
    """White noise at every post: the same landforms must come out of it."""
    noise = np.random.default_rng(seed).normal(0.0, sd_m, made.surface.height_m.shape)
    noisy = Surface(made.surface.grid, (made.surface.height_m + noise).astype(np.float32))
    return replace(made, surface=noisy)


def bounds(side_m: float) -> Bounds:
    half = side_m / 2
    return CENTRE[0] - half, CENTRE[1] - half, CENTRE[0] + half, CENTRE[1] + half


def bearing(east: float, north: float) -> float:
    return float(np.degrees(np.arctan2(east, north)) % 360.0)


def tops_and_saddles(ground: Formula, side_m: float, size_m: float) -> list[Expected]:
    """Every top of the formula, every saddle between two of them, and the crest over each such saddle."""
    limits = bounds(side_m)
    level = critical_places(ground, limits)
    height = ground(*level.tops.T) if len(level.tops) else np.empty(0)
    ways = [crest_from(ground, saddle, limits) for saddle in level.saddles]
    ends = [(_which(level.tops, one[-1]), _which(level.tops, other[-1])) for one, other in ways]
    saddle_height = [float(ground(*saddle)) for saddle in level.saddles]
    keys, joining = joined(height, [(*e, h) for e, h in zip(ends, saddle_height, strict=True)])
    out = []
    for k, (one, other) in enumerate(ways):
        # Below the ground at the terrain's edge, and where it closes a ring, it is no saddle
        # between two tops.
        between = -1 not in ends[k] and k in joining
        crest = shapely.LineString(np.vstack([one[::-1], other[1:]]))
        climb = min((float(height[top]) for top in ends[k] if top >= 0), default=np.nan) - saddle_height[k]
        figures = {"height_m": saddle_height[k], "climb_m": climb} if between else {}
        out.append(Expected("saddles", shapely.Point(level.saddles[k]), size_m, figures, not between))
        out.append(Expected("ridges", crest, size_m, optional=not between))
    for k, place in enumerate(level.tops):
        figures = {"height_m": float(height[k])}
        if k in keys:
            figures |= {"prominence_m": float(height[k]) - keys[k], "key_saddle_height_m": keys[k]}
        out.append(Expected("tops", shapely.Point(place), size_m, figures))
    return out


def _which(tops: Floats, place: Floats) -> int:
    """The top that a way up has come to; -1 for none."""
    if not len(tops):
        return -1
    away = np.hypot(*(tops - place).T)
    return int(np.argmin(away)) if away.min() < 25.0 else -1
