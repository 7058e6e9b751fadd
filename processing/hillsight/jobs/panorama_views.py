"""What a panorama is asked for, settled: which part of the round, from which north, on which picture."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError, OutputError
from hillsight.ground.magnetic import declination
from hillsight.jobs.scene import direction_deg
from hillsight.jobs.settling import words
from hillsight.jobs.wanted import check_bearing
from hillsight.layers.atomic import check_place
from hillsight.layers.contents import read_layer
from hillsight.plan.picture.camera import Camera, Lens
from hillsight.reading.drawn.drawn_view import drawn_view
from hillsight.reading.drawn.eyes import FARTHEST_M, sight_lines
from hillsight.reading.drawn.frames import edges_deg
from hillsight.reading.panorama import Sector
from hillsight.sheets.panorama.layout import check_exaggeration
from hillsight.sheets.panorama.painted import Light
from hillsight.sheets.panorama.panorama_sheet import PAPERS, Place
from hillsight.sheets.panorama.picture import Ground, North
from hillsight.sheets.paper.saving import DRAWINGS
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.ground.stations import Station
    from hillsight.ground.transform import Operation
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.requests import PanoramaRequest
    from hillsight.reading.drawn.drawn_view import DrawnView

NORTHS = ("true", "grid", "magnetic")
STYLES = ("lines", "relief")

#: Bearings looked along for each pixel of a page's width.
_BEARINGS_A_PIXEL = 1.2

#: A camera that may look so far up or down (degrees) may see all bearings.
_TOO_STEEP_DEG = 80.0


@dataclass(frozen=True)
class Seen:
    """What a station sees of what was asked for.

    camera : of a perspective; None for a cylinder
    ground : how the ground is drawn
    """

    station: Station
    view: DrawnView
    place: Place
    north: North
    camera: Camera | None
    ground: Ground
    notes: tuple[str, ...]
    operation: Operation


def check_call(request: PanoramaRequest, inputs: Sequence[str]) -> None:
    """Refuse what makes no sense before any file is read.

    Raises
    ------
    CallError, OutputError : parameters that are absurd, need others or exclude each other
    """
    _one_of("north", request.north, NORTHS)
    _one_of("style", request.style, STYLES)
    if request.paper is not None:
        _one_of("paper", request.paper, tuple(PAPERS))
    if request.north == "magnetic" and request.date is None:
        raise CallError(
            "magnetic bearings need the day",
            remedy="Give it, or count from true or grid north",
            parameters=("north", "date"),
        )
    if request.date is not None:
        declination(0.0, 0.0, 0.0, request.date)  # a day outside the models' years is refused before the work
    check_bearing("from_bearing", request.from_bearing)
    check_bearing("to_bearing", request.to_bearing)
    check_bearing("light", request.light)
    if request.light is not None and request.style != "relief":
        raise CallError(
            "a light is told of for a drawing without shade",
            remedy="Ask for the relief too, or leave the light out",
            parameters=("light", "style"),
        )
    check_exaggeration(request.exaggeration)
    if request.looks is not None and request.from_bearing is not None:
        raise CallError(
            "a view is given by the direction it looks in, and by its left edge too",
            remedy="Give one of the two",
            parameters=("looks", "from_bearing"),
        )
    _needs(request.to_bearing is not None, "to_bearing", request.from_bearing is not None, "from_bearing")
    _needs(request.size is not None, "size", request.looks is not None, "looks")
    if request.camera is not None:
        for name in ("looks", "from_bearing", "size", "exaggeration"):
            if getattr(request, name) is not None:
                raise CallError(
                    f"{words(name)} is given, and a camera that says it",
                    remedy="Leave one of the two out",
                    parameters=(name, "camera"),
                )
        if request.beside:
            raise CallError(
                "views beside each other are drawn as strips, not as a camera sees them",
                remedy="Leave the camera out, or draw each by itself",
                parameters=("camera", "beside"),
            )
    for name in ("tilt", "roll"):
        _needs(getattr(request, name) != 0, name, request.size is not None, "size")
    if request.size is None and not 1 <= request.width <= 360:
        raise CallError(
            f"the width is {request.width:g} degrees",
            remedy="Give degrees from 1 to 360",
            parameters=("width",),
        )
    if request.size is not None and request.exaggeration is not None:
        raise CallError(
            "a camera exaggerates nothing",
            remedy="Leave one of the two out",
            parameters=("size", "exaggeration"),
        )
    if not (abs(request.tilt) <= 80 and abs(request.roll) <= 180):
        raise CallError(
            f"a camera tilted by {request.tilt:g} and rolled by {request.roll:g} degrees",
            remedy="Give a tilt from -80 to 80 and a roll from -180 to 180",
            parameters=("tilt", "roll"),
        )
    if request.bare and request.beside:
        raise CallError(
            "views beside each other need their margins",
            remedy="Leave one of the two out",
            parameters=("bare", "beside"),
        )
    if request.size is not None and request.beside:
        raise CallError(
            "views beside each other are drawn as strips, not as a camera sees them",
            remedy="Leave the size out, or draw each by itself",
            parameters=("size", "beside"),
        )
    if request.drawing is not None:
        if request.drawing.suffix.lower() not in DRAWINGS:
            raise OutputError(
                f"a drawing's name must end in {', '.join(DRAWINGS[:-1])} or {DRAWINGS[-1]}",
                where=str(request.drawing),
                remedy=f"Name it {request.drawing.stem}.svg",
                parameters=("drawing",),
            )
        check_place(request.drawing, inputs=inputs)
    settled_size(request.size)


def _one_of(name: str, value: str, known: Sequence[str]) -> None:
    if value not in known:
        raise CallError(
            f"{words(name)} is {value!r}", remedy=f"Give one of {', '.join(known)}", parameters=(name,)
        )


def _needs(given: bool, name: str, other_given: bool, other: str) -> None:
    if given and not other_given:
        raise CallError(
            f"{words(name)} is given without {words(other)}",
            remedy="Give both or neither",
            parameters=(name, other),
        )


def settled_size(text: str | None) -> tuple[int, int] | None:
    """Width and height in pixels.

    Raises
    ------
    CallError : no size, or one that no picture has
    """
    if text is None:
        return None
    found = re.fullmatch(r"\s*(\d{1,6})\s*[x×X,]\s*(\d{1,6})\s*", text)
    size = (int(found[1]), int(found[2])) if found else (0, 0)
    if min(size) < 16 or size[0] * size[1] > 100_000_000:
        raise CallError(
            f"the size is {text!r}",
            remedy="Give width and height in pixels, as 4000x3000, from 16 to 100 megapixels",
            parameters=("size",),
        )
    return size


def settled_viewing(request: PanoramaRequest) -> Viewing:
    """Eye height, reach and refraction."""
    reach_m = FARTHEST_M if request.reach is None else request.reach
    return Viewing(request.eye_height, 0.0, reach_m, request.refraction)


def paper_of(request: PanoramaRequest) -> str:
    """The paper asked for; without one a large sheet for more than half of the round."""
    if request.paper is not None:
        return request.paper
    return "A4" if request.size or request.camera or _sector(request).span_deg <= 180 else "A3"


def _sector(request: PanoramaRequest) -> Sector:
    looks_deg = direction_deg(request.looks)
    if looks_deg is not None:
        half = request.width / 2.0
        return Sector.between(looks_deg - half, looks_deg + half)
    return Sector.between(request.from_bearing, request.to_bearing)


def see(request: PanoramaRequest, inputs: Inputs, station: Station) -> Seen:
    """Look from a station.

    Raises
    ------
    HillsightError : as ``reading.drawn.eyes.sight_lines``; no magnetic model for the place
    """
    shot = None if request.camera is None else _camera_of(request.camera, station.label)
    if shot is not None and np.isfinite(shot.easting_m):
        station = replace(station, easting_m=shot.easting_m, northing_m=shot.northing_m)
    lines, notes = sight_lines(
        inputs.terrain, station, settled_viewing(request), all_there_is=request.reach is None
    )
    convergence = float(lines.geodesy.convergence_deg(lines.easting_m, lines.northing_m))
    operation = inputs.terrain.to_wgs84
    longitude, latitude = (float(v[0]) for v in operation(lines.easting_m, lines.northing_m))
    magnetic = None
    if request.date is not None:
        magnetic = declination(longitude, latitude, lines.ground_height_m, request.date)
        if magnetic.warning:
            notes.append(f"{station.label}: {magnetic.warning}")
    to_true = {"true": 0.0, "grid": convergence, "magnetic": magnetic.declination_deg if magnetic else 0.0}
    north = North(request.north, to_true[request.north] - convergence)
    sector = _sector(request)
    camera = None if shot is None else shot.camera
    if (size := settled_size(request.size)) is not None:
        looks_deg = direction_deg(request.looks)
        assert looks_deg is not None
        lens = Lens.of_width(*size, request.width)
        camera = Camera(lens, float((looks_deg - convergence) % 360.0), request.tilt, request.roll)
    if camera is not None:
        left_deg, span_deg = bearings_of(camera)
        step_deg = float(np.degrees(1.0 / camera.lens.focal_px))
    else:
        whole = sector.span_deg >= 360.0 and request.from_bearing is None and request.looks is None
        left_deg = north.to_grid_deg if whole else sector.start_deg - convergence
        span_deg = sector.span_deg
        pages = 3 if span_deg > 180 else 2 if span_deg > 90 else 1
        step_deg = span_deg / (_BEARINGS_A_PIXEL * pages * PAPERS[paper_of(request)][0])
    view = drawn_view(
        lines, left_deg % 360.0, span_deg, step_deg, features=inputs.features, declination=magnetic
    )
    notes += _near_notes(station.label, view)
    place = Place(
        station.name or station.label,
        inputs.terrain.crs.name,
        longitude,
        latitude,
        _file(request),
        _sector_words(sector, camera, convergence),
    )
    light = None
    if request.light is not None:
        light = Light(float((request.light - convergence) % 360.0), turns=False)
    ground = Ground(relief=request.style == "relief", light=light)
    return Seen(station, view, place, north, camera, ground, tuple(notes), operation)


def bearings_of(camera: Camera) -> tuple[float, float]:
    """Left edge (grid) and width of the bearings that a camera may see, degrees."""
    tall_deg = np.degrees(np.arctan2(np.hypot(camera.width_px, camera.height_px) / 2, camera.lens.focal_px))
    left, right = edges_deg(camera)
    if abs(camera.tilt_deg) + tall_deg > _TOO_STEEP_DEG or not np.isfinite([left, right]).all():
        return camera.heading_grid_deg - 180.0, 360.0
    room = 0.02 * (right - left)
    return left - room, min(right - left + 2 * room, 360.0)


def _near_notes(label: str, view: DrawnView) -> list[str]:
    """Where ground too near for its posts stands against the sky."""
    near = view.fan.sky_m < view.spacing_m
    share_deg = float(near[:-1].sum()) * view.fan.step_deg
    if share_deg < 5.0:
        return []
    return [
        f"{label}: over {share_deg:.0f} degrees ground nearer than the posts stand apart "
        f"({view.spacing_m:g} m) closes the view: they tell little of its shape, and a place some metres "
        "away may see over it"
    ]


def _file(request: PanoramaRequest) -> str:
    from hillsight.jobs.outputs import named

    return named(request.terrain)


def _sector_words(sector: Sector, camera: Camera | None, convergence_deg: float) -> str:
    if camera is not None:
        heading = round((camera.heading_grid_deg + convergence_deg) % 360.0, 1)
        turned = [
            f"{name} {value:.1f}°"
            for name, value in (("tilt", camera.tilt_deg), ("roll", camera.roll_deg))
            if round(value, 1)
        ]
        return ", ".join([f"looking {heading:g}° true, {camera.lens.width_deg:.1f}° wide", *turned])
    if sector.span_deg >= 360.0:
        return "all round"
    return f"{sector.start_deg:05.1f}° to {(sector.start_deg + sector.span_deg) % 360:05.1f}° true"


@dataclass(frozen=True)
class _Shot:
    """A camera of the layer ``cameras`` and where it stood, in the terrain's grid."""

    camera: Camera
    easting_m: float
    northing_m: float


