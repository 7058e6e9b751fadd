"""Dead ground by the crest that hides it: made ground with known answers, and tiling over rough ground."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from hillsight.reading.ground.behind_crests import behind_crests
from hillsight.schema.frames import BUT_STATION, column_names
from terrains import fractal, with_hole
from views import reading_of, view_of


def _behind(reading, **how):
    return behind_crests(reading.view, reading.pockets, reading.lines, **how)


@pytest.fixture(scope="module")
def two_walls():
    """Flat ground, eye 10 m up at the west end of row 20; a wall at 500 m to the left, at 800 m to the right.

    Both stand above the eye, so that each hides all ground behind it, and their shadows join: one pocket.
    """
    height_m = np.zeros((41, 201), np.float32)
    height_m[:21, 50] = 20.0
    height_m[20:, 80] = 20.0
    return reading_of(view_of(height_m, 20, 0, eye_height_m=10.0, reach_m=1900.0))


def test_each_wall_has_the_ground_behind_it(two_walls):
    assert len(two_walls.pockets) == 1
    found = _behind(two_walls)
    large = found[found.area_ha > 1].sort_values("nearest_m")
    assert len(large) == 2
    view = two_walls.view
    left, right = large.geometry
    # By similar triangles nothing else is hidden: the left wall's ground starts at 500 m and lies left of due
    # east, the right one's starts at 800 m and lies right of it; the wall's last slope takes half a spacing.
    assert large.nearest_m.tolist() == pytest.approx([500.0, 800.0], abs=10.0)
    assert shapely.bounds(left)[1] >= view.northing_m - 40.0
    assert shapely.bounds(right)[3] <= view.northing_m + 10.0
    far_east = shapely.box(
        view.easting_m + 850, view.northing_m - 195, view.easting_m + 1400, view.northing_m - 45
    )
    assert shapely.covers(right, far_east)
    assert large.crest.nunique() == 2
    assert (large.role == "skyline").all()
    assert (large.pocket == two_walls.pockets.pocket.iloc[0]).all()


def test_the_parts_are_cut_by_a_line_from_the_eye(two_walls):
    found = _behind(two_walls)
    left, right = found[found.area_ha > 1].sort_values("nearest_m").geometry
    shared = shapely.intersection(left.boundary, right.boundary)
    xy = shapely.get_coordinates(shared)
    assert len(xy) >= 2
    slopes = (xy[:, 1] - two_walls.view.northing_m) / (xy[:, 0] - two_walls.view.easting_m)
    assert np.ptp(slopes) < 1e-9


@pytest.mark.parametrize("cells", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_parts_tile_their_pockets(seed, cells):
    height_m = fractal(90, 90, seed=seed, relief_m=120.0)
    if seed % 2:
        height_m = with_hole(height_m, 10, 60, 8, 8)
    view = view_of(height_m, 44.3, 45.7, reach_m=(400.0, 380.0, 600.0)[seed % 3], eye_height_m=3.0)
    reading = reading_of(view, cells=cells)
    found = _behind(reading, follow_cells=cells)
    assert tuple(found.columns) == (*column_names("dead_ground_by_crest", but=BUT_STATION), "geometry")
    assert found.is_valid.all()
    for pocket, geometry in zip(reading.pockets.pocket, reading.pockets.geometry, strict=True):
        parts = found[found.pocket == pocket].geometry
        assert parts.area.sum() == pytest.approx(geometry.area, rel=1e-9)
        assert shapely.symmetric_difference(shapely.union_all(parts.to_numpy()), geometry).area < 1e-3
    # Nearly all ground is put down to the crest that the kernel found for its posts.
    by_posts = reading.lines.frame.set_index("crest")["hidden_ha"]
    by_parts = found.groupby("crest")["area_ha"].sum().reindex(by_posts.index).fillna(0.0)
    astray = (by_parts.astype(float) - by_posts).abs().sum() / 2
    assert astray <= 0.12 * by_posts.sum() + 0.5


def test_no_dead_ground_makes_no_rows():
    found = _behind(reading_of(view_of(np.zeros((21, 21), np.float32), 10, 10, reach_m=80.0)))
    assert len(found) == 0
    assert tuple(found.columns) == (*column_names("dead_ground_by_crest", but=BUT_STATION), "geometry")
