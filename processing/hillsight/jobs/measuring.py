"""Marks and their photograph, read, checked and brought into the setting of a verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError, HillsightError, MarksError
from hillsight.ground.crs import parse_crs
from hillsight.ground.transform import operation_between
from hillsight.jobs.marked_picture import weighed_picture
from hillsight.jobs.named_features import named_feature
from hillsight.jobs.requests import MarkedPicture
from hillsight.plan.look.skies import alike_over_m
from hillsight.plan.picture.holding import check_landmarks
from hillsight.plan.picture.mark_ground import MarkedThing, marked_ground
from hillsight.plan.picture.measuring import MarkedThings, picture_skyline
from hillsight.plan.relocation.measured_words import Photographed
from hillsight.plan.relocation.set_aside import set_aside
from hillsight.plan.sighting.wording import statement_words

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.jobs.requests import RelocateRequest
    from hillsight.jobs.scene import Scene
    from hillsight.layers.provenance import InputFile
    from hillsight.plan.picture.mark_ground import GroundAt
    from hillsight.plan.picture.marks import Landmark, Marks
    from hillsight.plan.picture.photograph import LensBelief
    from hillsight.plan.relocation.setting import Setting
    from hillsight.plan.statement import Sighting


#: Widths of the picture are the same within this share.
_WIDTHS_ALIKE = 0.05


@dataclass(frozen=True)
class Measuring:
    """Marks of a photograph, and what is believed of its lens.

    source : the file of marks; files : what was read; notes : what the user should know
    """

    marks: Marks
    belief: LensBelief
    source: str
    files: tuple[InputFile, ...]
    notes: tuple[str, ...]

    @property
    def width_deg(self) -> float:
        """Between the sides of the photograph, as believed."""
        return self.belief.lens.width_deg

    def width_note(self, sighting: Sighting) -> str:
        """That a sighting's width does not count; empty where it is much the same."""
        told_deg = sighting.picture.width_deg
        if abs(told_deg / self.width_deg - 1.0) <= _WIDTHS_ALIKE:
            return ""
        return (
            f"the picture counts as {self.width_deg:.1f} degrees wide, by {self.belief.source}: the "
            f"{told_deg:g} degrees of the sighting (its own, or those of one that tells none) do not count"
        )

    def weighed(
        self, setting: Setting, sighting: Sighting, scene: Scene
    ) -> tuple[Setting, Sighting, Photographed]:
        """The setting with what was measured; the sighting without what says the same; what is told of it.

        Raises
        ------
        MarksError : a landmark is on no map
        """
        marks, looker = self.marks, setting.looker
        errors = looker.errors
        spacing_m = max(looker.terrain.spacing_x_m, looker.terrain.spacing_y_m)
        measured = picture_skyline(marks, self.belief, alike_over_m(spacing_m, errors))
        marked = self._marked(scene) if marks.landmarks else None
        if marked is not None:
            self._check_upright(measured.marks, marked, scene)
        framing = replace(setting.framing, width_deg=self.width_deg)
        names = [one.feature for one in marks.landmarks]
        traced = [trace.x_px for trace in marks.skyline]
        aside = set_aside(sighting.statements, traced, marks.photograph.width_px, names)
        known = {what for s in sighting.statements for what in s.things}
        words = tuple(
            statement_words(s, known) for s, out in zip(sighting.statements, aside, strict=True) if out
        )
        kept = tuple(s for s, out in zip(sighting.statements, aside, strict=True) if not out)
        picture = replace(sighting.picture, width_deg=self.width_deg)
        taken = Photographed(
            marks.photograph.name,
            self.belief.lens,
            self.belief.source,
            len(marks.landmarks),
            bool(marks.skyline),
            words,
        )
        return (
            replace(setting, measured=measured, marked=marked, framing=framing),
            replace(sighting, statements=kept, picture=picture),
            taken,
        )

    def _marked(self, scene: Scene) -> MarkedThings:
        """Where the landmarks are, in the terrain's grid."""
        places = [self._place(one, number, scene) for number, one in enumerate(self.marks.landmarks, 1)]
        east, north, height, above = (np.array(values, np.float64) for values in zip(*places, strict=True))
        terrain, errors = scene.inputs.terrain, scene.looker.errors
        grounds: list[GroundAt | None] = []
        for number, (one, place) in enumerate(zip(self.marks.landmarks, places, strict=True), 1):
            thing = MarkedThing(one, number, one.feature or "by coordinates", place[0], place[1])
            grounds.append(marked_ground(terrain, thing, errors) if one.height_m is None else None)
        labels = tuple(one.feature or f"landmark {k}" for k, one in enumerate(self.marks.landmarks, 1))
        return MarkedThings.on(labels, east, north, height, above, grounds, errors)

    def _check_upright(self, right_up: Floats, marked: MarkedThings, scene: Scene) -> None:
        """Refuse a photograph on its side, by how its landmarks lie from every candidate."""
        terrain, inputs = scene.inputs.terrain, scene.inputs
        around_m = 4.0 * inputs.spacing_m

        def ground_m(east: float, north: float) -> float:
            return terrain.window(east, north, around_m).height_at_m(east, north)

        heights = [
            ground_m(east, north) + above if np.isnan(height) else height
            for east, north, height, above in zip(
                marked.easting_m, marked.northing_m, marked.height_m, marked.above_ground_m, strict=True
            )
        ]
        bearing, angle = [], []
        for station in inputs.stations:
            here = station.easting_m, station.northing_m
            east, north = marked.easting_m - here[0], marked.northing_m - here[1]
            bearing.append(np.degrees(np.arctan2(east, north)))
            angle.append(np.degrees(np.arctan2(np.array(heights) - ground_m(*here), np.hypot(east, north))))
        check_landmarks(right_up, np.array(bearing), np.array(angle), self.marks.photograph.name)

    def _place(self, one: Landmark, number: int, scene: Scene) -> tuple[float, float, float, float]:
        """Easting, northing, height (NaN for the ground's) and how far above the ground the mark is."""
        height_m = np.nan if one.height_m is None else one.height_m
        if one.easting_m is not None and one.northing_m is not None:
            crs = scene.inputs.terrain.crs
            east, north = one.easting_m, one.northing_m
            if one.crs:
                try:
                    own = parse_crs(one.crs, "the CRS of a landmark", ("marks",))
                    change = operation_between(own, crs, scene.inputs.terrain.near)
                    there = change(np.array([east]), np.array([north]))
                except HillsightError as error:
                    raise self._error(one, number, f"cannot be placed: {error.what}", error.remedy) from error
                east, north = float(there[0][0]), float(there[1][0])
            return east, north, height_m, 0.0
        if scene.inputs.features is None:
            raise self._error(
                one,
                number,
                "names a feature, and no map features are given",
                "Name a file of map features too, or give its coordinates",
            )
        instead = "Give easting_m and northing_m of the one that is meant with the mark"
        try:
            found = named_feature(one.feature, scene.inputs, ("marks", "features"), instead)
        except CallError as error:
            raise self._error(one, number, f"cannot be placed: {error.what}", error.remedy) from error
        return found.place.x, found.place.y, height_m, found.height_m

    def _error(self, one: Landmark, number: int, what: str, remedy: str) -> MarksError:
        return MarksError(
            f"landmark {number}, {repr(one.feature) if one.feature else 'by coordinates'}, {what}",
            where=self.source,
            remedy=remedy,
            parameters=("marks",),
        )


