"""Made cover on made and real ground, and what the walker says of posts and targets there."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest

import oracle
import terrains
from hillsight.ground.cover import Cover, Screens
from hillsight.ground.grid import Surface
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState
from shared_data import shared_file
from views import surface_of

KINDS = ("", "wood", "building", "wall")
ROWS, COLUMNS = 29, 33
#: What lets sight pass, and how many walls, by the case's number.
CHOICES = ((0.0, 0), (0.0, 6), (40.0, 0), (15.0, 6), (400.0, 12))


def with_cover(surface: Surface, random: np.random.Generator, *, passing_m: float, screens: int) -> Surface:
    """Some woods, buildings and walls on a surface; no two seeds alike."""
    shape = surface.height_m.shape
    rows, columns = np.indices(shape)
    wood_m, solid_m = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    for _ in range(int(random.integers(1, 6))):
        row, column = random.uniform(0, shape[0]), random.uniform(0, shape[1])
        wide = random.uniform(0.05, 0.25) * max(shape)
        inside = np.hypot(rows - row, (columns - column) * random.uniform(0.5, 2)) < wide
        wood_m[inside] = random.uniform(4, 25) + random.normal(0, 1, int(inside.sum()))
    for _ in range(int(random.integers(0, 12))):
        row, column = int(random.integers(shape[0])), int(random.integers(shape[1]))
        deep, wide = random.integers(1, 4, 2)
        solid_m[row : row + deep, column : column + wide] = random.uniform(2, 30)
    wood_m, solid_m = np.maximum(wood_m, 0), np.maximum(solid_m, 0)
    kind = np.where(solid_m > wood_m, 2, np.where(wood_m > 0, 1, 0)).astype(np.uint8)
    ends = []
    for _ in range(screens):
        # A wall of several pieces that meet, some along grid lines and over posts.
        at = np.array([random.uniform(-1, shape[0]), random.uniform(-1, shape[1])])
        if random.random() < 0.4:
            at = np.round(at)
        for _ in range(int(random.integers(1, 5))):
            to = at + random.choice([random.normal(0, 4, 2), random.integers(-4, 5, 2).astype(float)])
            ends.append((*at, *to))
            at = to
    lines = np.array(ends).reshape(-1, 4)
    walls = Screens(*lines.T.copy(), random.uniform(0, 6, len(lines)), np.full(len(lines), 3, np.uint8))
    cover = Cover(solid_m.astype(np.float32), wood_m.astype(np.float32), kind, KINDS, walls, passing_m)
    return replace(surface, cover=cover)


@dataclass(frozen=True)
class Walked:
    """What the walker finds of a target: clearance over all and over what is opaque, light, state."""

    every_m: float
    opaque_m: float
    light: float
    state: int
    crest_shares: tuple[float, ...]


class Walker:
    """Walks over a covered surface from an eye."""

    def __init__(self, surface: Surface, eye) -> None:
        cover, grid = surface.cover, surface.grid
        self.surface, self.eye, self.cover = surface, eye, cover
        lower = (grid.spacing_x_m, grid.spacing_y_m, eye.row, eye.column, eye.drop_per_m)
        top_m = surface.height_m + np.maximum(cover.solid_m, cover.wood_m)
        self.bare = oracle.lowered_posts(surface.height_m, *lower)
        self.every = oracle.lowered_posts(top_m, *lower)
        self.opaque = self.every
        if cover.passing_m > 0:
            self.opaque = oracle.lowered_posts(surface.height_m + cover.solid_m, *lower)
        self._last = (None, None)
        s = cover.screens
        self.screens = list(zip(s.row, s.column, s.to_row, s.to_column, s.height_m, strict=True))
        self.tallest = np.maximum(cover.solid_m, cover.wood_m).astype(float)
        self.eye_inside = False
        if 0 <= eye.row <= grid.rows - 1 and 0 <= eye.column <= grid.columns - 1:
            under_m = oracle.bilinear(surface.height_m.astype(float), eye.row, eye.column)
            over_m = oracle.bilinear(self.tallest, eye.row, eye.column) - (eye.level_m - under_m)
            self.eye_inside = over_m > 0.5

    def _ways(self, row: float, column: float):
        """The ways over all, and over what is opaque; kept for the next target at the same place."""
        if self._last[0] != (row, column):
            eye = self.eye
            ways = [
                oracle.way(lowered, eye.row, eye.column, eye.level_m, row, column, self.screens, self.bare)
                for lowered in ([self.every] if self.opaque is self.every else [self.every, self.opaque])
            ]
            self._last = ((row, column), (ways[0], ways[-1]))
        return self._last[1]

    def to(self, row: float, column: float, target_height_m: float) -> Walked:
        eye, grid = self.eye, self.surface.grid
        target_m = oracle.bilinear(self.bare, row, column) + target_height_m
        ways = self._ways(row, column)
        every_m, opaque_m = (oracle.clearance_over(walked, target_m) for walked in ways)
        crests = [walked.crest_shares for walked in ways]
        light = math.nan if math.isnan(every_m) else float(every_m >= 0)
        which = 0
        if every_m < 0 and not opaque_m < 0:
            path_m = oracle.wood_path_m(
                self.every, grid.spacing_x_m, grid.spacing_y_m, eye, row, column, target_m
            )
            light = math.exp(-path_m / self.cover.passing_m)
            light = light if light >= 0.05 else 0.0
            if math.isnan(opaque_m) and light > 0:
                light = math.nan
            which = int(math.isnan(light) or light >= 0.5)
        if self.eye_inside or oracle.bilinear(self.tallest, row, column) - target_height_m > 0.5:
            light = min(light, 0.5) if not math.isnan(light) else light
        state = GroundState.UNKNOWN
        if not math.isnan(light):
            state = GroundState.HIDDEN if light < 0.05 else GroundState.UNCERTAIN
            state = GroundState.VISIBLE if light > 0.95 else state
        return Walked((every_m, opaque_m)[which], opaque_m, light, int(state), crests[which])


def _ground(name, random, shape):
    if name == "fractal":
        return terrains.fractal(
            *shape, seed=int(random.integers(1 << 30)), relief_m=float(random.choice([20.0, 120.0, 400.0]))
        )
    if name == "flat":
        return np.full(shape, 250.0, np.float32)
    if name == "voids":
        ground = terrains.fractal(*shape, seed=int(random.integers(1 << 30)), relief_m=80.0)
        return terrains.with_voids(ground, seed=int(random.integers(1 << 30)), share=0.02)
    # OS Terrain 50, (c) Crown copyright and database right, Open Government Licence v3.
    rasterio = pytest.importorskip("rasterio")
    with rasterio.open(shared_file("osterrain50_nn.tif")) as file:
        row, column = (int(random.integers(n - m)) for n, m in zip(file.shape, shape, strict=True))
        window = rasterio.windows.Window(column, row, shape[1], shape[0])
        return file.read(1, window=window).astype(np.float32)


GROUNDS = ("fractal", "flat", "voids", "highlands")


def covered_case(name, number, shape=(ROWS, COLUMNS)):
    """A covered surface, an eye, a reach and target heights; the same number gives the same case."""
    random = np.random.default_rng([number, *name.encode(), *shape])
    spacings_m = (50.0, 50.0) if name == "highlands" else [(10.0, 10.0), (7.0, 13.0), (25.0, 4.0)][number % 3]
    passing_m, screens = CHOICES[number % len(CHOICES)]
    bare = surface_of(_ground(name, random, shape), *spacings_m)
    surface = with_cover(bare, random, passing_m=passing_m, screens=screens)
    row, column = (random.uniform(0, n - 1) for n in shape)
    if number % 4 == 0:
        row, column = round(row), round(column)
    if number % 9 == 8:
        row -= 2.0 * shape[0]
    under_m = float(np.nan_to_num(surface.heights_at_m(*surface.grid.to_map(row, column)), nan=100.0))
    level_m = under_m + float(random.choice([1.6, 1.6, 20.0, random.uniform(0, 200)]))
    drop = float(random.choice([0.0, 6.8e-8, 6.8e-6]))
    targets_m = [[0.0], [1.5, 0.0], [0.0, 2.0, 30.0]][number // 2 % 3]
    reach_m = [math.inf, 0.4 * max(shape) * max(spacings_m)][number // 5 % 2]
    return surface, Eye(float(row), float(column), level_m, drop), reach_m, targets_m, random
