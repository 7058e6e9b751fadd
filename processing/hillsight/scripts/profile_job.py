"""The work of profile: cut every section, write layers and samples, draw, say it in words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hillsight.errors import CallError, OutputError
from hillsight.jobs.inputs import settled_out_crs
from hillsight.layers.atomic import check_place
from hillsight.layers.package import package, raster_table
from hillsight.layers.profile_csv import write_profile_csv
from hillsight.layers.provenance import file_name
from hillsight.reading.section.course import section_along
from hillsight.reading.section.features import features_along
from hillsight.reading.section.frames import profile_frames, sample_table
from hillsight.reading.section.section_words import (
    course_words,
    feature_words,
    ground_words,
    target_words,
    title_words,
)
from hillsight.scripts.inputs import open_inputs
from hillsight.scripts.job import check_outputs, named_files, provenance_of, write_style_folder
from hillsight.scripts.profile_targets import check_call, settle_targets
from hillsight.scripts.report import Progress, note, say_if_compiling
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pyproj import CRS

    from hillsight.ground.terrain import Terrain
    from hillsight.layers.provenance import Provenance
    from hillsight.reading.section.features import Passed
    from hillsight.reading.section.profile import Section, Target
    from hillsight.scripts.inputs import Inputs

    Cut = tuple[Section, tuple[Passed, ...]]

_REACH_M = 10_000.0
_BESIDE_POSTS = 2.0
_DRAWINGS = (".svg", ".png")


def run_profile(given: Mapping[str, Any]) -> None:
    """Cut the sections that were asked for and write what was asked for.

    Raises
    ------
    HillsightError : bad input, or an output cannot be written; nothing is left behind
    """
    check_call(given)
    out_crs = settled_out_crs(given["out_crs"])
    reach_m = _REACH_M if given["reach"] is None else given["reach"]
    viewing = Viewing(given["eye_height"], 0.0, reach_m, given["refraction"])
    named = named_files(given)
    check_outputs(given, named)
    _check_drawing(given, named)
    # The places of --to may be in a CRS that none of --at is there to use.
    at_crs = given["at_crs"] if given["at"] or not given["to"] else None
    inputs = open_inputs({**{k: v for k, v in given.items() if k != "csv"}, "at_crs": at_crs})
    targets, operations = settle_targets(given, inputs)
    ways: list[Target | float] = [*targets, *(float(bearing) for bearing in given["bearing"])]
    if given["drawing"] is not None and len(inputs.stations) * len(ways) > 1:
        raise CallError(
            f"--drawing draws one section, and these are {len(inputs.stations) * len(ways)}",
            remedy="Draw all of them with --pictures FOLDER",
        )
    beside_m = given["beside"]
    if beside_m is None:
        beside_m = _BESIDE_POSTS * max(inputs.terrain.spacing_x_m, inputs.terrain.spacing_y_m)
    if not given["quiet"]:
        say_if_compiling()
    cuts, notes = _cut(inputs, ways, viewing, beside_m, quiet=given["quiet"])
    for text in (*inputs.notes, *notes):
        note(text)
    provenance = _provenance(given, inputs, beside_m, viewing)
    provenance = replace(
        provenance,
        operations=(*provenance.operations, *(operation.record() for operation in operations)),
        notes=(*provenance.notes, *notes),
    )
    paths = [file.path for file in inputs.files]
    _write(given, cuts, provenance, paths, inputs.terrain, out_crs)
    drawn = _draw(given, cuts, file_name(given["terrain"]))
    if not given["quiet"]:
        for line in _summary(cuts):
            click.echo(line)
        if given["out"] is not None:
            click.echo(f"wrote {given['out']} and styles beside it")
        if given["csv"] is not None:
            click.echo(f"wrote {given['csv']}")
        for picture in drawn:
            click.echo(f"drew {picture}")


def _check_drawing(given: Mapping[str, Any], inputs: list[str]) -> None:
    drawing: Path | None = given["drawing"]
    if drawing is None:
        return
    if drawing.suffix.lower() not in _DRAWINGS:
        raise OutputError(
            "a drawing's name must end in .svg or .png",
            where=str(drawing),
            remedy=f"Name it {drawing.stem}.svg",
        )
    check_place(drawing, inputs=inputs)


def _cut(
    inputs: Inputs, ways: list[Target | float], viewing: Viewing, beside_m: float, *, quiet: bool
) -> tuple[list[Cut], list[str]]:
    """Every station's sections, in their order, and what is to be said of the stations."""
    cuts: list[Cut] = []
    notes: dict[str, None] = {}
    with Progress(quiet=quiet) as progress, inputs.terrain.reading() as read:
        for station in inputs.stations:
            with progress.station(station.label) as advance:
                for done, to in enumerate(ways, 1):
                    section, said = section_along(
                        inputs.terrain, read, station, to, viewing, number=len(cuts) + 1, beside_m=beside_m
                    )
                    notes |= dict.fromkeys(said)
                    features = inputs.features
                    along = () if features is None else features_along(section, features, beside_m)
                    cuts.append((section, along))
                    if section.course.ends_at == "terrain_edge":
                        at = section.length_grid_m
                        notes[
                            f"{title_words(section)}: the terrain ends at {at:,.0f} m, before the reach"
                        ] = None
                    if advance is not None:
                        advance(done / len(ways))
    return cuts, list(notes)


