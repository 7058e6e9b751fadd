"""What a drawn view's pixels show: the sky's edge where it is, light where it falls, ink at crests."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from matplotlib.colors import to_rgb
from pyproj import CRS

from hillsight.ground.grid import Grid, Surface
from hillsight.plan.picture.camera import Camera, Lens
from hillsight.sheets.panorama.painted import Cover, Light, paint
from hillsight.sheets.paper import palette
from hillsight.sight.bearings import see_bearings
from hillsight.sight.cylinder import Cylinder
from hillsight.sight.drawn_sector import DrawnSector
from hillsight.sight.far_sky import FarGround
from hillsight.sight.grain import grain
from hillsight.sight.smooth_slopes import SlopeLadder
from hillsight.sight.viewing import Eye
from ray_walker import walked
from terrains import fractal, plane, with_hole

SPACING_M = 20.0


def far_of(height_m):
    grid = Grid(CRS.from_epsg(27700), 300_000.0, 700_000.0, SPACING_M, SPACING_M, *height_m.shape)
    return FarGround.of(Surface(grid, height_m))


def eye_over(far, row, column, height_m):
    easting, northing = far.surface.grid.to_map(row, column)
    return Eye(row, column, far.surface.height_at_m(easting, northing) + height_m)


def rgb(colour):
    return 255.0 * np.array(to_rgb(colour))


def ridge(steep=0.4):
    """A ridge from west to east, 2 km north of the middle, that rises to the east; the rest is level."""
    height_m = plane(401, 401, height_m=0.0)
    row = np.abs(np.arange(401) - 100)[:, None]
    crest_m = 150.0 + np.arange(401)[None, :] * 0.4
    return np.maximum(height_m, crest_m - row * SPACING_M * steep).astype(np.float32)


@pytest.mark.parametrize("roll_deg", [0.0, 17.0])
def test_the_skys_edge_lies_within_half_a_pixel_of_the_skyline(roll_deg):
    far = far_of(ridge())
    eye = eye_over(far, 200.0, 200.0, 2.0)
    camera = Camera(Lens.of_width(400, 300, 50.0), heading_grid_deg=3.0, tilt_deg=4.0, roll_deg=roll_deg)
    painted = paint(far, eye, camera)
    bearings = np.linspace(345.0, 381.0, 61) % 360.0
    skyline = see_bearings(far.surface, eye, 1e5, bearings)
    x, y = camera.pixels(bearings, np.degrees(np.arctan(skyline.skyline_slope)))
    inside = (x > 5) & (x < 395) & (y > 5) & (y < 295)
    assert inside.sum() > 30
    distance = painted.distance_m()
    for at_x, at_y in zip(x[inside], y[inside], strict=True):
        column = distance[:, int(at_x)]
        # Rows whose middles are sky: those above the edge. The edge itself slants within the pixel's width.
        assert np.isfinite(column[int(np.ceil(at_y + 1.0)) :]).all()
        assert not np.isfinite(column[: int(at_y - 1.0)]).any()


def test_the_skys_edge_is_smooth():
    far = far_of(ridge())
    eye = eye_over(far, 200.0, 200.0, 2.0)
    view = Cylinder(345.0, 600, 240, 0.05, 0.05, 160.0)
    bearing, _ = view.directions(np.arange(600) + 0.5, 0.0)
    skyline = see_bearings(far.surface, eye, 1e5, bearing)
    _, edge = view.pixels(bearing, np.degrees(np.arctan(skyline.skyline_slope)))
    found = paint(far, eye, view, haze_half_m=1e9).picture.astype(float).mean(axis=2)
    row, column = edge.astype(int), np.arange(600)
    ink, sky = np.minimum(found[row, column], found[row + 1, column]), found[row - 2, column]
    share = (found[row, column] - ink) / (sky - ink)
    # Three places down a pixel resolve a third of it.
    assert np.abs(share - (edge - row)).max() < 0.4
    assert np.abs(share - (edge - row)).mean() < 0.12


def jacksboro():
    """SRTM 3", public domain, as matplotlib carries it; 74.4 m by 92.4 m there."""
    from matplotlib import cbook

    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        height_m = sample["elevation"][100:210, 150:270].astype(np.float32)
    grid = Grid(CRS.from_epsg(32616), 700_000.0, 4_060_000.0, 74.4, 92.4, *height_m.shape)
    return FarGround.of(Surface(grid, height_m))


