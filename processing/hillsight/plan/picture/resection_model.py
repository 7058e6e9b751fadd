"""Where a camera shows marked landmarks, as a function of all that is not known exactly.

Unknowns are turned into pixels by the collinearity equations, with curvature and refraction as everywhere in
the house: a landmark's height is lowered by drop d^2 at d metres on the grid. What is believed of an unknown
beforehand (focal length, place, eye, air) enters as an observation with its standard deviation.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.picture import perspective
from hillsight.plan.picture.camera import Camera, Lens

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats

    Ground = Callable[[Floats, Floats], Floats]

#: Unknowns in their order: three turns of the camera (radians, about its own axes), logarithm of the focal
#: length over its start, radial term, principal point (pixels), place (m east and north of the station), eye
#: above what is believed (m), refraction coefficient above what is believed.
TURNS, FOCAL, RADIAL, PRINCIPAL, PLACE, EYE, AIR = slice(0, 3), 3, 4, slice(5, 7), slice(7, 9), 9, 10
UNKNOWNS = 11

#: Steps of the differences by which derivatives are taken, in the unknowns' units; landmarks' are in metres.
_STEPS = np.array([1e-6, 1e-6, 1e-6, 1e-6, 1e-5, 1e-3, 1e-3, 1e-2, 1e-2, 1e-2, 1e-4])
_LANDMARK_STEP_M = 1e-2

#: One standard deviation of the radial term of cameras at large (common practice, no source): most phones and
#: many cameras straighten their pictures; lenses that do not bend a corner by 1 or 2 in a hundred.
RADIAL_SIGMA = 0.03


@dataclass(frozen=True, eq=False)
class KnownMarks:
    """Marks whose places on the map are known; arrays (n,), metres in the working grid.

    names : for messages
    x_px, y_px : in the picture as shown; click_px : one standard deviation of either
    height_m : of what is marked, in the terrain's datum
    covariance_m2 : (n, 3, 3) of easting, northing and height, each landmark's own error
    terrain_m2 : (n + 1, n + 1) covariance of the terrain model's errors at landmarks and, last, the camera
    """

    names: tuple[str, ...]
    x_px: Floats
    y_px: Floats
    click_px: Floats
    easting_m: Floats
    northing_m: Floats
    height_m: Floats
    covariance_m2: Floats
    terrain_m2: Floats

    @property
    def relative_m2(self) -> Floats:
        """(n, n) covariance of the terrain's errors at landmarks over its error at the camera."""
        own, shared, there = self.terrain_m2[:-1, :-1], self.terrain_m2[:-1, -1:], self.terrain_m2[-1, -1]
        return np.asarray(own - shared - shared.T + there)


@dataclass(frozen=True, eq=False)
class Standing:
    """Where a camera is believed to stand.

    position_m : one standard deviation of easting and of northing; infinite where the place is solved for
    eye_level_m, eye_m : height of the eye in the terrain's datum, and one standard deviation of its height
        above the ground; infinite where nothing is known
    slope : rise of the ground per metre east and north there, by which a place that is off changes the eye
    ground : height of the ground at other places, for a place that is solved for; NaN off the terrain
    radius_m : mean radius of curvature of the Earth
    refraction, refraction_sigma : coefficient and its standard deviation
    """

    easting_m: float
    northing_m: float
    eye_level_m: float
    radius_m: float
    refraction: float = 0.13
    position_m: float = 0.0
    eye_m: float = 0.0
    slope: tuple[float, float] = (0.0, 0.0)
    ground: Ground | None = None
    refraction_sigma: float = 0.0

    @property
    def is_solved(self) -> bool:
        """Whether the place itself is asked for."""
        return bool(np.isinf(self.position_m))


@dataclass(frozen=True, eq=False)
class State:
    """A camera amid solving: how it is turned (3, 3), and the other unknowns (11,), their turns nought."""

    turned: Floats
    values: Floats

    def moved(self, step: Floats) -> State:
        """The same with a step (11,) of all unknowns."""
        values = self.values + step
        values[TURNS] = 0.0
        return State(_turn(step[TURNS]) @ self.turned, values)


