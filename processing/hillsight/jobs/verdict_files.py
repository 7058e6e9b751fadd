"""What relocation writes of a verdict: layers, a report, JSON, a map of each candidate."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.errors import OutputError
from hillsight.ground.vector import IN_MEMORY
from hillsight.jobs.input_files import named_files
from hillsight.jobs.outputs import check_outputs, write_style_folder, write_text
from hillsight.jobs.printing import printing_of
from hillsight.jobs.sink import MadeRaster, sink_for
from hillsight.layers.atomic import check_place, made_folder
from hillsight.layers.provenance import InputFile, input_file
from hillsight.layers.verdict_frames import (
    candidates_frame,
    evidence_frame,
    sight_lines_frame,
    views_frame,
)
from hillsight.layers.verdict_json import verdict_json
from hillsight.plan.sighting.template import write_sighting

if TYPE_CHECKING:
    import geopandas
    from pyproj import CRS

    from hillsight.jobs.memory import Raster
    from hillsight.jobs.requests import RelocateRequest
    from hillsight.jobs.scene import Scene
    from hillsight.jobs.verdict_pictures import Shot
    from hillsight.layers.provenance import Provenance
    from hillsight.plan.observer import Observer
    from hillsight.plan.relocation.lattice import LatticeShares
    from hillsight.plan.relocation.relocation import Relocation
    from hillsight.plan.statement import Sighting

LAYERS = ("candidates", "evidence", "sight_lines", "candidate_views")

#: A picture's wedge on the map goes so far, unless the reach is shorter.
_VIEW_M = 3_000.0

#: Candidates that get a map in the report, the likeliest; a folder of pictures gets all.
_MOST_MAPS = 6

_PAGES, _TEXTS = (".html", ".htm"), (".md",)


@dataclass(frozen=True, eq=False)
class Written:
    """Layers and rasters of a verdict, and the files written, by the parameter that asked for them."""

    frames: Mapping[str, geopandas.GeoDataFrame]
    rasters: Mapping[str, Raster]
    files: Mapping[str, tuple[Path, ...]]


def sighting_files(given: str | Sighting | None) -> tuple[InputFile, ...]:
    """A sighting as an input, if there is one; in memory the checksum is of the file it would be."""
    if given is None:
        return ()
    if isinstance(given, str):
        return (input_file(given),)
    content = write_sighting(given).encode()
    return (InputFile(IN_MEMORY, None, hashlib.sha256(content).hexdigest(), len(content)),)


def observer_files(given: str | Observer | None) -> tuple[InputFile, ...]:
    """The observer's figures as an input; none where they are the built-in ones."""
    if given is None:
        return ()
    if isinstance(given, str):
        return (input_file(given),)
    content = repr(given).encode()
    return (InputFile(IN_MEMORY, None, hashlib.sha256(content).hexdigest(), len(content)),)


def check_verdict_files(request: RelocateRequest) -> None:
    """Find an impossible place to write before the work.

    Raises
    ------
    OutputError : a place cannot be written to, is an input, or is named twice; a report is neither HTML nor
        Markdown
    """
    inputs = named_files(request)
    check_outputs(request)
    files = {name: getattr(request, name) for name in ("out", "report", "json_file")}
    files = {name: file for name, file in files.items() if file is not None}
    for file in files.values():
        check_place(file, inputs=inputs)
    places = [os.path.realpath(file) for file in files.values()]
    for name, place in zip(files, places, strict=True):
        same = [other for other, there in zip(files, places, strict=True) if there == place]
        if len(same) > 1:
            raise OutputError(
                "one file is named for two results",
                where=str(files[name]),
                remedy="Name each apart",
                parameters=tuple(same),
            )
    report = request.report
    if report is not None and report.suffix.lower() not in (*_PAGES, *_TEXTS):
        raise OutputError(
            "a report is HTML or Markdown",
            where=str(report),
            remedy="End the name in .html or .md",
            parameters=("report",),
        )


