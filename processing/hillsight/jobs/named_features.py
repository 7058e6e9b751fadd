"""Map features found by their names, each with the place that stands for it."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.errors import CallError
from hillsight.ground.labels import plain_label

if TYPE_CHECKING:
    from hillsight.jobs.inputs import Inputs

#: Names offered in place of one that is not there.
_NAMES_OFFERED = 6


@dataclass(frozen=True)
class NamedFeature:
    """A map feature of a name.

    row : among the features
    place : a point: itself, a line's middle, or a point inside an area
    height_m : how tall it stands above the ground, 0 where it does not say
    """

    row: int
    name: str
    place: shapely.Point
    shape: Any
    height_m: float


def named_feature(wanted: str, inputs: Inputs, parameters: tuple[str, ...], instead: str) -> NamedFeature:
    """The one feature of a name, whatever its case if none has it letter by letter.

    Parameters
    ----------
    parameters : those that the name was given by, for messages
    instead : what to do where several have the name; may hold {east}, {north} and {name} of the first

    Raises
    ------
    CallError : no feature has the name, or several
    """
    features = inputs.features
    assert features is not None  # the call is checked
    names = [plain_label(name) if isinstance(name, str) else "" for name in features["name"]]
    key = plain_label(wanted)
    rows = [i for i, name in enumerate(names) if name == key]
    rows = rows or [i for i, name in enumerate(names) if name.casefold() == key.casefold()]
    if not rows:
        raise CallError(
            f"no feature is called {wanted!r}", remedy=_offer(key, names, inputs), parameters=parameters
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
            remedy=instead.format(east=f"{places[0].x:.0f}", north=f"{places[0].y:.0f}", name=key),
            parameters=parameters,
        )
    row, own_m = rows[0], float(features["target_height_m"].iloc[rows[0]])
    shape = features.geometry.iloc[row]
    return NamedFeature(row, names[row], places[0], shape, 0.0 if np.isnan(own_m) else own_m)


def _offer(wanted: str, names: list[str], inputs: Inputs) -> str:
    """Names like the one wanted, else those nearest to the stations."""
    folded = {name.casefold(): name for name in names if name}
    if not folded:
        return "None of the features has a name; give a place"
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