def read_measured(request: RelocateRequest) -> Measuring | None:
    """Marks and their photograph; None where neither is given.

    Raises
    ------
    CallError : one without the other, or nothing tells how wide the picture is
    MarksError, PhotographError : they cannot be read, the marks are of another photograph, or it was cropped
        or lies on its side
    """
    marks, photo, width_deg = request.marks, request.photo, request.width
    if marks is None and photo is None:
        if width_deg is not None:
            raise CallError(
                "a width is told of no photograph",
                remedy="Give the marks and the photograph too, or write width_deg in the sighting",
                parameters=("width",),
            )
        return None
    if marks is None or photo is None:
        missing = "photo" if photo is None else "marks"
        raise CallError(
            "marks and the photograph they were made on go together: the photograph shows that the marks are "
            "its own, tells its lens, and is drawn in the report",
            remedy="Give both",
            parameters=(missing,),
        )
    size = request.most_megapixels
    picture, belief = weighed_picture(
        MarkedPicture(marks=marks, photo=photo, width=width_deg, cropped=False, most_megapixels=size)
    )
    made = picture.marks
    if not made.landmarks and not made.skyline:
        raise MarksError(
            "nothing is marked that can be weighed",
            where=str(marks),
            remedy="Trace the skyline or mark landmarks",
            parameters=("marks",),
        )
    return Measuring(made, belief, str(marks), picture.files, picture.notes)