def _camera_of(path: str, label: str) -> _Shot:
    """The camera of a station.

    Raises
    ------
    FeatureError : the file cannot be read, or holds no such layer
    CallError : it holds no camera of this station
    """
    import pyogrio

    try:
        rows = read_layer(path, "cameras")
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise CallError(
            f"no layer cameras can be read ({error})",
            where=path,
            remedy="Give a GeoPackage that resect wrote",
            parameters=("camera",),
        ) from error
    own = rows[rows["station"] == label]
    if own.empty or not np.isfinite(own["heading_grid_deg"].iloc[0]):
        known = ", ".join(rows["station"][np.isfinite(rows["heading_grid_deg"])]) or "none"
        raise CallError(
            f"no camera of station {label!r} is known; known are: {known}",
            where=path,
            remedy="Look from a station that the file has a camera of",
            parameters=("camera",),
        )
    row = own.iloc[0]
    lens = Lens(
        int(row["width_px"]),
        int(row["height_px"]),
        float(row["focal_px"]),
        float(row["principal_x_px"]),
        float(row["principal_y_px"]),
        0.0 if not np.isfinite(row["radial"]) else float(row["radial"]),
    )
    camera = Camera(lens, *(float(row[name]) for name in ("heading_grid_deg", "tilt_deg", "roll_deg")))
    return _Shot(camera, float(row["easting_m"]), float(row["northing_m"]))
