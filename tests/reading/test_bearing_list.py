"""The bearing list on made ground: a wall 30 m tall, 500 m east of the eye, and things before and behind it.

Eye 1.6 m above flat ground at post (60, 0), posts every 10 m. The wall stands on the posts of column 50 from
50 m north to 50 m south of the eye and falls to nothing at 60 m. What it hides at x metres east and y north:
the sight line crosses it at y * 500 / x, at a height of 1.6 * (1 - 500 / x).
"""

from __future__ import annotations

import datetime

import geopandas
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from hillsight.ground.grid import Grid, Surface
from hillsight.ground.magnetic import Declination
from hillsight.reading.things.bearing_list import SEEN_STATES, bearing_list
from hillsight.reading.view import View
from hillsight.schema.frames import BUT_STATION, column_names
from terrains import fractal, with_hole
from views import CRS, reading_of, view_of

SCALE = 0.9996012717
ROWS, COLUMNS_OF_POSTS = 121, 151


def _walled():
    height_m = np.zeros((ROWS, COLUMNS_OF_POSTS), np.float32)
    height_m[55:66, 50] = 30.0
    return height_m


@pytest.fixture(scope="module")
def walled():
    return reading_of(view_of(_walled(), 60, 0, eye_height_m=1.6, reach_m=1450.0))


def _features(view, *things, height_m=None):
    """(name, geometry in metres east and north of the eye) as a table of features."""
    moved = [
        shapely.transform(shape, lambda xy: xy + np.array([view.easting_m, view.northing_m]))
        for _, shape in things
    ]
    return geopandas.GeoDataFrame(
        {
            "name": [name for name, _ in things],
            "kind": ["wall"] * len(things),
            "evidence_class": ["man_made"] * len(things),
            "target_height_m": np.array([np.nan if height_m is None else height_m] * len(things), float),
            "source": ["made"] * len(things),
        },
        geometry=moved,
        crs=CRS,
    )


def _list(reading, *things, height_m=None, **how):
    features = _features(reading.view, *things, height_m=height_m)
    return bearing_list(reading.view, features, reading.lines, **how).frame


def _one(reading, shape, **how):
    (entry,) = _list(reading, ("it", shape), **how).itertuples()
    return entry


def _shadow_half_width_m(x):
    """How far north or south ground x metres east is hidden by the wall, with its sloping ends."""
    return x / 500 * (60 - 1.6 * (1 - 500 / x) / 30 * 10)


# --- points ----------------------------------------------------------------------------------------------


def test_a_point_in_view(walled):
    entry = _one(walled, shapely.Point(400, 0))
    assert entry.state == "visible"
    assert entry.visible_share == 1
    assert (entry.rank, entry.name, entry.kind, entry.source) == (1, "it", "wall", "made")
    assert entry.bearing_true_deg == pytest.approx(90, abs=0.01)
    assert entry.bearing_grid_deg == pytest.approx(90, abs=1e-9)
    assert entry.left_edge_true_deg == entry.right_edge_true_deg == entry.bearing_true_deg
    assert entry.distance_m == pytest.approx(400 / SCALE, abs=0.001)
    assert entry.nearest_seen_m == entry.distance_m
    assert entry.height_m == pytest.approx(0, abs=1e-9)
    assert entry.highest_seen_m == pytest.approx(0, abs=1e-9)
    assert entry.height_difference_m == pytest.approx(-1.6)
    assert entry.vertical_angle_deg == pytest.approx(-np.degrees(np.arctan(1.6 / 400)))
    assert entry.slope_distance_m == pytest.approx(np.hypot(400 / SCALE, 1.6), abs=0.001)
    assert np.isnan([entry.hidden_by_m, entry.hidden_by_distance_m, entry.gap_to_next_deg]).all()


def test_a_hidden_point_says_what_hides_it_and_by_how_much(walled):
    entry = _one(walled, shapely.Point(800, 0))
    assert entry.state == "hidden"
    assert entry.visible_share == 0
    # over the wall: 1.6 + 28.4 / 500 * 800 = 47.04
    assert entry.hidden_by_m == pytest.approx(47.04, abs=1e-4)
    assert entry.hidden_by_distance_m == pytest.approx(500 / SCALE, abs=0.01)
    crest = walled.lines.frame.set_index("crest").geometry[entry.hidden_by_crest]
    assert crest.distance(shapely.Point(walled.view.easting_m + 500, walled.view.northing_m)) < 10
    assert np.isnan([entry.left_edge_true_deg, entry.nearest_seen_m, entry.highest_seen_m]).all()


