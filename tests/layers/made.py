"""Made-up content for the tests of the layers room: frames that fit the schema, rasters, a provenance."""

from __future__ import annotations

import geopandas
import numpy as np
import pyproj
import shapely

from hillsight.ground.grid import Grid
from hillsight.layers.provenance import Provenance
from hillsight.schema.layers import LAYERS

GRID_CRS = pyproj.CRS("EPSG:27700")
# Odd sizes, unequal spacings that binary fractions cannot hold, several tiles with cut-off edges.
GRID = Grid(GRID_CRS, 216_671.3, 771_281.7, 50.1, 24.7, 301, 270)
HOSTILE = (
    "O'Brien's \"Knoll\"",
    "line\nbreak\ttab",
    "top 🏔️ Bèinn Ämne",
    "'); DROP TABLE stations; --",
    "../../etc/passwd",
    "%s {0} $HOME \\ /",
    "",
    " ",
)
STAMP = "2001-09-09T01:46:40Z"


def frame(layer: str, rows: int = len(HOSTILE), crs: pyproj.CRS = GRID_CRS) -> geopandas.GeoDataFrame:
    """A frame of the layer's columns with hostile texts, and nulls wherever the schema allows them."""
    declared = LAYERS[layer]
    values = {}
    for place, column in enumerate(declared.columns):
        kinds = {
            "text": lambda i: HOSTILE[i % len(HOSTILE)],
            "real": lambda i, p=place: 1e6 / 3 + i + p,
            "integer": lambda i, p=place: 2**40 + i + p,
            "boolean": lambda i: i % 2 == 0,
        }
        cells = [kinds[column.type](i) for i in range(rows)]
        if column.optional and rows > 1:
            cells[1] = None
        values[column.name] = cells
    shapes = [_shape(declared.geometry, i) for i in range(rows)]
    return geopandas.GeoDataFrame(values, geometry=shapes, crs=crs)


def _shape(geometry: str, i: int) -> shapely.Geometry:
    x, y = 220_000.0 + 100 * i, 770_000.0 - 50 * i
    hole = [(x + 4, y + 4), (x + 6, y + 4), (x + 6, y + 6)]
    polygon = shapely.Polygon([(x, y), (x + 10, y), (x + 10, y + 10), (x, y + 10)], [hole])
    return {
        "Point": shapely.Point(x, y),
        "Point Z": shapely.Point(x, y, 400.0 + i),
        "LineString": shapely.LineString([(x, y), (x + 30, y + 5), (x + 60, y)]),
        "LineString Z": shapely.LineString([(x, y, 400.0 + i), (x + 30, y + 5, 410.5), (x + 60, y, 399.0)]),
        "MultiLineString": shapely.MultiLineString([[(x, y), (x + 30, y + 5)], [(x + 40, y), (x + 60, y)]]),
        "Polygon": polygon,
        "MultiPolygon": shapely.MultiPolygon([polygon, shapely.box(x + 20, y, x + 30, y + 10)]),
    }[geometry]


def states(seed: int = 3) -> np.ndarray:
    """Codes 0 to 4 in blobs and specks, one whole tile of zeros among them."""
    codes = np.random.default_rng(seed).integers(0, 5, (GRID.rows, GRID.columns)).astype(np.uint8)
    codes[:256, :256] = 0
    codes[20:60, 30:90] = 3
    return codes


def depths(seed: int = 4) -> np.ndarray:
    """Depths with zeros, NaN, a whole tile of NaN, and values at the ends of float32."""
    depth_m = np.random.default_rng(seed).gamma(1.0, 20.0, (GRID.rows, GRID.columns)).astype(np.float32)
    depth_m[depth_m < 5] = 0
    depth_m[:, 256:] = np.nan
    depth_m[0, 0], depth_m[0, 1], depth_m[0, 2] = np.float32(1e-38), np.float32(3e38), np.float32(1 / 3)
    return depth_m


def provenance(**changes: object) -> Provenance:
    """A provenance with a fixed time."""
    given = {"script": "outlook", "parameters": {"reach_m": 5000.0}, "written_at": STAMP, **changes}
    return Provenance(**given)  # type: ignore[arg-type]