def test_pixels_of_a_turned_camera_over_real_ground_are_right_to_half_a_pixel():
    far = jacksboro()
    easting, northing = (float(v) for v in far.surface.grid.to_map(60.3, 71.8))
    level_m = far.surface.height_at_m(easting, northing) + 60.0
    eye = Eye(60.3, 71.8, level_m, 0.87 / 2 / 6_380_000)
    camera = Camera(Lens.of_width(240, 160, 55.0), heading_grid_deg=312.0, tilt_deg=-4.0, roll_deg=9.0)
    distance = paint(far, eye, camera).distance_m()
    random = np.random.default_rng(11)
    judged = 0
    for x, y in random.integers((0, 0), (240, 160), (24, 2)):
        bearing, angle = camera.directions(
            x + np.array([0.5, 0.0, 0.0, 1.0, 1.0]), y + np.array([0.5, 0.0, 1.0, 0.0, 1.0])
        )
        met = np.array([walked(far, eye, b, [a])[0] for b, a in zip(bearing, angle, strict=True)])
        if np.isfinite(met).all():
            judged += 1
            assert met.min() * 0.999 <= distance[y, x] <= met.max() * 1.001
        elif not np.isfinite(met).any():
            assert not np.isfinite(distance[y, x])
    assert judged > 10


def tone_of(height_m, light, view=None):
    far = far_of(height_m)
    eye = eye_over(far, 200.0, 200.0, 30.0)
    view = view or Cylinder(350.0, 80, 60, 0.25, 0.25, -20.0)
    return paint(far, eye, view, light=light, haze_half_m=1e9).picture.astype(float).mean()


def test_ground_that_faces_the_light_is_lighter():
    # Ground that falls to the south, seen by an eye that looks north up it.
    up_north = plane(401, 401, north_slope=0.2, spacing=SPACING_M)
    lit = [tone_of(up_north, Light(azimuth, 40.0, turns=False)) for azimuth in (180.0, 90.0, 0.0)]
    assert lit[0] > lit[1] + 5 > lit[2] + 10


def test_light_that_turns_with_the_view_comes_from_the_same_side():
    up_north = plane(401, 401, north_slope=0.2, spacing=SPACING_M)
    fixed, turning = Light(180.0, 40.0, turns=False), Light(180.0, 40.0, turns=True)
    assert tone_of(up_north, turning) == pytest.approx(tone_of(up_north, fixed), abs=1.0)
    east = Cylinder(80.0, 80, 60, 0.25, 0.25, -20.0)
    up_east = plane(401, 401, east_slope=0.2, spacing=SPACING_M)
    assert tone_of(up_east, turning, east) == pytest.approx(tone_of(up_north, turning), abs=1.5)


def test_ground_fades_with_distance_to_the_haze():
    far = far_of(plane(401, 401))
    eye = eye_over(far, 200.0, 200.0, 100.0)
    view = Cylinder(350.0, 40, 200, 0.25, 0.1, -10.0)
    clear = paint(far, eye, view, haze_half_m=1e9).picture.astype(float)
    hazy = paint(far, eye, view, haze_half_m=1000.0).picture.astype(float)
    distance = paint(far, eye, view).distance_m()
    haze, ground = rgb(palette.VIEW_HAZE), np.isfinite(distance[:, 20])
    ground[: np.argmax(ground) + 3] = False  # the skyline's ink
    share = np.median((haze - hazy[ground]) / (haze - clear[ground]), axis=(1, 2))
    # An exponential with half of the contrast left at 1 km, and a tenth that never goes.
    assert share == pytest.approx(0.1 + 0.9 * 0.5 ** (distance[ground, 20] / 1000.0), abs=0.04)


