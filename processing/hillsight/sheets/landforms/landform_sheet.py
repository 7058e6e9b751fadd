"""Maps of the landforms of a terrain: a page for each scale they were read at."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.colors import to_rgb

from hillsight.ground.geodesy import Geodesy
from hillsight.ground.transform import middle_of
from hillsight.ground.vector import carried
from hillsight.layers.atomic import made_folder
from hillsight.sheets.landforms import landform_marks as marks
from hillsight.sheets.landforms.landform_names import label_landforms
from hillsight.sheets.paper import palette, relief, signs
from hillsight.sheets.paper.contours import draw_contours, label_contours
from hillsight.sheets.paper.drawn_signs import paint
from hillsight.sheets.paper.labels import Box, Placer
from hillsight.sheets.paper.maps import (
    Entry,
    Map,
    course_entry,
    draw_grid,
    draw_legend,
    draw_north,
    draw_scale_bar,
    ground_entry,
    north_words,
)
from hillsight.sheets.paper.margins import CAUTION, draw_title
from hillsight.sheets.paper.page import A4_LONG, A4_SHORT, Page
from hillsight.sheets.paper.saving import AS_DRAWN, Printing, save_page
from hillsight.words.quantities import length_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas

    from hillsight.arrays import Bytes, Flags
    from hillsight.ground.grid import Grid, Surface

    Frames = Mapping[str, geopandas.GeoDataFrame]

_LEFT, _RIGHT = 100, 1200  # pixels
_TOP = A4_LONG - 112
_MOST_HEIGHT = 1150
_LEAST_SIDE = 220  # of the map of a long narrow terrain; more is shown beside it
_USUAL_SCALE = 26.0  # pixels that a scale is long on a map where signs have room for their full width
_FINEST = 0.42
_LEAST_DETAIL = 8.0  # pixels that a scale is long on the coarsest map with small lines
_SMALL_LINES = ("spurs", "re_entrants", "breaks_of_slope")
_CONTOUR_STRENGTH = 0.7
_CROWDED_GAP = 22.0  # pixels between marks if signs were of no width at all
_BREAKS = {"convex_edge": signs.CONVEX_EDGE, "concave_foot": signs.CONCAVE_FOOT}
_BREAK_WORDS = {"convex_edge": "edge: steeper below", "concave_foot": "foot: gentler below"}
_TOP_WORDS = {"knoll": "knoll: a lesser top", "summit": "summit"}  # summits over knolls
_COUNTED = {
    "tops": ("top", "tops"),
    "saddles": ("saddle", "saddles"),
    "spurs": ("spur", "spurs"),
    "re_entrants": ("re-entrant", "re-entrants"),
    "hollows": ("hollow", "hollows"),
}


def draw_landforms(
    surface: Surface, frames: Frames, folder: Path, printing: Printing = AS_DRAWN
) -> list[Path]:
    """A map of the landforms at each scale, ``landforms_<scale>m.png``, A4 upright at 150 dots an inch.

    Tops and saddles stand on the maps of every scale up to the largest at which they show.

    Parameters
    ----------
    surface : the terrain that was read
    frames : layers of landforms by name, in the terrain's CRS or another; absent ones are left out
    folder : made if need be

    Returns
    -------
    the files, smallest scale first; none where there are no landforms

    Raises
    ------
    OutputError : the folder or a picture cannot be written
    """
    folder = made_folder(Path(folder))
    here = {
        layer: frame if frame.crs is None else carried(frame, surface.grid.crs, middle_of(surface.grid))
        for layer, frame in frames.items()
        if len(frame)
    }
    scales_m = sorted({float(scale) for frame in here.values() for scale in frame["scale_m"]})
    return [
        save_page(
            landform_page(surface, at_scale(here, scale_m), scale_m),
            printing.named(folder, f"landforms_{scale_m:g}m"),
            printing=printing,
        )
        for scale_m in scales_m
    ]


def at_scale(frames: Frames, scale_m: float) -> dict[str, geopandas.GeoDataFrame]:
    """The rows that belong on the map of a scale, of those layers that have any."""
    shown = {}
    for layer, frame in frames.items():
        several = layer in ("tops", "saddles")
        rows = frame[frame["scale_m"] >= scale_m if several else frame["scale_m"] == scale_m]
        if len(rows):
            shown[layer] = rows.reset_index(drop=True)
    return shown


def landform_page(surface: Surface, frames: Frames, scale_m: float) -> Page:
    """The page of one scale; ``frames`` hold its rows alone, in the surface's CRS."""
    page = Page(A4_SHORT, A4_LONG)
    chart = _lay(page, surface.grid)
    place = chart.place
    draw_title(page, _LEFT, f"Landforms at a scale of {length_words(scale_m)}")
    page.text(_LEFT, page.height - 68, _terrain_words(surface), 8)
    page.text(_LEFT, page.height - 90, _counts(frames), 8)

    terrain = relief.raised(surface, chart.limits, chart.pixel_m)
    picture, entries = _ground(chart, surface, terrain, frames)
    page.image(picture, round(place.left), round(place.bottom))
    interval_m = None if terrain is None else draw_contours(chart, terrain, strength=_CONTOUR_STRENGTH)
    fine = float(np.clip(scale_m / chart.pixel_m / _USUAL_SCALE, _FINEST, 1.0))
    drawn, too_fine = _without_detail(frames, scale_m / chart.pixel_m)
    line_entries, too_short = _draw_lines(chart, drawn, fine)
    step_m = draw_grid(chart)
    placer = Placer(Box(place.left + 3, place.bottom + 3, place.right - 3, place.top - 3))
    marked, crowded = _uncrowded(chart, frames, fine)
    mark_entries = _draw_marks(chart, marked, placer, fine)
    lines = {layer: rows for layer, rows in drawn.items() if layer not in ("tops", "saddles")}
    points = {layer: rows for layer, rows in marked.items() if layer in ("tops", "saddles")}
    unnamed = label_landforms(chart, {**points, **lines}, placer, fine)
    if terrain is not None and interval_m is not None:
        label_contours(chart, terrain, interval_m, placer)
        entries.append(course_entry("contour", signs.INDEX_CONTOUR))

    below = place.bottom - 56
    # The bar is as long as a map as wide as the page would have it, so that its figures find room.
    ruler = Box(0, 0, (_RIGHT - _LEFT) * chart.pixel_m, chart.limits.height)
    wide = replace(chart, place=Box(_LEFT, place.bottom, _RIGHT, place.top), limits=ruler)
    bar_end = draw_scale_bar(wide, _LEFT, below)
    draw_north(chart, bar_end + 90, below - 22)
    words = [f"grid lines {length_words(step_m)} apart"]
    if interval_m is not None:
        words.append(f"contours every {interval_m:g} m, every fifth one thicker")
    left_out = [
        f"{count:,} {texts[count != 1]}"
        for count, texts in (
            (too_fine + too_short, ("line", "lines")),
            (crowded, ("top or saddle", "tops and saddles")),
            (unnamed, ("name or height", "names or heights")),
        )
        if count
    ]
    if left_out:
        words.append(f"left off for lack of space: {', '.join(left_out)}")
    last = page.paragraph(bar_end + 210, below + 24, _RIGHT - bar_end - 210, " · ".join(words), 7.5)
    top = min(last, below - 30) - 12
    top = draw_legend(page, [*mark_entries, *line_entries, *entries], Box(_LEFT, top, 1240, top), 3)
    top = page.paragraph(_LEFT, top - 10, _RIGHT - _LEFT, _north(surface.grid), 8)
    top = page.paragraph(
        _LEFT, top - 4, _RIGHT - _LEFT, _provenance(surface, scale_m), 7.2, colour=palette.QUIET
    )
    page.paragraph(_LEFT, top - 4, _RIGHT - _LEFT, CAUTION, 7.2, colour=palette.QUIET)
    return page


