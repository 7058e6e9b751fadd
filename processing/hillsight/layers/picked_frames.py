"""What was picked on a photograph as tables for the layers of points, ellipses and lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.schema.frames import frame_of_rows
from hillsight.words.angles import wrap_deg

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas
    from pyproj import CRS

    from hillsight.ground.geodesy import Geodesy
    from hillsight.plan.picture.ellipse import Ellipse
    from hillsight.plan.picture.picked_lines import PickedLine
    from hillsight.plan.picture.picking import Pick


@dataclass(frozen=True)
class PickedFrom:
    """Where picks of one photograph were made from.

    label : of the station
    easting_m, northing_m : of the camera
    geodesy : of the terrain's grid
    declination_deg : magnetic north's true bearing there, or None without a day
    """

    label: str
    easting_m: float
    northing_m: float
    geodesy: Geodesy
    declination_deg: float | None

    @property
    def convergence_deg(self) -> float:
        """True bearing of grid north at the camera."""
        return float(self.geodesy.convergence_deg(self.easting_m, self.northing_m))


def picked_points_frame(picks: Sequence[Pick], where: PickedFrom, crs: CRS) -> geopandas.GeoDataFrame:
    """The layer ``picked_points``: the picks that meet ground, with their numbers."""
    rows: list[dict[str, Any]] = []
    shapes = []
    for number, one in enumerate(picks, 1):
        if one.state not in ("ground", "grazing"):
            continue
        bearing, distance = where.geodesy.inverse(
            where.easting_m, where.northing_m, one.easting_m, one.northing_m
        )
        true_deg = float(bearing)
        magnetic = (
            None if where.declination_deg is None else float(wrap_deg(true_deg - where.declination_deg))
        )
        by_ground = {ellipse.which: ellipse for ellipse in one.ellipses}
        rows.append(
            {
                "station": where.label,
                "pick": number,
                "x_px": one.x_px,
                "y_px": one.y_px,
                "state": one.state,
                "easting_m": one.easting_m,
                "northing_m": one.northing_m,
                "height_m": one.height_m,
                "distance_m": float(distance),
                "bearing_true_deg": true_deg,
                "bearing_grid_deg": one.bearing_grid_deg,
                "bearing_magnetic_deg": magnetic,
                "vertical_angle_deg": one.vertical_angle_deg,
                **(_lengths(by_ground["same"], where) if "same" in by_ground else {}),
                **{
                    f"{word}_share": one.shares.get(word, 0.0)
                    for word in ("same", "nearer", "beyond", "sky", "unknown")
                },
                **{
                    f"{word}_distance_m": by_ground[word].distance_m if word in by_ground else None
                    for word in ("nearer", "beyond")
                },
            }
        )
        shapes.append(shapely.Point(one.easting_m, one.northing_m, one.height_m))
    return frame_of_rows("picked_points", rows, shapes, crs)


def picked_ellipses_frame(picks: Sequence[Pick], where: PickedFrom, crs: CRS) -> geopandas.GeoDataFrame:
    """The layer ``picked_ellipses``: also those of picks that meet the sky, where some draws meet ground."""
    rows: list[dict[str, Any]] = []
    shapes = []
    for number, one in enumerate(picks, 1):
        for ellipse in one.ellipses:
            rows.append(
                {
                    "station": where.label,
                    "pick": number,
                    "ground": ellipse.which,
                    "share": ellipse.share,
                    "distance_m": ellipse.distance_m,
                    **_lengths(ellipse, where),
                }
            )
            shapes.append(shapely.Polygon(ellipse.outline()))
    return frame_of_rows("picked_ellipses", rows, shapes, crs)


def picked_lines_frame(
    lines: Sequence[tuple[Sequence[PickedLine], float]], where: PickedFrom, crs: CRS
) -> geopandas.GeoDataFrame:
    """The layer ``picked_lines``: each line's pieces, and the share of it that was found."""
    rows: list[dict[str, Any]] = []
    shapes = []
    for number, (pieces, found_share) in enumerate(lines, 1):
        for piece, line in enumerate(pieces, 1):
            shape = shapely.LineString(np.column_stack((line.easting_m, line.northing_m, line.height_m)))
            rows.append(
                {
                    "station": where.label,
                    "line": number,
                    "piece": piece,
                    "of": line.of,
                    "length_m": float(shape.length),
                    "distance_min_m": float(line.distance_m.min()),
                    "distance_max_m": float(line.distance_m.max()),
                    "found_share": found_share,
                }
            )
            shapes.append(shape)
    return frame_of_rows("picked_lines", rows, shapes, crs)


def _lengths(ellipse: Ellipse, where: PickedFrom) -> dict[str, float]:
    return {
        "semi_major_m": ellipse.semi_major_m,
        "semi_minor_m": ellipse.semi_minor_m,
        "orientation_true_deg": (ellipse.orientation_grid_deg + where.convergence_deg) % 180.0,
    }
