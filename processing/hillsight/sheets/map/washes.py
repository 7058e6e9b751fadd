"""Ground as a light wash under the linework: relief, dead ground, what is unknown, areas of landforms."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.layers.contents import sampled
from hillsight.sheets.map.contour_lines import window_of
from hillsight.sheets.paper import palette, relief, signs
from hillsight.sheets.paper.drawn_signs import PIXELS_PER_POINT, part_style, texture_at
from hillsight.sheets.paper.maps import Entry
from hillsight.sheets.paper.palette import INK
from hillsight.sheets.paper.relief import as_bytes, mixed
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import geopandas

    from hillsight.arrays import Floats
    from hillsight.ground.grid import Surface
    from hillsight.layers.contents import Raster
    from hillsight.sheets.map.frame import MapFrame
    from hillsight.sheets.paper.labels import Box
    from hillsight.sheets.paper.maps import Map
    from hillsight.sheets.paper.page import Page

WHITE = "#FFFFFF"
#: Of the strength that the signs have on pictures: a map's detail is finer.
SHARE = 0.55
_WORDS = {
    "hidden": "dead ground",
    "uncertain": "may be dead ground",
    "visible": "ground in view",
    "unknown": "unknown: void or off the terrain",
}
_UNKNOWN_HATCH = signs.Hatch(INK, 45.0, 4.4, 0.7)
_WIDEST_HATCH = 0.45  # points
_SHADE = 0.24  # of the ink that the darkest slope takes
_EDGE_WIDTH = 0.35  # points
#: Of each wash that a deeper class of dead ground has more.
DEEPER = 0.10


def draw_relief(frame: MapFrame, surface: Surface) -> bool:
    """The hillshade as a picture of greys, light enough to write on; whether there is ground to shade."""
    terrain = relief.raised(surface, frame.limits, frame.pixel_m)
    if terrain is None:
        return False
    rows, columns = round(frame.place.height), round(frame.place.width)
    shade = relief.shade_at_pixels(terrain, frame.limits, rows, columns)
    level = np.where(np.isfinite(shade), np.clip((shade - 0.2) / 0.55, 0.0, 1.0), 1.0)
    grey = 1.0 - _SHADE * (1.0 - level)
    _picture(frame.layer("hillshade"), np.repeat(as_bytes(grey)[..., None], 3, axis=2))
    return True


def _picture(chart: Map, rgb: Any) -> None:
    limits = chart.limits
    chart.axes.imshow(
        rgb,
        extent=(limits.left, limits.right, limits.bottom, limits.top),
        origin="upper",
        interpolation="none",
        aspect="auto",
        zorder=0,
    )


def draw_states(chart: Map, shapes: Iterable[Any], state: str) -> bool:
    """Polygons of ground in one state, in the map's metres; whether any of it is on the map."""
    limits = chart.limits
    window = shapely.box(limits.left, limits.bottom, limits.right, limits.top)
    near = [shape for shape in shapes if shape is not None and shape.intersects(window)]
    if not near:
        return False
    draw_area(chart, near, signs.GROUND_STATES[state])
    return True


def draw_depths(chart: Map, shapes: Sequence[Any], depth: Raster, surface: Surface) -> list[Entry]:
    """Washes over dead ground by how deep it lies, as vectors: the deeper, the more of them; their legend.

    Limits lie where the depth, taken bilinearly between posts of the map's ground, passes them. The
    dead ground's own wash is the first class; each deeper one has a wash more, and is darker in grey too.

    Parameters
    ----------
    shapes : the dead ground, metres on the map's grid
    depth : metres, NaN where nothing is hidden
    surface : whose posts the map is drawn from
    """
    import contourpy

    window = window_of(surface, chart.limits)
    if window is None:
        return []
    grid = window.grid
    east_m, north_m = grid.to_map(*np.mgrid[: grid.rows, : grid.columns].astype(float))
    depth_m = _spread(sampled(depth, east_m, north_m, grid.crs, smooth=True), 2)
    if not (depth_m > 0).any():
        return []
    limits_m = relief.depth_limits_m(depth.array)  # of all of it: the same on all sheets
    words = relief.depth_words(limits_m)
    entries = [_depth_entry(0, words[0])]
    box = shapely.box(chart.limits.left, chart.limits.bottom, chart.limits.right, chart.limits.top)
    whole = shapely.union_all([shapely.make_valid(shape) for shape in shapes]).intersection(box)
    generator = contourpy.contour_generator(
        east_m[0], north_m[::-1, 0], np.nan_to_num(depth_m[::-1]), fill_type=contourpy.FillType.OuterOffset
    )
    for number, least_m in enumerate(limits_m, 1):
        outlines: Any = generator.filled(least_m, np.inf)
        deeper = [
            shapely.Polygon(points[of[0] : of[1]], [points[a:b] for a, b in pairwise(of[1:])])
            for points, of in zip(*outlines, strict=True)
        ]
        here = shapely.union_all([shapely.make_valid(one) for one in deeper]).intersection(whole)
        areas = [part for part in shapely.get_parts(here) if part.geom_type == "Polygon"]
        style = {"facecolor": signs.DEAD_GROUND.fill, "edgecolor": "none", "linewidth": 0.0}
        add_areas(chart, areas, alpha=DEEPER, **style)
        if areas:
            entries.append(_depth_entry(number, words[number]))
    return entries


