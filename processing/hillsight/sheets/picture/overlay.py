"""A photograph with the terrain's lines laid over it, to see how well a place and a camera explain it."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.reading.drawn.landmarks import landmarks
from hillsight.sheets.panorama import strokes
from hillsight.sheets.panorama.key import draw_key, lay_key
from hillsight.sheets.panorama.panorama_sheet import legend_of
from hillsight.sheets.panorama.picture import Picture
from hillsight.sheets.paper import palette
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import ROW, Entry, draw_legend, line_entry, mark_entry
from hillsight.sheets.paper.margins import CAUTION, draw_title
from hillsight.sheets.paper.page import LINES, Page
from hillsight.sheets.paper.palette import INK, PAPER, QUIET

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Bytes, Floats
    from hillsight.plan.picture.camera import Camera
    from hillsight.reading.drawn.drawn_view import DrawnView
    from hillsight.sheets.panorama.picture import North

#: Photographs are drawn as large as fits these, pixels of the page; small ones are made larger.
_WIDEST, _TALLEST, _NARROWEST = 2_000, 1_500, 1_240

_LEFT, _RIGHT, _SCALE_BELOW = 92, 40, 44
_MOST_LANDMARKS = 40
_LEGEND_COLUMN, _SIZE = 420.0, 7.5

#: Sticks of residuals are drawn so many times as long; the longest takes no more than so many pixels.
_STICK_TIMES, _LONGEST_STICK = (50.0, 20.0, 10.0, 5.0, 2.0, 1.0), 70.0

_MARK_COLOUR, _PICK_COLOUR, _TRACE_COLOUR = palette.MAN_MADE, palette.WATER, palette.MAN_MADE


@dataclass(frozen=True)
class ShownMark:
    """A landmark that was marked, and where the camera shows it; NaN where it shows it nowhere.

    used : whether the camera was solved by it
    """

    name: str
    x_px: float
    y_px: float
    shown_x_px: float
    shown_y_px: float
    used: bool


@dataclass(frozen=True, eq=False)
class ShownPick:
    """A pixel that was picked.

    label : its name on the drawing
    outline_px : (n, 2) the outline of where its ground may be, NaN out of the picture; None without any
    """

    label: str
    x_px: float
    y_px: float
    outline_px: Floats | None


@dataclass(frozen=True, eq=False)
class OverlayThings:
    """What is laid over a photograph besides the terrain.

    marks : landmarks that were marked
    traces : (n, 2) pixels each, lines that were traced
    picks : pixels that were picked; told : what is said of them, a line each
    """

    marks: Sequence[ShownMark] = ()
    traces: Sequence[Floats] = ()
    picks: Sequence[ShownPick] = ()
    told: Sequence[str] = ()


def draw_overlay(
    photograph: Bytes,
    camera: Camera,
    view: DrawnView,
    north: North,
    title: str,
    said: Sequence[str],
    foot: str,
    things: OverlayThings | None = None,
) -> Page:
    """The photograph with skyline, crests, landmarks, bearings, residuals and picks; a key below.

    Nothing but the photograph's pixels is taken from it.

    Parameters
    ----------
    photograph : (height, width, 3) as shown, of the size that the camera's lens has
    view : from the camera's place, over its picture at least
    said : sentences on the camera, below the title
    foot : where the drawing comes from
    """
    things = things or OverlayThings()
    width, height = _size(camera)
    found = [one for one in landmarks(view, _MOST_LANDMARKS, camera) if one.is_on(camera)]
    across = float(width)
    page = Page(width + _LEFT + _RIGHT, 10)  # only to measure with
    key = lay_key(page, found, north, view.convergence_deg, across)
    columns = max(1, int(across // _LEGEND_COLUMN))
    feed = 16.0
    head = 62 + feed * sum(len(page.wrapped(one, across, _SIZE)) for one in said) + 10
    told = sum(len(page.wrapped(one, across, _SIZE)) for one in things.told)
    below = (key.height + 14 if key.cells else 0) + ceil(14 / columns) * ROW + feed * (told + 6) + 40
    page = Page(width + _LEFT + _RIGHT, round(head + height + _SCALE_BELOW + below))
    draw_title(page, _LEFT, title)
    y = page.height - 58.0
    for one in said:
        y = page.paragraph(_LEFT, y, across, one, _SIZE)
    top = page.height - head
    picture = Picture(page, Box(_LEFT, top - height, _LEFT + across, top), view, camera)
    picture.draw_under(_resized(photograph, width, height))
    _draw_lines(picture)
    for trace in things.traces:
        _draw_trace(picture, trace)
    unplaced = picture.draw_landmarks(found)
    times = _draw_marks(picture, things.marks)
    _draw_picks(picture, things.picks)
    picture.draw_scales(north)
    picture.finish()
    y = draw_key(page, key, _LEFT, top - height - _SCALE_BELOW, across)
    entries = [*legend_of(picture.drawn), *_more_entries(things, times)]
    y = draw_legend(page, entries, Box(_LEFT, y - 10, _LEFT + across, y - 10), columns, size=_SIZE)
    for one in things.told:
        y = page.paragraph(_LEFT, y - 2, across, one, _SIZE)
    words = f"Bearings from {north.word} north along the lower edge, vertical angles along the left edge."
    if unplaced:
        words += f" {len(unplaced)} landmarks have no number for lack of space."
    y = page.paragraph(_LEFT, y - 6, across, words, _SIZE)
    page.paragraph(_LEFT, y - 4, across, f"{foot} {CAUTION}", 6.8, colour=QUIET)
    return page


def _size(camera: Camera) -> tuple[int, int]:
    """Pixels of the page that the photograph takes."""
    wide, tall = camera.lens.width_px, camera.lens.height_px
    scale = min(_WIDEST / wide, _TALLEST / tall, max(1.0, _NARROWEST / wide))
    return max(1, round(wide * scale)), max(1, round(tall * scale))


def _resized(photograph: Bytes, width: int, height: int) -> Bytes:
    from PIL import Image

    return np.asarray(Image.fromarray(photograph).resize((width, height), Image.Resampling.LANCZOS))


def _draw_lines(picture: Picture) -> None:
    """Skyline and crests, each on a pale band, so that they show on dark and on light ground."""
    view, fan = picture.view, picture.view.fan
    bearing = fan.bearing_grid_deg
    casing: dict[str, Any] = {"color": PAPER, "zorder": 3.0}
    for track in view.crests:
        at, brow = bearing[track.at], track.role == "brow"
        tone = float(strokes.tone_of(np.array([np.median(track.distance_m)]))[0])
        width = strokes.BROW_WIDTH if brow else strokes.crest_width(tone)
        strokes.draw_trace(picture.sheet, at, track.angle_deg, linewidth=width + 1.1 - 0.6 * tone, **casing)
        strokes.draw_toned(
            picture.sheet, at, track.angle_deg, track.distance_m, palette.BROW if brow else INK, 3.6,
            width if brow else None,
        )  # fmt: skip
        picture.drawn[track.role] = 0.0
    strokes.draw_trace(
        picture.sheet, bearing, fan.sky_deg, linewidth=strokes.SKYLINE_WIDTH + 1.6, color=PAPER, zorder=4.0
    )
    closed = fan.sky_is_ground
    for word, chosen in (("skyline", closed), ("open skyline", ~closed)):
        if not (chosen & np.isfinite(fan.sky_deg)).any():
            continue
        wide = chosen | np.r_[chosen[1:], False] | np.r_[False, chosen[:-1]]
        style = {"linewidth": strokes.SKYLINE_WIDTH} if word == "skyline" else strokes.OPEN_SKYLINE
        angle = np.where(wide, fan.sky_deg, np.nan)
        strokes.draw_trace(picture.sheet, bearing, angle, zorder=4.2, **style)
        picture.drawn[word] = 0.0


def _draw_trace(picture: Picture, trace: Floats) -> None:
    _line(picture, trace[:, 0], trace[:, 1], color=PAPER, linewidth=2.6, alpha=0.5, zorder=5.0)
    _line(
        picture, trace[:, 0], trace[:, 1], color=_TRACE_COLOUR, linewidth=1.3, zorder=5.1,
        linestyle=(0, (1.2, 1.6)),
    )  # fmt: skip


def _line(
    picture: Picture, x_px: Sequence[float] | Floats, y_px: Sequence[float] | Floats, **style: Any
) -> None:
    """A line in pixels of the picture, cut at its frame."""
    from matplotlib.lines import Line2D

    picture.axes.add_line(Line2D(x_px, y_px, **{**LINES, **style}))


def _draw_marks(picture: Picture, marks: Sequence[ShownMark]) -> float:
    """Crosses at what was marked, sticks towards where it is shown; returns by what they are longer."""
    scale = picture.place.width / picture.projection.width_px
    off = [np.hypot(m.shown_x_px - m.x_px, m.shown_y_px - m.y_px) * scale for m in marks if m.used]
    most = max((float(one) for one in off if np.isfinite(one)), default=0.0)
    times = next((t for t in _STICK_TIMES if t * most <= _LONGEST_STICK), 1.0)
    for mark in marks:
        if np.isfinite(mark.shown_x_px + mark.shown_y_px) and mark.used:
            end_x = mark.x_px + times * (mark.shown_x_px - mark.x_px)
            end_y = mark.y_px + times * (mark.shown_y_px - mark.y_px)
            for n, (colour, width) in enumerate(((PAPER, 4.2), (_MARK_COLOUR, 2.2))):
                _line(
                    picture, [mark.x_px, end_x], [mark.y_px, end_y], color=colour, linewidth=width,
                    zorder=5.4 + 0.1 * n, solid_capstyle="butt",
                )  # fmt: skip
        _draw_cross(picture.page, *picture.to_page(mark.x_px, mark.y_px), mark.used)
    return times


def _draw_cross(page: Page, x: float, y: float, used: bool) -> None:
    for colour, width, size in ((PAPER, 3.4, 11.5), (_MARK_COLOUR if used else QUIET, 1.7, 10.0)):
        page.line(
            [x], [y], linestyle="none", marker="x" if used else "+", markersize=size,
            markeredgecolor=colour, markeredgewidth=width, zorder=7.8,
        )  # fmt: skip


def _draw_picks(picture: Picture, picks: Sequence[ShownPick]) -> None:
    page = picture.page
    for pick in picks:
        x, y = picture.to_page(pick.x_px, pick.y_px)
        if pick.outline_px is not None:
            out = pick.outline_px
            for n, (colour, width) in enumerate(((PAPER, 2.6), (_PICK_COLOUR, 1.2))):
                _line(picture, out[:, 0], out[:, 1], color=colour, linewidth=width, zorder=5.6 + 0.1 * n)
        for colour, width in ((PAPER, 3.6), (_PICK_COLOUR, 1.8)):
            page.line(
                [x], [y], linestyle="none", marker="o", markersize=9.0, markerfacecolor="none",
                markeredgecolor=colour, markeredgewidth=width, zorder=8,
            )  # fmt: skip
        page.line([x], [y], linestyle="none", marker="o", markersize=2.2, color=_PICK_COLOUR, zorder=8.1)
        right = x + 12 + page.size_of(pick.label, 8, bold=True)[0] < picture.place.right
        page.text(
            x + 12 if right else x - 12, y, pick.label, 8, bold=True, halo=True, colour=palette.WATER_NAME,
            align="left" if right else "right",
        )  # fmt: skip


def _more_entries(things: OverlayThings, times: float) -> list[Entry]:
    entries = []
    if any(mark.used for mark in things.marks):
        longer = "" if times == 1.0 else f", drawn {times:g} times as long"
        entries.append(mark_entry("landmark as marked", **_cross(_MARK_COLOUR, "x")))
        entries.append(line_entry(f"residual{longer}", color=_MARK_COLOUR, linewidth=2.2))
    if any(not mark.used for mark in things.marks):
        entries.append(mark_entry("mark left out", **_cross(QUIET, "+")))
    if things.traces:
        entries.append(
            line_entry("line as traced", color=_TRACE_COLOUR, linewidth=1.3, linestyle=(0, (1.2, 1.6)))
        )
    if things.picks:
        entries.append(
            mark_entry(
                "picked pixel",
                marker="o",
                markersize=9.0,
                markerfacecolor="none",
                markeredgecolor=_PICK_COLOUR,
                markeredgewidth=1.8,
            )
        )
    if any(pick.outline_px is not None for pick in things.picks):
        entries.append(line_entry("where its ground may be, 95 %", color=_PICK_COLOUR, linewidth=1.2))
    return entries


def _cross(colour: str, marker: str) -> dict[str, Any]:
    return {"marker": marker, "markersize": 10.0, "markeredgecolor": colour, "markeredgewidth": 1.7}
