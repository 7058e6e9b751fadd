"""Where to begin: cameras that show some pair of marks rightly, tried on all the others.

A camera at a known place is fixed by two marks: the angle between them gives the focal length (a quadratic
equation), their directions how it is turned. All pairs are tried, so that no wrong mark and no local minimum
of a free focal length can hide the right answer (the idea of random sample consensus, Fischler and Bolles
1981, with every sample drawn; from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.picture import perspective
from hillsight.plan.picture.resection_model import FOCAL, PLACE, PRINCIPAL, UNKNOWNS, Model, State

if TYPE_CHECKING:
    from hillsight.arrays import Floats

#: Focal lengths tried beside those that pairs give, in widths of the picture: 90 to 6 degrees wide.
_FOCAL_WIDTHS = (0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 8.0)
_LEAST_WIDTHS, _MOST_WIDTHS = 0.15, 60.0

#: Most pairs that are tried.
_MOST_PAIRS = 300

#: How far a start may be out for what it leaves out, as a share of the focal length: the radial term, and
#: the axis of a picture that is a part or a place that is solved for.
_SLACK_SHARE, _LOOSE_SHARE = 0.008, 0.03

#: Starts that are alike are one: within these, in radians, logarithm of the focal length, metres and pixels.
_ALIKE = (0.01, 0.03, 50.0, 100.0)

#: About a place that is solved for, others to start from: so many metres away, in so many directions.
_RINGS_M, _RING_DIRECTIONS = (0.0, 150.0, 400.0, 1000.0), 6


def starts(model: Model, outlier_density: float, most: int) -> list[State]:
    """The likeliest starts, best first, no two alike."""
    scored = [
        one for values in _beginnings(model) for one in _from_place(model, values, outlier_density, most)
    ]
    scored.sort(key=lambda one: one[0])
    kept: list[State] = []
    for _, state in scored:
        if not any(alike(state, other, *_ALIKE) for other in kept):
            kept.append(state)
        if len(kept) == most:
            break
    return kept


def _beginnings(model: Model) -> list[Floats]:
    """Unknowns (11,) to begin from: places about one that is solved for, axes of a picture that is a part."""
    moves = [(0.0, 0.0)]
    if model.standing.is_solved:
        turns = 2.0 * np.pi * np.arange(_RING_DIRECTIONS) / _RING_DIRECTIONS
        moves += [(r * float(np.sin(t)), r * float(np.cos(t))) for r in _RINGS_M[1:] for t in turns]
    axes = [(0.0, 0.0)]
    if model.sigma[PRINCIPAL].any():
        wide, high = 0.8 * model.lens.width_px, 0.8 * model.lens.height_px
        axes = [(x * wide, y * high) for y in (0, -1, 1) for x in (0, -1, 1)]
    found = []
    for move in moves:
        for axis in axes:
            values = np.zeros(UNKNOWNS)
            values[PLACE], values[PRINCIPAL] = move, axis
            if np.isfinite(model.eye(values)).all():
                found.append(values)
    return found


def _from_place(model: Model, values: Floats, outlier_density: float, most: int) -> list[tuple[float, State]]:
    """Starts from one place, each with its score: minus the logarithm of its likelihood, roughly."""
    marks, lens = model.marks, model.lens
    vectors = model.vectors(values)
    far_m = np.linalg.norm(vectors, axis=-1)
    rays = vectors / far_m[:, None]
    plane = np.stack(
        [marks.x_px - lens.principal_x_px - values[5], marks.y_px - lens.principal_y_px - values[6]], axis=-1
    )
    one, two = np.triu_indices(len(far_m), 1)
    if one.size > _MOST_PAIRS:  # those farthest apart in the picture tell most
        apart = np.linalg.norm(plane[one] - plane[two], axis=-1)
        chosen = np.argsort(-apart, kind="stable")[:_MOST_PAIRS]
        one, two = one[chosen], two[chosen]
    focal_px = _focal_lengths(model, plane[one], plane[two], np.sum(rays[one] * rays[two], axis=-1))
    usable = np.isfinite(focal_px)
    pair, focal = np.nonzero(usable)[0], focal_px[usable]
    turned = _turned(
        _rays(plane[one[pair]], focal), _rays(plane[two[pair]], focal), rays[one[pair]], rays[two[pair]]
    )
    x, y = perspective.on_plane(rays, turned[:, None])
    off2 = (focal[:, None] * x - plane[:, 0]) ** 2 + (focal[:, None] * y - plane[:, 1]) ** 2
    place_m2 = np.trace(marks.covariance_m2, axis1=1, axis2=2) / 3.0
    if not model.standing.is_solved:
        place_m2 = place_m2 + model.standing.position_m**2
    slack = _LOOSE_SHARE if model.standing.is_solved or model.sigma[PRINCIPAL].any() else _SLACK_SHARE
    variance = marks.click_px**2 + focal[:, None] ** 2 * (place_m2 / far_m**2 + slack**2)
    density = np.exp(-0.5 * np.where(np.isnan(off2), np.inf, off2) / variance) / (2.0 * np.pi * variance)
    logarithm = np.log(focal / lens.focal_px)
    score = -np.log(density + outlier_density).sum(axis=1)
    score += 0.5 * model.information()[FOCAL] * logarithm**2
    order = np.argsort(score, kind="stable")[: 20 * most]
    found = []
    for k in order:
        own = values.copy()
        own[FOCAL] = logarithm[k]
        found.append((float(score[k]), State(turned[k], own)))
    return found


def _focal_lengths(model: Model, one: Floats, two: Floats, cosine: Floats) -> Floats:
    """Focal lengths to try for each pair, (pairs, tries), NaN for none.

    The angle between two rays through x1 and x2 at focal length f: cos = (x1 x2 + f^2) / (|x1, f| |x2, f|).
    Squared it is a quadratic equation in f^2.
    """
    width_px = max(model.lens.width_px, model.lens.height_px)
    share = model.sigma[FOCAL]
    if np.isfinite(share):
        steps = np.exp(share * np.array([0.0, -1.5, 1.5]))
        return np.tile(model.lens.focal_px * steps, (len(one), 1))
    inner = np.sum(one * two, axis=-1)
    first, second = np.sum(one * one, axis=-1), np.sum(two * two, axis=-1)
    a, b = 1.0 - cosine**2, 2.0 * inner - cosine**2 * (first + second)
    c = inner**2 - cosine**2 * first * second
    with np.errstate(invalid="ignore", divide="ignore"):
        root = np.sqrt(b * b - 4.0 * a * c)
        squares = np.stack([(-b + root) / (2.0 * a), (-b - root) / (2.0 * a)], axis=-1)
        right = (inner[:, None] + squares) * cosine[:, None] >= 0
        solved = np.sqrt(np.where(right, squares, np.nan))
    solved = np.where(
        (solved > _LEAST_WIDTHS * width_px) & (solved < _MOST_WIDTHS * width_px), solved, np.nan
    )
    tried = np.tile(np.array(_FOCAL_WIDTHS) * width_px, (len(one), 1))
    return np.concatenate([solved, tried], axis=1)


def _rays(plane: Floats, focal_px: Floats) -> Floats:
    rays = np.concatenate([plane, focal_px[:, None]], axis=-1)
    return np.asarray(rays / np.linalg.norm(rays, axis=-1, keepdims=True))


def _turned(inside_one: Floats, inside_two: Floats, one: Floats, two: Floats) -> Floats:
    """Rotations (k, 3, 3) that bring pairs of directions onto pairs of rays inside the camera.

    The middles fall together, and the planes through both of a pair.
    """

    def frames(a: Floats, b: Floats) -> Floats:
        middle = a + b
        across = np.cross(a, b)
        with np.errstate(invalid="ignore"):
            middle = middle / np.linalg.norm(middle, axis=-1, keepdims=True)
            across = across / np.linalg.norm(across, axis=-1, keepdims=True)
        return np.stack([middle, across, np.cross(middle, across)], axis=-1)

    turned = frames(inside_one, inside_two) @ np.swapaxes(frames(one, two), -1, -2)
    return np.where(np.isfinite(turned).all(axis=(-1, -2), keepdims=True), turned, np.eye(3))


def alike(one: State, other: State, turn: float, focal: float, place_m: float, axis_px: float) -> bool:
    """Whether two states differ by less than so many radians, logarithms, metres and pixels."""
    turned = np.arccos(np.clip((np.trace(one.turned @ other.turned.T) - 1.0) / 2.0, -1.0, 1.0))
    off = np.abs(one.values - other.values)
    return bool(
        turned < turn
        and off[FOCAL] < focal
        and np.hypot(*off[PLACE]) < place_m
        and np.hypot(*off[PRINCIPAL]) < axis_px
    )
