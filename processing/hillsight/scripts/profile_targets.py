"""What sections lead to: places and features of the command line, settled on the working grid."""

from __future__ import annotations

from dataclasses import replace
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.errors import CallError, HillsightError, StationError
from hillsight.ground.crs import horizontal_crs, parse_crs
from hillsight.ground.stations import parse_at, plain_label
from hillsight.ground.transform import operation_between
from hillsight.reading.section.profile import Target

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pyproj import CRS

    from hillsight.ground.transform import Operation
    from hillsight.scripts.inputs import Inputs

_TALLEST_M = 500.0
#: Names offered in place of one that is not there.
_NAMES_OFFERED = 6


def check_call(given: Mapping[str, Any]) -> None:
    """Refuse options that make no sense, before any file is read.

    Raises
    ------
    CallError : out of bounds, or several that do not go together
    """
    targets, bearings = [*given["to"], *given["to_feature"]], given["bearing"]
    if not targets and not bearings:
        raise CallError(
            "nothing to look at is given",
            remedy='Give --to "E,N,name", --to-feature NAME or --bearing DEGREES',
        )
    if targets and bearings:
        raise CallError(
            "--bearing and a target are given",
            remedy="Give either --bearing, or --to and --to-feature; run twice for both",
        )
    for bearing in bearings:
        if not 0 <= bearing <= 360:
            raise CallError(f"--bearing is {bearing:g}", remedy="Give degrees from true north, 0 to 360")
    for option, about, absent in (
        ("--reach", "--bearing", given["reach"] is None or bool(bearings)),
        ("--target-height", "a target", given["target_height"] is None or bool(targets)),
    ):
        if not absent:
            raise CallError(f"{option} is about {about}, and none is given", remedy="Leave it out")
    if given["target_height"] is not None and not 0 <= given["target_height"] <= _TALLEST_M:
        raise CallError(
            f"--target-height is {given['target_height']:g} m",
            remedy=f"Give metres above the ground, from 0 to {_TALLEST_M:g}",
        )
    if not given["features"]:
        for option, value in (
            ("--to-feature", given["to_feature"]),
            ("--beside", given["beside"] is not None),
        ):
            if value:
                raise CallError(
                    f"{option} is about map features, and none are given", remedy="Add --features FILE"
                )
    if given["beside"] is not None and given["beside"] < 0:
        raise CallError(f"--beside is {given['beside']:g} m", remedy="Give a distance of 0 or more")
    if given["exaggeration"] is not None:
        if not 0.1 <= given["exaggeration"] <= 1000:
            raise CallError(
                f"--exaggeration is {given['exaggeration']:g}", remedy="Give 0.1 to 1000; 1 is none"
            )
        if given["drawing"] is None and given["pictures"] is None:
            raise CallError(
                "--exaggeration is about a drawing, and none is asked for", remedy="Add --drawing FILE"
            )


def settle_targets(given: Mapping[str, Any], inputs: Inputs) -> tuple[list[Target], list[Operation]]:
    """Targets in the order --to, --to-feature, each on the terrain and under a name of its own.

    Returns them with the distinct coordinate operations used.

    Raises
    ------
    HillsightError : no place, off the terrain, no such feature or several
    """
    height_m = given["target_height"]
    crs = horizontal_crs(inputs.terrain.source_crs)
    if given["at_crs"] is not None:
        crs = parse_crs(given["at_crs"], "the CRS of the places", ("at_crs",))
    targets: list[Target] = []
    operations: dict[Operation, None] = {}
    for number, text in enumerate(given["to"], 1):
        target, operation = _place(text, crs, inputs, number, height_m or 0.0)
        targets.append(target)
        operations[operation] = None
    targets += [_feature(name, inputs, height_m) for name in given["to_feature"]]
    return _renamed(targets), list(operations)


