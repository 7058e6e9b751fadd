"""GeoPackages against GDAL's own validator.

Source: ``osgeo_utils.samples.validate_gpkg`` of GDAL 3.13 (gdal-wheel), which checks a file against the
requirements of the GeoPackage encoding standard, OGC 12-128r18.
"""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pyproj
import pytest

from hillsight.ground.grid import Grid
from hillsight.layers.package import package
from hillsight.schema.layers import LAYERS

from layers.made import GRID, GRID_CRS, depths, frame, provenance, states  # isort: skip

pytest.importorskip("osgeo_utils.samples.validate_gpkg", reason="gdal-wheel is not installed")


def validate(path: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "osgeo_utils.samples.validate_gpkg", "-k", str(path)],
        capture_output=True,
        text=True,
        check=False,
    )


def write(path: Path, out_crs: pyproj.CRS | None, rows: int) -> None:
    with package(path, provenance(), out_crs=out_crs) as made:
        for layer in LAYERS:
            made.write(layer, frame(layer, rows))
        made.write_raster("viewshed_a", states(), GRID, "codes")
        made.write_raster("depth_a", depths(), GRID, "metres")
        made.write_raster("depth_one", depths()[:1, :1], Grid(GRID_CRS, 0.0, 0.0, 1.0, 3.0, 1, 1), "metres")


@pytest.mark.parametrize("out_crs", [None, pyproj.CRS(4326)], ids=["own CRS", "degrees"])
@pytest.mark.parametrize("rows", [0, 8])
def test_file_with_everything_is_valid(tmp_path: Path, out_crs: pyproj.CRS | None, rows: int) -> None:
    path = tmp_path / "out.gpkg"
    write(path, out_crs, rows)
    verdict = validate(path)
    assert verdict.returncode == 0, verdict.stdout + verdict.stderr
    assert "Req" not in verdict.stdout


@pytest.mark.slow
@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE gpkg_metadata SET md_scope = 'everything'",
        "UPDATE gpkg_metadata_reference SET reference_scope = 'row' WHERE reference_scope = 'table'",
        "DELETE FROM gpkg_extensions WHERE extension_name = 'gpkg_2d_gridded_coverage'",
        "UPDATE gpkg_contents SET last_change = 'yesterday'",
        "ALTER TABLE gpkg_metadata DROP COLUMN mime_type",
        "UPDATE gpkg_geometry_columns SET z = 0",
    ],
)
def test_validator_sees_damage(tmp_path: Path, damage: str) -> None:
    # Passing means something only if breaking the file makes it fail.
    path, broken = tmp_path / "out.gpkg", tmp_path / "broken.gpkg"
    write(path, None, 3)
    shutil.copy(path, broken)
    with closing(sqlite3.connect(broken)) as database, database:
        database.execute(damage)
    assert validate(path).returncode == 0
    assert validate(broken).returncode != 0
