"""How far a reading can be trusted: plus-minus of bearings, distances and heights; what is ``uncertain``."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.errors import CallError
from hillsight.ground.roughness import ROUGHNESS, rough_scale_m, rough_variance_m2
from hillsight.sight.doubt_gaps import NEAR_SPACINGS
from hillsight.sight.doubt_ground import mean_ground
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from hillsight.arrays import Bytes, Floats, Integers
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Surface
    from hillsight.sight.viewing import Eye


#: Standard deviations either side of a value that hold it with a probability of 95 % (normal errors).
SIGMAS_95 = 1.959964

#: Mean radius (m) that the spread of refraction is reckoned with.
_EARTH_M = 6_371_000.0


@dataclass(frozen=True)
class Limits:
    """Probabilities of being seen between which a thing is called ``uncertain``.

    The defaults, a tenth and nine tenths, are a rule of ours without a source: what is called seen or
    hidden is so in nine cases of ten, as the error model has it.

    Parameters
    ----------
    hidden_below, visible_from : 0 <= hidden_below <= visible_from <= 1; the same twice leaves no doubt

    Raises
    ------
    CallError : not two probabilities in that order
    """

    hidden_below: float = 0.1
    visible_from: float = 0.9

    def __post_init__(self) -> None:
        if not 0 <= self.hidden_below <= self.visible_from <= 1:
            raise CallError(
                f"{self.hidden_below:g} and {self.visible_from:g} are no limits of what is uncertain",
                where="error model",
                remedy="Give two probabilities from 0 to 1, the smaller one first, such as 0.1 and 0.9",
            )

    def state_codes(self, probability: ArrayLike) -> Bytes:
        """Codes of GroundState, same shape: HIDDEN, UNCERTAIN, VISIBLE, UNKNOWN where NaN."""
        chance = np.asarray(probability, np.float64)
        with np.errstate(invalid="ignore"):
            codes = np.where(chance < self.hidden_below, GroundState.HIDDEN, GroundState.UNCERTAIN)
            codes = np.where(chance >= self.visible_from, GroundState.VISIBLE, codes)
        return np.where(np.isnan(chance), GroundState.UNKNOWN, codes).astype(np.uint8)

    def state_word(self, probability: float) -> str:
        """``visible``, ``uncertain``, ``hidden`` or ``unknown``."""
        return GroundState(int(self.state_codes(probability))).name.lower()


@dataclass(frozen=True)
class PlusMinus:
    """95 % of the truths lie no farther from what is stated; each array (n,).

    bearing_deg : degrees, of true and grid bearings; 180 where station and feature may change places
    distance_m : metres on the ground
    height_difference_m : metres, feature above the eye
    vertical_angle_deg : degrees
    """

    bearing_deg: Floats
    distance_m: Floats
    height_difference_m: Floats
    vertical_angle_deg: Floats


def plus_minus(
    surface: Surface,
    eye: Eye,
    rows: ArrayLike,
    columns: ArrayLike,
    errors: ErrorModel,
    *,
    target_heights_m: ArrayLike = 0.0,
) -> PlusMinus:
    """Half widths of the 95 % intervals of what is read of places seen from an eye.

    Bearing and distance err with the places of station and feature, each the same every way, so across and
    along the line of sight alike. A height difference errs with the terrain at both, which are correlated,
    with its roughness between posts,
    with the ground's rise where a place is astray, and with the eye's height; the vertical angle with that,
    with the distance and with the ray's curvature too. First order (propagation of variances); the bearing
    also where the places' errors are not small beside the distance (see ``bearing_plus_minus_deg``).

    Parameters
    ----------
    surface, eye : as in ``sight.points.see_points``
    rows, columns : (n,) fractional places on the terrain; NaN is given elsewhere
    errors : standard deviations
    target_heights_m : (n,) or one, metres above the ground
    """
    row, column, height_m = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(v, np.float64)) for v in (rows, columns, target_heights_m))
    )
    grid = surface.grid
    down_m, right_m = (row - eye.row) * grid.spacing_y_m, (column - eye.column) * grid.spacing_x_m
    distance_m = np.hypot(down_m, right_m)
    place_m = math.hypot(errors.station_position_m, errors.feature_position_m)
    places = np.column_stack((row, column))
    ours, theirs = _bearers(surface, np.array([[eye.row, eye.column]])), _bearers(surface, places)
    near_m = NEAR_SPACINGS * max(grid.spacing_x_m, grid.spacing_y_m)
    apart = np.minimum(distance_m / near_m, 1.0) ** 2  # ground near the eye goes with the eye's
    variance_m2 = _covariance_m2(surface, errors, theirs, theirs) + errors.eye_height_m**2
    rough_m2 = _rough_m2(surface, errors, np.concatenate((ours.places, theirs.places)))
    variance_m2 = variance_m2 + apart * rough_m2[1:]
    variance_m2 = variance_m2 + _slope_m2(surface, places, errors.feature_position_m)
    if errors.station_height_m is not None:
        variance_m2 = variance_m2 + errors.station_height_m**2
    else:
        variance_m2 = variance_m2 + _covariance_m2(surface, errors, ours, ours)
        variance_m2 = variance_m2 + apart * rough_m2[0]
        variance_m2 = variance_m2 - 2.0 * _covariance_m2(surface, errors, ours, theirs)
        variance_m2 = variance_m2 + _slope_m2(surface, ours.places, errors.station_position_m)
    with np.errstate(divide="ignore", invalid="ignore"):
        target_m = theirs.ground_m + height_m
        tangent = (target_m - eye.level_m) / distance_m - eye.drop_per_m * distance_m
        bend_m2 = (errors.refraction / (2.0 * _EARTH_M) * distance_m**2) ** 2
        angle = np.sqrt(variance_m2 + bend_m2 + (tangent * place_m) ** 2) / distance_m / (1.0 + tangent**2)
        angle_deg = np.minimum(SIGMAS_95 * np.degrees(angle), 180.0)
    known = np.isfinite(theirs.ground_m)
    return PlusMinus(
        np.where(known, bearing_plus_minus_deg(distance_m, place_m), np.nan),
        np.where(known, SIGMAS_95 * place_m, np.nan),
        np.where(known, SIGMAS_95 * np.sqrt(variance_m2), np.nan),
        np.where(known, angle_deg, np.nan),
    )


def bearing_plus_minus_deg(distance_m: ArrayLike, place_m: float) -> Floats:
    """Half width of the 95 % interval of a bearing between two places, same shape, degrees, at most 180.

    Parameters
    ----------
    distance_m : metres between the places as stated
    place_m : standard deviation each way of one place against the other, metres

    Source: the angle of a plane normal variable off the origin (projected normal distribution; Mardia and
    Jupp 2000, from memory), integrated numerically; beyond 30 standard deviations, arcsin(1.96 place /
    distance).
    """
    distance = np.asarray(distance_m, np.float64)
    if place_m == 0.0:
        return np.zeros(distance.shape)
    ratio = np.asarray(distance / place_m)
    far = np.degrees(np.arcsin(np.minimum(SIGMAS_95 / np.maximum(ratio, SIGMAS_95), 1.0)))
    is_near = ratio < _RATIOS[-1]
    if not is_near.any():
        return far
    # Only the steps between which a ratio lies are worked out.
    widths_deg = np.full(_RATIOS.size, np.nan)
    after = np.searchsorted(_RATIOS, ratio[is_near], side="right")
    for step in np.unique(np.concatenate((after - 1, after))):
        widths_deg[step] = _bearing_width_deg(int(step))
    return np.where(is_near, np.interp(ratio, _RATIOS, widths_deg), far)


#: Distances, in standard deviations of one place against the other, that widths are worked out for.
_RATIOS = np.concatenate((np.linspace(0.0, 5.0, 101), np.linspace(5.25, 30.0, 100)))


@cache
def _bearing_width_deg(step: int) -> float:
    """Half width (degrees) for one of _RATIOS."""
    ratio = _RATIOS[step]
    angle = np.linspace(0.0, math.pi, 20_001)
    ahead = ratio * np.cos(angle)
    below = special.ndtr(ahead)
    density = np.exp(-0.5 * ratio**2) / math.pi
    density = density + ahead * below * np.exp(-0.5 * (ratio * np.sin(angle)) ** 2) * math.sqrt(2.0 / math.pi)
    within = np.concatenate(([0.0], np.cumsum((density[1:] + density[:-1]) / 2.0))) * (angle[1] - angle[0])
    return float(np.degrees(np.interp(0.95, within / within[-1], angle)))


@dataclass(frozen=True)
class _Bearers:
    """The four posts that bear the ground at each of n places: rows, columns, weights (n, 4)."""

    places: Floats
    rows: Integers
    columns: Integers
    weights: Floats
    ground_m: Floats


def _bearers(surface: Surface, places: Floats) -> _Bearers:
    grid = surface.grid
    last = np.array([grid.rows - 1, grid.columns - 1])
    with np.errstate(invalid="ignore"):
        inside = ((places >= 0) & (places <= last)).all(axis=1)
    kept = np.where(inside[:, None], places, 0.0)
    first = np.minimum(kept.astype(np.int64), np.maximum(last - 1, 0))
    part = kept - first
    corners = np.array([[0, 0], [0, 1], [1, 0], [1, 1]])
    weights = np.prod(np.where(corners == 1, part[:, None, :], 1.0 - part[:, None, :]), axis=2)
    at = np.minimum(first[:, None, :] + corners, last)
    heights_m = surface.height_m[at[..., 0], at[..., 1]].astype(np.float64)
    ground_m = np.where(weights > 0, weights * heights_m, 0.0).sum(axis=1)
    ground_m = np.where(inside, ground_m, np.nan)
    return _Bearers(kept, at[..., 0], at[..., 1], weights, ground_m)


def _covariance_m2(surface: Surface, errors: ErrorModel, some: _Bearers, others: _Bearers) -> Floats:
    """Covariance of the terrain's errors at n places and at n others, or at one and n."""
    down_m = (some.rows[:, :, None] - others.rows[:, None, :]) * surface.grid.spacing_y_m
    right_m = (some.columns[:, :, None] - others.columns[:, None, :]) * surface.grid.spacing_x_m
    weights = some.weights[:, :, None] * others.weights[:, None, :]
    covariance: Floats = (weights * errors.covariance_m2(np.hypot(down_m, right_m))).sum(axis=(1, 2))
    return covariance


def _rough_m2(surface: Surface, errors: ErrorModel, places: Floats) -> Floats:
    """Variance of the ground at n places by the roughness between posts."""
    roughness = ROUGHNESS[errors.between_posts]
    if roughness.between == 0.0:
        return np.zeros(len(places))
    return rough_variance_m2(rough_scale_m(surface.height_m), roughness, places[:, 0], places[:, 1])


def _slope_m2(surface: Surface, places: Floats, astray_m: float) -> Floats:
    """Variance that a place astray adds to the height of its ground."""
    if astray_m == 0.0:
        return np.zeros(len(places))
    rises = mean_ground(surface, places, astray_m)[:, :2]
    variance_m2: Floats = (rises**2).sum(axis=1) * astray_m**2
    return variance_m2
