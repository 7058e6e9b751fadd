"""What sections lead to: places and features, settled on the working grid."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import shapely

from hillsight.errors import CallError, Faults, HillsightError, StationError
from hillsight.ground.crs import horizontal_crs, parse_crs
from hillsight.ground.labels import plain_label
from hillsight.ground.stations import parse_at
from hillsight.ground.transform import operation_between
from hillsight.jobs.inputs import no_features
from hillsight.jobs.named_features import named_feature
from hillsight.reading.section.profile import Target

if TYPE_CHECKING:
    from pyproj import CRS

    from hillsight.ground.transform import Operation
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.requests import ProfileRequest

_TALLEST_M = 500.0


def check_call(request: ProfileRequest) -> None:
    """Refuse what makes no sense, before any file is read.

    Raises
    ------
    CallError : out of bounds, or several that do not go together
    """
    targets, bearings = [*request.to, *request.to_feature], request.bearing
    if not targets and not bearings:
        raise CallError(
            "nothing to look at is given",
            remedy='Give a place "E,N,name", the name of a feature, or a bearing in degrees',
            parameters=("to", "to_feature", "bearing"),
        )
    if targets and bearings:
        raise CallError(
            "a bearing and a target are given",
            remedy="Give either bearings or targets; run twice for both",
            parameters=("bearing", "to", "to_feature"),
        )
    for bearing in bearings:
        if not 0 <= bearing <= 360:
            raise CallError(
                f"the bearing is {bearing:g}",
                remedy="Give degrees from true north, 0 to 360",
                parameters=("bearing",),
            )
    if request.reach is not None and not bearings:
        raise CallError(
            "a reach is about a bearing, and none is given",
            remedy="Leave it out",
            parameters=("reach", "bearing"),
        )
    if request.target_height is not None and not targets:
        raise CallError(
            "a target height is about a target, and none is given",
            remedy="Leave it out",
            parameters=("target_height",),
        )
    if request.target_height is not None and not 0 <= request.target_height <= _TALLEST_M:
        raise CallError(
            f"the target height is {request.target_height:g} m",
            remedy=f"Give metres above the ground, from 0 to {_TALLEST_M:g}",
            parameters=("target_height",),
        )
    if not request.features:
        wanted = ["to_feature"] if request.to_feature else []
        wanted += ["beside"] if request.beside is not None else []
        if wanted:
            raise no_features(*wanted)
    if request.beside is not None and request.beside < 0:
        raise CallError(
            f"the distance beside the section is {request.beside:g} m",
            remedy="Give a distance of 0 or more",
            parameters=("beside",),
        )
    _check_exaggeration(request)


def _check_exaggeration(request: ProfileRequest) -> None:
    if request.exaggeration is None:
        return
    if not 0.1 <= request.exaggeration <= 1000:
        raise CallError(
            f"the exaggeration is {request.exaggeration:g}",
            remedy="Give 0.1 to 1000; 1 is none",
            parameters=("exaggeration",),
        )
    if request.drawing is None and request.pictures is None:
        raise CallError(
            "an exaggeration is about a drawing, and none is asked for",
            remedy="Name a drawing too",
            parameters=("exaggeration", "drawing"),
        )


def settle_targets(request: ProfileRequest, inputs: Inputs) -> tuple[list[Target], list[Operation]]:
    """Targets in the order places, features, each on the terrain and under a name of its own.

    Returns them with the distinct coordinate operations used.

    Raises
    ------
    HillsightError : no place, off the terrain, no such feature or several
    """
    height_m = request.target_height
    crs = horizontal_crs(inputs.terrain.source_crs)
    if request.at_crs is not None:
        crs = parse_crs(request.at_crs, "the CRS of the places", ("at_crs",))
    targets: list[Target] = []
    operations: dict[Operation, None] = {}
    faults = Faults("targets")
    for number, text in enumerate(request.to, 1):
        with faults.kept():
            target, operation = _place(text, crs, inputs, number, height_m or 0.0)
            targets.append(target)
            operations[operation] = None
    for name in request.to_feature:
        with faults.kept():
            targets.append(_feature(name, inputs, height_m))
    faults.tell()
    return _renamed(targets), list(operations)


def _place(text: str, crs: CRS, inputs: Inputs, number: int, height_m: float) -> tuple[Target, Operation]:
    try:
        place = parse_at(text, crs)
    except StationError as error:
        raise CallError(error.what, where="target", remedy=error.remedy, parameters=("to",)) from error
    name = plain_label(place.name or "") or f"target {number}"
    try:
        change = operation_between(crs, inputs.terrain.crs, inputs.terrain.near)
        easting, northing = (float(v[0]) for v in change(place.x, place.y))
    except HillsightError as error:
        raise CallError(
            error.what, where=f"target {name!r}", remedy=error.remedy, parameters=("to",)
        ) from error
    target = Target(name, easting, northing, height_m)
    _check_on_terrain(target, inputs, "to")
    return target, change


def _check_on_terrain(target: Target, inputs: Inputs, parameter: str) -> None:
    west, south, east, north = inputs.terrain.bounds_m
    if west <= target.easting_m <= east and south <= target.northing_m <= north:
        return
    raise CallError(
        f"target {target.name!r} at E {target.easting_m:.1f} N {target.northing_m:.1f} lies off the terrain",
        remedy="Give a target on it, or terrain that covers it, or say in which CRS the target is given: the "
        f"terrain spans E {west:.1f} to {east:.1f}, N {south:.1f} to {north:.1f}",
        parameters=(parameter, "at_crs"),
    )


def _feature(wanted: str, inputs: Inputs, height_m: float | None) -> Target:
    """The place that stands for the feature of a name: a line's middle, a point inside an area."""
    found = named_feature(
        wanted, inputs, ("to_feature",), 'Give the place itself as a target, as "{east},{north},{name}"'
    )
    whole = found.shape if shapely.get_dimensions(found.shape) > 0 else None
    height_m = found.height_m if height_m is None else height_m
    target = Target(found.name, found.place.x, found.place.y, height_m, found.row, whole)
    _check_on_terrain(target, inputs, "to_feature")
    return target


def _renamed(targets: list[Target]) -> list[Target]:
    """The same targets; a name given again becomes "name (2)"."""
    taken: set[str] = set()
    found = []
    for target in targets:
        name, count = target.name, 2
        while name in taken:
            name, count = f"{target.name} ({count})", count + 1
        taken.add(name)
        found.append(replace(target, name=name))
    return found
