"""One map: washes, areas, contours, lines, grid, marks and names, each layer on axes of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.sheets.landforms.landform_marks import steep_colours
from hillsight.sheets.landforms.landform_names import label_landforms
from hillsight.sheets.map import line_signs as lines
from hillsight.sheets.map import point_signs as points
from hillsight.sheets.map import post_signs as posts
from hillsight.sheets.map import washes
from hillsight.sheets.map.contour_lines import chosen_interval_m, window_of
from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.labels import Box, Placer
from hillsight.sheets.paper.marks import draw_features, feature_entries, label_features, mark_boxes, name_of

if TYPE_CHECKING:
    import geopandas

    from hillsight.sheets.map.content import MapContent
    from hillsight.sheets.map.frame import MapFrame
    from hillsight.sheets.paper.maps import Entry, Map

#: What is no layer of a file and can be shown or left out.
PARTS = ("hillshade", "contours", "grid", "features", "places", "names")

_USUAL_LANDFORM_PX, _FINEST = 26.0, 0.55
_AREA_LANDFORMS = ("steep_ground", "level_ground", "hollows")
_LINE_LANDFORMS = ("valley_lines", "ridges", "re_entrants", "spurs", "breaks_of_slope")
_STATES = ("visible_ground", "dead_ground", "dead_ground_by_crest", "uncertain_ground", "unknown_ground")
_SIGHT_LINES = {
    "sight_lines": "line of sight",
    "evidence": "line to what a fact is about",
    "profile_line": "line of a section",
    "camera_marks": "line to a mark of the photograph",
    "relations": "pair of features told of together",
}
_WORDS = {
    "first_ground": "ground first seen beyond a brow",
    "candidate_views": "where the picture looks",
    "candidates": "candidate",
    "possible_places": "possible place",
    "picked_points": "point picked in the picture",
    "picked_ellipses": "how far off a picked point may be",
    "picked_lines": "line picked in the picture",
    "cameras": "camera",
    "skyline_bearings": "skyline on a bearing",
    "profile_points": "point of a section",
    "panorama_points": "point of a drawn view",
    "panorama_lines": "line of a drawn view",
    "panorama_frames": "ground of a drawn view",
    "seen_areas": "part of an area in view",
}
# Grid lines so far apart, m, by the largest scale number that has them: 4 cm on paper, 2 cm from 1:50,000 on.
_GRID_STEPS = ((12_500.0, 500.0), (100_000.0, 1_000.0))


@dataclass
class DrawnMap:
    """What came of drawing a map.

    entries : of the legend, of what is on the map only
    interval_m : of the contours, None without
    grid_m : between the grid lines, None without
    names_left_off : for lack of space
    """

    entries: list[Entry] = field(default_factory=list)
    interval_m: float | None = None
    grid_m: float | None = None
    names_left_off: int = 0


def draw_map(frame: MapFrame, content: MapContent, *, show: Sequence[str] | None = None) -> list[Entry]:
    """Draw a map and return its legend, of what is on it only; :func:`drawn_map` tells more.

    Parameters
    ----------
    show : what to draw of ``PARTS`` and of the layers' names; all of it if None
    """
    return drawn_map(frame, content, show=show).entries


def drawn_map(
    frame: MapFrame,
    content: MapContent,
    *,
    show: Sequence[str] | None = None,
    interval_m: float | None = None,
    grid_m: float | None = None,
    keep_off: Sequence[Box] = (),
) -> DrawnMap:
    """Draw a map.

    Parameters
    ----------
    frame : where it stands
    content : in any CRS; its surface's grid is the map's
    show : what to draw of ``PARTS`` and of the layers' names; all of it if None
    interval_m : of the contours; chosen by the ground shown if None
    grid_m : between grid lines; chosen by the scale if None
    keep_off : where nothing is to be written, pixels
    """
    content = content.here().within(frame.limits)
    page, place = frame.page, frame.place
    drawn = DrawnMap()
    placer = Placer(Box(place.left + 3, place.bottom + 3, place.right - 3, place.top - 3))
    layers = {name: rows for name, rows in content.layers.items() if show is None or name in show}

    def wanted(part: str) -> bool:
        return show is None or part in show

    if wanted("hillshade"):
        washes.draw_relief(frame, content.surface)
    # Below all lines and names, which are read through it.
    looking: list[Entry] = []
    if wanted("places") and any(place.looks_grid_deg is not None for place in content.places):
        looking = points.draw_views(frame.layer("views"), content.places)
    _draw_states(frame, content, layers, drawn)
    scale_m = lines.scale_of_landforms(layers, frame.pixel_m)
    shapes = {name: _at_scale(name, rows, scale_m) for name, rows in layers.items()}
    fine = float(np.clip((scale_m or 0.0) / frame.pixel_m / _USUAL_LANDFORM_PX, _FINEST, 1.0))
    for name in _AREA_LANDFORMS:
        if name in shapes and len(shapes[name]):
            drawn.entries += _draw_area(frame.layer(name), name, shapes[name])
    marks: list[Box] = []
    features = content.features if wanted("features") else None
    if features is not None and not len(features):
        features = None
    if features is not None:
        marks = [Box(x - 5, y - 5, x + 5, y + 5) for x, y in mark_boxes(_chart(frame), features)]
    place_boxes = [_around(frame, spot.easting_m, spot.northing_m, 17) for spot in content.places]
    placer.taken += [*keep_off, *marks, *place_boxes]
    if wanted("contours"):
        _draw_contours(frame, content, interval_m, placer, drawn)
    if wanted("grid"):
        drawn.grid_m = draw_grid_lines(frame.layer("grid"), grid_m or grid_step_m(frame.scale))
    _draw_lines(frame, shapes, features, fine, drawn)
    _draw_points(frame, shapes, placer, fine, drawn)
    names = frame.layer("names")
    if wanted("places"):
        _draw_places(frame, content, placer, place_boxes, drawn)
        drawn.entries += looking
    if wanted("names"):
        _write_names(names, shapes, features, placer, fine, drawn)
    drawn.entries = list({entry.text: entry for entry in reversed(drawn.entries)}.values())[::-1]
    page.box(place, linewidth=0.9, zorder=4)
    return drawn


def grid_step_m(scale: float) -> float:
    """Metres between grid lines: 500 on the largest scales, a kilometre on the others."""
    return next(step for most, step in _GRID_STEPS if scale <= most)


def draw_grid_lines(chart: Map, step_m: float) -> float:
    """The grid's lines as thin lines across the map."""
    limits = chart.limits
    east = np.arange(np.ceil(limits.left / step_m), np.floor(limits.right / step_m) + 1) * step_m
    north = np.arange(np.ceil(limits.bottom / step_m), np.floor(limits.top / step_m) + 1) * step_m
    paths = [np.array([[x, limits.bottom], [x, limits.top]]) for x in east]
    paths += [np.array([[limits.left, y], [limits.right, y]]) for y in north]
    lines.add_lines(chart, paths, color=palette.WATER_NAME, linewidth=0.35, alpha=0.55)
    return step_m


