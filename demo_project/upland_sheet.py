"""The sheet that a surveyor of the invented upland draws on, and how its features are named and joined.

x runs east and y north, in metres from the south-west corner. Heights are an array of
posts, row 0 the northernmost.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from pyproj import CRS
from rasterio import Affine
from rasterio import features as raster_features
from scipy import ndimage
from shapely import MultiLineString, Polygon, line_merge
from shapely.geometry import shape
from upland_ground import SIDE_M, SPACING_M, Upland, sample

from hillsight.ground.grid import Grid, Surface

Rows = list[dict[str, Any]]  # one feature a row: name, kind, geometry, and what else its layer has
# A grid of our own in the open Atlantic, so that no real place is meant, yet true and
# magnetic north exist.
CRS_WKT = """PROJCRS["Invented upland grid",
  BASEGEOGCRS["WGS 84",
    DATUM["World Geodetic System 1984", ELLIPSOID["WGS 84", 6378137, 298.257223563, LENGTHUNIT["metre", 1]]],
    PRIMEM["Greenwich", 0, ANGLEUNIT["degree", 0.0174532925199433]], ID["EPSG", 4326]],
  CONVERSION["Invented upland grid",
    METHOD["Transverse Mercator", ID["EPSG", 9807]],
    PARAMETER["Latitude of natural origin", 51, ANGLEUNIT["degree", 0.0174532925199433], ID["EPSG", 8801]],
    PARAMETER["Longitude of natural origin", -38, ANGLEUNIT["degree", 0.0174532925199433], ID["EPSG", 8802]],
    PARAMETER["Scale factor at natural origin", 0.9996, SCALEUNIT["unity", 1], ID["EPSG", 8805]],
    PARAMETER["False easting", 200000, LENGTHUNIT["metre", 1], ID["EPSG", 8806]],
    PARAMETER["False northing", 300000, LENGTHUNIT["metre", 1], ID["EPSG", 8807]]],
  CS[Cartesian, 2], AXIS["(E)", east, ORDER[1]], AXIS["(N)", north, ORDER[2]],
  LENGTHUNIT["metre", 1]]"""

FIRST_WORDS = {"Great", "Little"}


def stem_of(name: str) -> str:
    """The word in a top's name that its neighbours are called after."""
    words = name.split()
    return words[1] if words[0] in FIRST_WORDS else words[0]


def called_after(
    place: Any, tops: Rows, endings: tuple[str, ...], used: set[str], join: str = " ", reach_m: float = 2200.0
) -> str | None:
    """A name from the nearest top that still has one to give, within 4 km."""
    named = [t for t in tops if t["name"] and place.distance(t["geometry"]) < 4000]
    for ending in endings:
        for top in sorted(named, key=lambda t: place.distance(t["geometry"])):
            name = f"{stem_of(top['name'])}{join}{ending}"
            if name not in used and place.distance(top["geometry"]) < reach_m:
                used.add(name)
                return name
    return None


class Sheet:
    """The posts of the sheet with their slope and places, shared by all the rules below."""

    def __init__(self, upland: Upland) -> None:
        self.upland = upland
        self.z = upland.height_m
        corner = SPACING_M / 2, SIDE_M - SPACING_M / 2  # the north-westernmost post
        grid = Grid(CRS.from_wkt(CRS_WKT), *corner, SPACING_M, SPACING_M, *self.z.shape)
        self.surface = Surface(grid, np.ascontiguousarray(self.z, np.float32))
        self.side = self.z.shape[0]
        at = SPACING_M / 2 + SPACING_M * np.arange(self.side)
        self.x, self.y = np.meshgrid(at, at[::-1])
        south, east = np.gradient(self.z, SPACING_M)
        self.slope = np.hypot(south, east)
        self.tarn = tarn_outline(upland.tarn)
        self.water = np.concatenate([s.xy_m for s in upland.streams])

    def place(self, index: int) -> Any:
        return np.array([self.x.ravel()[index], self.y.ravel()[index]])

    def height(self, xy: Any) -> Any:
        return sample(self.z, np.atleast_2d(xy), SPACING_M / 2, SIDE_M - SPACING_M / 2)


def tarn_outline(tarn: Any) -> Polygon:
    """Shore of the tarn, rounded."""
    outline = max(outlines(tarn), key=lambda g: g.area).buffer(12).buffer(-24).buffer(12).simplify(1.0)
    count = max(12, int(outline.exterior.length / 8))
    ring = np.array(
        [outline.exterior.interpolate(k / count, normalized=True).coords[0] for k in range(count)]
    )
    return Polygon(ndimage.gaussian_filter1d(ring, 3.0, axis=0, mode="wrap"))


def outlines(mask: Any) -> list[Polygon]:
    """The outlines of the connected posts of a mask."""
    place = Affine(SPACING_M, 0.0, 0.0, 0.0, -SPACING_M, SIDE_M)
    found = raster_features.shapes(mask.astype(np.uint8), mask, transform=place)
    return [shape(geometry) for geometry, value in found if value]


def joined(rows: Rows) -> Rows:
    """Lines of one name and kind as one feature; nameless ones of one kind where they meet end to end."""
    kept: Rows = []
    for key in dict.fromkeys((row["name"], row["kind"]) for row in rows):
        parts = [row["geometry"] for row in rows if (row["name"], row["kind"]) == key]
        legs = [leg for part in parts for leg in getattr(part, "geoms", [part])]
        line = line_merge(MultiLineString(legs))
        pieces = [line] if key[0] else list(getattr(line, "geoms", [line]))
        kept += [{"name": key[0], "kind": key[1], "geometry": piece} for piece in pieces]
    return kept
