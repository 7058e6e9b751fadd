"""How far marks may be out in the picture, and which error a camera's plus-minus comes from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.picture import perspective
from hillsight.plan.picture.resection_model import AIR, EYE, FOCAL, PLACE, RADIAL

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.plan.picture.resection_model import Model, State


def own_covariance(model: Model, by_places: Floats, *, with_terrain: bool) -> Floats:
    """(n, 2, 2) pixels^2, of each mark by itself."""
    marks = model.marks
    own = marks.covariance_m2
    if with_terrain:
        own = own.copy()
        own[:, 2, 2] += np.diag(marks.relative_m2)
    covariance = by_places @ own @ np.swapaxes(by_places, -1, -2)
    return np.asarray(covariance + marks.click_px[:, None, None] ** 2 * np.eye(2))


def joint_covariance(model: Model, by_places: Floats, chosen: Integers) -> Floats:
    """(2 m, 2 m) pixels^2, of the marks chosen: own errors and the terrain's, which are partly alike."""
    own = own_covariance(model, by_places, with_terrain=False)[chosen]
    up = by_places[chosen, :, 2]
    relative = model.marks.relative_m2[np.ix_(chosen, chosen)]
    joint = np.einsum("ai,ab,bj->aibj", up, relative, up)
    for k in range(len(own)):
        joint[k, :, k, :] += own[k]
    return np.asarray(joint.reshape(2 * len(own), 2 * len(own)))


def heading_causes(model: Model, state: State, used: Flags) -> dict[str, float]:
    """Share of the heading's variance that each kind of error makes; they add up to 1.

    What is believed beforehand counts as an observation of its own, so that the covariance is a sum of what
    each observation's error brings in (propagation of errors through the gain of the adjustment).
    """
    active, chosen = model.active, np.flatnonzero(used)
    by_places = model.by_places(state)
    joint = joint_covariance(model, by_places, chosen)
    design = model.by_unknowns(state)[chosen].reshape(-1, active.size)[:, active]
    information = model.information()[active]
    weighted = np.linalg.solve(joint, design)
    covariance = np.linalg.pinv(design.T @ weighted + np.diag(information), hermitian=True)
    here = perspective.turned_by(state.turned)[0]
    slope = np.zeros(active.size)
    for k, step in enumerate(1e-5 * np.eye(active.size)[:3]):
        change = perspective.turned_by(state.moved(step).turned)[0] - here
        slope[k] = (float(change) + 180.0) % 360.0 - 180.0
    pull = covariance @ slope[active]
    gain = weighted @ pull
    clicks = np.repeat(model.marks.click_px[chosen] ** 2, 2) * gain**2
    moved = np.einsum("nij,ni->nj", by_places[chosen], gain.reshape(-1, 2))
    landmarks = np.einsum("ni,nij,nj->n", moved, model.marks.covariance_m2[chosen], moved)
    believed = np.zeros(active.size)
    believed[active] = information * pull**2
    parts = {
        "clicks": float(clicks.sum()),
        "the landmarks' places": float(landmarks.sum()),
        "the terrain's heights": float(gain @ joint @ gain - clicks.sum() - landmarks.sum()),
        "the camera's place": float(believed[PLACE].sum()),
        "the eye's height": float(believed[EYE]),
        "the air": float(believed[AIR]),
        "the lens": float(believed[FOCAL] + believed[RADIAL]),
    }
    total = sum(parts.values())
    return {name: part / total for name, part in parts.items()} if total > 0 else {}
