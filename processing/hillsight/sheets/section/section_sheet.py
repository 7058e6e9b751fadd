"""A section as a page for a handout: ground, eye, sight lines, dead ground, crests, what is crossed."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.reading.section.profile import HIDDEN, UNKNOWN, VISIBLE
from hillsight.reading.section.section_words import (
    course_words,
    ground_words,
    target_words,
    title_words,
)
from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.bearing_marks import class_entries
from hillsight.sheets.paper.drawn_signs import draw_mark, line_style
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import ROW, Entry, draw_legend, line_entry, sign_entry
from hillsight.sheets.paper.margins import CAUTION, draw_title
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.page import A4_LONG, A4_SHORT, LINES, Page
from hillsight.sheets.paper.palette import INK, PAPER, QUIET
from hillsight.sheets.paper.saving import AS_DRAWN, Printing, save_page
from hillsight.sheets.section.section_cover import blocked_at, cover_signs, draw_cover
from hillsight.sheets.section.section_labels import Label, draw_labels, labels_of
from hillsight.sheets.section.section_scale import Scale, draw_axes, lay_scale
from hillsight.words.quantities import whole_number

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from matplotlib.axes import Axes

    from hillsight.reading.section.features import Passed
    from hillsight.reading.section.profile import Section, Stretch

_LEFT, _RIGHT = 118, 1530  # of the section; names may run on to the right of it
_EDGE = 1690  # of text
_NAMES = 176  # pixels of height for rows of names
_FOOT = 158  # pixels of height for what is said at the foot
_AXIS = 88  # and for the axis below the section
_BAR = 22  # of the bar that says what is seen
_COLUMNS = 4  # of the legend
_MOST_LINES = 4  # of what is said at the head

_WORDS = {
    "visible": "ground in view",
    "hidden": "dead ground, out of view",
    "unknown": "nobody can say: void",
}
_GRAZING: dict[str, Any] = {**line_style(signs.SIGHT_LINE), "color": palette.QUIET}
_SIGHT: dict[str, Any] = {"color": INK, "linewidth": 1.4}
_BLOCKED: dict[str, Any] = {**_SIGHT, "linestyle": (0, (1.2, 1.6))}


@dataclass(frozen=True)
class _Chart:
    page: Page
    axes: Axes
    scale: Scale
    section: Section


def draw_profile(
    section: Section, passed: Sequence[Passed], terrain: str, *, exaggeration: float | None = None
) -> Page:
    """One section on A4 lengthwise.

    Parameters
    ----------
    passed : map features along it
    terrain : the terrain file's name
    exaggeration : how many times as tall as wide; None chooses a round one that fits
    """
    import matplotlib

    with matplotlib.rc_context(_settings()):
        page = Page(A4_LONG, A4_SHORT)
        draw_title(page, _LEFT, name_of(title_words(section), 90))
        head = [course_words(section), " ".join([*target_words(section), *ground_words(section)])]
        y = page.paragraph(_LEFT, page.height - 62, _EDGE - _LEFT, name_of(head[0], 2_000), 8.5)
        lines = page.wrapped(name_of(head[1], 2_000), _EDGE - _LEFT, 8.5)
        if len(lines) > _MOST_LINES:
            lines = [*lines[: _MOST_LINES - 1], "More is in the layers."]
        for line in lines:
            y = page.paragraph(_LEFT, y, _EDGE - _LEFT + 8, line, 8.5)
        top = y - _NAMES
        entries = _legend(section, passed)
        legend_top = _FOOT + ceil(len(entries) / _COLUMNS) * ROW
        scale = lay_scale(section, Box(_LEFT, legend_top + _AXIS, _RIGHT, top), exaggeration)
        chart = _Chart(page, page.frame(scale.place, scale.limits), scale, section)
        _draw_ground(chart)
        draw_cover(chart.axes, section)
        _draw_lines(chart)
        draw_axes(page, section, scale, _BAR + 12)
        _draw_bar(chart)
        labels = labels_of(section, passed)
        for label in labels:
            _draw_mark(chart, label)
        _draw_eye(chart)
        band = Box(_LEFT - 6, scale.place.top + 10, page.width - 16, y - 4)
        left_out = draw_labels(page, scale, section, labels, band)
        below = draw_legend(page, entries, Box(_LEFT, legend_top, _EDGE + 20, legend_top), _COLUMNS)
        _draw_foot(chart, passed, terrain, left_out, below)
    return page


def save_profile(page: Page, out: Path, printing: Printing = AS_DRAWN) -> Path:
    """Write a page as SVG, PDF or PNG, as the name's end says; the same page gives the same bytes.

    Letters of an SVG are outlines, so that it looks the same everywhere.

    Raises
    ------
    OutputError : the place or the disk does not allow it; an older file stays as it was
    """
    return save_page(page, out, as_text=False, settings=_settings(), printing=printing)


def _settings() -> Any:
    """What hatches look like, whatever the user's settings are."""
    import matplotlib

    return {"hatch.linewidth": 0.7, "hatch.color": matplotlib.rcParamsDefault["hatch.color"]}


