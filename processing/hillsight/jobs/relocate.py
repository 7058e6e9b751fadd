"""Which of several places a picture was taken from, by what it shows."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import CallError
from hillsight.ground.sun import sun_true_deg
from hillsight.jobs.inputs import opened, settled_out_crs
from hillsight.jobs.listener import SILENT, Listener, say_if_compiling
from hillsight.jobs.measuring import read_measured
from hillsight.jobs.outputs import output_way, provenance_of
from hillsight.jobs.requests import RelocateRequest
from hillsight.jobs.results import Result
from hillsight.jobs.scene import scene_of, settled_observer, things_of
from hillsight.jobs.verdict_files import check_verdict_files, observer_files, sighting_files, write_verdict
from hillsight.layers.atomic import together
from hillsight.plan.look.drawn import BESIDE_M
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.things import wanted_rows
from hillsight.plan.picture.holding import held_words
from hillsight.plan.relocation import relocation
from hillsight.plan.relocation.decision import UNDECIDED, Rules
from hillsight.plan.relocation.lattice import weigh_lattice
from hillsight.plan.relocation.over_bare_ground import held_to_bare_ground
from hillsight.plan.relocation.setting import Setting
from hillsight.plan.sighting.contradictions import check_contradictions
from hillsight.plan.sighting.file import read_sighting
from hillsight.plan.statement import Picture, Sighting
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    from hillsight.jobs.measuring import Measuring
    from hillsight.jobs.scene import Scene
    from hillsight.plan.verdict import Verdict


@dataclass(frozen=True, eq=False, kw_only=True)
class Relocated(Result):
    """A verdict; its layers are ``candidates``, ``evidence``, ``sight_lines`` and ``candidate_views``.

    verdict : the answer with its argument, what would change it and what to look at next
    """

    verdict: Verdict

    @property
    def is_undecided(self) -> bool:
        """Whether no candidate is decided for, and another observation may decide."""
        return self.verdict.state == UNDECIDED


def relocate(
    terrain: Any,
    *,
    sighting: Any = None,
    marks: Any = None,
    photo: Any = None,
    width: float | None = None,
    most_megapixels: float = 100.0,
    terrain_crs: str | None = None,
    band: int | None = None,
    vertical_unit: str | None = None,
    nodata: float | None = None,
    grid_crs: str | None = None,
    surface: Any = None,
    cover: Any = (),
    cover_layer: Sequence[str] | str = (),
    cover_heights: str | Path | None = None,
    leaf: str = "on",
    stations: Any = None,
    station_layer: str | None = None,
    at: Sequence[Any] | str = (),
    at_crs: str | None = None,
    eye_height: float = 1.6,
    reach: float = 10_000.0,
    refraction: float = 0.13,
    features: Any = (),
    feature_layer: Sequence[str] | str = (),
    evidence: str | Path | None = None,
    landforms: Any = None,
    scales: Sequence[float] | float = (),
    priors: Sequence[float] = (),
    none_prior: float = 0.2,
    decide_from: float = 0.95,
    elsewhere: int = 360,
    elsewhere_within: float = 2_000.0,
    observer: Any = None,
    everywhere: float | None = None,
    everywhere_within: float = 1_000.0,
    terrain_product: str | None = None,
    terrain_error: float | None = None,
    error_correlation: float | None = None,
    between_posts: str = "unknown",
    out: str | Path | None = None,
    out_crs: str | None = None,
    report: str | Path | None = None,
    json_file: str | Path | None = None,
    pictures: str | Path | None = None,
    picture_format: str = "png",
    dots_per_inch: int = 150,
    white_paper: bool = False,
    listener: Listener = SILENT,
) -> Relocated:
    """Weigh candidate places against what an observer says a picture shows.

    Parameters
    ----------
    terrain : a raster file, a ``Raster`` or an xarray DataArray
    sighting : a sighting file (TOML), or a sighting as ``describe`` gives it; may be left out with marks
    marks : a file of what was marked on the photograph; photo : the photograph itself
    width : degrees between the photograph's sides, where its file does not tell or tells wrong
    most_megapixels : larger pictures are refused
    stations : the candidates, a vector file or a GeoDataFrame of points
    at : candidates too, each (easting, northing, "name") or a text "easting,northing,name"
    eye_height : m above the ground
    reach : m on the grid
    features : vector files or GeoDataFrames, one or several
    landforms : True to read them, a GeoPackage that ``landforms`` wrote, or its frames
    priors : how likely each candidate is beforehand, in their order; none for all alike
    none_prior, decide_from : probabilities
    elsewhere_within, everywhere, everywhere_within : m on the grid
    observer : a TOML file of an observer's figures, or an ``Observer``
    out : GeoPackage to write; report, json_file : the verdict as .html or .md, and as JSON
    pictures : folder for a map of each candidate
    picture_format : of pictures: "png", "svg" or "pdf"
    dots_per_inch : of pictures that are PNG
    white_paper : whether pictures are on plain white
    listener : hears of progress and notes

    docs/scripts/relocate.md tells of the rest.

    Raises
    ------
    HillsightError : bad input, or the output cannot be written
    """
    return run_relocate(RelocateRequest.of(locals()), listener)


@together()
def run_relocate(request: RelocateRequest, listener: Listener = SILENT) -> Relocated:
    """Do what a request asks for; see :func:`relocate`."""
    _check(request)
    check_verdict_files(request)
    rules = Rules(decide_from=request.decide_from, none_prior=request.none_prior)
    out_crs = settled_out_crs(request.out_crs)
    observer = settled_observer(request.observer)
    measuring = read_measured(request)
    sighting = _settled_sighting(request.sighting, measuring)
    check_contradictions(sighting)
    notes: list[str] = []

    def tell(text: str) -> None:
        notes.append(text)
        listener.note(text)

    with opened(request) as inputs:
        way, cautions = output_way(inputs, out_crs)
        relocation.check_candidates(inputs.stations)
        if request.priors and len(request.priors) != len(inputs.stations):
            raise CallError(
                f"{len(request.priors)} priors are given for {len(inputs.stations)} candidates",
                remedy="Give one for each candidate, in their order",
                parameters=("priors",),
            )
        say_if_compiling(listener)
        scene = _scene(request, inputs, observer, sighting)
        for text in (*scene.notes, *cautions, *(() if measuring is None else measuring.notes)):
            tell(text)
        setting = Setting(
            scene.looker,
            scene.things,
            _framing(sighting.picture, scene),
            scene.observer,
            rules,
            scene.declination_deg,
            request.elsewhere,
            request.elsewhere_within,
        )
        taken = None
        if measuring is not None:
            if request.sighting is not None and (text := measuring.width_note(sighting)):
                tell(text)
            setting, sighting, taken = measuring.weighed(setting, sighting, scene)
        with listener.work("candidates") as advance:
            found = relocation.relocate(
                setting, inputs.stations, sighting, request.priors or None, advance, taken
            )
        if inputs.is_covered:
            with listener.work("on bare ground") as advance:
                bare = relocation.relocate(
                    replace(setting, looker=setting.looker.on_bare_ground()),
                    inputs.stations, sighting, request.priors or None, advance, taken,
                )  # fmt: skip
            found = replace(found, verdict=held_to_bare_ground(found.verdict, bare.verdict))
        probability = None
        if request.everywhere is not None:
            with listener.work("everywhere") as advance:
                probability = weigh_lattice(
                    setting,
                    inputs.stations,
                    sighting,
                    request.everywhere,
                    request.everywhere_within,
                    advance,
                )
        told = {name: value for name, value in request.told().items() if name != "sighting"}
        provenance = provenance_of("relocate", told, inputs)
        for text in (*_held(found.verdict), *found.verdict.cautions):
            tell(text)
        files = (*provenance.inputs, *sighting_files(request.sighting), *observer_files(request.observer))
        files = (*files, *(() if measuring is None else measuring.files))
        operations = (*provenance.operations, *way)
        provenance = replace(provenance, inputs=files, operations=operations, notes=tuple(notes))
        written = write_verdict(request, scene, found, provenance, out_crs, probability)
    return Relocated(
        frames=written.frames,
        rasters=written.rasters,
        notes=tuple(notes),
        provenance=provenance,
        files=written.files,
        verdict=found.verdict,
    )


def _check(request: RelocateRequest) -> None:
    """Find what cannot be done before the work."""
    if request.everywhere is not None and not request.everywhere > 0:
        raise CallError(
            f"places {request.everywhere:g} m apart cannot be weighed",
            remedy="Give metres above 0",
            parameters=("everywhere",),
        )
    for name in ("elsewhere_within", "everywhere_within"):
        within_m = getattr(request, name)
        if not 10 <= within_m <= 100_000:
            raise CallError(
                f"places cannot be weighed within {within_m:g} m of the candidates",
                remedy="Give metres from 10 to 100,000",
                parameters=(name,),
            )
    if not 0 <= request.elsewhere <= 5_000:
        raise CallError(
            f"{request.elsewhere:,} places cannot stand for none of the candidates",
            remedy="Give 0 to 5,000",
            parameters=("elsewhere",),
        )


def _held(verdict: Verdict) -> tuple[str, ...]:
    """What is odd about how the camera was held where the likeliest candidate has it."""
    fits = () if verdict.measured is None else verdict.measured.fits
    best = max(verdict.candidates, key=lambda one: one.probability).station
    words = [held_words(one.tilt_deg, one.roll_deg) for one in fits if one.station == best]
    return tuple(f"{best}: {one}" for one in words if one)


def _settled_sighting(given: str | Sighting | None, measuring: Measuring | None) -> Sighting:
    """What is said of the picture: nothing where all is measured."""
    if given is None and measuring is not None:
        return Sighting(Picture(width_deg=measuring.width_deg))
    if given is None:
        raise CallError(
            "nothing is told of the picture",
            remedy="Give a sighting file, or marks made on the photograph with the photograph, or all three",
            parameters=("sighting", "marks", "photo"),
        )
    if isinstance(given, Sighting):
        return given
    if isinstance(given, str):
        return read_sighting(given)
    raise CallError(
        f"a {type(given).__name__} is no sighting",
        remedy="Give the name of a sighting file, or what describe gives",
        parameters=("sighting",),
    )


def _scene(request: RelocateRequest, inputs: Any, observer: Any, sighting: Sighting) -> Scene:
    """The scene, with landforms where they are asked for or a statement is about one.

    Raises
    ------
    HillsightError : a statement is about what is on no map, or contradicts another
    """
    margin_m = max(request.elsewhere_within, request.everywhere_within if request.everywhere else 0.0)
    margin_m += BESIDE_M
    taken = sighting.picture.taken
    day = taken.date() if isinstance(taken, datetime.datetime) else taken
    scene = scene_of(request, inputs, observer, margin_m=margin_m, day=day, landforms_needed=False)
    try:
        wanted_rows(scene.things, sighting.statements, sighting.source)
    except CallError:
        if request.landforms is not None:
            raise
        scene = replace(scene, things=things_of(request, inputs))
        wanted_rows(scene.things, sighting.statements, sighting.source)
    named = {name for name in scene.things["name"] if isinstance(name, str)}
    check_contradictions(sighting, named)
    return scene


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
            off = float(signed_deg(by_sun - looks))
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
