"""What is seen from a place, worked out apart from the package: by plane trigonometry and the walker.

Neither curvature nor refraction counts, and grid north is true north, as on ``made_hills``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

import oracle
from hillsight.arrays import Floats
from hillsight.ground.grid import Surface
from hillsight.plan.look.glance import Glance


@dataclass(frozen=True)
class _Eye:
    row: float
    column: float
    level_m: float
    drop_per_m: float = 0.0


@dataclass
class Watcher:
    """An eye over a surface; walks are kept, as many facts ask for the same bearings."""

    surface: Surface
    easting_m: float
    northing_m: float
    level_m: float
    _walked: dict[float, oracle.Outlook] = field(default_factory=dict)
    _cleared: dict[tuple[float, float, float], float] = field(default_factory=dict)

    @classmethod
    def at(cls, surface: Surface, place: Glance, eye_height_m: float = 1.6) -> Watcher:
        """Where a glance stands, so high above its ground."""
        level_m = height_at(surface, place.easting_m, place.northing_m) + eye_height_m
        return cls(surface, place.easting_m, place.northing_m, level_m)

    @property
    def eye(self) -> _Eye:
        row, column = rows_columns(self.surface, self.easting_m, self.northing_m)
        return _Eye(row, column, self.level_m)

    @cached_property
    def _heights(self) -> Floats:
        return self.surface.height_m.astype(float)

    def bearing_deg(self, easting_m: float, northing_m: float) -> float:
        """Clockwise from north."""
        return float(np.degrees(np.arctan2(easting_m - self.easting_m, northing_m - self.northing_m)) % 360)

    def distance_m(self, easting_m: float, northing_m: float) -> float:
        return float(np.hypot(easting_m - self.easting_m, northing_m - self.northing_m))

    def angle_deg(self, easting_m: float, northing_m: float, tall_m: float = 0.0) -> float:
        """Above level."""
        above_m = height_at(self.surface, easting_m, northing_m) + tall_m - self.level_m
        return float(np.degrees(np.arctan2(above_m, self.distance_m(easting_m, northing_m))))

    def clearance_m(self, easting_m: float, northing_m: float, tall_m: float = 0.0) -> float:
        """Metres of a target over the line that grazes the ground before it; hidden below nought."""
        key = float(easting_m), float(northing_m), tall_m
        if key not in self._cleared:
            row, column = rows_columns(self.surface, easting_m, northing_m)
            eye = self.eye
            self._cleared[key] = oracle.clearance(
                self._heights, eye.row, eye.column, self.level_m, row, column, tall_m
            )
        return self._cleared[key]

    def along(self, bearing_deg: float) -> oracle.Outlook:
        """All that the walker finds on a bearing."""
        key = round(bearing_deg % 360, 3)
        if key not in self._walked:
            grid = self.surface.grid
            self._walked[key] = oracle.look_along(
                self._heights, grid.spacing_x_m, grid.spacing_y_m, self.eye, 5_000.0, key
            )
        return self._walked[key]

    def skyline_deg(self, bearing_deg: float) -> float:
        return float(np.degrees(np.arctan(self.along(bearing_deg).skyline_slope)))

    def brow(self, bearing_deg: float) -> tuple[float, float]:
        """(distance of the first brow that hides a metre or more, metres hidden behind it); NaN without one.

        Hidden ground counts to the middle between the last crossing out of view and the first seen again.
        """
        for crests, last, again, depth_m in self.along(bearing_deg).pockets:
            if depth_m >= 1.0:
                return float(crests[-1]), float((last + again) / 2 - crests[-1] if again == again else np.inf)
        return np.nan, np.nan

    def ground_along_m(self, bearing_deg: float, distance_m: float) -> float:
        turn = np.radians(bearing_deg)
        return height_at(
            self.surface,
            self.easting_m + distance_m * float(np.sin(turn)),
            self.northing_m + distance_m * float(np.cos(turn)),
        )


def rows_columns(surface: Surface, easting_m: float, northing_m: float) -> tuple[float, float]:
    """Fractional row and column."""
    grid = surface.grid
    return (grid.north_m - northing_m) / grid.spacing_y_m, (easting_m - grid.west_m) / grid.spacing_x_m


def height_at(surface: Surface, easting_m: float, northing_m: float) -> float:
    """Ground between posts."""
    return oracle.bilinear(surface.height_m, *rows_columns(surface, easting_m, northing_m))


def right_of(bearing_deg: float, looks_deg: float) -> float:
    """Degrees that a bearing lies right of where a picture looks, -180 to 180."""
    return (bearing_deg - looks_deg + 180.0) % 360.0 - 180.0


def part_bearings(looks_deg: float, width_deg: float, part: str) -> Floats:
    """Bearings half a degree apart from the left to the right edge of a part of a picture."""
    left, right = {
        "anywhere": (-0.5, 0.5),
        "left": (-0.5, -1 / 6),
        "middle": (-1 / 6, 1 / 6),
        "right": (1 / 6, 0.5),
        "left half": (-0.5, 0.0),
        "right half": (0.0, 0.5),
    }[part]
    return looks_deg + np.arange(left * width_deg, right * width_deg, 0.5)
