"""The view from a station as a page: strips of the round or a sector, a key of landmarks, scales."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from hillsight.reading.drawn.extent import angles_shown
from hillsight.reading.drawn.landmarks import landmarks
from hillsight.sheets.panorama import strokes
from hillsight.sheets.panorama.key import draw_key, lay_key, most_entries
from hillsight.sheets.panorama.layout import BELOW, BETWEEN, lay_strips
from hillsight.sheets.panorama.picture import LINES_ALONE, Ground, North, Picture
from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import (
    ROW,
    Entry,
    area_entry,
    draw_legend,
    line_entry,
    place_words,
    sign_entry,
)
from hillsight.sheets.paper.margins import CAUTION, draw_title
from hillsight.sheets.paper.marks import Sign, feature_entries, name_of
from hillsight.sheets.paper.page import A4_LONG, A4_SHORT, Page
from hillsight.sheets.paper.palette import QUIET
from hillsight.sheets.paper.relief import mixed
from hillsight.words.quantities import length_words, rough_distance_words, whole_number

if TYPE_CHECKING:
    from hillsight.reading.drawn.drawn_view import DrawnView
    from hillsight.reading.drawn.landmarks import Landmark
    from hillsight.sheets.panorama.key import Key
    from hillsight.sight.cylinder import Projection

#: Papers by name, pixels lengthwise at 150 dots an inch (ISO 216: 210 x 297 mm and 297 x 420 mm).
PAPERS = {"A4": (A4_LONG, A4_SHORT), "A3": (2480, 1754)}

_LEFT, _RIGHT = 92, 92  # pixels beside the pictures: vertical angles, and the north's name
_HEAD, _FOOT = 84, 118
_LEGEND_COLUMN = 400.0
_MOST_LANDMARKS = 60
_LEGEND_ENTRIES = 15  # that room is kept for
_BOLDER_FROM = 1_800.0  # pixels of width from which a bare picture's lines grow
#: The key takes no more of a page than this share.
_KEY_SHARE = 0.34


@dataclass(frozen=True)
class Place:
    """What the page says of where it was drawn from.

    name : the station's name or label
    crs_name : of eastings and northings
    longitude, latitude : degrees, WGS 84
    terrain : the terrain file's name
    reach_m, refraction : of the view
    sector_words : which part of the round is drawn
    """

    name: str
    crs_name: str
    longitude: float
    latitude: float
    terrain: str
    sector_words: str


@dataclass(frozen=True)
class Drawn:
    """A page and what is on it.

    pictures : the projection of each picture, and its upper left corner on the page, pixels from the page's
    landmarks : those in the sector, those with numbers numbered
    """

    page: Page
    pictures: tuple[tuple[Projection, float, float], ...]
    landmarks: tuple[Landmark, ...]


def draw_panorama(
    view: DrawnView,
    place: Place,
    north: North,
    *,
    ground: Ground = LINES_ALONE,
    paper: str = "A4",
    exaggeration: float | None = None,
) -> Drawn:
    """The round, or a sector of it, on one page in as many strips as fit."""
    sheet = _Sheet(view, place, north, paper, ground)
    strips = lay_strips(
        view.left_grid_deg,
        view.span_deg,
        angles_shown(view, sheet.found),
        (sheet.across, sheet.room),
        exaggeration,
    )
    for cylinder in strips.cylinders:
        sheet.add(cylinder, cylinder.width_px, cylinder.height_px)
    return sheet.finish(exaggeration_words(strips.exaggeration))


def draw_camera_view(
    view: DrawnView,
    place: Place,
    north: North,
    camera: Projection,
    *,
    ground: Ground = LINES_ALONE,
    paper: str = "A4",
) -> Drawn:
    """What a camera sees, at its picture's own proportions, on one page."""
    sheet = _Sheet(view, place, north, paper, ground, camera)
    tall = sheet.room - BELOW
    scale = min(sheet.across / camera.width_px, tall / camera.height_px)
    sheet.add(camera, round(camera.width_px * scale), round(camera.height_px * scale))
    words = (
        f"As a picture of {camera.width_px} x {camera.height_px} pixels shows it, without distortion: "
        "straight lines stay straight, and angles are larger towards its sides. Bearings are those along its "
        "lower edge, vertical angles those along its left edge."
    )
    return sheet.finish(words)


