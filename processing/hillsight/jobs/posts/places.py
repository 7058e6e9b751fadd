"""Where the marshals of a plan may stand, and how they walk there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.errors import PostsError
from hillsight.plan.posts.limits import ground_limits, slope_at_deg, within
from hillsight.plan.posts.places import Limit, NamedShapes, Places, laid_out, sifted
from hillsight.plan.posts.walking import Barriers, walking_minutes
from hillsight.words.english import folded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats
    from hillsight.ground.grid import Surface
    from hillsight.jobs.posts.ground import PlanGround
    from hillsight.layers.provenance import InputFile
    from hillsight.plan.posts.course import Course
    from hillsight.plan.posts.plan import NamedPlace
    from hillsight.plan.posts.walking import Walk, Walks

#: Where nothing is said of it, marshals may stand so near the course, on a lattice of so many metres.
_BESIDE_COURSE_M, _EVERY_M = 300.0, 50.0

#: Ground beyond what is asked of, so that shelter and ways round are seen, m on the grid.
_MARGIN_M = 500.0


@dataclass(frozen=True, eq=False)
class Standing:
    """Where marshals may stand.

    minutes : (n,) on foot from the nearest access; NaN where the plan names none, inf where no way leads
    laid : how many places were laid out before limits
    limits : what refused places, and how many of them, in words
    refused_names : by the folded name of a place that has one and is not among them, what refused it
    """

    places: Places
    walks: Walks | None
    number: Sequence[int]
    minutes: Floats
    laid: int
    limits: tuple[tuple[str, int], ...]
    notes: tuple[str, ...]
    files: tuple[InputFile, ...]
    refused_names: dict[str, tuple[str, ...]]

    def walk_to(self, place: int) -> Walk | None:
        """The way to a place; None where none leads there or the plan names no access."""
        return None if self.walks is None else self.walks.to(self.number[place])


def surface_over(ground: PlanGround, course: Course, also: Sequence[NamedPlace]) -> Surface:
    """The terrain about the course and some places, with ground beyond for shelter and ways round.

    Raises
    ------
    TerrainError : it is more than can be held
    """
    east = np.concatenate((course.easting_m, [place.easting_m for place in also]))
    north = np.concatenate((course.northing_m, [place.northing_m for place in also]))
    reach_m = max(np.ptp(east), np.ptp(north)) / 2 + _BESIDE_COURSE_M + _MARGIN_M
    middle = float(east.min() + east.max()) / 2, float(north.min() + north.max()) / 2
    return ground.terrain.window(*middle, float(reach_m))


@dataclass(frozen=True, eq=False)
class StandingGround:
    """The ground that the plan names for its marshals, read and not yet looked at.

    stands : where they may stand; shut : where nobody may, with what lies about it; closed : without that
    """

    stands: tuple[NamedShapes, ...]
    shut: tuple[shapely.Geometry, ...]
    closed: tuple[shapely.Geometry, ...]
    files: tuple[InputFile, ...]

    @classmethod
    def of(cls, ground: PlanGround, course: Course) -> StandingGround:
        """That of a plan; about the course where it names none.

        Raises
        ------
        HillsightError : a file of the plan cannot be read, or holds nothing of what is asked for
        """
        stands, shut, closed, files = [], list[shapely.Geometry](), list[shapely.Geometry](), []
        for told in ground.plan.stands:
            shapes, file = ground.shapes(told)
            stands.append(shapes)
            files.append(file)
        if not stands:
            line = shapely.LineString(np.column_stack((course.easting_m, course.northing_m)))
            area = np.array([line.buffer(_BESIDE_COURSE_M)], dtype=object)
            stands.append(NamedShapes(area, ("",), 0.0, _EVERY_M))
        for told in ground.plan.no_go:
            shapes, file = ground.shapes(told)
            shut.append(shapes.area() if told.within_m > 0 else shapely.union_all(shapes.shapes))
            closed += list(shapely.get_parts(shapes.shapes))
            files.append(file)
        kept = tuple(file for file in files if file is not None)
        return cls(tuple(stands), tuple(shut), tuple(closed), kept)

    @property
    def names(self) -> list[str]:
        """Of its points that bear one: places that pairs may name."""
        return [
            name
            for stand in self.stands
            for shape, name in zip(stand.shapes, stand.names, strict=True)
            if name and shapely.get_dimensions(shape) == 0
        ]


def where_to_stand(
    ground: PlanGround,
    standing: StandingGround,
    surface: Surface,
    fixed: Sequence[NamedPlace],
    banned: Sequence[NamedPlace],
    access: Sequence[NamedPlace],
) -> Standing:
    """Fixed posts first, then all places that the limits leave.

    Parameters
    ----------
    fixed, banned, access : on the working grid

    Raises
    ------
    HillsightError : too many places, or none that the limits leave; a fixed post on unknown ground
    """
    plan = ground.plan
    easting_m, northing_m, names = laid_out(standing.stands)
    held = len(fixed)
    easting_m = np.concatenate(([place.easting_m for place in fixed], easting_m))
    northing_m = np.concatenate(([place.northing_m for place in fixed], northing_m))
    names = (*(place.name for place in fixed), *names)
    is_fixed = np.arange(len(easting_m)) < held
    ground_m = surface.heights_at_m(easting_m, northing_m)
    _check_fixed(plan.source, fixed, ground_m)
    limits = [
        *ground_limits(plan.limits, surface, easting_m, northing_m, ground.water),
        Limit("no-go ground", ~within(standing.shut, 0.0, easting_m, northing_m)),
        Limit("banned places", ~_about(banned, easting_m, northing_m)),
    ]
    walks, minutes = None, np.full(len(easting_m), np.nan)
    if access:
        walks = walking_minutes(
            surface,
            np.array([(place.easting_m, place.northing_m) for place in access]),
            np.column_stack((easting_m, northing_m)),
            ground.paths,
            _barriers(ground, standing.closed),
        )
        minutes = walks.minutes
        limits.append(Limit("no way on foot", np.isfinite(minutes)))
        if plan.walking.most_minutes is not None:
            most = plan.walking.most_minutes
            limits.append(Limit(f"walks over {most:g} min", ~(minutes > most)))
    limits = [limit for limit in limits if not limit.keeps.all()]
    wanted = plan.wanted.posts
    kept = sifted(is_fixed, limits, others_needed=wanted is None or wanted > held)
    notes = _fixed_notes(plan.limits.slope_deg, surface, fixed, limits)
    places = Places(easting_m, northing_m, ground_m, names, is_fixed)
    refused = tuple((limit.name, int((~limit.keeps & ~is_fixed).sum())) for limit in limits)
    return Standing(
        places.taken(kept),
        walks,
        np.flatnonzero(kept).tolist(),
        minutes[kept],
        len(easting_m) - held,
        refused,
        tuple(notes),
        standing.files,
        _refused_names(names, kept, limits),
    )


def _refused_names(names: Sequence[str], kept: Flags, limits: Sequence[Limit]) -> dict[str, tuple[str, ...]]:
    """What refused the places that bear a name, by that name folded, where none of that name is kept."""
    held = {folded(names[k]) for k in np.flatnonzero(kept).tolist()}
    return {
        folded(names[k]): tuple(limit.name for limit in limits if not limit.keeps[k])
        for k in np.flatnonzero(~kept).tolist()
        if names[k] and folded(names[k]) not in held
    }


def _barriers(ground: PlanGround, closed: Sequence[shapely.Geometry]) -> Barriers:
    """Lakes and no-go areas themselves: what lies about them may be walked, streams are stepped over."""
    lakes = [shape for shape in ground.water if shapely.get_dimensions(shape) == 2]
    return Barriers([shape for shape in closed if shapely.get_dimensions(shape) == 2], lakes)


def _about(places: Sequence[NamedPlace], easting_m: Floats, northing_m: Floats) -> Flags:
    found = np.zeros(len(easting_m), np.bool_)
    for place in places:
        found |= np.hypot(easting_m - place.easting_m, northing_m - place.northing_m) <= place.within_m
    return found


def _check_fixed(source: str, fixed: Sequence[NamedPlace], ground_m: Floats) -> None:
    for place, height_m in zip(fixed, ground_m, strict=False):
        if not np.isfinite(height_m):
            raise PostsError(
                f"fixed post {place.name!r} stands on or beside a void of the terrain",
                where=source,
                remedy="Move it, or fill the void first",
            )


def _fixed_notes(
    most_deg: float, surface: Surface, fixed: Sequence[NamedPlace], limits: Sequence[Limit]
) -> list[str]:
    """What limits would have said of posts that stand already."""
    notes = []
    for number, place in enumerate(fixed):
        against = [limit.name for limit in limits if not limit.keeps[number]]
        if against:
            slope_deg = slope_at_deg(surface, np.array([place.easting_m]), np.array([place.northing_m]))[0]
            steep = f" (the slope there is {slope_deg:.1f} degrees)" if slope_deg > most_deg else ""
            notes.append(f"fixed post {place.name} stands against the limits: {', '.join(against)}{steep}")
    return notes
