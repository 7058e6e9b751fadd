"""Arrays that GDAL's own tests expect of its viewshed.

Source: OSGeo/gdal, autotest/cpp/test_viewshed.cpp at f524871 (MIT licence), copied to
gdal_viewshed_cases.csv and gdal_viewshed_extra.csv. Identity geotransform, no curvature, observer on a
post. What is compared:

- NORMAL: 255 visible, 0 not. GDAL too calls a tie visible.
- GROUND: height above the ground that is needed to show: our depth.
- DEM: the same as an absolute height, no lower than the ground: ground + depth.
- oor_*: an observer outside the raster, its height absolute. Our eye must stand on the terrain, so the
  raster is set in a bottomless plain, which hides nothing. Only cells whose sight line passes over posts
  are compared (38 of 120): elsewhere GDAL interpolates between heights *needed* at nearer cells, an
  approximation, where we interpolate the ground. The 14 arrays with the observer inside leave no such
  difference and are compared whole.
- max distance is our reach: both keep a cell exactly at it. Min distance is a mask of distance.
- angles are our arcs, but GDAL also fills cells that an edge of the sector cuts; cells are compared whose
  outline no edge cuts.
- pitch and error rasters have no counterpart here: NOT_CHECKED says why.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
import shapely

from hillsight.sight.field import FieldOfView
from hillsight.sight.posts import see_posts
from hillsight.sight.viewing import Eye
from views import surface_of

DATA = Path(__file__).parent / "data"
with (DATA / "gdal_viewshed_cases.csv").open(newline="") as _file:
    CASES = list(csv.DictReader(_file))
with (DATA / "gdal_viewshed_extra.csv").open(newline="") as _file:
    EXTRA = {row["case"]: row for row in csv.DictReader(_file)}

BOTTOMLESS_M = -1e6

NOT_CHECKED = {
    "low_mask": "answers the height at which a line of -45 degrees passes; nothing here limits the pitch",
    "sd_right": "an error raster for the heights; sight lines alone know no errors",
    "sd_left": "as sd_right",
    "sd_2rows_right_down": "as sd_right",
}


def _array(text, row, rows="nrows", columns="ncols"):
    return np.array([float(v) for v in text.split()]).reshape(int(row[rows]), int(row[columns]))


def _seen(height_m, row, column, level_m, reach_m=1e9):
    """Clearance of every post; the raster is set in a bottomless plain if the eye is outside it."""
    rows, columns = height_m.shape
    pad = max(0, -row, -column, row - rows + 1, column - columns + 1)
    set_in = np.pad(height_m, pad, constant_values=BOTTOMLESS_M)
    clearance_m = see_posts(
        surface_of(set_in, 1.0), Eye(row + pad, column + pad, level_m), reach_m
    ).clearance_m
    return clearance_m[pad : pad + rows, pad : pad + columns].astype(float)


@pytest.mark.parametrize(
    "case", [pytest.param(c, id=f"{c['case']}-{c['mode']}-{i}") for i, c in enumerate(CASES)]
)
def test_published_array(case):
    height_m = _array(case["dem_rowmajor"], case)
    expected = _array(case["expected_rowmajor"], case)
    row, column = int(case["observer_row"]), int(case["observer_col"])
    inside = 0 <= row < height_m.shape[0] and 0 <= column < height_m.shape[1]
    assert float(case["target_height"]) == 0
    level_m = float(case["observer_height"]) + (height_m[row, column] if inside else 0.0)
    clearance_m = _seen(height_m, row, column, level_m)
    depth_m = np.maximum(0.0, -clearance_m)
    if case["mode"] == "NORMAL":
        assert np.where(clearance_m >= 0, 255, 0).tolist() == expected.tolist()
        return
    found = depth_m if case["mode"] == "GROUND" else height_m + depth_m
    compared = np.full(found.shape, True) if inside else _over_posts(height_m.shape, row, column)
    np.testing.assert_allclose(found[compared], expected[compared], atol=2e-6)


def _over_posts(shape, row, column):
    """Cells due north, east, south, west of the observer, or on its diagonals."""
    down, right = np.abs(np.indices(shape) - np.array([row, column])[:, None, None])
    return (down == 0) | (right == 0) | (down == right)


def test_distances():
    row = EXTRA["min_max_mask"]
    height_m = _array(row["dem_rowmajor"], row)
    surface, eye = surface_of(height_m, 1.0), Eye(7, 7, 0.0)
    clearance_m = see_posts(surface, eye, FieldOfView(6.0, inner_m=2.0)).clearance_m
    found = np.where(clearance_m >= 0, 255, 0)
    # GDAL's output is cut to 13 x 13, rows 0 to 12, columns 1 to 13: the one cell 6 south falls off.
    expected = _array(row["expected_rowmajor"], row, "out_nrows", "out_ncols")
    assert found[0:13, 1:14].tolist() == expected.tolist()
    found[0:13, 1:14] = 0
    assert np.argwhere(found).tolist() == [[13, 7]]


@pytest.mark.parametrize(
    ("name", "to_deg", "compared_cells"), [("angle_0_30", 30.0, 275), ("angle_0_300", 300.0, 112)]
)
def test_angles(name, to_deg, compared_cells):
    row = EXTRA[name]
    height_m = _array(row["dem_rowmajor"], row)
    r, c = int(row["observer_row"]), int(row["observer_col"])
    expected = np.zeros(height_m.shape)
    given = _array(row["expected_rowmajor"], row, "out_nrows", "out_ncols")
    if name == "angle_0_30":  # GDAL cuts the output: the observer is its lower left corner
        expected[r - 8 : r + 1, c : c + 6] = given
    else:
        expected[:] = given
    surface = surface_of(height_m, 1.0)
    rows, columns = np.indices(height_m.shape)
    east, north = surface.grid.to_map(rows, columns)
    here = [float(v) for v in surface.grid.to_map(r, c)]
    sector = FieldOfView(1e9, from_bearing_grid_deg=0.0, to_bearing_grid_deg=to_deg)
    found = np.where(see_posts(surface, Eye(r, c, 0.0), sector).clearance_m >= 0, 255, 0)
    edge = shapely.LineString(
        [here, (here[0] + 99 * np.sin(np.radians(to_deg)), here[1] + 99 * np.cos(np.radians(to_deg)))]
    )
    cut = shapely.intersects(shapely.box(east - 0.5, north - 0.5, east + 0.5, north + 0.5), edge)
    assert (~cut).sum() == compared_cells
    assert found[~cut].tolist() == expected[~cut].tolist()


def test_visible_below_a_pitch():
    """high_mask: cells on lines over posts, but for those beyond GDAL's pitch limit (2)."""
    row = EXTRA["high_mask"]
    height_m = _array(row["dem_rowmajor"], row)
    expected = _array(row["expected_rowmajor"], row, "out_nrows", "out_ncols")
    observer = int(row["observer_row"]), int(row["observer_col"])
    clearance_m = _seen(height_m, *observer, 0.0)
    compared = _over_posts(height_m.shape, *observer) & (expected != 2)
    assert (compared.sum(), (expected[compared] == 0).sum()) == (42, 2)
    assert (clearance_m >= 0)[compared].astype(int).tolist() == expected[compared].astype(int).tolist()


def test_what_is_checked():
    assert len(CASES) == 22
    outside = [c for c in CASES if c["case"].startswith("oor")]
    assert len(outside) == 8
    places = [(int(c["observer_row"]), int(c["observer_col"])) for c in outside]
    assert sum(int(_over_posts((3, 5), *place).sum()) for place in places) == 38
    checked = {"min_max_mask", "angle_0_30", "angle_0_300", "high_mask"}
    assert set(EXTRA) == checked | set(NOT_CHECKED)
    assert len(EXTRA) == 8
