"""What tells two or more places apart, and what would mislead."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import shapely

from hillsight.jobs.input_files import named_files
from hillsight.jobs.inputs import opened
from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.outputs import provenance_of, write_text
from hillsight.jobs.requests import CompareRequest
from hillsight.jobs.results import Result
from hillsight.jobs.scene import direction_deg
from hillsight.jobs.views import SPREAD_DEG, look, looking_words
from hillsight.layers.atomic import check_place
from hillsight.plan.look.framing import Framing
from hillsight.plan.relocation import comparing
from hillsight.plan.relocation.relocation import check_candidates
from hillsight.plan.vocabulary import COMPASS

if TYPE_CHECKING:
    from hillsight.plan.relocation.comparing import Compared


@dataclass(frozen=True, eq=False, kw_only=True)
class Comparison(Result):
    """What tells places apart; there are no layers and no rasters.

    stations : labels, in the order given
    apart : questions that tell the places apart, most trusted first
    alike : questions that the places answer alike, and that would mislead
    """

    stations: tuple[str, ...]
    apart: tuple[Compared, ...]
    alike: tuple[Compared, ...]


def compare(
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
    json_file: str | Path | None = None,
    listener: Listener = SILENT,
) -> Comparison:
    """Tell two or more stations apart by what is seen from each, before anybody has looked.

    Parameters
    ----------
    terrain : a raster file, a ``Raster`` or an xarray DataArray
    stations : a vector file or a GeoDataFrame of points
    at : places, each (easting, northing, "name") or a text "easting,northing,name"
    eye_height : m above the ground
    reach : m on the grid
    features : vector files or GeoDataFrames, one or several
    landforms : True to read them, a GeoPackage that ``landforms`` wrote, or its frames
    looks : a point of the compass or true degrees; None compares eight views all round
    width : of the view, degrees
    json_file : file to write all of it to
    listener : hears of progress and notes

    docs/scripts/compare.md tells of the rest.

    Raises
    ------
    HillsightError : bad input, fewer than two stations, or the file cannot be written
    """
    return run_compare(CompareRequest.of(locals()), listener)


def run_compare(request: CompareRequest, listener: Listener = SILENT) -> Comparison:
    """Do what a request asks for; see :func:`compare`."""
    if request.json_file is not None:
        check_place(request.json_file, inputs=named_files(request))
    looks_deg = direction_deg(request.looks)
    notes: list[str] = []

    def tell(text: str) -> None:
        notes.append(text)
        listener.note(text)

    with opened(request) as inputs:
        check_candidates(inputs.stations)
        looked = look(request, inputs, listener, tell)
        views = [(looking_words(looks_deg), looked.weighing.framing)]
        if looks_deg is None:
            edge = looked.weighing.observer.picture_edge
            views = [
                (f"looking {name}", Framing.of(degrees, SPREAD_DEG, request.width, edge))
                for name, degrees in COMPASS.items()
                if len(name) < 3
            ]
        apart, alike = comparing.compare(looked.glances, looked.weighing, views)
        provenance = replace(provenance_of("compare", request.told(), inputs), notes=tuple(notes))
        result = Comparison(
            frames={},
            rasters={},
            notes=tuple(notes),
            provenance=provenance,
            files={} if request.json_file is None else {"json_file": (request.json_file,)},
            stations=tuple(glance.label for glance in looked.glances),
            apart=tuple(apart),
            alike=tuple(alike),
        )
        if request.json_file is not None:
            write_text(request.json_file, json.dumps(_plain(result), indent=2) + "\n", inputs.paths)
    return result


def _plain(result: Comparison) -> dict[str, Any]:
    """As JSON holds it."""
    return {
        "stations": list(result.stations),
        "apart": [_question(one) for one in result.apart],
        "alike": [_question(one) for one in result.alike],
        "provenance": json.loads(result.provenance.as_json()),
    }


def _question(one: Compared) -> dict[str, Any]:
    content = asdict(one)
    for kept in content["facts"]:
        kept["geometry"] = None if kept["geometry"] is None else shapely.to_wkt(kept["geometry"], 1)
        kept.pop("agrees")
    return content
