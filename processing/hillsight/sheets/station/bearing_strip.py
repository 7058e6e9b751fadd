"""The bearing list as a strip: bearings left to right, vertical angles up, the skyline behind the marks."""

from __future__ import annotations

from math import ceil, floor
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.sheets.paper import palette
from hillsight.sheets.paper.bearing_marks import label_words, state_mark, strip_legend
from hillsight.sheets.paper.labels import Box, rows_above, spread
from hillsight.sheets.paper.maps import (
    draw_legend,
    nice_step,
)
from hillsight.sheets.paper.margins import CAUTION, draw_title, provenance_words, station_name
from hillsight.sheets.paper.marks import ROLE_LINES, name_of
from hillsight.sheets.paper.page import A4_LONG, A4_SHORT, LINES, Page
from hillsight.sheets.paper.palette import INK, QUIET
from hillsight.words.quantities import length_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from hillsight.arrays import Flags, Floats
    from hillsight.layers.contents import Content

_LEFT, _RIGHT = 96, 1520  # of the strips; names may run on to the right of it
_PROFILE, _NAMES, _TICKS = 222, 188, 50  # pixels of height: profile, rows of names, bearings below
_LABEL_SIZE = 7.0
_MOST_NAMES = 80  # tried on a strip
_WIDEST_BAR_DEG = 45.0  # a wider extent, drawn at one angle, would say little
_FEET = 9.0  # least pixels between leaders
_SHOWN = ("visible", "partly", "uncertain", "hidden", "unknown")

#: States in which a feature is worth its label more than others.
_SEEN = ("visible", "partly", "uncertain")


def draw_bearings(content: Content) -> Page:
    """The page of ``preview_bearings``: one strip for a sector up to 180 degrees, two for more."""
    page = Page(A4_LONG, A4_SHORT)
    start, span = _sector(content)
    strips = 1 if span <= 180 else 2
    entries = _entries(content, start, span)
    low, high = _angles(content, entries)
    draw_title(page, _LEFT, f"From left to right as seen from {station_name(content)}")
    page.text(_LEFT, page.height - 68, _count_words(content, entries, start, span), 8)
    # Without features nothing needs naming: the profile takes the room.
    names = _NAMES if entries else 12
    profile = _PROFILE + _NAMES - names
    height = profile + names + _TICKS
    top, unlabelled = page.height - 88.0, 0
    drawn: dict[str, None] = {}
    for number in range(strips):
        first = start + number * span / strips
        place = Box(_LEFT, top - height + _TICKS, _RIGHT, top - names)
        strip = _Strip(page, place, first, span / strips, low, high)
        strip.draw_ground(content, drawn)
        strip.draw_axes(content.station)
        unlabelled += strip.draw_marks(
            [e for e in entries if strip.holds(e["from_start"] + start)], start, drawn
        )
        top -= height + 14
    legend = strip_legend(entries, drawn)
    below = draw_legend(page, legend, Box(_LEFT, top - 6, A4_LONG - 60, top - 6), 4)
    words = [
        "Vertical angles are from the level, with curvature and refraction"
        f"; drawn {_steepening(profile, span / strips, low, high):.2g} times as tall as wide."
    ]
    if unlabelled:
        marks = "1 mark" if unlabelled == 1 else f"{unlabelled} marks"
        words.append(f"{marks} without a name here, for want of room: see the list.")
    below = page.paragraph(_LEFT, below - 8, 1560, " ".join(words), 7.5)
    page.paragraph(_LEFT, below - 4, 1560, f"{provenance_words(content)} {CAUTION}", 6.8, colour=QUIET)
    return page


def _sector(content: Content) -> tuple[float, float]:
    """First true bearing and width of the sector that the list was asked for, degrees."""
    first = content.parameters.get("from_bearing_true_deg")
    last = content.parameters.get("to_bearing_true_deg")
    start = float(first) % 360.0 if isinstance(first, (int, float)) else 0.0
    if not isinstance(last, (int, float)):
        return start, 360.0
    return start, (float(last) - start) % 360.0 or 360.0


