"""Pools that wrong places are taken from: named tops, spots along lines, a lattice, points of a layer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.plan.search.lattice_places import along_lines, over_area

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas

    from hillsight.arrays import Flags, Floats
    from hillsight.ground.grid import Surface

#: Kinds of line that a class may walk along.
WAYS = ("path", "footpath", "bridleway", "track", "trail", "way", "road", "lane")


@dataclass(frozen=True)
class Pool:
    """Places that an exercise may use, (n,) each.

    names : for whoever sets the exercise; never on a question sheet
    """

    easting_m: Floats
    northing_m: Floats
    names: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.names)

    def within(self, east_m: float, north_m: float, within_m: float) -> Pool:
        """Those within a distance of a place."""
        return self.kept(np.hypot(self.easting_m - east_m, self.northing_m - north_m) <= within_m)

    def kept(self, which: Flags) -> Pool:
        """Some of them."""
        names = tuple(name for name, keep in zip(self.names, which, strict=True) if keep)
        return Pool(self.easting_m[which], self.northing_m[which], names)


def spot_name(east_m: float, north_m: float) -> str:
    """A place by its coordinates."""
    return f"E {east_m:.0f} N {north_m:.0f}"


def named_tops(features: geopandas.GeoDataFrame) -> Pool:
    """Points of the map that have a name and are ground shape: tops, saddles and the like."""
    points = features[
        features["name"].notna()
        & (features["evidence_class"] == "ground_shape")
        & (features.geometry.geom_type == "Point")
    ]
    at = shapely.get_coordinates(points.geometry.to_numpy()).reshape(-1, 2)
    return Pool(at[:, 0], at[:, 1], tuple(map(str, points["name"])))


def along_ways(features: geopandas.GeoDataFrame, surface: Surface, every_m: float) -> Pool:
    """Spots along the paths and tracks of the map."""
    kinds = features["kind"].fillna("").str.casefold()
    ways = features[kinds.isin(WAYS) & (shapely.get_dimensions(features.geometry.to_numpy()) == 1)]
    names = [
        str(name if isinstance(name, str) else kind)
        for name, kind in zip(ways["name"], ways["kind"], strict=True)
    ]
    return of_shapes(list(ways.geometry), names, surface, every_m)


def of_shapes(
    shapes: Sequence[shapely.Geometry], names: Sequence[str], surface: Surface, every_m: float
) -> Pool:
    """Points as they are, spots along lines, a lattice over areas; on known ground.

    Parameters
    ----------
    names : of the shapes, empty where they have none

    Raises
    ------
    CallError : no line, or no area, lies on known ground; too many places
    """
    east, north, called = [np.zeros(0)], [np.zeros(0)], list[str]()
    for shape, name in zip(shapes, names, strict=True):
        if shape is None or shapely.is_empty(shape):
            continue
        dimension = shapely.get_dimensions(shape)
        if dimension == 0:
            at = shapely.get_coordinates(shape)
            own = [name or spot_name(*one) for one in at]
        elif dimension == 1:
            parts = list(shapely.get_parts(shapely.force_2d(shape)))
            spots = along_lines(parts, surface, every_m)
            at = np.column_stack((spots.easting_m, spots.northing_m))
            own = [f"{name}, {spot_name(*one)}" if name else spot_name(*one) for one in at]
        else:
            spots = over_area(shapely.make_valid(shapely.force_2d(shape)), surface, every_m).places
            at = np.column_stack((spots.easting_m, spots.northing_m))
            own = [spot_name(*one) for one in at]
        east.append(at[:, 0])
        north.append(at[:, 1])
        called += own
    return Pool(np.concatenate(east), np.concatenate(north), tuple(called))


def lattice(box_m: tuple[float, float, float, float], every_m: float, shift: tuple[float, float]) -> Pool:
    """Places of a lattice in a box, west, south, east, north; shifted by shares of its spacing."""
    west, south, east, north = box_m
    columns = np.arange(west + shift[0] * every_m, east, every_m)
    rows = np.arange(south + shift[1] * every_m, north, every_m)
    at = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
    return Pool(at[:, 0], at[:, 1], tuple(spot_name(*one) for one in at))
