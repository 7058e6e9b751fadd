"""Brute simulation of an error model: draw the errors, look again, count. Slow, obvious, and apart.

One draw is a terrain (model plus a correlated field), a station that stands elsewhere on it, another eye
height and another refraction. What it sees is worked out by the view's own kernel, which has its own oracle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from pyproj import CRS
from scipy.fft import next_fast_len

from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.grid import Grid, Surface
from hillsight.sight.posts import see_states
from hillsight.sight.viewing import Eye
from hillsight.words.states import GroundState
from shared_data import shared_file
from terrains import fractal

EARTH_M = 6_371_000.0


def covariance_m2(errors: ErrorModel, distance_m):
    """The error model's formula, written once more."""
    apart = distance_m / errors.correlation_length_m
    alike = np.exp(-apart) if errors.correlation_shape == "exponential" else np.exp(-(apart**2))
    alone = np.where(distance_m == 0.0, errors.nugget_share, 0.0)
    return errors.terrain_rmse_m**2 * ((1.0 - errors.nugget_share) * alike + alone)


class Fields:
    """Normal fields with a given covariance on a lattice, by circulant embedding.

    Source of the method: Dietrich and Newsam 1997, SIAM J. Sci. Comput. 18 (from memory). The lattice is
    put in a ring several correlation lengths larger, on which the covariance is diagonal in frequency;
    negative powers, which a ring too small has, must be negligible.
    """

    def __init__(self, rows: int, columns: int, spacing_x_m: float, spacing_y_m: float, errors: ErrorModel):
        lengths = 10.0 if errors.correlation_shape == "exponential" else 4.0
        extra_m = lengths * errors.correlation_length_m
        self.shape = rows, columns
        around = _even(rows + extra_m / spacing_y_m), _even(columns + extra_m / spacing_x_m)
        down_m = np.minimum(np.arange(around[0]), around[0] - np.arange(around[0])) * spacing_y_m
        right_m = np.minimum(np.arange(around[1]), around[1] - np.arange(around[1])) * spacing_x_m
        power = np.fft.fft2(covariance_m2(errors, np.hypot(down_m[:, None], right_m[None, :]))).real
        assert power.min() > -1e-3 * power.max(), "the ring is too small for this covariance"
        power = np.maximum(power, 0.0)
        # What is cut off at nought is taken from the rest, so that the variance is right.
        power *= errors.terrain_rmse_m**2 * power.size / max(power.sum(), 1e-300)
        self._amplitude = np.sqrt(power / power.size)
        self._spare = None

    def draw(self, random: np.random.Generator):
        """One field; every second one is the imaginary part of the one before."""
        if self._spare is not None:
            field, self._spare = self._spare, None
            return field
        around = self._amplitude.shape
        white = random.standard_normal(around) + 1j * random.standard_normal(around)
        both = np.fft.fft2(white * self._amplitude)[: self.shape[0], : self.shape[1]]
        self._spare = both.imag
        return both.real


def _even(length: float) -> int:
    return int(next_fast_len(int(np.ceil(length)) + 1))


@dataclass(frozen=True)
class Draw:
    """One possible truth."""

    surface: Surface
    eye: Eye


def draws(surface: Surface, eye: Eye, eye_height_m: float, errors: ErrorModel, number: int, seed: int):
    """Possible truths, one after another; a station astray stands on the ground where it is."""
    random = np.random.default_rng(seed)
    grid = surface.grid
    fields = Fields(grid.rows, grid.columns, grid.spacing_x_m, grid.spacing_y_m, errors)
    for _ in range(number):
        truth = Surface(grid, (surface.height_m + fields.draw(random)).astype(np.float32))
        row = eye.row + random.normal(0.0, errors.station_position_m) / grid.spacing_y_m
        column = eye.column + random.normal(0.0, errors.station_position_m) / grid.spacing_x_m
        easting_m, northing_m = grid.to_map(row, column)
        height_m = eye_height_m + random.normal(0.0, errors.eye_height_m)
        level_m = truth.height_at_m(float(easting_m), float(northing_m)) + height_m
        drop = eye.drop_per_m + random.normal(0.0, errors.refraction) / (2.0 * EARTH_M)
        yield Draw(truth, Eye(row, column, level_m, drop))


@dataclass(frozen=True)
class Counted:
    """Share of the draws in which each post is seen, and the number of posts seen in each draw."""

    seen_share: np.ndarray
    seen_posts: np.ndarray


