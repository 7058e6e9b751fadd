"""The picture plane: bearings and vertical angles against solid geometry, sectors, lines over an edge."""

from __future__ import annotations

import geopandas
import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from hillsight.ground.geodesy import Geodesy
from hillsight.ground.stations import Station
from hillsight.ground.terrain import open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.reading.outlook import Outlook, Request, look_out
from hillsight.reading.panorama import Sector, Standpoint, panorama
from hillsight.reading.view import View
from hillsight.sight.viewing import Viewing
from terrains import fractal, plane, write_geotiff

WEST, NORTH = 400_000.0, 300_000.0
VIEWING = Viewing(eye_height_m=1.6, reach_m=550.0)


def _outlook(folder, height_m, row: float, column: float, features=None) -> tuple[Outlook, Standpoint]:
    path = write_geotiff(folder / "ground.tif", height_m, west=WEST, north=NORTH)
    terrain = open_terrain(str(path), TerrainOptions()).on_metric_grid(-2.0, 52.6)
    station = Station("A", "A", WEST + 10 * column, NORTH - 10 * row, None, "--at")
    outlook = look_out(terrain, station, Request(VIEWING, features=features))
    surface = terrain.whole()
    ground_m = surface.height_at_m(station.easting_m, station.northing_m)
    view = View.from_station(
        surface, station.easting_m, station.northing_m, ground_m, VIEWING, Geodesy(terrain.crs)
    )
    return outlook, Standpoint.of_view(view)


@pytest.mark.parametrize(
    ("crs", "east", "north"), [("EPSG:27700", 216_671.0, 771_281.0), ("EPSG:32755", 650_000.0, 6.0e6)]
)
def test_directions_are_those_of_solid_geometry(crs: str, east: float, north: float) -> None:
    # Outside the project: PROJ's geocentric coordinates (EPSG:4978 and the like). Without refraction a sight
    # line is straight in space, and its direction in the eye's own east, north and up is found by turning.
    random = np.random.default_rng(5)
    turn, away = random.uniform(0, 2 * np.pi, 200), random.uniform(200, 9_000, 200)
    x, y, height = east + away * np.sin(turn), north + away * np.cos(turn), random.uniform(0, 1_300, 200)
    bearing, angle = Standpoint(east, north, 640.0, 0.0, pyproj.CRS(crs)).see(x, y, height)

    geodetic = pyproj.CRS(crs).geodetic_crs
    ellipsoid = geodetic.ellipsoid
    solid = pyproj.CRS.from_proj4(
        f"+proj=geocent +a={ellipsoid.semi_major_metre} +b={ellipsoid.semi_minor_metre} +no_defs"
    )
    flat = pyproj.CRS.from_proj4(
        f"+proj=longlat +a={ellipsoid.semi_major_metre} +b={ellipsoid.semi_minor_metre} +no_defs"
    )
    to_degrees = pyproj.Transformer.from_crs(crs, geodetic, always_xy=True)
    to_space = pyproj.Transformer.from_crs(flat.to_3d(), solid, always_xy=True)
    longitude, latitude = to_degrees.transform(np.r_[east, x], np.r_[north, y])
    place = np.array(to_space.transform(longitude, latitude, np.r_[640.0, height]))
    line = place[:, 1:] - place[:, :1]
    lam, phi = np.radians(longitude[0]), np.radians(latitude[0])
    eastward = np.array([-np.sin(lam), np.cos(lam), 0.0]) @ line
    northward = np.array([-np.sin(phi) * np.cos(lam), -np.sin(phi) * np.sin(lam), np.cos(phi)]) @ line
    upward = np.array([np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)]) @ line
    azimuth = np.degrees(np.arctan2(eastward, northward)) % 360.0
    assert np.abs((bearing - azimuth + 180) % 360 - 180).max() < 0.002
    # The map's scale (0.9996 to 1.0004) takes that share of a slope; the steepest here is some 70 degrees.
    expected = np.degrees(np.arctan2(upward, np.hypot(eastward, northward)))
    assert np.abs(angle - expected).max() < 0.025
    gentle = np.abs(expected) < 10
    assert gentle.sum() > 100 and np.abs(angle - expected)[gentle].max() < 0.006


