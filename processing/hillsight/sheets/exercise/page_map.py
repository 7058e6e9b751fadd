"""The map of an exercise's page: the ground and what is on it, without the places."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.sheets.map.content import MapContent
from hillsight.sheets.map.drawing import drawn_map
from hillsight.sheets.map.frame import MapFrame
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.page import PER_MM, Page
from hillsight.words.quantities import length_words

if TYPE_CHECKING:
    import geopandas

    from hillsight.arrays import Bytes
    from hillsight.ground.grid import Surface

#: Rows and columns of the map's picture.
MAP_SHAPE = (900, 1200)

#: It is drawn as a page that has fewer pixels by this, so that its names can be read on a screen.
_DENSER = 1.5


def page_map_rgb(surface: Surface, features: geopandas.GeoDataFrame | None, limits: Box) -> tuple[Bytes, str]:
    """The map, and what is said below it.

    Parameters
    ----------
    limits : its edges, metres on the surface's grid, in the proportions of ``MAP_SHAPE``
    """
    rows, columns = (round(size / _DENSER) for size in MAP_SHAPE)
    page = Page(columns, rows)
    scale = limits.width / columns * PER_MM * 1_000.0
    frame = MapFrame(page, Box(0.0, 0.0, float(columns), float(rows)), limits, scale)
    drawn = drawn_map(frame, MapContent(surface, features).here().within(limits))
    said = ["Up is grid north."]
    if drawn.grid_m is not None:
        said.append(f"Grid lines are {length_words(drawn.grid_m)} apart.")
    if drawn.interval_m is not None:
        said.append(f"Contours every {length_words(drawn.interval_m)}.")
    rgb = page.pixels(_DENSER)
    assert rgb.shape[:2] == MAP_SHAPE
    return np.ascontiguousarray(rgb), " ".join(said)
