"""Ridges, valley lines, spurs and re-entrants of one scale as rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.landform.along import Bundle, starts_of
from hillsight.landform.axes import figures, lines_of, places_of, smoothed_lines, with_heights
from hillsight.landform.crossing import smoothed_apart
from hillsight.landform.limits import cut_by
from hillsight.landform.lines import LEAST_LENGTH_SHARE
from hillsight.landform.naming import compass_point, first_columns, identifiers

if TYPE_CHECKING:
    from collections.abc import Mapping

    from hillsight.arrays import Floats, Integers, Objects
    from hillsight.ground.geodesy import Geodesy
    from hillsight.landform.lines import Network
    from hillsight.landform.scale import Worked

    Rows = list[dict[str, Any]]

#: What smoothing may leave of the least length.
_LEAST_SMOOTHED = 0.9

#: Longer than this (m) it is a ridge or a valley, and no spur or re-entrant. By trial, no source.
MOST_LENGTH_M = 2_000.0


@dataclass(frozen=True)
class Read:
    """What was read of the ground at one scale.

    summits, saddles : flat indices of the smoothed ground's posts
    top_ids, saddle_ids : what each is called; None for one that does not count
    top_heights_m : terrain height of every top by what it is called
    """

    worked: Worked
    ridges: Network
    valleys: Network
    summits: Integers
    saddles: Integers
    top_ids: list[str | None]
    saddle_ids: list[str | None]
    top_heights_m: Mapping[str, float]


def line_rows(read: Read, geodesy: Geodesy, taken: set[str]) -> dict[str, Rows]:
    """Rows of the four layers of lines at one scale."""
    tops = _tops_reached(read)
    crests = _crests(read)
    ridges, valleys = smoothed_apart(
        [crest.places for crest in crests],
        [places_of(read.worked.grid, line.posts) for line in read.valleys.lines],
    )
    ridge_rows, ridge_of = _ridge_rows(read, tops, crests, with_heights(read.worked, ridges), taken)
    valley_rows, valley_ids = _valley_rows(read, with_heights(read.worked, valleys), taken)
    spurs = _axis_rows(
        read,
        read.ridges,
        "spur",
        geodesy,
        taken,
        lambda k: {"top": tops[k], "ridge": _own_or_joined(read.ridges, ridge_of, k)},
    )
    re_entrants = _axis_rows(
        read,
        read.valleys,
        "re-entrant",
        geodesy,
        taken,
        lambda k: {"valley": _own_or_joined(read.valleys, valley_ids, k)},
    )
    return {"ridges": ridge_rows, "valley_lines": valley_rows, "spurs": spurs, "re_entrants": re_entrants}


def _tops_reached(read: Read) -> list[str | None]:
    """The top that each ridge line leads up to."""
    by_post = {int(post): name for post, name in zip(read.summits, read.top_ids, strict=True)}
    reached: list[str | None] = []
    for line in read.ridges.lines:
        reached.append(reached[line.joins] if line.joins >= 0 else by_post.get(int(line.posts[-1])))
    return reached


def _own_or_joined(network: Network, names: list[str | None], k: int) -> str | None:
    """The line that an axis belongs to: the one it joins, or its own where that goes on or joins none."""
    line = network.lines[k]
    return names[line.joins] if line.order == 1 and line.joins >= 0 else names[k]


@dataclass(frozen=True)
class _Crest:
    """A ridge from its upper end down, or over a saddle from top to top.

    places : (n, 2); saddle : number of the saddle it crosses, -1 for none; members : lines that make it up
    """

    places: Floats
    saddle: int
    members: list[int]


def _crests(read: Read) -> list[_Crest]:
    """Ridge lines, the two that climb from one saddle as one."""
    grid = read.worked.grid
    pairs: dict[int, list[int]] = {}
    for k, line in enumerate(read.ridges.lines):
        if line.over_saddle >= 0:
            pairs.setdefault(line.over_saddle, []).append(k)
    found = []
    for k, line in enumerate(read.ridges.lines):
        pair = pairs.get(line.over_saddle, [])
        if len(pair) < 2:
            found.append(_Crest(places_of(grid, line.posts[::-1]), -1, [k]))
        elif k == pair[0]:
            found.append(_Crest(_over_saddle(read, pair), line.over_saddle, pair))
    return [crest for crest in found if len(crest.places) > 1]


def _ridge_rows(
    read: Read,
    tops: list[str | None],
    crests: list[_Crest],
    lines: list[Floats],
    taken: set[str],
) -> tuple[Rows, list[str | None]]:
    worked = read.worked
    names = identifiers("ridge", Bundle.of(lines).middles(), worked.scale_m, taken)
    shapes = lines_of(lines)
    measures = _extents(lines, shapes, worked)
    ridge_of: list[str | None] = [None] * len(read.ridges.lines)
    rows: Rows = []
    for name, crest, extent, shape in zip(names, crests, measures, shapes, strict=True):
        members, saddle = crest.members, crest.saddle
        for member in members:
            ridge_of[member] = name
        ends = sorted(
            {top for member in members if (top := tops[member])},
            key=lambda top: (-read.top_heights_m[top], top),
        )
        rows.append(
            {
                **first_columns(name, worked.scale_m),
                "order": max(read.ridges.lines[member].order for member in members),
                "higher_top": ends[0] if ends else None,
                "lower_top": ends[1] if len(ends) > 1 else None,
                "saddle": read.saddle_ids[saddle] if saddle >= 0 else None,
                **extent,
                "geometry": shape,
            }
        )
    return rows, ridge_of


def _over_saddle(read: Read, pair: list[int]) -> Floats:
    """From one line's upper end down to the saddle and up the other line."""
    one, other = (read.ridges.lines[k].posts for k in pair)
    saddle = read.saddles[read.ridges.lines[pair[0]].over_saddle]
    between = [] if saddle in (one[0], other[0]) else [saddle]
    return places_of(read.worked.grid, np.array([*one[::-1], *between, *other], np.int64))


