"""The course of a plan of posts, read from its lines and brought onto the working grid."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.errors import FeatureError, HillsightError, PostsError
from hillsight.ground import vector
from hillsight.ground.features import NAME_COLUMNS
from hillsight.ground.labels import plain_label
from hillsight.ground.network import asking, shut
from hillsight.plan.posts.course import Checkpoint, Course
from hillsight.plan.toml_file import instead
from hillsight.words.english import folded
from hillsight.words.quantities import per_cent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.ground.terrain import Terrain
    from hillsight.plan.posts.plan import PlannedCourse, PostsPlan

#: More vertices than these, or a longer course, are refused.
MOST_VERTICES, MOST_LENGTH_M = 200_000, 500_000.0

#: Shorter courses are a point. Legs that end and begin farther apart are worth a word; a lap must close so.
_LEAST_M, _GAP_M, _CLOSES_M = 10.0, 25.0, 100.0

#: A checkpoint farther from the course is refused, m on the grid.
_CHECKPOINT_M = 100.0

#: Layers of a GPX file that may be a course, the first that holds anything.
_GPX = ("tracks", "routes")


def read_course(
    plan: PostsPlan, terrain: Terrain, places: Sequence[tuple[float, float] | None]
) -> tuple[Course, list[str]]:
    """The course on the working grid, and what is to be said of it.

    Parameters
    ----------
    places : easting and northing of each checkpoint on the working grid; None where it has none

    Raises
    ------
    HillsightError : the file cannot be read, holds no line, too many vertices or no leg of a name; the course
        is a point, lies off the terrain, or does not close though it is run in laps
    """
    told = plan.course
    path = plan.beside(told.file)
    lines, layer = _lines(path, told, terrain)
    where = _where(path, layer)
    legs = _legs(lines, told, where)
    xy, notes = _joined(legs, where)
    if told.reverse:
        xy = xy[::-1]
    xy = xy[np.concatenate(([True], (np.diff(xy, axis=0) != 0).any(axis=1)))]
    length_m = float(np.hypot(*np.diff(xy, axis=0).T).sum()) if len(xy) > 1 else 0.0
    if length_m < _LEAST_M:
        raise PostsError(
            "the course is a single place" if length_m == 0 else f"the course is {length_m:.1f} m long",
            where=where,
            remedy="Give a line along the whole course",
        )
    if length_m * told.laps > MOST_LENGTH_M:
        raise PostsError(
            f"the course is {length_m * told.laps / 1000:,.0f} km long, and {MOST_LENGTH_M / 1000:,.0f} km "
            "are the most",
            where=where,
            remedy="Plan it in parts",
        )
    _check_on_terrain(xy, terrain, where)
    for danger in plan.named_dangers:
        if danger.from_m > length_m:
            raise PostsError(
                f"danger {danger.name!r} begins {danger.from_m:,.0f} m along a lap of {length_m:,.0f} m",
                where=plan.source,
                remedy="Correct from_m",
            )
        if danger.to_m > length_m + _LEAST_M:
            notes.append(
                f"danger {danger.name} is told to end {danger.to_m:,.0f} m along a lap of {length_m:,.0f} m: "
                "it is taken to the lap's end"
            )
    apart_m = float(np.hypot(*(xy[-1] - xy[0])))
    if told.laps > 1 and apart_m > _CLOSES_M:
        raise PostsError(
            f"{told.laps} laps are run, and the course ends {apart_m:,.0f} m from where it starts",
            where=where,
            remedy="Give a lap that closes, or laps = 1",
        )
    name = next((name for name, _ in legs if name), "") or plan.title
    course = Course(name, xy[:, 0].copy(), xy[:, 1].copy(), told.laps)
    checkpoints = _checkpoints(course, plan, places)
    return Course(name, course.easting_m, course.northing_m, told.laps, checkpoints), notes


def _lines(path: str, told: PlannedCourse, terrain: Terrain) -> tuple[list[tuple[str, Floats]], str | None]:
    """Names and vertices of the lines in the file, each part one, on the working grid; the layer's name."""
    layer = told.layer if told.layer is not None else _settled_layer(path)
    frame, notes = vector.read_layer(path, layer, terrain.crs)
    where = _where(path, layer)
    shapes = np.asarray(frame.geometry, dtype=object)
    is_line = ~shapely.is_missing(shapes) & ~shapely.is_empty(shapes) & (shapely.get_dimensions(shapes) == 1)
    vertices = int(shapely.get_num_coordinates(shapes[is_line]).sum())
    if vertices > MOST_VERTICES:
        raise PostsError(
            f"the course has {vertices:,} vertices, and {MOST_VERTICES:,} are the most",
            where=where,
            remedy="Simplify it, to a metre or so",
        )
    if not is_line.any():
        raise FeatureError(
            "there is no line of two places or more",
            where=where,
            remedy="Give the course as a line: a track or a route of a GPX file, or a layer of lines",
        )
    if not np.isfinite(shapely.get_coordinates(shapes[is_line])).all():
        raise FeatureError(
            "the course has vertices whose coordinates are no numbers",
            where=where,
            remedy="Take them out, or draw the line anew",
        )
    if notes:
        _check_not_degrees(shapes[is_line], terrain, where)
    try:
        frame = vector.carried(frame, terrain.crs, terrain.near)
    except HillsightError as error:
        raise FeatureError(error.what, where=where, remedy=error.remedy) from error
    column = vector.find_column(frame, NAME_COLUMNS)
    names = list(frame[column]) if column else [None] * len(frame)
    found = []
    for k in np.flatnonzero(is_line):
        name = plain_label(vector.text_or_none(names[k]) or "")
        parts = shapely.get_parts(frame.geometry.iloc[k])
        found += [(name, shapely.get_coordinates(part)) for part in parts]
    return found, layer