def _lay(page: Page, grid: Grid) -> Map:
    """A map of the whole terrain, as large as the page allows."""
    west, south, east, north = grid.cell_edges_m
    pixel_m = max((east - west) / (_RIGHT - _LEFT), (north - south) / _MOST_HEIGHT)
    width = max(round((east - west) / pixel_m), _LEAST_SIDE)
    height = max(round((north - south) / pixel_m), _LEAST_SIDE)
    left = _LEFT + (_RIGHT - _LEFT - width) // 2
    place = Box(left, _TOP - height, left + width, _TOP)
    x, y = (west + east) / 2, (south + north) / 2
    limits = Box(
        x - width * pixel_m / 2, y - height * pixel_m / 2, x + width * pixel_m / 2, y + height * pixel_m / 2
    )
    return Map(page, page.frame(place, limits), place, limits)


def _ground(
    chart: Map, surface: Surface, terrain: relief.Raised | None, frames: Frames
) -> tuple[Bytes, list[Entry]]:
    """The shaded ground with what lies on it as areas, and its part of the legend."""
    rows, columns = round(chart.place.height), round(chart.place.width)
    picture = np.ones((rows, columns, 3)) * to_rgb(palette.PAPER)
    entries: list[Entry] = []

    def pixels(frame: geopandas.GeoDataFrame) -> Flags:
        return relief.burnt(frame.geometry, chart.limits, rows, columns)

    steep = frames.get("steep_ground")
    if steep is not None:
        tints = marks.steep_colours(sorted(set(steep["slope_from_deg"])))
        for start_deg, colour in tints.items():
            band = steep[steep["slope_from_deg"] == start_deg]
            sign = signs.Area(colour, signs.STEEP_STRENGTH, "steep ground")
            paint(picture, pixels(band), sign)
            end_deg = band["slope_to_deg"].iloc[0]
            text = (
                f"{start_deg:g}° to {end_deg:g}°"
                if np.isfinite(end_deg or np.nan)
                else f"{start_deg:g}° or more"
            )
            entries.append(ground_entry(f"steep ground: {text}", sign))
    level = frames.get("level_ground")
    if level is not None:
        for kind, sign in signs.LEVEL_GROUND.items():
            if (level["kind"] == kind).any():
                paint(picture, pixels(level[level["kind"] == kind]), sign)
                entries.append(ground_entry(sign.words, sign))
    hollows = frames.get("hollows")
    if hollows is not None:
        paint(picture, pixels(hollows), signs.HOLLOW)
        entries.append(ground_entry(signs.HOLLOW.words, signs.HOLLOW))
    nothing = np.full((rows, columns), np.nan)
    shade = nothing if terrain is None else relief.shade_at_pixels(terrain, chart.limits, rows, columns)
    bare = _without_heights(chart, surface, rows, columns)
    picture[bare] = to_rgb(palette.PAPER)
    paint(picture, bare, signs.UNKNOWN_GROUND)
    if bare.any():
        entries.append(ground_entry("void or off the terrain", signs.UNKNOWN_GROUND))
    return relief.shaded(picture, shade, np.zeros(bare.shape, bool)), entries