def _provenance(given: Mapping[str, Any], inputs: Inputs, beside_m: float, viewing: Viewing) -> Provenance:
    """Parameters with their units; those that were settled here as they were settled."""
    renamed = {k: v for k, v in given.items() if k not in ("drawing", "exaggeration", "bearing", "beside")}
    renamed["bearing_true_deg"] = list(given["bearing"])
    renamed["reach"] = viewing.reach_m if given["bearing"] else None
    if inputs.features is not None:
        renamed["beside_m"] = beside_m
    return provenance_of("profile", renamed, inputs)


def _write(
    given: Mapping[str, Any],
    cuts: list[Cut],
    provenance: Provenance,
    paths: list[str],
    terrain: Terrain,
    out_crs: CRS | None,
) -> None:
    sections = [section for section, _ in cuts]
    if given["out"] is not None:
        frames = profile_frames(sections, [along for _, along in cuts], terrain.crs)
        with package(given["out"], provenance, inputs=paths, out_crs=out_crs, near=terrain.near) as file:
            for layer, frame in frames.items():
                file.write(layer, frame)
    if given["csv"] is not None:
        write_profile_csv(given["csv"], sample_table(sections), inputs=paths)
    if given["out"] is not None:
        write_style_folder(given["out"])


def _draw(given: Mapping[str, Any], cuts: list[Cut], terrain: str) -> list[Path]:
    """The drawings asked for, one a section."""
    if given["drawing"] is None and given["pictures"] is None:
        return []
    from hillsight.sheets.section.section_sheet import draw_profile, save_profile

    places: list[list[Path]] = [[] for _ in cuts]
    if given["drawing"] is not None:
        places[0].append(given["drawing"])
    if given["pictures"] is not None:
        folder: Path = given["pictures"]
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(
                f"the folder cannot be made ({error.strerror})",
                where=str(folder),
                remedy="Name another folder",
            ) from error
        taken: set[str] = set()
        for (section, _), wanted in zip(cuts, places, strict=True):
            course = section.course
            way = f"{course.bearing_true_deg:05.1f}" if course.target is None else course.target.name
            name = raster_table("profile", f"{course.station} {way}", taken)
            wanted.append(folder / f"{name}.png")
    drawn = []
    for (section, along), wanted in zip(cuts, places, strict=True):
        page = draw_profile(section, along, terrain, exaggeration=given["exaggeration"])
        drawn += [save_profile(page, place) for place in wanted]
    return drawn


def _summary(cuts: list[Cut]) -> list[str]:
    """Each section in plain words."""
    lines = []
    for section, along in cuts:
        lines.append(f"{title_words(section)}: {course_words(section)}")
        told = [*ground_words(section), *target_words(section), *feature_words(section, along)]
        lines += [f"  {sentence}" for sentence in told]
    return lines