def _spread(depth_m: Floats, posts: int) -> Floats:
    """Depths carried on to so many posts beside those that have one: edges of layers lie up to one beyond."""
    for _ in range(posts):
        wide = np.pad(depth_m, 1, constant_values=np.nan)
        rows, columns = depth_m.shape
        beside = [wide[r : r + rows, c : c + columns] for r in range(3) for c in range(3)]
        depth_m = np.where(np.isnan(depth_m), np.fmax.reduce(beside), depth_m)
    return depth_m


def _depth_entry(number: int, words: str) -> Entry:
    """The legend's line for a class of depth, from 0: as many washes over the first."""
    strength = 1.0 - (1.0 - SHARE * signs.DEAD_GROUND.strength) * (1.0 - DEEPER) ** number
    return wash_entry(f"{_WORDS['hidden']}, {words}", replace(signs.DEAD_GROUND, strength=strength))


def draw_area(chart: Map, shapes: Sequence[Any], sign: signs.Area) -> None:
    """Polygons in the map's metres by the sign of their kind: wash, edge and texture, as vectors."""
    shapes = list(shapes)
    add_areas(
        chart, shapes, facecolor=sign.fill, alpha=SHARE * sign.strength, edgecolor="none", linewidth=0.0
    )
    if sign.edge is not None:
        add_areas(
            chart,
            shapes,
            facecolor="none",
            edgecolor=mixed(sign.edge.colour, 0.8, WHITE),
            linewidth=_EDGE_WIDTH,
        )
    if isinstance(sign.texture, signs.Hatch):
        _hatch(chart, shapes, sign.texture)
    elif sign.texture is not None:
        _strew(chart, shapes, sign.texture)


def draw_state_raster(frame: MapFrame, raster: Raster, surface: Surface) -> list[str]:
    """The ground's states from a raster of their codes, as a wash; returns the states drawn."""
    rows, columns = round(frame.place.height), round(frame.place.width)
    limits = frame.limits
    x = limits.left + (np.arange(columns) + 0.5) / columns * limits.width
    y = limits.top - (np.arange(rows) + 0.5) / rows * limits.height
    codes = sampled(raster, *np.meshgrid(x, y), surface.grid.crs, smooth=False)
    picture = np.zeros((rows, columns, 4), np.uint8)
    drawn = []
    for state, code in (("hidden", GroundState.HIDDEN), ("uncertain", GroundState.UNCERTAIN),
                        ("unknown", GroundState.UNKNOWN)):  # fmt: skip
        here = codes == code
        if here.any():
            drawn.append(state)
            if state == "unknown":
                here &= texture_at(_UNKNOWN_HATCH, here.shape)
            sign = signs.GROUND_STATES[state]
            strength = 0.6 if state == "unknown" else SHARE * sign.strength
            colour = mixed(INK if state == "unknown" else sign.fill, 1.0, WHITE)
            picture[here] = as_bytes(np.array([*colour, strength]))
    if drawn:
        _picture(frame.layer("viewshed"), picture)
    return drawn


def add_areas(chart: Map, shapes: Iterable[Any], **style: Any) -> None:
    """Polygons with their holes, in the map's metres."""
    from matplotlib.collections import PathCollection

    paths = [path for shape in shapes for path in paths_of_areas(shape)]
    if paths:
        chart.axes.add_collection(
            PathCollection(paths, transform=chart.axes.transData, **{"zorder": 1, **style}), autolim=False
        )


def paths_of_areas(shape: Any) -> list[Any]:
    """A path for each polygon of a shape, holes turned the other way."""
    from matplotlib.path import Path

    found = []
    for part in shapely.get_parts(shapely.get_parts(shape)):
        if part.geom_type == "Polygon" and not part.is_empty:
            polygon = shapely.geometry.polygon.orient(part)
            rings = [shapely.get_coordinates(ring) for ring in (polygon.exterior, *polygon.interiors)]
            codes = np.concatenate([[1, *[2] * (len(ring) - 2), 79] for ring in rings]).astype(np.uint8)
            found.append(Path(np.concatenate(rings), codes))
    return found


