"""The map of the ground about one station."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.transform import middle_of
from hillsight.ground.vector import carried
from hillsight.sheets.paper import palette, relief, signs
from hillsight.sheets.paper.contours import draw_contours, label_contours
from hillsight.sheets.paper.labels import Box, Placer
from hillsight.sheets.paper.maps import (
    Entry,
    area_entry,
    course_entry,
    draw_grid,
    draw_legend,
    draw_north,
    draw_posts,
    draw_reach,
    draw_scale_bar,
    draw_station,
    ground_entry,
    lay_map,
    north_words,
    station_entry,
)
from hillsight.sheets.paper.margins import draw_foot, draw_head, station_name
from hillsight.sheets.paper.marks import (
    Sign,
    crest_entries,
    draw_crests,
    draw_features,
    feature_entries,
    label_features,
    left_off_words,
    mark_boxes,
)
from hillsight.sheets.paper.page import A4_LONG, A4_SHORT, Page
from hillsight.words.quantities import length_words
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    import geopandas

    from hillsight.ground.grid import Surface
    from hillsight.layers.contents import Content


def draw_ground(
    content: Content,
    surface: Surface,
    *,
    features: geopandas.GeoDataFrame | None = None,
    title: str | None = None,
) -> Page:
    """Map of the ground about one station, A4 upright.

    Parameters
    ----------
    content : in the surface's CRS; layers that it lacks are left out of the picture
    surface : the terrain, in metres; need not cover the reach
    features : map features to draw: name, kind, evidence_class, geometry; any CRS
    title : instead of the usual one
    """
    page = Page(A4_SHORT, A4_LONG)
    at, reach_m = content.station.geometry, float(content.station["reach_m"])
    chart = lay_map(page, Box(100, 546, 1200, 1646), at.x, at.y, reach_m, surface.grid)
    name = station_name(content)
    draw_head(page, title or f"What is seen from {name}", content)

    rows, columns = round(chart.place.height), round(chart.place.width)
    terrain = relief.raised(surface, chart.limits, chart.pixel_m)
    ground = relief.ground(content, surface, chart.limits, rows, columns)
    limits_m = relief.depth_limits_m(ground.depth_m)
    shade = (
        np.full((rows, columns), np.nan)
        if terrain is None
        else relief.shade_at_pixels(terrain, chart.limits, rows, columns)
    )
    picture = relief.shaded(
        relief.colours(ground, limits_m),
        shade,
        ground.state == GroundState.BEYOND,
        ground.state == GroundState.HIDDEN,
    )
    page.image(picture, round(chart.place.left), round(chart.place.bottom))

    placer = Placer(
        Box(chart.place.left + 3, chart.place.bottom + 3, chart.place.right - 3, chart.place.top - 3)
    )
    interval_m = None if terrain is None else draw_contours(chart, terrain)
    shown = None
    if features is not None and not features.empty:
        shown = carried(features, surface.grid.crs, middle_of(surface.grid))
    drawn = [] if shown is None else draw_features(chart, shown)
    lines = content.rows("crest_lines")
    roles = [] if lines is None else draw_crests(chart, lines)
    draw_reach(chart, at.x, at.y, reach_m)
    posts = draw_posts(chart, surface.grid)
    step_m = draw_grid(chart)
    x, y = chart.to_page(at.x, at.y)
    placer.taken.append(draw_station(page, x, y))
    if shown is not None:
        placer.taken.extend(Box(x - 5, y - 5, x + 5, y + 5) for x, y in mark_boxes(chart, shown))
    width, height = page.size_of(name, 9, bold=True)
    box = placer.beside(x, y, width, height, 21)
    if box is None:  # the station's own name goes before the marks of features
        placer.taken, others = placer.taken[:1], placer.taken[1:]
        box = placer.beside(x, y, width, height, 21)
        placer.taken.extend(others)
    if box is not None:
        page.text(box.left, (box.bottom + box.top) / 2, name, 9, bold=True, halo=True)
    unnamed = 0 if shown is None else label_features(chart, shown, placer)
    if terrain is not None and interval_m is not None:
        label_contours(chart, terrain, interval_m, placer)

    bar_end = draw_scale_bar(chart, 100, 490)
    draw_north(chart, bar_end + 90, 468)
    words = [f"grid lines {length_words(step_m)} apart"]
    if interval_m is not None:
        words.append(f"contours every {interval_m:g} m, every fifth one thicker")
    if posts:
        words.append(posts)
    if unnamed:
        words.append(left_off_words(unnamed))
    if not Box(at.x - reach_m, at.y - reach_m, at.x + reach_m, at.y + reach_m).within(chart.limits):
        words.append("the reach goes on beyond the map, where there is no terrain")
    page.paragraph(bar_end + 210, 514, 1200 - bar_end - 210, " · ".join(words), 7.5)
    entries = _ground_legend(ground, limits_m, roles, drawn, interval_m)
    columns_of_legend = 2 if len(entries) <= 16 else 3
    below = draw_legend(page, entries, Box(100, 448, 1240, 448), columns_of_legend)
    below = page.paragraph(100, below - 10, 1100, north_words(content.station), 8)
    draw_foot(page, content, 100, below - 4, 1100)
    return page


def _ground_legend(
    ground: relief.Ground,
    limits_m: tuple[float, float, float],
    roles: list[str],
    drawn: list[Sign],
    interval_m: float | None,
) -> list[Entry]:
    """Only what is on the map."""
    entries = [station_entry("station")]
    entries.append(course_entry("edge of the reach", signs.REACH))
    if (ground.state == GroundState.VISIBLE).any():
        entries.append(ground_entry("seen", signs.SEEN))
    hidden = ground.state == GroundState.HIDDEN
    known = hidden & np.isfinite(ground.depth_m)
    for number, words in enumerate(relief.depth_words(limits_m)):
        if (known & (np.digitize(np.nan_to_num(ground.depth_m), limits_m) == number)).any():
            entries.append(ground_entry(f"dead ground {words}", signs.DEAD_GROUND_BY_DEPTH[number]))
    if (hidden & ~known).any():
        entries.append(ground_entry("dead ground, depth not told", signs.DEAD_GROUND))
    if (ground.state == GroundState.UNCERTAIN).any():
        entries.append(ground_entry("uncertain", signs.UNCERTAIN_GROUND))
    if (ground.state == GroundState.UNKNOWN).any():
        entries.append(ground_entry("unknown: void or off the terrain", signs.UNKNOWN_GROUND))
    if (ground.state == relief.NOT_TOLD).any():
        entries.append(area_entry("not judged in this file", palette.BLANK))
    entries += crest_entries(roles)
    if interval_m is not None:
        entries.append(course_entry("contour", signs.INDEX_CONTOUR))
    return entries + feature_entries(drawn)
