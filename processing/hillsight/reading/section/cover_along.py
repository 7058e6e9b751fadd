"""What stands on the ground along a section, and what of it hides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.ground.grid import between_posts
from hillsight.reading.section.profile import HIDDEN
from hillsight.reading.what_hides import kinds_at, what_hides
from hillsight.sight.points import see_points
from hillsight.sight.under_cover import inside_cover
from hillsight.words.cover import GROUND, hider_words

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Floats
    from hillsight.reading.section.profile import Section, Stretch

#: Cover lower than this is not worth a drawing, m.
_LEAST_M = 0.05


@dataclass(frozen=True)
class CoverAlong:
    """Cover along a section.

    tall_m : (n,) height of what stands at each sample, above the ground; 0 where nothing does
    passes : (n,) whether some sight passes through it
    screens_m : (k, 2) grid distance and height of each screen crossed, nearest first
    screen_kinds : (k,) names
    """

    tall_m: Floats
    passes: Bytes
    screens_m: Floats
    screen_kinds: tuple[str, ...]

    @property
    def stands(self) -> bool:
        """Whether there is any."""
        return bool((self.tall_m > _LEAST_M).any()) or len(self.screens_m) > 0


def cover_along(section: Section) -> CoverAlong | None:
    """Cover along a section; None where nothing is known of it."""
    cover, grid = section.surface.cover, section.surface.grid
    if cover is None:
        return None
    rows, columns = grid.to_array(section.samples.easting_m, section.samples.northing_m)
    tall_m = between_posts(cover.tallest_m, rows, columns)
    solid_m = between_posts(cover.solid_m, rows, columns)
    passes = ((tall_m > solid_m) & (cover.passing_m > 0)).astype(np.uint8)
    screens_m, kinds = _screens(section)
    return CoverAlong(tall_m, passes, screens_m, kinds)


def _screens(section: Section) -> tuple[Floats, tuple[str, ...]]:
    cover, grid = section.surface.cover, section.surface.grid
    assert cover is not None
    screens = cover.screens
    if not len(screens):
        return np.empty((0, 2)), ()
    course = section.course
    ends = np.stack(
        [
            np.column_stack(grid.to_map(screens.row, screens.column)),
            np.column_stack(grid.to_map(screens.to_row, screens.to_column)),
        ],
        axis=1,
    )
    way = shapely.LineString(
        [(course.easting_m, course.northing_m), (course.end_easting_m, course.end_northing_m)]
    )
    lines = shapely.linestrings(ends)
    found = []
    for i in shapely.STRtree(lines).query(way, predicate="intersects"):
        meeting = shapely.get_coordinates(shapely.intersection(way, lines[i]))[0]
        away_m = float(np.hypot(meeting[0] - course.easting_m, meeting[1] - course.northing_m))
        found.append((away_m, float(screens.height_m[i]), cover.kinds[int(screens.kind[i])]))
    found.sort()
    return np.array([one[:2] for one in found]).reshape(-1, 2), tuple(one[2] for one in found)


@dataclass(frozen=True)
class Hider:
    """What hides: "ground" or a kind of cover, and its distance over the ground, m."""

    kind: str
    distance_m: float

    @property
    def words(self) -> str:
        """With its article, as "the wood"."""
        return hider_words(self.kind)


def hider_of_stretch(section: Section, stretch: Stretch) -> Hider | None:
    """What hides dead ground where it is deepest; None where it is in view, or nothing is known of cover."""
    if stretch.state != HIDDEN or stretch.deepest is None:
        return None
    i = stretch.deepest
    return _hider(section, float(section.samples.easting_m[i]), float(section.samples.northing_m[i]), 0.0)


def hider_of_target(section: Section) -> Hider | None:
    """What hides the target; None where it is in view, there is none, or nothing is known of cover."""
    target = section.course.target
    if section.line is None or target is None or section.line.state != HIDDEN:
        return None
    return _hider(section, section.course.end_easting_m, section.course.end_northing_m, target.height_m)


def _hider(section: Section, easting_m: float, northing_m: float, height_m: float) -> Hider | None:
    surface, eye = section.surface, section.eye
    if surface.cover is None:
        return None
    rows, columns = (np.atleast_1d(v) for v in surface.grid.to_array(easting_m, northing_m))
    heights_m = np.array([height_m])
    seen = see_points(surface, eye, rows, columns, heights_m)
    kinds, away_m = what_hides(surface, eye, rows, columns, heights_m, seen.crest_distance_m)
    return Hider(kinds[0] or GROUND, section.ground_distance_m(float(away_m[0])))


def grazed_words(section: Section, grid_m: float) -> str:
    """What a line that stays in view grazes at a distance: the ground, or the cover on it."""
    if section.surface.cover is None:
        return "ground"
    place = (np.atleast_1d(v) for v in section.surface.grid.to_array(*section.place(grid_m)))
    kind = section.surface.cover.kinds[int(kinds_at(section.surface, *place)[0])]
    return hider_words(kind) if kind else "ground"


def target_stands_in(section: Section) -> str:
    """The cover, with its article, that the target stands inside, below its top; empty where it does not."""
    target, surface = section.course.target, section.surface
    if target is None or surface.cover is None:
        return ""
    end = section.course.end_easting_m, section.course.end_northing_m
    row, column = (np.atleast_1d(v) for v in surface.grid.to_array(*end))
    if not inside_cover(surface, row, column, target.height_m)[0]:
        return ""
    return hider_words(surface.cover.kinds[int(kinds_at(surface, row, column)[0])])
