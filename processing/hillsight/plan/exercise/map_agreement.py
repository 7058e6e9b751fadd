"""Whether the terrain shows the tops and saddles that the map names: what it does not, decides nothing.

A map laid over the wrong terrain, or over terrain too coarse or too smooth for it, still puts names into a
view. What is said of such names would hold in every draw, and be false on the hill.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.exercise.marks_in_view import is_top
from hillsight.words.english import listed

if TYPE_CHECKING:
    import geopandas

    from hillsight.arrays import Flags, Floats
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Surface

#: Ground about a top: from so far off, or two posts, to three times that; the top itself lies within half of
#: it from where the map has it. Metres on the grid; ours.
_FROM_M = 100.0

#: A rise must be more than so many standard deviations of what two heights so far apart err against each
#: other, and more than a metre, which is half a degree of view. Ours.
_DEVIATIONS, _LEAST_M = 2.0, 1.0

#: Share of the bearings on which the ground must fall from a top. An even slope comes to three fifths, as its
#: highest ground near by is taken for the top.
_FALLS_ON = 0.75

#: Share of the bearings on which it must rise from a saddle, and fall.
_EACH_WAY = 1 / 12

_BEARINGS = 24

_SADDLES = ("saddle", "col", "pass", "hause", "bealach", "gap", "notch", "bwlch")

#: More names than these are counted.
_MOST_NAMED = 5


def not_shown(things: geopandas.GeoDataFrame, surface: Surface, errors: ErrorModel) -> Flags:
    """Which tops and saddles of the map the terrain does not show, (n,).

    A top: the highest ground close by stands above the ground about it on three bearings of four. A
    saddle: the ground about it rises on some bearings and falls on others. What lies off the terrain, or has
    half of the ground about it unknown, is not judged; nor are landforms, which the terrain shows as it is.

    Parameters
    ----------
    things : columns kind, source and geometry in the surface's grid
    """
    of_map = ~things["source"].fillna("").str.startswith("landforms").to_numpy()
    tops = of_map & is_top(things).to_numpy()
    points = (things.geometry.geom_type == "Point").to_numpy()
    saddles = of_map & points & things["kind"].fillna("").str.casefold().isin(_SADDLES).to_numpy()
    near_m = max(_FROM_M, 2.0 * max(surface.grid.spacing_x_m, surface.grid.spacing_y_m))
    apart_m2 = errors.covariance_m2(np.array([0.0])) - errors.covariance_m2(np.array([2.0 * near_m]))
    least_m = max(_LEAST_M, _DEVIATIONS * float(np.sqrt(2.0 * apart_m2[0])))
    found = np.zeros(len(things), bool)
    for row in np.flatnonzero(tops | saddles):
        point = things.geometry.iloc[row]
        about_m, highest_m, here_m = _heights(surface, point.x, point.y, near_m)
        known = about_m[np.isfinite(about_m)]
        if 2 * known.size < _BEARINGS or not np.isfinite(here_m):
            continue
        if tops[row]:
            found[row] = (highest_m - known > least_m).mean() < _FALLS_ON
        else:
            rises, falls = (known - here_m > least_m).mean(), (here_m - known > least_m).mean()
            found[row] = min(rises, falls) < _EACH_WAY
    return found


def _heights(surface: Surface, east_m: float, north_m: float, near_m: float) -> tuple[Floats, float, float]:
    """Ground about a place, (_BEARINGS,); the highest near it; that of the place."""
    turn = np.arange(_BEARINGS)[:, None] * (2.0 * np.pi / _BEARINGS)

    def along(out_m: Floats) -> Floats:
        return surface.heights_at_m(east_m + np.sin(turn) * out_m, north_m + np.cos(turn) * out_m)

    # The middle one of an odd number: NaN only where the ground is not known.
    about_m = np.median(along(np.linspace(near_m, 3.0 * near_m, 9)), axis=1)
    near = along(np.linspace(0.0, near_m / 2.0, 6))
    highest_m = float(np.nanmax(near)) if np.isfinite(near).any() else np.nan
    return np.asarray(about_m), highest_m, float(near[0, 0])


def disagreement(left_out: geopandas.GeoDataFrame) -> str:
    """A note of the tops and saddles that are left out; empty where none are."""
    if left_out.empty:
        return ""
    called = [
        str(name) if isinstance(name, str) else f"a {kind}"
        for name, kind in zip(left_out["name"], left_out["kind"], strict=True)
    ]
    rest = len(called) - _MOST_NAMED
    words = listed([*called[:_MOST_NAMED], *([f"{rest:,} more"] if rest > 0 else [])])
    stands, it = ("stands", "it") if len(called) == 1 else ("stand", "them")
    return (
        f"map and terrain disagree where {words} {stands}: the terrain shows no top or saddle there, so "
        f"nothing said of {it} counts as a fact of the ground; check that both are of the same place and in "
        "the right CRS"
    )