def _chart(frame: MapFrame) -> Map:
    from hillsight.sheets.paper.maps import Map

    return Map(frame.page, frame.page.sheet, frame.place, frame.limits)


def _around(frame: MapFrame, easting_m: float, northing_m: float, half: float) -> Box:
    x, y = _chart(frame).to_page(easting_m, northing_m)
    return Box(x - half, y - half, x + half, y + half)


def _at_scale(name: str, rows: geopandas.GeoDataFrame, scale_m: float | None) -> geopandas.GeoDataFrame:
    """Landforms of the scale that suits the map; tops and saddles of larger ones too."""
    if scale_m is None or "scale_m" not in rows:
        return rows
    scales = sorted(set(rows["scale_m"]))
    if scales:  # a layer that was read at other scales alone is shown at the next of them
        scale_m = next((s for s in scales if s >= scale_m), scales[-1])
    several = name in ("tops", "saddles")
    kept = rows["scale_m"] >= scale_m if several else rows["scale_m"] == scale_m
    return rows[kept].reset_index(drop=True)


def _draw_states(
    frame: MapFrame, content: MapContent, layers: dict[str, geopandas.GeoDataFrame], drawn: DrawnMap
) -> None:
    states, washed = washes.dead_ground_of(layers), list[str]()
    for state, shapes in states.items():
        layer = {"hidden": "dead_ground", "visible": "visible_ground"}.get(state, f"{state}_ground")
        chart = frame.layer(layer)
        if washes.draw_states(chart, shapes, state):
            depth = content.rasters.get("depth")
            entries: list[Entry] = []
            if state == "hidden" and depth is not None:
                entries = washes.draw_depths(chart, shapes, depth, content.surface)
            drawn.entries += entries or [washes.state_entry(state)]
            washed.append(state)
    raster = content.rasters.get("viewshed")
    if not states and raster is not None:
        washed = washes.draw_state_raster(frame, raster, content.surface)
        drawn.entries += [washes.state_entry(state) for state in washed]
    if "hidden" in washed or "uncertain" in washed:
        drawn.entries.append(washes.bare_entry())