@dataclass(frozen=True, eq=False)
class Model:
    """Marks, the camera's believed place and lens, and what is solved for.

    lens : the start; its focal length counts as 1
    sigma : (11,) one standard deviation of what is believed beforehand; infinite where nothing is, 0 where
        the unknown is held
    """

    marks: KnownMarks
    standing: Standing
    lens: Lens
    sigma: Floats

    @classmethod
    def of(
        cls,
        marks: KnownMarks,
        standing: Standing,
        lens: Lens,
        focal_share: float | None,
        *,
        is_part: bool = False,
        radial_sigma: float = RADIAL_SIGMA,
    ) -> Model:
        """Settle what is solved for.

        Parameters
        ----------
        focal_share : one standard deviation of the lens' focal length, as a share; None where unknown
        is_part : the picture is cut from a larger one, so that its axis may be anywhere
        """
        sigma = np.zeros(UNKNOWNS)
        sigma[TURNS] = np.inf
        sigma[FOCAL] = np.inf if focal_share is None else focal_share
        sigma[RADIAL] = radial_sigma
        sigma[PRINCIPAL] = max(lens.width_px, lens.height_px) if is_part else 0.0
        sigma[PLACE] = standing.position_m
        sigma[EYE] = standing.eye_m
        sigma[AIR] = standing.refraction_sigma
        return cls(marks, standing, lens, sigma)

    @property
    def active(self) -> Flags:
        """(11,) which unknowns are solved for."""
        return self.sigma > 0

    @property
    def free(self) -> int:
        """How many unknowns nothing is believed of beforehand."""
        return int(np.isinf(self.sigma).sum())

    def information(self) -> Floats:
        """(11,) one over the variance of what is believed beforehand; 0 where nothing is or it is held."""
        with np.errstate(divide="ignore"):
            return np.where(self.active, 1.0 / self.sigma**2, 0.0)

    def eye(self, values: Floats) -> Floats:
        """Easting, northing and level of the eye, (..., 3), for unknowns (..., 11)."""
        standing = self.standing
        east, north = standing.easting_m + values[..., 7], standing.northing_m + values[..., 8]
        if standing.ground is not None and standing.is_solved:
            here = standing.ground(np.array([standing.easting_m]), np.array([standing.northing_m]))[0]
            rise = standing.ground(east, north) - here
        else:
            rise = standing.slope[0] * values[..., 7] + standing.slope[1] * values[..., 8]
        return np.stack([east, north, standing.eye_level_m + rise + values[..., EYE]], axis=-1)

    def vectors(self, values: Floats, shift_m: Floats | None = None) -> Floats:
        """From the eye to the landmarks as sight lines leave it, (..., n, 3), for unknowns (..., 11).

        shift_m : (..., 3) what is added to every landmark's easting, northing and height
        """
        marks, standing = self.marks, self.standing
        places = np.stack([marks.easting_m, marks.northing_m, marks.height_m], axis=-1)
        if shift_m is not None:
            places = places + shift_m[..., None, :]
        vectors = places - self.eye(values)[..., None, :]
        drop = (1.0 - standing.refraction - values[..., AIR]) / (2.0 * standing.radius_m)
        vectors[..., 2] -= drop[..., None] * (vectors[..., 0] ** 2 + vectors[..., 1] ** 2)
        return vectors

    def pixels(self, turned: Floats, values: Floats, shift_m: Floats | None = None) -> Floats:
        """Where the landmarks show, (..., n, 2), for unknowns (..., 11); NaN behind the camera."""
        vectors = self.vectors(values, shift_m)
        rotation = _turn(values[..., TURNS]) @ turned
        x, y = perspective.on_plane(vectors, rotation[..., None, :, :])
        x, y = perspective.distorted(x, y, values[..., RADIAL, None])
        focal_px = self.lens.focal_px * np.exp(values[..., FOCAL, None])
        return np.stack(
            [
                self.lens.principal_x_px + values[..., 5, None] + focal_px * x,
                self.lens.principal_y_px + values[..., 6, None] + focal_px * y,
            ],
            axis=-1,
        )

    def residuals(self, state: State) -> Floats:
        """Marked less shown, pixels, (n, 2)."""
        marked = np.stack([self.marks.x_px, self.marks.y_px], axis=-1)
        return marked - self.pixels(state.turned, state.values)

    def by_unknowns(self, state: State) -> Floats:
        """Derivatives of the shown places by the unknowns, (n, 2, 11); 0 of what is held."""
        active = np.flatnonzero(self.active)
        steps = np.zeros((active.size, UNKNOWNS))
        steps[np.arange(active.size), active] = _STEPS[active]
        shown = self.pixels(state.turned, state.values + np.concatenate([steps, -steps]))
        found = np.zeros((*shown.shape[1:], UNKNOWNS))
        change = (shown[: active.size] - shown[active.size :]) / (2.0 * _STEPS[active])[:, None, None]
        found[..., active] = np.moveaxis(change, 0, -1)
        return found

    def by_places(self, state: State) -> Floats:
        """Derivatives of the shown places by the landmarks' easting, northing and height, (n, 2, 3)."""
        moves = _LANDMARK_STEP_M * np.concatenate([np.eye(3), -np.eye(3)])
        moved = self.pixels(state.turned, np.tile(state.values, (6, 1)), moves)
        return np.moveaxis((moved[:3] - moved[3:]) / (2.0 * _LANDMARK_STEP_M), 0, -1)

    def camera(self, state: State) -> Camera:
        """The camera of a state."""
        heading, tilt, roll = perspective.turned_by(state.turned)
        lens, values = self.lens, state.values
        solved = Lens(
            lens.width_px,
            lens.height_px,
            float(lens.focal_px * np.exp(values[FOCAL])),
            float(lens.principal_x_px + values[5]),
            float(lens.principal_y_px + values[6]),
            float(values[RADIAL]),
        )
        return Camera(solved, float(heading), float(tilt), float(roll))


def _turn(turns: Floats) -> Floats:
    """Rotation matrices (..., 3, 3) by turns (..., 3) in radians (Rodrigues' formula)."""
    angle = np.sqrt(np.sum(turns * turns, axis=-1))[..., None, None]
    cross = np.zeros((*turns.shape[:-1], 3, 3))
    for (row, column), axis in (((2, 1), 0), ((0, 2), 1), ((1, 0), 2)):
        cross[..., row, column], cross[..., column, row] = turns[..., axis], -turns[..., axis]
    first = np.sinc(angle / np.pi)
    second = 0.5 * np.sinc(angle / (2.0 * np.pi)) ** 2
    return np.asarray(np.eye(3) + first * cross + second * (cross @ cross))
