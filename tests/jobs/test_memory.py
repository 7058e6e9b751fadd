"""Terrain and tables in memory: read as a file of the same content is, or refused with one message."""

from __future__ import annotations

from typing import Any

import geopandas
import numpy as np
import pytest
import shapely
from pyproj import CRS

from hillsight.errors import TerrainError
from hillsight.ground.terrain import open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.jobs.memory import Raster, as_raster, frame_checksum, raster_checksum, raster_file
from jobs.worlds import NORTH, SPACING, WEST

SIDE = 12
HEIGHTS = np.arange(SIDE * SIDE, dtype=np.int16).reshape(SIDE, SIDE) ** 2 % 997
TRANSFORM = (SPACING, 0.0, WEST, 0.0, -SPACING, NORTH)


def tile(values: Any = HEIGHTS, **attributes: Any) -> Any:
    """A square DataArray, dimensions (y, x), that is not the same when it is turned over."""
    xarray = pytest.importorskip("xarray")
    steps = SPACING * (np.arange(SIDE) + 0.5)
    return xarray.DataArray(
        values,
        dims=("y", "x"),
        coords={"y": NORTH - steps, "x": WEST + steps},
        attrs={"crs": "EPSG:27700", **attributes},
    )


def heights_m(given: Any) -> np.ndarray:
    """(SIDE, SIDE) metres, as a job reads them."""
    with raster_file(as_raster(given)) as path:
        return np.asarray(open_terrain(path, TerrainOptions()).on_metric_grid(-3.6, 56.2).whole().height_m)


def test_the_order_of_dimensions_makes_no_difference():
    wanted = heights_m(Raster(HEIGHTS, TRANSFORM, "EPSG:27700"))
    np.testing.assert_array_equal(wanted, HEIGHTS)
    for given in (tile(), tile().transpose("x", "y"), tile().expand_dims("band").transpose("x", "band", "y")):
        np.testing.assert_array_equal(heights_m(given), wanted)
        assert as_raster(given).transform == TRANSFORM


def test_other_dimensions_are_refused():
    xarray = pytest.importorskip("xarray")
    with pytest.raises(TerrainError, match="its dimensions are band, y, x"):
        as_raster(xarray.concat([tile(), tile()], "band"))
    flat = tile().stack(cell=("y", "x"))
    with pytest.raises(TerrainError, match="its dimensions are cell"):
        as_raster(flat)


def test_packed_numbers_are_read_as_those_of_a_file():
    """Unpacked is packed * scale_factor + add_offset (CF conventions, "Packed Data"; from memory)."""
    stored = HEIGHTS.copy()
    stored[3, 4] = -9999
    read = heights_m(tile(stored, scale_factor=0.1, add_offset=50.0, _FillValue=-9999, units="ft"))
    wanted = (stored * 0.1 + 50.0) * 0.3048
    wanted[3, 4] = np.nan
    np.testing.assert_allclose(read, wanted, rtol=1e-6)
    with pytest.raises(TerrainError, match="scale_factor is 'half'"):
        as_raster(tile(scale_factor="half"))


def test_a_checksum_changes_with_whatever_may_change_the_answer():
    moved = (SPACING, 0.0, WEST + 1.0, 0.0, -SPACING, NORTH)
    rasters = [
        Raster(HEIGHTS, TRANSFORM, "EPSG:27700"),
        Raster(HEIGHTS, moved, "EPSG:27700"),
        Raster(HEIGHTS, TRANSFORM, "EPSG:29903"),
        Raster(HEIGHTS, TRANSFORM, "EPSG:27700", 0),
        Raster(HEIGHTS, TRANSFORM, "EPSG:27700", None, 0.1),
        Raster(HEIGHTS, TRANSFORM, "EPSG:27700", None, 1.0, 5.0),
        Raster(HEIGHTS, TRANSFORM, "EPSG:27700", unit="ft"),
        Raster(HEIGHTS.reshape(SIDE * 2, -1), TRANSFORM, "EPSG:27700"),
    ]
    assert len({raster_checksum(raster).sha256 for raster in rasters}) == len(rasters)
    again = Raster(HEIGHTS.copy(), TRANSFORM, CRS("EPSG:27700"))
    assert raster_checksum(again).sha256 == raster_checksum(rasters[0]).sha256
    rows = geopandas.GeoDataFrame({"name": ["Cairn"]}, geometry=[shapely.Point(1, 2)], crs=27700)
    tables = [
        rows,
        rows.set_crs(29903, allow_override=True),
        rows.assign(name="Tarn"),
        rows.set_crs(None, allow_override=True),
    ]
    assert len({frame_checksum(table).sha256 for table in tables}) == len(tables)
    assert frame_checksum(rows.copy()) == frame_checksum(rows)