def _place(text: str, crs: CRS, inputs: Inputs, number: int, height_m: float) -> tuple[Target, Operation]:
    try:
        place = parse_at(text, crs)
    except StationError as error:
        raise CallError(error.what, where="--to", remedy=error.remedy) from error
    name = plain_label(place.name or "") or f"target {number}"
    try:
        change = operation_between(crs, inputs.terrain.crs, inputs.terrain.near)
        easting, northing = (float(v[0]) for v in change(place.x, place.y))
    except HillsightError as error:
        raise CallError(f"target {name!r}: {error.what}", where="--to", remedy=error.remedy) from error
    target = Target(name, easting, northing, height_m)
    _check_on_terrain(target, inputs, "--to")
    return target, change


def _check_on_terrain(target: Target, inputs: Inputs, where: str) -> None:
    west, south, east, north = inputs.terrain.bounds_m
    if west <= target.easting_m <= east and south <= target.northing_m <= north:
        return
    raise CallError(
        f"the target {target.name!r} at E {target.easting_m:.1f} N {target.northing_m:.1f} lies off the "
        f"terrain, which spans E {west:.1f} to {east:.1f}, N {south:.1f} to {north:.1f}",
        where=where,
        remedy="Give a target on it, or terrain that covers it; --at-crs says in which CRS it is given",
    )


def _feature(wanted: str, inputs: Inputs, height_m: float | None) -> Target:
    """The place that stands for the feature of a name: a line's middle, a point inside an area."""
    features = inputs.features
    assert features is not None  # the call is checked
    names = [plain_label(name) if isinstance(name, str) else "" for name in features["name"]]
    key = plain_label(wanted)
    rows = [i for i, name in enumerate(names) if name == key]
    rows = rows or [i for i, name in enumerate(names) if name.casefold() == key.casefold()]
    if not rows:
        raise CallError(
            f"no feature is called {wanted!r}", where="--to-feature", remedy=_offer(key, names, inputs)
        )
    places = [_standing_for(features.geometry.iloc[i]) for i in rows]
    if len(rows) > 1:
        listed = ", ".join(
            f"{features['kind'].iloc[i] or 'a feature'} at E {place.x:.0f} N {place.y:.0f}"
            for i, place in list(zip(rows, places, strict=True))[:_NAMES_OFFERED]
        )
        more = "" if len(rows) <= _NAMES_OFFERED else " and more"
        raise CallError(
            f"{len(rows)} features are called {wanted!r}: {listed}{more}",
            where="--to-feature",
            remedy=f'Give the place itself, as --to "{places[0].x:.0f},{places[0].y:.0f},{key}"',
        )
    if height_m is None:
        own_m = float(features["target_height_m"].iloc[rows[0]])
        height_m = 0.0 if np.isnan(own_m) else own_m
    target = Target(names[rows[0]], places[0].x, places[0].y, height_m, rows[0])
    _check_on_terrain(target, inputs, "--to-feature")
    return target


def _offer(wanted: str, names: list[str], inputs: Inputs) -> str:
    """Names like the one wanted, else those nearest to the stations."""
    folded = {name.casefold(): name for name in names if name}
    if not folded:
        return "None of the features has a name; give --to"
    like = get_close_matches(wanted.casefold(), folded, n=3, cutoff=0.6)
    like += [name for name in folded if wanted.casefold() in name and name not in like]
    if like:
        offered = [folded[name] for name in like]
        return f"There is {', '.join(repr(name) for name in offered[:_NAMES_OFFERED])}"
    assert inputs.features is not None
    stands = shapely.MultiPoint([(s.easting_m, s.northing_m) for s in inputs.stations])
    order = np.argsort(shapely.distance(np.asarray(inputs.features.geometry.array), stands), kind="stable")
    near = list(dict.fromkeys(names[i] for i in order if names[i]))
    return f"The nearest to the stations are {', '.join(repr(name) for name in near[:_NAMES_OFFERED])}"


def _standing_for(shape: Any) -> Any:
    if shapely.get_dimensions(shape) == 1:
        longest = max(shapely.get_parts(shape), key=shapely.length)
        return longest.interpolate(0.5, normalized=True)
    return shapely.point_on_surface(shape)


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
