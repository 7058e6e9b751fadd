"""Writes exercises that were found: their files, the layer of places and a report."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.ground.crs import horizontal_crs
from hillsight.jobs.input_files import named_files
from hillsight.jobs.outputs import check_folder as check_made
from hillsight.jobs.outputs import write_style_folder, write_text
from hillsight.jobs.sink import sink_for
from hillsight.layers.atomic import check_place, made_folder
from hillsight.layers.exercise_frames import exercise_places_frame
from hillsight.plan.exercise.writing import write_exercise
from hillsight.plan.sighting.wording import statement_words

if TYPE_CHECKING:
    import geopandas

    from hillsight.jobs.exercise.find_request import ExerciseFindRequest
    from hillsight.jobs.exercise.made import Found, Made
    from hillsight.jobs.inputs import Inputs
    from hillsight.layers.provenance import Provenance
    from hillsight.plan.exercise.look_alikes import LookAlike

LAYERS = ("exercise_places",)
_OF_TERRAIN = ("terrain_crs", "band", "vertical_unit", "nodata", "grid_crs")
_OF_COVER = ("cover_layer", "cover_heights", "leaf")
_PACKAGE, _REPORT = "exercise_places.gpkg", "report.txt"


def check_folder(request: ExerciseFindRequest) -> None:
    """Refuse a folder that nothing can be written to, before the work.

    Raises
    ------
    OutputError : it is a file, or cannot be written to; a file in it is an input
    """
    assert request.out is not None
    check_made(request.out)
    if request.out.is_dir():
        for name in (_PACKAGE, _REPORT):
            check_place(request.out / name, inputs=named_files(request))


@dataclass(frozen=True)
class ExerciseFiles:
    """Where exercises go: a folder, or memory where none is named."""

    folder: Path | None
    inputs: Inputs
    provenance: Provenance
    terrain: object
    features: tuple[object, ...]
    surface: object
    cover: tuple[object, ...]

    def write(self, found: Found) -> tuple[Mapping[str, geopandas.GeoDataFrame], dict[str, tuple[Path, ...]]]:
        """Write everything; the frames, and the files by the parameter that asked for them.

        Raises
        ------
        OutputError : a file cannot be written
        """
        names = [f"exercise_{number:02d}.toml" for number in range(1, len(found.made) + 1)]
        rows = [
            (name, one.exercise, one.wrong, [_told_by(wrong) for wrong in one.wrong])
            for name, one in zip(names, found.made, strict=True)
        ]
        heights_m = [one.ground_m for one in found.made]
        frame = exercise_places_frame(rows, heights_m, self.inputs.terrain.crs)
        out = None if self.folder is None else made_folder(self.folder) / _PACKAGE
        with sink_for(
            out,
            LAYERS,
            self.provenance,
            inputs=self.inputs.paths,
            out_crs=None,
            near=self.inputs.terrain.near,
            rasters_wanted=False,
        ) as sink:
            sink.add({"exercise_places": frame})
            sink.close(self.provenance)
        if self.folder is None or out is None:
            return sink.frames, {}
        write_style_folder(out)
        for name, made in zip(names, found.made, strict=True):
            write_text(self.folder / name, self._text(made), self.inputs.paths)
        lines = (*found.lines, "", *answers(frame))
        report = "\n".join((*lines, "", *self.provenance.notes, "", self.provenance.as_json(), ""))
        write_text(self.folder / _REPORT, report, self.inputs.paths)
        return sink.frames, {"out": (self.folder,)}

    def _text(self, made: Made) -> str:
        """The exercise's file, with where it comes from in its first lines."""
        told = json.loads(self.provenance.as_json())
        head = [f"# hillsight exercise find, seed {made.exercise.seed}"]
        head += [f"# from {one.name}, SHA-256 {one.sha256}" for one in self.inputs.files if one.sha256]
        head += [f"# hillsight {told['versions']['hillsight']}"]
        # What an exercise file cannot say of its terrain, and a check of it must be told again.
        more = {name: told["parameters"].get(name) for name in _OF_TERRAIN}
        head += [f"# the terrain was read with {name} = {value}" for name, value in more.items() if value]
        if self.surface is not None or self.cover:
            more = {name: told["parameters"].get(name) for name in _OF_COVER}
            head += [f"# the cover was read with {name} = {value}" for name, value in more.items() if value]
        own = made.exercise
        exercise = replace(
            own,
            terrain=self._beside(self.terrain),
            features=self._all_beside(self.features),
            surface=self._beside(self.surface),
            cover=self._all_beside(self.cover),
            crs=self._crs(),
            picture=replace(
                own.picture,
                photo=own.picture.photo and self._beside(own.beside(own.picture.photo)),
                marks=own.picture.marks and self._beside(own.beside(own.picture.marks)),
            ),
        )
        return "\n".join(head) + "\n\n" + write_exercise(exercise)

    def _crs(self) -> str | None:
        """CRS of the places, which are on the working grid; None where that is the terrain's own."""
        crs = self.inputs.terrain.crs
        if crs.equals(horizontal_crs(self.inputs.terrain.source_crs), ignore_axis_order=True):
            return None
        authority = crs.to_authority(min_confidence=100)
        return crs.to_wkt() if authority is None else ":".join(authority)

    def _all_beside(self, sources: tuple[object, ...]) -> tuple[str, ...]:
        return tuple(name for one in sources if (name := self._beside(one)) is not None)

    def _beside(self, source: object) -> str | None:
        """A file as an exercise in the folder names it; None for what is in memory or no plain file."""
        if self.folder is None or not isinstance(source, str) or not Path(source).is_file():
            return None
        return Path(os.path.relpath(source, self.folder)).as_posix()


def answers(places: geopandas.GeoDataFrame) -> list[str]:
    """Each exercise with its places, in sentences.

    places : the layer of places; true ones come first in their exercise
    """
    lines: list[str] = []
    for row in places.itertuples():
        if row.role == "true":
            lines.append(f"{row.exercise}, {row.grade}: the picture is from {row.letter}, {row.name}")
        else:
            lines.append(
                f"- {row.letter}, {row.name}: {row.distance_to_true_m:,.0f} m from it on the grid; "
                f"a {row.judgement} judgement; from the picture: {row.told_by}"
            )
    return lines


def _told_by(wrong: LookAlike) -> str:
    """What is said of the true place that tells most against a wrong one."""
    best = wrong.matters[0].said
    things = set(best.things)
    return statement_words(best, things)
