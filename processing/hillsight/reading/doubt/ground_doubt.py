"""How far the view of the ground can be trusted: the chance that each post is seen, and how much is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sight.doubt import probability_of_posts
from hillsight.sight.doubt_shares import seen_number
from hillsight.sight.posts import see_posts
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.arrays import Bytes, Floats32
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Surface
    from hillsight.reading.doubt.trust import Limits
    from hillsight.sight.field import FieldOfView
    from hillsight.sight.viewing import Eye


@dataclass(frozen=True)
class GroundDoubt:
    """A view and its doubt.

    states : (rows, columns) uint8 of GroundState, UNCERTAIN between the limits
    probability : (rows, columns) float32, 0 to 1; NaN beyond the field and where unknown
    expected_ha, low_ha, high_ha : ground seen, and its 95 % interval
    """

    states: Bytes
    probability: Floats32
    expected_ha: float
    low_ha: float
    high_ha: float


def doubt_of_ground(
    surface: Surface,
    eye: Eye,
    field: FieldOfView,
    target_height_m: float,
    errors: ErrorModel,
    limits: Limits,
    states: Bytes,
    progress: Callable[[float], None] | None = None,
) -> GroundDoubt:
    """The chance that each post is seen, and the states with what is uncertain.

    states : of the same view, without doubt
    """
    posts = see_posts(surface, eye, field, target_height_m)
    probability = probability_of_posts(surface, eye, field, target_height_m, errors, progress, posts=posts)
    share = seen_number(surface, eye, target_height_m, errors, probability)
    post_ha = surface.grid.spacing_x_m * surface.grid.spacing_y_m / 10_000
    judged = np.isfinite(probability) & np.isin(states, (GroundState.HIDDEN, GroundState.VISIBLE))
    doubted = np.where(judged, limits.state_codes(probability), states).astype(np.uint8)
    return GroundDoubt(
        doubted, probability, share.expected * post_ha, share.low * post_ha, share.high * post_ha
    )
