"""A photograph laid over what is seen from a station through a camera that was solved there."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.geodesy import grid_bearing_deg
from hillsight.jobs.panorama_views import bearings_of
from hillsight.reading.drawn.drawn_view import drawn_view
from hillsight.reading.drawn.eyes import sight_lines
from hillsight.reading.drawn.fan import ground_angle_deg
from hillsight.sheets.panorama.picture import North
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.picture.overlay import OverlayThings, ShownMark, ShownPick, draw_overlay
from hillsight.words.quantities import length_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas

    from hillsight.arrays import Bytes
    from hillsight.ground.stations import Station
    from hillsight.ground.terrain import Terrain
    from hillsight.jobs.picked import Picked
    from hillsight.plan.picture.camera import Camera
    from hillsight.plan.picture.marks import Marks
    from hillsight.plan.picture.picking import Pick
    from hillsight.plan.picture.station_cameras import StationCamera
    from hillsight.reading.view import SightLines
    from hillsight.sheets.paper.page import Page
    from hillsight.sight.viewing import Viewing


def overlay_page(
    photograph: Bytes,
    camera: Camera,
    eye: tuple[float, float, float],
    station: Station,
    terrain: Terrain,
    features: geopandas.GeoDataFrame | None,
    viewing: Viewing,
    terrain_name: str,
    said: Sequence[str],
    things: OverlayThings | None = None,
    picks: Sequence[Pick] = (),
) -> Page:
    """The page of one station, whoever solved its camera.

    Parameters
    ----------
    photograph : (height, width, 3) as shown
    eye : easting, northing and level (m) that the camera was at; near the station
    viewing : eye height and refraction count; the view goes as far as the terrain does
    said : sentences on the camera
    things : marks and traces; picks : are added to them, with the outlines of their ground

    Raises
    ------
    HillsightError : as ``reading.drawn.eyes.sight_lines``
    """
    east, north, level_m = eye
    stands = replace(
        station, easting_m=east, northing_m=north, ground_height_m=level_m - viewing.eye_height_m
    )
    lines, _ = sight_lines(terrain, stands, viewing, all_there_is=True)
    left_deg, span_deg = bearings_of(camera)
    step_deg = float(np.degrees(1.0 / camera.lens.focal_px)) * max(1.0, camera.lens.width_px / 2_000.0)
    view = drawn_view(lines, left_deg % 360.0, span_deg, step_deg, features=features)
    name = name_of(station.name or station.label, 60)
    foot = (
        f"Terrain {name_of(terrain_name, 60)}, posts {length_words(view.spacing_m)} apart; eye "
        f"{viewing.eye_height_m:g} m above the ground; refraction {viewing.refraction:g} of the earth's "
        "curvature. Drawn by hillsight."
    )
    things = things or OverlayThings()
    shown = [_shown_pick(number, one, camera, lines) for number, one in enumerate(picks, 1)]
    return draw_overlay(
        photograph,
        camera,
        view,
        North("true", -view.convergence_deg),
        f"The photograph, if it is from {name}",
        said,
        foot,
        replace(things, picks=(*things.picks, *shown)),
    )


def resected_things(one: StationCamera, marks: Marks, picked: Picked | None) -> OverlayThings:
    """Marks with their residuals, traces and what is said of picks, of a camera solved from marks."""
    assert one.resection is not None
    fit, known = one.resection.marks, one.model.marks
    shown = [
        ShownMark(name, float(x), float(y), float(to[0]), float(to[1]), bool(used))
        for name, x, y, to, used in zip(
            known.names, known.x_px, known.y_px, fit.shown_px, fit.used, strict=True
        )
    ]
    traces = [np.column_stack((line.x_px, line.y_px)) for line in (*marks.skyline, *marks.brow)]
    return OverlayThings(shown, traces, (), () if picked is None else picked.told)


def _shown_pick(number: int, one: Pick, camera: Camera, lines: SightLines) -> ShownPick:
    """A pick, and the outline of its ground's ellipse laid on that ground."""
    own = next((ellipse for ellipse in one.ellipses if ellipse.which == "same"), None)
    outline = None
    if own is not None:
        east, north = own.outline().T
        bearing = grid_bearing_deg(lines.easting_m, lines.northing_m, east, north)
        angle = ground_angle_deg(lines, bearing, lines.grid_distance_m(east, north))
        outline = np.column_stack(camera.pixels(bearing, angle))
    return ShownPick(f"pick {number}", one.x_px, one.y_px, outline)
