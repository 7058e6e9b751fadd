"""Map features from left to right: bearing, distance, height from the eye, how much is seen."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.listing import check_listed, run_listing
from hillsight.jobs.requests import BearingsRequest

if TYPE_CHECKING:
    from hillsight.jobs.results import Result

LAYERS = ("stations", "bearing_list", "relations")


def bearings(
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
    listener: Listener = SILENT,
) -> Result:
    """List map features from left to right: bearing, distance, height from the eye, how much is seen.

    Layers: stations, bearing_list, and relations where landforms are listed.

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
    listener : hears of progress, notes and each station's rows

    Raises
    ------
    HillsightError : bad input, or the output cannot be written; nothing is left behind
    """
    return run_bearings(BearingsRequest.of(locals()), listener)


def run_bearings(request: BearingsRequest, listener: Listener = SILENT) -> Result:
    """Do what a request asks for; see :func:`bearings`."""
    check_listed(request)
    return run_listing("bearings", request, listener, layers=LAYERS, rasters_wanted=False)
