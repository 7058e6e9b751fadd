"""Cameras of a photograph as tables for the layers ``cameras`` and ``camera_marks``."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import shapely

from hillsight.ground.geodesy import Geodesy
from hillsight.plan.picture.resection_words import residuals, worst_mark
from hillsight.schema.frames import frame_of_rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pyproj

    from hillsight.plan.picture.marks import MarkedPhotograph
    from hillsight.plan.picture.station_cameras import StationCamera


def cameras_frame(
    found: Sequence[StationCamera],
    photograph: MarkedPhotograph,
    crs: pyproj.CRS,
    declination_deg: float | None = None,
) -> geopandas.GeoDataFrame:
    """The layer ``cameras``, stations in the order given.

    declination_deg : true bearing of magnetic north; None for no magnetic headings
    """
    geodesy = Geodesy(crs)
    order = sorted(range(len(found)), key=lambda k: -found[k].probability)
    rank = {k: number for number, k in enumerate(order, 1)}
    rows = [
        {
            "station": one.station.label,
            "rank": rank[k],
            "probability": one.probability,
            "state": one.state,
            "place_solved": one.model.standing.is_solved,
            "marks": len(one.model.marks.names),
            "marks_used": 0 if one.resection is None else int(one.resection.marks.used.sum()),
            "photograph": photograph.name,
            "width_px": photograph.width_px,
            "height_px": photograph.height_px,
            **_camera_row(one, geodesy, declination_deg),
        }
        for k, one in enumerate(found)
    ]
    return frame_of_rows("cameras", rows, [shapely.Point(*one.eye) for one in found], crs)


def _camera_row(one: StationCamera, geodesy: Geodesy, declination_deg: float | None) -> dict[str, Any]:
    if one.resection is None:
        return {}
    resection = one.resection
    camera, sigma, lens = resection.camera, resection.sigma, resection.camera.lens
    true_deg = (camera.heading_grid_deg + float(geodesy.convergence_deg(*one.eye[:2]))) % 360.0
    used, worst = resection.marks.used, worst_mark(one)
    off_px, off_deg = residuals(one)
    from_m = math.hypot(one.eye[0] - one.station.easting_m, one.eye[1] - one.station.northing_m)
    return {
        "heading_true_deg": true_deg,
        "heading_grid_deg": camera.heading_grid_deg,
        "heading_magnetic_deg": None if declination_deg is None else (true_deg - declination_deg) % 360.0,
        "heading_plus_minus_deg": sigma["heading_deg"],
        "tilt_deg": camera.tilt_deg,
        "tilt_plus_minus_deg": sigma["tilt_deg"],
        "roll_deg": camera.roll_deg,
        "roll_plus_minus_deg": sigma["roll_deg"],
        "focal_px": lens.focal_px,
        "focal_plus_minus_px": sigma["focal_px"],
        "width_deg": lens.width_deg,
        "width_plus_minus_deg": sigma["width_deg"],
        "principal_x_px": lens.principal_x_px,
        "principal_y_px": lens.principal_y_px,
        "principal_plus_minus_px": max(sigma["principal_x_px"], sigma["principal_y_px"]),
        "radial": lens.radial,
        "radial_plus_minus": sigma["radial"],
        "easting_m": one.eye[0],
        "northing_m": one.eye[1],
        "eye_level_m": one.eye[2],
        "place_plus_minus_m": math.hypot(sigma["easting_m"], sigma["northing_m"]),
        "from_station_m": from_m,
        "misfit_ratio": resection.misfit,
        "residual_px": float(np.sqrt(np.mean(off_px[used] ** 2))),
        "residual_deg": float(np.sqrt(np.mean(off_deg[used] ** 2))),
        "worst_mark": None if worst is None else one.model.marks.names[worst],
    }


def camera_marks_frame(found: Sequence[StationCamera], crs: pyproj.CRS) -> geopandas.GeoDataFrame:
    """The layer ``camera_marks``: a row for each station and mark, in the order given."""
    geodesy = Geodesy(crs)
    rows: list[dict[str, Any]] = []
    shapes = []
    for one in found:
        marks, eye = one.model.marks, one.eye
        bearing, distance = geodesy.inverse(eye[0], eye[1], marks.easting_m, marks.northing_m)
        fit = None if one.resection is None else one.resection.marks
        off_px, off_deg = (None, None) if fit is None else residuals(one)
        for k, name in enumerate(marks.names):
            row: dict[str, Any] = {
                "station": one.station.label,
                "mark": k + 1,
                "feature": name,
                "x_px": marks.x_px[k],
                "y_px": marks.y_px[k],
                "used": False if fit is None else bool(fit.used[k]),
                "bearing_true_deg": float(np.atleast_1d(bearing)[k]),
                "vertical_angle_deg": one.vertical_angle_deg[k],
                "distance_m": float(np.atleast_1d(distance)[k]),
                "visible_probability": one.visible_probability[k],
            }
            if fit is not None and off_px is not None and off_deg is not None:
                marked = np.array([marks.x_px[k], marks.y_px[k]])
                row |= {
                    "shown_x_px": fit.shown_px[k, 0],
                    "shown_y_px": fit.shown_px[k, 1],
                    "residual_px": off_px[k],
                    "residual_deg": off_deg[k],
                    "expected_px": fit.expected_px[k],
                    "left_out_px": float(np.linalg.norm(marked - fit.predicted_px[k])),
                    "times_expected": fit.times_expected[k],
                }
            rows.append(row)
            here = (marks.easting_m[k], marks.northing_m[k], marks.height_m[k])
            shapes.append(shapely.LineString([eye, here]))
    return frame_of_rows("camera_marks", rows, shapes, crs)