def write_verdict(
    request: RelocateRequest,
    scene: Scene,
    found: Relocation,
    provenance: Provenance,
    out_crs: CRS | None,
    probability: LatticeShares | None,
) -> Written:
    """Every file asked for; without ``out`` the layers are in memory.

    Raises
    ------
    OutputError : one cannot be written
    """
    verdict = found.verdict
    crs = scene.inputs.terrain.crs
    paths = [file.path for file in provenance.inputs]
    files: dict[str, tuple[Path, ...]] = {}
    # Pictures first, so that the report can hold them.
    maps, drawn = _draw(request, scene, found)
    with sink_for(
        request.out,
        LAYERS,
        provenance,
        inputs=paths,
        out_crs=out_crs,
        near=scene.inputs.terrain.near,
        rasters_wanted=True,
    ) as sink:
        convergence = {glance.label: glance.convergence_deg for glance in found.glances}
        sink.add(
            {
                "candidates": candidates_frame(verdict, crs),
                "evidence": evidence_frame(verdict, crs),
                "sight_lines": sight_lines_frame(verdict, crs),
                "candidate_views": views_frame(verdict, crs, min(request.reach, _VIEW_M), convergence),
            }
        )
        if probability is not None:
            sink.add_raster(MadeRaster("probability_of_place", "", probability.share, probability.grid))
        sink.close(provenance)
    if request.out is not None:
        write_style_folder(request.out)
        files["out"] = (request.out,)
    if request.report is not None:
        from hillsight.jobs.verdict_overlays import verdict_overlays
        from hillsight.jobs.verdict_pictures import fitted
        from hillsight.sheets.verdict.verdict_page import verdict_html, verdict_markdown

        if request.report.suffix.lower() in _TEXTS:
            text = verdict_markdown(verdict)
        else:
            words = f"{provenance.script}, {', '.join(f.name for f in provenance.inputs)}"
            text = verdict_html(verdict, *fitted(maps, verdict_overlays(request, scene, found)), words)
        write_text(request.report, text, paths)
        files["report"] = (request.report,)
    if request.json_file is not None:
        content = verdict_json(verdict, json.loads(provenance.as_json()))
        write_text(request.json_file, json.dumps(content, indent=2, allow_nan=False) + "\n", paths)
        files["json_file"] = (request.json_file,)
    if drawn:
        files["pictures"] = tuple(drawn)
    return Written(sink.frames, sink.rasters, files)


def _draw(request: RelocateRequest, scene: Scene, found: Relocation) -> tuple[dict[str, Shot], list[Path]]:
    """A map of each candidate that can be argued, where a page or a folder wants one; and files written."""
    folder, report = request.pictures, request.report
    on_page = report is not None and report.suffix.lower() in _PAGES
    if not (on_page or folder is not None) or not found.verdict.arguments:
        return {}, []
    from hillsight.jobs.verdict_pictures import Shot
    from hillsight.sheets.paper.saving import save_page
    from hillsight.sheets.verdict.candidate_sheet import draw_candidate, picture_name

    maps: dict[str, Shot] = {}
    ranked = sorted(found.verdict.candidates, key=lambda one: one.rank)
    likeliest = {one.station for one in ranked[:_MOST_MAPS]}
    drawn: list[Path] = []
    taken: set[str] = set()
    printing = printing_of(request)
    for place in found.glances:
        surface = scene.looker.surface(place.easting_m, place.northing_m)
        page = draw_candidate(
            found.verdict, place.label, surface, scene.things, place.convergence_deg, request.reach
        )
        if folder is not None:
            drawn.append(printing.named(made_folder(folder), picture_name(place.label, taken)))
        if on_page and place.label in likeliest:  # before paper may turn white
            maps[place.label] = Shot.of(page)
        if folder is not None:
            save_page(page, drawn[-1], printing=printing)
    return maps, drawn