def test_curvature_and_refraction_lower_what_is_far() -> None:
    # By hand, with the mean radius 6 371 km: 20 km off, 20000² × 0.87 / 12 742 000 = 27.31 m.
    eye = Standpoint(400_000.0, 300_000.0, 100.0, 0.13, pyproj.CRS(27700))
    _, angle = eye.see(np.array([400_000.0]), np.array([320_000.0]), np.array([100.0]))
    assert angle[0] == pytest.approx(-np.degrees(27.31 / 20_000), rel=0.005)
    _, angle = eye.see(np.array([400_000.0]), np.array([300_000.0]), np.array([90.0]))
    assert np.isnan(angle[0])


def test_an_edge_is_traced_at_its_angle(tmp_path) -> None:
    # By hand: ground 30 m higher from 200 m north of an eye 1.6 m above a plane, with its edge east and west.
    height_m = plane(81, 81)
    height_m[:21] += np.float32(30.0)
    outlook, eye = _outlook(tmp_path, height_m, 40.0, 40.0)
    seen = panorama(outlook.frames, eye, Sector.between(315.0, 45.0))
    convergence = float(outlook.frames["stations"]["convergence_deg"].iloc[0])

    def edge_deg(across_deg, away_m):
        off_grid_north = np.radians(across_deg - 45.0 - convergence)
        return np.degrees(np.arctan(28.4 * np.cos(off_grid_north) / away_m))

    sky = seen.skyline
    inside = (sky.across_deg > 2) & (sky.across_deg < 88)
    assert inside.sum() > 500
    assert sky.angle_deg[inside] == pytest.approx(edge_deg(sky.across_deg[inside], 200.0), abs=0.02)
    (trace,) = [crest for crest in seen.crests if crest.across_deg.min() < 40 < crest.across_deg.max()]
    assert np.diff(trace.across_deg).min() > 0, "left to right"
    middle = (trace.across_deg > 2) & (trace.across_deg < 88)
    assert middle.sum() > 30
    # Crest lines are drawn between the last post that is seen and the next.
    across, angle = trace.across_deg[middle], trace.angle_deg[middle]
    assert (angle < edge_deg(across, 200.0) + 0.02).all() and (angle > edge_deg(across, 210.0) - 0.02).all()


@pytest.fixture(scope="module")
def rough(tmp_path_factory):
    random = np.random.default_rng(3)
    turn, away = random.uniform(0, 2 * np.pi, 40), random.uniform(60, 500, 40)
    features = geopandas.GeoDataFrame(
        {
            "name": [f"f{i}" for i in range(40)],
            "kind": ["summit"] * 40,
            "evidence_class": ["ground_shape"] * 40,
            "target_height_m": np.full(40, np.nan),
            "source": ["made"] * 40,
        },
        geometry=shapely.points(WEST + 606 + away * np.sin(turn), NORTH - 597 + away * np.cos(turn)),
        crs="EPSG:27700",
    )
    height_m = fractal(121, 121, seed=77, relief_m=160.0, lowest_m=50.0)
    return _outlook(tmp_path_factory.mktemp("rough"), height_m, 59.7, 60.6, features)


def test_crests_lie_below_the_skyline_and_those_against_the_sky_on_it(rough) -> None:
    outlook, eye = rough
    seen = panorama(outlook.frames, eye)
    assert len(seen.crests) > 20
    above: dict[str, list[float]] = {}
    for crest in seen.crests:
        inside = (crest.across_deg >= 0) & (crest.across_deg <= 360)
        sky = np.interp(crest.across_deg[inside], seen.skyline.across_deg, seen.skyline.angle_deg)
        above.setdefault(crest.role, []).extend(crest.angle_deg[inside] - sky)
    assert all(len(found) > 60 for found in above.values()) and set(above) == {"crest", "brow", "skyline"}
    assert all(max(found) < 0.01 for found in above.values())
    assert np.quantile(np.abs(above["skyline"]), 0.7) < 0.1
    assert np.median(above["crest"]) < -1 and np.median(above["brow"]) < -1


