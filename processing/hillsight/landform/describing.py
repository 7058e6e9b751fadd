"""Landforms in plain words, from their figures and the names of those they belong to."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import geopandas

    Told = Callable[[Any, Mapping[str, str]], str]

_LEVEL_WORDS = {"flat_top": "flat top", "shelf": "shelf", "floor": "level floor"}


def described(frames: dict[str, geopandas.GeoDataFrame]) -> dict[str, geopandas.GeoDataFrame]:
    """The frames with their descriptions written anew, after what names stand in them.

    A landform with a name of its own is described all the same: the name may be the map's for more than it.
    """
    calls = _calls(frames)
    told = {}
    for layer, frame in frames.items():
        say = _WORDS[layer]
        words = [say(row, calls) for row in frame.itertuples(index=False)]
        told[layer] = frame.assign(description=pd.Series(words, dtype=object, index=frame.index))
    return told


def _calls(frames: Mapping[str, geopandas.GeoDataFrame]) -> dict[str, str]:
    """What descriptions of other landforms call each one: its name, or its kind with a height."""
    calls: dict[str, str] = {}
    for row in frames["tops"].itertuples(index=False):
        calls[row.landform] = row.name or f"the top at {row.height_m:.0f} m"
    for row in frames["saddles"].itertuples(index=False):
        calls[row.landform] = row.name or f"the saddle at {row.height_m:.0f} m"
    for layer, word in (("valley_lines", "valley"), ("ridges", "ridge")):
        for row in frames[layer].itertuples(index=False):
            if row.name:
                calls[row.landform] = row.name
            elif layer == "ridges" and row.higher_top in calls:
                calls[row.landform] = f"the ridge of {calls[row.higher_top]}"
            else:
                calls[row.landform] = f"the {word} at {row.height_min_m:.0f} m"
    return calls


def _top(row: Any, calls: Mapping[str, str]) -> str:
    least = "at least " if row.is_least else ""
    return f"{row.kind} at {row.height_m:.0f} m, prominence {least}{row.prominence_m:.0f} m"


def _saddle(row: Any, calls: Mapping[str, str]) -> str:
    return f"saddle at {row.height_m:.0f} m between {calls[row.higher_top]} and {calls[row.lower_top]}"


def _ridge(row: Any, calls: Mapping[str, str]) -> str:
    heights = f"{row.height_min_m:.0f} to {row.height_max_m:.0f} m"
    if {row.saddle, row.higher_top, row.lower_top} <= calls.keys():
        return f"ridge from {calls[row.higher_top]} over {calls[row.saddle]} to {calls[row.lower_top]}"
    if row.higher_top in calls:
        return f"ridge of {calls[row.higher_top]}, {heights}"
    return f"ridge, {heights}"


def _valley(row: Any, calls: Mapping[str, str]) -> str:
    into = f", running into {calls[row.into]}" if row.into in calls else ""
    return f"valley line, {row.length_m:,.0f} m long, falling {row.drop_m:.0f} m{into}"


def _spur(row: Any, calls: Mapping[str, str]) -> str:
    origin = f" from {calls[row.top]}" if row.top in calls else ""
    return (
        f"spur falling {row.falls_towards}{origin}, {row.length_m:,.0f} m long, dropping {row.drop_m:.0f} m"
    )


def _re_entrant(row: Any, calls: Mapping[str, str]) -> str:
    into = f" into {calls[row.valley]}" if row.valley in calls else ""
    return (
        f"re-entrant falling {row.falls_towards}{into}, {row.length_m:,.0f} m long, {row.depth_m:.0f} m deep"
    )


def _break(row: Any, calls: Mapping[str, str]) -> str:
    word = "convex edge" if row.kind == "convex_edge" else "concave foot"
    return (
        f"{word}, {row.length_m:,.0f} m long, from {row.slope_above_deg:.0f} degrees above "
        f"to {row.slope_below_deg:.0f} below"
    )


def _level(row: Any, calls: Mapping[str, str]) -> str:
    of = f" of {calls[row.top]}" if row.top in calls else ""
    return f"{_LEVEL_WORDS[row.kind]}{of} at {row.height_mean_m:.0f} m, {row.area_ha:,.1f} ha"


def _steep(row: Any, calls: Mapping[str, str]) -> str:
    top = f"{row.slope_from_deg:.0f} degrees and more"
    if not pd.isna(row.slope_to_deg):
        top = f"{row.slope_from_deg:.0f} to {row.slope_to_deg:.0f} degrees"
    return f"ground of {top} facing {row.faces_towards}, {row.area_ha:,.1f} ha"


def _hollow(row: Any, calls: Mapping[str, str]) -> str:
    deep = f"{row.depth_m:.0f} m deep" if row.depth_m >= 1 else "less than 1 m deep"
    if row.state == "uncertain":
        return (
            f"perhaps a hollow, {deep} (give or take {row.depth_plus_minus_m:.0f} m), {row.area_ha:,.1f} ha: "
            "the model may close its way out"
        )
    return f"hollow {deep}, give or take {row.depth_plus_minus_m:.0f} m, {row.area_ha:,.1f} ha"


_WORDS: dict[str, Told] = {
    "tops": _top,
    "saddles": _saddle,
    "ridges": _ridge,
    "valley_lines": _valley,
    "spurs": _spur,
    "re_entrants": _re_entrant,
    "breaks_of_slope": _break,
    "level_ground": _level,
    "steep_ground": _steep,
    "hollows": _hollow,
}
