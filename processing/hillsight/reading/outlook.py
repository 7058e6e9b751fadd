"""The whole reading of one station: every layer that the main job writes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import geopandas
import numpy as np
import shapely

from hillsight.ground.geodesy import Geodesy
from hillsight.ground.magnetic import declination
from hillsight.ground.standing import ground_height_m
from hillsight.landform.options import LandformOptions
from hillsight.reading.doubt.trust import Limits
from hillsight.reading.far_ground import far_ground
from hillsight.reading.ground import cover
from hillsight.reading.ground.behind_crests import behind_crests
from hillsight.reading.ground.crest_lines import crest_lines
from hillsight.reading.ground.drawn_edges import add_ground_doubt
from hillsight.reading.ground.first_ground import first_ground
from hillsight.reading.ground.hidden_by import add_hidden_by
from hillsight.reading.ground.pockets import pockets
from hillsight.reading.ground.regions import HIDDEN, UNCERTAIN, VISIBLE
from hillsight.reading.ground.skyline import skyline
from hillsight.reading.station_row import areas_of_states, reach_notes, station_frame
from hillsight.reading.things.bearing_list import bearing_list
from hillsight.reading.things.landforms_in_view import landform_features
from hillsight.reading.things.relations import relations, seen_of
from hillsight.reading.things.relative_height import HeightWords
from hillsight.reading.things.seen_outlines import seen_areas, seen_lines
from hillsight.reading.view import View
from hillsight.schema.frames import BUT_STATION, frame_of, with_station
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    import datetime
    from collections.abc import Callable

    from hillsight.arrays import Bytes, Floats32
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Grid
    from hillsight.ground.stations import Station
    from hillsight.ground.terrain import Terrain
    from hillsight.ground.transform import Operation
    from hillsight.sight.viewing import Viewing


@dataclass(frozen=True)
class Landforms:
    """Landforms to list: those of a file, or read about each station.

    frames : layers of landforms in the terrain's CRS; None to read them
    scales_m, options : how to read them
    """

    frames: dict[str, geopandas.GeoDataFrame] | None = None
    scales_m: tuple[float, ...] = ()
    options: LandformOptions = field(default_factory=LandformOptions)


@dataclass(frozen=True)
class Request:
    """What is asked of each station.

    Parameters
    ----------
    viewing : heights, reach, refraction
    features : map features for the bearing list, in the terrain's CRS; None for none
    declination_date : day for magnetic bearings; None for none
    from_bearing_deg, to_bearing_deg : true bearings where the bearing list starts and, for a sector, ends
    least_pocket_ha : smaller pockets are not listed
    follow_cells : outlines of cells instead of the zero line of clearance
    skyline_step_deg : step of the skyline's bearings
    sector_width_deg : width of the sectors of first ground
    height_words : where level ends, and well above and well below begin
    errors : what errs, and how much; None for no plus-minus
    limits : probabilities of being seen between which a feature is uncertain
    landforms : which landforms to list among the features; None for none
    doubt_ground : whether dead ground, crests and first ground get plus-minus too, by the same errors
    """

    viewing: Viewing
    features: geopandas.GeoDataFrame | None = None
    declination_date: datetime.date | None = None
    from_bearing_deg: float = 0.0
    to_bearing_deg: float | None = None
    least_pocket_ha: float = 0.0
    follow_cells: bool = False
    skyline_step_deg: float = 0.1
    sector_width_deg: float = 10.0
    height_words: HeightWords = field(default_factory=HeightWords)
    errors: ErrorModel | None = None
    limits: Limits = field(default_factory=Limits)
    landforms: Landforms | None = None
    doubt_ground: bool = False


@dataclass(frozen=True)
class Outlook:
    """The reading of one station.

    frames : by layer name, each with the layer's columns in order; ``bearing_list`` only with features
    states : (rows, columns) uint8 of GroundState
    depth_m : (rows, columns) float32, metres a thing must stand to show; 0 visible, NaN unknown or beyond
    grid : posts of the two arrays
    notes : plain sentences for the report
    to_wgs84 : the operation that gave the station's longitude and latitude
    """

    label: str
    frames: dict[str, geopandas.GeoDataFrame]
    states: Bytes
    depth_m: Floats32
    grid: Grid
    notes: tuple[str, ...]
    to_wgs84: Operation


def look_out(
    terrain: Terrain,
    station: Station,
    request: Request,
    progress: Callable[[float], None] | None = None,
) -> Outlook:
    """Read the ground from one station.

    Raises
    ------
    StationError : the station stands on or beside a void, or its surveyed height puts the eye underground
    TerrainError, CallError : as raised on reading the terrain and the magnetic model
    """
    viewing = request.viewing
    geodesy = Geodesy(terrain.crs)
    surface = terrain.window(station.easting_m, station.northing_m, viewing.reach_m)
    terrain_height_m = surface.height_at_m(station.easting_m, station.northing_m)
    ground_m, notes = ground_height_m(station, terrain_height_m, viewing.eye_height_m)
    view = View.from_station(
        surface,
        station.easting_m,
        station.northing_m,
        ground_m,
        viewing,
        geodesy,
        progress,
        far_ground(terrain, station.easting_m, station.northing_m),
    )
    tiling = cover.tile(view)
    lines = crest_lines(view, tiling)
    ground = cover.celled(view) if request.follow_cells else cover.contoured(view, tiling)
    listed = pockets(view, ground, lines, request.least_pocket_ha)
    behind = behind_crests(view, listed, lines, follow_cells=request.follow_cells)
    outline = skyline(view, request.skyline_step_deg)
    to_wgs84 = terrain.to_wgs84
    longitude, latitude = (float(v[0]) for v in to_wgs84(station.easting_m, station.northing_m))
    magnetic = None
    if request.declination_date is not None:
        magnetic = declination(longitude, latitude, ground_m, request.declination_date)
        if magnetic.warning:
            notes.append(f"{station.label}: {magnetic.warning}")
    frames = {
        "stations": station_frame(
            station,
            geodesy,
            viewing,
            ground_height_m=ground_m,
            eye_level_m=view.eye.level_m,
            longitude=longitude,
            latitude=latitude,
            areas_ha=_areas_ha(ground, listed),
            magnetic=magnetic,
        ),
        "visible_ground": _area_frame("visible_ground", ground.visible, view),
        "uncertain_ground": _area_frame("uncertain_ground", ground.uncertain, view),
        "unknown_ground": _area_frame("unknown_ground", ground.unknown, view),
        "dead_ground": listed,
        "dead_ground_by_crest": behind,
        "crest_lines": _with_areas(lines.frame, behind),
        "skyline": outline.pieces,
        "skyline_bearings": outline.bearings,
        "first_ground": first_ground(view, request.sector_width_deg),
    }
    notes += [f"{station.label}: {told}." for told in add_hidden_by(view, frames)]
    if request.errors is not None and request.doubt_ground:
        add_ground_doubt(view, frames, request.errors, request.limits)
    features = _features(view, request)
    if features is not None:
        listing = bearing_list(
            view,
            features,
            lines,
            declination=magnetic,
            from_bearing_deg=request.from_bearing_deg,
            to_bearing_deg=request.to_bearing_deg,
            height_words=request.height_words,
            errors=request.errors,
            limits=request.limits,
        )
        frames["seen_lines"] = seen_lines(view, features, listing.frame)
        frames["seen_areas"] = seen_areas(view, features, listing.frame, ground)
        if request.landforms is not None:
            frames["relations"] = relations(seen_of(listing), view.grid.crs)
        frames["bearing_list"] = listing.frame.reset_index(drop=True)
    frames = {
        layer: frame if "station" in frame.columns else with_station(frame, station.label)
        for layer, frame in frames.items()
    }
    areas = frames["stations"].iloc[0]
    # No cell, no area.
    unknown_share = areas["unknown_ha"] / areas["reach_ha"] if areas["reach_ha"] > 0 else 0.0
    notes += reach_notes(station.label, viewing, max(terrain.spacing_x_m, terrain.spacing_y_m), unknown_share)
    return Outlook(station.label, frames, _states(view), view.depth_m, view.grid, tuple(notes), to_wgs84)


def _features(view: View, request: Request) -> geopandas.GeoDataFrame | None:
    """What is listed by bearing: map features, landforms, or both."""
    wanted = request.landforms
    if wanted is None:
        return request.features
    # Slow to load, and most runs read no landforms.
    from hillsight.landform.map_names import named
    from hillsight.landform.survey import survey, worth_seeing

    place = view.easting_m, view.northing_m
    found = wanted.frames
    if found is None:
        found = survey(view.surface, wanted.scales_m, wanted.options, view.geodesy, seen_from=place)
        if request.features is not None:
            found = named(found, request.features)
    return landform_features(worth_seeing(found, place, view.viewing.reach_m), request.features)


def _with_areas(crests: geopandas.GeoDataFrame, behind: geopandas.GeoDataFrame) -> geopandas.GeoDataFrame:
    """Crest lines with the area of the ground drawn behind each, so that both layers say the same."""
    area_ha = behind.groupby("crest")["area_ha"].sum()
    return crests.assign(hidden_ha=crests["crest"].map(area_ha).fillna(0.0).astype(float))


def _states(view: View) -> Bytes:
    state = np.full(view.classes.shape, int(GroundState.UNKNOWN), np.uint8)
    state[view.classes == HIDDEN] = int(GroundState.HIDDEN)
    state[view.classes == VISIBLE] = int(GroundState.VISIBLE)
    state[view.classes == UNCERTAIN] = int(GroundState.UNCERTAIN)
    state[~view.within_reach] = int(GroundState.BEYOND)
    return state


def _area_frame(layer: str, patches: cover.Patches, view: View) -> geopandas.GeoDataFrame:
    """All patches of a class as one multipolygon; no row where there are none."""
    shapes = [shapely.multipolygons(patches.polygons)] if patches.polygons.size else []
    area_ha = [float(shapely.area(patches.polygons).sum()) / 10_000] if shapes else []
    return frame_of(layer, {"area_ha": area_ha}, shapes, view.grid.crs, but=BUT_STATION)


def _areas_ha(ground: cover.Cover, listed: geopandas.GeoDataFrame) -> dict[str, float]:
    """Areas by the outlines that are drawn."""
    visible, hidden, unknown, uncertain = (
        float(shapely.area(patches.polygons).sum()) / 10_000
        for patches in (ground.visible, ground.hidden, ground.unknown, ground.uncertain)
    )
    return {
        **areas_of_states(visible, hidden, unknown, uncertain),
        "reach_ha": float(shapely.area(ground.reach)) / 10_000,
        "unlisted_hidden_ha": max(0.0, hidden - float(listed["area_ha"].sum())),
    }
