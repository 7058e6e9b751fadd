"""The sighting that a careful observer would write of a view."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import CallError, StationError
from hillsight.ground.stations import Station
from hillsight.jobs.input_files import named_files
from hillsight.jobs.inputs import opened
from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.outputs import provenance_of, write_text
from hillsight.jobs.requests import DescribeRequest
from hillsight.jobs.results import Result
from hillsight.jobs.scene import direction_deg
from hillsight.jobs.views import look, looking_words
from hillsight.layers.atomic import check_place
from hillsight.plan.relocation.describing import describe_view, most_telling
from hillsight.plan.relocation.reference_places import PlacesAbout
from hillsight.plan.sighting.file import MOST_STATEMENTS
from hillsight.plan.sighting.template import write_sighting
from hillsight.plan.sighting.wording import statement_words
from hillsight.plan.statement import Picture, Sighting

if TYPE_CHECKING:
    from collections.abc import Set

    from hillsight.jobs.views import Looked
    from hillsight.plan.look.glance import Glance

#: How well the direction is known to whoever reads the sighting, degrees.
_GIVE_OR_TAKE_DEG = 10.0

#: Places round about against which it is reckoned what a statement tells, and how far off they lie.
_OTHERS, _ABOUT_M = 40, 1_500.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Description(Result):
    """A view in words; there are no layers and no rasters.

    sighting : as ``relocate`` takes it
    text : the same as a sighting file (TOML)
    prose : the same as sentences, one a line
    """

    sighting: Sighting
    text: str
    prose: str


def describe(
    terrain: Any,
    *,
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
    looks: str | float | None = None,
    width: float = 60.0,
    terrain_product: str | None = None,
    terrain_error: float | None = None,
    error_correlation: float | None = None,
    between_posts: str = "unknown",
    statements: int = 10,
    out: str | Path | None = None,
    listener: Listener = SILENT,
) -> Description:
    """The view from a station, looking one way, as a careful observer would tell of it.

    Parameters
    ----------
    terrain : a raster file, a ``Raster`` or an xarray DataArray
    stations : a vector file or a GeoDataFrame of one point
    at : the place, (easting, northing, "name") or a text "easting,northing,name"
    eye_height : m above the ground
    reach : m on the grid
    features : vector files or GeoDataFrames, one or several
    landforms : True to read them, a GeoPackage that ``landforms`` wrote, or its frames
    looks : a point of the compass or true degrees; needed
    width : of the view, degrees
    statements : how many at most, the most telling first
    out : sighting file to write
    listener : hears of progress and notes

    docs/scripts/describe.md tells of the rest.

    Raises
    ------
    HillsightError : bad input, several stations, or the file cannot be written
    """
    return run_describe(DescribeRequest.of(locals()), listener)


def run_describe(request: DescribeRequest, listener: Listener = SILENT) -> Description:
    """Do what a request asks for; see :func:`describe`."""
    if request.out is not None:
        check_place(request.out, inputs=named_files(request))
    looks_deg = direction_deg(request.looks)
    if looks_deg is None:
        raise CallError(
            "a view needs a direction to look in",
            remedy="Give a point of the compass or degrees",
            parameters=("looks",),
        )
    if not 1 <= request.statements <= MOST_STATEMENTS:
        raise CallError(
            f"{request.statements:,} statements cannot be written",
            remedy=f"Give a number from 1 to {MOST_STATEMENTS}",
            parameters=("statements",),
        )
    notes: list[str] = []

    def tell(text: str) -> None:
        notes.append(text)
        listener.note(text)

    with opened(request) as inputs:
        if len(inputs.stations) != 1:
            raise StationError(
                f"{len(inputs.stations)} stations are given, and one view is described",
                remedy="Give one place, or a file of one point",
                parameters=("at", "stations"),
            )
        looked = look(request, inputs, listener, tell, _ABOUT_M)
        glance, weighing = looked.glances[0], looked.weighing
        statements = most_telling(
            describe_view(glance, weighing),
            glance,
            _others(inputs.stations[0], looked),
            weighing,
            request.statements,
        )
        picture = Picture(
            title=f"{glance.label}, {looking_words(looks_deg)}",
            looks_deg=looks_deg,
            give_or_take_deg=_GIVE_OR_TAKE_DEG,
            width_deg=request.width,
        )
        sighting = Sighting(picture, statements)
        named = {what for s in statements for what in s.things if weighing.things.is_named(what)}
        text = write_sighting(sighting)
        if request.out is not None:
            write_text(request.out, text, inputs.paths)
        return Description(
            frames={},
            rasters={},
            notes=tuple(notes),
            provenance=replace(provenance_of("describe", request.told(), inputs), notes=tuple(notes)),
            files={} if request.out is None else {"out": (request.out,)},
            sighting=sighting,
            text=text,
            prose=_prose(sighting, named),
        )


def _prose(sighting: Sighting, named: Set[str]) -> str:
    """The statements as sentences, one a line, near ground first."""
    lines = [f"{sighting.picture.title}:"]
    for statement in sighting.statements:
        clause = statement_words(statement, named)
        unsure = "" if statement.sure in ("sure", "certain") else f" ({statement.sure})"
        lines.append(f"- {clause[0].upper()}{clause[1:]}{unsure}.")
    return "\n".join(lines)


def _others(station: Station, looked: Looked) -> list[Glance]:
    """Looks from places round about."""
    looker = looked.looker
    surface = looker.surface(station.easting_m, station.northing_m)
    place = np.array([station.easting_m]), np.array([station.northing_m])
    strewn, _ = PlacesAbout(surface, *place, _ABOUT_M, 100.0).evenly(_OTHERS)
    return [
        looker.look(Station("", None, float(east), float(north), None, ""), looked.weighing.things)
        for east, north in strewn
    ]
