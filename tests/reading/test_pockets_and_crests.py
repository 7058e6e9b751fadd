"""Pockets of dead ground and the crest lines that hide them: made ground with answers by similar triangles,
and what must hold of both over rough ground.

Made ground: flat, posts every 10 m, eye 10 m above it, straight ridges one post wide across the view. A ridge
of height H at a distance a hides the ground to a * 10 / (10 - H); the grazing line falls from the ridge top.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from hillsight.reading.ground.regions import HIDDEN, VISIBLE
from terrains import fractal, with_hole
from views import reading_of, view_of

EYE_M = 10.0
#: EPSG:27700 on its central meridian; ground distance = grid distance / scale.
SCALE = 0.9996012717


def _ridges(*ridges, rows=41, columns=201):
    height_m = np.zeros((rows, columns), np.float32)
    for at_column, ridge_m in ridges:
        height_m[:, at_column] = ridge_m
    return height_m


def _across(reading, polygon, far_m=1e4):
    """Near and far edge of a polygon due east of the eye, metres on the grid."""
    view = reading.view
    ray = shapely.LineString([(view.easting_m, view.northing_m), (view.easting_m + far_m, view.northing_m)])
    west, _, east, _ = shapely.intersection(polygon, ray).bounds
    return west - view.easting_m, east - view.easting_m


def _made(*ridges, **how):
    return reading_of(view_of(_ridges(*ridges), 20, 0, eye_height_m=EYE_M, reach_m=1900.0), **how)


# --- one ridge -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def one():
    return _made((50, 5.0))  # shadow from 500 m to 500 * 10 / 5 = 1000 m


def test_one_ridge_makes_one_pocket_from_its_top_to_the_re_emergence(one):
    (pocket,) = one.pockets.geometry
    near_m, far_m = _across(one, pocket)
    assert 500.0 <= near_m <= 510.0  # the zero of the clearance, behind the top and before the next post
    assert far_m == pytest.approx(1000.0, abs=10 / 64)  # an edge keeps 1/64 of a spacing from posts
    row = one.pockets.iloc[0]
    assert row.nearest_m == pytest.approx(near_m / SCALE, abs=0.01)
    corner_m = np.hypot(far_m, 205.0)  # cells reach half a spacing beyond the last row of posts
    assert row.farthest_m == pytest.approx(corner_m / SCALE, abs=1.5)  # the corner itself is cut off
    # The last posts stand 200 m to either side, their cells reach to 205 m, with the corner cut off.
    least_deg, most_deg = np.degrees(np.arctan2([200.0, 205.0], near_m))
    assert 90 - most_deg < row.bearing_from_true_deg < 90 - least_deg
    assert 90 + least_deg < row.bearing_to_true_deg < 90 + most_deg
    assert row.area_ha == pytest.approx((far_m - near_m) * 410 / 1e4, rel=0.002)


def test_depth_behind_one_ridge(one):
    """At x the grazing line stands at 10 - x / 100 on every row: 4.9 m just behind, 0.1 m at 990 m."""
    row = one.pockets.iloc[0]
    assert row.depth_max_m == pytest.approx(4.9, abs=1e-5)
    assert row.depth_mean_m == pytest.approx(np.mean(10 - np.arange(510, 991, 10) / 100), abs=1e-5)
    assert one.view.depth_m[20, 70] == pytest.approx(3.0, abs=1e-5)
    assert one.view.depth_m[0, 70] == pytest.approx(3.0, abs=1e-5)
    assert one.view.depth_m[20, 40] == 0
    assert one.view.depth_m[20, 120] == 0


def _lines_on(reading, north_m=0.0):
    """Crest lines that a line due east of the eye (or of a place north of it) crosses, nearest first."""
    view = reading.view
    ray = shapely.LineString(
        [
            (view.easting_m, view.northing_m + north_m),
            (view.easting_m + 1890, view.northing_m + north_m),
        ]
    )
    crossed = reading.lines.frame[shapely.intersects(reading.lines.frame.geometry.to_numpy(), ray)]
    return crossed.iloc[
        np.argsort(shapely.distance(crossed.geometry.to_numpy(), shapely.Point(ray.coords[0])))
    ]


def test_the_crest_line_of_one_ridge_lies_on_it(one):
    frame = one.lines.frame
    xyz = shapely.get_coordinates(frame.geometry.to_numpy(), include_z=True)
    assert ((xyz[:, 0] - one.view.easting_m >= 500) & (xyz[:, 0] - one.view.easting_m <= 510)).all()
    assert np.ptp(xyz[:, 1]) >= 400.0
    assert ((xyz[:, 2] >= 0) & (xyz[:, 2] <= 5)).all()
    # Flat ground beyond the re-emergence stands higher against the sky; towards the ends of the ridge
    # the terrain ends before that, and the ridge is the highest that is left.
    (middle,) = _lines_on(one).itertuples()
    assert middle.role == "brow"
    assert middle.nearest_share == pytest.approx(1)
    assert middle.sky_share < 0.1
    assert sorted(frame.role) == ["brow", "skyline", "skyline"]
    half = np.degrees(np.arctan2(200, 1000))  # where the re-emergence leaves the terrain
    assert middle.bearing_from_true_deg == pytest.approx(90 - half, abs=2.5)
    assert middle.bearing_to_true_deg == pytest.approx(90 + half, abs=2.5)
    for line in frame.itertuples():
        _, y, z = shapely.get_coordinates(line.geometry, include_z=True).T
        assert (np.diff(y) < 0).all()  # from left to right as seen, here from north to south
        assert line.height_max_m == z.max()
        assert line.length_m == pytest.approx(shapely.length(line.geometry))
        nearest = line.geometry.distance(shapely.Point(one.view.easting_m, one.view.northing_m))
        assert line.distance_min_m == pytest.approx(nearest / SCALE, abs=0.3)
    assert one.pockets.crest.tolist()[0] in frame.crest.tolist()
    assert frame.hidden_ha.sum() == pytest.approx(41 * 49 * 100 / 1e4)  # columns 51 to 99
    assert (one.lines.crest_of_post[20, 51:100] == middle.crest).all()
    assert (one.lines.crest_of_post[:, 51:100] > 0).all()
    assert not one.lines.crest_of_post[:, :51].any()
    assert not one.lines.crest_of_post[:, 100:].any()


def test_a_target_as_tall_as_the_depth_shows():
    height_m = _ridges((50, 5.0))
    # 3 m at 700 m is a tie: visible. Behind it 3 m are more than the depth.
    view = view_of(height_m, 20, 0, eye_height_m=EYE_M, target_height_m=3.0, reach_m=1900.0)
    hidden = np.flatnonzero(view.posts.clearance_m[20] < 0)
    assert hidden.tolist() == list(range(51, 70))


# --- several ridges --------------------------------------------------------------------------------------


def test_two_ridges_are_brow_and_skyline():
    found = _made((50, 5.0), (120, 30.0))  # the second hides all behind it
    lines = _lines_on(found)
    assert lines.role.tolist() == ["brow", "skyline"]
    assert found.pockets.crest.tolist()[1] == lines.crest.tolist()[1]
    assert found.lines.crest_of_post[20, [70, 150]].tolist() == lines.crest.tolist()
    near = [_across(found, p) for p in found.pockets.geometry]
    assert near[0][1] == pytest.approx(1000.0, abs=10 / 64)
    assert 1200.0 <= near[1][0] <= 1210.0
    assert near[1][1] == pytest.approx(1900.0, rel=1e-4)  # to the reach
    # at 1890 m the grazing line stands at 10 + 20 / 1200 * 1890
    assert found.view.depth_m[20, 189] == pytest.approx(41.5, abs=1e-4)


def test_three_ridges_are_brow_crest_and_skyline():
    found = _made((30, 5.0), (80, 5.0), (170, 40.0))  # shadows to 600 m, to 1600 m, for ever
    lines = _lines_on(found)
    assert lines.role.tolist() == ["brow", "crest", "skyline"]
    assert found.lines.crest_of_post[20, [40, 120, 180]].tolist() == lines.crest.tolist()
    edges = np.array([_across(found, p) for p in found.pockets.geometry])
    assert edges[:, 0] == pytest.approx([305.0, 805.0, 1705.0], abs=5.0)
    assert edges[:2, 1] == pytest.approx([600.0, 1600.0], abs=10 / 64)


def test_roles_are_those_that_the_bearings_say():
    found = _made((30, 5.0), (80, 5.0), (170, 40.0))
    along = found.view.along(np.linspace(85.0, 95.0, 21))
    tangent = 1 / np.cos(np.radians(np.linspace(-5.0, 5.0, 21)))
    assert along.brow_distance_m == pytest.approx(300 * tangent)
    assert along.skyline_distance_m == pytest.approx(1700 * tangent)
    assert along.crest_count.tolist() == [3] * 21
    assert along.crests[:, 1, 0] == pytest.approx(800 * tangent)
    assert along.crests[:, 1, 1] == pytest.approx(1600 * tangent, abs=0.05)


def test_a_higher_nearer_ridge_hides_the_farther_one_s_shadow_too():
    found = _made((50, 8.0), (100, 5.0))  # shadow of the first to 2500 m
    assert len(found.pockets) == 1
    assert found.lines.frame.role.tolist() == ["skyline"]
    # 5 m of the second stand 2 m below the grazing line, 10 - 0.004 * 1000 = 6
    assert found.view.depth_m[20, 100] == pytest.approx(1.0, abs=1e-5)


# --- a hill in the way, and one that looks out of its own shadow -----------------------------------------


def test_ground_that_rises_out_of_a_pocket_is_a_hole_in_it():
    height_m = _ridges((50, 8.0))
    height_m[18:23, 98:103] = 20.0  # a block that stands out of the shadow
    found = reading_of(view_of(height_m, 20, 0, eye_height_m=EYE_M, reach_m=1900.0))
    big = found.pockets.geometry[found.pockets.area_ha.idxmax()]
    assert len(big.interiors) >= 1
    hole = shapely.Polygon(big.interiors[0])
    # its front is seen; its flat top, above the eye, and the ground before it are not
    assert hole.contains(shapely.Point(found.view.easting_m + 980, found.view.northing_m))
    assert big.contains(shapely.Point(found.view.easting_m + 960, found.view.northing_m))
    assert big.contains(shapely.Point(found.view.easting_m + 1000, found.view.northing_m))


def test_a_bowl_hides_all_round():
    """Eye in a bowl: the rim is a ring, its crest line and its pocket run right round."""
    r, c = np.indices((81, 81))
    away = np.hypot(r - 40, c - 40)
    height_m = np.where(away <= 20, away, np.maximum(0, 20 - 4 * (away - 20)))
    found = reading_of(view_of(height_m, 40, 40, eye_height_m=2.0, reach_m=380.0))
    (pocket,) = found.pockets.itertuples()
    (line,) = found.lines.frame.itertuples()
    assert (pocket.bearing_from_true_deg, pocket.bearing_to_true_deg) == (0.0, 360.0)
    assert (line.bearing_from_true_deg, line.bearing_to_true_deg) == (0.0, 360.0)
    assert line.geometry.coords[0] == line.geometry.coords[-1]
    assert line.role == "skyline"
    assert pocket.nearest_m == pytest.approx(200.0, abs=10.0)
    assert pocket.farthest_m == pytest.approx(380.0 / SCALE, abs=0.1)
    assert len(pocket.geometry.interiors) == 1


# --- small pockets left out ------------------------------------------------------------------------------

ROUGH = fractal(91, 101, seed=31, relief_m=150.0)
STATIONS = {
    "middle": (45, 50, {}),
    "between posts": (40.3, 61.7, {}),
    "on a line at the edge": (0, 33.3, {}),
    "corner": (90, 100, {}),
    "all the terrain": (50, 40.5, {"reach_m": 5000.0}),
    "oblong": (33.3, 44.4, {"spacing_x_m": 30.0, "spacing_y_m": 12.0, "reach_m": 600.0}),
    "curvature": (45, 50, {"spacing_x_m": 90.0, "reach_m": 4000.0, "refraction": 0.13}),
    "hole": (45, 50, {"hole": True}),
}


@pytest.fixture(scope="module", params=list(STATIONS))
def rough(request):
    row, column, how = STATIONS[request.param]
    how = {"reach_m": 420.0, "eye_height_m": 4.0} | how
    height_m = with_hole(ROUGH, 20, 60, 6, 9) if how.pop("hole", False) else ROUGH
    found = reading_of(view_of(height_m, row, column, **how))
    assert len(found.pockets) >= 2, "a ground that says nothing"
    return found


@pytest.mark.parametrize("cells", [False, True])
def test_small_pockets_are_left_out_and_nothing_else(rough, cells):
    every = reading_of(rough.view, cells=cells).pockets
    least_ha = float(np.sort(every.area_ha.unique())[every.area_ha.nunique() // 2])
    some = reading_of(rough.view, cells=cells, least_area_ha=least_ha).pockets
    kept = every[every.area_ha >= least_ha]
    assert 0 < len(some) < len(every)
    assert some.pocket.tolist() == list(range(1, len(some) + 1))
    for name in ("area_ha", "nearest_m", "farthest_m", "depth_max_m", "depth_mean_m"):
        assert some[name].tolist() == pytest.approx(kept[name].tolist()), name
    assert some.crest.tolist() == kept.crest.tolist()


def test_pockets_are_numbered_nearest_first(rough):
    assert rough.pockets.pocket.tolist() == list(range(1, len(rough.pockets) + 1))
    assert rough.pockets.nearest_m.is_monotonic_increasing
    assert rough.lines.frame.crest.tolist() == list(range(1, len(rough.lines.frame) + 1))
    assert rough.lines.frame.distance_min_m.is_monotonic_increasing


@pytest.mark.parametrize("cells", [False, True])
def test_measures_of_pockets_are_those_of_their_posts_and_edges(rough, cells):
    found = reading_of(rough.view, cells=cells)
    view = found.view
    easting, northing = view.grid.to_map(*np.indices(view.classes.shape))
    eye = shapely.Point(view.easting_m, view.northing_m)
    hidden = (view.classes == HIDDEN) & view.within_reach
    for pocket in found.pockets.itertuples():
        assert pocket.geometry.area / 1e4 == pytest.approx(pocket.area_ha)
        inside = shapely.contains_xy(pocket.geometry, easting, northing) & hidden
        if inside.any():
            assert pocket.depth_max_m == pytest.approx(float(view.depth_m[inside].max()))
            assert pocket.depth_mean_m == pytest.approx(float(view.depth_m[inside].mean()), rel=1e-5)
        assert 0 < pocket.depth_mean_m <= pocket.depth_max_m + 1e-9
        # Scale of the grid near its central meridian: 0.9996.
        assert pocket.nearest_m * SCALE == pytest.approx(pocket.geometry.distance(eye), rel=1e-5)
        assert pocket.farthest_m * SCALE == pytest.approx(pocket.geometry.hausdorff_distance(eye), rel=1e-5)
        bearing, _ = view.measure(*shapely.get_coordinates(pocket.geometry).T)
        width = (pocket.bearing_to_true_deg - pocket.bearing_from_true_deg) % 360
        if (pocket.bearing_from_true_deg, pocket.bearing_to_true_deg) != (0.0, 360.0):
            assert ((bearing - pocket.bearing_from_true_deg + 1e-6) % 360 <= width + 2e-6).all()


def test_a_pocket_is_bounded_by_its_crest_line(rough):
    """But for specks of a cell or two, which a strip of seen ground may part from the pocket before them."""
    view = rough.view
    spacing_m = max(view.grid.spacing_x_m, view.grid.spacing_y_m)
    lines = rough.lines.frame.set_index("crest").geometry
    cell_ha = view.grid.spacing_x_m * view.grid.spacing_y_m / 1e4
    real = rough.pockets[rough.pockets.area_ha > 2 * cell_ha]
    assert real.crest.notna().all()
    assert real.area_ha.sum() > 0.98 * rough.pockets.area_ha.sum()
    for pocket in real.itertuples():
        assert pocket.geometry.distance(lines[pocket.crest]) < 2 * spacing_m


def test_ground_turns_out_of_view_at_crest_lines_by_an_independent_walk(rough):
    """On its own bearing a vertex may lie where the line bends away, beside its pocket; so a spacing to
    either side is tried too."""
    view = rough.view
    spacing_m = max(view.grid.spacing_x_m, view.grid.spacing_y_m)
    x, y = shapely.get_coordinates(rough.lines.frame.geometry.to_numpy()).T
    away_m = view.grid_distance_m(x, y)
    assert x.size >= 20
    found = []
    for aside in (0.0, -1.0, -0.5, 0.5, 1.0):
        turn = np.arctan2(x - view.easting_m, y - view.northing_m) + aside * spacing_m / away_m
        crests_m = view.along(np.degrees(turn)).crests[:, :, 0]
        found.append((np.abs(crests_m - away_m[:, None]) <= 2 * spacing_m).any(axis=1))
    assert found[0].mean() > 0.9
    assert np.any(found, axis=0).mean() > 0.99


def test_crest_lines_are_seen(rough):
    """Just before each vertex lies ground in view."""
    view = rough.view
    spacing_m = max(view.grid.spacing_x_m, view.grid.spacing_y_m)
    x, y = shapely.get_coordinates(rough.lines.frame.geometry.to_numpy()).T
    away_m = view.grid_distance_m(x, y)
    east, north = (x - view.easting_m) / away_m, (y - view.northing_m) / away_m
    seen = []
    for step in (0.1, 0.3, 0.6, 1.0, 1.5, 2.0):
        nearer_m = np.minimum(step * spacing_m, away_m)
        seen.append(view.at(x - nearer_m * east, y - nearer_m * north, 0.0).clearance_m >= 0)
    assert np.any(seen, axis=0).mean() > 0.93


def test_every_crest_on_a_bearing_has_its_line(rough):
    """The other way round: where a walk along a bearing finds a crest with two posts' worth of ground hidden
    behind it, a line passes near."""
    view = rough.view
    spacing_m = max(view.grid.spacing_x_m, view.grid.spacing_y_m)
    bearings = np.arange(0.0, 360.0, 3.0)
    along = view.along(bearings)
    crest_m, again_m = along.crests[:, :, 0], along.crests[:, :, 1]
    i, k = np.nonzero(again_m - crest_m > 4 * spacing_m)
    assert i.size > 10
    easting = view.easting_m + crest_m[i, k] * np.sin(np.radians(bearings[i]))
    northing = view.northing_m + crest_m[i, k] * np.cos(np.radians(bearings[i]))
    near = rough.lines.nearest(easting, northing, 3 * spacing_m)
    assert (near > 0).mean() > 0.95


def test_each_hidden_post_belongs_to_the_line_that_grazes_it(rough):
    view, lines = rough.view, rough.lines
    hidden = (view.classes == HIDDEN) & view.within_reach
    assert not lines.crest_of_post[~hidden].any()
    assert (lines.crest_of_post[hidden] > 0).mean() > 0.95
    geometry = lines.frame.set_index("crest").geometry
    row, column = np.nonzero(lines.crest_of_post)
    share = view.posts.crest_distance_m[row, column] / view.distance_m[row, column]
    easting, northing = view.grid.to_map(
        view.eye.row + share * (row - view.eye.row), view.eye.column + share * (column - view.eye.column)
    )
    away_m = shapely.distance(
        shapely.points(easting, northing), geometry[lines.crest_of_post[row, column]].to_numpy()
    )
    assert away_m.max() < 3.5 * np.hypot(view.grid.spacing_x_m, view.grid.spacing_y_m)
    hidden_ha = lines.frame.hidden_ha.sum()
    cell_ha = view.grid.spacing_x_m * view.grid.spacing_y_m / 1e4
    assert hidden_ha == pytest.approx((lines.crest_of_post > 0).sum() * cell_ha)


def test_roles_agree_with_bearings_on_rough_ground(rough):
    """What is said of a line as a whole holds on most of its vertices, asked one by one."""
    view = rough.view
    tolerance_m = 3 * max(view.grid.spacing_x_m, view.grid.spacing_y_m)
    seen = set()
    for line in rough.lines.frame.itertuples():
        x, y = shapely.get_coordinates(line.geometry).T
        if x.size < 6:
            continue
        away_m = view.grid_distance_m(x, y)
        along = view.along(np.degrees(np.arctan2(x - view.easting_m, y - view.northing_m)))
        against_sky = np.abs(along.skyline_distance_m - away_m) < tolerance_m
        nearer = along.brow_distance_m < away_m - tolerance_m
        if line.sky_share > 0.75:
            assert line.role == "skyline"
            assert against_sky.mean() > 0.5
        if line.role == "brow" and line.nearest_share > 0.75:
            assert (~nearer).mean() > 0.5
            assert line.sky_share < 0.5
        if line.role == "crest":
            assert line.sky_share < 0.5
            assert line.nearest_share < 0.5
        seen.add(line.role)
    assert "skyline" in seen


def test_lines_have_heights_of_the_ground(rough):
    assert shapely.has_z(rough.lines.frame.geometry.to_numpy()).all()
    for line in rough.lines.frame.itertuples():
        x, y, z = shapely.get_coordinates(line.geometry, include_z=True).T
        assert np.isfinite(z).all()
        assert (line.height_min_m, line.height_max_m) == (z.min(), z.max())
        ground_m = rough.view.at(x, y, 0.0).ground_m
        known = np.isfinite(ground_m)
        if known.any():
            relief_m = np.nanmax(rough.view.surface.height_m) - np.nanmin(rough.view.surface.height_m)
            assert np.abs(z - ground_m)[known].max() < 0.05 * relief_m


def test_where_all_is_seen_there_is_no_pocket_and_no_crest():
    found = reading_of(view_of(np.zeros((31, 31)), 15, 15, reach_m=100.0))
    assert len(found.pockets) == 0
    assert len(found.lines.frame) == 0
    assert (found.view.classes[found.view.within_reach] == VISIBLE).all()
    assert found.lines.nearest(np.zeros(2), np.zeros(2), 10.0).tolist() == [0, 0]
    assert found.pockets.crs == found.view.grid.crs