def _entries(content: Content, start: float, span: float) -> list[dict[str, Any]]:
    """Features that have a place on the strip, in their order."""
    frame = content.rows("bearing_list")
    if frame is None:
        return []
    found = []
    for row in frame.drop(columns="geometry").to_dict("records"):
        angle = row["vertical_angle_deg"]
        if isinstance(row.get("landform"), str) and not isinstance(row["name"], str):
            continue  # there are hundreds; the list and the layer have them
        if row["state"] not in _SHOWN or angle is None or not np.isfinite(angle):
            continue
        from_start = (float(row["bearing_true_deg"]) - start) % 360.0
        if from_start <= span:
            found.append({**row, "from_start": from_start})
    return found


def _angles(content: Content, entries: list[dict[str, Any]]) -> tuple[float, float]:
    """Lowest and highest vertical angle to draw: all marks and the whole skyline, with some room."""
    angles = [float(e["vertical_angle_deg"]) for e in entries]
    outline = content.rows("skyline_bearings")
    if outline is not None:
        angles += [float(v) for v in outline["angle_deg"] if np.isfinite(v)]
    if not angles:
        return -2.0, 2.0
    low, high = min(angles), max(angles)
    room = max(0.07 * (high - low), (2.0 - (high - low)) / 2, 0.15)
    return low - room, high + room


def _steepening(profile: float, span: float, low: float, high: float) -> float:
    return (profile / (high - low)) / ((_RIGHT - _LEFT) / span)


def _count_words(content: Content, entries: list[dict[str, Any]], start: float, span: float) -> str:
    counts = {state: sum(e["state"] == state for e in entries) for state in _SHOWN}
    frame = content.rows("bearing_list")
    listed = 0 if frame is None else len(frame)
    words = [f"{number} {state}" for state, number in counts.items() if number]
    undrawn = listed - len(entries)
    if undrawn:
        words.append(f"{undrawn} not drawn: out of reach, no height, or a landform without a name")
    what = f"{listed} features: {', '.join(words)}" if listed else "no features listed"
    part = (
        "round the whole circle"
        if span == 360
        else f"the sector {start % 360:03.0f}° to {(start + span) % 360:03.0f}° true"
    )
    reach = length_words(float(content.station["reach_m"]))
    eye = f"eye at {content.station['eye_level_m']:.1f} m, reach {reach}"
    return f"{what}; {part}; {eye}"


