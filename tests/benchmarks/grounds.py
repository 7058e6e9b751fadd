"""Grounds of the benchmarks and the stations on them: made and real relief, from little seen to all seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from pyproj import CRS

from hillsight.arrays import Floats32
from hillsight.ground.grid import Grid, Surface
from hillsight.sight.maxima import Maxima
from hillsight.sight.posts import see_states
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState
from shared_data import shared_file
from terrains import fractal

SPACING_M = 10.0
EYE_HEIGHT_M = 1.6
#: Shares of all posts that the stations should see, as near as a station and an eye height can be found.
SHARES = (0.02, 0.05, 0.1, 0.2, 0.4, 0.6)
#: The share at which an off-post station is tried too, and at which growth is measured.
USUAL_SHARE = 0.1

#: Height of made relief over width of the ground: slopes are the same at every size.
_RELIEF_OF_WIDTH = 1 / 30
_SEED = 1
#: A place is looked for on the ground thinned to about this many posts a side.
_SEARCH_SIDE = 400
_CANDIDATES = 200
#: Eye heights that are tried, metres; the upper one is a multiple of the relief.
_LOWEST_EYE_M, _HIGHEST_EYE_OF_RELIEF = 0.1, 2.0
_HALVINGS, _NEAR_ENOUGH = 14, 0.02
#: Where the off-post station lies off its post, in spacings down and right; "common practice, no source".
_OFF_POST = (0.37, 0.41)

_REAL_FILE, _REAL_SPACING_M, _SEA_M = "osterrain50_nn.tif", 50.0, 0.5


class MissingGroundError(Exception):
    """A ground that cannot be had here; the message says why."""


@dataclass(frozen=True)
class Station:
    """An eye and what it is there to show.

    wanted_share : the visible share it was chosen for, 0 to 1
    eye_height_m : above the ground under it
    visible_share : of all posts
    """

    eye: Eye
    eye_height_m: float
    wanted_share: float
    visible_share: float

    @property
    def on_post(self) -> bool:
        """Whether it stands on a post, where engines that know no other place are at no loss."""
        return self.eye.row.is_integer() and self.eye.column.is_integer()


def surface_of(height_m: Floats32) -> Surface:
    """Heights on a lattice of 10 m."""
    height_m = np.ascontiguousarray(height_m, np.float32)
    grid = Grid(CRS(32630), 500_000.0, 6_000_000.0, SPACING_M, SPACING_M, *height_m.shape)
    return Surface(grid, height_m)


class Grounds:
    """The grounds of one run, each made once at the largest side."""

    def __init__(self, sides: list[int]) -> None:
        self.sides = sorted(sides)
        self._largest: Floats32 | None = None

    def surface(self, name: str, side: int) -> Surface:
        """A ground by its name: fractal, bowl or real.

        Raises
        ------
        MissingGroundError : the real ground's file is not here
        """
        return surface_of({"fractal": self._fractal, "bowl": _bowl, "real": _real}[name](side))

    def alike(self, name: str, side: int) -> bool:
        """Whether a ground is the largest one's with fewer posts, not another piece or another draw."""
        return name == "bowl" or (name == "fractal" and (self.sides[-1] - 1) % (side - 1) == 0)

    def about(self, name: str, side: int) -> str:
        """One line on what the ground is."""
        if name == "bowl":
            return "a paraboloid with the station in the middle: every post is seen"
        if name == "fractal":
            if not self.alike(name, side) or side == self.sides[-1]:
                return f"spectral synthesis, seed {_SEED}"
            step = (self.sides[-1] - 1) // (side - 1)
            return f"spectral synthesis, seed {_SEED}; one post in {step} of {self.sides[-1]}, heights scaled"
        return f"{_REAL_FILE}, cubic from 50 m to 10 m, {_land(side)[2]:.1%} of posts at sea"

    def _fractal(self, side: int) -> Floats32:
        """Thinned from the largest: the same ground up to scale. Slopes are kept, so heights shrink."""
        largest = self.sides[-1]
        relief_m = _RELIEF_OF_WIDTH * (side - 1) * SPACING_M
        if not self.alike("fractal", side):
            return fractal(side, side, seed=_SEED, relief_m=relief_m)
        if self._largest is None:
            self._largest = fractal(
                largest, largest, seed=_SEED, relief_m=_RELIEF_OF_WIDTH * (largest - 1) * SPACING_M
            )
        step = (largest - 1) // (side - 1)
        return self._largest[::step, ::step] / np.float32(step)


