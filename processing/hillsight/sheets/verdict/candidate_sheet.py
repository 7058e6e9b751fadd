"""The map of one candidate: what the picture would hold from there, and where the arguments lie."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.layers.package import raster_table
from hillsight.layers.verdict_frames import wedge
from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.contours import draw_contours, label_contours
from hillsight.sheets.paper.labels import Box, Placer
from hillsight.sheets.paper.maps import (
    Entry,
    Map,
    course_entry,
    draw_grid,
    draw_legend,
    draw_north,
    draw_posts,
    draw_scale_bar,
    draw_station,
    ground_entry,
    mark_entry,
    north_words,
    sign_entry,
    station_entry,
)
from hillsight.sheets.paper.margins import CAUTION, draw_title
from hillsight.sheets.paper.marks import (
    Sign,
    draw_features,
    feature_entries,
    label_features,
    left_off_words,
    mark_boxes,
    name_of,
)
from hillsight.sheets.paper.page import A4_LONG, A4_SHORT, DOTS_PER_INCH, Page
from hillsight.sheets.verdict import candidate_map as on_map
from hillsight.sheets.verdict.verdict_text import chance_words, direction_words, fits_words
from hillsight.words.quantities import length_words

if TYPE_CHECKING:
    import geopandas

    from hillsight.ground.grid import Grid, Surface
    from hillsight.plan.verdict import Verdict, Weighed

_MAP_RIGHT, _TOP = 856, A4_LONG - 134  # of the map, pixels
_LEAST_HEIGHT, _MOST_HEIGHT = 900, 1320
_UNDER_MAP = 108  # pixels for the scale bar
_CLOSE = Box(892, _TOP - 308, 1200, _TOP)  # of the ground close by
_LEFT, _RIGHT, _INDENT = 100, 1200, 42
_LOWEST = 36  # pixels that stay free below the last line
_LEAST_RADIUS_M = 500.0
_ROOM = 1.18  # a map in what it must hold
_ALONE_M = 3_000.0  # how far the map goes where no fact lies anywhere
_OTHERS_WITHIN_M = 1_500.0  # other candidates so near are on the map in any case
_CLOSE_M, _CLOSE_STEP_M, _MOST_CLOSE_M = 250.0, 25.0, 600.0
_LEAST_POSTS = 5.0  # from the middle of a map to its edge: fewer do not make a picture of the ground
_SIZES = (8.0, 7.5, 7.0, 6.5, 6.0, 5.5)  # of letters below the map, the largest that fit
_SMALL = 7.2
_CONTOUR_STRENGTH = 0.8


def draw_candidate(
    verdict: Verdict,
    station: str,
    surface: Surface,
    things_frame: geopandas.GeoDataFrame,
    convergence_deg: float,
    reach_m: float,
) -> Page:
    """The page of one candidate, A4 upright at 150 dots an inch.

    Parameters
    ----------
    station : the candidate's label
    surface : the terrain about it
    things_frame : map features and landforms in the surface's CRS: name, kind, evidence_class, geometry
    convergence_deg : true bearing of grid north at the candidate
    reach_m : the map goes no farther from the candidate, but 500 m at least

    Raises
    ------
    KeyError : no such candidate (a fault of the program)
    """
    index = {one.station: k for k, one in enumerate(verdict.candidates)}[station]
    here = verdict.candidates[index]
    shown = on_map.chosen(verdict, index, convergence_deg)
    page = Page(A4_SHORT, A4_LONG)
    _head(page, verdict, here)
    told = _Foot(page, shown, convergence_deg)
    bottom = told.height + _UNDER_MAP + _LOWEST
    place = Box(_LEFT, min(max(bottom, _TOP - _MOST_HEIGHT), _TOP - _LEAST_HEIGHT), _MAP_RIGHT, _TOP)
    chart = _lay(page, place, verdict, here, shown, reach_m, surface.grid)
    view = wedge(here, verdict.sighting.picture.width_deg, max(reach_m, _LEAST_RADIUS_M), convergence_deg)
    named = _named(chart, things_frame)

    terrain, bare = on_map.draw_ground(chart, surface, view)
    interval_m = None if terrain is None else draw_contours(chart, terrain, strength=_CONTOUR_STRENGTH)
    drawn = draw_features(chart, named) if len(named) else []
    posts = draw_posts(chart, surface.grid)
    step_m = draw_grid(chart)
    placer = Placer(Box(place.left + 3, place.bottom + 3, place.right - 3, place.top - 3))
    x, y = chart.to_page(here.easting_m, here.northing_m)
    placer.taken.append(draw_station(page, x, y))
    others = on_map.draw_others(chart, verdict, here, placer)
    if len(named):
        placer.taken.extend(Box(x - 5, y - 5, x + 5, y + 5) for x, y in mark_boxes(chart, named))
    near = _close_by(chart, here, shown)
    far = [one for one in shown if one not in near]
    marks = on_map.draw_facts(chart, here, far, placer, convergence_deg)
    behind_deg = here.looks_true_deg - convergence_deg + 180.0
    on_map.label(chart, here.station, x, y, placer, 9, 21, behind_deg)
    for other, at in others:
        on_map.label(chart, other.station, *at, placer, 7.5, 11)
    others_named = named[~on_map.label_argued(chart, named, marks, placer)]
    unnamed = label_features(chart, others_named, placer) if len(others_named) else 0
    on_map.draw_numbers(chart, marks, placer)
    if terrain is not None and interval_m is not None:
        label_contours(chart, terrain, interval_m, placer)
    close_words = _draw_close(page, verdict, here, near, surface, view, convergence_deg)

    bar_end = draw_scale_bar(chart, place.left, place.bottom - 54)
    draw_north(chart, bar_end + 80, place.bottom - 76)
    words = [f"grid lines {length_words(step_m)} apart"]
    if interval_m is not None:
        words.append(f"contours every {interval_m:g} m, every fifth one thicker")
    if posts:
        words.append(posts)
    if any(mark.is_beyond for mark in marks):
        words.append("numbers at the map's edge are of places beyond it")
    if unnamed:
        words.append(left_off_words(unnamed))
    page.paragraph(bar_end + 200, place.bottom - 32, _RIGHT - bar_end - 200, " · ".join(words), 7.5)
    entries = _legend(shown, drawn, bool(others), bare, interval_m)
    top = _CLOSE.bottom - 16
    top = page.paragraph(_CLOSE.left, top, _CLOSE.width, close_words, 7.5) - 14
    draw_legend(page, entries, Box(_CLOSE.left, top, _CLOSE.right, top), 1, size=7.5)
    told.draw(place.bottom - _UNDER_MAP)
    return page


def picture_name(station: str, taken: set[str]) -> str:
    """Stem of the file name of a candidate's map; ``taken`` holds the names in use and grows."""
    return raster_table("candidate", station, taken)


