"""Signs of a candidate's map: the wedge of the picture, sight lines, and numbers of the arguments."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import cos, hypot, sin
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from matplotlib.colors import to_rgb

from hillsight.layers.contents import Raster, sampled
from hillsight.layers.verdict_frames import fact_places
from hillsight.plan.relocation.decision import NONE_FITS
from hillsight.sheets.paper import palette, relief, signs
from hillsight.sheets.paper.drawn_signs import draw_course, draw_mark, paint
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.page import DOTS_PER_INCH
from hillsight.sheets.paper.rims import rim_pieces
from hillsight.sheets.verdict.verdict_text import fits_words

if TYPE_CHECKING:
    import geopandas

    from hillsight.arrays import Flags
    from hillsight.ground.grid import Surface
    from hillsight.plan.verdict import Argument, Fact, Verdict, Weighed
    from hillsight.sheets.paper.labels import Placer
    from hillsight.sheets.paper.maps import Map
    from hillsight.sheets.paper.page import Page

MOST_ARGUMENTS = 5
_MOST_PLACES = 4  # of one argument that get a number
_RING = 13.0  # pixels, radius of a number's circle
_FARTHEST_ROOM = 400.0  # pixels
_NAME_SIZE = 7.0
_ALONG = 95.0  # pixels that the line of a fact without a place is long
_SHADE_FLOOR = 0.3  # of the relief's shade, so that signs stay readable on the dark side of hills
RIM = replace(signs.BROW, width=2.2, words="ground argued about")


@dataclass(frozen=True)
class Shown:
    """An argument on the map of a candidate: its fact there, and the places that it is about."""

    argument: Argument
    fact: Fact
    places: list[tuple[float, float]] = field(default_factory=list)

    @property
    def rim(self) -> shapely.Geometry | None:
        """The line of ground that it is about, if it is about ground rather than things."""
        geometry = self.fact.geometry
        if self.argument.statement.things or shapely.get_dimensions(geometry) != 1:
            return None
        return geometry

    def farthest_m(self, here: Weighed) -> float:
        """Distance from the candidate that holds all of it; 0 where it lies nowhere."""
        points = list(self.places)
        if self.rim is not None:
            points += [(float(x), float(y)) for x, y in shapely.get_coordinates(self.rim)]
        return max((hypot(e - here.easting_m, n - here.northing_m) for e, n in points), default=0.0)


@dataclass(frozen=True)
class Mark:
    """Where the number of an argument belongs, pixels; ``is_beyond`` if the place itself is off the map."""

    shown: Shown
    x: float
    y: float
    is_beyond: bool


def chosen(verdict: Verdict, index: int, convergence_deg: float) -> list[Shown]:
    """Up to five arguments: those that decide first; where none fits, those that speak against."""
    roles = ("decides", "supports", "against")
    if verdict.state == NONE_FITS:
        roles = roles[::-1]
    ordered = [one for role in roles for one in verdict.arguments if one.role == role][:MOST_ARGUMENTS]
    here = verdict.candidates[index]
    return [
        Shown(
            one,
            one.facts[index],
            fact_places(one.facts[index], here.easting_m, here.northing_m, convergence_deg),
        )
        for one in ordered
    ]


def washed() -> tuple[float, float, float]:
    """Colour of ground within the picture, before the shade of the relief."""
    return relief.mixed(signs.VIEW_SECTOR.fill, signs.VIEW_SECTOR.strength)


def draw_ground(chart: Map, surface: Surface, view: shapely.Polygon) -> tuple[relief.Raised | None, bool]:
    """The shaded ground with the picture's wedge; the terrain, and whether some of the map has none."""
    rows, columns = round(chart.place.height), round(chart.place.width)
    limits = chart.limits
    terrain = relief.raised(surface, limits, chart.pixel_m)
    picture = np.ones((rows, columns, 3)) * to_rgb(palette.PAPER)
    picture[relief.burnt([view], limits, rows, columns)] = washed()
    x = limits.left + (np.arange(columns) + 0.5) / columns * limits.width
    y = limits.top - (np.arange(rows) + 0.5) / rows * limits.height
    heights = Raster(surface.height_m, surface.grid.cell_edges_m, surface.grid.crs)
    bare = np.isnan(sampled(heights, *np.meshgrid(x, y), surface.grid.crs, smooth=False))
    picture[bare] = to_rgb(palette.PAPER)
    paint(picture, bare, signs.UNKNOWN_GROUND)
    nothing = np.full((rows, columns), np.nan)
    shade = nothing if terrain is None else relief.shade_at_pixels(terrain, limits, rows, columns)
    chart.page.image(
        relief.shaded(picture, _SHADE_FLOOR + (1 - _SHADE_FLOOR) * shade, np.zeros(bare.shape, bool)),
        round(chart.place.left),
        round(chart.place.bottom),
    )
    sides = shapely.get_coordinates(view.exterior)
    draw_course(chart.axes, sides, signs.SECTOR_EDGE, zorder=2.2)
    return terrain, bool(bare.any())


