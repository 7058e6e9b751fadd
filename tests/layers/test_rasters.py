"""Rasters: cloud-optimised GeoTIFF without loss, and the change of CRS by the nearest post."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio

from hillsight.errors import OutputError
from hillsight.ground.grid import Grid
from hillsight.layers import rasters
from hillsight.layers.rasters import PROVENANCE_ITEM, placed, write_cog

from layers.made import GRID, GRID_CRS, depths, provenance, states  # isort: skip

BIG = Grid(GRID_CRS, 200_025.0, 799_975.0, 50.0, 50.0, 1100, 1300)


@pytest.mark.parametrize("kind", ["states", "depths"])
def test_cog_is_exact_and_says_where_it_comes_from(tmp_path: Path, kind: str) -> None:
    array = states() if kind == "states" else depths()
    nodata = 0 if kind == "states" else float("nan")
    path = tmp_path / "r.tif"
    write_cog(path, array, GRID, nodata=nodata, provenance=provenance(), meaning="what is seen", unit="m")
    with rasterio.open(path) as file:
        back = file.read(1)
        assert back.dtype == array.dtype
        assert np.array_equal(back, array, equal_nan=kind == "depths")
        assert file.crs.to_epsg() == 27700
        assert file.compression.name == "deflate"
        west, south, east, north = GRID.cell_edges_m
        assert np.allclose(file.bounds, (west, south, east, north), rtol=0, atol=1e-6)
        assert file.nodata == 0 if kind == "states" else np.isnan(file.nodata)
        assert json.loads(file.tags()[PROVENANCE_ITEM]) == json.loads(provenance().as_json())
        assert file.tags()["TIFFTAG_DATETIME"] == "2001:09:09 01:46:40"
        assert file.descriptions == ("what is seen",)
        assert file.units == ("m",)
    assert [entry.name for entry in tmp_path.iterdir()] == ["r.tif"]


def test_cog_passes_the_validator_of_gdal(tmp_path: Path) -> None:
    # Outside check: GDAL's own validator. A plain striped GeoTIFF must fail it, or passing says nothing.
    validator = pytest.importorskip(
        "osgeo_utils.samples.validate_cloud_optimized_geotiff", reason="gdal-wheel is not installed"
    )
    codes = np.resize(states(), (BIG.rows, BIG.columns))
    write_cog(tmp_path / "good.tif", codes, BIG, nodata=0, provenance=provenance())
    warnings, errors, _ = validator.validate(str(tmp_path / "good.tif"), full_check=True)
    assert (warnings, errors) == ([], [])
    with rasterio.open(
        tmp_path / "bad.tif", "w", driver="GTiff", width=1300, height=1100, count=1, dtype="uint8"
    ) as file:
        file.write(codes, 1)
    assert validator.validate(str(tmp_path / "bad.tif"), full_check=True)[1]


def test_overviews_hold_only_values_that_cells_have(tmp_path: Path) -> None:
    codes = np.where(np.indices((BIG.rows, BIG.columns)).sum(axis=0) % 3 == 0, 1, 3).astype(np.uint8)
    write_cog(tmp_path / "codes.tif", codes, BIG, nodata=0, provenance=provenance())
    depth_m = np.random.default_rng(1).choice(np.float32([0, 7.25, 90.5]), (BIG.rows, BIG.columns))
    write_cog(tmp_path / "depth.tif", depth_m, BIG, nodata=float("nan"), provenance=provenance())
    for name, values in (("codes.tif", {1, 3}), ("depth.tif", {0, 7.25, 90.5})):
        with rasterio.open(tmp_path / name) as file:
            assert [-(-BIG.columns // factor) for factor in file.overviews(1)] == [650, 325]  # within a block
        with rasterio.open(tmp_path / name, overview_level=0) as file:
            assert set(np.unique(file.read(1)).tolist()) <= values


FULL_DISK = """
import resource, signal, sys
from pathlib import Path
import numpy as np
from hillsight.errors import OutputError
from layers.test_rasters import BIG, provenance, write_cog
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
told = provenance()
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), resource.RLIM_INFINITY))
codes = np.random.default_rng(1).integers(0, 4, (BIG.rows, BIG.columns), np.uint8)
try:
    write_cog(Path(sys.argv[1]), codes, BIG, nodata=0, provenance=told)
except OutputError as error:
    print(error)
    sys.exit(2)
