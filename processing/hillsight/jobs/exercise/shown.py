"""What a page of an exercise shows, laid out from what was judged: views, map, places, reasons."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.ground.geodesy import grid_bearing_deg
from hillsight.jobs.exercise.landmarks import seen_words, unseen_words
from hillsight.jobs.exercise.views import ground_codes
from hillsight.jobs.exercise.words import (
    as_sentence,
    cautions,
    looking_words,
    mistakes,
    norths_of,
    ruled_out,
    where_words,
)
from hillsight.plan.picture.marks import Marks
from hillsight.plan.picture.photograph import Photograph
from hillsight.reading.drawn.fan import ground_angle_deg
from hillsight.sheets.exercise.page_data import (
    PageData,
    PageLandmark,
    PagePlace,
    PageReason,
    PageView,
    Spot,
    Trace,
)
from hillsight.sheets.exercise.page_map import MAP_SHAPE, page_map
from hillsight.sheets.paper.rims import rim_pieces
from hillsight.words.angles import bearing_words

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Floats
    from hillsight.jobs.exercise.laid_out import Shown
    from hillsight.jobs.exercise.views import PlaceView
    from hillsight.plan.exercise.marking import Reason
    from hillsight.sheets.paper.labels import Box
    from hillsight.sight.cylinder import Projection

#: Share of the ground ahead of the places to which their sectors are drawn.
_SECTOR_SHARE = 0.4

#: How views are drawn, for who holds them against a photograph.
_PROJECTION = (
    "A degree is as long across as up, all over the picture: a camera draws things near its sides larger."
)

#: A photograph is shrunk to so many pixels across.
_PHOTO_PX = 1_600

#: Half the size of the mark at a point that is no landmark, pixels.
_POINT_PX = 7.0

#: Ground states are told at every so many pixels of the map.
_CODES_EVERY = 2


def page_data(shown: Shown, made_of: str, provenance: str) -> PageData:
    """Everything on the page.

    Parameters
    ----------
    made_of : where it comes from, in words that give nothing away; provenance : the same as JSON
    """
    shown = shown.mixed()
    judged = shown.judged
    exercise, inputs = judged.exercise, judged.scene.inputs
    pointed, reasons, limits = shown.pointed, shown.reasons, shown.limits
    surface = inputs.terrain.window(*_middle(limits))
    return PageData(
        title=exercise.title,
        question=exercise.question,
        picture=question_view(shown),
        map=page_map(
            surface,
            inputs.features,
            limits,
            _map_spots(shown),
            _SECTOR_SHARE * shown.ahead_m,
            norths_of(judged).words(),
        ),
        places=tuple(_place(shown, number) for number in exercise.by_letter()),
        landmarks=tuple(PageLandmark(one.number, one.name, one.kind, one.evidence_class) for one in pointed),
        reasons=tuple(page_reason(shown, number, one) for number, one in enumerate(reasons, 1)),
        mistakes=mistakes(shown),
        made_of=made_of,
        provenance=provenance,
        cautions=cautions(judged),
    )


def _middle(limits: Box) -> tuple[float, float, float]:
    """Easting and northing of a map's middle, and how far its corners are, metres."""
    return (
        (limits.left + limits.right) / 2,
        (limits.bottom + limits.top) / 2,
        float(np.hypot(limits.width, limits.height)) / 2,
    )


def question_view(shown: Shown) -> PageView:
    """The picture of the question: the photograph, or the true place's view."""
    exercise = shown.judged.exercise
    looking = looking_words(shown)
    if exercise.picture.photo is None:
        return view_of(
            shown, exercise.truth(), f"Drawn from the terrain and the map: {looking}. No trees. {_PROJECTION}"
        )
    photograph = Photograph.open(exercise.beside(exercise.picture.photo))
    rgb, scale = _shrunk(photograph.array())
    says, truth = f"Photograph, {looking}.", exercise.truth()
    if shown.camera is None:
        return PageView(rgb, True, says, _marked_spots(shown, photograph, scale))
    laid = _Laid(shown.camera, scale)
    spots = _spots(shown, shown.views[truth], laid)
    return PageView(
        rgb, True, says, spots, _view_traces(shown, truth, laid), _ticks(shown.views[truth], laid)
    )


