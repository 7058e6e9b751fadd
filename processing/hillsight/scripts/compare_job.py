"""What compare and describe do: look from stations, and tell what a person would say."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click
import shapely

from hillsight.errors import CallError, StationError
from hillsight.layers.atomic import check_place, replacing
from hillsight.plan.kinds.saying import say
from hillsight.plan.kinds.weigh import Weighing
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.things import Things
from hillsight.plan.relocation.comparing import compare, varied
from hillsight.plan.relocation.describing import describe_view
from hillsight.plan.relocation.relocation import check_candidates
from hillsight.plan.sighting.template import write_sighting
from hillsight.plan.statement import Picture, Sighting
from hillsight.plan.vocabulary import COMPASS
from hillsight.scripts.job import named_files, provenance_of
from hillsight.scripts.places_and_things import looked, open_scene, view_of
from hillsight.scripts.report import Progress, note, say_if_compiling
from hillsight.scripts.trust_options import error_note
from hillsight.words.trust import CLASS_NAMES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from hillsight.plan.look.glance import Glance
    from hillsight.plan.relocation.comparing import Compared
    from hillsight.scripts.places_and_things import Scene


def _look(given: Mapping[str, Any], progress: Progress) -> tuple[Scene, Weighing, list[Glance]]:
    """The places looked from, with all that may be told of."""
    if not given["quiet"]:
        say_if_compiling()
    scene = open_scene(given, margin_m=0.0)
    for text in (*scene.inputs.notes, error_note(scene.errors)):
        note(text)
    spacing_m = 2 * min(scene.inputs.terrain.spacing_x_m, scene.inputs.terrain.spacing_y_m)
    things = Things.of(scene.things, spacing_m)
    weighing = Weighing(things, view_of(given, scene.observer), scene.observer)
    with progress.station("looking") as advance:
        glances = scene.looker.look_all(scene.inputs.stations, things, advance)
    return scene, weighing, glances


def run_compare(given: Mapping[str, Any]) -> None:
    """Tell stations apart.

    Raises
    ------
    HillsightError : bad input, fewer than two stations, or the file cannot be written
    """
    if given["json_file"] is not None:
        check_place(given["json_file"], inputs=named_files(given))
    with Progress(quiet=given["quiet"]) as progress:
        scene, weighing, glances = _look(given, progress)
        check_candidates(scene.inputs.stations)
        views = [(_view_words(given), weighing.framing)]
        if given["looks"] is None:
            views = [
                (f"looking {name}", Framing.of(degrees, 0.5, given["width"], scene.observer.picture_edge))
                for name, degrees in COMPASS.items()
                if len(name) < 3
            ]
        apart, alike = compare(glances, weighing, views)
    labels = [glance.label for glance in glances]
    if given["json_file"] is not None:
        provenance = json.loads(
            provenance_of("compare", {**given, "json_file": None}, scene.inputs).as_json()
        )
        content = {
            "stations": labels,
            "apart": [_plain(one) for one in apart],
            "alike": [_plain(one) for one in alike],
            "provenance": provenance,
        }
        with replacing(given["json_file"], inputs=[f.path for f in scene.inputs.files]) as temporary:
            temporary.write_text(json.dumps(content, indent=2) + "\n", encoding="utf-8")
    if given["quiet"]:
        return
    most = given["most"]
    click.echo(
        f"What tells {', '.join(labels)} apart, most trusted first:" if apart else "Nothing tells them apart."
    )
    for line in _lines(varied(apart, most), labels):
        click.echo(line)
    if len(apart) > most:
        click.echo(f"  and {len(apart) - most} more (see --most, --json)")
    if alike:
        click.echo("Alike from all of them, and no help:")
        for one in varied(alike, most):
            click.echo(f"  {one.looks}: {one.answers[0]}")
    if given["json_file"] is not None:
        click.echo(f"wrote {given['json_file']}")


def _view_words(given: Mapping[str, Any]) -> str:
    looks = looked(given["looks"])
    return "all round" if looks is None else f"looking {round(looks) % 360} degrees true"


def _lines(apart: Sequence[Compared], labels: Sequence[str]) -> list[str]:
    lines = []
    for one in apart:
        trust = f"{CLASS_NAMES[one.evidence_class]}, {one.information_bits:.2f} bits"
        lines.append(f"  {one.looks} [{trust}]: {one.question}")
        lines += [f"    {label}: {fact.words}" for label, fact in zip(labels, one.facts, strict=True)]
    return lines


def _plain(one: Compared) -> dict[str, Any]:
    """As JSON holds it."""
    content = asdict(one)
    for kept in content["facts"]:
        kept["geometry"] = None if kept["geometry"] is None else shapely.to_wkt(kept["geometry"], 1)
        kept.pop("agrees")
    return content


def run_describe(given: Mapping[str, Any]) -> None:
    """Write the sighting of a view.

    Raises
    ------
    HillsightError : bad input, several stations, or the file cannot be written
    """
    out: Path | None = given["out"]
    if out is not None:
        check_place(out, inputs=named_files(given))
    if given["looks"] is None:
        raise CallError(
            "a view looks somewhere", remedy="Give --looks with a point of the compass or degrees"
        )
    with Progress(quiet=given["quiet"]) as progress:
        scene, weighing, glances = _look(given, progress)
        if len(glances) != 1:
            raise StationError(
                f"{len(glances)} stations are given, and one view is described",
                remedy="Give one, with --at or a file of one point",
            )
        statements = describe_view(glances[0], weighing)
    looks = looked(given["looks"])
    picture = Picture(
        title=f"{glances[0].label}, looking {round(looks or 0.0) % 360} degrees true",
        looks_deg=looks,
        give_or_take_deg=10.0,
        width_deg=given["width"],
    )
    sighting = Sighting(picture, statements)
    named = {what for s in statements for what in s.things if weighing.things.is_named(what)}
    prose = _prose(sighting, named)
    text = write_sighting(sighting)
    if out is not None:
        with replacing(out, inputs=[f.path for f in scene.inputs.files]) as temporary:
            temporary.write_text(text, encoding="utf-8")
    if given["prose"]:
        click.echo(prose)
    elif out is None:
        click.echo(text, nl=False)
    if out is not None and not given["quiet"]:
        click.echo(f"wrote {out}")


def _prose(sighting: Sighting, named: set[str]) -> str:
    """The statements as sentences, one a line, near ground first."""
    lines = [f"{sighting.picture.title}:"]
    for statement in sighting.statements:
        clause = say(statement, named)
        unsure = "" if statement.sure in ("sure", "certain") else " (not sure)"
        lines.append(f"- {clause[0].upper()}{clause[1:]}{unsure}.")
    return "\n".join(lines)