def _draw_ground(chart: _Chart) -> None:
    """Ground, its line thick where it is seen, and the room of dead ground up to the grazing line."""
    axes, samples, section = chart.axes, chart.section.samples, chart.section
    axes.fill_between(
        samples.grid_m, samples.lowered_m, chart.scale.low_m, color=palette.LAND, linewidth=0, zorder=1
    )
    for stretch in section.stretches:
        x, y = _ground_between(section, stretch.from_grid_m, stretch.to_grid_m)
        if stretch.state == HIDDEN:
            inner = samples.grid_m[
                (samples.grid_m > stretch.from_grid_m) & (samples.grid_m < stretch.to_grid_m)
            ]
            top = np.interp(x, samples.grid_m, samples.lowered_m - np.minimum(samples.clearance_m, 0.0))
            top[0] = y[0] if stretch.crest is not None else top[0]
            if stretch.emerges:
                top[-1] = y[-1]
            if inner.size:
                axes.fill_between(
                    x, y, top, facecolor=palette.DEPTHS[0], edgecolor=palette.DEPTHS[1], hatch="\\\\\\\\",
                    linewidth=0, zorder=1.5,
                )  # fmt: skip
            axes.plot(x, y, color=palette.HIDDEN, linewidth=1.1, zorder=3, **LINES)
        elif stretch.state == VISIBLE:
            axes.plot(x, y, color=INK, linewidth=3.0, zorder=3, **LINES)
        else:
            axes.axvspan(
                stretch.from_grid_m, stretch.to_grid_m, facecolor="none", edgecolor=palette.UNKNOWN,
                hatch="xxx", linewidth=0, zorder=1.2,
            )  # fmt: skip
            axes.plot(x, y, color=INK, linewidth=1.1, linestyle=(0, (1, 2)), zorder=3, **LINES)


def _ground_between(section: Section, first_m: float, last_m: float) -> tuple[Any, Any]:
    grid_m = section.samples.grid_m
    x = np.r_[first_m, grid_m[(grid_m > first_m) & (grid_m < last_m)], last_m]
    return x, np.array([section.lowered_m(float(d)) for d in x])


def _draw_lines(chart: _Chart) -> None:
    """Sight lines that graze the crests, and the line to the target, dotted beyond what blocks it."""
    section, axes = chart.section, chart.axes
    samples, level_m = section.samples, section.eye.level_m
    for stretch in section.stretches:
        if stretch.crest is None or _is_slight(chart, stretch):
            continue
        i = stretch.crest.sample
        if samples.grid_m[i] <= 0:
            continue
        grazed_m = samples.lowered_m[i]
        if section.surface.cover is not None and stretch.deepest is not None:
            # What hides may stand on the ground, and anywhere before the deepest place.
            i = stretch.deepest
            grazed_m = samples.lowered_m[i] + stretch.depth_m
        slope = (grazed_m - level_m) / samples.grid_m[i]
        end_m = stretch.to_grid_m
        axes.plot([0, end_m], [level_m, level_m + slope * end_m], zorder=2.5, **LINES, **_GRAZING)
    line = section.line
    if line is None or not np.isfinite(line.level_m).all():
        return
    stop = blocked_at(section) if line.state == HIDDEN else samples.grid_m.size
    axes.plot(samples.grid_m[:stop], line.level_m[:stop], zorder=4, **LINES, **_SIGHT)
    axes.plot(samples.grid_m[stop - 1 :], line.level_m[stop - 1 :], zorder=4, **LINES, **_BLOCKED)


def _is_slight(chart: _Chart, stretch: Stretch) -> bool:
    """Whether a stretch is too small on the page for a line of its own."""
    return (stretch.to_grid_m - stretch.from_grid_m) * chart.scale.pixels_per_m < 14


def _draw_bar(chart: _Chart) -> None:
    """A bar under the section: which ground is seen, told apart in grey print too."""
    place = chart.scale.place
    for stretch in chart.section.stretches:
        left, right = chart.scale.across(stretch.from_grid_m), chart.scale.across(stretch.to_grid_m)
        box = Box(left, place.bottom - 8 - _BAR, right, place.bottom - 8)
        chart.page.box(box, **_patch(stretch.state), zorder=3)
    whole = Box(place.left, place.bottom - 8 - _BAR, place.right, place.bottom - 8)
    chart.page.box(whole, linewidth=0.8, zorder=4)


def _patch(state: str) -> dict[str, Any]:
    colour = {VISIBLE: palette.VISIBLE, HIDDEN: palette.HIDDEN, UNKNOWN: palette.UNKNOWN}[state]
    hatch = "xxx" if state == UNKNOWN else None
    return {"facecolor": colour, "edgecolor": INK, "linewidth": 0.0 if hatch is None else 0.4, "hatch": hatch}