def test_level_ground_has_neither_ink_nor_stripes():
    far = far_of(plane(401, 401))
    eye = eye_over(far, 203.3, 198.7, 1.6)
    view = Cylinder(0.0, 720, 200, 0.5, 0.3, 20.0)
    picture = paint(far, eye, view, haze_half_m=1e9).picture[40:].astype(float)
    rows = picture.mean(axis=(1, 2))
    # Only the grain and the darker ground far off change along it: no row stands out from its neighbours.
    assert np.abs(rows[2:] - 2 * rows[1:-1] + rows[:-2]).max() < 1.5
    assert picture.min() > 60


def test_a_crest_before_farther_ground_is_drawn_in_ink():
    ground = ridge()
    ground[:60] += 600.0
    far = far_of(ground)
    eye = eye_over(far, 200.0, 200.0, 2.0)
    view = Cylinder(355.0, 200, 200, 0.05, 0.05, 200.0)
    painted = paint(far, eye, view)
    picture, distance = painted.picture.astype(float).mean(axis=2), painted.distance_m()
    broken = np.argwhere(distance[:-1, 100] > 1.3 * distance[1:, 100]).ravel()
    assert broken.size == 1
    at = int(broken[0])
    assert picture[at : at + 3, 100].min() < 0.8 * picture[at - 8 : at - 3, 100].mean()


def test_water_and_woods_are_tinted_where_they_lie():
    far = far_of(plane(401, 401))
    grid = far.surface.grid
    eye = eye_over(far, 200.0, 200.0, 50.0)
    east, north = (float(v) for v in grid.to_map(200.0, 200.0))
    water = shapely.box(east - 2000.0, north + 300.0, east, north + 900.0)
    wood = shapely.box(east, north + 300.0, east + 2000.0, north + 900.0)
    view = Cylinder(340.0, 200, 200, 0.2, 0.1, -10.0)
    painted = paint(far, eye, view, cover=Cover(woods=[wood], water=[water]), haze_half_m=1e9)
    x, y = view.pixels([350.0, 10.0, 350.0], -np.degrees(np.arctan(50.0 / np.array([600.0, 600.0, 200.0]))))
    tones = painted.picture[y.astype(int), x.astype(int)].astype(float)
    for tone, colour in zip(
        tones, (palette.VIEW_WATER, palette.VIEW_WOODS, palette.VIEW_GROUND), strict=True
    ):
        share = tone / rgb(colour)
        assert np.ptp(share) < 0.08, "the colour, darker or lighter"
        assert 0.6 < share.mean() < 1.1


def test_ground_behind_a_void_and_sky_over_it_are_veiled():
    far = far_of(with_hole(ridge(), 150, 0, 10, 401))
    eye = eye_over(far, 200.0, 200.0, 2.0)
    view = Cylinder(355.0, 50, 100, 0.2, 0.2, 80.0)
    painted = paint(far, eye, view, haze_half_m=1e9)
    distance = painted.distance_m()
    assert (distance[np.isfinite(distance)] < 0).any()
    whole = paint(far_of(ridge()), eye, view, haze_half_m=1e9)
    beyond = np.isfinite(distance) & (distance < 0) & (whole.distance_m() > 0)
    unknown = rgb(palette.UNKNOWN)
    veiled = np.abs(painted.picture[beyond] - unknown).mean()
    assert veiled < 0.75 * np.abs(whole.picture[beyond] - unknown).mean()


def test_smooth_slopes_of_a_plane_are_its_own_at_every_level():
    import hillsight.sight.smooth_slopes as smooth

    height_m = plane(64, 96, east_slope=0.3, north_slope=-0.1, spacing=10.0)
    ladder = SlopeLadder.of(height_m)
    assert ladder.sizes.shape[0] >= 3
    for level in range(3):
        rise = np.zeros(2)
        smooth.add_smooth_slope(
            ladder.heights_m, ladder.sizes, level, 31.3, 47.9, 1.0, np.empty((4, 4)), rise
        )
        assert rise == pytest.approx([3.0, 1.0], abs=1e-3)