def _where(path: str, layer: str | None) -> str:
    name = vector.display_name(path)
    return f"{name}, layer {layer}" if layer else name


def _settled_layer(path: str) -> str | None:
    """The layer that holds the course, where the plan names none: of GPX tracks, else routes."""
    names = vector.list_layers(path)
    if not set(_GPX) <= set(names):
        return None
    import pyogrio

    for name in _GPX:
        with shut(path), asking(path):
            count = pyogrio.read_info(path, layer=name, force_feature_count=True)["features"]
        if count > 0:
            return name
    raise FeatureError(
        "the GPX file holds neither a track nor a route", where=path, remedy="Give the course as one of them"
    )


def _check_not_degrees(shapes: Any, terrain: Terrain, where: str) -> None:
    """Refuse numbers that are degrees by their looks where nothing says what they are."""
    west, south, east, north = shapely.total_bounds(shapes)
    if terrain.crs.is_projected and max(-west, east) <= 360.0 and max(-south, north) <= 90.0:
        raise FeatureError(
            f"the layer does not say its reference system, and its numbers, from {west:.6g}, {south:.6g} to "
            f"{east:.6g}, {north:.6g}, look like degrees",
            where=where,
            remedy="Give the file its reference system, such as EPSG:4326",
        )


def _legs(lines: list[tuple[str, Floats]], told: PlannedCourse, where: str) -> list[tuple[str, Floats]]:
    """The lines in running order, each in the direction in which it is run."""
    if not told.legs:
        return lines
    by_name: dict[str, list[Floats]] = {}
    for name, xy in lines:
        by_name.setdefault(folded(name), []).append(xy)
    found = []
    for leg in told.legs:
        name = leg.removeprefix("-").strip()
        if folded(name) not in by_name:
            names = sorted({name for name, _ in lines if name})
            raise PostsError(
                f"the course has no leg {name!r}",
                where=where,
                remedy=instead(name, names, "Its lines are called") if names else "Its lines have no names",
            )
        parts = by_name[folded(name)]
        turned = [xy[::-1] for xy in parts[::-1]] if leg.startswith("-") else parts
        found += [(name, xy) for xy in turned]
    return found


def _joined(legs: list[tuple[str, Floats]], where: str) -> tuple[Floats, list[str]]:
    """(n, 2) vertices of all legs; notes on gaps, which are run straight."""
    notes = []
    for number, ((_, before), (name, after)) in enumerate(pairwise(legs), start=2):
        gap_m = float(np.hypot(*(after[0] - before[-1])))
        if gap_m > _GAP_M:
            turn_m = float(np.hypot(*(after[-1] - before[-1])))
            turn = "; its end is nearer: is it run the other way?" if turn_m < gap_m / 2 else ""
            leg = f"leg {name!r}" if name else f"line {number}"
            notes.append(
                f"{where}: {leg} begins {gap_m:,.0f} m from where the one before ends; taken straight{turn}"
            )
    return np.concatenate([xy for _, xy in legs]), notes


def _check_on_terrain(xy: Floats, terrain: Terrain, where: str) -> None:
    west, south, east, north = terrain.bounds_m
    off = (xy[:, 0] < west) | (xy[:, 0] > east) | (xy[:, 1] < south) | (xy[:, 1] > north)
    if not off.any():
        return
    first = xy[int(np.argmax(off))]
    how_much = "all of it" if off.all() else f"{per_cent(float(off.mean()))} of its vertices"
    raise PostsError(
        f"the course lies off the terrain: {how_much}, first at E {first[0]:.0f} N {first[1]:.0f}; the "
        f"terrain spans E {west:.0f} to {east:.0f}, N {south:.0f} to {north:.0f}",
        where=where,
        remedy="Give a terrain that holds the course, or check the course's reference system",
    )


def _checkpoints(
    course: Course, plan: PostsPlan, places: Sequence[tuple[float, float] | None]
) -> tuple[Checkpoint, ...]:
    """The checkpoints in running order, each brought onto the line."""
    line = shapely.LineString(np.column_stack((course.easting_m, course.northing_m)))
    found = []
    for told, place in zip(plan.course.checkpoints, places, strict=True):
        if place is None:
            along_m = float(told.along_m or 0.0)
            if along_m > line.length:
                raise PostsError(
                    f"checkpoint {told.name!r} stands {along_m:,.0f} m along a lap of {line.length:,.0f} m",
                    where=plan.source,
                    remedy="Correct along_m",
                )
        else:
            point = shapely.Point(place)
            if line.distance(point) > _CHECKPOINT_M:
                raise PostsError(
                    f"checkpoint {told.name!r} stands {line.distance(point):,.0f} m beside the course",
                    where=plan.source,
                    remedy=f"Give a place within {_CHECKPOINT_M:.0f} m of it, or along_m",
                )
            along_m = float(line.project(point))
        found.append(Checkpoint(told.name, along_m))
    return tuple(sorted(found, key=lambda one: one.along_m))