"""


@pytest.mark.skipif(os.name == "nt", reason="POSIX limits on the size of files stand in for a full disk")
@pytest.mark.parametrize("most_bytes", [0, 700, 5_000, 200_000, 400_000])
def test_full_disk_at_any_moment_is_one_message_and_no_file(tmp_path: Path, most_bytes: int) -> None:
    path = [str(Path(__file__).parents[1]), *(entry for entry in sys.path if entry)]
    run = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(tmp_path / "r.tif"), str(most_bytes)],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(path)},
    )
    assert (run.returncode, run.stderr) == (2, "")
    assert len(run.stdout.strip().splitlines()) == 1
    assert "grown beyond the size allowed" in run.stdout
    assert list(tmp_path.iterdir()) == []


def test_cog_is_the_same_byte_for_byte_on_rerun(tmp_path: Path) -> None:
    for name in ("a.tif", "b.tif"):
        write_cog(tmp_path / name, depths(), GRID, nodata=float("nan"), provenance=provenance())
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()


def test_disk_that_forgets_is_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rasters, "_same_bits", lambda one, other: False)
    with pytest.raises(OutputError, match="does not read back"):
        write_cog(tmp_path / "r.tif", states(), GRID, nodata=0, provenance=provenance())
    assert list(tmp_path.iterdir()) == []


def test_each_part_of_a_raster_is_read_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Compared some rows at a time, one wrong cell in the last rows is found."""
    array = depths()
    write_cog(tmp_path / "r.tif", array, GRID, nodata=float("nan"), provenance=provenance())
    monkeypatch.setattr(rasters, "_CELLS_AT_ONCE", 1)
    assert GRID.rows > rasters._ROWS_AT_ONCE
    raster = placed(array, GRID)
    rasters.check_raster(tmp_path / "r.tif", raster, "r.tif")
    raster.array[-1, 0] += 1
    with pytest.raises(OutputError, match="does not read back"):
        rasters.check_raster(tmp_path / "r.tif", raster, "r.tif")


def test_same_bits_sees_one_bit() -> None:
    one = depths()
    other = one.copy()
    assert rasters._same_bits(one, other)
    other.view(np.uint32)[10, 10] ^= 1
    assert not rasters._same_bits(one, other)
    assert not rasters._same_bits(np.float32([[0.0]]), np.float32([[-0.0]]))
    assert not rasters._same_bits(np.float32([[np.nan]]), np.float32([[0.0]]))


def test_wrong_types_and_sizes() -> None:
    with pytest.raises(ValueError, match="uint8, uint16, uint32 or float32, not float64"):
        placed(depths().astype(float), GRID)
    with pytest.raises(ValueError, match="does not fit"):
        placed(states()[1:], GRID)


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:32630", "EPSG:3857"])
def test_other_crs_takes_the_nearest_post(crs: str) -> None:
    target = pyproj.CRS(crs)
    array = depths()
    moved = placed(array, GRID, target)
    back = pyproj.Transformer.from_crs(target, GRID_CRS, always_xy=True)
    rng = np.random.default_rng(0)
    rows, columns = moved.array.shape
    posts_e, posts_n = GRID.to_map(*np.indices(array.shape).reshape(2, -1))
    inside = 0
    for row, column in zip(rng.integers(0, rows, 300), rng.integers(0, columns, 300), strict=True):
        x = moved.corner[0] + (column + 0.5) * moved.cell[0]
        y = moved.corner[1] - (row + 0.5) * moved.cell[1]
        e, n = back.transform(x, y)
        west, south, east, north = GRID.cell_edges_m
        value = moved.array[row, column]
        if not (west < e < east and south < n < north):
            assert np.isnan(value)
            continue
        inside += 1
        # Slow and obvious: the nearest of all posts, in units of the spacings.
        steps = np.hypot((posts_e - e) / GRID.spacing_x_m, (posts_n - n) / GRID.spacing_y_m)
        expected = array.reshape(-1)[int(np.argmin(steps))]
        assert value == expected or (np.isnan(value) and np.isnan(expected))
    assert inside > 100
    assert set(np.unique(placed(states(), GRID, target).array).tolist()) <= {0, 1, 2, 3, 4}


def test_other_crs_covers_the_whole_grid() -> None:
    moved = placed(np.full((GRID.rows, GRID.columns), 3, np.uint8), GRID, pyproj.CRS(4326))
    there = pyproj.Transformer.from_crs(GRID_CRS, 4326, always_xy=True)
    rows, columns = moved.array.shape
    for row in (0, GRID.rows - 1):
        for column in (0, GRID.columns - 1):
            x, y = there.transform(*GRID.to_map(row, column))
            at = int((moved.corner[1] - y) / moved.cell[1]), int((x - moved.corner[0]) / moved.cell[0])
            assert 0 <= at[0] < rows
            assert 0 <= at[1] < columns
            # A cell's centre may lie just off the grid where the cell itself still touches the corner post.
            around = moved.array[max(at[0] - 1, 0) : at[0] + 2, max(at[1] - 1, 0) : at[1] + 2]
            assert (around == 3).any()
    middle = moved.array[rows // 3 : -rows // 3, columns // 3 : -columns // 3]
    assert (middle == 3).all()
