"""Everything that is seen, hidden and listed from each station."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.listing import run_listing
from hillsight.jobs.requests import OutlookRequest
from hillsight.jobs.wanted import least_pocket_ha
from hillsight.reading.ground.first_ground import check_sector_width

if TYPE_CHECKING:
    from hillsight.jobs.results import Result
    from hillsight.reading.outlook import Request

LAYERS = (
    "stations",
    "visible_ground",
    "dead_ground",
    "dead_ground_by_crest",
    "uncertain_ground",
    "unknown_ground",
    "crest_lines",
    "skyline",
    "skyline_bearings",
    "bearing_list",
    "first_ground",
    "seen_lines",
    "seen_areas",
    "relations",
)


def outlook(
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
    features: Any = (),
    feature_layer: Sequence[str] | str = (),
    evidence: str | Path | None = None,
    date: datetime.date | str | None = None,
    from_bearing: float = 0.0,
    to_bearing: float | None = None,
    level_within: float = 0.5,
    well_beyond: float = 3.0,
    csv: str | Path | None = None,
    least_pocket: float = 0.0,
    cells: bool = False,
    sector_width: float = 10.0,
    landforms: Any = None,
    scales: Sequence[float] = (),
    terrain_product: str | None = None,
    terrain_error: float | None = None,
    error_correlation: float | None = None,
    between_posts: str = "unknown",
    station_error: float = 5.0,
    feature_error: float = 10.0,
    eye_height_error: float = 0.1,
    refraction_error: float = 0.05,
    uncertain_between: tuple[float, float] = (0.1, 0.9),
    out: str | Path | None = None,
    out_crs: str | None = None,
    rasters: str | Path | None = None,
    pictures: str | Path | None = None,
    picture_format: str = "png",
    dots_per_inch: int = 150,
    white_paper: bool = False,
    listener: Listener = SILENT,
) -> Result:
    """All that each station sees: ground, dead ground, crests, skyline, and features by bearing.

    Layers: stations, visible_ground, dead_ground, dead_ground_by_crest, uncertain_ground, unknown_ground,
    crest_lines, skyline, skyline_bearings, first_ground; with features or landforms bearing_list, seen_lines
    and seen_areas; with landforms relations. Rasters: viewshed and depth of each station.

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
    features : map features, vector files or GeoDataFrames; ``feature_layer`` names the layers to take
    evidence : table of evidence classes (TOML), in place of the built-in one
    date : day for magnetic bearings, or "today"; without it none are given
    from_bearing, to_bearing : true bearings where the list starts and, of a sector, ends, degrees
    level_within, well_beyond : vertical angles that end "level" and begin "well above", degrees
    csv : file to write the bearing list to as well
    least_pocket : pockets of dead ground below this area (ha) are left out of the list
    cells : whether outlines follow cells in place of being drawn between posts
    sector_width : of the sectors of first ground, degrees; must divide 360
    landforms : True or "computed" to list landforms read about the stations; or those of a file that
        ``landforms`` wrote, or of its frames
    scales : sizes of landforms to read, m
    terrain_product, terrain_error, error_correlation : the terrain's errors: its product by name, or the
        RMSE (m) of its heights and how far errors are alike (m); guessed from the post spacing if not given
    between_posts : what the terrain's posts are: "points", "means", "unknown", or "straight" for nothing
        between them
    station_error, feature_error, eye_height_error, refraction_error : standard deviations, m, m, m and 1
    uncertain_between : probabilities of being seen between which the answer is "uncertain"
    out : GeoPackage to write; without it the result holds everything in memory
    out_crs : CRS of what comes out; without it the working grid's
    rasters, pictures : folders for the rasters as GeoTIFFs and for pictures; they need ``out``
    picture_format : of pictures: "png", "svg" or "pdf"
    dots_per_inch : of pictures that are PNG
    white_paper : whether pictures are on plain white
    listener : hears of progress, notes and each station's rows

    Raises
    ------
    HillsightError : bad input, or the output cannot be written; nothing is left behind
    """
    return run_outlook(OutlookRequest.of(locals()), listener)


def run_outlook(request: OutlookRequest, listener: Listener = SILENT) -> Result:
    """Do what a request asks for; see :func:`outlook`."""

    def with_ground(wanted: Request) -> Request:
        check_sector_width(request.sector_width)
        return replace(
            wanted,
            least_pocket_ha=least_pocket_ha(request),
            follow_cells=request.cells,
            sector_width_deg=request.sector_width,
            doubt_ground=True,
        )

    return run_listing("outlook", request, listener, layers=LAYERS, rasters_wanted=True, more=with_ground)
