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
    "uncertain_ground",
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

    Layers: stations, visible_ground, dead_ground, dead_ground_by_crest, uncertain_ground, unknown_ground,
    crest_lines.

    Parameters
    ----------
    terrain : a raster file, a ``Raster`` or an xarray DataArray
    terrain_crs : CRS of a terrain that names none
    band : band with the heights, from 1
    vertical_unit : "m", "ft", "dm" ..., where the file does not say
    nodata : a further value that marks voids
    grid_crs : metric CRS to work in where the terrain is in degrees or feet
    surface : a surface model beside the terrain, as ``terrain``: what stands on the ground hides too
    cover : files or GeoDataFrames of woods, buildings, walls and hedges; ``cover_layer`` names their layers
    cover_heights : a table of heights by kind, instead of the built-in one
    leaf : "on" or "off", whether leafy woods are in leaf
    stations : points to look from, a vector file or a GeoDataFrame; ``station_layer`` is its layer
    at : places to look from, each (easting, northing, "name") or a text "easting,northing,name"
    at_crs : CRS of ``at``; without it the terrain's
    eye_height, target_height : m above the ground
    reach : how far to look, m on the grid
    refraction : ray curvature over earth curvature
    least_pocket : pockets below this area (ha) are left out of the list
    cells : whether outlines follow cells in place of being drawn between posts
    out : GeoPackage to write; without it the result holds everything in memory
    out_crs : CRS of what comes out; without it the working grid's
    listener : hears of progress, notes and each station's rows

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