def draw_others(
    chart: Map, verdict: Verdict, here: Weighed, placer: Placer
) -> list[tuple[Weighed, tuple[float, float]]]:
    """Marks of the other candidates on the map; those drawn with their pixels."""
    found = []
    inside = _inner(chart.place, 6)
    for one in verdict.candidates:
        x, y = chart.to_page(one.easting_m, one.northing_m)
        if one is here or not Box(x, y, x, y).within(inside):
            continue
        placer.taken.append(draw_mark(chart.page, x, y, signs.CANDIDATE, zorder=6.5))
        found.append((one, (x, y)))
    return found


def draw_facts(chart: Map, here: Weighed, shown: list[Shown], placer: Placer, turn_deg: float) -> list[Mark]:
    """Rims and sight lines; returns where the numbers belong. Names are to keep off all of them.

    Parameters
    ----------
    turn_deg : true bearing of grid north at the candidate
    """
    for one in shown:
        if one.rim is not None:
            for points in rim_pieces(one.rim, here.easting_m, here.northing_m):
                draw_course(chart.axes, points, RIM, zorder=4)
    eye = chart.to_page(here.easting_m, here.northing_m)
    bounds = _inner(chart.place, 8)
    marks: list[Mark] = []
    for one in shown:
        ends = _apart([chart.to_page(*place) for place in one.places])[:_MOST_PLACES]
        if not ends and one.fact.bearing_true_deg is not None:
            turn = np.radians(one.fact.bearing_true_deg - turn_deg)
            ends = [(eye[0] + _ALONG * float(np.sin(turn)), eye[1] + _ALONG * float(np.cos(turn)))]
        for end in ends:
            x, y = _cut(eye, end, bounds)
            mark = Mark(one, x, y, hypot(x - end[0], y - end[1]) > 1)
            has_dot = bool(one.places) and not mark.is_beyond and one.rim is None
            _sight_line(chart.page, eye, (x, y), has_dot=has_dot)
            steps = max(int(hypot(x - eye[0], y - eye[1]) / 8), 1)
            for share in np.linspace(0, 1, steps + 1)[1:-1]:
                on_x, on_y = eye[0] + share * (x - eye[0]), eye[1] + share * (y - eye[1])
                placer.taken.append(Box(on_x - 1, on_y - 1, on_x + 1, on_y + 1))
            placer.taken.append(Box(x - 4, y - 4, x + 4, y + 4))
            marks.append(mark)
    return marks


def label_argued(chart: Map, named: geopandas.GeoDataFrame, marks: list[Mark], placer: Placer) -> Flags:
    """Names of the things that arguments are about, before all others; which things they are."""
    is_argued = np.zeros(len(named), bool)
    limits, place, near_m = chart.limits, chart.place, 1.5 * chart.pixel_m
    for mark in marks:
        if mark.is_beyond or not mark.shown.places or mark.shown.rim is not None:
            continue
        at = shapely.Point(
            limits.left + (mark.x - place.left) * chart.pixel_m,
            limits.bottom + (mark.y - place.bottom) * chart.pixel_m,
        )
        for row in np.flatnonzero(named.geometry.distance(at).to_numpy() <= near_m):
            text = name_of(named["name"].iloc[row])
            if is_argued[row] or not text:
                continue
            is_argued[row] = True
            width, height = chart.page.size_of(text, _NAME_SIZE)
            box = room(placer, mark.x, mark.y, width, height, 9, 90.0)
            if box is not None:
                is_water = named["evidence_class"].iloc[row] == "water"
                colour = palette.WATER_NAME if is_water else palette.INK
                middle = (box.bottom + box.top) / 2
                chart.page.text(box.left, middle, text, _NAME_SIZE, halo=True, colour=colour)
    return is_argued