def _marked_spots(shown: Shown, photograph: Photograph, scale: float) -> tuple[Spot, ...]:
    """Landmarks where somebody marked them."""
    exercise = shown.judged.exercise
    if exercise.picture.marks is None:
        return ()
    marks = Marks.read(exercise.beside(exercise.picture.marks))
    marks.check(photograph)
    numbers = {one.name: one.number for one in shown.pointed}
    says = {spot.landmark: spot.says for spot in _spots(shown, shown.views[exercise.truth()])}
    found = [
        Spot(number, one.x_px * scale, one.y_px * scale, says.get(number, ""))
        for one in marks.landmarks
        if (number := numbers.get(one.feature)) is not None
    ]
    return tuple(sorted(found, key=lambda one: one.landmark))


def _shrunk(rgb: Bytes) -> tuple[Bytes, float]:
    """A picture no wider than a page wants, and by what it was shrunk."""
    from PIL import Image

    height, width = rgb.shape[:2]
    if width <= _PHOTO_PX:
        return rgb, 1.0
    scale = _PHOTO_PX / width
    size = (_PHOTO_PX, max(1, round(height * scale)))
    return np.asarray(Image.fromarray(rgb).resize(size, Image.Resampling.LANCZOS)), scale


def view_of(shown: Shown, number: int, says: str) -> PageView:
    """The view from a place, drawn, with landmarks and what reasons are about on it."""
    view = shown.views[number]
    return PageView(
        shown.drawn_rgb(number), False, says, _spots(shown, view), _view_traces(shown, number), _ticks(view)
    )


@dataclass(frozen=True)
class _Laid:
    """How a view lies on a picture that was shrunk by a scale."""

    projection: Projection
    scale: float = 1.0

    @property
    def size_px(self) -> tuple[float, float]:
        """Width and height of the picture as it is."""
        return self.projection.width_px * self.scale, self.projection.height_px * self.scale

    def pixels(self, bearing_grid_deg: Any, angle_deg: Any) -> tuple[Floats, Floats]:
        """Places on the picture of directions."""
        x_px, y_px = self.projection.pixels(bearing_grid_deg, angle_deg)
        return x_px * self.scale, y_px * self.scale


def _spots(shown: Shown, view: PlaceView, laid: _Laid | None = None) -> tuple[Spot, ...]:
    laid = laid or _Laid(view.cylinder)
    found = []
    for one in view.landmarks:
        if one.place in shown.numbers and one.is_on(laid.projection):
            x_px, y_px = (float(v) for v in laid.pixels(one.bearing_grid_deg, one.angle_deg))
            found.append(Spot(shown.numbers[one.place], x_px, y_px, seen_words(one)))
    return tuple(sorted(found, key=lambda one: one.landmark))


def _ticks(view: PlaceView, laid: _Laid | None = None) -> tuple[tuple[float, str], ...]:
    """True bearings along the lower edge, every ten degrees, or fewer where the picture is wide."""
    laid = laid or _Laid(view.cylinder)
    turn, span = view.view.convergence_deg, view.view.span_deg
    step = 10.0 if span <= 120 else 30.0
    # Somewhat beyond the view: a photograph need not look just where it was told to look.
    left = view.view.left_grid_deg + turn - 20.0
    bearings = np.arange(np.ceil(left / step) * step, left + span + 40.0, step)
    x_px, _ = laid.pixels((bearings - turn) % 360.0, np.zeros(bearings.size))
    room_px = 0.02 * laid.size_px[0]
    inside = (x_px >= room_px) & (x_px <= laid.size_px[0] - room_px)
    return tuple(
        (float(x), bearing_words(one)) for x, one in zip(x_px[inside], bearings[inside], strict=True)
    )


def _lines(geometry: shapely.Geometry | None, easting_m: float, northing_m: float) -> list[Floats]:
    """Lines of ground that a fact is about, metres; a point is a place by itself."""
    if geometry is None or geometry.is_empty:
        return []
    if shapely.get_dimensions(geometry) == 0:
        return [shapely.get_coordinates(geometry)[:1]]
    if shapely.get_dimensions(geometry) == 2:
        geometry = geometry.boundary
    return rim_pieces(geometry, easting_m, northing_m)


def grounds_of(shown: Shown, number: int) -> list[tuple[int, list[Floats]]]:
    """Lines of each reason at a place, by the reason's number; landmarks speak for themselves."""
    lines = shown.views[number].lines
    pointed = {one.name for one in shown.pointed}
    found = []
    for count, reason in enumerate(shown.reasons, 1):
        fact = reason.facts.get(number)
        if fact is None or fact.absent or (reason.things and set(reason.things) <= pointed):
            continue
        found.append((count, _lines(fact.geometry, lines.easting_m, lines.northing_m)))
    return [(count, of) for count, of in found if of]


