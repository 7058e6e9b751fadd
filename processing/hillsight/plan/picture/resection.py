"""Orientation of a camera by marked landmarks, each number with how far it may be out.

Marks are either right, with errors of click, landmark, terrain and place together, or of another landmark:
a mixture (Aitkin and Wilson 1980, from memory), fitted by weighing each mark by the chance that it is right.
Those that are right are then adjusted together by generalised least squares with their joint covariance
(Mikhail and Ackermann 1976, Observations and least squares; from memory), and each is predicted from the
others. The likelihood of a place is Laplace's approximation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

from hillsight.plan.picture import perspective
from hillsight.plan.picture.resection_errors import joint_covariance, own_covariance
from hillsight.plan.picture.resection_model import FOCAL, Model, State
from hillsight.plan.picture.resection_starts import alike, starts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats
    from hillsight.plan.picture.camera import Camera

#: Chance that a mark is of another landmark (common practice, no source).
WRONG_SHARE = 0.1

#: Starts that are followed to the end.
_STARTS = 6
_ROUNDS, _STEPS = 20, 12
#: Marks are first allowed to be out by so much (a share of the focal length), then by less in every round, so
#: that no mark is called wrong before the others have found their places (deterministic annealing).
_SLACK_SHARE, _LESS, _LEAST_SLACK = 0.02, 0.35, 0.3
#: A way that comes so near to an earlier answer leads there: radians, logarithm, metres, pixels.
_ONE = (0.002, 0.005, 5.0, 10.0)

#: Another camera fits nearly as well if it is no more than e to this power less likely.
_NEARLY = 3.0

#: How many observations the stated errors weigh against what the marks show of them: a misfit larger than
#: expected widens every plus-minus, the more so the more marks show it.
_BELIEF = 6.0

#: Chance below which a misfit means that the marks do not fit the place; and the share of marks that may be
#: left out before it means the same.
FITS_FROM, MOST_WRONG = 0.001, 1 / 3


_CAMERA_NUMBERS = ("heading_deg", "tilt_deg", "roll_deg", "focal_px", "width_deg")
_NUMBERS = (*_CAMERA_NUMBERS, "principal_x_px", "principal_y_px", "radial", "easting_m", "northing_m")


@dataclass(frozen=True, eq=False)
class MarkFit:
    """How one camera shows the marks; arrays (n,) or (n, 2) pixels.

    shown_px : where the landmarks show; NaN behind the camera
    used : marks that are taken as right
    expected_px : (n,) one standard deviation of the distance between marked and shown, by each mark's errors
    predicted_px : (n, 2) where the other marks together say that it shows
    times_expected : (n,) distance between marked and predicted over what is expected of it
    """

    shown_px: Floats
    used: Flags
    expected_px: Floats
    predicted_px: Floats
    times_expected: Floats


@dataclass(frozen=True, eq=False)
class Resection:
    """A camera's orientation from its marks.

    camera : heading from grid north
    eye : easting, northing (m) and level (m) of the eye
    covariance : (11, 11) of the unknowns in ``resection_model``'s order
    sigma : one standard deviation each of heading_deg, tilt_deg, roll_deg, focal_px, width_deg,
        principal_x_px, principal_y_px, radial, easting_m, northing_m; 0 of what was held
    misfit : root of the mean square of residuals over what is expected of them; about 1 where all is right
    fit_chance : chance of a misfit as large if all is right
    log_likelihood : of the place, by which places are compared
    rival : another camera that fits nearly as well, if there is one
    """

    model: Model
    state: State
    camera: Camera
    eye: tuple[float, float, float]
    covariance: Floats
    sigma: dict[str, float]
    marks: MarkFit
    misfit: float
    fit_chance: float
    log_likelihood: float
    rival: Camera | None = None

    @property
    def fits(self) -> bool:
        """Whether the marks fit the place."""
        used = self.marks.used
        wrong, spare = int((~used).sum()), 2 * int(used.sum()) - self.model.free
        return self.fit_chance >= FITS_FROM and wrong <= MOST_WRONG * used.size and (spare > 0 or not wrong)


def resect(model: Model) -> Resection | None:
    """The camera that shows the marks best; None where no camera shows enough of them at all."""
    lens = model.lens
    density = WRONG_SHARE / (lens.width_px * lens.height_px)
    ends: list[tuple[float, State, Floats]] = []
    for start in starts(model, density, _STARTS):
        found = _mixture_fit(model, start, density, [state for _, state, _ in ends])
        if found is not None:
            ends.append(found)
    if not ends:
        return None
    ends.sort(key=lambda end: end[0])
    cost, state, weights = ends[0]
    used = weights >= 0.5
    if 2 * used.sum() < model.free:
        return None
    near = len(ends) > 1 and ends[1][0] < cost + _NEARLY and not alike(state, ends[1][1], *_ONE)
    return replace(_adjusted(model, state, used, density), rival=model.camera(ends[1][1]) if near else None)


def _mixture_fit(
    model: Model, start: State, density: float, known: Sequence[State]
) -> tuple[float, State, Floats] | None:
    """Minus the logarithm of the likelihood at its nearest maximum, the state, chances (n,) of marks.

    None where too few marks are right, or the way leads to a state that is known already.
    """
    state, cost, weights = start, np.inf, np.zeros(len(model.marks.names))
    slack_px = _SLACK_SHARE * model.lens.focal_px * float(np.exp(start.values[FOCAL]))
    least_px = _LEAST_SLACK * float(model.marks.click_px.min())
    for _ in range(_ROUNDS):
        covariance = own_covariance(model, np.nan_to_num(model.by_places(state)), with_terrain=True)
        covariance += slack_px**2 * np.eye(2)
        is_exact, slack_px = slack_px == 0.0, slack_px * _LESS if slack_px > least_px else 0.0
        inverse = np.linalg.inv(covariance)
        norm = 2.0 * np.pi * np.sqrt(np.linalg.det(covariance))
        off = model.residuals(state)
        right = (1.0 - WRONG_SHARE) * np.exp(-0.5 * _squares(off, inverse)) / norm
        weights = right / (right + density)
        before, cost = cost, float(-np.log(right + density).sum() + 0.5 * _believed(model, state))
        if is_exact and abs(before - cost) < 1e-6 * (1.0 + abs(cost)):
            break
        if slack_px < _SLACK_SHARE * _LESS**2 * model.lens.focal_px and any(
            alike(state, one, *_ONE) for one in known
        ):
            return None
        if 2.0 * weights.sum() < model.free - 0.5:
            # Too few are right from here; all may be a little off, so they are tried together once.
            if np.isfinite(before):
                return None
            weights = np.where(np.isfinite(off).all(axis=-1), 1.0 / (1.0 + _squares(off, inverse)), 0.0)
        state = _least_squares(model, state, inverse * weights[:, None, None], 4)
    return (cost, state, weights) if np.isfinite(cost) else None


def _squares(off: Floats, inverse: Floats) -> Floats:
    """(n,) squared distances in units of what is expected; infinite behind the camera."""
    known = np.isfinite(off).all(axis=-1)
    safe = np.where(known[:, None], off, 0.0)
    return np.where(known, np.einsum("ni,nij,nj->n", safe, inverse, safe), np.inf)


def _believed(model: Model, state: State) -> float:
    """Squares of what departs from what was believed beforehand."""
    return float(np.sum(model.information() * state.values**2))


def _least_squares(model: Model, state: State, inverse: Floats, rounds: int = _STEPS) -> State:
    """Minimum of the weighted squares about a state (Levenberg 1944, Marquardt 1963; from memory).

    inverse : (n, 2, 2) inverse covariance times weight of each mark
    """

    def cost_of(at: State) -> float:
        off = model.residuals(at)
        counted = inverse[:, 0, 0] > 0
        if not np.isfinite(off[counted]).all():
            return np.inf
        return float(_squares(np.where(counted[:, None], off, 0.0), inverse).sum()) + _believed(model, at)

    damping, cost = 1e-3, cost_of(state)
    information, active = model.information(), model.active
    for _ in range(rounds):
        by_unknowns = np.nan_to_num(model.by_unknowns(state))
        off = np.nan_to_num(model.residuals(state))
        weighted = np.einsum("nij,njk->nik", inverse, by_unknowns)
        normal = np.einsum("nik,nil->kl", by_unknowns, weighted) + np.diag(information)
        slope = np.einsum("nik,ni->k", weighted, off) - information * state.values
        normal, slope = normal[np.ix_(active, active)], slope[active]
        scale = np.maximum(np.diag(normal), 1e-12)
        moved = False
        for _ in range(8):
            step = np.zeros(active.size)
            step[active] = np.linalg.lstsq(normal + np.diag(damping * scale), slope, rcond=None)[0]
            trial = state.moved(step)
            after = cost_of(trial)
            if after <= cost:
                moved = True
                break
            damping = max(damping, 1e-6) * 10.0
        if not moved:
            return state
        gained, state, cost, damping = cost - after, trial, after, damping / 10.0
        if gained <= 1e-9 * (1.0 + cost):
            return state
    return state


def _adjusted(model: Model, state: State, used: Flags, density: float) -> Resection:
    """All marks that are right, adjusted together."""
    active = model.active
    information = np.diag(model.information())[np.ix_(active, active)]
    chosen = np.flatnonzero(used)
    for _ in range(8):
        joint = joint_covariance(model, model.by_places(state), chosen)
        design = model.by_unknowns(state)[chosen].reshape(-1, active.size)[:, active]
        off = model.residuals(state)[chosen].ravel()
        weighted = np.linalg.solve(joint, design)
        normal = design.T @ weighted + information
        step = np.zeros(active.size)
        step[active] = np.linalg.lstsq(
            normal, weighted.T @ off - information @ state.values[active], rcond=None
        )[0]
        trial = state.moved(step)
        if not np.isfinite(model.residuals(trial)[chosen]).all():
            break
        state = trial
        if np.abs(step / np.maximum(np.abs(state.values), 1e-3)).max() < 1e-7:
            break
    joint = joint_covariance(model, model.by_places(state), chosen)
    design = model.by_unknowns(state)[chosen].reshape(-1, active.size)[:, active]
    off = model.residuals(state)[chosen].ravel()
    normal = design.T @ np.linalg.solve(joint, design) + information
    squares = float(off @ np.linalg.solve(joint, off)) + _believed(model, state)
    spare = off.size - model.free
    small = np.linalg.pinv(normal, hermitian=True)
    likelihood = _log_likelihood(model, joint, normal, squares, len(used) - len(chosen), density)
    widened = max(1.0, (_BELIEF + squares) / (_BELIEF + spare))
    covariance = np.zeros((active.size, active.size))
    covariance[np.ix_(active, active)] = small * widened
    camera = model.camera(state)
    return Resection(
        model,
        state,
        camera,
        tuple(float(v) for v in model.eye(state.values)),  # type: ignore[arg-type]
        covariance,
        _sigmas(model, state, covariance),
        _mark_fit(model, state, used),
        float(np.sqrt(squares / spare)) if spare > 0 else float("nan"),
        float(stats.chi2.sf(squares, spare)) if spare > 0 else 1.0,
        likelihood,
    )


def _log_likelihood(
    model: Model, joint: Floats, normal: Floats, squares: float, wrong: int, density: float
) -> float:
    """Logarithm of how likely the marks are from the place, all unknowns summed over (Laplace)."""
    right = len(joint) // 2
    told = model.sigma[(model.sigma > 0) & np.isfinite(model.sigma)]
    sign, size = np.linalg.slogdet(normal)
    found = right * np.log(1.0 - WRONG_SHARE) + wrong * np.log(density)
    found += -0.5 * squares - 0.5 * np.linalg.slogdet(joint)[1] - right * np.log(2.0 * np.pi)
    found += -np.log(told).sum() - 0.5 * (size if sign > 0 else 0.0) + 0.5 * model.free * np.log(2.0 * np.pi)
    return float(found)


def _sigmas(model: Model, state: State, covariance: Floats) -> dict[str, float]:
    """One standard deviation of each number that is told."""

    def figures(at: State) -> Floats:
        camera, eye = model.camera(at), model.eye(at.values)
        heading, tilt, roll = perspective.turned_by(at.turned)
        lens = camera.lens
        inside = (lens.focal_px, lens.width_deg, lens.principal_x_px, lens.principal_y_px, lens.radial)
        return np.array([heading, tilt, roll, *inside, eye[0], eye[1]])

    here = figures(state)
    columns = []
    for k, step in enumerate((1e-5, 1e-5, 1e-5, 1e-4, 1e-4, 0.1, 0.1, 0.1, 0.1, 0.1, 1e-3)):
        move = np.zeros(len(state.values))
        move[k] = step
        change = figures(state.moved(move)) - here
        change[[0, 2]] = (change[[0, 2]] + 180.0) % 360.0 - 180.0
        columns.append(change / step)
    jacobian = np.array(columns).T
    variances = np.einsum("ik,kl,il->i", jacobian, covariance, jacobian)
    return {name: float(np.sqrt(max(v, 0.0))) for name, v in zip(_NUMBERS, variances, strict=True)}


def _mark_fit(model: Model, state: State, used: Flags) -> MarkFit:
    """How the marks are shown, and how each is predicted by the others."""
    marks = model.marks
    own = own_covariance(model, np.nan_to_num(model.by_places(state)), with_terrain=True)
    inverse = np.linalg.inv(own)
    predicted, times = np.full((len(used), 2), np.nan), np.full(len(used), np.nan)
    active = model.active
    for k in range(len(used)):
        others = used.copy()
        others[k] = False
        if 2 * others.sum() < model.free:
            continue
        weighted = inverse * others[:, None, None]
        at = _least_squares(model, state, weighted, 3) if used[k] else state
        design = np.nan_to_num(model.by_unknowns(at))[:, :, active]
        normal = np.einsum("nik,nij,njl->kl", design, weighted, design)
        normal += np.diag(model.information()[active])
        spread = own[k] + design[k] @ np.linalg.pinv(normal, hermitian=True) @ design[k].T
        predicted[k] = model.pixels(at.turned, at.values)[k]
        off = np.array([marks.x_px[k], marks.y_px[k]]) - predicted[k]
        if np.isfinite(off).all():
            times[k] = np.sqrt(off @ np.linalg.solve(spread, off) / 2.0)
    shown = model.pixels(state.turned, state.values)
    expected = np.sqrt(np.trace(own, axis1=1, axis2=2))
    return MarkFit(shown, used, expected, predicted, times)
