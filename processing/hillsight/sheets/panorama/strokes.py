"""How the lines of a drawn view look: nearer is darker and broader, farther paler and finer."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from matplotlib.collections import LineCollection

from hillsight.reading.drawn.clipping import along, inside_runs, may_be_on
from hillsight.sheets.paper.page import LINES
from hillsight.sheets.paper.palette import INK, PAPER
from hillsight.sheets.paper.relief import mixed

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from hillsight.arrays import Floats
    from hillsight.reading.drawn.crests import CrestTrack
    from hillsight.reading.drawn.drawn_view import DrawnView
    from hillsight.sight.cylinder import Projection

SKYLINE_WIDTH = 1.9
OPEN_SKYLINE: dict[str, Any] = {"linewidth": 1.7, "linestyle": (0, (5.0, 1.2))}
BROW_WIDTH = 1.5

#: Ground nearer than the first distance (m) is drawn darkest, farther than the second palest.
NEAR_M, FAR_M = 150.0, 15_000.0
_WIDTHS = (1.35, 0.6)  # of crest lines, near and far
_PALEST = 0.62  # how much paper is in the ink of the farthest crest
_TONES = 8

#: Strokes under a crest with dead ground behind it: pixels of the page apart, and how long for the least and
#: most of it.
_STROKE_APART, _STROKES = 7.0, (3.0, 11.0)
#: Dead ground as long as this (m) gets the shortest stroke, as long as that the longest.
LEAST_LOST_M, MOST_LOST_M = 100.0, 3_200.0

#: Dead ground shorter than this share of its crest's distance gets none; no stroke takes more than that share
#: of the ground seen below its crest.
_LOST_SHARE, _ROOM_SHARE = 0.08, 0.55

#: Lines may be drawn off their true place by this, pixels of the page.
_TOLERANCE_PX = 0.2


@dataclass
class Sheet:
    """Where a picture's lines go: axes in pixels of the picture, y down; lines are gathered, then drawn.

    pixel : pixels of the picture for each of the page
    bolder : by what lines are made bolder on a large picture
    """

    axes: Axes
    projection: Projection
    pixel: float = 1.0
    bolder: float = 1.0
    _lines: dict[tuple[float, Any], list[tuple[Floats, Any, float]]] = field(default_factory=dict)

    def add(self, path: Floats, colour: Any, width: float, zorder: float, linestyle: Any = "solid") -> None:
        """One line, (n, 2) pixels of the picture."""
        self._lines.setdefault((zorder, linestyle), []).append((path, colour, width))

    def finish(self) -> None:
        """Draw what was gathered, lines of one order together."""
        for (zorder, linestyle), found in sorted(self._lines.items(), key=lambda item: item[0][0]):
            paths, colours, widths = zip(*found, strict=True)
            lines = LineCollection(
                paths,
                colors=colours,
                linewidths=[width * self.bolder for width in widths],
                linestyles=[linestyle],
                zorder=zorder,
                capstyle="round" if linestyle == "solid" else "butt",
                joinstyle="round",
                antialiaseds=[LINES["antialiased"]],
            )
            self.axes.add_collection(lines, autolim=False)
        self._lines.clear()


def tone_of(distance_m: Floats) -> Floats:
    """0 for near ground to 1 for far, by the logarithm of its distance."""
    share = np.log(np.maximum(distance_m, 1.0) / NEAR_M) / np.log(FAR_M / NEAR_M)
    tone: Floats = np.clip(share, 0.0, 1.0)
    return tone


def ink_at(tone: float, colour: str = INK, palest: float = _PALEST) -> Any:
    """Ink as pale as distance makes it."""
    return mixed(colour, 1.0 - palest * tone, PAPER)


def crest_width(tone: float) -> float:
    """Width of a crest line, points."""
    return _WIDTHS[0] + (_WIDTHS[1] - _WIDTHS[0]) * tone


def draw_trace(
    sheet: Sheet, bearing_deg: Floats, angle_deg: Floats, *, color: Any = INK, linewidth: float = 1.0,
    zorder: float = 3.0, linestyle: Any = "solid",
) -> bool:  # fmt: skip
    """One line of one style; returns whether any of it is on the picture."""
    runs = _runs(sheet, bearing_deg, angle_deg)
    for x, y, _ in runs:
        sheet.add(_path(x, y, sheet.pixel), color, linewidth, zorder, linestyle)
    return bool(runs)


def draw_toned(
    sheet: Sheet, bearing_deg: Floats, angle_deg: Floats, distance_m: Floats, colour: str, zorder: float,
    width: float | None = None,
) -> bool:  # fmt: skip
    """A line that grows paler and finer with distance along it; returns whether any of it is on the picture.

    width : of it where that does not change, points
    """
    if not may_be_on(sheet.projection, bearing_deg):
        return False
    is_on = False
    step = np.round(tone_of(distance_m) * (_TONES - 1)).astype(int)
    cuts = np.r_[0, np.flatnonzero(np.diff(step)) + 1, step.size]
    for start, end in pairwise(cuts):
        chosen = slice(start, min(end + 1, step.size))
        tone = step[start] / (_TONES - 1)
        is_on |= draw_trace(
            sheet, bearing_deg[chosen], angle_deg[chosen], color=ink_at(tone, colour),
            linewidth=crest_width(tone) if width is None else width, zorder=zorder,
        )  # fmt: skip
    return is_on


def draw_lost(sheet: Sheet, view: DrawnView, track: CrestTrack, colour: str) -> bool:
    """Strokes under a crest with dead ground behind it, longer for more of it; returns whether there are any.

    There are none where hardly any ground is seen below the crest: they would run into the next one.
    """
    bearing_deg = view.fan.bearing_grid_deg[track.at]
    if not may_be_on(sheet.projection, bearing_deg):
        return False
    is_on = False
    lost_m = np.minimum(np.nan_to_num(track.lost_m, posinf=1e9), 1e9)
    _, foot_px = sheet.projection.pixels(bearing_deg, track.angle_deg - np.minimum(track.below_deg, 30.0))
    for x, y, places in _runs(sheet, bearing_deg, track.angle_deg):
        way = np.r_[0.0, np.cumsum(np.hypot(np.diff(x), np.diff(y)))]
        unit = sheet.pixel * sheet.bolder
        at = np.arange(_STROKE_APART * unit / 2, way[-1], _STROKE_APART * unit)
        lost = np.interp(at, way, along(lost_m, places))
        away_m = np.interp(at, way, along(track.distance_m, places))
        top_x, top_y = np.interp(at, way, x), np.interp(at, way, y)
        room = np.interp(at, way, along(np.nan_to_num(foot_px, nan=0.0), places)) - top_y
        length = np.minimum(unit * stroke_length(lost), _ROOM_SHARE * room)
        tone = tone_of(away_m)
        for i in np.flatnonzero(
            (lost >= LEAST_LOST_M) & (lost >= _LOST_SHARE * away_m) & (length >= 0.99 * unit * _STROKES[0])
        ):
            line = np.array([(top_x[i], top_y[i]), (top_x[i], top_y[i] + length[i])])
            sheet.add(line, ink_at(float(tone[i]), colour), 0.55, 3.4)
            is_on = True
    return is_on


def stroke_length(lost_m: Floats) -> Floats:
    """Pixels of the stroke for so much dead ground."""
    share = np.log(np.maximum(lost_m, 1.0) / LEAST_LOST_M) / np.log(MOST_LOST_M / LEAST_LOST_M)
    length: Floats = _STROKES[0] + (_STROKES[1] - _STROKES[0]) * np.clip(share, 0.0, 1.0)
    return length


def _runs(sheet: Sheet, bearing_deg: Floats, angle_deg: Floats) -> list[tuple[Floats, Floats, Floats]]:
    if not may_be_on(sheet.projection, bearing_deg):
        return []
    x, y = sheet.projection.pixels(bearing_deg, angle_deg)
    width, height = sheet.projection.width_px, sheet.projection.height_px
    return [(along(x, places), along(y, places), places) for places in inside_runs(x, y, width, height)]


def _path(x: Floats, y: Floats, pixel: float) -> Floats:
    line = shapely.simplify(shapely.linestrings(x, y), _TOLERANCE_PX * pixel)
    found: Floats = shapely.get_coordinates(line)
    return found