def simulate(
    surface: Surface,
    eye: Eye,
    eye_height_m: float,
    reach_m: float,
    target_height_m: float,
    errors: ErrorModel,
    number: int = 1000,
    seed: int = 1,
    asked=None,
) -> Counted:
    """Look at every draw; ``asked`` are the posts whose number is counted, all unless given."""
    counts = np.zeros(surface.height_m.shape, np.int64)
    posts = []
    for draw in draws(surface, eye, eye_height_m, errors, number, seed):
        seen = see_states(draw.surface, draw.eye, reach_m, target_height_m) == GroundState.VISIBLE
        counts += seen
        posts.append(np.count_nonzero(seen if asked is None else seen & asked))
    return Counted(counts / number, np.array(posts))


@dataclass(frozen=True)
class Reliability:
    """Stated against simulated, in ten bins of the stated probability: each array (10,), NaN where empty."""

    posts: np.ndarray
    stated: np.ndarray
    simulated: np.ndarray

    @property
    def weighted_error(self) -> float:
        """Mean of the bins' differences, by their numbers of posts."""
        full = self.posts > 0
        off = np.abs(self.stated - self.simulated)[full]
        return float((off * self.posts[full]).sum() / self.posts.sum())


def reliability(stated, simulated) -> Reliability:
    """Ten bins of equal width."""
    known = np.isfinite(stated)
    stated, simulated = stated[known].astype(float), simulated[known]
    bins = np.minimum((stated * 10).astype(int), 9)
    posts = np.bincount(bins, minlength=10)
    with np.errstate(invalid="ignore"):
        means = [np.bincount(bins, values, 10) / posts for values in (stated, simulated)]
    return Reliability(posts, *means)


@dataclass(frozen=True)
class Case:
    """A terrain, where to stand on it, and how all of it errs."""

    name: str
    surface: Surface
    row: float
    column: float
    errors: ErrorModel
    eye_height_m: float = 1.6

    @property
    def eye(self) -> Eye:
        """The eye where it is taken to be; curvature and refraction as for light."""
        easting_m, northing_m = self.surface.grid.to_map(self.row, self.column)
        ground_m = self.surface.height_at_m(float(easting_m), float(northing_m))
        return Eye(self.row, self.column, ground_m + self.eye_height_m, 0.87 / (2.0 * EARTH_M))


def _surface(height_m, spacing_m: float) -> Surface:
    height_m = np.ascontiguousarray(height_m, np.float32)
    return Surface(Grid(CRS(32630), 500_000.0, 6_000_000.0, spacing_m, spacing_m, *height_m.shape), height_m)


def _window(name: str, row: int, column: int, side: int):
    """Part of a real terrain; the test that asks for it is skipped where it is missing."""
    import rasterio

    with rasterio.open(shared_file(name)) as source:
        return source.read(1, window=rasterio.windows.Window(column, row, side, side))


def _straight(product: str) -> ErrorModel:
    """Errors of a product; ground straight between posts, as it is in every draw."""
    return replace(ErrorModel.of_product(product), between_posts="straight")


def rough_made_ground() -> Case:
    """Fractal ground of 400 m relief, posts 30 m apart."""
    ground = fractal(161, 161, seed=2, relief_m=400.0)
    errors = _straight("copernicus-30m-specified")
    return Case("rough made ground", _surface(ground, 30.0), 80.3, 75.6, errors)


def smooth_made_ground() -> Case:
    """Gentle ground of 60 m relief, posts 10 m apart: long lines of sight that graze."""
    ground = fractal(161, 161, seed=3, relief_m=60.0, roughness=3.0)
    errors = _straight("photogrammetric-5m")
    return Case("smooth made ground", _surface(ground, 10.0), 80.3, 75.6, errors)


def moor() -> Case:
    """Moor in the Scottish Highlands, posts 50 m apart; from a rise in it."""
    ground = _window("osterrain50_nn.tif", 800, 700, 181)
    return Case("moor", _surface(ground, 50.0), 65.3, 57.8, _straight("contour-50m"))


def canyon() -> Case:
    """Mountain canyon in California, posts 30 m apart; from a ridge in it."""
    ground = _window("srtm30_big_tujunga.tif", 200, 500, 181)
    return Case("canyon", _surface(ground, 30.0), 101.3, 90.8, _straight("srtm-30m"))


#: Makers of the four terrains by name; those that are real skip a test where their file is missing.
CASES = {maker.__name__: maker for maker in (rough_made_ground, smooth_made_ground, moor, canyon)}
