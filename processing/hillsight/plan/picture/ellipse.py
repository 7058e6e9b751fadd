"""The ellipse on the map that holds 95 % of where a place may be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from hillsight.arrays import Floats

#: Share of the draws that an ellipse holds.
HELD = 0.95

_SIDES = 72


@dataclass(frozen=True)
class Ellipse:
    """An ellipse about draws of a place on one ground.

    easting_m, northing_m : its middle
    semi_major_m, semi_minor_m : half its length and half its width
    orientation_grid_deg : of its length, clockwise from grid north, [0, 180)
    which : the ground it lies on: that which is picked ("same"), or other ground "nearer" or "beyond" with
        dead ground between
    share : of all draws that meet this ground
    distance_m : grid distance from the eye of the middle one of these draws
    """

    easting_m: float
    northing_m: float
    semi_major_m: float
    semi_minor_m: float
    orientation_grid_deg: float
    which: str
    share: float
    distance_m: float

    def outline(self) -> Floats:
        """(73, 2) eastings and northings, closed."""
        turn = np.linspace(0.0, 2.0 * np.pi, _SIDES + 1)
        along, across = self.semi_major_m * np.cos(turn), self.semi_minor_m * np.sin(turn)
        bearing = np.radians(self.orientation_grid_deg)
        east = self.easting_m + along * np.sin(bearing) + across * np.cos(bearing)
        north = self.northing_m + along * np.cos(bearing) - across * np.sin(bearing)
        outline: Floats = np.column_stack((east, north))
        outline[-1] = outline[0]
        return outline

    def holds(self, easting_m: float, northing_m: float) -> bool:
        """Whether a place lies in it."""
        east, north = easting_m - self.easting_m, northing_m - self.northing_m
        bearing = np.radians(self.orientation_grid_deg)
        along = east * np.sin(bearing) + north * np.cos(bearing)
        across = east * np.cos(bearing) - north * np.sin(bearing)
        return bool((along / self.semi_major_m) ** 2 + (across / self.semi_minor_m) ** 2 <= 1.0)


def ellipse_about(places: Floats, which: str, share: float, distance_m: float) -> Ellipse:
    """The ellipse of the shape of the places' covariance that holds 95 % of them.

    It is as large as the places ask for, and not as a normal distribution would have it: places on grazed
    ground lie in a long tail.

    Parameters
    ----------
    places : (n, 2) eastings and northings, n >= 3
    """
    middle = places.mean(axis=0)
    values, vectors = np.linalg.eigh(np.cov(places.T))
    # Draws that do not differ across a line still have a width, so that there is a polygon.
    values = np.maximum(values, max(values.max() * 1e-8, 1e-6))
    away = ((places - middle) @ vectors) ** 2 / values
    radius = float(np.sqrt(np.quantile(away.sum(axis=1), HELD)))
    east, north = vectors[:, 1]
    return Ellipse(
        float(middle[0]),
        float(middle[1]),
        radius * float(np.sqrt(values[1])),
        radius * float(np.sqrt(values[0])),
        float(np.degrees(np.arctan2(east, north)) % 180.0),
        which,
        share,
        distance_m,
    )