def _lay(
    page: Page,
    place: Box,
    verdict: Verdict,
    here: Weighed,
    shown: list[on_map.Shown],
    reach_m: float,
    grid: Grid,
) -> Map:
    """A map that holds the candidate and what is argued about, as large as the page allows."""
    most_m = max(reach_m, _LEAST_RADIUS_M)
    points = [at for one in shown for at in one.places]
    for one in shown:
        if one.rim is not None:
            points += [(float(x), float(y)) for x, y in shapely.get_coordinates(one.rim)]
    if points:
        away = np.array(points) - (here.easting_m, here.northing_m)
    else:
        turn = np.radians(here.looks_true_deg)
        away = min(_ALONE_M, most_m) * np.array([[np.sin(turn), np.cos(turn)]])
    far_m = np.hypot(*away.T)
    away = away * np.minimum(1.0, most_m / np.maximum(far_m, 1e-9))[:, None]
    farthest_m = float(np.hypot(*away.T).max())
    others = np.array(
        [(o.easting_m - here.easting_m, o.northing_m - here.northing_m) for o in verdict.candidates]
    )
    away = np.vstack((away, others[np.hypot(*others.T) <= min(most_m, max(farthest_m, _OTHERS_WITHIN_M))]))
    about_m = max(farthest_m * 0.2, _LEAST_RADIUS_M / 2)
    low = np.minimum(away.min(axis=0), -about_m)
    high = np.maximum(away.max(axis=0), about_m)
    size = np.array([place.width, place.height])
    least_m = max(_LEAST_RADIUS_M, _least_m(grid))
    pixel_m = max(float(((high - low) * _ROOM / size).max()), 2 * least_m / place.width)
    half = size / 2 * pixel_m
    middle = (low + high) / 2 + (here.easting_m, here.northing_m)
    # Moved off what has no terrain, as far as all stays on the map.
    slack = np.maximum(half - (high - low) / 2 * (1 + _ROOM) / 2, 0.0)
    edges = np.array(grid.cell_edges_m)
    least = edges[:2] + half
    inward = np.clip(middle, least, np.maximum(edges[2:] - half, least))
    middle = np.clip(inward, middle - slack, middle + slack)
    limits = Box(*(middle - half), *(middle + half))
    return Map(page, page.frame(place, limits), place, limits)


