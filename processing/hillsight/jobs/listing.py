"""The bearing list, its landforms and its doubts, as outlook and bearings want them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from hillsight.errors import CallError
from hillsight.ground.magnetic import declination
from hillsight.jobs.doubts import error_model, error_note, uncertain_limits
from hillsight.jobs.look_out import readings
from hillsight.jobs.settling import COMPUTED
from hillsight.jobs.stations import run_stations
from hillsight.jobs.wanted import amid, check_bearing, check_scales, landforms_about, viewing_of
from hillsight.layers.contents import read_landforms
from hillsight.reading.outlook import Landforms, Request
from hillsight.reading.things.relative_height import HeightWords

if TYPE_CHECKING:
    from collections.abc import Generator

    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.listener import Listener
    from hillsight.jobs.requests import BearingsRequest, OutlookRequest
    from hillsight.jobs.results import Result
    from hillsight.jobs.stations import Reading

    type Lists = OutlookRequest | BearingsRequest


def run_listing(
    script: str,
    request: Lists,
    listener: Listener,
    *,
    layers: tuple[str, ...],
    rasters_wanted: bool,
    more: Callable[[Request], Request] = lambda wanted: wanted,
) -> Result:
    """Read every station, with a bearing list where there is something to list.

    more : adds what else is wanted of the reading, and refuses what makes no sense

    Raises
    ------
    HillsightError : bad input, or the output cannot be written; nothing is left behind
    """
    wanted = more(_checked(request))
    check_scales(request)

    def read(inputs: Inputs, listener: Listener) -> Generator[Reading]:
        return readings(inputs, _settled(wanted, request, inputs), listener)

    def doubts(inputs: Inputs) -> str:
        return error_note(error_model(request, inputs.spacing_m), covered=inputs.is_covered)

    doubted = bool(request.features) or request.landforms is not None
    return run_stations(
        script,
        request,
        read,
        listener,
        layers=layers,
        rasters_wanted=rasters_wanted,
        note=doubts if doubted else None,
    )


def check_listed(request: Lists) -> None:
    """Refuse a list of nothing.

    Raises
    ------
    CallError : neither features nor landforms are given
    """
    if request.landforms is None and not request.features:
        raise CallError(
            "nothing is given to list",
            remedy="Name map features, or ask for landforms",
            parameters=("features", "landforms"),
        )


def _checked(request: Lists) -> Request:
    """What is asked of each station, as far as it does not depend on the files."""
    viewing = viewing_of(request, request.target_height)
    check_bearing("from_bearing", request.from_bearing)
    check_bearing("to_bearing", request.to_bearing)
    if request.date is not None:
        declination(0.0, 0.0, 0.0, request.date)  # a day outside the models' years is refused before the work
    return Request(
        viewing,
        declination_date=request.date,
        from_bearing_deg=request.from_bearing % 360.0,
        to_bearing_deg=None if request.to_bearing is None else request.to_bearing % 360.0,
        height_words=HeightWords(request.level_within, request.well_beyond),
    )


def _settled(wanted: Request, request: Lists, inputs: Inputs) -> Request:
    """The same with what depends on the files: features, landforms, errors."""
    errors = error_model(request, inputs.spacing_m)
    landforms = None
    if isinstance(request.landforms, str) and request.landforms == COMPUTED:
        landforms = _computed(inputs, request.scales, request.reach)
    elif request.landforms is not None:
        terrain = inputs.terrain
        landforms = Landforms(frames=read_landforms(request.landforms, terrain.crs, terrain.near))
    return replace(
        wanted,
        features=inputs.features,
        errors=errors,
        limits=uncertain_limits(request),
        landforms=landforms,
    )


def _computed(inputs: Inputs, scales_m: tuple[float, ...], reach_m: float) -> Landforms:
    """Landforms for all lists: read once where the stations stand near each other, else about each."""
    _, spread_m = amid(inputs.stations)
    if spread_m > reach_m / 2:
        return Landforms(scales_m=scales_m)
    return Landforms(frames=landforms_about(inputs, scales_m, reach_m))