def draw_bare(
    view: DrawnView,
    camera: Projection | None,
    *,
    ground: Ground = LINES_ALONE,
    exaggeration: float | None = None,
) -> Drawn:
    """The view alone: a camera's picture pixel by pixel, or one strip as wide as a page."""
    projection: Projection
    if camera is None:
        found = landmarks(view, 0)
        room = (float(PAPERS["A3"][0]), float(PAPERS["A3"][1]))
        projection = lay_strips(
            view.left_grid_deg, view.span_deg, angles_shown(view, found), room, exaggeration, 1
        ).cylinders[0]
    else:
        projection = camera
    width, height = projection.width_px, projection.height_px
    page = Page(width, height)
    picture = Picture(page, Box(0, 0, width, height), view, projection, bolder=max(1.0, width / _BOLDER_FROM))
    picture.draw_ground(ground)
    picture.draw_features()
    picture.finish()
    return Drawn(page, ((projection, 0.0, 0.0),), tuple(landmarks(view, 0)))


class _Sheet:
    """A page in the making: head, pictures one below the other, key, legend, foot.

    across, room : pixels that there are for pictures with their scales
    """

    def __init__(
        self,
        view: DrawnView,
        place: Place,
        north: North,
        paper: str,
        ground: Ground,
        projection: Projection | None = None,
    ) -> None:
        self.ground = ground
        self.view, self.place, self.north = view, place, north
        wide, tall = PAPERS[paper]
        self.page = Page(wide, tall)
        self.across = float(wide - _LEFT - _RIGHT)
        draw_title(self.page, _LEFT, f"The view from {name_of(place.name, 60)}")
        _draw_place(self.page, view, place)
        self.found = _on(landmarks(view, _MOST_LANDMARKS, projection), projection)
        self.key = self._key()
        if self.key.height > _KEY_SHARE * tall:
            most = most_entries(self.key, _KEY_SHARE * tall)
            self.found = _on(landmarks(view, most, projection), projection)
            self.key = self._key()
        self.columns = max(1, int(self.across // _LEGEND_COLUMN))
        self.top = float(tall - _HEAD)
        legend = ceil(_LEGEND_ENTRIES / self.columns) * ROW
        self.room = self.top - _FOOT - legend - (self.key.height + 22 if self.key.cells else 0)
        self.drawn: dict[str | Sign, float] = {}
        self.pictures: list[tuple[Projection, float, float]] = []
        self.unplaced = 0

    def _key(self) -> Key:
        return lay_key(self.page, self.found, self.north, self.view.convergence_deg, self.across)

    def add(self, projection: Projection, width: int, height: int) -> None:
        """A picture below those before it, so large on the page."""
        left = float(_LEFT)
        box = Box(left, self.top - height, left + width, self.top)
        picture = Picture(self.page, box, self.view, projection, self.drawn)
        picture.draw_ground(self.ground)
        picture.draw_features()
        self.unplaced += len(picture.draw_landmarks(self.found))
        picture.draw_scales(self.north)
        picture.finish()
        self.pictures.append((projection, left, self.page.height - self.top))
        self.top -= height + BELOW + BETWEEN

    def finish(self, words: str) -> Drawn:
        """Key, legend and what is said at the foot."""
        page, across = self.page, self.across
        y = draw_key(page, self.key, _LEFT, self.top - 2, across)
        entries = legend_of(self.drawn)
        y = draw_legend(page, entries, Box(_LEFT, y - 12, _LEFT + across, y - 12), self.columns, size=7.5)
        said = [words]
        bare = sum(1 for one in self.found if one.name and not one.number) + self.unplaced
        if bare:
            said.append(f"{bare} more named features have a mark and no number, for lack of space.")
        y = page.paragraph(_LEFT, y - 6, across, " ".join(said), 7.5)
        words = f"{source_words(self.view, self.place)} {CAUTION}"
        page.paragraph(_LEFT, y - 4, across, words, 6.8, colour=QUIET)
        return Drawn(page, tuple(self.pictures), tuple(self.found))


def _on(found: list[Landmark], projection: Projection | None) -> list[Landmark]:
    """Those that a picture shows; all where there is none."""
    return found if projection is None else [one for one in found if one.is_on(projection)]


def exaggeration_words(exaggeration: float) -> str:
    """How much taller than wide angles are drawn."""
    if abs(exaggeration - 1.0) < 1e-9:
        return "Vertical angles are drawn at the scale of the bearings: no exaggeration."
    return (
        f"Vertical exaggeration {exaggeration:g}: vertical angles are drawn {exaggeration:g} times as large "
        "as bearings, and slopes look steeper than they are."
    )


def source_words(view: DrawnView, place: Place) -> str:
    """Terrain, eye, reach and refraction."""
    viewing = view.lines.viewing
    return (
        f"Terrain {name_of(place.terrain, 60)}, posts {length_words(view.spacing_m)} apart; eye "
        f"{viewing.eye_height_m:g} m above the ground; reach {length_words(viewing.reach_m)}; refraction "
        f"{viewing.refraction:g} of the earth's curvature, in all vertical angles. Drawn by hillsight."
    )


def _draw_place(page: Page, view: DrawnView, place: Place) -> None:
    lines = view.lines
    page.text(
        _LEFT,
        page.height - 66,
        f"E {whole_number(lines.easting_m)}  N {whole_number(lines.northing_m)} "
        f"in {name_of(place.crs_name, 60)}   {place_words(place.longitude, place.latitude)}   "
        f"ground {lines.ground_height_m:.1f} m, eye {lines.eye.level_m:.1f} m   {place.sector_words}",
        8,
    )


def legend_of(drawn: dict[str | Sign, float]) -> list[Entry]:
    """Only what is on the pictures."""
    entries = []
    if "skyline" in drawn:
        entries.append(line_entry("skyline", linewidth=strokes.SKYLINE_WIDTH))
    if "open skyline" in drawn:
        entries.append(line_entry("skyline; ground may stand beyond", **strokes.OPEN_SKYLINE))
    if "crest" in drawn:
        entries.append(Entry("crest, paler the farther off", _crest_sample))
    if "brow" in drawn:
        entries.append(line_entry("brow: nearest crest", color=palette.BROW, linewidth=strokes.BROW_WIDTH))
    if "lost" in drawn:
        entries.append(Entry("dead ground behind: 100 m to 2 km", _lost_sample))
    if "haze" in drawn:
        half = rough_distance_words(drawn["haze"])
        entries.append(Entry(f"haze: half of the contrast is left at {half}", _haze_sample))
        if "open skyline" in drawn:
            tint = mixed(palette.UNKNOWN, 0.5, palette.VIEW_SKY)
            entries.append(area_entry("sky, or ground that is not known", tint))
    if "ranges" in drawn:
        entries.append(Entry("ground equally far off", _range_sample))
    entries += feature_entries([sign for sign in drawn if not isinstance(sign, str)])
    for state, text in (
        ("partly", "partly seen"),
        ("uncertain", "uncertain"),
        ("hidden", "all but seen: hollow"),
    ):
        if f"state {state}" in drawn:
            entries.append(sign_entry(text, signs.HILL, state))
    return entries


def _crest_sample(page: Page, box: Box) -> None:
    x = [box.left + box.width * i / 6 for i in range(7)]
    middle = (box.bottom + box.top) / 2
    for i in range(6):
        tone = i / 5
        page.line(
            x[i : i + 2], [middle, middle], color=strokes.ink_at(tone), linewidth=strokes.crest_width(tone)
        )


def _lost_sample(page: Page, box: Box) -> None:
    middle = (box.bottom + box.top) / 2 + 4
    page.line([box.left, box.right], [middle, middle], linewidth=1.1)
    at = np.linspace(box.left + 3, box.right - 3, 6)
    lengths = strokes.stroke_length(np.geomspace(100.0, 2_000.0, 6))
    for x, length in zip(at, lengths, strict=True):
        page.line([x, x], [middle, middle - length], linewidth=0.55)


def _haze_sample(page: Page, box: Box) -> None:
    for i in range(6):
        left = box.left + box.width * i / 6
        colour = mixed(palette.VIEW_SHADE, 1 - i / 6, palette.VIEW_HAZE)
        page.box(Box(left, box.bottom, left + box.width / 6, box.top), facecolor=colour, edgecolor="none")


def _range_sample(page: Page, box: Box) -> None:
    for i, share in enumerate((0.15, 0.4, 0.62, 0.82)):
        y = box.bottom + share * box.height
        page.line([box.left, box.right], [y, y], color=strokes.ink_at(i / 4, "#6F6A78", 0.45), linewidth=0.5)