def _named(chart: Map, things: geopandas.GeoDataFrame) -> geopandas.GeoDataFrame:
    """Things with a name, without points whose mark would stand on the map's frame."""
    has_name = np.array([isinstance(name, str) and bool(name.strip()) for name in things["name"]], bool)
    edge_m = 8 * chart.pixel_m
    limits = chart.limits
    window = shapely.box(
        limits.left + edge_m, limits.bottom + edge_m, limits.right - edge_m, limits.top - edge_m
    )
    is_long = shapely.get_dimensions(things.geometry.to_numpy()) > 0
    return things[has_name & (is_long | things.geometry.intersects(window).to_numpy())]


def _close_by(chart: Map, here: Weighed, shown: list[on_map.Shown]) -> list[on_map.Shown]:
    """What is too near the candidate to be told apart on the map, and fits the one of the ground close by."""
    most_m = min(60 * chart.pixel_m, _MOST_CLOSE_M)
    return [one for one in shown if 0 < one.farthest_m(here) <= most_m]


def _draw_close(
    page: Page,
    verdict: Verdict,
    here: Weighed,
    near: list[on_map.Shown],
    surface: Surface,
    view: shapely.Polygon,
    convergence_deg: float,
) -> str:
    """The small map of the ground close by; returns words about it."""
    farthest_m = max((one.farthest_m(here) for one in near), default=0.0)
    half_m = _CLOSE_STEP_M * max(np.ceil(farthest_m * 1.2 / _CLOSE_STEP_M), 2) if farthest_m else _CLOSE_M
    half_m = max(half_m, float(np.ceil(_least_m(surface.grid) / _CLOSE_STEP_M)) * _CLOSE_STEP_M)
    limits = Box(
        here.easting_m - half_m, here.northing_m - half_m, here.easting_m + half_m, here.northing_m + half_m
    )
    chart = Map(page, page.frame(_CLOSE, limits), _CLOSE, limits)
    terrain, _ = on_map.draw_ground(chart, surface, view)
    interval_m = None if terrain is None else draw_contours(chart, terrain, strength=_CONTOUR_STRENGTH)
    posts = draw_posts(chart, surface.grid)
    page.box(_CLOSE, linewidth=1.1, zorder=4)
    placer = Placer(Box(_CLOSE.left + 3, _CLOSE.bottom + 3, _CLOSE.right - 3, _CLOSE.top - 3))
    x, y = chart.to_page(here.easting_m, here.northing_m)
    placer.taken.append(draw_station(page, x, y))
    for other, at in on_map.draw_others(chart, verdict, here, placer):
        on_map.label(chart, other.station, *at, placer, 7.5, 11)
    on_map.draw_numbers(chart, on_map.draw_facts(chart, here, near, placer, convergence_deg), placer)
    if terrain is not None and interval_m is not None:
        label_contours(chart, terrain, interval_m, placer)
    words = f"The ground close by, {length_words(2 * half_m)} across"
    if interval_m is not None:
        words += f", contours every {interval_m:g} m"
    return f"{words}; {posts}" if posts else words


def _least_m(grid: Grid) -> float:
    """How far a map of the ground must go from its middle at least: no finer than the posts bear out."""
    return _LEAST_POSTS * max(grid.spacing_x_m, grid.spacing_y_m)