def test_a_thing_shows_once_it_is_taller_than_it_is_hidden_by(walled):
    for tall_m, state in ((47.03, "hidden"), (47.05, "visible")):
        entry = _one(walled, shapely.Point(800, 0), height_m=tall_m)
        assert entry.state == state
        if state == "hidden":
            assert entry.hidden_by_m == pytest.approx(0.01, abs=1e-4)


def test_features_without_a_height_of_their_own_have_the_view_s():
    reading = reading_of(view_of(_walled(), 60, 0, target_height_m=47.05, reach_m=1450.0))
    assert _one(reading, shapely.Point(800, 0)).state == "visible"
    assert _one(reading, shapely.Point(800, 0), height_m=1.0).state == "hidden"


def test_out_of_reach_and_unknown():
    height_m = with_hole(_walled(), 20, 60, 5, 20)  # to the north-east: 355 to 405 m north
    reading = reading_of(view_of(height_m, 60, 0, reach_m=1000.0))
    far = _one(reading, shapely.Point(1001, 0))
    assert far.state == "out_of_reach"
    assert np.isnan(far.visible_share)
    assert far.distance_m == pytest.approx(1001 / SCALE, abs=0.01)
    assert _one(reading, shapely.Point(0, 900)).state == "unknown"  # off the terrain
    on_void = _one(reading, shapely.Point(700, 380))
    assert on_void.state == "unknown"
    assert np.isnan([on_void.height_m, on_void.vertical_angle_deg, on_void.slope_distance_m]).all()
    assert np.isnan(on_void.geometry.z)
    assert on_void.geometry.is_valid
    behind_void = _one(reading, shapely.Point(850, 430))
    assert behind_void.state == "unknown"


# --- lines and areas -------------------------------------------------------------------------------------


def test_a_line_partly_behind_the_wall(walled):
    """1000 m east, 200 m to either side; the wall hides 119.5 m to either side."""
    hidden_m = _shadow_half_width_m(1000)
    assert hidden_m == pytest.approx(119.467, abs=0.001)
    entry = _one(walled, shapely.LineString([(1000, 200), (1000, -200)]))
    assert entry.state == "partly"
    assert entry.visible_share == pytest.approx(1 - hidden_m / 200, abs=0.02)
    half_deg = np.degrees(np.arctan2(200, 1000))
    assert entry.left_edge_true_deg == pytest.approx(90 - half_deg, abs=0.02)
    assert entry.right_edge_true_deg == pytest.approx(90 + half_deg, abs=0.02)
    seen_m = walled.view.northing_m - entry.geometry.y
    assert hidden_m - 5 < abs(seen_m) < 200  # what stands for it is a place that is seen
    assert entry.nearest_seen_m == pytest.approx(np.hypot(1000, hidden_m) / SCALE, abs=1.0)
    assert np.isnan(entry.hidden_by_m)


def test_a_line_of_which_one_end_is_seen(walled):
    hidden_m = _shadow_half_width_m(1000)
    entry = _one(walled, shapely.LineString([(1000, 0), (1000, -200)]))
    assert entry.visible_share == pytest.approx(1 - hidden_m / 200, abs=0.03)
    assert entry.left_edge_true_deg == pytest.approx(90 + np.degrees(np.arctan2(hidden_m, 1000)), abs=0.3)
    assert entry.right_edge_true_deg == pytest.approx(90 + np.degrees(np.arctan2(200, 1000)), abs=0.02)
    assert entry.left_edge_true_deg <= entry.bearing_true_deg <= entry.right_edge_true_deg


def test_a_line_wholly_hidden_lists_the_place_that_would_show_first(walled):
    entry = _one(walled, shapely.LineString([(600, 20), (1000, 20)]))
    assert entry.state == "hidden"
    assert entry.distance_m == pytest.approx(np.hypot(600, 20) / SCALE, abs=0.1)
    assert entry.hidden_by_m == pytest.approx(1.6 + 28.4 / 500 * 600, abs=0.05)


