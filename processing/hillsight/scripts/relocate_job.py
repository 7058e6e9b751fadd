"""What relocate does: reads the sighting, weighs the candidates, writes and tells the verdict."""

from __future__ import annotations

import datetime
import json
import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from hillsight.errors import CallError, OutputError
from hillsight.ground.sun import sun_true_deg
from hillsight.ground.transform import horizontal_crs
from hillsight.layers.atomic import check_place, replacing
from hillsight.layers.package import package
from hillsight.layers.provenance import input_file
from hillsight.layers.verdict_frames import (
    candidates_frame,
    evidence_frame,
    sight_lines_frame,
    views_frame,
)
from hillsight.layers.verdict_json import verdict_json
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.things import wanted_rows
from hillsight.plan.relocation.decision import UNDECIDED as STILL_OPEN
from hillsight.plan.relocation.decision import Rules
from hillsight.plan.relocation.lattice import weigh_lattice
from hillsight.plan.relocation.relocation import Setting, check_candidates, relocate
from hillsight.plan.sighting.contradictions import check_contradictions
from hillsight.plan.sighting.file import read_sighting
from hillsight.scripts.inputs import parse_crs
from hillsight.scripts.job import check_outputs, named_files, provenance_of, write_style_folder
from hillsight.scripts.places_and_things import open_scene
from hillsight.scripts.report import Progress, note, say_if_compiling
from hillsight.scripts.running import UNDECIDED
from hillsight.scripts.trust_options import error_note
from hillsight.sheets.verdict.verdict_text import summary_lines

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from hillsight.layers.provenance import Provenance
    from hillsight.plan.relocation.relocation import Relocation
    from hillsight.plan.statement import Picture, Sighting
    from hillsight.scripts.places_and_things import Scene

#: A picture's wedge on the map goes so far, unless the reach is shorter.
_VIEW_M = 3_000.0


def run_relocate(given: Mapping[str, Any]) -> None:
    """Weigh the candidates of a sighting; ends the process with code 3 if the verdict is undecided.

    Raises
    ------
    HillsightError : bad input, or the output cannot be written
    """
    _check(given)
    rules = Rules(decide_from=given["decide_from"], none_prior=given["none_prior"])
    out_crs = None if given["out_crs"] is None else horizontal_crs(parse_crs(given["out_crs"], "--out-crs"))
    sighting = read_sighting(given["sighting"])
    check_contradictions(sighting)
    day = _day(sighting.picture)
    with Progress(quiet=given["quiet"]) as progress:
        if not given["quiet"]:
            say_if_compiling()
        margin_m = max(given["elsewhere_within"], given["everywhere_within"] if given["everywhere"] else 0.0)
        scene = open_scene(given, margin_m=margin_m, day=day, landforms_needed=False)
        if given["landforms"] is None and _names_a_landform(scene, sighting):
            scene = open_scene(given, margin_m=margin_m, day=day)
        wanted_rows(scene.things, sighting.statements, sighting.source)
        named = {name for name in scene.things["name"] if isinstance(name, str)}
        check_contradictions(sighting, named)
        for text in (*scene.inputs.notes, error_note(scene.errors)):
            note(text)
        check_candidates(scene.inputs.stations)
        if given["priors"] and len(given["priors"]) != len(scene.inputs.stations):
            raise CallError(
                f"{len(given['priors'])} priors are given for {len(scene.inputs.stations)} candidates",
                remedy="Give --prior once for each candidate, in their order",
            )
        setting = Setting(
            scene.looker,
            scene.things,
            _framing(sighting.picture, scene),
            scene.observer,
            rules,
            scene.declination_deg,
            given["elsewhere"],
            given["elsewhere_within"],
        )
        with progress.station("candidates") as advance:
            found = relocate(setting, scene.inputs.stations, sighting, given["priors"] or None, advance)
        probability = None
        if given["everywhere"] is not None:
            with progress.station("everywhere") as advance:
                probability = weigh_lattice(
                    setting,
                    scene.inputs.stations,
                    sighting,
                    given["everywhere"],
                    given["everywhere_within"],
                    advance,
                )
        provenance = _provenance(given, scene)
        _write(given, scene, found, provenance, out_crs, probability)
    verdict = found.verdict
    for text in verdict.cautions:
        note(text)
    if not given["quiet"]:
        for line in summary_lines(verdict):
            click.echo(line)
        for file in (given["out"], given["report"], given["json_file"], given["pictures"]):
            if file is not None:
                click.echo(f"wrote {file}")
    if verdict.state == STILL_OPEN:
        sys.exit(UNDECIDED)


def _check(given: Mapping[str, Any]) -> None:
    """Find what cannot be done before the work."""
    named = [*named_files(given), given["sighting"]]
    check_outputs({**given, "csv": None, "rasters": None}, named)
    for file in (given["report"], given["json_file"]):
        if file is not None:
            check_place(file, inputs=named)
    written = [f.absolute() for f in (given["out"], given["report"], given["json_file"]) if f is not None]
    if len(set(written)) < len(written):
        raise OutputError(
            "two of --out, --report and --json name one file", where=str(written[0]), remedy="Name each apart"
        )
    report: Path | None = given["report"]
    if report is not None and report.suffix.lower() not in (".html", ".htm", ".md"):
        raise OutputError(
            "a report is HTML or Markdown", where=str(report), remedy="End the name in .html or .md"
        )
    if given["everywhere"] is not None:
        if given["out"] is None:
            raise CallError(
                "--everywhere writes a raster, and no file is named", remedy="Add --out FILE.gpkg"
            )
        if not given["everywhere"] > 0:
            raise CallError(f"--everywhere is {given['everywhere']:g} m", remedy="Give metres above 0")
    for option in ("elsewhere_within", "everywhere_within"):
        if not 10 <= given[option] <= 100_000:
            raise CallError(
                f"--{option.replace('_', '-')} is {given[option]:g} m",
                remedy="Give metres from 10 to 100,000",
            )


