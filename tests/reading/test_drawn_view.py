"""What a drawn view contains: lines against a walk along sight lines, places against geodesics, cuts."""

from __future__ import annotations

import geopandas
import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

import oracle
from drawn import COLUMNS, ROWS, busy_view, features_of, looking, thing
from hillsight.reading.drawn.clipping import along, inside_runs
from hillsight.reading.drawn.drawn_view import drawn_view
from hillsight.reading.drawn.extent import angles_shown
from hillsight.reading.drawn.frames import Laid, edges_deg, panorama_frames
from hillsight.reading.drawn.landmarks import landmarks
from hillsight.reading.panorama import Standpoint
from hillsight.sheets.panorama.layout import lay_strips
from hillsight.sight.cylinder import Cylinder
from terrains import fractal


@pytest.fixture(scope="module")
def view():
    return busy_view()


def clearance_by_walking(view, easting_m, northing_m, height_m=0.0):
    """Clearance of places by the tests' own walker."""
    lines = view.lines
    grid, eye = lines.grid, lines.eye
    lowered = oracle.lowered_posts(
        lines.surface.height_m, grid.spacing_x_m, grid.spacing_y_m, eye.row, eye.column, eye.drop_per_m
    )
    rows, columns = grid.to_array(np.asarray(easting_m), np.asarray(northing_m))
    return np.array(
        [
            oracle.clearance(lowered, eye.row, eye.column, eye.level_m, row, column, height_m)
            for row, column in zip(rows, columns, strict=True)
        ]
    )


def places(view, bearing_grid_deg, distance_m):
    turn = np.radians(bearing_grid_deg)
    return view.lines.easting_m + distance_m * np.sin(turn), view.lines.northing_m + distance_m * np.cos(turn)