def _bowl(side: int) -> Floats32:
    """A paraboloid of revolution: from its bottom every slope is steeper than all nearer ones."""
    away = (np.arange(side, dtype=np.float32) - side // 2) / np.float32(side / 2)
    depth_m = np.float32(_RELIEF_OF_WIDTH * (side - 1) * SPACING_M)
    return depth_m * (away[:, None] ** 2 + away[None, :] ** 2)


def _land(side: int) -> tuple[int, int, float]:
    """First row and column, in 50 m cells, of the square with the least sea, and its share of sea.

    Of squares with equally little, the one nearest to the middle of the file.
    """
    import rasterio

    with rasterio.open(_real_file()) as source:
        height_m = source.read(1)
    cells = _cells(side)
    if cells > min(height_m.shape):
        raise MissingGroundError(
            f"{_REAL_FILE} has {min(height_m.shape) * 5} posts of 10 m a side, not {side}"
        )
    sea = np.pad((height_m <= _SEA_M).astype(np.int64).cumsum(0).cumsum(1), ((1, 0), (1, 0)))
    within = sea[cells:, cells:] - sea[:-cells, cells:] - sea[cells:, :-cells] + sea[:-cells, :-cells]
    rows, columns = np.nonzero(within == within.min())
    middle_row, middle_column = ((n - cells) / 2 for n in height_m.shape)
    nearest = int(np.argmin((rows - middle_row) ** 2 + (columns - middle_column) ** 2))
    return int(rows[nearest]), int(columns[nearest]), float(within.min()) / cells**2


def _real(side: int) -> Floats32:
    """Part of the real ground at 10 m."""
    import rasterio
    from rasterio.enums import Resampling
    from rasterio.windows import Window

    row, column, _ = _land(side)
    cells = _cells(side)
    posts = round(cells * _REAL_SPACING_M / SPACING_M)
    with rasterio.open(_real_file()) as source:
        height_m = source.read(
            1,
            window=Window(column, row, cells, cells),
            out_shape=(posts, posts),
            resampling=Resampling.cubic,
        )
    return np.ascontiguousarray(height_m[:side, :side], np.float32)


def _cells(side: int) -> int:
    """Cells of 50 m that hold so many posts of 10 m."""
    return -(-side * int(SPACING_M) // int(_REAL_SPACING_M))


def _real_file() -> str:
    try:
        return str(shared_file(_REAL_FILE))
    except pytest.skip.Exception as reason:
        raise MissingGroundError(str(reason)) from reason


def visible_share(surface: Surface, eye: Eye, maxima: Maxima | None = None) -> float:
    """Share of all posts that an eye sees, by the kernel under test."""
    states = see_states(surface, eye, np.inf, maxima=maxima)
    return float(np.count_nonzero(states == GroundState.VISIBLE) / states.size)


def eye_over(surface: Surface, row: float, column: float, eye_height_m: float) -> Eye:
    """An eye so high above the ground; flat earth."""
    easting_m, northing_m = surface.grid.to_map(row, column)
    return Eye(row, column, surface.height_at_m(float(easting_m), float(northing_m)) + eye_height_m)


def stations(name: str, surface: Surface, shares: tuple[float, ...] = SHARES) -> list[Station]:
    """Stations that see about the wanted shares, and last one off its post; always the same ones.

    A person's eye on many places of the thinned ground tells which place sees how much. Of the places that
    see no more than is wanted the one that sees most is taken, and the eye is raised there (or lowered)
    until the share at the full number of posts is right to two per cent of it, or as near as it comes.
    """
    if name == "bowl":
        middle = surface.grid.rows // 2
        eye = eye_over(surface, middle, middle, EYE_HEIGHT_M)
        return [Station(eye, EYE_HEIGHT_M, 1.0, visible_share(surface, eye))]
    step = max(1, (surface.grid.rows - 1) // _SEARCH_SIDE)
    thinned = surface_of(surface.height_m[::step, ::step] / np.float32(step))
    maxima = Maxima.of(thinned.height_m)
    random = np.random.default_rng(_SEED)
    places = random.integers(0, min(thinned.height_m.shape), (_CANDIDATES, 2)).tolist()
    places.append(np.unravel_index(int(np.argmax(thinned.height_m)), thinned.height_m.shape))
    found = []
    for row, column in places:
        eye = eye_over(thinned, int(row), int(column), EYE_HEIGHT_M)
        found.append((visible_share(thinned, eye, maxima), int(row), int(column)))
    found.sort()
    chosen = []
    for wanted in shares:
        _, row, column = max((f for f in found if f[0] <= wanted), default=found[0])
        chosen.append(_raised(surface, row * step, column * step, wanted))
    usual = min(chosen, key=lambda s: abs(s.wanted_share - USUAL_SHARE))
    row, column = (usual.eye.row + _OFF_POST[0], usual.eye.column + _OFF_POST[1])
    last_row, last_column = surface.grid.rows - 1, surface.grid.columns - 1
    off = eye_over(surface, min(row, last_row - 0.6), min(column, last_column - 0.6), usual.eye_height_m)
    return [*chosen, Station(off, usual.eye_height_m, usual.wanted_share, visible_share(surface, off))]


def _raised(surface: Surface, row: int, column: int, wanted_share: float) -> Station:
    """The eye height, by halving on its logarithm, at which a place sees the wanted share."""
    maxima = Maxima.of(surface.height_m)
    relief_m = float(surface.height_m.max() - surface.height_m.min())
    low, high = np.log(_LOWEST_EYE_M), np.log(max(_HIGHEST_EYE_OF_RELIEF * relief_m, 1.0))
    best: Station | None = None
    for trial in range(_HALVINGS):
        height_m = EYE_HEIGHT_M if trial == 0 else round(float(np.exp((low + high) / 2)), 2)
        eye = eye_over(surface, row, column, height_m)
        share = visible_share(surface, eye, maxima)
        if best is None or abs(share - wanted_share) < abs(best.visible_share - wanted_share):
            best = Station(eye, height_m, wanted_share, share)
        if abs(best.visible_share - wanted_share) <= _NEAR_ENOUGH * wanted_share:
            break
        low, high = (np.log(height_m), high) if share < wanted_share else (low, np.log(height_m))
    assert best is not None
    return best