def _draw_area(chart: Map, name: str, rows: geopandas.GeoDataFrame) -> list[Entry]:
    """Areas of landforms as a wash with an outline."""
    found: list[tuple[str, signs.Area, Any]] = []
    if name == "steep_ground":
        for band, colour in steep_colours(sorted(set(rows["slope_from_deg"]))).items():
            sign = signs.Area(colour, signs.STEEP_STRENGTH, "steep ground")
            found.append((f"steeper than {band:g}°", sign, rows["slope_from_deg"] == band))
    elif name == "level_ground":
        found = [(sign.words, sign, rows["kind"] == kind) for kind, sign in signs.LEVEL_GROUND.items()]
    else:
        found = [(signs.HOLLOW.words, signs.HOLLOW, rows["landform"].notna())]
    entries = []
    for words, sign, chosen in found:
        if chosen.any():
            washes.draw_area(chart, rows.geometry[chosen], sign)
            entries.append(washes.wash_entry(words, sign, washes.SHARE))
    return entries


def _draw_contours(
    frame: MapFrame, content: MapContent, interval_m: float | None, placer: Placer, drawn: DrawnMap
) -> None:
    if interval_m is None:
        window = window_of(content.surface, frame.limits)
        interval_m = None if window is None else chosen_interval_m(window, frame.scale)
    if interval_m is not None:
        found = lines.draw_contour_layer(frame, content.surface, interval_m, placer)
        if found is not None:
            drawn.interval_m = interval_m
            drawn.entries += found.entries()


def _draw_lines(
    frame: MapFrame,
    shapes: dict[str, geopandas.GeoDataFrame],
    features: geopandas.GeoDataFrame | None,
    fine: float,
    drawn: DrawnMap,
) -> None:
    """Lines, the more telling ones on top."""
    if "seen_lines" in shapes:
        drawn.entries += lines.draw_seen_courses(frame.layer("seen_lines"), shapes["seen_lines"])
    if features is not None:
        chart = frame.layer("features")
        with frame.page.onto(chart.axes):
            drawn.entries += feature_entries(draw_features(chart, features))
    for name in _LINE_LANDFORMS:
        if name in shapes and len(shapes[name]):
            drawn.entries += lines.draw_landform_lines(frame.layer(name), name, shapes[name], fine)
    if "crest_lines" in shapes:
        drawn.entries += lines.draw_crest_layer(frame.layer("crest_lines"), shapes["crest_lines"])
    elif "skyline" in shapes:
        drawn.entries += lines.draw_skyline(frame.layer("skyline"), shapes["skyline"])
    if "profile_stretches" in shapes:
        drawn.entries += lines.draw_stretches(frame.layer("profile_stretches"), shapes["profile_stretches"])
    for name in posts.POST_LINES:
        if name in shapes and len(shapes[name]):
            drawn.entries += posts.draw_post_lines(frame.layer(name), name, shapes[name])
    for name, words in _SIGHT_LINES.items():
        if name in shapes and not (name == "profile_line" and "profile_stretches" in shapes):
            drawn.entries += lines.draw_sight_lines(frame.layer(name), shapes[name], words)


