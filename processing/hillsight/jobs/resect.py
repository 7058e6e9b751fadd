"""How a photograph's camera was turned, by landmarks marked on it; and which station they fit."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.errors import HillsightError, MarksError
from hillsight.ground.crs import parse_crs
from hillsight.ground.geodesy import Geodesy, drop_coefficient_per_m
from hillsight.ground.magnetic import declination
from hillsight.ground.standing import ground_height_m
from hillsight.ground.terrain import MARGIN_POSTS, MOST_POSTS
from hillsight.ground.transform import operation_between
from hillsight.jobs.doubts import error_model, error_note, uncertain_limits
from hillsight.jobs.inputs import opened, settled_out_crs
from hillsight.jobs.listener import SILENT, Listener, say_if_compiling
from hillsight.jobs.marked_picture import settled_picture
from hillsight.jobs.named_features import named_feature
from hillsight.jobs.outputs import check_outputs, output_way, provenance_of, write_style_folder
from hillsight.jobs.picked import (
    PICKED_LAYERS,
    best_camera,
    check_places,
    picked_from,
    wanted_lines,
    wanted_pixels,
)
from hillsight.jobs.requests import ResectRequest
from hillsight.jobs.resected_overlays import check_overlays, overlay_pages, save_overlays
from hillsight.jobs.results import Result
from hillsight.jobs.sink import sink_for
from hillsight.layers.atomic import together
from hillsight.layers.camera_frames import camera_marks_frame, cameras_frame
from hillsight.plan.picture.camera import Lens
from hillsight.plan.picture.mark_ground import MarkedThing, known_marks, standing_at
from hillsight.plan.picture.resection_model import Model
from hillsight.plan.picture.resection_words import camera_lines, cautions, comparison_lines
from hillsight.plan.picture.station_cameras import StationCamera, check_marks, station_cameras
from hillsight.sight.doubt import Doubtful, ErringGround, on_terrain, targets_of
from hillsight.sight.viewing import Eye, Viewing

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.stations import Station
    from hillsight.ground.transform import Operation
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.marked_picture import SettledPicture
    from hillsight.jobs.picked import Picked
    from hillsight.plan.picture.marks import Landmark
    from hillsight.plan.picture.resection_model import KnownMarks

LAYERS = ("cameras", "camera_marks", *PICKED_LAYERS)

#: A feature that spreads farther than this (m) may be marked anywhere on it, and its place counts as out by
#: half its half-width.
_POINT_WITHIN_M = 10.0


@dataclass(frozen=True, eq=False)
class Resected(Result):
    """What resect found; beside the layers the cameras themselves.

    cameras : one a station, in the order given; each holds ``station``, ``camera`` (None where there is
        none), ``eye`` and ``probability``
    lines : the same in sentences
    picked : what was picked, and from which station
    """

    cameras: tuple[StationCamera, ...] = ()
    lines: tuple[str, ...] = ()
    picked: Picked | None = None

    @property
    def is_undecided(self) -> bool:
        """Whether no station fits, or the marks do not fix the camera where they fit best."""
        return max(self.cameras, key=lambda one: one.probability).state != "fits"


def resect(
    terrain: Any,
    *,
    marks: Any,
    photo: str | Path | None = None,
    width: float | None = None,
    cropped: bool = False,
    most_megapixels: float = 100.0,
    solve_place: bool = False,
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
    refraction: float = 0.13,
    features: Any = (),
    feature_layer: Sequence[str] | str = (),
    date: datetime.date | str | None = None,
    terrain_product: str | None = None,
    terrain_error: float | None = None,
    error_correlation: float | None = None,
    between_posts: str = "unknown",
    station_error: float = 5.0,
    feature_error: float = 10.0,
    eye_height_error: float = 0.1,
    refraction_error: float = 0.05,
    uncertain_between: tuple[float, float] = (0.1, 0.9),
    pick: Sequence[Any] | str = (),
    pick_line: Sequence[str] | str = (),
    camera_of: str | None = None,
    overlay: str | Path | None = None,
    pictures: str | Path | None = None,
    out: str | Path | None = None,
    out_crs: str | None = None,
    listener: Listener = SILENT,
) -> Resected:
    """How the camera of a photograph was turned at each station, from landmarks marked on it.

    Layers: cameras, camera_marks, picked_points, picked_ellipses, picked_lines.

    Parameters
    ----------
    terrain : a raster file, a ``Raster`` or an xarray DataArray
    marks : a file of marks (JSON), or ``Marks``
    photo : the photograph's file; its size and checksum must be those of the marks
    width : angle between the picture's sides, degrees, give or take 5 % of the focal length
    cropped : the picture was cut from a larger one; where its axis lies is solved for
    most_megapixels : larger pictures are refused
    solve_place : the stations are where to start, and the place is solved for too
    stations : candidates, a vector file or a GeoDataFrame of points
    at : candidates too, each (easting, northing, "name") or a text "easting,northing,name"
    eye_height : of the camera, m above the ground
    features : vector files or GeoDataFrames that have the marks' names
    date : day for magnetic headings, or "today"; without it none are given
    station_error, feature_error, eye_height_error, refraction_error : standard deviations, m, m, m and 1
    pick : pixels whose ground is asked for, each (x, y) or a text "X,Y"
    pick_line : lines whose ground is asked for: "skyline", "brow", or pixels "X,Y X,Y ..."
    camera_of : station to pick and to draw from; the one that the marks fit best if not given
    overlay : file for the photograph with the terrain laid over it (.png, .svg or .pdf)
    pictures : folder for such overlays of all stations
    out : GeoPackage to write; without it the result holds everything in memory
    listener : hears of progress and notes

    docs/scripts/resect.md tells of the rest.

    Raises
    ------
    HillsightError : bad input, or the output cannot be written
    """
    return run_resect(ResectRequest.of(locals()), listener)


@together()
def run_resect(request: ResectRequest, listener: Listener = SILENT) -> Resected:
    """Do what a request asks for; see :func:`resect`."""
    out_crs = settled_out_crs(request.out_crs)
    Viewing(request.eye_height, 0.0, 1.0, request.refraction)  # refuses what makes no sense
    limits = uncertain_limits(request)
    check_outputs(request)
    check_overlays(request)
    pixels = wanted_pixels(request.pick)
    picture = settled_picture(request, axis_is_solved=True)
    lines_wanted = wanted_lines(request.pick_line, picture.marks)
    check_places(pixels, lines_wanted, picture.marks.photograph)
    if not picture.marks.landmarks:
        raise MarksError(
            "no landmark is marked",
            where=picture.marks.photograph.name,
            remedy="Mark landmarks whose names or coordinates are known",
            parameters=("marks",),
        )
    with opened(request) as inputs:
        way, warned = output_way(inputs, out_crs)
        errors = error_model(request, inputs.spacing_m)
        things, operations = _things(request, inputs, picture)
        check_marks(
            things,
            focal_known=picture.belief is not None,
            solved=request.solve_place,
            is_part=picture.is_cropped,
        )
        say_if_compiling(listener)
        geodesy = Geodesy(inputs.terrain.crs)
        with listener.work("stations") as advance:
            models, visible, unseen = [], [], list[str]()
            for number, station in enumerate(inputs.stations, 1):
                model, seen, note = _model(request, inputs, geodesy, errors, picture, things, station)
                models.append(model)
                visible.append(seen)
                unseen += note
                advance(number / (len(inputs.stations) + 1))
            found = station_cameras(inputs.stations, models, visible)
        told = [line for one in found for line in cautions(one, limits.hidden_below)]
        chosen, picked = best_camera(found, request.camera_of), None
        if pixels or lines_wanted:
            picked = picked_from(
                chosen,
                pixels,
                lines_wanted,
                inputs.terrain,
                errors,
                geodesy,
                _declination_deg(request, inputs),
            )
            told += picked.notes
        pages = overlay_pages(request, inputs, picture, found, chosen, picked)
        notes = (
            *inputs.notes,
            *picture.notes,
            error_note(errors, covered=inputs.is_covered),
            *unseen,
            *told,
            *warned,
        )
        for text in notes:
            listener.note(text)
        provenance = provenance_of("resect", request.told(), inputs)
        provenance = replace(
            provenance,
            inputs=(*provenance.inputs, *picture.files),
            operations=(*provenance.operations, *(operation.record() for operation in operations), *way),
            notes=notes,
        )
        with sink_for(
            request.out,
            LAYERS,
            provenance,
            inputs=[file.path for file in provenance.inputs],
            out_crs=out_crs,
            near=inputs.terrain.near,
            rasters_wanted=False,
        ) as sink:
            crs = inputs.terrain.crs
            sink.add(
                {
                    "cameras": cameras_frame(
                        found, picture.marks.photograph, crs, _declination_deg(request, inputs)
                    ),
                    "camera_marks": camera_marks_frame(found, crs),
                }
            )
            sink.add({} if picked is None else picked.frames)
            sink.close(provenance)
        lines = [
            line for one in found for line in camera_lines(one, float(geodesy.convergence_deg(*one.eye[:2])))
        ]
    files: dict[str, tuple[Path, ...]] = {}
    if request.out is not None:
        write_style_folder(request.out)
        files["out"] = (request.out,)
    return Resected(
        sink.frames,
        sink.rasters,
        notes,
        provenance,
        files | save_overlays(request, pages),
        tuple(found),
        (*lines, *comparison_lines(found), *(() if picked is None else picked.told)),
        picked,
    )


def _things(
    request: ResectRequest, inputs: Inputs, picture: SettledPicture
) -> tuple[list[MarkedThing], list[Operation]]:
    """The landmarks on the map, and the distinct coordinate operations that took them there.

    Raises
    ------
    HillsightError : a name that no feature has or several have, coordinates without a way to the grid
    """
    operations: dict[Operation, None] = {}
    things = []
    for number, mark in enumerate(picture.marks.landmarks, 1):
        where = f"landmark {number} ({mark.feature or 'by coordinates'})"
        try:
            if mark.easting_m is not None and mark.northing_m is not None:
                place = mark.easting_m, mark.northing_m
                thing, operation = _by_coordinates(mark, number, place, inputs)
                operations[operation] = None
            else:
                thing = _by_name(mark, number, inputs)
        except HillsightError as error:
            parameters = error.parameters or ("marks",)
            raise MarksError(error.what, where=where, remedy=error.remedy, parameters=parameters) from error
        things.append(thing)
    return things, list(operations)


def _by_coordinates(
    mark: Landmark, number: int, place: tuple[float, float], inputs: Inputs
) -> tuple[MarkedThing, Operation]:
    crs = inputs.terrain.crs if not mark.crs else parse_crs(mark.crs, "the CRS of the mark", ("marks",))
    operation = operation_between(crs, inputs.terrain.crs, inputs.terrain.near)
    east, north = (float(np.atleast_1d(v)[0]) for v in operation(*place))
    name = mark.feature or f"mark {number}"
    return MarkedThing(mark, number, name, east, north, mark.height_m), operation


def _by_name(mark: Landmark, number: int, inputs: Inputs) -> MarkedThing:
    if inputs.features is None:
        raise MarksError(
            "the mark names a feature, and no map features are given",
            remedy="Name a file of map features too",
            parameters=("marks", "features"),
        )
    instead = "Give easting_m and northing_m of the one that is meant with the mark"
    found = named_feature(mark.feature, inputs, ("marks", "features"), instead)
    west, south, east, north = shapely.bounds(found.shape)
    half_m = float(np.hypot(east - west, north - south)) / 2.0
    extent_m = half_m / 2.0 if half_m > _POINT_WITHIN_M else 0.0
    return MarkedThing(
        mark,
        number,
        found.name,
        found.place.x,
        found.place.y,
        above_ground_m=found.height_m,
        extent_m=extent_m,
    )


def _model(
    request: ResectRequest,
    inputs: Inputs,
    geodesy: Geodesy,
    errors: ErrorModel,
    picture: SettledPicture,
    things: Sequence[MarkedThing],
    station: Station,
) -> tuple[Model, Floats, list[str]]:
    """What is to be solved at one station, how likely each landmark is in view, and what to note."""
    terrain, place = inputs.terrain, (station.easting_m, station.northing_m)
    if station.ground_height_m is not None:
        errors = replace(errors, station_height_m=0.0)
    own_m = terrain.window(*place, 10.0 * inputs.spacing_m).height_at_m(*place)
    ground_m, notes = ground_height_m(station, own_m, request.eye_height)
    standing = standing_at(
        terrain,
        geodesy,
        errors,
        place,
        ground_m,
        request.eye_height,
        request.refraction,
        solved=request.solve_place,
    )
    marks = known_marks(things, terrain, errors, *place)
    own, belief = picture.marks.photograph, picture.belief
    lens = Lens(own.width_px, own.height_px, float(own.width_px)) if belief is None else belief.lens
    model = Model.of(
        marks, standing, lens, None if belief is None else belief.focal_share, is_part=picture.is_cropped
    )
    seen, more = _visible(request, inputs, errors, geodesy, station, standing.eye_level_m, marks)
    return model, seen, [*notes, *more]


def _visible(
    request: ResectRequest,
    inputs: Inputs,
    errors: ErrorModel,
    geodesy: Geodesy,
    station: Station,
    eye_level_m: float,
    marks: KnownMarks,
) -> tuple[Floats, list[str]]:
    """Probability (n,) that the terrain leaves each landmark in view; NaN where it is not looked at."""
    terrain, east, north = inputs.terrain, station.easting_m, station.northing_m
    away_m = np.hypot(marks.easting_m - east, marks.northing_m - north)
    spacing_m = min(terrain.spacing_x_m, terrain.spacing_y_m)
    most_m = (np.sqrt(MOST_POSTS) / 2.0 - MARGIN_POSTS - 2) * spacing_m
    chance = np.full(away_m.size, np.nan)
    near = away_m <= most_m
    if request.solve_place or not near.any():
        return chance, []
    surface = terrain.window(east, north, float(away_m[near].max()) + 2.0 * inputs.spacing_m)
    drop = drop_coefficient_per_m(geodesy.gaussian_radius_m(east, north), request.refraction)
    eye = Eye.on(surface.grid, east, north, eye_level_m, drop)
    rows, columns = surface.grid.to_array(marks.easting_m, marks.northing_m)
    above_m = marks.height_m - surface.heights_at_m(marks.easting_m, marks.northing_m)
    targets = targets_of(rows, columns, np.maximum(above_m, 0.0))
    asked = near & on_terrain(surface.grid, targets) & np.isfinite(above_m)
    doubtful = Doubtful.over(ErringGround(surface, errors, feature=True), eye)
    chance[asked] = doubtful.chances(targets[asked]).chance
    far = [name for name, is_near in zip(marks.names, near, strict=True) if not is_near]
    if far:
        return chance, [f"{station.label}: too far to look whether terrain hides them: {', '.join(far)}"]
    return chance, []


def _declination_deg(request: ResectRequest, inputs: Inputs) -> float | None:
    """Magnetic north's true bearing at the first station; None without a day."""
    if request.date is None:
        return None
    first = inputs.stations[0]
    longitude, latitude = (float(v[0]) for v in inputs.terrain.to_wgs84(first.easting_m, first.northing_m))
    return declination(longitude, latitude, 0.0, request.date).declination_deg
