"""The ground of drawn photographs: cubic splines between posts, hummocks on top, and a fan of profiles.

It shares no code with ``hillsight.sight``. A fan holds a profile for each half pixel of bearing, sampled at
distances that grow with distance; whatever lies at a pixel is looked up in the running maximum of slopes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

#: Curvature less refraction, per metre: (1 - k) / 2R with k = 0.13 and R = 6,371 km.
DROP_PER_M = 0.87 / (2 * 6_371_000.0)

_LATTICE = 256
_ROUGH_TO_M = 1_200.0


class Noise:
    """Smooth random fields over a plane, alike at every call; each octave of values about -1 to 1."""

    def __init__(self, seed: int) -> None:
        values = np.random.default_rng(seed).uniform(-1, 1, (_LATTICE, _LATTICE)).astype(np.float32)
        self._values = np.pad(values, (0, 1), mode="wrap").ravel()

    def at(self, x: Floats, y: Floats, size: float, shift: float = 0.0) -> NDArray[np.float32]:
        """One octave: values between lattice points ``size`` apart, eased from one to the next."""
        u, v = np.asarray(x) * (1 / size) + 17.3 * shift, np.asarray(y) * (1 / size) + 71.9 * shift
        left, below = np.floor(u), np.floor(v)
        s, t = (u - left).astype(np.float32), (v - below).astype(np.float32)
        s *= s * (3 - 2 * s)
        t *= t * (3 - 2 * t)
        row = _LATTICE + 1
        at = (below.astype(np.int32) & (_LATTICE - 1)) * row + (left.astype(np.int32) & (_LATTICE - 1))
        flat = self._values
        low, high = flat.take(at), flat.take(at + row)
        low += s * (flat.take(at + 1) - low)
        high += s * (flat.take(at + row + 1) - high)
        return low + t * (high - low)

    def heap(self, x: Floats, y: Floats, size: float, octaves: int, keep: float = 0.5) -> NDArray[np.float32]:
        """Octaves of halving size, each ``keep`` times as strong as the last."""
        total, strength = np.zeros(np.shape(x), np.float32), 1.0
        for octave in range(octaves):
            total += np.float32(strength) * self.at(x, y, size / 2**octave, octave + 1.0)
            strength *= keep
        return total


@dataclass(frozen=True)
class DrawnGround:
    """Posts with smooth ground between them.

    height_m : (rows, columns), rows from the north; west_m, north_m : of the first post
    hummock_m : height of the roughness that the posts do not hold, over some 12 m and less
    """

    height_m: Floats
    spacing_m: float
    west_m: float
    north_m: float
    hummock_m: float = 0.0
    seed: int = 0

    @cached_property
    def _spline(self) -> Floats:
        return ndimage.spline_filter(np.asarray(self.height_m, np.float64), order=3)

    @cached_property
    def _slopes(self) -> tuple[Floats, Floats]:
        south, east = np.gradient(np.asarray(self.height_m, np.float64), self.spacing_m)
        return east, -south

    @cached_property
    def noise(self) -> Noise:
        """The field of its hummocks."""
        return Noise(self.seed)

    def _posts(self, east_m: Floats, north_m: Floats) -> Floats:
        return np.stack([
            np.ravel((self.north_m - north_m) / self.spacing_m),
            np.ravel((east_m - self.west_m) / self.spacing_m),
        ])  # fmt: skip

    def heights(self, east_m: Floats, north_m: Floats, rough: int | None = None) -> Floats:
        """Heights of places, NaN off the posts; hummocks on the first ``rough`` of the last axis, on all
        if None."""
        east_m, north_m = np.broadcast_arrays(east_m, north_m)
        posts = self._posts(east_m, north_m)
        smooth = ndimage.map_coordinates(self._spline, posts, order=3, prefilter=False, mode="nearest")
        rows, columns = self.height_m.shape
        off = (posts[0] < 0) | (posts[1] < 0) | (posts[0] > rows - 1) | (posts[1] > columns - 1)
        found = np.where(off, np.nan, smooth).reshape(east_m.shape)
        if self.hummock_m:
            near = (..., slice(None, rough))
            found[near] += self.hummock_m * self.noise.heap(east_m[near], north_m[near], 12.0, 4)
        return found

    def slopes(self, east_m: Floats, north_m: Floats) -> tuple[Floats, Floats]:
        """Rise to the east and to the north, metres a metre, without hummocks."""
        posts = self._posts(east_m, north_m)
        e, n = (ndimage.map_coordinates(s, posts, order=1, mode="nearest") for s in self._slopes)
        return e.reshape(np.shape(east_m)), n.reshape(np.shape(east_m))


@dataclass(frozen=True)
class Fan:
    """Profiles from an eye, one a bearing.

    eye : easting, northing and height, metres; bearing : (b,) radians; distance_m : (d,)
    tangent : (b, d) of the vertical angle of the ground there
    """

    eye: tuple[float, float, float]
    bearing: Floats
    distance_m: Floats
    tangent: Floats
    _offset: float = field(default=1_000.0, repr=False)

    @cached_property
    def steepest(self) -> Floats:
        """Running maximum of the slopes, (b, d)."""
        return np.maximum.accumulate(self.tangent, axis=1)

    @cached_property
    def sky_tangent(self) -> Floats:
        """Of the sky's edge, (b,): the highest sample, and what a parabola through it and its neighbours
        adds."""
        top = np.argmax(self.tangent, axis=1)
        k = np.clip(top, 1, self.distance_m.size - 2)[:, None] + np.arange(-1, 2)
        before, here, after = np.take_along_axis(self.tangent, k, axis=1).T
        bow = before - 2 * here + after
        add = np.where(
            (bow < 0) & (k[:, 1] == top), (before - after) ** 2 / (-8 * np.where(bow < 0, bow, -1)), 0
        )
        return np.take_along_axis(self.tangent, top[:, None], 1)[:, 0] + np.minimum(add, 1e-3)

    @cached_property
    def sky_distance_m(self) -> Floats:
        """How far off the sky's edge lies, (b,)."""
        return self.distance_m[np.argmax(self.tangent, axis=1)]

    def sky_at(self, bearing: Floats) -> Floats:
        """Tangent of the sky's edge on bearings between those of the fan."""
        return np.interp(bearing, self.bearing, self.sky_tangent)

    def hits(self, bearing: Floats, tangent: Floats) -> Floats:
        """Distance of the ground under each ray, metres; NaN where there is sky."""
        step = self.bearing[1] - self.bearing[0]
        column = np.clip(np.rint((bearing - self.bearing[0]) / step), 0, self.bearing.size - 1).astype(
            np.int64
        )
        size = self.distance_m.size
        flat = (self.steepest + self._offset * np.arange(self.bearing.size)[:, None]).ravel()
        at = np.searchsorted(flat, tangent + self._offset * column)
        k = at - column * size
        sky = k >= size
        k = np.clip(k, 1, size - 1)
        low, high = self.tangent[column, k - 1], self.tangent[column, k]
        share = np.clip((tangent - low) / np.where(high > low, high - low, 1), 0, 1)
        found = self.distance_m[k - 1] + share * (self.distance_m[k] - self.distance_m[k - 1])
        return np.where(sky, np.nan, found)


def fan_from(
    ground: DrawnGround, place_m: tuple[float, float], eye_above_m: float, bearing: Floats, reach_m: float
) -> Fan:
    """Look along bearings, (b,) radians, from a place to where the posts end or ``reach_m``."""
    longest = max(ground.spacing_m, 8.0)
    distance, steps = 0.6, []
    while distance < reach_m:
        steps.append(distance)
        distance += min(max(0.05, 0.005 * distance), longest)
    along = np.array(steps)
    east, north = place_m
    eye = float(ground.heights(np.array([east]), np.array([north]))[0]) + eye_above_m
    east_m = east + np.sin(bearing)[:, None] * along
    north_m = north + np.cos(bearing)[:, None] * along
    # farther off, hummocks are less than a pixel
    rough = int(np.searchsorted(along, _ROUGH_TO_M))
    tangent = (ground.heights(east_m, north_m, rough) - DROP_PER_M * along**2 - eye) / along
    return Fan((east, north, eye), bearing, along, np.where(np.isnan(tangent), -500.0, tangent))