def _valley_rows(read: Read, lines: list[Floats], taken: set[str]) -> tuple[Rows, list[str | None]]:
    worked, network = read.worked, read.valleys
    kept = [k for k, line in enumerate(network.lines) if len(line.posts) > 1]
    solids = [lines[k] for k in kept]
    found = identifiers("valley", Bundle.of(solids).middles(), worked.scale_m, taken)
    shapes = lines_of(solids)
    names: list[str | None] = [None] * len(lines)
    for k, name in zip(kept, found, strict=True):
        names[k] = name
    rows: Rows = []
    for k, solid, extent, shape in zip(kept, solids, _extents(solids, shapes, worked), shapes, strict=True):
        line = network.lines[k]
        last = line.posts[-2] if line.joins >= 0 else line.posts[-1]
        rows.append(
            {
                **first_columns(str(names[k]), worked.scale_m),
                "order": line.order,
                "into": names[line.joins] if line.joins >= 0 else None,
                "catchment_ha": float(network.gathered_m2[last]) / 10_000,
                "drop_m": float(solid[0, 2] - solid[-1, 2]),
                **extent,
                "geometry": shape,
            }
        )
    return rows, names


def _axis_rows(
    read: Read, network: Network, kind: str, geodesy: Geodesy, taken: set[str], belongs: Any
) -> Rows:
    """The ends of a network that stand out, each from its upper end down."""
    worked = read.worked
    members, standing = _standing(worked, network, kind)
    axes = [axis[::-1] if kind == "spur" else axis for axis in smoothed_lines(standing)]
    solids, measures = with_heights(worked, axes), figures(worked, axes)
    bearings = _bearings(axes, geodesy)
    names = identifiers(kind, Bundle.of(axes).middles(), worked.scale_m, taken)
    shapes = lines_of(solids)
    reasons = cut_by(shapes, worked)
    rows: Rows = []
    for name, k, solid, measured, falls_deg, reason, shape in zip(
        names, members, solids, measures, bearings, reasons, shapes, strict=True
    ):
        stands = measured.relief_m > 0 if kind == "spur" else measured.relief_m < 0
        if not stands or measured.length_m < _LEAST_SMOOTHED * LEAST_LENGTH_SHARE * worked.scale_m:
            continue
        drop_m = float(solid[0, 2] - solid[-1, 2])
        upper, lower = ("root", "nose") if kind == "spur" else ("head", "mouth")
        rows.append(
            {
                **first_columns(name, worked.scale_m),
                **belongs(k),
                "falls_true_deg": falls_deg,
                "falls_towards": compass_point(falls_deg),
                "length_m": measured.length_m,
                "drop_m": drop_m,
                "width_m": measured.width_m,
                **({"relief_m": measured.relief_m} if kind == "spur" else {"depth_m": -measured.relief_m}),
                "slope_deg": float(np.degrees(np.arctan2(drop_m, measured.length_m))),
                f"{upper}_height_m": float(solid[0, 2]),
                f"{lower}_height_m": float(solid[-1, 2]),
                "cut_by": reason,
                "geometry": shape,
            }
        )
    return rows


def _bearings(axes: list[Floats], geodesy: Geodesy) -> list[float]:
    """True bearing of each axis from its first to its last place."""
    if not axes:
        return []
    (x0, y0), (x1, y1) = (np.array([axis[end] for axis in axes]).T for end in (0, -1))
    bearings: list[float] = (geodesy.inverse(x0, y0, x1, y1)[0] % 360.0).tolist()
    return bearings


def _standing(worked: Worked, network: Network, kind: str) -> tuple[list[int], list[Floats]]:
    """What stands out of lines that end in the open, where that is of a length that counts and falls.

    Returns
    -------
    (number of each such line, places of what stands out of it, nose or head first)
    """
    scale_m = worked.scale_m
    members: list[int] = []
    posts: list[Integers] = []
    for k, line in enumerate(network.lines):
        if line.standing is not None and line.over_saddle < 0 and line.standing[0] < line.standing[1]:
            members.append(k)
            posts.append(line.posts[line.standing[0] : line.standing[1] + 1])
    if not members:
        return [], []
    places = np.split(places_of(worked.grid, np.concatenate(posts)), starts_of(posts)[1:-1])
    length_m = Bundle.of(places).length_m
    # Over filled ground an axis may not fall as its kind does.
    ends = with_heights(worked, [np.concatenate([[line[0], line[-1]] for line in places])])[0]
    first_m, last_m = ends[::2, 2], ends[1::2, 2]
    good = (length_m >= LEAST_LENGTH_SHARE * scale_m) & (length_m <= MOST_LENGTH_M)
    good &= first_m < last_m if kind == "spur" else first_m > last_m
    kept = np.flatnonzero(good).tolist()
    return [members[k] for k in kept], [places[k] for k in kept]


def _extents(solids: list[Floats], shapes: Objects, worked: Worked) -> Rows:
    """Columns for the length and heights of each line, (n, 3), and for what cuts it."""
    if not solids:
        return []
    heights_m, starts = np.concatenate([solid[:, 2] for solid in solids]), starts_of(solids)[:-1]
    columns = (
        shapely.length(shapes).tolist(),
        np.fmin.reduceat(heights_m, starts).tolist(),
        np.fmax.reduceat(heights_m, starts).tolist(),
        cut_by(shapes, worked),
    )
    names = ("length_m", "height_min_m", "height_max_m", "cut_by")
    return [dict(zip(names, values, strict=True)) for values in zip(*columns, strict=True)]
