"""The frame of a map drawn to exact scale: where it stands on the page and on the ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.metric import scale_error
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import Map
from hillsight.sheets.paper.page import PER_MM

if TYPE_CHECKING:
    from pyproj import CRS

    from hillsight.sheets.paper.page import Page


@dataclass(frozen=True)
class MapFrame:
    """A map's place on the page and its edges on the grid.

    Parameters
    ----------
    page : to draw on
    place : the frame, pixels of the page
    limits : the same edges, metres on the grid
    scale : the denominator: 25,000 for 1:25,000. Of distances on the ellipsoid, not on the grid
    grid_scale_factor : grid distance over ellipsoid distance at the middle; 1 leaves the grid's own scale in
    name : set before the names of the layers where a page has several maps
    """

    page: Page
    place: Box
    limits: Box
    scale: float = 25_000.0
    grid_scale_factor: float = 1.0
    name: str = ""

    @property
    def pixel_m(self) -> float:
        """Metres on the grid a pixel of the page."""
        return grid_metres(self.scale, self.grid_scale_factor) / PER_MM

    def layer(self, name: str) -> Map:
        """The map for one layer: axes of its own, which are a group of that name in an SVG.

        A layer lies over those that were made before it.
        """
        axes = self.page.frame(self.place, self.limits)
        axes.set_gid(f"{self.name}-{name}" if self.name else name)
        return Map(self.page, axes, self.place, self.limits)


def grid_metres(scale: float, grid_scale_factor: float) -> float:
    """Metres on the grid that a millimetre of paper shows."""
    return scale * grid_scale_factor * 0.001


def lay_frame(
    page: Page,
    place_mm: Box,
    easting_m: float,
    northing_m: float,
    scale: float,
    grid_scale_factor: float = 1.0,
    name: str = "",
) -> MapFrame:
    """A map about a place of the ground, which comes to the frame's middle.

    Parameters
    ----------
    place_mm : the frame, mm from the page's lower left corner
    """
    half_east_m = place_mm.width * grid_metres(scale, grid_scale_factor) / 2
    half_north_m = place_mm.height * grid_metres(scale, grid_scale_factor) / 2
    limits = Box(
        easting_m - half_east_m, northing_m - half_north_m, easting_m + half_east_m, northing_m + half_north_m
    )
    place = Box(*(edge * PER_MM for edge in (place_mm.left, place_mm.bottom, place_mm.right, place_mm.top)))
    return MapFrame(page, place, limits, scale, grid_scale_factor, name)


def grid_scale_factor_at(crs: CRS, easting_m: float, northing_m: float) -> float:
    """Grid distance over ellipsoid distance at a place, 1 where the grid tells nothing of it.

    On a grid that is not conformal, in the direction in which it differs most from 1.
    """
    error = float(scale_error(crs, np.array([easting_m]), np.array([northing_m]))[0])
    return 1.0 + error if np.isfinite(error) else 1.0