def _map_traces(shown: Shown, number: int) -> tuple[Trace, ...]:
    traces = []
    for count, pieces in grounds_of(shown, number):
        lines = [_drawable(np.column_stack(shown.on_map(*piece.T))) for piece in pieces]
        traces.append(Trace(count, tuple(lines)))
    return tuple(traces)


def _view_traces(shown: Shown, number: int, laid: _Laid | None = None) -> tuple[Trace, ...]:
    view = shown.views[number]
    lines = view.lines
    laid = laid or _Laid(view.cylinder)
    wide_px, tall_px = laid.size_px
    traces = []
    for count, pieces in grounds_of(shown, number):
        kept: list[Floats] = []
        for piece in pieces:
            bearing = grid_bearing_deg(lines.easting_m, lines.northing_m, *piece.T)
            angle = ground_angle_deg(lines, bearing, lines.grid_distance_m(*piece.T))
            x_px, y_px = laid.pixels(bearing, angle)
            inside = np.isfinite(y_px) & (x_px >= 0) & (x_px <= wide_px)
            inside &= (y_px >= 0) & (y_px <= tall_px)
            ends = np.flatnonzero(np.diff(inside.astype(int))) + 1
            kept += [
                _drawable(np.column_stack((x_px[run], y_px[run])))
                for run in np.split(np.arange(inside.size), ends)
                if inside[run].all() and (run.size > 1 or len(piece) == 1)
            ]
        if kept:
            traces.append(Trace(count, tuple(kept)))
    return tuple(traces)


def _drawable(line: Floats) -> Floats:
    """A line without points that nobody sees; a single point as a small diamond about it."""
    if len(line) == 1:
        around = np.array([(0, -1), (1, 0), (0, 1), (-1, 0), (0, -1)], float)
        return np.asarray(line + _POINT_PX * around)
    return np.asarray(shapely.get_coordinates(shapely.simplify(shapely.LineString(line), 0.4)))


def _map_spots(shown: Shown) -> tuple[Spot, ...]:
    found = []
    for one in shown.pointed:
        x_px, y_px = (float(v) for v in shown.on_map(one.easting_m, one.northing_m))
        if 0 <= x_px <= MAP_SHAPE[1] and 0 <= y_px <= MAP_SHAPE[0]:
            found.append(Spot(one.number, x_px, y_px))
    return tuple(found)


def _place(shown: Shown, number: int) -> PagePlace:
    exercise, view = shown.judged.exercise, shown.views[number]
    lines = view.lines
    is_true = number == exercise.truth()
    x_px, y_px = (float(v) for v in shown.on_map(lines.easting_m, lines.northing_m))
    own = None
    if not is_true or exercise.picture.photo is not None:
        says = f"Drawn from the terrain and the map: {looking_words(shown)}. {_PROJECTION}"
        own = view_of(shown, number, says)
    on_view = {spot.landmark for spot in _spots(shown, view)}
    letter = exercise.letters()[number]
    shape = tuple(size // _CODES_EVERY for size in MAP_SHAPE)
    return PagePlace(
        letter=letter,
        name=exercise.places[number].name,
        where=where_words(shown, number),
        x_px=x_px,
        y_px=y_px,
        left_grid_deg=view.view.left_grid_deg,
        span_deg=view.view.span_deg,
        is_true=is_true,
        view=own,
        dead=ground_codes(view, shown.judged.scene.inputs, shown.limits, (shape[0], shape[1])),
        traces=_map_traces(shown, number),
        others=tuple(
            (one.number, unseen_words(view, one.place)) for one in shown.pointed if one.number not in on_view
        ),
        ruled_out=ruled_out(shown, number),
    )


def page_reason(shown: Shown, number: int, one: Reason) -> PageReason:
    """A reason in sentences, with the numbers of its landmarks."""
    numbers = {pointed.name: pointed.number for pointed in shown.pointed}
    return PageReason(
        number=number,
        words=as_sentence(one.words),
        role=one.role,
        evidence_class=one.evidence_class,
        worth=one.worth,
        because=as_sentence(one.because),
        landmarks=tuple(numbers[name] for name in one.things if name in numbers),
    )