def _head(page: Page, verdict: Verdict, here: Weighed) -> None:
    name = name_of(here.station, 40) or "A candidate without a label"
    draw_title(page, _LEFT, f"{name}: {chance_words(here.probability, verdict)}")
    lines = [
        f"E {here.easting_m:,.0f}  N {here.northing_m:,.0f}"
        + f"   ground {here.ground_height_m:.1f} m, eye {here.eye_level_m:.1f} m"
        + f"   {here.rank} of {len(verdict.candidates)} candidates"
        + f"   by ground and water alone {chance_words(here.by_ground, verdict)}",
        f"Best-fit direction of a picture {verdict.sighting.picture.width_deg:g}° wide: "
        + direction_words(here),
        name_of(verdict.headline, 400),
    ]
    for k, line in enumerate(lines):
        page.text(_LEFT, page.height - 68 - 22 * k, _short(page, line, _RIGHT - _LEFT, 8), 8)


def _short(page: Page, text: str, width: float, size: float) -> str:
    """A text cut to one line of a width."""
    lines = page.wrapped(text, width, size)
    if len(lines) < 2:
        return text
    line = lines[0]
    while line and page.size_of(f"{line}…", size)[0] > width:
        line = line[:-1]
    return f"{line}…"


class _Foot:
    """What this candidate would show of each numbered argument, north and the caution, below the map."""

    def __init__(self, page: Page, shown: list[on_map.Shown], convergence_deg: float) -> None:
        self._page, self._shown = page, shown
        turn = north_words({"convergence_deg": convergence_deg})
        self._small = [turn.removesuffix(" Magnetic north was not asked for."), CAUTION]
        if not shown:
            self._small.insert(0, "No statement tells the candidates apart.")
        self._told = []
        for one in shown:
            says, words = name_of(one.argument.says, 300), name_of(one.fact.words, 300)
            fits = fits_words(one.fact)
            fits = fits if fits == "not weighed" else f"this {fits}"
            self._told.append(f"{says[:1].upper()}{says[1:]}. From here {words}: {fits}.")
        most = _TOP - _LEAST_HEIGHT - _UNDER_MAP - _LOWEST
        self._size = next((size for size in _SIZES if self._height(size) <= most), _SIZES[-1])

    @property
    def height(self) -> float:
        """Pixels that it takes."""
        return self._height(self._size)

    def _height(self, size: float) -> float:
        step, small = (letters * DOTS_PER_INCH / 72 * 1.42 for letters in (size, _SMALL))
        width = _RIGHT - _LEFT
        told = sum(max(len(self._page.wrapped(t, width - _INDENT, size)) * step, 28) + 6 for t in self._told)
        return told + sum(len(self._page.wrapped(t, width, _SMALL)) * small + 4 for t in self._small)

    def draw(self, top: float) -> None:
        """Write it, downwards from a height."""
        step = self._size * DOTS_PER_INCH / 72 * 1.42
        for one, text in zip(self._shown, self._told, strict=True):
            on_map.draw_number(self._page, one, _LEFT + 14, top - 14)
            first = top - max(0.0, 14 - step / 2)
            below = self._page.paragraph(_LEFT + _INDENT, first, _RIGHT - _LEFT - _INDENT, text, self._size)
            top = min(below, top - 28) - 6
        for text in self._small:
            top = self._page.paragraph(_LEFT, top - 4, _RIGHT - _LEFT, text, _SMALL, colour=palette.QUIET)


def _legend(
    shown: list[on_map.Shown],
    drawn: list[Sign],
    has_others: bool,
    bare: bool,
    interval_m: float | None,
) -> list[Entry]:
    """Only what is on the maps."""
    entries = [station_entry("this candidate")]
    if has_others:
        entries.append(sign_entry("another candidate", signs.CANDIDATE))
    entries.append(ground_entry("within the picture", signs.VIEW_SECTOR))
    for fits, words in (
        ("fits", "argument that fits here"),
        ("fits in part", "argument that fits in part"),
        ("does not fit", "argument that does not fit"),
        ("not weighed", "argument not weighed here"),
    ):
        if any(fits_words(one.fact) == fits for one in shown):
            entries.append(mark_entry(words, **on_map.number_style(fits)))
    if any(one.places or one.fact.bearing_true_deg is not None for one in shown):
        entries.append(course_entry("sight line of an argument", signs.SIGHT_LINE))
    if any(one.rim is not None for one in shown):
        entries.append(course_entry(on_map.RIM.words, on_map.RIM))
    if bare:
        entries.append(ground_entry("void or off the terrain", signs.UNKNOWN_GROUND))
    if interval_m is not None:
        entries.append(course_entry("contour", signs.INDEX_CONTOUR))
    return entries + feature_entries(drawn)