def test_an_area_partly_behind_the_wall(walled):
    """Its share by integrating the edge of the shadow over its depth."""
    x = np.linspace(900, 1100, 2001)
    share = 1 - np.mean(_shadow_half_width_m(x)) / 300
    entry = _one(walled, shapely.box(900, 0, 1100, 300))
    assert entry.state == "partly"
    assert entry.visible_share == pytest.approx(share, abs=0.01)
    # Its leftmost seen place is a corner, its rightmost on the edge of the shadow, about 83.2 degrees.
    assert entry.left_edge_true_deg == pytest.approx(90 - np.degrees(np.arctan2(300, 900)), abs=0.1)
    shadow_deg = np.degrees(np.arctan2(_shadow_half_width_m(900), 900))
    assert entry.right_edge_true_deg == pytest.approx(90 - shadow_deg, abs=0.3)


def test_an_area_of_which_only_the_outline_is_seen(walled):
    """A pond ends just where the shadow does: its rim is seen, and no sample inside."""
    entry = _one(walled, shapely.box(990, 0, 1010, _shadow_half_width_m(1010) + 0.5))
    assert entry.state == "partly"
    assert entry.visible_share < 0.1


def test_a_feature_across_the_reach_is_judged_by_the_part_within(walled):
    entry = _one(walled, shapely.LineString([(1300, 300), (1800, 300)]))
    assert entry.state == "partly"
    assert entry.visible_share == 1
    assert entry.distance_m < 1450 / SCALE


def test_a_feature_across_north_has_its_edges_right():
    reading = reading_of(view_of(np.zeros((61, 61)), 30, 30, reach_m=290.0))
    entry = _one(reading, shapely.LineString([(-50, 200), (50, 200)]))
    assert entry.left_edge_true_deg == pytest.approx(360 - np.degrees(np.arctan2(50, 200)), abs=0.02)
    assert entry.right_edge_true_deg == pytest.approx(np.degrees(np.arctan2(50, 200)), abs=0.02)
    assert min(entry.bearing_true_deg, 360 - entry.bearing_true_deg) < 1.5


def test_the_highest_seen_place():
    r, c = np.indices((61, 61))
    slope = reading_of(view_of(2.0 * (30 - r) + 0 * c, 30, 30, reach_m=290.0))  # rises 20 in 100 to the north
    entry = _one(slope, shapely.LineString([(20, 50), (20, 250)]))
    assert entry.state == "visible"
    assert entry.highest_seen_m == pytest.approx(50.0, abs=1e-3)
    assert entry.nearest_seen_m == pytest.approx(np.hypot(20, 50) / SCALE, abs=0.01)


# --- order -----------------------------------------------------------------------------------------------


def _ring(n, radius=200.0, turn=0.0):
    return [
        (f"f{i}", shapely.Point(radius * np.sin(a), radius * np.cos(a)))
        for i, a in enumerate(np.radians(turn + np.arange(n) * 360 / n))
    ]


@pytest.fixture(scope="module")
def flat():
    return reading_of(view_of(np.zeros((61, 61)), 30.2, 30.7, reach_m=290.0))


@settings(deadline=None, max_examples=25)
@given(
    st.lists(
        # A point within 2 m is where the station stands, and is not listed.
        st.tuples(st.integers(-250, 250), st.integers(-250, 250)).filter(lambda at: max(map(abs, at)) > 2),
        min_size=2,
        max_size=12,
        unique=True,
    ),
    st.floats(0, 360, exclude_max=True),
)
def test_the_order_is_a_rotation_of_the_sorted_bearings(flat, places, from_deg):
    things = [(str(i), shapely.Point(x + 0.25, y + 0.25)) for i, (x, y) in enumerate(places)]
    listed = _list(flat, *things, from_bearing_deg=from_deg)
    assert listed["rank"].tolist() == list(range(1, len(places) + 1))
    assert sorted(listed.name) == sorted(str(i) for i in range(len(places)))
    bearing = listed.bearing_true_deg.to_numpy()
    begin = int(np.argmin((bearing - from_deg) % 360))
    assert bearing[begin] == bearing[0]
    assert (np.diff((bearing - from_deg) % 360) >= 0).all()
    ordered = np.sort(bearing)
    assert any(np.array_equal(np.roll(ordered, -k), bearing) for k in range(len(ordered)))
    seen = listed[listed.state.isin(SEEN_STATES)]
    if seen.bearing_true_deg.nunique() > 1:
        assert seen.gap_to_next_deg.sum() == pytest.approx(360)
        assert ((seen.gap_to_next_deg >= 0) & (seen.gap_to_next_deg < 360)).all()
    assert listed.gap_to_next_deg[~listed.state.isin(SEEN_STATES)].isna().all()


