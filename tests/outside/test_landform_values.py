"""Slope, aspect and prominence against published values and GDAL's own slope and aspect."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from hillsight.landform.gradient import horn
from hillsight.landform.merge_tree import prominences
from terrains import fractal

DATA = Path(__file__).parent / "data"


def _rows(name):
    with (DATA / name).open(newline="") as file:
        return list(csv.DictReader(file))


def test_horn_slope_and_aspect_as_published():
    """Raster and figures of xarray-spatial's tests (conftest.py, test_slope.py, test_aspect.py)."""
    rows = _rows("horn_slope_aspect.csv")
    ground = np.full((8, 6), np.nan)
    for row in rows:
        if row["elevation"]:
            ground[int(row["row"]), int(row["col"])] = float(row["elevation"])
    found = horn(ground, 1.0, 1.0)
    compared = 0
    for row in rows:
        at = int(row["row"]), int(row["col"])
        if row["slope_deg_expected"]:
            compared += 1
            assert found.slope_deg[at] == pytest.approx(float(row["slope_deg_expected"]), rel=1e-5)
            assert found.aspect_deg[at] == pytest.approx(float(row["aspect_deg_expected"]), rel=1e-5)
    assert compared >= 12


@pytest.mark.parametrize(
    ("east", "north", "slope_deg", "aspect_deg"),
    [(0.1, 0.0, 5.710593, 270.0), (0.3, 0.4, 26.565051, 216.8699), (0.0, 0.2, 11.309932, 180.0)],
)
def test_slope_and_aspect_of_planes(east, north, slope_deg, aspect_deg):
    """Closed form."""
    row, column = np.mgrid[:5, :5]
    found = horn(10.0 * (east * column - north * row), 10.0, 10.0)
    assert found.slope_deg[2, 2] == pytest.approx(slope_deg, abs=1e-6)
    assert found.aspect_deg[2, 2] == pytest.approx(aspect_deg, abs=1e-4)


@pytest.mark.parametrize(("spacing_x_m", "spacing_y_m"), [(10.0, 10.0), (8.0, 12.5)])
def test_gdal_finds_the_same_slope_and_aspect(spacing_x_m, spacing_y_m):
    """GDAL works in float32: heights of 400 m are off by 3e-5 m, a slope over 10 m by some 2e-4 degrees.

    Its aspect takes posts as equally far apart both ways (seen in its results, source not read), so aspects
    are compared on square posts only.
    """
    gdal = pytest.importorskip("osgeo.gdal", reason="gdal-wheel is not installed")
    gdal.UseExceptions()
    ground = fractal(60, 80, seed=11).astype(float)
    ground[20:23, 30] = np.nan
    source = gdal.GetDriverByName("MEM").Create("", 80, 60, 1, gdal.GDT_Float64)
    source.SetGeoTransform((0, spacing_x_m, 0, 0, 0, -spacing_y_m))
    source.GetRasterBand(1).SetNoDataValue(-9999)
    source.GetRasterBand(1).WriteArray(np.where(np.isnan(ground), -9999, ground))
    found = horn(ground, spacing_x_m, spacing_y_m)
    known = ~np.isnan(found.slope_deg)
    assert known.sum() > 4000
    compared = [("slope", found.slope_deg, 5e-4)]
    if spacing_x_m == spacing_y_m:
        compared.append(("aspect", found.aspect_deg, 5e-3))
    for what, ours, tolerance_deg in compared:
        theirs = gdal.DEMProcessing("", source, what, format="MEM", alg="Horn").ReadAsArray()
        assert np.array_equal(known, theirs != -9999), what
        off = (ours[known] - theirs[known] + 180) % 360 - 180
        assert np.abs(off).max() < tolerance_deg, what


def _profile_peaks(*heights_m):
    """Prominences of a one-dimensional profile between the sea on both sides, from left to right."""
    ground = np.zeros((3, len(heights_m)))
    ground[1] = heights_m
    peaks = prominences(ground)
    order = np.argsort(peaks.summit)
    return peaks.prominence_m[order].tolist()


def test_prominence_along_a_profile():
    """Closed form: 40, 150, 40."""
    assert _profile_peaks(0, 100, 60, 150, 80, 120, 0) == [40.0, 150.0, 40.0]


def test_prominence_on_an_island():
    """prominentpeaks.org.uk/prominence.php: A 840 m, C 660 m, their key col 400 m; A keeps its height."""
    assert _profile_peaks(0, 840, 400, 660, 0) == [840.0, 260.0]


@pytest.mark.parametrize(
    ("summit", "key_col", "prominence"),
    [(430, 310, 120), (570, 530, 40), (671, 530, 141), (8611, 8611 - 4017, 4017), (964, 831, 133)],
)
def test_prominence_is_height_above_the_key_col(summit, key_col, prominence):
    """Maine hills in feet; K2 and Scafell with the col that follows from the figures printed."""
    assert _profile_peaks(0, summit, key_col, 9000, 0) == [float(prominence), 9000.0]
