"""Ground as a light wash under the linework: relief, dead ground, what is unknown, areas of landforms."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.layers.contents import sampled
from hillsight.sheets.paper import palette, relief, signs
from hillsight.sheets.paper.drawn_signs import texture_at
from hillsight.sheets.paper.maps import Entry
from hillsight.sheets.paper.palette import INK
from hillsight.sheets.paper.relief import as_bytes, mixed
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Iterable

    import geopandas

    from hillsight.ground.grid import Surface
    from hillsight.layers.contents import Raster
    from hillsight.sheets.map.frame import MapFrame
    from hillsight.sheets.paper.labels import Box
    from hillsight.sheets.paper.maps import Map
    from hillsight.sheets.paper.page import Page

WHITE = "#FFFFFF"
# How much of a colour is laid on: contours, names and relief are read through it, in grey too.
_STRENGTH = {
    **{state: sign.strength for state, sign in signs.GROUND_STATES.items()},
    "unknown": 0.0,  # its hatching tells it
}
_COLOURS = {
    "hidden": palette.HIDDEN,
    "uncertain": palette.UNCERTAIN,
    "visible": palette.VISIBLE,
    "unknown": palette.UNKNOWN,
}
_WORDS = {
    "hidden": "dead ground",
    "uncertain": "may be dead ground",
    "visible": "ground in view",
    "unknown": "unknown: void or off the terrain",
}
_UNKNOWN_HATCH = signs.Hatch(INK, 45.0, 4.4, 0.7)
_HATCH_MM = 2.2  # between the lines on unknown ground
_SHADE = 0.30  # of the ink that the darkest slope takes
_EDGE_WIDTH = 0.35  # points


def draw_relief(frame: MapFrame, surface: Surface) -> bool:
    """The hillshade as a picture of greys, light enough to write on; whether there is ground to shade."""
    terrain = relief.raised(surface, frame.limits, frame.pixel_m)
    if terrain is None:
        return False
    rows, columns = round(frame.place.height), round(frame.place.width)
    shade = relief.shade_at_pixels(terrain, frame.limits, rows, columns)
    level = np.where(np.isfinite(shade), np.clip((shade - 0.2) / 0.55, 0.0, 1.0), 1.0)
    grey = 1.0 - _SHADE * (1.0 - level)
    _picture(frame.layer("hillshade"), as_bytes(np.repeat(grey[..., None], 3, axis=2)))
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
    if state == "unknown":
        _hatch(chart, near)
    else:
        add_areas(
            chart, near, facecolor=_COLOURS[state], alpha=_STRENGTH[state], edgecolor="none", linewidth=0.0
        )
        add_areas(
            chart,
            near,
            facecolor="none",
            edgecolor=mixed(_COLOURS[state], 0.75, WHITE),
            linewidth=_EDGE_WIDTH,
        )
    return True


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
            strength = _STRENGTH[state] or 0.6
            colour = mixed(_COLOURS[state] if state != "unknown" else INK, 1.0, WHITE)
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


def _hatch(chart: Map, shapes: list[Any]) -> None:
    """Slanting lines cut to the shapes: lines, so that a drawing program can take them."""
    from matplotlib.collections import LineCollection

    limits = chart.limits
    window = shapely.box(limits.left, limits.bottom, limits.right, limits.top)
    whole = shapely.union_all([shapely.make_valid(shape) for shape in shapes]).intersection(window)
    from hillsight.sheets.paper.page import PER_MM

    step = _HATCH_MM * PER_MM * chart.pixel_m
    starts = np.arange(limits.left - limits.height, limits.right, step)
    # Counted from the grid's origin, so that the hatching runs on from sheet to sheet.
    starts = starts - np.mod(starts[0] - limits.bottom, step)
    lines = shapely.multilinestrings(
        [[(x, limits.bottom), (x + limits.height, limits.top)] for x in starts]
    ).intersection(whole)
    paths = [shapely.get_coordinates(part) for part in shapely.get_parts(lines) if part.length > 0]
    chart.axes.add_collection(
        LineCollection(paths, colors=palette.LEADER, linewidths=0.4, zorder=1.2), autolim=False
    )


def state_entry(state: str) -> Entry:
    """The legend's line for ground in one state."""
    return wash_entry(_WORDS[state], _COLOURS[state], _STRENGTH[state], hatched=state == "unknown")


def wash_entry(text: str, colour: str, strength: float, *, hatched: bool = False) -> Entry:
    """A patch of a wash, as vectors."""

    def draw(page: Page, box: Box) -> None:
        page.box(
            box,
            facecolor=mixed(colour, strength, WHITE),
            edgecolor=mixed(colour, 0.75, WHITE) if strength else palette.LEADER,
            linewidth=0.5,
        )
        if hatched:
            for x in np.arange(box.left, box.right - 2, 11):
                right = min(x + box.height, box.right)
                page.line(
                    [x, right], [box.bottom, box.bottom + right - x], color=palette.LEADER, linewidth=0.4
                )

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
    if "unknown_ground" in layers:
        found["unknown"] = list(layers["unknown_ground"].geometry)
    return found
