"""Places where marshals may stand: laid over the ground that the plan names, then sifted by its limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.spatial import cKDTree

from hillsight.errors import PostsError
from hillsight.words.english import listed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats, Integers, Objects

MOST_PLACES = 20_000
"""More places than these take an hour to look from, and are refused."""

#: Places nearer to one another are one, metres on the grid.
_ONE_PLACE_M = 1.0


@dataclass(frozen=True)
class Places:
    """Where marshals may stand, after no-go areas and limits of ground; fixed posts come first.

    easting_m, northing_m, ground_m : (n,) metres on the working grid; ground in the terrain's own datum
    name : (n,) of fixed posts and of points that bear one; "" of others
    fixed : (n,) whether a post stands there in any case
    """

    easting_m: Floats
    northing_m: Floats
    ground_m: Floats
    name: tuple[str, ...]
    fixed: Flags

    def __len__(self) -> int:
        return len(self.easting_m)

    def taken(self, chosen: Flags | Integers) -> Places:
        """Some of them, in the order given."""
        numbers = np.arange(len(self))[chosen]
        return Places(
            self.easting_m[numbers],
            self.northing_m[numbers],
            self.ground_m[numbers],
            tuple(self.name[k] for k in numbers),
            self.fixed[numbers],
        )


@dataclass(frozen=True)
class NamedShapes:
    """Shapes of the ground that the plan names, on the working grid.

    shapes : (n,) geometries; names : (n,), "" where one has none
    within_m : how far about them counts; every_m : spacing of places laid over them
    """

    shapes: Objects
    names: tuple[str, ...]
    within_m: float
    every_m: float = 50.0

    def area(self) -> shapely.Geometry:
        """The ground meant: the polygons, and whatever lies within the distance."""
        shapes = self.shapes
        if self.within_m > 0:
            shapes = shapely.buffer(shapes, self.within_m)
        else:
            shapes = shapes[shapely.get_dimensions(shapes) == 2]
        return shapely.union_all(shapes)


@dataclass(frozen=True)
class Limit:
    """What keeps places out.

    name : in words, as "slope over 25 degrees"; keeps : (n,) whether a place is kept
    """

    name: str
    keeps: Flags


def laid_out(stands: Sequence[NamedShapes]) -> tuple[Floats, Floats, tuple[str, ...]]:
    """Places over the ground named, none nearer than a metre to another.

    Points are places themselves, lines have one every ``every_m`` and at their ends. Areas, and the ground
    within a distance of points and lines, have those of a lattice whose eastings and northings are multiples
    of ``every_m``.

    Returns
    -------
    easting_m, northing_m, name : (n,) each

    Raises
    ------
    PostsError : there are too many
    """
    found: list[Floats] = []
    names: list[str] = []
    for stand in stands:
        for shape, name in zip(stand.shapes, stand.names, strict=True):
            spots = _spots(shape, stand.every_m)
            found.append(spots)
            is_point = shapely.get_dimensions(shape) == 0
            names += [name if is_point else ""] * len(spots)
            _check_count(len(names))
        spots = _lattice(stand.area(), stand.every_m)
        found.append(spots)
        names += [""] * len(spots)
    xy = np.concatenate(found) if found else np.zeros((0, 2))
    kept = _apart(xy)
    return xy[kept, 0], xy[kept, 1], tuple(names[k] for k in kept)


def sifted(fixed: Flags, limits: Sequence[Limit], *, others_needed: bool = True) -> Flags:
    """(n,) the fixed posts, and of other places those that every limit keeps.

    others_needed : whether more posts are wanted than are fixed

    Raises
    ------
    PostsError : no place is left; it says which limit costs most
    """
    free = ~fixed
    kept = free.copy()
    for limit in limits:
        kept &= limit.keeps
    if kept.any() or not free.any() or not others_needed:
        return kept | fixed
    raise PostsError(
        f"none of {int(free.sum()):,} places satisfies the limits; refused are {_refusals(free, limits)}",
        remedy=_costliest(free, limits),
    )


def _refusals(free: Flags, limits: Sequence[Limit]) -> str:
    """How many places each limit refuses."""
    counts = [(limit.name, int((free & ~limit.keeps).sum())) for limit in limits]
    return listed([f"{count:,} by {name}" for name, count in counts if count])


def _costliest(free: Flags, limits: Sequence[Limit]) -> str:
    """Which limit to loosen first: the one without which most places are left, else that refuses most."""
    left = []
    for limit in limits:
        without = free.copy()
        for other in limits:
            if other is not limit:
                without &= other.keeps
        left.append(int(without.sum()))
    best = int(np.argmax(left))
    if left[best]:
        places = "place" if left[best] == 1 else "places"
        saved = f"{left[best]:,} {places} would be left"
        return f"The limit that costs most is {limits[best].name}: without it {saved}"
    most = max(limits, key=lambda limit: int((free & ~limit.keeps).sum()))
    return (
        f"The limit that costs most is {most.name}, but no limit alone: loosen several, or name other ground"
    )


def _spots(shape: shapely.Geometry, every_m: float) -> Floats:
    """(n, 2) of points themselves, and along lines; none of areas."""
    parts = shapely.get_parts(shape)
    found = [np.zeros((0, 2))]
    for part in parts:
        dimension = int(shapely.get_dimensions(part))
        if dimension == 0:
            found.append(shapely.get_coordinates(part))
        elif dimension == 1 and part.length > 0:
            count = int(np.ceil(part.length / every_m))
            _check_count(count)
            along = np.append(every_m * np.arange(count), part.length)
            found.append(shapely.get_coordinates(shapely.line_interpolate_point(part, along)))
    return np.concatenate(found)


def _lattice(area: shapely.Geometry, every_m: float) -> Floats:
    """(n, 2) places of a lattice within an area, row by row from the north."""
    if shapely.is_empty(area):
        return np.zeros((0, 2))
    west, south, east, north = shapely.bounds(area)
    columns = np.arange(np.ceil(west / every_m), np.floor(east / every_m) + 1) * every_m
    rows = np.arange(np.floor(north / every_m), np.ceil(south / every_m) - 1, -1) * every_m
    # The box may be far larger than the area in it.
    _check_count(len(columns) * len(rows) // 1_000)
    easting_m, northing_m = (v.ravel() for v in np.meshgrid(columns, rows))
    shapely.prepare(area)
    inside = shapely.intersects_xy(area, easting_m, northing_m)
    _check_count(int(inside.sum()))
    return np.column_stack((easting_m[inside], northing_m[inside]))


def _apart(xy: Floats) -> list[int]:
    """Numbers of the places that no earlier one is nearer to than a metre."""
    if len(xy) < 2:
        return list(range(len(xy)))
    dropped = np.zeros(len(xy), np.bool_)
    near = cKDTree(xy).query_pairs(_ONE_PLACE_M, output_type="ndarray")
    for early, late in near[np.lexsort((near[:, 1], near[:, 0]))]:
        if not dropped[early]:
            dropped[late] = True
    return np.flatnonzero(~dropped).tolist()


def _check_count(count: int) -> None:
    if count > MOST_PLACES:
        raise PostsError(
            f"marshals could stand at {count:,} places, and {MOST_PLACES:,} are the most",
            remedy="Widen every_m below [[stand]], or name less ground",
        )