def _draw_points(
    frame: MapFrame,
    shapes: dict[str, geopandas.GeoDataFrame],
    placer: Placer,
    fine: float,
    drawn: DrawnMap,
) -> None:
    """Marks, and what has no sign of its own."""
    if "tops" in shapes and len(shapes["tops"]):
        drawn.entries += points.draw_tops(frame.layer("tops"), shapes["tops"], placer, fine)
    if "saddles" in shapes and len(shapes["saddles"]):
        drawn.entries += points.draw_saddles(frame.layer("saddles"), shapes["saddles"], placer, fine)
    if "bearing_list" in shapes:
        drawn.entries += points.draw_listed(frame.layer("bearing_list"), shapes["bearing_list"], placer)
    if any(name in shapes for name in posts.POST_POINTS):
        entries, left_off = posts.draw_post_points(frame.layer("posts"), shapes, placer)
        drawn.entries = entries + drawn.entries
        drawn.names_left_off += left_off
    known = {
        *_STATES, *_AREA_LANDFORMS, *_LINE_LANDFORMS, *_SIGHT_LINES, "seen_lines", "crest_lines", "skyline",
        "profile_stretches", "tops", "saddles", "bearing_list", "stations",
        *posts.POST_LINES, *posts.POST_POINTS, *posts.LEFT_OUT,
    }  # fmt: skip
    for name, rows in shapes.items():
        if name not in known and len(rows):
            chart = frame.layer(name)
            words = _WORDS.get(name) or name_of(name.replace("_", " "), 40)
            drawn.entries += points.draw_outlines(chart, rows, words)
            drawn.entries += points.draw_dots(chart, rows, words, placer)


def _draw_places(
    frame: MapFrame, content: MapContent, placer: Placer, boxes: list[Box], drawn: DrawnMap
) -> None:
    if not content.places:
        return
    placer.taken = [box for box in placer.taken if box not in boxes]
    entries, left_off = points.draw_places(frame.layer("places"), content.places, placer)
    drawn.entries = entries + drawn.entries
    drawn.names_left_off += left_off


def _write_names(
    chart: Map,
    shapes: dict[str, geopandas.GeoDataFrame],
    features: geopandas.GeoDataFrame | None,
    placer: Placer,
    fine: float,
    drawn: DrawnMap,
) -> None:
    with chart.page.onto(chart.axes):
        landforms = {name: rows for name, rows in shapes.items() if "landform" in rows and len(rows)}
        if features is not None:
            drawn.names_left_off += label_features(chart, features, placer)
        drawn.names_left_off += label_landforms(chart, landforms, placer, fine)


def unknown_letters(content: MapContent, texts: Sequence[str | None] = ()) -> dict[str, str]:
    """Names and texts with letters that the font lacks, and those letters; □ stands for them on the map."""
    from hillsight.sheets.paper.page import known_characters

    known = known_characters()
    found: dict[str, str] = {}
    frames = [*content.layers.values(), *([] if content.features is None else [content.features])]
    names = [name for frame in frames if "name" in frame for name in frame["name"]]
    for name in dict.fromkeys([*texts, *names, *(place.label for place in content.places)]):
        if isinstance(name, str):
            missing = dict.fromkeys(c for c in name if c.isprintable() and ord(c) not in known)
            if missing:
                found[name] = "".join(missing)
    return found
