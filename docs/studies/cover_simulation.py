"""Simulation: how well the chance of being seen fits where woods and walls stand, and are not as told.

The truth is drawn by ways that the model of chances does not use. Ground errs by a smooth field between
coarse uniform draws, not by a normal one of exponential covariance. Each wood is taller or lower by a uniform
draw of its own, with crowns on top; its edge wanders, and a post is in it or not. Walls differ one by one.
The station stands somewhere in a square. How far sight passes through a wood is drawn between half and twice
what is told, and whether a target behind a wood is made out is a throw of a coin weighted with the share of
sight that comes through. Each true surface is then seen as it is. What the model is told are the standard
deviations alone.

    python docs/studies/cover_simulation.py [--draws 60]
"""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass, replace

import numpy as np
from pyproj import CRS
from scipy import ndimage

from hillsight.arrays import Flags, Floats, Floats32
from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.cover import Cover, Screens
from hillsight.ground.grid import Grid, Surface
from hillsight.sight.doubt import probability_of_posts
from hillsight.sight.posts import see_posts
from hillsight.sight.viewing import Eye

KINDS = ("", "wood", "wall")
_DROP_PER_M = 6.8e-8


@dataclass(frozen=True)
class Told:
    """What is told of a place, and by how much it may be out.

    stands : (rows, columns) number of the wood at each post, 0 for none
    wood_height_m : of each wood, from number 1 on
    """

    surface: Surface
    stands: Floats
    wood_height_m: tuple[float, ...]
    errors: ErrorModel
    eye_row: float
    eye_column: float
    eye_height_m: float

    @property
    def cover(self) -> Cover:
        """What stands on the ground."""
        assert self.surface.cover is not None
        return self.surface.cover

    def eye(self, surface: Surface, down_m: float = 0.0, right_m: float = 0.0) -> Eye:
        """The eye over a surface, so far from where it is told to be."""
        grid = surface.grid
        row, column = self.eye_row + down_m / grid.spacing_y_m, self.eye_column + right_m / grid.spacing_x_m
        place = tuple(float(v) for v in grid.to_map(row, column))
        return Eye(row, column, surface.height_at_m(*place) + self.eye_height_m, _DROP_PER_M)