def _without_heights(chart: Map, surface: Surface, rows: int, columns: int) -> Flags:
    """Pixels whose nearest post has no height, or lies nowhere."""
    limits, grid = chart.limits, surface.grid
    x = limits.left + (np.arange(columns) + 0.5) / columns * limits.width
    y = limits.top - (np.arange(rows) + 0.5) / rows * limits.height
    row, column = (np.floor(place + 0.5).astype(int) for place in grid.to_array(x, y))
    inside = ((row >= 0) & (row < grid.rows))[:, None] & ((column >= 0) & (column < grid.columns))
    heights = surface.height_m[np.ix_(row.clip(0, grid.rows - 1), column.clip(0, grid.columns - 1))]
    return np.asarray(~inside | np.isnan(heights))


def _draw_lines(chart: Map, frames: Frames, fine: float) -> tuple[list[Entry], int]:
    """All lines, the more telling ones on top; their part of the legend, and how many were too short."""
    entries: dict[str, Entry] = {}
    asked = drawn = 0
    for layer, outline in (
        ("level_ground", signs.LEVEL_EDGE),
        ("hollows", signs.HOLLOW_EDGE),
    ):
        if layer in frames:
            rings = frames[layer].geometry.boundary.explode()
            marks.draw_lines(chart, marks.paths_of(chart, rings), outline, fine=max(fine, 0.7), zorder=2.2)
    for layer, sign, zorder in (("valley_lines", signs.VALLEY_LINE, 2.4), ("ridges", signs.RIDGE, 3.0)):
        if layer in frames:
            orders = [int(order) for order in frames[layer]["order"]]
            widths = [marks.order_width(layer, order) for order in orders]
            paths = marks.paths_of(chart, frames[layer].geometry)
            asked += len(paths)
            drawn += marks.draw_lines(chart, paths, sign, widths=widths, fine=fine, zorder=zorder)
            text = {"valley_lines": "valley line", "ridges": "ridge"}[layer]
            steps = sorted(set(widths))
            text += ", by order" if len(steps) > 1 else ""
            entries[layer] = marks.course_entry(text, sign, widths=steps)
    for layer, sign, text, zorder in (
        ("re_entrants", signs.RE_ENTRANT, "re-entrant", 2.7),
        ("spurs", signs.SPUR, "spur, its nose a bead", 3.4),
    ):
        if layer in frames:
            paths = marks.paths_of(chart, frames[layer].geometry)
            asked += len(paths)
            drawn += marks.draw_lines(chart, paths, sign, fine=max(fine, 0.6), zorder=zorder)
            entries[layer] = marks.course_entry(text, sign)
    breaks = frames.get("breaks_of_slope")
    if breaks is not None:
        for kind, sign in _BREAKS.items():
            paths = marks.paths_of(chart, breaks.geometry[breaks["kind"] == kind])
            asked += len(paths)
            if paths:
                drawn += marks.draw_lines(chart, paths, sign, fine=max(fine, 0.6), zorder=3.8)
                entries[kind] = marks.course_entry(_BREAK_WORDS[kind], sign)
    order = ("ridges", "spurs", "valley_lines", "re_entrants", *_BREAKS)
    return [entries[name] for name in order if name in entries], asked - drawn