def _draw_mark(chart: _Chart, label: Label) -> None:
    x, y = chart.scale.across(label.grid_m), chart.scale.up(label.lowered_m)
    if label.to_grid_m > label.grid_m:
        left, right = chart.scale.across(label.grid_m), chart.scale.across(label.to_grid_m)
        if right - left > 8:
            grid, lowered = _ground_between(chart.section, label.grid_m, label.to_grid_m)
            colour = label.colour
            for width, shade in ((6.5, PAPER), (4.5, colour)):
                chart.axes.plot(
                    grid, lowered, color=shade, linewidth=width, zorder=3.2,
                    **{**LINES, "solid_capstyle": "butt"},
                )  # fmt: skip
        x, y = chart.scale.across(label.anchor_m), chart.scale.up(label.anchor_lowered_m)
    if label.stick_m > 0:
        foot, top = chart.scale.up(label.lowered_m - label.stick_m), min(y, chart.scale.place.top)
        chart.page.line([x, x], [foot, top], linewidth=1.8, zorder=6)
    if label.mark is not None and np.isfinite(y):
        draw_mark(chart.page, x, y, label.mark, label.state, zorder=7)


def _draw_eye(chart: _Chart) -> None:
    """A stick from the ground to the eye, however short, and a diamond at the eye."""
    x, y = chart.scale.across(0.0), chart.scale.up(chart.section.eye.level_m)
    foot = chart.scale.up(float(chart.section.samples.lowered_m[0]))
    chart.page.line([x, x], [foot, y], linewidth=2.4, zorder=7)
    draw_mark(chart.page, x, y, signs.EYE, zorder=8)


def _swatch(text: str, **style: Any) -> Entry:
    """A legend's patch, drawn as lines and areas so that an SVG keeps it."""

    def draw(page: Page, box: Box) -> None:
        page.box(box, **{"linewidth": 0.6, "edgecolor": INK, **style})

    return Entry(text, draw)


def _legend(section: Section, passed: Sequence[Passed]) -> list[Entry]:
    """Only what is on the page."""
    states = {stretch.state for stretch in section.stretches}
    entries = [sign_entry("eye of the station", signs.EYE)]
    entries += [_swatch(word, **_patch(state)) for state, word in _WORDS.items() if state in states]
    if HIDDEN in states:
        style = {"facecolor": palette.DEPTHS[0], "edgecolor": palette.DEPTHS[1], "hatch": "\\\\\\\\"}
        entries.append(_swatch("depth of dead ground", **style))
    if section.crests:
        entries.append(line_entry("sight line grazing a crest", **_GRAZING))
    if section.line is not None and np.isfinite(section.line.level_m).all():
        entries.append(line_entry("line from eye to target", **_SIGHT))
        if section.line.state == HIDDEN:
            by = "ground" if section.surface.cover is None else "ground or cover"
            entries.append(line_entry(f"the same, blocked by {by}", **_BLOCKED))
    entries += [
        (line_entry if is_line else _swatch)(text, **style) for text, is_line, style in cover_signs(section)
    ]
    entries += class_entries([{"evidence_class": one.evidence_class, "kind": one.kind} for one in passed])
    if any(one.state == HIDDEN for one in passed):
        entries.append(sign_entry("a feature out of view is hollow", signs.HILL, "hidden"))
    return entries


def _draw_foot(chart: _Chart, passed: Sequence[Passed], terrain: str, left_out: int, below: float) -> None:
    page, section, course = chart.page, chart.section, chart.section.course
    drop_m = section.drop_m
    lowered = (
        "Refraction 1 was asked for: a flat earth, and heights as they are."
        if drop_m == 0
        else "Heights are drawn lowered for curvature and refraction, as the eye sees them, "
        f"{abs(drop_m):.2g} m {'down' if drop_m > 0 else 'up'} at the far end, so that sight lines are "
        "straight; heights in names are the terrain's own."
    )
    words = f"{chart.scale.words()} {lowered}"
    if any(not one.is_crossed for one in passed):
        words += " Names with ▸ or ◂ stand so far to the right or left of the section."
    if left_out:
        count = "1 mark has" if left_out == 1 else f"{left_out} marks have"
        words += f" {count} no name here for lack of space: see the layers."
    below = page.paragraph(_LEFT, below - 6, _EDGE - _LEFT, words, 7.5)
    source = (
        f"From E {whole_number(course.easting_m)} N {whole_number(course.northing_m)} to "
        f"E {whole_number(course.end_easting_m)} N {whole_number(course.end_northing_m)} in "
        f"{section.surface.grid.crs.name}. Terrain {terrain}, posts "
        f"{section.spacing_m:g} m apart; refraction "
        f"{course.refraction:g} of the earth's curvature. Drawn by hillsight."
    )
    page.paragraph(_LEFT, below - 3, _EDGE - _LEFT, f"{name_of(source, 2_000)} {CAUTION}", 7, colour=QUIET)
