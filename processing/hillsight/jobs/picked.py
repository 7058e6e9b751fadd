"""What pixels and lines of a photograph show on the ground, from the station whose camera is taken."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError
from hillsight.ground.error_fields import ErrorFields
from hillsight.ground.roughness import rough_scale_m
from hillsight.layers.picked_frames import (
    PickedFrom,
    picked_ellipses_frame,
    picked_lines_frame,
    picked_points_frame,
)
from hillsight.plan.picture.picked_lines import picked_lines
from hillsight.plan.picture.picking import Ground, check_pixel, pick
from hillsight.plan.picture.picking_words import line_lines, pick_lines, pick_note
from hillsight.plan.picture.resected_draws import resected_draws, resected_stand
from hillsight.reading.far_ground import far_ground

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import geopandas

    from hillsight.arrays import Floats
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.geodesy import Geodesy
    from hillsight.ground.terrain import Terrain
    from hillsight.plan.picture.marks import MarkedPhotograph, Marks
    from hillsight.plan.picture.picked_lines import LineOf, PickedLine
    from hillsight.plan.picture.picking import Pick
    from hillsight.plan.picture.station_cameras import StationCamera

PICKED_LAYERS = ("picked_points", "picked_ellipses", "picked_lines")

#: Posts whose errors are drawn at most: farther ground is taken as the terrain has it.
_DRAWN_POSTS = 9_000_000

#: Standard deviation of a pick and of a line that is typed, pixels. Common practice, no source.
_CLICK_PX, _LINE_PX = 2.0, 3.0

_PIXEL = re.compile(r"\s*([+-]?\d+(?:\.\d*)?|[+-]?\.\d+)\s*,\s*([+-]?\d+(?:\.\d*)?|[+-]?\.\d+)\s*")


@dataclass(frozen=True, eq=False)
class WantedLine:
    """A line in the picture.

    of : "skyline", "brow" or "ground"
    x_px, y_px : (n,) vertices; give_or_take_px : one standard deviation
    """

    of: LineOf
    x_px: Floats
    y_px: Floats
    give_or_take_px: float


@dataclass(frozen=True, eq=False)
class Picked:
    """What was picked from one station.

    lines : for each line its pieces, and the share of it that was found
    frames : rows of PICKED_LAYERS
    told : the same in sentences; notes : what has no row
    """

    picks: tuple[Pick, ...]
    lines: tuple[tuple[Sequence[PickedLine], float], ...]
    frames: Mapping[str, geopandas.GeoDataFrame]
    told: tuple[str, ...]
    notes: tuple[str, ...]


def wanted_pixels(texts: Sequence[str]) -> list[tuple[float, float]]:
    """Pixels "X,Y".

    Raises
    ------
    CallError : something else
    """
    return [_pixel(text, "pick") for text in texts]


def wanted_lines(texts: Sequence[str], marks: Marks) -> list[WantedLine]:
    """Lines: "skyline" and "brow" are what is traced in the marks, others "X,Y X,Y ...".

    Raises
    ------
    CallError : something else, or nothing of the kind is traced
    """
    found: list[WantedLine] = []
    for text in texts:
        word = text.strip().lower()
        if word in ("skyline", "brow"):
            of: LineOf = "skyline" if word == "skyline" else "brow"
            traces = marks.skyline if of == "skyline" else marks.brow
            if not traces:
                raise CallError(
                    f"no {word} is traced in the marks",
                    remedy="Trace it on the photograph, or give the line's pixels",
                    parameters=("pick_line",),
                )
            found += [WantedLine(of, one.x_px, one.y_px, one.spread_px) for one in traces]
            continue
        places = [_pixel(part, "pick_line") for part in text.split()]
        if len(places) < 2:
            raise CallError(
                f"{text!r} is no line",
                remedy='Give skyline, brow, or two pixels or more as "X,Y X,Y"',
                parameters=("pick_line",),
            )
        x, y = np.array(places).T
        found.append(WantedLine("ground", x, y, _LINE_PX))
    return found


def _pixel(text: str, parameter: str) -> tuple[float, float]:
    match = _PIXEL.fullmatch(text)
    if match is None:
        raise CallError(
            f"{text!r} is no pixel",
            remedy='Give "X,Y": pixels from the picture\'s upper left corner, x to the right, y downwards',
            parameters=(parameter,),
        )
    return float(match[1]), float(match[2])


def check_places(
    pixels: Sequence[tuple[float, float]], lines: Sequence[WantedLine], photograph: MarkedPhotograph
) -> None:
    """Refuse pixels that are not in the picture.

    Raises
    ------
    CallError : as said
    """
    size = photograph.width_px, photograph.height_px
    for x, y in pixels:
        check_pixel(x, y, size)
    for line in lines:
        for x, y in zip(line.x_px, line.y_px, strict=True):
            check_pixel(float(x), float(y), size, "pick_line")


def picked_from(
    one: StationCamera,
    pixels: Sequence[tuple[float, float]],
    lines: Sequence[WantedLine],
    terrain: Terrain,
    errors: ErrorModel,
    geodesy: Geodesy,
    declination_deg: float | None,
) -> Picked:
    """The ground that pixels and lines show from a station whose camera is known.

    Raises
    ------
    CallError : no camera at the station shows the marks
    """
    resection = one.resection
    if resection is None:
        raise CallError(
            f"nothing can be picked from {one.station.label}: no camera there shows the marks",
            remedy="Check the marks, or pick from another station",
            parameters=("pick", "pick_line"),
        )
    camera = resection.camera
    east, north, _ = resection.eye
    ground = _ground(terrain, errors, east, north)
    stand = resected_stand(resection, ground.surface)
    drawn = resected_draws(resection) if pixels else []
    picks = [pick(x, y, camera, stand, ground, drawn, _CLICK_PX) for x, y in pixels]
    drawn_lines = [
        picked_lines(line.of, line.x_px, line.y_px, camera, stand, ground, line.give_or_take_px)
        for line in lines
    ]
    where = PickedFrom(one.station.label, east, north, geodesy, declination_deg)
    frames = {}
    if pixels:
        frames["picked_points"] = picked_points_frame(picks, where, terrain.crs)
        frames["picked_ellipses"] = picked_ellipses_frame(picks, where, terrain.crs)
    if lines:
        frames["picked_lines"] = picked_lines_frame(drawn_lines, where, terrain.crs)
    notes = [pick_note(number, one_pick) for number, one_pick in enumerate(picks, 1)]
    return Picked(
        tuple(picks),
        tuple(drawn_lines),
        frames,
        (*pick_lines(picks, where.convergence_deg), *line_lines(drawn_lines)),
        tuple(note for note in notes if note is not None),
    )


def _ground(terrain: Terrain, errors: ErrorModel, east: float, north: float) -> Ground:
    """All ground that rays may meet, with its errors as far as they can be drawn."""
    far = far_ground(terrain, east, north)
    surface = far.surface
    grid = surface.grid
    if grid.rows * grid.columns > _DRAWN_POSTS:
        side_m = math.sqrt(_DRAWN_POSTS) * min(grid.spacing_x_m, grid.spacing_y_m)
        surface = terrain.window(east, north, side_m / 2.0 - 4.0 * max(grid.spacing_x_m, grid.spacing_y_m))
    fields = ErrorFields(surface.grid, errors, rough_scale_m(surface.height_m))
    return Ground(surface, fields, far.highest_m)


def best_camera(cameras: Sequence[StationCamera], label: str | None) -> StationCamera:
    """The station that is named, or else the one that the marks fit best.

    Raises
    ------
    CallError : no station bears the name
    """
    if label is None:
        return max(cameras, key=lambda one: one.probability)
    for one in cameras:
        if label in (one.station.label, one.station.name):
            return one
    raise CallError(
        f"no station is called {label!r}",
        remedy=f"The stations are {', '.join(one.station.label for one in cameras)}",
        parameters=("camera_of",),
    )
