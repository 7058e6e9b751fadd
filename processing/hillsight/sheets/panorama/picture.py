"""One picture of a drawn view on a page: ground, features, landmarks with numbers, scales along its edges."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import ceil, floor
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.sheets.panorama import strokes
from hillsight.sheets.panorama.numbers import NumberPlacer
from hillsight.sheets.panorama.painted import Cover, paint
from hillsight.sheets.paper import palette
from hillsight.sheets.paper.bearing_marks import sign_of, state_of
from hillsight.sheets.paper.drawn_signs import draw_mark, line_style
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import nice_step
from hillsight.sheets.paper.marks import Sign
from hillsight.sheets.paper.palette import INK, QUIET
from hillsight.sheets.paper.sign_kinds import feature_line
from hillsight.sight.viewing import Eye
from hillsight.words.trust import trust_order

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Bytes, Floats
    from hillsight.reading.drawn.drawn_view import DrawnView
    from hillsight.reading.drawn.landmarks import Landmark
    from hillsight.sheets.panorama.painted import Light
    from hillsight.sheets.paper.page import Page
    from hillsight.sight.cylinder import Projection

_MARK_SHARE = 0.78  # of the usual size of marks
_NUMBER_SIZE = 7.5
_RANGE_COLOUR = "#6F6A78"
_STEPS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 45.0)
_LEAST_TICK, _LEAST_LABEL = 7.0, 62.0  # pixels between ticks, and between figures
_POINT_ROOM = 30.0  # pixels between the left edge and the first figure with a point of the compass
#: Ground above the upper edge is told of where it is so wide (pixels of the page).
_LEAST_ABOVE = 24.0
#: Marks nearer than this (pixels, both ways) share one place for their numbers.
_SAME_PX = 9.0

#: Bearings tried along an edge to find where each lies.
_EDGE_PLACES = 2_000

#: Kinds of areas that are tinted as woods.
_WOODS = ("wood", "forest", "plantation", "copse", "trees")

_POINTS = {0: "N", 45: "NE", 90: "E", 135: "SE", 180: "S", 225: "SW", 270: "W", 315: "NW"}


@dataclass(frozen=True)
class North:
    """Which north the scale of bearings counts from.

    word : "true", "grid" or "magnetic"
    to_grid_deg : what makes its bearings grid bearings when added
    """

    word: str
    to_grid_deg: float


@dataclass(frozen=True)
class Ground:
    """How the ground is drawn: as lines alone, or shaded under them.

    light : of the shade; over the left shoulder where None
    """

    relief: bool = False
    light: Light | None = None


LINES_ALONE = Ground()


@dataclass
class Picture:
    """A picture at a place of a page.

    place : pixels of the page, as wide and tall as the projection's picture
    drawn : what is on it and its signs, for the legend; of a haze, the distance (m) at which half of the
        contrast is left
    bolder : by what lines are made bolder than on a page of A4 or A3
    """

    page: Page
    place: Box
    view: DrawnView
    projection: Projection
    drawn: dict[str | Sign, float] = field(default_factory=dict)
    bolder: float = 1.0

    def __post_init__(self) -> None:
        width, height = self.projection.width_px, self.projection.height_px
        self.axes = self.page.frame(self.place, Box(0.0, float(height), float(width), 0.0))
        self.sheet = strokes.Sheet(self.axes, self.projection, width / self.place.width, self.bolder)

    def to_page(self, x_px: float, y_px: float) -> tuple[float, float]:
        """Pixels of the page, y upwards, of a place on the picture."""
        return (
            self.place.left + x_px * self.place.width / self.projection.width_px,
            self.place.top - y_px * self.place.height / self.projection.height_px,
        )

    def _draw_relief(self, light: Light | None) -> None:
        """Shaded ground under the lines."""
        lines, view = self.view.lines, self.view
        far = view.far
        eye = Eye.on(
            far.surface.grid, lines.easting_m, lines.northing_m, lines.eye.level_m, lines.eye.drop_per_m
        )
        painted = paint(far, eye, self.projection, light=light, cover=_cover(view), slopes=view.slopes)
        self.draw_under(painted.picture)
        self.drawn["haze"] = painted.scene.haze_half_m

    def draw_under(self, rgb: Bytes) -> None:
        """A picture under the lines: (rows, columns, 3), over all of the place."""
        wide, tall = self.projection.width_px, self.projection.height_px
        same = rgb.shape[:2] == (round(self.place.height), round(self.place.width))
        self.axes.imshow(
            rgb,
            extent=(0, wide, tall, 0),
            aspect="auto",
            interpolation="none" if same else "antialiased",
            zorder=0.5,
        )
        self.axes.set_xlim(0, wide)
        self.axes.set_ylim(tall, 0)

    def draw_ground(self, ground: Ground = LINES_ALONE) -> None:
        """Skyline, crest lines with dead ground behind them; lines of equal distance, or shaded ground."""
        if ground.relief:
            self._draw_relief(ground.light)
        view, fan, sheet = self.view, self.view.fan, self.sheet
        bearing = fan.bearing_grid_deg
        if not ground.relief:
            for line in view.ranges:
                tone = float(strokes.tone_of(np.array([line.distance_m]))[0])
                if strokes.draw_trace(
                    sheet, bearing, line.angle_deg, color=strokes.ink_at(tone, _RANGE_COLOUR, 0.45),
                    linewidth=0.38, zorder=2.0,
                ):  # fmt: skip
                    self.drawn["ranges"] = 0.0
        for track in view.crests:
            colour = palette.BROW if track.role == "brow" else INK
            at = bearing[track.at]
            if strokes.draw_lost(sheet, view, track, colour):
                self.drawn["lost"] = 0.0
            width = strokes.BROW_WIDTH if track.role == "brow" else None
            if strokes.draw_toned(sheet, at, track.angle_deg, track.distance_m, colour, 3.6, width):
                self.drawn[track.role] = 0.0
        closed = fan.sky_is_ground
        for word, chosen in (("skyline", closed), ("open skyline", ~closed)):
            angle = np.where(_widened(chosen), fan.sky_deg, np.nan)
            if np.isfinite(np.where(chosen, angle, np.nan)).any():
                style = {"linewidth": strokes.SKYLINE_WIDTH} if word == "skyline" else strokes.OPEN_SKYLINE
                if strokes.draw_trace(sheet, bearing, angle, zorder=4.2, **style):
                    self.drawn[word] = 0.0

    def finish(self) -> None:
        """Draw the lines that were gathered."""
        self.sheet.finish()

    def draw_features(self) -> None:
        """Streams, walls and ways where they are seen, and outlines of areas."""
        features = self.view.features
        for trace in self.view.traces:
            assert features is not None
            row = features.iloc[trace.place]
            evidence, kind = str(row["evidence_class"]), str(row["kind"] or "")
            sign = feature_line(evidence, kind)
            style = line_style(sign)
            style["linewidth"] = max(0.7, style["linewidth"] * (1.15 - 0.45 * _tone(trace.distance_m)))
            if strokes.draw_trace(self.sheet, trace.bearing_grid_deg, trace.angle_deg, zorder=3.8, **style):
                self.drawn[sign] = 0.0

    def draw_landmarks(self, landmarks: Sequence[Landmark]) -> list[Landmark]:
        """Marks with their numbers; returns the landmarks on the picture whose numbers found no room."""
        bounds = Box(self.place.left + 2, self.place.bottom + 2, self.place.right - 2, self.place.top - 2)
        placer = NumberPlacer(bounds, self._tell_ground_above())
        on_it = []
        for landmark in landmarks:
            if landmark.is_on(self.projection):
                at_x, at_y = self.projection.pixels(landmark.bearing_grid_deg, landmark.angle_deg)
                on_it.append((landmark, *self.to_page(float(at_x), float(at_y))))
        for landmark, x, y in sorted(on_it, key=lambda one: -trust_order(one[0].evidence_class)):
            self._draw_mark(landmark, x, y)
        together = _together([one for one in on_it if one[0].number])
        for _, x, y in together:
            placer.keep_off(x, y, 5.0)
        unplaced: list[Landmark] = []
        height = self.page.size_of("0", _NUMBER_SIZE, bold=True)[1] * 0.82
        # What stands highest has the least room above it, and chooses first.
        for found, x, y in sorted(together, key=lambda one: -one[2]):
            text = ", ".join(str(number) for number in sorted(one.number for one in found))
            width = self.page.size_of(text, _NUMBER_SIZE, bold=True)[0]
            numbered = placer.place(x, y, width, height)
            if numbered is None:
                unplaced += found
                continue
            if numbered.leader is not None:
                (x0, y0), (x1, y1) = numbered.leader
                self.page.line([x0, x1], [y0, y1], linewidth=0.5, color=palette.LEADER, zorder=7)
            box = numbered.box
            seen = any(landmark.is_seen for landmark in found)
            self.page.text(
                box.left, (box.bottom + box.top) / 2, text, _NUMBER_SIZE, bold=True, halo=True,
                colour=INK if seen else QUIET,
            )  # fmt: skip
        return unplaced

    def _draw_mark(self, landmark: Landmark, x: float, y: float) -> None:
        entry = {"state": landmark.state, "evidence_class": landmark.evidence_class, "kind": landmark.kind}
        share = _MARK_SHARE if landmark.number else 0.64 * _MARK_SHARE
        draw_mark(self.page, x, y, sign_of(entry), state_of(entry), share=share)
        self.drawn[sign_of(entry)] = 0.0
        self.drawn[f"state {landmark.state}"] = 0.0

    def _tell_ground_above(self) -> list[Box]:
        """A strong upper edge where ground rises beyond it, and words how far; returns boxes of the words."""
        fan, page, place = self.view.fan, self.page, self.place
        x_px, y_px = self.projection.pixels(fan.bearing_grid_deg, fan.sky_deg)
        x = place.left + x_px * place.width / self.projection.width_px
        with np.errstate(invalid="ignore"):
            above = (y_px < 0) & (x >= place.left) & (x <= place.right)
        turns = np.flatnonzero((np.diff(above.astype(np.int8)) != 0) | (np.abs(np.diff(x)) > place.width / 2))
        words_at = []
        for run in np.split(np.arange(x.size), turns + 1):
            left, right = float(x[run].min()), float(x[run].max())
            if not above[run[0]] or right - left < _LEAST_ABOVE:
                continue
            page.line([left, right], [place.top, place.top], linewidth=strokes.SKYLINE_WIDTH, zorder=8.5)
            text = f"ground rises to {fan.sky_deg[run].max():+.0f}°, above this picture"
            if page.size_of(text, 7)[0] + 12 <= right - left:
                words_at.append(page.text((left + right) / 2, place.top - 14, text, 7, align="center"))
        return words_at

    def draw_scales(self, north: North) -> None:
        """Frame; bearings along the lower edge, vertical angles along the left one, the level across."""
        self.page.box(self.place, linewidth=0.9, zorder=8)
        self._draw_level()
        self._draw_angles()
        self._draw_bearings(north)

    def _draw_level(self) -> None:
        bearing = self.view.fan.bearing_grid_deg
        strokes.draw_trace(
            self.sheet, bearing, np.zeros(bearing.size), color=QUIET, linewidth=0.5, linestyle=(0, (1, 4)),
            zorder=1.5,
        )  # fmt: skip

    def _draw_angles(self) -> None:
        page, place = self.page, self.place
        y_px = np.linspace(0.0, self.projection.height_px, _EDGE_PLACES)
        angle = self.projection.directions(np.zeros(y_px.size), y_px)[1]
        if not np.isfinite(angle).all():
            return
        low, high = float(angle.min()), float(angle.max())
        step = nice_step(high - low, max(2, int(place.height // 60)))
        fine = step / 5
        ticks: dict[bool, list[tuple[float, float, float, float]]] = {True: [], False: []}
        for n in range(ceil(low / fine), floor(high / fine) + 1):
            y = self.to_page(0.0, float(np.interp(n * fine, angle[::-1], y_px[::-1])))[1]
            long = n % 5 == 0
            ticks[long].append((place.left - (7 if long else 4), y, place.left, y))
            if long and place.bottom + 6 <= y <= place.top - 4:
                sign = "" if n == 0 else "+" if n > 0 else "−"
                page.text(place.left - 10, y, f"{sign}{abs(n * fine):g}°", 7, align="right")
        page.lines(ticks[True], 0.7)
        page.lines(ticks[False], 0.45)

    def _draw_bearings(self, north: North) -> None:
        page, place = self.page, self.place
        width = self.projection.width_px
        x_px = np.linspace(0.0, width, _EDGE_PLACES)
        grid, _ = self.projection.directions(x_px, np.full(x_px.size, float(self.projection.height_px)))
        if not np.isfinite(grid).all():
            return
        shown = np.unwrap(grid - north.to_grid_deg, period=360.0)
        span = float(shown[-1] - shown[0])
        if span <= 0:  # the last place of a whole round is its first again
            shown[-1] += 360.0
            span = float(shown[-1] - shown[0])
        per_degree = place.width / span
        fine = next(s for s in _STEPS if s * per_degree >= _LEAST_TICK)
        every = next(s for s in _STEPS if s * per_degree >= _LEAST_LABEL and round(s / fine, 6) % 1 == 0)
        ticks: dict[bool, list[tuple[float, float, float, float]]] = {True: [], False: []}
        for n in range(ceil(shown[0] / fine - 1e-9), floor(shown[-1] / fine + 1e-9) + 1):
            x = self.to_page(float(np.interp(n * fine, shown, x_px)), 0.0)[0]
            long = round(n * fine / every, 6) % 1 == 0
            ticks[long].append((x, place.bottom - (8 if long else 4), x, place.bottom))
            if long:
                figure = (n * fine) % 360.0
                digits = f"{figure:03.0f}" if fine * round(every / fine) >= 1 else f"{figure:05.1f}"
                point = _POINTS.get(round(figure)) if abs(figure - round(figure)) < 1e-6 else None
                # At the left end there is no room beside the north's name.
                roomy = every * per_degree > 80 and x - place.left > _POINT_ROOM
                text = f"{digits} {point}" if point and roomy else digits
                page.text(x, place.bottom - 19, text, 7, align="center", bold=point is not None)
        page.lines(ticks[True], 0.8)
        page.lines(ticks[False], 0.45)
        left = max(6.0, place.left - 30 - page.size_of(north.word, 7)[0])
        page.text(left, place.bottom - 19, north.word, 7, colour=QUIET)


def _cover(view: DrawnView) -> Cover:
    """Woods and water of the map, as areas."""
    features = view.features
    if features is None:
        return Cover()
    areas = features[shapely.get_dimensions(features.geometry.to_numpy()) == 2]
    kinds = areas["kind"].fillna("").str.casefold()
    woods = kinds.map(lambda kind: any(word in kind for word in _WOODS))
    return Cover(
        woods=tuple(areas.geometry[woods]), water=tuple(areas.geometry[areas["evidence_class"] == "water"])
    )


def _tone(distance_m: Floats) -> float:
    return float(strokes.tone_of(np.array([np.median(distance_m)]))[0])


def _together(on_it: list[tuple[Landmark, float, float]]) -> list[tuple[list[Landmark], float, float]]:
    """Landmarks whose marks all but coincide share one place for their numbers."""
    found: list[tuple[list[Landmark], float, float]] = []
    for landmark, x, y in on_it:
        for group, at_x, at_y in found:
            if abs(at_x - x) <= _SAME_PX and abs(at_y - y) <= _SAME_PX:
                group.append(landmark)
                break
        else:
            found.append(([landmark], x, y))
    return found


def _widened(chosen: Any) -> Any:
    """Bearings chosen, and those beside them, so that two lines meet."""
    wide = chosen.copy()
    wide[1:] |= chosen[:-1]
    return wide