def test_smooth_slopes_are_the_splines():
    from scipy.interpolate import RectBivariateSpline

    import hillsight.sight.smooth_slopes as smooth

    height_m = fractal(32, 32, seed=3, relief_m=50.0).astype(np.float64)
    # A spline through the values that the B-spline with these coefficients takes has these very slopes.
    weights = np.array([1.0, 4.0, 1.0]) / 6.0
    values = np.apply_along_axis(lambda v: np.convolve(v, weights, "valid"), 0, height_m)
    values = np.apply_along_axis(lambda v: np.convolve(v, weights, "valid"), 1, values)
    spline = RectBivariateSpline(np.arange(1, 31), np.arange(1, 31), values)
    ladder = SlopeLadder.of(height_m.astype(np.float32))
    for row, column in ((15.2, 14.7), (16.0, 13.5), (14.99, 16.01)):
        rise = np.zeros(2)
        smooth.add_smooth_slope(ladder.heights_m, ladder.sizes, 0, row, column, 1.0, np.empty((4, 4)), rise)
        assert rise[0] == pytest.approx(float(spline(row, column, dy=1)[0, 0]), abs=2e-3)
        assert rise[1] == pytest.approx(float(spline(row, column, dx=1)[0, 0]), abs=2e-3)


def test_grain_lies_still_and_fades_where_it_is_too_fine_to_show():
    places = np.random.default_rng(1).uniform(-5e5, 5e5, (400, 2))
    near = np.array([grain(east, south, 0.05) for east, south in places])
    assert np.array_equal(near, [grain(east, south, 0.05) for east, south in places])
    assert np.abs(near).max() <= 1.5
    assert abs(near.mean()) < 0.1
    assert near.std() > 0.1
    assert not any(grain(east, south, 50.0) for east, south in places)
    # Without a jump from one place to the next.
    steps = np.array([grain(1000.0 + 0.001 * i, 77.7, 0.05) for i in range(2000)])
    assert np.abs(np.diff(steps)).max() < 0.05


def test_haze_follows_what_is_in_view():
    level = far_of(plane(401, 401))
    eye = eye_over(level, 200.0, 200.0, 30.0)
    view = Cylinder(0.0, 200, 60, 1.0, 0.5, 10.0)
    # Level ground to the terrain's sides, 4 km off and more; the rays that look are half a degree apart.
    assert 1000.0 <= paint(level, eye, view).scene.haze_half_m <= 3000.0
    sky = Cylinder(0.0, 20, 20, 1.0, 1.0, 60.0)
    assert paint(level, eye, sky).scene.steepened == 1.0
    assert 1.0 <= paint(far_of(ridge()), eye, view).scene.steepened <= 3.0


def test_voids_leave_no_mark_on_the_slopes_about_them():
    ladder = SlopeLadder.of(with_hole(plane(64, 64, height_m=7.0), 10, 10, 9, 3))
    assert np.isfinite(ladder.heights_m).all()
    assert ladder.heights_m == pytest.approx(7.0)


def test_the_sector_of_a_picture_holds_all_its_bearings():
    cylinder = Cylinder(330.0, 600, 200, 0.1, 0.05, 120.0)
    sector = DrawnSector.of(cylinder)
    assert sector.pixel_across_deg == pytest.approx(0.1, rel=0.01)
    assert sector.pixel_down_deg == pytest.approx(0.05, rel=0.01)
    assert (330.0 - sector.left_bearing_grid_deg) % 360.0 < 6.0
    assert 60.0 < sector.span_deg < 75.0
    assert DrawnSector.of(Cylinder(10.0, 720, 50, 0.5, 0.5, 25.0)).span_deg == 360.0
    for tilt in (0.0, 25.0, -40.0, 80.0):
        camera = Camera(Lens.of_width(300, 200, 60.0), heading_grid_deg=1.0, tilt_deg=tilt, roll_deg=12.0)
        sector = DrawnSector.of(camera)
        x, y = np.meshgrid(np.linspace(-4, 304, 78), np.linspace(-4, 204, 53))
        bearing, _ = camera.directions(x, y)
        across = (bearing - sector.left_bearing_grid_deg) % 360.0
        assert sector.span_deg == 360.0 or across.max() < sector.span_deg
