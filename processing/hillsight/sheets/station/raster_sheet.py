"""The rasters of one station side by side, cell for cell."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.colors import to_rgb

from hillsight.sheets.paper import palette, relief, signs
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import (
    Entry,
    area_entry,
    draw_grid,
    draw_legend,
    draw_north,
    draw_reach,
    draw_scale_bar,
    draw_station,
    ground_entry,
    lay_map,
    north_words,
    station_entry,
)
from hillsight.sheets.paper.margins import draw_foot, draw_head, station_name
from hillsight.sheets.paper.page import A4_LONG, A4_SHORT, Page
from hillsight.words.quantities import hectares
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from hillsight.ground.grid import Surface
    from hillsight.layers.contents import Content, Raster


def draw_rasters(content: Content, surface: Surface) -> Page:
    """States and depths of the ground about one station side by side; ``content`` in the surface's CRS."""
    page = Page(A4_LONG, A4_SHORT)
    at, reach_m = content.station.geometry, float(content.station["reach_m"])
    name = station_name(content)
    draw_head(page, f"Ground states and depths from {name}", content)
    side = 740
    # What the rasters themselves say, post for post: the outlines of the layers stay out of it.
    bare = replace(content, frames={"stations": content.frames["stations"]})
    for left, kind in ((100, "viewshed"), (960, "depth")):
        place = Box(left, 362, left + side, 362 + side)
        chart = lay_map(page, place, at.x, at.y, reach_m, surface.grid)
        ground = relief.ground(bare, surface, chart.limits, side, side)
        limits_m = relief.depth_limits_m(ground.depth_m)
        states, depths = kind == "viewshed", kind == "depth"
        picture = relief.colours(ground, limits_m, flat=states)
        if depths:  # what is seen is blank
            picture[ground.state == GroundState.VISIBLE] = to_rgb(palette.BLANK)
        page.image(relief.as_bytes(picture), left, 362)
        draw_reach(chart, at.x, at.y, reach_m)
        draw_grid(chart, size=6.5)
        draw_station(page, *chart.to_page(at.x, at.y))
        legend = Box(left, 322, left + side + 60, 322)
        if kind not in content.rasters:
            page.text(left, 310, f"The file holds no {kind} raster.", 8)
        else:
            entries = (
                _state_legend(content.rasters[kind], ground)
                if states
                else _depth_legend(content.rasters[kind], ground, limits_m)
            )
            draw_legend(page, entries, legend, 2)
        if depths:
            draw_scale_bar(chart, left, 194)
            draw_north(chart, left + 480, 172)
    words = f"{north_words(content.station)} Areas below the maps are counts of the rasters' cells."
    below = page.paragraph(100, 152, 1600, words, 8)
    draw_foot(page, content, 100, below - 4, 1600)
    return page


def _state_legend(raster: Raster, ground: relief.Ground) -> list[Entry]:
    words = {
        GroundState.VISIBLE: ("seen", signs.SEEN),
        GroundState.HIDDEN: ("dead ground", signs.DEAD_GROUND),
        GroundState.UNCERTAIN: ("uncertain", signs.UNCERTAIN_GROUND),
        GroundState.UNKNOWN: ("unknown on the terrain", signs.UNKNOWN_GROUND),
    }
    entries = [
        ground_entry(f"{text}: {_hectares(raster, raster.array == code)}", sign)
        for code, (text, sign) in words.items()
        if (raster.array == code).any()
    ]
    if (ground.state == GroundState.UNKNOWN).any() and not (raster.array == GroundState.UNKNOWN).any():
        entries.append(ground_entry("unknown: off the terrain", signs.UNKNOWN_GROUND))
    return [*entries, station_entry("station")]


def _depth_legend(raster: Raster, ground: relief.Ground, limits_m: tuple[float, float, float]) -> list[Entry]:
    depth_m = np.nan_to_num(raster.array)
    depth_class = np.where(depth_m > 0, np.digitize(depth_m, limits_m), -1)
    entries = [
        ground_entry(
            f"{text}: {_hectares(raster, depth_class == number)}", signs.DEAD_GROUND_BY_DEPTH[number]
        )
        for number, text in enumerate(relief.depth_words(limits_m))
    ]
    if (ground.state == GroundState.VISIBLE).any():
        entries.append(area_entry("seen", palette.BLANK))
    if (ground.state == GroundState.UNKNOWN).any():
        entries.append(ground_entry("unknown", signs.UNKNOWN_GROUND))
    return entries


def _hectares(raster: Raster, chosen: Any) -> str:
    """Area of the chosen cells, in words."""
    west, south, east, north = raster.edges
    rows, columns = raster.array.shape
    area_ha = float(chosen.sum()) * (east - west) / columns * (north - south) / rows / 10_000
    return hectares(area_ha, 0 if area_ha >= 10 else 1)