def _without_detail(frames: Frames, scale_px: float) -> tuple[dict[str, geopandas.GeoDataFrame], int]:
    """The frames for a map on which a scale is so many pixels; and how many lines are not for it.

    Where a scale is but a few pixels, small lines would run together: larger ridges and valleys remain.
    """
    if scale_px >= _LEAST_DETAIL:
        return dict(frames), 0
    kept = {layer: rows for layer, rows in frames.items() if layer not in _SMALL_LINES}
    left_out = sum(len(frames[layer]) for layer in _SMALL_LINES if layer in frames)
    for layer in ("ridges", "valley_lines"):
        if layer in frames:
            large = frames[layer]["order"] > 1
            left_out += int((~large).sum())
            kept[layer] = frames[layer][large]
            if not large.any():
                del kept[layer]
    return kept, left_out


def _draw_marks(chart: Map, frames: Frames, placer: Placer, fine: float) -> list[Entry]:
    """Saddles and tops, with their part of the legend; labels are to keep off them."""
    share = marks.mark_share(fine)
    if "saddles" in frames:
        for point in frames["saddles"].geometry:
            placer.taken.append(
                marks.draw_point(chart.page, *chart.to_page(point.x, point.y), "saddle", share)
            )
    entries: list[Entry] = []
    for kind, words in _TOP_WORDS.items():
        if "tops" in frames and (frames["tops"]["kind"] == kind).any():
            for point in frames["tops"].geometry[frames["tops"]["kind"] == kind]:
                placer.taken.append(
                    marks.draw_point(chart.page, *chart.to_page(point.x, point.y), kind, share)
                )
            entries.insert(0, marks.point_entry(kind, words))
    return [*entries, marks.point_entry("saddle", "saddle")] if "saddles" in frames else entries


def _uncrowded(chart: Map, frames: Frames, fine: float) -> tuple[dict[str, geopandas.GeoDataFrame], int]:
    """The frames without tops and saddles too close to greater ones to draw; and how many those are."""
    apart = _CROWDED_GAP * (1 - fine)
    taken: list[Box] = []
    kept = dict(frames)
    left_out = 0
    for layer, order in (("tops", marks.by_rank), ("saddles", marks.by_climb)):
        if layer not in frames or not apart:
            continue
        rows = order(frames[layer])
        stays = []
        for point in rows.geometry:
            x, y = chart.to_page(point.x, point.y)
            box = Box(x - 1, y - 1, x + 1, y + 1)
            stays.append(not any(box.overlaps(other, apart) for other in taken))
            if stays[-1]:
                taken.append(box)
        kept[layer] = rows[stays]
        left_out += stays.count(False)
    return kept, left_out


def _terrain_words(surface: Surface) -> str:
    west, south, east, north = surface.grid.cell_edges_m
    words = f"E {west:,.0f} to {east:,.0f}   N {south:,.0f} to {north:,.0f}"
    known = surface.height_m[np.isfinite(surface.height_m)]
    if known.size:
        words += f"   heights {known.min():.0f} to {known.max():.0f} m".replace("-", "−")
    return words


def _counts(frames: Frames) -> str:
    parts = [
        f"{len(frames[layer])} {words[len(frames[layer]) != 1]}"
        for layer, words in _COUNTED.items()
        if layer in frames
    ]
    return ", ".join(parts)


def _north(grid: Grid) -> str:
    x, y = (grid.west_m + grid.east_m) / 2, (grid.south_m + grid.north_m) / 2
    words = north_words({"convergence_deg": float(Geodesy(grid.crs).convergence_deg(x, y))})
    return words.partition(" Magnetic")[0]


def _provenance(surface: Surface, scale_m: float) -> str:
    grid = surface.grid
    spacing = " by ".join(
        f"{s:g}" for s in dict.fromkeys((round(grid.spacing_x_m, 2), round(grid.spacing_y_m, 2)))
    )
    return (
        f"Read from a terrain model with posts {spacing} m apart, smoothed for landforms about "
        f"{length_words(scale_m)} across; tops and saddles of this scale and of larger ones. "
        "Drawn by hillsight."
    )