def smooth_field(random: np.random.Generator, shape: tuple[int, ...], coarse: int) -> Floats:
    """A smooth field of mean nought and standard deviation one, between uniform draws so many posts apart."""
    size = [-(-n // coarse) + 3 for n in shape]
    field = ndimage.zoom(random.uniform(-1, 1, size), coarse, order=3)[: shape[0], : shape[1]]
    return (field - field.mean()) / field.std()


def made_place(
    height_m: Floats32, spacing_m: float, *, seed: int, passing_m: float, walls: int, errors: ErrorModel
) -> Told:
    """Woods and walls on some ground, with an eye in the open."""
    random, shape = np.random.default_rng(seed), height_m.shape
    rows, columns = np.indices(shape)
    stands, heights = np.zeros(shape), []
    for number in range(1, 7):
        row, column = random.uniform(0.1, 0.9, 2) * shape
        wide = random.uniform(0.04, 0.12) * max(shape)
        stands[np.hypot(rows - row, (columns - column) / random.uniform(0.5, 2)) < wide] = number
        heights.append(float(random.uniform(6, 20)))
    eye_row, eye_column = random.uniform(0.35, 0.65, 2) * shape
    stands[np.hypot(rows - eye_row, columns - eye_column) < 4] = 0
    wood_m = np.array([0.0, *heights])[stands.astype(int)].astype(np.float32)
    ends = []
    for _ in range(walls):
        at = random.uniform(0.1, 0.9, 2) * shape
        if math.hypot(at[0] - eye_row, at[1] - eye_column) > 6:
            ends.append((*at, *(at + random.normal(0, 4, 2))))
    lines = np.array(ends).reshape(-1, 4)
    screens = Screens(*lines.T.copy(), random.uniform(1.2, 3.0, len(lines)), np.full(len(lines), 2, np.uint8))
    grid = Grid(CRS(27700), 300_000.0, 700_000.0, spacing_m, spacing_m, *shape)
    cover = Cover(
        np.zeros_like(wood_m),
        wood_m,
        (wood_m > 0).astype(np.uint8),
        KINDS,
        screens,
        passing_m,
        height_sigma_m=2.0,
        edge_sigma_m=5.0,
    )
    surface = Surface(grid, height_m, cover)
    return Told(surface, stands, tuple(heights), errors, float(eye_row), float(eye_column), 1.6)


def true_place(told: Told, random: np.random.Generator) -> tuple[Surface, Eye]:
    """One place that may lie behind what is told."""
    cover, grid, errors = told.cover, told.surface.grid, told.errors
    shape, root3 = told.stands.shape, math.sqrt(3.0)
    height_m = told.surface.height_m + errors.terrain_rmse_m * smooth_field(
        random, shape, max(round(errors.correlation_length_m / grid.spacing_x_m), 2)
    )
    wood_m = np.zeros(shape)
    for number, tall_m in enumerate(told.wood_height_m, 1):
        # Metres inside the told edge; half of the error is the whole wood's, half wanders along the edge.
        # The edge that is told lies half-way between two posts.
        inside = told.stands == number
        inside_m = grid.spacing_x_m * np.where(
            inside,
            ndimage.distance_transform_edt(inside) - 0.5,
            0.5 - ndimage.distance_transform_edt(~inside),
        )
        sigma_m = cover.edge_sigma_m * math.sqrt(0.5)
        inside_m += sigma_m * random.uniform(-root3, root3) + sigma_m * smooth_field(random, shape, 8)
        crowns_m = 0.5 * cover.height_sigma_m * random.standard_normal(shape)
        true_m = tall_m + math.sqrt(0.75) * cover.height_sigma_m * random.uniform(-root3, root3) + crowns_m
        wood_m = np.maximum(wood_m, np.where(inside_m > 0, np.maximum(true_m, 1.0), 0.0))
    walls_m = cover.screens.height_m + cover.height_sigma_m * random.uniform(
        -root3, root3, len(cover.screens)
    )
    true = replace(
        cover,
        wood_m=wood_m.astype(np.float32),
        kind=(wood_m > 0).astype(np.uint8),
        screens=replace(cover.screens, height_m=np.maximum(walls_m, 0.0)),
        passing_m=cover.passing_m * 2.0 ** random.uniform(-1, 1),
    )
    surface = Surface(grid, height_m.astype(np.float32), true)
    place_m = errors.station_position_m * random.uniform(-root3, root3, 2)
    return surface, told.eye(surface, *place_m)


@dataclass(frozen=True)
class Outcome:
    """What was told of posts, (n,) each, and how often each was then seen."""

    chance: Floats
    at_its_word: Floats
    bare: Floats
    seen: Floats
    draws: int

    def brier(self, told: Floats) -> float:
        """Mean square of a chance from what came of it."""
        return float(np.mean(self.seen * (told - 1.0) ** 2 + (1.0 - self.seen) * told**2))

    def bins(self) -> list[tuple[float, float, int]]:
        """Mean chance, share seen and posts of each tenth of chance."""
        tenth = np.minimum((self.chance * 10).astype(int), 9)
        return [
            (float(self.chance[tenth == k].mean()), float(self.seen[tenth == k].mean()), int(n))
            for k, n in enumerate(np.bincount(tenth, minlength=10))
            if n
        ]


def simulate(told: Told, draws: int, *, seed: int, target_height_m: float = 1.0) -> Outcome:
    """Chances told of all posts in the open, held against what is seen of places drawn."""
    random, eye = np.random.default_rng(seed), told.eye(told.surface)
    bare = Surface(told.surface.grid, told.surface.height_m)
    chance = probability_of_posts(told.surface, eye, math.inf, target_height_m, told.errors)
    bare_chance = probability_of_posts(bare, eye, math.inf, target_height_m, told.errors)
    word = see_posts(told.surface, eye, math.inf, target_height_m).light
    open_ground: Flags = (told.stands == 0) & np.isfinite(chance)
    seen, counted = np.zeros(told.stands.shape), np.zeros(told.stands.shape)
    for _ in range(draws):
        surface, true_eye = true_place(told, random)
        assert surface.cover is not None
        light = see_posts(surface, true_eye, math.inf, target_height_m).light
        judged = open_ground & np.isfinite(light) & (surface.cover.tallest_m <= target_height_m)
        counted += judged
        seen += judged & (random.random(light.shape) < light)
    told_of = open_ground & (counted >= draws / 2)
    return Outcome(
        chance[told_of].astype(float),
        word[told_of].astype(float),
        bare_chance[told_of].astype(float),
        seen[told_of] / counted[told_of],
        draws,
    )


def rough_ground(side: int, seed: int, relief_m: float) -> Floats32:
    """Made ground by spectral synthesis."""
    random = np.random.default_rng(seed)
    noise = np.fft.rfft2(random.standard_normal((side, side)))
    frequency = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None, :])
    frequency[0, 0] = np.inf
    ground = np.fft.irfft2(noise * frequency**-2.2, s=(side, side))
    return (relief_m * (ground - ground.min()) / np.ptp(ground)).astype(np.float32)


def main() -> None:
    """Print how chances fit, case by case."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=60)
    parser.add_argument("--side", type=int, default=101)
    asked = parser.parse_args()
    errors = ErrorModel(0.5, 60.0, between_posts="straight", station_position_m=3.0)
    cases = (
        ("opaque woods", 0.0, 0),
        ("woods in leaf", 15.0, 0),
        ("bare woods", 60.0, 0),
        ("walls", 0.0, 40),
    )
    for name, passing_m, walls in cases:
        for seed in range(3):
            ground = rough_ground(asked.side, seed, (20.0, 60.0, 120.0)[seed])
            told = made_place(ground, 10.0, seed=seed, passing_m=passing_m, walls=walls, errors=errors)
            found = simulate(told, asked.draws, seed=seed)
            print(
                f"{name}, {seed}: Brier score {found.brier(found.chance):.4f}; cover at its word "
                f"{found.brier(found.at_its_word):.4f}; bare ground's chances {found.brier(found.bare):.4f}; "
                f"mean chance {found.chance.mean():.3f}, seen {found.seen.mean():.3f}"
            )
            print("   " + "  ".join(f"{mean:.2f}:{seen:.2f} ({n})" for mean, seen, n in found.bins()))


if __name__ == "__main__":
    main()