class _Strip:
    """One strip: bearings from ``first`` over ``span`` degrees."""

    def __init__(self, page: Page, place: Box, first: float, span: float, low: float, high: float) -> None:
        self.page, self.place = page, place
        self.first, self.span = first, span
        self.low, self.high = low, high
        self.axes: Axes = page.frame(place, Box(0, low, span, high))

    def holds(self, bearing_deg: float) -> bool:
        """Whether a bearing that counts on from the list's start lies on this strip."""
        return self.first <= bearing_deg < self.first + self.span or (
            bearing_deg == self.first + self.span and self.span not in (180.0,)
        )

    def across(self, from_first_deg: float) -> float:
        """Pixels across of a bearing."""
        return self.place.left + from_first_deg / self.span * self.place.width

    def up(self, angle_deg: float) -> float:
        """Pixels up of a vertical angle."""
        return self.place.bottom + (angle_deg - self.low) / (self.high - self.low) * self.place.height

    def draw_ground(self, content: Content, drawn: dict[str, None]) -> None:
        """Skyline, ground below it, nearer crests; adds what was drawn to ``drawn``."""
        outline = content.rows("skyline_bearings")
        if outline is not None:
            x, angle, sure = self._outline(outline)
            self.axes.fill_between(x, angle, self.low, color=palette.LAND, linewidth=0, zorder=1)
            for part_sure, word in ((True, "skyline"), (False, "open skyline")):
                heights = np.where(sure == part_sure, angle, np.nan)
                if np.isfinite(heights).any():
                    drawn[word] = None
                    style = (
                        {"linewidth": 1.5} if part_sure else {"linewidth": 1.1, "linestyle": (0, (2, 1.2))}
                    )
                    self.axes.plot(
                        x, heights, color=INK, zorder=4, scalex=False, scaley=False, **LINES, **style
                    )
        lines = content.rows("crest_lines")
        if lines is None:
            return
        for role in ("crest", "brow"):
            for x, angle in self._crests(content, lines, role):
                drawn[role] = None
                style = {**ROLE_LINES[role], "linewidth": 0.8, "alpha": 0.9}
                self.axes.plot(x, angle, **style, zorder=3, scalex=False, scaley=False, **LINES)

    def _outline(self, outline: Any) -> tuple[Floats, Floats, Flags]:
        """Bearings from the strip's left edge in order, to beyond both edges; angles; whether sure."""
        from_first = (outline["bearing_true_deg"].to_numpy(float) - self.first + 5.0) % 360.0 - 5.0
        angle = outline["angle_deg"].to_numpy(float)
        sure = (outline["state"] == "ground").to_numpy(bool)
        order = np.argsort(from_first, kind="stable")
        x, angle, sure = from_first[order], angle[order], sure[order]
        again = x < 5.0  # a strip of the whole circle ends where it began
        return (
            np.concatenate([x, x[again] + 360.0]),
            np.concatenate([angle, angle[again]]),
            np.concatenate([sure, sure[again]]),
        )

    def _crests(self, content: Content, lines: Any, role: str) -> list[tuple[Floats, Floats]]:
        """Crest lines of a role as seen: bearings from the strip's left edge, vertical angles."""
        import shapely

        from hillsight.ground.geodesy import Geodesy, drop_coefficient_per_m, grid_bearing_deg

        at = content.station.geometry
        geodesy = Geodesy(lines.crs)
        refraction = content.parameters.get("refraction")
        drop = drop_coefficient_per_m(
            geodesy.gaussian_radius_m(at.x, at.y), 0.13 if refraction is None else float(refraction)
        )
        turn = float(geodesy.convergence_deg(at.x, at.y))
        found = []
        for shape in lines.geometry[lines["role"] == role]:
            for part in shapely.get_parts(shape):
                points = shapely.get_coordinates(part, include_z=True)
                distance = np.hypot(points[:, 0] - at.x, points[:, 1] - at.y)
                points, distance = points[distance > 1.0], distance[distance > 1.0]
                if len(points) < 2 or not np.isfinite(points).all():
                    continue
                rise = points[:, 2] - drop * distance**2 - float(content.station["eye_level_m"])
                angle = np.degrees(np.arctan2(rise, distance))
                bearing = grid_bearing_deg(at.x, at.y, points[:, 0], points[:, 1]) + turn - self.first
                # Unrolled, so that a line over the strip's ends is no stroke across all of it.
                unrolled = np.degrees(np.unwrap(np.radians(bearing)))
                unrolled -= 360.0 * np.floor(unrolled.min() / 360.0)
                found += [(unrolled, angle), (unrolled - 360.0, angle)]
        return [(x, a) for x, a in found if x.max() >= 0 and x.min() <= self.span]

    def draw_axes(self, station: Any) -> None:
        """Frame, vertical angles, true bearings with three figures, and compass or grid bearings below."""
        page, place = self.page, self.place
        page.box(place, linewidth=1.0, zorder=4)
        step = nice_step(self.high - self.low, 5)
        for n in range(ceil(self.low / step), floor(self.high / step) + 1):
            y = self.up(n * step)
            page.line([place.left - 6, place.left], [y, y], linewidth=0.7)
            if n == 0:
                page.line([place.left, place.right], [y, y], linewidth=0.6, linestyle=(0, (1, 3)), zorder=1)
            sign = "" if n == 0 else "+" if n > 0 else "−"
            page.text(place.left - 9, y, f"{sign}{abs(n * step):g}°", 7, align="right")
        every = next(s for s in (1.0, 2.0, 5.0, 10.0, 15.0, 30.0) if self.span / s <= 19)
        self._bearings(0.0, every, 0, "true")
        declination = station.get("declination_deg")
        if declination is not None and np.isfinite(declination):
            self._bearings(float(declination), every, 24, "compass")
        else:
            self._bearings(float(station["convergence_deg"]), every, 24, "grid")

    def _bearings(self, offset_deg: float, every: float, below: float, word: str) -> None:
        """One row of bearings; ``offset_deg`` is what makes them true bearings."""
        page, place = self.page, self.place
        bold = below == 0
        page.text(place.right + 24, place.bottom - (12 if bold else 15) - below, word, 7, bold=bold)
        first, last = self.first - offset_deg, self.first + self.span - offset_deg
        for n in range(ceil(first / every - 1e-9), floor(last / every + 1e-9) + 1):
            x = self.across(n * every - first)
            if bold:
                page.line([x, x], [place.bottom - 5, place.bottom], linewidth=0.8)
            else:
                page.line([x, x], [place.bottom - 27, place.bottom - 24], linewidth=0.6)
            shift = 6 if bold else 12
            page.text(
                x, place.bottom - 9 - below - shift / 2, f"{n * every % 360:03.0f}", 7 if bold else 6.5,
                bold=bold, align="center",
            )  # fmt: skip

    def draw_marks(self, entries: list[dict[str, Any]], start: float, drawn: dict[str, None]) -> int:
        """Marks, and names in rows above with leaders; returns how many names found no room."""
        page = self.page
        labels = [label_words(entry) for entry in entries]
        xs = [self.across(e["from_start"] + start - self.first) for e in entries]
        ys = [self.up(float(e["vertical_angle_deg"])) for e in entries]
        widths = [page.size_of(text, _LABEL_SIZE)[0] for text in labels]
        height = page.size_of("X", _LABEL_SIZE)[1]
        band = Box(self.place.left - 60, self.place.top + 8, page.width - 14, self.place.top + _NAMES - 6)
        boxes, feet = _placed(entries, xs, widths, height, band)
        for entry, x, y, box in zip(entries, xs, ys, boxes, strict=True):
            self._draw_extent(entry, y, drawn)
            minor = box is None and entry["state"] not in _SEEN
            page.line([x], [y], linestyle="none", zorder=6 if minor else 8, **state_mark(entry, minor=minor))
        for entry, text, x, foot, y, box in zip(entries, labels, xs, feet, ys, boxes, strict=True):
            if box is None:
                continue
            seen = entry["state"] in _SEEN
            page.line(
                [x, foot, foot],
                [y + 6, band.bottom - 6, box.bottom],
                linewidth=0.5,
                color=palette.LEADER,
                zorder=3,
            )
            page.text(box.left, (box.bottom + box.top) / 2, text, _LABEL_SIZE, colour=INK if seen else QUIET)
        return sum(box is None for box in boxes)

    def _draw_extent(self, entry: dict[str, Any], y: float, drawn: dict[str, None]) -> None:
        """From the left to the right edge of what is seen, if that is wider than the mark."""
        left, right = entry.get("left_edge_true_deg"), entry.get("right_edge_true_deg")
        if left is None or right is None or not np.isfinite([left, right]).all():
            return
        width = (float(right) - float(left)) % 360.0
        if width == 0.0 or width > _WIDEST_BAR_DEG:
            return
        from_first = (float(left) - self.first) % 360.0
        colour = palette.EVIDENCE_CLASSES.get(entry["evidence_class"], palette.UNCLASSED)
        for shift in (0.0, -360.0):
            a, b = max(from_first + shift, 0.0), min(from_first + shift + width, self.span)
            if b > a and self.across(b) - self.across(a) > 12:
                drawn["extent"] = None
                self.page.line(
                    [self.across(a), self.across(b)], [y, y], color=colour, linewidth=1.3, alpha=0.6, zorder=6
                )


