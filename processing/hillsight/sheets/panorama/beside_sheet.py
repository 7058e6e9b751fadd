"""The views from several stations one above the other, at one scale, and in what they differ."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hillsight.reading.drawn.differences import compared_features, difference_sentences
from hillsight.reading.drawn.extent import angles_shown
from hillsight.reading.drawn.landmarks import landmarks
from hillsight.sheets.panorama.layout import BELOW, lay_strips
from hillsight.sheets.panorama.panorama_sheet import (
    PAPERS,
    Drawn,
    exaggeration_words,
    legend_of,
    source_words,
)
from hillsight.sheets.panorama.picture import LINES_ALONE, Ground, Picture
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import ROW, draw_legend
from hillsight.sheets.paper.margins import CAUTION, draw_title
from hillsight.sheets.paper.marks import Sign, name_of
from hillsight.sheets.paper.page import Page
from hillsight.sheets.paper.palette import INK, LEADER, QUIET
from hillsight.words.quantities import whole_number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.reading.drawn.differences import ComparedFeature, SeenFrom
    from hillsight.reading.drawn.drawn_view import DrawnView
    from hillsight.reading.drawn.landmarks import Landmark
    from hillsight.sheets.panorama.panorama_sheet import Place
    from hillsight.sheets.panorama.picture import North
    from hillsight.sight.cylinder import Cylinder

#: Stations that one page has room for.
MOST_BESIDE = 6

_LEFT, _RIGHT = 92, 92
_HEAD, _FOOT = 66, 96
_CAPTION = 27.0  # pixels above each picture
_BETWEEN = 10.0
_TABLE_ROW, _TABLE_SIZE = 22.0, 7.5
_MOST_ROWS = 14
_GAP = 50.0
_LEGEND_COLUMNS = 5
_LEGEND_ROWS = 3
_MOST_SENTENCES = 9


def draw_beside(
    views: Sequence[DrawnView],
    places: Sequence[Place],
    norths: Sequence[North],
    *,
    ground: Ground = LINES_ALONE,
    paper: str = "A3",
    exaggeration: float | None = None,
) -> list[Drawn]:
    """One page with a strip for each view, all over the same sector and at the same scales.

    Returns
    -------
    for each view the page, which is the same one, its picture and its landmarks
    """
    wide, tall = PAPERS[paper]
    page = Page(wide, tall)
    across = float(wide - _LEFT - _RIGHT)
    names = [name_of(place.name, 28) for place in places]
    draw_title(page, _LEFT, f"Beside each other: {name_of(', '.join(names), 80)}")
    features = compared_features(views)
    shown = _worth_a_row(features)
    found = [_numbered(view, shown) for view in views]
    sentences = difference_sentences(names, views, features)[:_MOST_SENTENCES]
    table_width = _table_width(page, shown, names) if shown else 0.0
    words_left = _LEFT + table_width + (_GAP if shown else 0.0)
    words_width = across - (words_left - _LEFT)
    lines = sum(len(page.wrapped(sentence, words_width, 8)) for sentence in sentences)
    below = max((len(shown) + 1) * _TABLE_ROW, 30.0 + lines * 24.0) + _LEGEND_ROWS * ROW + _FOOT + 12
    room = tall - _HEAD - below - len(views) * (_CAPTION + _BETWEEN)
    cylinders, exaggerated = _cylinders(views, found, across, room, exaggeration)
    drawn: dict[str | Sign, float] = {}
    top, results = float(tall - _HEAD), []
    for view, place, name, north, cylinder, marks in zip(
        views, places, names, norths, cylinders, found, strict=True
    ):
        page.text(_LEFT, top - 9, name, 10, bold=True)
        title = page.size_of(name, 10, bold=True)[0]
        page.text(_LEFT + title + 18, top - 9, _where(view, place), 7.5, colour=QUIET)
        top -= _CAPTION - 5
        box = Box(_LEFT, top - cylinder.height_px, _LEFT + cylinder.width_px, top)
        picture = Picture(page, box, view, cylinder, drawn)
        picture.draw_ground(ground)
        picture.draw_features()
        picture.draw_landmarks(marks)
        picture.draw_scales(north)
        picture.finish()
        results.append(Drawn(page, ((cylinder, float(_LEFT), tall - top),), tuple(marks)))
        top -= cylinder.height_px + BELOW + _BETWEEN + 5
    y = top
    if shown:
        _draw_table(page, shown, names, top - 4)
    if sentences:
        page.text(words_left, y - 14, "In what they differ within this sector", 9, bold=True)
        at = y - 30
        for sentence in sentences:
            at = page.paragraph(words_left, at, words_width, sentence, 8)
    y = _FOOT + _LEGEND_ROWS * ROW + 8
    y = draw_legend(page, legend_of(drawn), Box(_LEFT, y, _LEFT + across, y), _LEGEND_COLUMNS, size=7.5)
    y = page.paragraph(_LEFT, y - 3, across, exaggeration_words(exaggerated), 7.5)
    page.paragraph(_LEFT, y - 3, across, f"{source_words(views[0], places[0])} {CAUTION}", 6.8, colour=QUIET)
    return results


def _where(view: DrawnView, place: Place) -> str:
    lines = view.lines
    return (
        f"E {whole_number(lines.easting_m)}  N {whole_number(lines.northing_m)}   "
        f"eye {lines.eye.level_m:.1f} m   {place.sector_words}"
    )


def _cylinders(
    views: Sequence[DrawnView],
    found: Sequence[Sequence[Landmark]],
    across: float,
    room: float,
    exaggeration: float | None,
) -> tuple[list[Cylinder], float]:
    """For each view a strip of the same size, scales and vertical angles."""
    angles = [angles_shown(view, marks) for view, marks in zip(views, found, strict=True)]
    both = (min(low for low, _ in angles), max(high for _, high in angles))
    strips = lay_strips(
        views[0].left_grid_deg, views[0].span_deg, both, (across, room / len(views)), exaggeration, 1
    )
    (first,) = strips.cylinders
    return [replace(first, left_bearing_grid_deg=view.left_grid_deg) for view in views], strips.exaggeration


def _worth_a_row(features: Sequence[ComparedFeature]) -> list[ComparedFeature]:
    """Those that tell most, still from left to right."""

    def weight(feature: ComparedFeature) -> tuple[bool, float]:
        seen = [one.across_deg for one in feature.seen_from if one.is_seen]
        return not feature.tells, -(max(seen) - min(seen))

    kept = sorted(features, key=weight)[:_MOST_ROWS]
    return [feature for feature in features if feature in kept]


def _numbered(view: DrawnView, shown: Sequence[ComparedFeature]) -> list[Landmark]:
    """Landmarks of a view with the numbers that they have on all of them."""
    numbers = {feature.place: number for number, feature in enumerate(shown, 1)}
    return [replace(one, number=numbers.get(one.place, 0)) for one in landmarks(view, 0)]


def _cell(one: SeenFrom) -> str:
    if one.is_seen:
        words = f"{one.bearing_true_deg:05.1f}°"
        return words if one.state == "visible" else f"{words} ({one.state})"
    if one.state == "hidden":
        return f"hidden by {max(one.hidden_by_m, 0.1):,.1f} m"
    return {"outside": "not in the sector", "out_of_reach": "out of reach"}.get(one.state, one.state)


def _columns(page: Page, shown: Sequence[ComparedFeature], names: Sequence[str]) -> list[float]:
    """Widths of number, name and one column a station, with the room between."""
    texts = [
        [str(len(shown))],
        [name_of(feature.name, 24) for feature in shown],
        *([name, *(_cell(feature.seen_from[i]) for feature in shown)] for i, name in enumerate(names)),
    ]
    return [max(page.size_of(text, _TABLE_SIZE, bold=True)[0] for text in column) + 20.0 for column in texts]


def _table_width(page: Page, shown: Sequence[ComparedFeature], names: Sequence[str]) -> float:
    return sum(_columns(page, shown, names))


def _draw_table(page: Page, shown: Sequence[ComparedFeature], names: Sequence[str], top: float) -> None:
    """What of each feature is seen from each station: its true bearing, or why it is not seen."""
    widths = _columns(page, shown, names)
    lefts = [_LEFT + sum(widths[:i]) for i in range(len(widths))]
    y = top - _TABLE_ROW / 2
    for left, name in zip(lefts[2:], names, strict=True):
        page.text(left, y, name, _TABLE_SIZE, bold=True)
    page.line([_LEFT, _LEFT + sum(widths) - 20], [y - 11, y - 11], linewidth=0.5, color=LEADER)
    for number, feature in enumerate(shown, 1):
        y -= _TABLE_ROW
        page.text(lefts[1] - 20, y, str(number), _TABLE_SIZE, bold=True, align="right")
        page.text(lefts[1], y, name_of(feature.name, 24), _TABLE_SIZE)
        for left, one in zip(lefts[2:], feature.seen_from, strict=True):
            page.text(left, y, _cell(one), _TABLE_SIZE, colour=INK if one.is_seen else QUIET)