def test_gaps_pass_over_what_is_not_seen(walled):
    listed = _list(
        walled,
        ("left", shapely.Point(300, 100)),
        ("hidden", shapely.Point(800, 0)),
        ("right", shapely.Point(300, -100)),
    )
    assert listed.name.tolist() == ["left", "hidden", "right"]
    apart = 2 * np.degrees(np.arctan2(100, 300))
    assert listed.gap_to_next_deg[0] == pytest.approx(apart, abs=1e-3)
    assert np.isnan(listed.gap_to_next_deg[1])
    assert listed.gap_to_next_deg[2] == pytest.approx(360 - apart, abs=1e-3)


def test_a_sector_lists_what_lies_in_it_clockwise(flat):
    things = _ring(12, turn=5.0)
    listed = _list(flat, *things, from_bearing_deg=320.0, to_bearing_deg=70.0)
    assert listed.name.tolist() == ["f11", "f0", "f1", "f2"]  # 335, 5, 35, 65
    assert listed.gap_to_next_deg.tolist()[:3] == pytest.approx([30.0] * 3, abs=0.01)
    assert np.isnan(listed.gap_to_next_deg.tolist()[3])


@pytest.mark.parametrize(("from_deg", "to_deg"), [(0.0, 0.0), (0.0, 360.0), (90.0, 90.0)])
def test_a_sector_that_ends_where_it_starts_is_all_round(flat, from_deg, to_deg):
    listed = _list(flat, *_ring(12, turn=5.0), from_bearing_deg=from_deg, to_bearing_deg=to_deg)
    assert len(listed) == 12
    assert listed.gap_to_next_deg.sum() == pytest.approx(360)


def test_a_sector_judges_a_feature_by_the_part_inside(walled):
    line = shapely.LineString([(1000, 200), (1000, -200)])
    hidden_m = _shadow_half_width_m(1000)
    from_deg, to_deg = 90.0, 90 + np.degrees(np.arctan2(200, 1000)) + 1
    entry = _one(walled, line, from_bearing_deg=from_deg, to_bearing_deg=to_deg)
    assert entry.visible_share == pytest.approx(1 - hidden_m / 200, abs=0.03)
    assert 90 < entry.left_edge_true_deg < entry.right_edge_true_deg <= to_deg
    inside_shadow = _one(walled, line, from_bearing_deg=86.0, to_bearing_deg=94.0)
    assert inside_shadow.state == "hidden"
    assert len(_list(walled, ("it", line), from_bearing_deg=180.0, to_bearing_deg=270.0)) == 0


def test_magnetic_bearings(flat):
    west = Declination(-10.0, 0.4, datetime.date(2026, 1, 1), "WMM2025")
    listed = _list(flat, *_ring(8, turn=1.0), declination=west)
    turned = (listed.bearing_magnetic_deg - listed.bearing_true_deg) % 360
    assert turned.tolist() == pytest.approx([10.0] * 8)  # true = magnetic + declination
    assert ((listed.bearing_magnetic_deg >= 0) & (listed.bearing_magnetic_deg < 360)).all()
    assert _list(flat, *_ring(3)).bearing_magnetic_deg.isna().all()


def test_grid_and_true_bearings_differ_by_the_convergence():
    """Some 100 km west of the central meridian of EPSG:27700 the two are over a degree apart."""
    view = view_of(np.zeros((61, 61)), 30, 30, reach_m=290.0)
    grid = Grid(CRS, 290_000.0, 700_000.0, 10.0, 10.0, 61, 61)
    view = View.from_station(
        Surface(grid, np.zeros((61, 61), np.float32)), 290_300.0, 699_700.0, 0.0, view.viewing, view.geodesy
    )
    listed = _list(reading_of(view), *_ring(8, turn=3.0))
    convergence_deg = float(view.geodesy.convergence_deg(290_300.0, 699_700.0))
    assert abs(convergence_deg) > 1
    difference = (listed.bearing_true_deg - listed.bearing_grid_deg + 180) % 360 - 180
    assert difference.tolist() == pytest.approx([convergence_deg] * 8, abs=1e-3)


