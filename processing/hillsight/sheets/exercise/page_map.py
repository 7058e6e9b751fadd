"""The map of an exercise's page: the ground and what is on it, without the places."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.sheets.exercise.page_data import PageMap
from hillsight.sheets.map.content import MapContent
from hillsight.sheets.map.drawing import drawn_map
from hillsight.sheets.map.frame import MapFrame
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.page import PER_MM, Page
from hillsight.words.quantities import length_words

if TYPE_CHECKING:
    import geopandas

    from hillsight.ground.grid import Surface
    from hillsight.sheets.exercise.page_data import Spot

#: Rows and columns of the map's picture.
MAP_SHAPE = (900, 1200)

#: It is drawn as a page that has fewer pixels by this, so that its names can be read on a screen.
_DENSER = 1.5


def page_map(
    surface: Surface,
    features: geopandas.GeoDataFrame | None,
    limits: Box,
    spots: tuple[Spot, ...],
    sector_m: float,
    norths: str,
) -> PageMap:
    """The map.

    Parameters
    ----------
    limits : its edges, metres on the surface's grid, in the proportions of ``MAP_SHAPE``
    spots : landmarks on it; sector_m : how far the places' sectors are drawn
    norths : how the norths lie on it, a sentence
    """
    rows, columns = (round(size / _DENSER) for size in MAP_SHAPE)
    page = Page(columns, rows)
    scale = limits.width / columns * PER_MM * 1_000.0
    frame = MapFrame(page, Box(0.0, 0.0, float(columns), float(rows)), limits, scale)
    drawn = drawn_map(frame, MapContent(surface, features).here().within(limits))
    said = [norths]
    eastings: tuple[tuple[float, str], ...] = ()
    northings = eastings
    metres_per_px = limits.width / MAP_SHAPE[1]
    if drawn.grid_m is not None:
        said.append(f"Grid lines are {length_words(drawn.grid_m)} apart, figures in km.")
        eastings = _figures(limits.left, limits.right, drawn.grid_m, metres_per_px)
        northings = tuple(
            (MAP_SHAPE[0] - y_px, figure)
            for y_px, figure in _figures(limits.bottom, limits.top, drawn.grid_m, metres_per_px)
        )
    if drawn.interval_m is not None:
        said.append(f"Contours every {length_words(drawn.interval_m)}.")
    rgb = np.ascontiguousarray(page.pixels(_DENSER))
    return PageMap(rgb, metres_per_px, " ".join(said), spots, sector_m / metres_per_px, eastings, northings)


def _figures(
    low_m: float, high_m: float, step_m: float, metres_per_px: float
) -> tuple[tuple[float, str], ...]:
    """Grid lines along an edge of the map, off its ends: pixels from its low end, and kilometres."""
    room_m = 24.0 * metres_per_px
    lines = np.arange(np.ceil((low_m + room_m) / step_m) * step_m, high_m - room_m, step_m)
    return tuple((float((at - low_m) / metres_per_px), f"{at / 1_000.0:,.10g}") for at in lines)
