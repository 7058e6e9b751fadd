"""The ground that exercises are found on: opened once, looked at quickly, or with care."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.geodesy import Geodesy, drop_coefficient_per_m
from hillsight.ground.stations import Station
from hillsight.jobs.exercise.scene import agreeing
from hillsight.jobs.scene import scene_of
from hillsight.plan.exercise.close_looks import CloseLooker
from hillsight.plan.exercise.marks_in_view import BELOW_TOP_M, MarksInView, is_top
from hillsight.plan.exercise.quick_looks import quick_looks
from hillsight.plan.exercise.sector import in_sector
from hillsight.plan.exercise.standing import standing
from hillsight.plan.look.drawn import DrawnGround
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.things import Things
from hillsight.plan.observer import Observer
from hillsight.plan.weighing.statements import Weighing
from hillsight.sight.maxima import Maxima

if TYPE_CHECKING:
    from collections.abc import Callable

    import geopandas

    from hillsight.arrays import Floats
    from hillsight.jobs.exercise.find_request import ExerciseFindRequest
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.scene import Scene
    from hillsight.plan.exercise.pool import Pool
    from hillsight.plan.exercise.quick_looks import QuickLooks
    from hillsight.plan.exercise.standing import Standing
    from hillsight.sight.far_sky import FarGround

#: The direction of a picture is known as it is told, degrees.
_SPREAD_DEG = 0.5

#: Kinds of line that a spur is told to lie beside.
_BESIDE = ("spur", "stream", "re-entrant")

#: How far off such lines are looked at, metres, and how far beyond the picture's sides, degrees.
_LINES_WITHIN_M, _BESIDE_DEG = 2_500.0, 10.0


@dataclass(frozen=True)
class ExerciseGround:
    """A piece of ground and what is on it.

    box_m : west, south, east, north of where places may lie
    """

    inputs: Inputs
    scene: Scene
    box_m: tuple[float, float, float, float]
    width_deg: float
    steepest_deg: float

    @classmethod
    def of(
        cls,
        request: ExerciseFindRequest,
        inputs: Inputs,
        box_m: tuple[float, float, float, float],
        *,
        landforms_needed: bool,
    ) -> ExerciseGround:
        """Read terrain, map and landforms about a box.

        Raises
        ------
        HillsightError : anything that makes no sense
        """
        west, south, east, north = box_m
        corners = [Station("", None, e, n, None, "") for e, n in ((west, south), (east, north))]
        scene = agreeing(
            scene_of(
                request,
                replace(inputs, stations=corners),
                Observer(),
                margin_m=100.0,
                landforms_needed=landforms_needed,
            )
        )
        return cls(inputs, scene, box_m, request.width, request.steepest)

    @property
    def middle_m(self) -> tuple[float, float]:
        """The middle of the box."""
        west, south, east, north = self.box_m
        return (west + east) / 2.0, (south + north) / 2.0

    @cached_property
    def ground(self) -> DrawnGround:
        """The terrain about the box, taken at its word."""
        surface = self.scene.looker.surface(*self.middle_m)
        return DrawnGround(surface, Maxima.over(surface))

    @cached_property
    def far(self) -> FarGround:
        """All ground that may stand against the sky."""
        return self.scene.looker.far(Station("", None, *self.middle_m, None, ""))

    @cached_property
    def drop_per_m(self) -> float:
        """Of curvature and refraction, the same all over the box."""
        radius_m = Geodesy(self.inputs.terrain.crs).gaussian_radius_m(*self.middle_m)
        return drop_coefficient_per_m(radius_m, self.scene.looker.viewing.refraction)

    def standing(self, pool: Pool) -> Standing:
        """Where somebody may stand."""
        surface = self.far.surface
        return standing(surface, self.inputs.features, pool.easting_m, pool.northing_m, self.steepest_deg)

    def quick(self, pool: Pool, progress: Callable[[float], None] | None = None) -> QuickLooks:
        """Quick looks from all places of a pool."""
        return quick_looks(
            self.far,
            pool.easting_m,
            pool.northing_m,
            self.scene.looker.viewing.eye_height_m,
            self.drop_per_m,
            self.scene.convergence_deg,
            progress,
        )

    def marks(self, looks: QuickLooks) -> MarksInView:
        """Tops, spurs and streams that the places see."""
        return MarksInView.of(
            looks,
            self.scene.things,
            self.ground.surface,
            self.ground.maxima,
            self.scene.looker.viewing.eye_height_m,
            self.drop_per_m,
            self.scene.convergence_deg,
        )

    def looker(self, direction_deg: float, beside_m: Floats | None = None) -> CloseLooker:
        """A close looker for a picture in a direction.

        Parameters
        ----------
        beside_m : (k, 2) places from which spurs and streams near by are looked at too
        """
        framing = Framing.of(direction_deg, _SPREAD_DEG, self.width_deg, self.scene.observer.picture_edge)
        things = self._things if beside_m is None else self._with_lines(direction_deg, beside_m)
        weighing = Weighing(things, framing, self.scene.observer.careful())
        return CloseLooker(self.scene.looker, self.ground, weighing)

    @cached_property
    def _things(self) -> Things:
        return self._of(self._is_told)

    def _with_lines(self, direction_deg: float, places_m: Floats) -> Things:
        """With the spurs and streams that lie ahead of some places."""
        frame = self.scene.things
        ahead = np.zeros(len(frame), bool)
        half_deg = self.width_deg / 2.0 + _BESIDE_DEG
        for east_m, north_m in places_m:
            ahead |= in_sector(
                frame.geometry,
                (float(east_m), float(north_m)),
                direction_deg - self.scene.convergence_deg,
                half_deg,
                _LINES_WITHIN_M,
            )
        kinds = frame["kind"].fillna("").str.casefold()
        return self._of(self._is_told | (ahead & kinds.isin(_BESIDE).to_numpy()))

    @cached_property
    def _is_told(self) -> Floats:
        """Named ground and water, and tops: what a picture is told by where man-made things do not count."""
        frame = self.scene.things
        natural = frame["evidence_class"].isin(["ground_shape", "water"])
        return np.asarray((natural & frame["name"].notna()) | is_top(frame))

    def _of(self, which: Floats) -> Things:
        frame: geopandas.GeoDataFrame = self.scene.things[which]
        things = Things.of(frame, self.things_spacing_m)
        # A top shows by the ground below it; it is no smaller a thing for that.
        below_m = np.where(is_top(frame).to_numpy(), BELOW_TOP_M, 0.0)
        return replace(
            things, height_m=np.maximum(things.height_m, np.repeat(below_m, np.diff(things.starts)))
        )

    @property
    def things_spacing_m(self) -> float:
        """How far apart things are sampled."""
        return 2 * min(self.inputs.terrain.spacing_x_m, self.inputs.terrain.spacing_y_m)