def test_features_keep_the_lists_figures_and_order(rough) -> None:
    outlook, eye = rough
    listed = outlook.frames["bearing_list"]
    seen = panorama(outlook.frames, eye, Sector.between(300.0, 100.0))
    from_left = (listed["bearing_true_deg"] - 300.0) % 360.0
    expected = listed[(from_left <= 160.0) & listed["vertical_angle_deg"].notna()]
    assert 5 < len(expected) < len(listed)
    assert list(seen.features["name"]) == list(expected["name"])
    assert np.array_equal(seen.features["vertical_angle_deg"], expected["vertical_angle_deg"])
    assert np.allclose(seen.features["across_deg"], from_left[expected.index])
    # What stands for a feature lies where the list says: the same eye gives the same direction.
    points = shapely.get_coordinates(expected.geometry.to_numpy(), include_z=True)
    bearing, angle = eye.see(*points.T)
    assert np.allclose(bearing, expected["bearing_true_deg"], atol=1e-6)
    assert np.allclose(angle, expected["vertical_angle_deg"], atol=0.02)


def test_angles_are_those_of_the_sector_alone(rough) -> None:
    outlook, eye = rough
    whole = panorama(outlook.frames, eye).angles_deg()
    sky = outlook.frames["skyline_bearings"]
    listed = outlook.frames["bearing_list"]
    narrower = 0
    for start in range(0, 360, 30):
        low, high = panorama(outlook.frames, eye, Sector(float(start), 30.0)).angles_deg()
        told = [
            *sky["angle_deg"][(sky["bearing_true_deg"] - start) % 360.0 <= 30.0],
            *listed["vertical_angle_deg"][(listed["bearing_true_deg"] - start) % 360.0 <= 30.0].dropna(),
        ]
        assert (low, high) == (min(told), max(told))
        narrower += high - low < 0.7 * (whole[1] - whole[0])
    assert narrower >= 6
    assert panorama({}, eye).angles_deg() is None


def test_lines_run_over_the_edges_without_a_jump() -> None:
    crs = pyproj.CRS(27700)
    turn = np.radians(np.arange(-30.0, 31.0))  # an arc about grid north
    arc = shapely.linestrings(400_000 + 300 * np.sin(turn), 300_000 + 300 * np.cos(turn), np.full(61, 12.0))
    lines = geopandas.GeoDataFrame({"crest": [7], "role": ["brow"]}, geometry=[arc], crs=crs)
    eye = Standpoint(400_000.0, 300_000.0, 10.0, 1.0, crs)
    first, second = panorama({"crest_lines": lines}, eye).crests
    assert {first.crest, second.crest} == {7} and first.role == "brow"
    for trace in (first, second):
        assert np.diff(trace.across_deg) == pytest.approx(1.0, abs=0.01)
        assert trace.angle_deg == pytest.approx(np.degrees(np.arctan(2 / 300)), abs=1e-9)
    assert np.allclose(first.across_deg - second.across_deg, 360.0)
    assert panorama({"crest_lines": lines}, eye, Sector(90.0, 180.0)).crests == ()
    (only,) = panorama({"crest_lines": lines}, eye, Sector(20.0, 60.0)).crests
    assert only.across_deg.min() < -45 and only.across_deg.max() == pytest.approx(10.0, abs=0.3)


@given(st.floats(-720, 720), st.one_of(st.none(), st.floats(-720, 720)), st.floats(0, 360, exclude_max=True))
def test_a_bearing_counts_on_from_the_left_edge(start: float, end: float | None, bearing: float) -> None:
    sector = Sector.between(start, end)
    assert 0 <= sector.start_deg <= 360 and 0 < sector.span_deg <= 360
    across = float(sector.across_deg(np.array([bearing]))[0])
    assert 0 <= across < 360
    off = (sector.start_deg + across - bearing) % 360
    assert min(off, 360 - off) < 1e-9