def _placed(
    entries: list[dict[str, Any]], xs: list[float], widths: list[float], height: float, band: Box
) -> tuple[list[Box | None], list[float]]:
    """Boxes of the names: the seen first, then the named by how little hides them, while there is room.

    Also, for each, where the upright part of its leader stands.
    """

    def weight(i: int) -> tuple[bool, bool, float]:
        entry = entries[i]
        by = entry.get("hidden_by_m")
        return (
            entry["state"] not in _SEEN,
            not name_of(entry.get("name")),
            float(by) if by is not None and np.isfinite(by) else np.inf,
        )

    kept: list[int] = []
    boxes: list[Box | None] = []
    feet: list[float] = []
    # What is hidden and has no name needs none: it would take the room of what an argument can use.
    worth = [i for i in range(len(entries)) if weight(i)[:2] != (True, True)]
    for i in sorted(worth, key=weight)[:_MOST_NAMES]:
        tried = [*kept, i]
        stands = spread([xs[j] for j in tried], _FEET)
        found = rows_above(stands, [widths[j] for j in tried], height, band, all_or_none=True)
        if found[-1] is not None:
            kept, boxes, feet = tried, found, stands
    placed: list[Box | None] = [None] * len(entries)
    leaders = list(xs)
    for i, box, foot in zip(kept, boxes, feet, strict=True):
        placed[i], leaders[i] = box, foot
    return placed, leaders