def test_no_features_and_all_columns(flat):
    empty = _list(flat, *_ring(3), from_bearing_deg=10.0, to_bearing_deg=20.0)
    assert len(empty) == 0
    full = _list(flat, *_ring(3))
    wanted = [*column_names("bearing_list", but=BUT_STATION), "geometry"]
    assert list(full.columns) == wanted == list(empty.columns)
    assert full.crs == CRS
    assert shapely.has_z(full.geometry.to_numpy()).all()


@pytest.mark.parametrize("seed", range(3))
def test_every_entry_tells_one_story_on_rough_ground(seed):
    random = np.random.default_rng(seed)
    height_m = fractal(91, 101, seed=50 + seed, relief_m=150.0)
    reading = reading_of(view_of(height_m, 45, 50, eye_height_m=3.0, reach_m=380.0))
    view = reading.view
    things = []
    for i in range(60):
        at = random.uniform(-430, 430, 2)
        way = random.normal(0, 60, (3, 2))
        shape = (shapely.Point(at), shapely.LineString(at + way), shapely.Polygon(at + way))[i % 3]
        things.append((str(i), shape))
    listed = _list(reading, *things)
    assert set(listed.state) >= {"visible", "partly", "hidden", "out_of_reach"}
    for entry in listed.itertuples():
        seen = entry.state in SEEN_STATES
        assert np.isfinite(entry.left_edge_true_deg) == seen
        assert np.isfinite(entry.hidden_by_m) == (entry.state == "hidden")
        at = np.array([entry.geometry.x]), np.array([entry.geometry.y])
        here = view.at(*at, 0.0)
        bearing, distance_m = view.measure(*at)
        assert (bearing[0], distance_m[0]) == pytest.approx((entry.bearing_true_deg, entry.distance_m))
        if seen:
            assert here.clearance_m[0] >= 0
            assert 0 <= entry.visible_share <= 1
            width = (entry.right_edge_true_deg - entry.left_edge_true_deg) % 360
            assert (entry.bearing_true_deg - entry.left_edge_true_deg) % 360 <= width + 1e-9
            assert entry.nearest_seen_m <= entry.distance_m + 1e-9
            assert entry.highest_seen_m >= entry.height_m - 1e-9
            if entry.state == "visible":
                assert entry.visible_share == pytest.approx(1)
        if entry.state == "hidden":
            assert entry.hidden_by_m == pytest.approx(-here.clearance_m[0])
            assert 0 < entry.hidden_by_distance_m < entry.distance_m
            raised = view.at(*at, entry.hidden_by_m + 1e-4)
            assert raised.clearance_m[0] >= 0


def test_a_feature_round_the_station_is_seen_all_round():
    view = view_of(np.zeros((81, 81), np.float32), 40, 40, reach_m=395.0)
    ring = shapely.Point(view.easting_m, view.northing_m).buffer(200.0).exterior
    frame = geopandas.GeoDataFrame(
        {
            "name": ["ring"],
            "kind": ["wall"],
            "evidence_class": ["man_made"],
            "target_height_m": [np.nan],
            "source": ["made"],
        },
        geometry=[ring],
        crs=view.grid.crs,
    )
    row = bearing_list(view, frame, reading_of(view).lines).frame.iloc[0]
    assert row.state == "visible"
    assert (row.left_edge_true_deg, row.right_edge_true_deg) == (0.0, 360.0)


def test_a_station_does_not_list_itself(walled):
    """What a station stands on has no bearing from it; what passes by it, or stands beside it, has."""
    things = _features(
        walled.view,
        ("the station", shapely.Point(0, 0)),
        ("given to the metre", shapely.Point(0.6, -0.7)),
        ("two points there", shapely.MultiPoint([(0, 0), (0.3, 0)])),
        ("beside", shapely.Point(2.5, 0)),
        ("there and elsewhere", shapely.MultiPoint([(0, 0), (200, 0)])),
        ("a wall over it", shapely.LineString([(-0.0, 0), (300, 0)])),
    )
    frame = bearing_list(walled.view, things, None).frame
    assert sorted(frame["name"]) == ["a wall over it", "beside", "there and elsewhere"]
    assert sorted(frame.index) == [3, 4, 5]