def draw_numbers(chart: Map, marks: list[Mark], placer: Placer) -> None:
    """The numbers, each where there is room beside its place."""
    for mark in marks:
        box = room(placer, mark.x, mark.y, 2 * _RING, 2 * _RING, _RING * 0.5)
        if box is None:
            continue
        x, y = (box.left + box.right) / 2, (box.bottom + box.top) / 2
        if hypot(x - mark.x, y - mark.y) > _RING + 8:
            chart.page.line([mark.x, x], [mark.y, y], linewidth=0.8, zorder=6.6)
        draw_number(chart.page, mark.shown, x, y)


def _apart(places: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Places without those that would run into one before."""
    kept: list[tuple[float, float]] = []
    for x, y in places:
        if all(hypot(x - other_x, y - other_y) > _RING for other_x, other_y in kept):
            kept.append((x, y))
    return kept


def _sight_line(page: Page, eye: tuple[float, float], end: tuple[float, float], *, has_dot: bool) -> None:
    length = hypot(end[0] - eye[0], end[1] - eye[1])
    if length > 20:  # from the rim of the candidate's mark on
        share = 19 / length
        start = eye[0] + share * (end[0] - eye[0]), eye[1] + share * (end[1] - eye[1])
        xs, ys = [start[0], end[0]], [start[1], end[1]]
        draw_course(page.sheet, np.column_stack((xs, ys)), signs.SIGHT_LINE, zorder=5.5)
    if has_dot:
        draw_mark(page, *end, signs.dot(palette.INK, "end of a sight line"), zorder=6.7)


def number_style(fits: str) -> dict[str, Any]:
    """Circle of a number: dark where the fact fits, grey in part, hollow where not or not weighed."""
    fill = {"fits": palette.INK, "fits in part": palette.UNKNOWN}.get(fits, palette.PAPER)
    return {
        "marker": "o",
        "markersize": 2 * _RING * 72 / DOTS_PER_INCH,
        "markerfacecolor": fill,
        "markeredgecolor": palette.INK,
        "markeredgewidth": 1.4,
    }


def draw_number(page: Page, one: Shown, x: float, y: float) -> None:
    """An argument's number in a circle, as in the text."""
    fits = fits_words(one.fact)
    number = str(one.argument.number)
    page.line([x], [y], linestyle="none", zorder=8.5, **number_style(fits))
    size = {1: 8.0, 2: 7.0}.get(len(number), 5.0)
    colour = palette.PAPER if fits == "fits" else palette.INK
    page.text(x, y, number, size, bold=True, align="center", colour=colour)


def label(
    chart: Map,
    name: str,
    x: float,
    y: float,
    placer: Placer,
    size: float,
    clear: float,
    away_deg: float = 90.0,
) -> None:
    """A candidate's name beside its mark, if there is room, best on the side of a bearing on the page."""
    text = name_of(name)
    if not text:
        return
    width, height = chart.page.size_of(text, size, bold=True)
    box = room(placer, x, y, width, height, clear, away_deg)
    if box is not None:
        chart.page.text(box.left, (box.bottom + box.top) / 2, text, size, bold=True, halo=True)


def room(
    placer: Placer, x: float, y: float, width: float, height: float, clear: float, away_deg: float = 45.0
) -> Box | None:
    """Free room for a box near a place, in wider and wider rings about it; None within 400 pixels.

    Parameters
    ----------
    clear : least distance of the box's nearest edge
    away_deg : direction that is tried first, clockwise from up
    """
    away = clear
    while away < _FARTHEST_ROOM:
        for k in range(16):
            turn = np.radians(away_deg + (-1) ** k * 22.5 * ((k + 1) // 2))
            middle_x = x + sin(turn) * (away + width / 2)
            middle_y = y + cos(turn) * (away + height / 2)
            box = Box(
                middle_x - width / 2, middle_y - height / 2, middle_x + width / 2, middle_y + height / 2
            )
            if placer.free(box):
                placer.taken.append(box)
                return box
        away += 6
    return None


def _inner(place: Box, margin: float) -> Box:
    return Box(place.left + margin, place.bottom + margin, place.right - margin, place.top - margin)


def _cut(start: tuple[float, float], end: tuple[float, float], bounds: Box) -> tuple[float, float]:
    """The end of a line, drawn back to the bounds where it leaves them; the start lies within."""
    share = 1.0
    for at, to, low, high in (
        (start[0], end[0], bounds.left, bounds.right),
        (start[1], end[1], bounds.bottom, bounds.top),
    ):
        if to > high:
            share = min(share, (high - at) / (to - at))
        elif to < low:
            share = min(share, (low - at) / (to - at))
    return start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])