def _hatch(chart: Map, shapes: list[Any], hatch: signs.Hatch) -> None:
    """Slanting lines cut to the shapes: lines, so that a drawing program can take them."""
    from matplotlib.collections import LineCollection

    limits = chart.limits
    window = shapely.box(limits.left, limits.bottom, limits.right, limits.top)
    whole = shapely.union_all([shapely.make_valid(shape) for shape in shapes]).intersection(window)
    step = hatch.pitch * PIXELS_PER_POINT * chart.pixel_m * 2**0.5
    tall, slope = limits.height, 1.0 if hatch.angle_deg > 0 else -1.0
    # Counted from the grid's origin, so that the hatching runs on from sheet to sheet.
    first = np.floor((min(limits.left - slope * limits.bottom, limits.left - slope * limits.top)) / step)
    last = np.ceil((max(limits.right - slope * limits.bottom, limits.right - slope * limits.top)) / step)
    starts = np.arange(first, last + 1) * step
    ends = np.array([[limits.bottom, limits.bottom + tall]])
    x = starts[:, None] + slope * ends
    lines = shapely.linestrings(np.stack([x, np.broadcast_to(ends, x.shape)], axis=-1))
    cut = shapely.get_parts(shapely.intersection(lines, whole))
    paths = [shapely.get_coordinates(part) for part in cut if part.length > 0]
    chart.axes.add_collection(
        LineCollection(
            paths,
            colors=hatch.colour,
            alpha=hatch.strength,
            linewidths=min(hatch.width, _WIDEST_HATCH),
            zorder=1.2,
        ),
        autolim=False,
    )


def _strew(chart: Map, shapes: list[Any], strewn: signs.Strewn) -> None:
    """Small marks in staggered rows over the shapes, counted from the grid's origin."""
    limits = chart.limits
    step = strewn.pitch * PIXELS_PER_POINT * chart.pixel_m
    rows = np.arange(np.floor(limits.bottom / step), np.ceil(limits.top / step))
    columns = np.arange(np.floor(limits.left / step), np.ceil(limits.right / step))
    x, y = np.meshgrid(columns * step, rows * step)
    x = x + (rows % 2)[:, None] * step / 2
    whole = shapely.union_all([shapely.make_valid(shape) for shape in shapes])
    shapely.prepare(whole)
    inside = shapely.contains_xy(whole, x.ravel(), y.ravel())
    chart.axes.plot(
        x.ravel()[inside], y.ravel()[inside], zorder=1.2, scalex=False, scaley=False, **_strewn_style(strewn)
    )


def _strewn_style(strewn: signs.Strewn) -> dict[str, Any]:
    if strewn.shape in signs.OPEN_SHAPES:
        return part_style(signs.Part(strewn.shape, strewn.size, "", strewn.colour, 0.6))
    return part_style(signs.Part(strewn.shape, strewn.size, strewn.colour))


def state_entry(state: str) -> Entry:
    """The legend's line for ground in one state."""
    return wash_entry(_WORDS[state], replace(signs.GROUND_STATES[state], words=_WORDS[state]), SHARE)


def bare_entry() -> Entry:
    """The legend's line for ground that no wash lies on, where hidden ground has one."""

    def draw(page: Page, box: Box) -> None:
        page.box(box, facecolor=WHITE, edgecolor=mixed(palette.LEADER, 0.8, WHITE), linewidth=0.5)

    return Entry("in view, or beyond the reach", draw)


def wash_entry(text: str, sign: signs.Area, share: float = 1.0) -> Entry:
    """A patch of a wash as vectors, ``share`` of the sign's strength."""

    def draw(page: Page, box: Box) -> None:
        edge = palette.LEADER if sign.edge is None else sign.edge.colour
        page.box(
            box,
            facecolor=mixed(sign.fill, share * sign.strength, WHITE),
            edgecolor=mixed(edge, 0.8, WHITE),
            linewidth=0.5,
        )
        texture = sign.texture
        if isinstance(texture, signs.Hatch):
            colour = mixed(texture.colour, texture.strength, WHITE)
            for x in np.arange(box.left, box.right - 2, texture.pitch * PIXELS_PER_POINT * 2**0.5):
                right = min(x + box.height, box.right)
                rise = [box.bottom, box.bottom + right - x]
                if texture.angle_deg < 0:
                    rise = [box.top, box.top - (right - x)]
                page.line([x, right], rise, color=colour, linewidth=min(texture.width, _WIDEST_HATCH))
        elif texture is not None:
            for x in np.arange(box.left + 5, box.right - 2, texture.pitch * PIXELS_PER_POINT):
                page.line([x], [(box.bottom + box.top) / 2], **_strewn_style(texture))

    return Entry(text, draw)


def dead_ground_of(layers: dict[str, geopandas.GeoDataFrame]) -> dict[str, list[Any]]:
    """Shapes of ground by state, from whichever layers tell of it."""
    found: dict[str, list[Any]] = {}
    pockets = layers.get("dead_ground", layers.get("dead_ground_by_crest"))
    if pockets is not None:
        states = pockets["state"] if "state" in pockets else ["hidden"] * len(pockets)
        for shape, state in zip(pockets.geometry, states, strict=True):
            kind = "uncertain" if state == "uncertain" else "hidden"
            found.setdefault(kind, []).append(shape)
    elif "visible_ground" in layers:
        found["visible"] = list(layers["visible_ground"].geometry)
    for state in ("uncertain", "unknown"):
        if f"{state}_ground" in layers:
            found.setdefault(state, []).extend(layers[f"{state}_ground"].geometry)
    return found