def test_crest_lines_run_over_ground_in_view_and_hide_what_lies_behind(view) -> None:
    assert len(view.crests) > 20
    for track in view.crests[::3]:
        bearing = view.fan.bearing_grid_deg[track.at]
        some = slice(None, None, max(1, bearing.size // 5))
        # The crest itself is seen: a hair nearer, where no rounding lifts it above its own line.
        seen = clearance_by_walking(view, *places(view, bearing[some], track.distance_m[some] - 1e-6))
        assert (seen >= -1e-3).all()
        ends = np.where(np.isfinite(track.lost_m), track.lost_m, 20.0)
        behind_m = track.distance_m + np.minimum(0.5 * ends, 5.0)
        hidden = clearance_by_walking(view, *places(view, bearing[some], behind_m[some]))
        # Inside a cell the bilinear ground may bulge over the straight edges that are crossed.
        assert (hidden[np.isfinite(hidden)] < 0.1).all() and np.nanmean(hidden) < 0
        again = np.isfinite(track.lost_m[some])
        at_m = (track.distance_m + track.lost_m)[some][again] + 1e-3
        if at_m.size:
            shows = clearance_by_walking(view, *places(view, bearing[some][again], at_m))
            # Where the gap closes is taken as straight between two crossings.
            assert (shows[np.isfinite(shows)] >= -0.3).all()


def test_ground_equally_far_off_is_drawn_where_it_is_seen_and_only_there(view) -> None:
    checked = 0
    for line in view.ranges[8::9]:
        some = np.arange(0, view.fan.bearing_grid_deg.size, 61)
        on_it = [
            view.lines.grid.holds(*place)
            for place in zip(*places(view, view.fan.bearing_grid_deg[some], line.distance_m), strict=True)
        ]
        some = some[on_it]
        bearing = view.fan.bearing_grid_deg[some]
        clear = clearance_by_walking(view, *places(view, bearing, np.full(some.size, line.distance_m)))
        drawn = np.isfinite(line.angle_deg[some])
        # Inside a cell the bilinear ground may stand a little off the straight edges that are crossed.
        assert (clear[drawn & np.isfinite(clear)] >= -0.5).all()
        missed = ~drawn & (clear > 0.5)
        assert missed.sum() <= 0.02 * some.size
        checked += int(drawn.sum())
    assert checked > 40


def test_a_near_ridge_cuts_off_a_far_one() -> None:
    # By hand: a ridge 300 m to the north, 20 m above the eye's level in its eastern half only, and one at
    # 800 m, 40 m above it: atan(20 / 300) = 3.81 and atan(40 / 800) = 2.86 degrees.
    ground = np.zeros((ROWS, COLUMNS), np.float32)
    ground[100 - 30, 80:] = 21.6
    ground[100 - 80, :] = 41.6
    lines = looking(ground, 100.0, 80.0, refraction=1.0)
    view = drawn_view(lines, 330.0, 60.0, 0.1)
    sky = view.fan.sky_deg
    bearing = view.fan.bearing_grid_deg
    east = (bearing > 362) & (bearing < 380)
    west = (bearing > 340) & (bearing < 358)
    assert np.allclose(np.tan(np.radians(sky[east])) * 300 / np.cos(np.radians(bearing[east])), 20, atol=0.01)
    assert np.allclose(np.tan(np.radians(sky[west])) * 800 / np.cos(np.radians(bearing[west])), 40, atol=0.01)
    # The far ridge is nowhere drawn behind the near one, which is the skyline there.
    for track in view.crests:
        behind = (track.distance_m > 600) & east[track.at]
        assert not behind.any()


def test_a_brow_before_farther_ground_is_named_and_measured() -> None:
    # A step down 100 m to the north: the ground falls 30 m there and rises to a far ridge at 900 m.
    ground = np.full((ROWS, COLUMNS), 50.0, np.float32)
    ground[: 110 - 10, :] = 20.0
    ground[110 - 90, :] = 90.0
    view = drawn_view(looking(ground, 110.0, 80.0, refraction=1.0), 350.0, 20.0, 0.1)
    (brow,) = [track for track in view.crests if track.role == "brow"]
    north = np.argmin(np.abs(view.fan.bearing_grid_deg[brow.at] - 360.0))
    assert brow.distance_m[north] == pytest.approx(100.0, abs=0.1)
    # The eye stands 1.6 m above the brow and 31.6 m above the plain beyond: it is seen again at the ridge's
    # foot only, as the grazing line comes down to it no nearer than 100 * 31.6 / 1.6 = 1975 m.
    assert 690 < brow.lost_m[north] < 800


def test_landmarks_stand_where_geodesics_and_the_standpoint_put_them(view) -> None:
    found = landmarks(view, 60)
    assert len(found) > 10 and [one.number for one in found if one.number] == list(
        range(1, 1 + sum(bool(one.number) for one in found))
    )
    assert [one.across_deg for one in found] == sorted(one.across_deg for one in found)
    to_degrees = pyproj.Transformer.from_crs("EPSG:27700", "EPSG:4277", always_xy=True)
    airy = pyproj.Geod(ellps="airy")  # the ellipsoid of EPSG:4277
    here = to_degrees.transform(view.lines.easting_m, view.lines.northing_m)
    standpoint = Standpoint.of_view(view.lines)
    for one in found:
        there = to_degrees.transform(one.easting_m, one.northing_m)
        azimuth, _, distance_m = airy.inv(*here, *there)
        assert (one.bearing_true_deg - azimuth + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)
        assert one.distance_m == pytest.approx(distance_m, abs=1e-3)
        tall_m = view.features["target_height_m"].iloc[
            list(view.listed.index)[list(view.listed["rank"]).index(one.rank)]
        ]
        top_m = one.height_m + (0.0 if np.isnan(tall_m) else tall_m)
        _, angle = standpoint.see(np.array([one.easting_m]), np.array([one.northing_m]), np.array([top_m]))
        assert one.angle_deg == pytest.approx(float(angle[0]), abs=1e-6)
        clear = clearance_by_walking(
            view, [one.easting_m], [one.northing_m], 0.0 if np.isnan(tall_m) else tall_m
        )
        assert (clear[0] >= -1e-3) == one.is_seen, one
        assert one.above_eye_m == pytest.approx(one.height_m - view.lines.eye.level_m)


def test_no_more_landmarks_are_numbered_than_asked(view) -> None:
    assert sum(bool(one.number) for one in landmarks(view, 7)) == 7
    assert not any(one.number for one in landmarks(view, 0))


def test_traces_follow_their_ground_where_it_is_seen(view) -> None:
    assert {trace.sort for trace in view.traces} == {"line", "outline"}
    for trace in view.traces:
        feature = view.features.iloc[trace.place]
        tall_m = 0.0 if np.isnan(feature["target_height_m"]) else feature["target_height_m"]
        x, y, top_m = trace.points.T
        assert np.allclose(view.lines.surface.heights_at_m(x, y) + tall_m, top_m, atol=1e-3)
        line = shapely.boundary(feature.geometry) if trace.sort == "outline" else feature.geometry
        assert shapely.distance(shapely.points(x, y), line).max() < 1e-6
        inner = slice(1, -1, max(1, x.size // 6))
        clear = clearance_by_walking(view, x[inner], y[inner], tall_m)
        # Between the places that were looked at clearance is taken as straight.
        assert (clear[np.isfinite(clear)] > -3.0).all()
        _, angle = Standpoint.of_view(view.lines).see(x, y, top_m)
        assert np.allclose(angle, trace.angle_deg, atol=1e-9)


def test_a_hidden_thing_that_all_but_shows_is_a_landmark_and_a_deep_one_is_not() -> None:
    ground = np.full((ROWS, COLUMNS), 50.0, np.float32)
    ground[70 - 20, :] = 60.0  # a ridge 200 m to the north, 8.4 m above the eye
    things = [
        # Behind it at 1,000 m the grazing line is 8.4 * 5 = 42 m up: 93.6 m in the terrain's datum.
        thing("Nearly", "mast", "man_made", shapely.Point(80, 70 - 50), 20.5),
        thing("Deep", "mast", "man_made", shapely.Point(84, 70 - 50), 5.0),
    ]
    view = drawn_view(
        looking(ground, 70.0, 80.0, refraction=1.0), 340.0, 40.0, 0.2, features=features_of(things)
    )
    # At 500 m it is 21 m up, 72.6 m: a mast of 20.5 m on 50 m lacks 2.1 m, which is 0.24 degrees.
    assert landmarks(view, 9) == []
    things[0]["target_height_m"] = 22.0  # 0.6 m, 0.07 degrees
    view = drawn_view(
        looking(ground, 70.0, 80.0, refraction=1.0), 340.0, 40.0, 0.2, features=features_of(things)
    )
    (only,) = landmarks(view, 9)
    assert (only.name, only.state, only.number) == ("Nearly", "hidden", 1)
    assert only.hidden_by_m == pytest.approx(0.6, abs=0.01)


@given(st.integers(0, 10_000))
def test_lines_are_cut_at_the_edges_of_the_picture(seed: int) -> None:
    # Outside the project: shapely's intersection of a line with a rectangle.
    random = np.random.default_rng(seed)
    x, y = random.uniform(-60, 160, 12), random.uniform(-60, 140, 12)
    x = x[0] + np.cumsum(np.clip(np.diff(x, prepend=x[0]), -45, 45))
    runs = inside_runs(x, y, 100.0, 80.0)
    kept = sum(float(np.hypot(np.diff(along(x, run)), np.diff(along(y, run))).sum()) for run in runs)
    wanted = shapely.LineString(np.column_stack((x, y))).intersection(shapely.box(0, 0, 100, 80))
    assert kept == pytest.approx(wanted.length, abs=1e-6)
    for run in runs:
        assert (np.diff(run) > 0).all()
        assert along(x, run).min() >= -1e-9 and along(x, run).max() <= 100 + 1e-9
        assert along(y, run).min() >= -1e-9 and along(y, run).max() <= 80 + 1e-9


def test_a_line_over_the_edge_of_the_round_is_no_stroke_across_it() -> None:
    x, y = np.array([10.0, 2.0, 358.0, 350.0]), np.array([5.0, 5.0, 5.0, 5.0])
    assert [list(run) for run in inside_runs(x, y, 360.0, 10.0)] == [[0.0, 1.0], [2.0, 3.0]]
    assert inside_runs(np.array([1.0, np.nan, 3.0]), np.ones(3), 360.0, 10.0) == []


def test_layers_hold_the_same_places_on_the_ground_and_on_the_picture(view) -> None:
    strips = lay_strips(0.0, 360.0, angles_shown(view, landmarks(view, 60)), (1500.0, 900.0), 1.0)
    laid = [Laid(cylinder, 90.0, 80.0) for cylinder in strips.cylinders]
    frames = panorama_frames(view, laid, landmarks(view, 60))
    pictures = frames["panorama_frames"].set_index("picture")
    assert len(pictures) == len(strips.cylinders)
    lines = frames["panorama_lines"]
    assert {"skyline", "brow", "crest", "line", "outline"} == set(lines["role"])
    checked = 0
    for row in lines.itertuples(index=False):
        picture = pictures.loc[row.picture]
        there = shapely.get_coordinates(shapely.from_wkt(row.picture_wkt))
        ground = shapely.get_coordinates(row.geometry, include_z=True)
        assert there.shape == (len(ground), 2)
        assert there[:, 0].min() >= -0.01 and there[:, 0].max() <= picture.width_px + 0.01
        assert there[:, 1].min() >= -0.01 and there[:, 1].max() <= picture.height_px + 0.01
        # By the columns alone, as a reader of the file would: direction of the ground, then its pixel.
        east, north = ground[:, 0] - picture.easting_m, ground[:, 1] - picture.northing_m
        d = np.hypot(east, north)
        angle = np.degrees(np.arctan((ground[:, 2] - picture.drop_per_m * d**2 - picture.eye_level_m) / d))
        bearing = np.degrees(np.arctan2(east, north))
        y = picture.horizon_y_px - angle / picture.vertical_degrees_per_px
        turn = (bearing - picture.bearing_left_grid_deg + 1.0) % 360.0 - 1.0
        inner = slice(1, -1)  # ends may be cut between two vertices
        assert np.allclose(turn[inner] / picture.degrees_per_px, there[inner, 0], atol=0.02)
        assert np.allclose(y[inner], there[inner, 1], atol=0.02)
        checked += len(ground)
    assert checked > 500
    points = frames["panorama_points"]
    assert points["x_px"].between(0, 1500).all() and points["number"].notna().sum() > 10
    cover = frames["panorama_frames"].geometry.union_all()
    assert cover.area == pytest.approx(np.pi * np.nanmax(view.fan.sky_m) ** 2, rel=0.01)


def test_edges_of_a_picture(view) -> None:
    assert edges_deg(Cylinder(350.0, 300, 100, 0.1, 0.1, 50.0)) == (350.0, 380.0)


def test_strips_show_every_bearing_once_and_no_angle_is_lost() -> None:
    for span, angles in ((360.0, (-8.0, 5.0)), (70.0, (-3.0, 1.0)), (360.0, (-20.0, 30.0))):
        strips = lay_strips(12.0, span, angles, (1500.0, 700.0))
        widths = [cylinder.span_deg for cylinder in strips.cylinders]
        assert sum(widths) == pytest.approx(span)
        starts = [cylinder.left_bearing_grid_deg for cylinder in strips.cylinders]
        assert starts == pytest.approx([(12.0 + sum(widths[:n])) % 360 for n in range(len(widths))])
        for cylinder in strips.cylinders:
            assert cylinder.exaggeration == pytest.approx(strips.exaggeration)
            _, top = cylinder.pixels(cylinder.left_bearing_grid_deg, angles[1])
            assert top > 0
            _, bottom = cylinder.pixels(cylinder.left_bearing_grid_deg, angles[0])
            assert bottom <= cylinder.height_px or strips.exaggeration == 1.0


def test_a_view_without_features_has_no_landmarks() -> None:
    bare = drawn_view(looking(fractal(60, 60, seed=1), 30.0, 30.0), 10.0, 80.0, 0.5)
    assert landmarks(bare, 9) == [] and bare.traces == ()
    frames = panorama_frames(
        bare, [Laid(lay_strips(10.0, 80.0, (-5.0, 5.0), (800.0, 300.0)).cylinders[0])], []
    )
    assert isinstance(frames["panorama_points"], geopandas.GeoDataFrame) and frames["panorama_points"].empty