def _day(picture: Picture) -> datetime.date | None:
    taken = picture.taken
    return taken.date() if isinstance(taken, datetime.datetime) else taken


def _names_a_landform(scene: Scene, sighting: Sighting) -> bool:
    """Whether a statement is about what no map feature is, so that landforms must be read."""
    try:
        wanted_rows(scene.things, sighting.statements, sighting.source)
    except CallError:
        return True
    return False


def _framing(picture: Picture, scene: Scene) -> Framing:
    """Directions the picture may look in: as told, by the sun, or both."""
    looks = None if picture.looks_deg is None else scene.true_deg(picture.looks_deg, picture.north)
    spread_deg = picture.give_or_take_deg
    if picture.sun_right_deg is not None and isinstance(picture.taken, datetime.datetime):
        sun_deg = sun_true_deg(picture.taken, scene.longitude, scene.latitude)
        by_sun = sun_deg - picture.sun_right_deg
        if looks is None:
            looks, spread_deg = by_sun, scene.observer.sun_deg
        else:
            # Two readings of one direction, each with its own spread.
            share = spread_deg**2 / (spread_deg**2 + scene.observer.sun_deg**2)
            off = (by_sun - looks + 180.0) % 360.0 - 180.0
            if abs(off) > 3.0 * float(np.hypot(spread_deg, scene.observer.sun_deg)):
                raise CallError(
                    f"looks says {looks % 360:.0f} degrees true, the sun {by_sun % 360:.0f}",
                    where="[picture]",
                    remedy="Correct looks, taken or sun_right_deg, or leave one out",
                )
            looks += share * off
            spread_deg = (
                spread_deg * scene.observer.sun_deg / float(np.hypot(spread_deg, scene.observer.sun_deg))
            )
    return Framing.of(looks, spread_deg, picture.width_deg, scene.observer.picture_edge)


def _provenance(given: Mapping[str, Any], scene: Scene) -> Provenance:
    hidden = ("json_file", "report", "sighting")
    rest = {name: value for name, value in given.items() if name not in hidden}
    found = provenance_of("relocate", rest, scene.inputs)
    return replace(found, inputs=(*found.inputs, input_file(given["sighting"])))


def _write(
    given: Mapping[str, Any],
    scene: Scene,
    found: Relocation,
    provenance: Provenance,
    out_crs: Any,
    probability: Any,
) -> None:
    """Every file asked for: pictures first, so that the report can hold them."""
    verdict = found.verdict
    crs = scene.inputs.terrain.crs
    convergence = {glance.label: glance.convergence_deg for glance in found.glances}
    pictures = _draw(given, scene, found)
    paths = [file.path for file in provenance.inputs]
    if given["out"] is not None:
        view_m = min(given["reach"], _VIEW_M)
        with package(given["out"], provenance, inputs=paths, out_crs=out_crs) as file:
            file.write("candidates", candidates_frame(verdict, crs))
            file.write("evidence", evidence_frame(verdict, crs))
            file.write("sight_lines", sight_lines_frame(verdict, crs))
            file.write("candidate_views", views_frame(verdict, crs, view_m, convergence))
            if probability is not None:
                file.write_raster(
                    "probability_of_place",
                    probability.share,
                    probability.grid,
                    "probability that the picture was taken at this place, all together 1",
                    "probability_of_place",
                )
        write_style_folder(given["out"])
    if given["json_file"] is not None:
        text = json.dumps(verdict_json(verdict, json.loads(provenance.as_json())), indent=2, allow_nan=False)
        _put(given["json_file"], text + "\n", paths)
    if given["report"] is not None:
        from hillsight.sheets.verdict.verdict_page import verdict_html, verdict_markdown

        if given["report"].suffix.lower() == ".md":
            text = verdict_markdown(verdict)
        else:
            words = f"{provenance.script}, {', '.join(f.name for f in provenance.inputs)}"
            text = verdict_html(verdict, pictures, words)
        _put(given["report"], text, paths)


def _put(path: Path, text: str, inputs: list[str]) -> None:
    with replacing(path, inputs=inputs) as temporary:
        temporary.write_text(text, encoding="utf-8")


def _draw(given: Mapping[str, Any], scene: Scene, found: Relocation) -> dict[str, bytes]:
    """A map of each candidate that can be argued, where a page or a folder wants one."""
    wanted = given["pictures"] is not None or (
        given["report"] is not None and given["report"].suffix.lower() != ".md"
    )
    if not wanted or not found.verdict.arguments:
        return {}
    from hillsight.sheets.verdict.candidate_sheet import draw_candidate, picture_bytes, picture_name

    drawn = {}
    taken: set[str] = set()
    for place in found.glances:
        surface = scene.looker.surface(place.easting_m, place.northing_m)
        page = draw_candidate(
            found.verdict, place.label, surface, scene.things, place.convergence_deg, given["reach"]
        )
        if given["pictures"] is not None:
            given["pictures"].mkdir(parents=True, exist_ok=True)
            page.save(given["pictures"] / picture_name(place.label, taken))
        drawn[place.label] = picture_bytes(page)
    return drawn
