"""Pockets that cannot be seen, and the crest lines that hide them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.look_out import readings
from hillsight.jobs.requests import DeadGroundRequest
from hillsight.jobs.stations import run_stations
from hillsight.jobs.wanted import least_pocket_ha, viewing_of
from hillsight.reading.outlook import Request

if TYPE_CHECKING:
    from hillsight.jobs.results import Result

LAYERS = (
    "stations",
    "visible_ground",
    "dead_ground",
    "dead_ground_by_crest",
    "unknown_ground",
    "crest_lines",
)


def dead_ground(
    terrain: Any,
    *,
    terrain_crs: str | None = None,
    band: int | None = None,
    vertical_unit: str | None = None,
    nodata: float | None = None,
    grid_crs: str | None = None,
    stations: Any = None,
    station_layer: str | None = None,
    at: Sequence[Any] | str = (),
    at_crs: str | None = None,
    eye_height: float = 1.6,
    target_height: float = 0.0,
    reach: float = 10_000.0,
    refraction: float = 0.13,
    least_pocket: float = 0.0,
    cells: bool = False,
    out: str | Path | None = None,
    out_crs: str | None = None,
    listener: Listener = SILENT,
) -> Result:
    """The ground that each station cannot see, pocket by pocket, with what hides it.

    Parameters
    ----------
    terrain : a raster file, a ``Raster`` or an xarray DataArray
    stations : a vector file or a GeoDataFrame of points
    at : places, each (easting, northing, "name") or a text "easting,northing,name"
    eye_height, target_height : m above the ground
    reach : m on the grid
    least_pocket : ha
    out : GeoPackage to write; without it the result holds everything in memory
    listener : hears of progress and notes

    docs/scripts/dead-ground.md tells of the rest.

    Raises
    ------
    HillsightError : bad input, or the output cannot be written; nothing is left behind
    """
    return run_dead_ground(DeadGroundRequest.of(locals()), listener)


def run_dead_ground(request: DeadGroundRequest, listener: Listener = SILENT) -> Result:
    """Do what a request asks for; see :func:`dead_ground`."""
    wanted = Request(
        viewing_of(request, request.target_height),
        least_pocket_ha=least_pocket_ha(request),
        follow_cells=request.cells,
    )
    return run_stations(
        "dead-ground",
        request,
        lambda inputs, listener: readings(inputs, wanted, listener),
        listener,
        layers=LAYERS,
    )
