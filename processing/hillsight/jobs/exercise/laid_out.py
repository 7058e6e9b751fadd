"""An exercise as its page and its sheets have it: views from all places, landmarks, reasons."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.jobs.exercise.landmarks import pointed_at
from hillsight.jobs.exercise.views import drawn_rgb, map_limits, place_views
from hillsight.plan.exercise.marking import marking_guide, shuffled
from hillsight.sheets.exercise.page_map import MAP_SHAPE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Bytes
    from hillsight.jobs.exercise.check import Judged
    from hillsight.jobs.exercise.landmarks import Pointed
    from hillsight.jobs.exercise.views import PlaceView
    from hillsight.plan.exercise.marking import Reason
    from hillsight.plan.picture.camera import Camera
    from hillsight.sheets.paper.labels import Box

#: How far maps go into the places' sectors, metres: to most of their landmarks, within these bounds.
_AHEAD_M = (800.0, 3_500.0)


@dataclass(frozen=True, eq=False)
class Shown:
    """What all parts share.

    reasons : by role and trust, unless mixed
    ahead_m : how far the landmarks are off, so that a map goes so far ahead of the places
    camera : of the photograph, turned as its marks have it; None where nobody knows
    drawn : pictures of the views by their numbers, as far as they were asked for
    """

    judged: Judged
    views: Sequence[PlaceView]
    pointed: Sequence[Pointed]
    reasons: Sequence[Reason]
    limits: Box
    ahead_m: float
    camera: Camera | None = None
    drawn: dict[int, Bytes] = field(default_factory=dict)

    def mixed(self) -> Shown:
        """The same with the reasons in an order that tells nothing."""
        return replace(self, reasons=shuffled(self.reasons, self.judged.exercise.seed))

    def drawn_rgb(self, number: int) -> Bytes:
        """Picture of a place's view, drawn once."""
        if number not in self.drawn:
            self.drawn[number] = drawn_rgb(self.views[number])
        return self.drawn[number]

    @property
    def numbers(self) -> dict[int, int]:
        """Numbers of landmarks by the place of their feature."""
        return {one.place: one.number for one in self.pointed}

    def on_map(self, easting_m: Any, northing_m: Any) -> tuple[Any, Any]:
        """Pixels of the map, y down."""
        scale = MAP_SHAPE[1] / self.limits.width
        return (easting_m - self.limits.left) * scale, (self.limits.top - northing_m) * scale


def shown_of(judged: Judged, refraction: float, camera: Camera | None = None) -> Shown:
    """Look from all places, and say what is a reason."""
    exercise, inputs = judged.exercise, judged.scene.inputs
    views = place_views(inputs, exercise.picture, judged.looks_true_deg, refraction)
    guide = marking_guide(exercise, judged.soundness, judged.glances, judged.weighing)
    away = [one.distance_m for view in views for one in view.landmarks if one.number]
    ahead_m = float(np.clip(1.2 * np.median(away) if away else _AHEAD_M[0], *_AHEAD_M))
    return Shown(
        judged,
        views,
        pointed_at(views, exercise.truth()),
        guide,
        map_limits(views, ahead_m, MAP_SHAPE, inputs.terrain.bounds_m),
        ahead_m,
        camera,
    )
