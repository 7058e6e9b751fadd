"""The map of all posts: what of the course is seen, what is not, who hears whom; to exact scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas
import shapely

from hillsight.sheets.map import layout as paper
from hillsight.sheets.map.content import MapContent
from hillsight.sheets.map.contour_lines import chosen_interval_m
from hillsight.sheets.map.drawing import PARTS, grid_step_m
from hillsight.sheets.map.frame import grid_metres
from hillsight.sheets.map.post_signs import LEFT_OUT
from hillsight.sheets.map.sheet_page import SheetStyle, draw_sheet
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.page import PER_MM

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from hillsight.sheets.paper.page import Page
    from hillsight.sheets.posts.sheet_data import PostSheets

#: Room about the course and the posts, share of the longer side, and least metres.
_ROOM_SHARE, _LEAST_ROOM_M = 0.05, 150.0
#: Smallest scale that walkers' maps have: what does not fit a sheet of A3 so is divided.
_SMALLEST = 25_000.0
_OVERLAP_MM = 20.0
_SIDE_MM = 14.0


def summary_pages(data: PostSheets, layers: Mapping[str, geopandas.GeoDataFrame]) -> Iterator[Page]:
    """The map: one sheet at the largest round scale that fits, several of A3 where not even 1:25,000 does.

    Parameters
    ----------
    layers : those of the plan, and running_order; on the grid of the surface
    """
    area = _area(data, layers)
    name, way, scale = _paper(area, data.grid_scale_factor)
    laid = paper.layout_of(name, way)
    per_mm = grid_metres(scale, data.grid_scale_factor)
    sheets = paper.divide(area, laid.room.width * per_mm, laid.room.height * per_mm, _OVERLAP_MM * per_mm)
    shown = {key: rows for key, rows in layers.items() if key not in LEFT_OUT}
    content = MapContent(data.surface, data.features, shown)
    style = SheetStyle(
        title=name_of(data.title, 110),
        layout=laid,
        scale=scale,
        grid_scale_factor=data.grid_scale_factor,
        interval_m=_interval_m(data, scale),
        grid_m=grid_step_m(scale),
        # Without the hillshade the dark band of what nobody sees stands out, in grey too.
        show=(*(part for part in PARTS if part != "hillshade"), *shown),
        north=data.map_north,
        grid_name=data.surface.grid.crs.name,
        credits=data.made_of,
    )
    for sheet in sheets:
        page = draw_sheet(content, style, sheet, sheets)[0]
        _draw_caution(page, data.cautions, laid.width, laid.height)
        yield page


def _draw_caution(page: Page, words: str, width_mm: float, height_mm: float) -> None:
    """The cautions once more above the map, where nobody overlooks them."""
    left, room = _SIDE_MM * PER_MM, (width_mm - 2 * _SIDE_MM) * PER_MM
    size = 7.0
    while len(page.wrapped(words, room * 0.95, size)) > 1 and size > 5.0:
        size -= 0.2
    page.paragraph(left, (height_mm - 12.0) * PER_MM, room, words, size)


def _interval_m(data: PostSheets, scale: float) -> float | None:
    """Twice as wide as on a map sheet, so that the course and the posts stand out."""
    chosen = chosen_interval_m(data.surface, scale)
    return None if chosen is None else 2.0 * chosen


def _area(data: PostSheets, layers: Mapping[str, geopandas.GeoDataFrame]) -> Box:
    shapes = [shapely.LineString(data.course)]
    for name in ("posts", "relays", "access"):
        if name in layers:
            shapes += list(layers[name].geometry)
    west, south, east, north = shapely.total_bounds(shapes)
    room_m = max(_ROOM_SHARE * max(east - west, north - south), _LEAST_ROOM_M)
    return Box(west - room_m, south - room_m, east + room_m, north + room_m)


def _paper(area: Box, factor: float) -> tuple[str, str, float]:
    """The smallest paper on which the area fits one sheet, how it lies, and the scale."""
    for name in paper.PAPERS:
        scale = paper.scale_that_fits(area, name, None, factor)
        if scale is not None and scale <= _SMALLEST:
            return name, _way(area, name, scale, factor), scale
    return "A3", _way(area, "A3", _SMALLEST, factor), _SMALLEST


def _way(area: Box, name: str, scale: float, factor: float) -> str:
    return paper.chosen_orientation(area, name, scale, factor, _OVERLAP_MM)
