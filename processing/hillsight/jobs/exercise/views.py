"""What the places of an exercise see: views in one frame, drawn alike, and the ground out of view."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.layers.contents import Raster, sampled
from hillsight.reading.drawn.drawn_view import drawn_view
from hillsight.reading.drawn.extent import angles_shown
from hillsight.reading.drawn.eyes import sight_lines
from hillsight.reading.drawn.landmarks import landmarks
from hillsight.reading.ground.regions import HIDDEN, UNCERTAIN, UNKNOWN
from hillsight.reading.view import View
from hillsight.sheets.panorama.layout import lay_strips
from hillsight.sheets.panorama.panorama_sheet import draw_bare
from hillsight.sheets.panorama.picture import Ground
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Bytes
    from hillsight.ground.stations import Station
    from hillsight.jobs.inputs import Inputs
    from hillsight.plan.exercise.exercise import ExercisePicture
    from hillsight.reading.drawn.drawn_view import DrawnView
    from hillsight.reading.drawn.landmarks import Landmark
    from hillsight.reading.view import SightLines
    from hillsight.sheets.paper.labels import Box
    from hillsight.sight.cylinder import Cylinder

#: Pixels of a drawn view, across and at most down.
_ROOM = (1400.0, 700.0)

#: Landmarks that get a number in one view.
MOST_LANDMARKS = 12

#: Codes of ground over a map.
NOT_JUDGED, SEEN, DEAD, NOT_KNOWN = range(4)


@dataclass(frozen=True, eq=False)
class PlaceView:
    """What is seen from one place, in the frame that all places of an exercise share.

    looks_true_deg : bearing of the picture's middle
    cylinder : how it is drawn, angles alike both ways
    landmarks : features in the picture, seen or all but seen, left to right; the best of them numbered
    """

    station: Station
    view: DrawnView
    looks_true_deg: float
    cylinder: Cylinder
    landmarks: tuple[Landmark, ...]

    @property
    def lines(self) -> SightLines:
        """The eye and its sight lines."""
        return self.view.lines


def place_views(
    inputs: Inputs, picture: ExercisePicture, looks_true_deg: float, refraction: float
) -> list[PlaceView]:
    """Look from every station as the picture does: the same way, as wide, as far up and down.

    Parameters
    ----------
    inputs : terrain, the places as stations, map features
    looks_true_deg : bearing of the picture's middle from true north

    Raises
    ------
    HillsightError : as ``reading.drawn.eyes.sight_lines``
    """
    viewing = Viewing(picture.eye_height_m, 0.0, 1.0, refraction)
    views = []
    for station in inputs.stations:
        lines, _ = sight_lines(inputs.terrain, station, viewing, all_there_is=True)
        convergence = float(lines.geodesy.convergence_deg(station.easting_m, station.northing_m))
        left_deg = (looks_true_deg - convergence - picture.width_deg / 2.0) % 360.0
        step_deg = picture.width_deg / _ROOM[0]
        views.append(drawn_view(lines, left_deg, picture.width_deg, step_deg, features=inputs.features))
    angles = [angles_shown(view, landmarks(view, 0)) for view in views]
    shown = min(low for low, _ in angles), max(high for _, high in angles)
    found = []
    for station, view in zip(inputs.stations, views, strict=True):
        strips = lay_strips(view.left_grid_deg, view.span_deg, shown, _ROOM, 1.0, 1)
        cylinder = strips.cylinders[0]
        seen = [one for one in landmarks(view, MOST_LANDMARKS, cylinder) if one.is_on(cylinder)]
        found.append(PlaceView(station, view, looks_true_deg, cylinder, tuple(seen)))
    return found


def drawn_rgb(one: PlaceView) -> Bytes:
    """The view as a picture without a word on it: (rows, columns, 3) uint8, shaded ground under its lines."""
    return draw_bare(one.view, one.cylinder, ground=Ground(relief=True)).page.pixels()


def ground_view(one: PlaceView, inputs: Inputs, reach_m: float) -> View:
    """Every post about a place as it sees it, as far as ``reach_m`` (metres on the grid)."""
    lines = one.lines
    return View.from_station(
        inputs.terrain.window(lines.easting_m, lines.northing_m, reach_m),
        lines.easting_m,
        lines.northing_m,
        lines.ground_height_m,
        replace(lines.viewing, reach_m=reach_m),
        lines.geodesy,
        far=lines.far,
    )


def ground_codes(one: PlaceView, inputs: Inputs, limits: Box, shape: tuple[int, int]) -> Bytes:
    """What the place sees of the ground of a map: (rows, columns) uint8, top row first.

    Parameters
    ----------
    limits : the map's edges, metres on the terrain's grid

    Codes are SEEN, DEAD and NOT_KNOWN.
    """
    crs, lines = inputs.terrain.crs, one.lines
    east_m = max(abs(limits.left - lines.easting_m), abs(limits.right - lines.easting_m))
    north_m = max(abs(limits.bottom - lines.northing_m), abs(limits.top - lines.northing_m))
    view = ground_view(one, inputs, float(np.hypot(east_m, north_m)))
    seen = np.where(view.classes == HIDDEN, DEAD, SEEN)
    seen = np.where(np.isin(view.classes, (UNKNOWN, UNCERTAIN)), NOT_KNOWN, seen).astype(np.uint8)
    rows, columns = shape
    x = limits.left + (np.arange(columns) + 0.5) / columns * limits.width
    y = limits.top - (np.arange(rows) + 0.5) / rows * limits.height
    raster = Raster(seen, view.grid.cell_edges_m, crs)
    codes = sampled(raster, *np.meshgrid(x, y), crs, smooth=False)
    return np.where(codes == NOT_JUDGED, NOT_KNOWN, codes).astype(np.uint8)


def map_limits(
    views: Sequence[PlaceView],
    ahead_m: float,
    shape: tuple[int, int],
    bounds_m: tuple[float, float, float, float],
) -> Box:
    """Edges of a map that holds all places and what lies ahead of them, as wide to its height as asked for.

    Parameters
    ----------
    ahead_m : how far into the places' sectors the map goes
    shape : rows and columns of the map
    bounds_m : west, south, east and north of the terrain; the map is moved to show as much of it as it can
    """
    from hillsight.sheets.paper.labels import Box

    east, north = [], []
    for one in views:
        turn = np.radians(one.view.left_grid_deg + one.view.span_deg * np.linspace(0.0, 1.0, 9))
        east += [one.lines.easting_m, *(one.lines.easting_m + ahead_m * np.sin(turn))]
        north += [one.lines.northing_m, *(one.lines.northing_m + ahead_m * np.cos(turn))]
    west_m, south_m, east_m, north_m = bounds_m
    room_m = 0.12 * ahead_m
    left, right = max(min(east) - room_m, west_m), min(max(east) + room_m, east_m)
    bottom, top = max(min(north) - room_m, south_m), min(max(north) + room_m, north_m)
    wide = shape[1] / shape[0]
    width_m = max(right - left, (top - bottom) * wide)
    x = _moved((left + right) / 2.0, width_m / 2.0, west_m, east_m)
    y = _moved((bottom + top) / 2.0, width_m / wide / 2.0, south_m, north_m)
    return Box(x - width_m / 2, y - width_m / wide / 2, x + width_m / 2, y + width_m / wide / 2)


def _moved(middle: float, half: float, low: float, high: float) -> float:
    """The middle of a stretch, moved so that it lies between bounds, or amid them where it is longer."""
    return (low + high) / 2.0 if high - low < 2 * half else min(max(middle, low + half), high - half)
