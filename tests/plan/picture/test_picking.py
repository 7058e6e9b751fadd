"""From pixels to ground: there and back, crops, turned cameras, sky, voids and the terrain's end."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from hillsight.errors import CallError
from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.error_fields import ErrorFields
from hillsight.ground.geodesy import grid_bearing_deg
from hillsight.ground.grid import Surface
from hillsight.ground.roughness import rough_scale_m
from hillsight.ground.terrain import open_terrain
from hillsight.plan.picture.camera import Camera, Lens
from hillsight.plan.picture.picked_lines import picked_lines
from hillsight.plan.picture.picking import Ground, Stand, pick, standing_eye
from hillsight.sight.bearings import see_bearings
from hillsight.sight.points import see_points
from plan.picture.drawing_cameras import by_names, by_spreads
from shared_data import shared_file
from views import surface_of

DROP = 6.83e-8  # (1 - 0.13) / 2R with R = 6,371 km (spherical Earth, from memory)
CAMERAS = [
    Camera(Lens(4000, 3000, 3500.0), 160.0),
    Camera(Lens(4000, 3000, 3500.0), 77.0, -4.0, 6.0),
    Camera(Lens(3000, 4000, 2800.0, 1460.0, 2100.0), 201.3, 5.0, -9.0),
    Camera(Lens(4000, 3000, 2900.0, radial=-0.09), 305.0, -2.5, 3.0),
    Camera(Lens(4000, 3000, 2900.0, radial=0.06), 128.0, 1.5, -2.0),
]


@pytest.fixture(scope="module")
def highlands() -> Ground:
    """OS Terrain 50 of the Highlands (shared data), a window of 12 km a side."""
    terrain = open_terrain(str(shared_file("osterrain50_nn.tif"))).on_metric_grid(-4.5, 56.9)
    surface = terrain.window(243_300.0, 724_400.0, 6_000.0)
    errors = ErrorModel.of_product("contour-50m")
    fields = ErrorFields(surface.grid, errors, rough_scale_m(surface.height_m))
    return Ground(surface, fields, float(np.nanmax(surface.height_m)))


#: On the highest post of a hill of 1,174 m, with a view all round.
STAND = Stand(243_277.0, 724_422.0, 1.6, 0.0, DROP)


def seen_places(
    ground: Ground, camera: Camera, wanted: int, seed: int
) -> list[tuple[float, float, float, float]]:
    """Easting, northing, x, y of ground in view and in the picture, by the kernel of single targets."""
    random = np.random.default_rng(seed)
    grid = ground.surface.grid
    eye = standing_eye(STAND, ground)
    east = random.uniform(grid.west_m, grid.east_m, 100_000)
    north = random.uniform(grid.south_m, grid.north_m, 100_000)
    distance = np.hypot(east - STAND.easting_m, north - STAND.northing_m)
    height = ground.surface.heights_at_m(east, north)
    angle = np.degrees(np.arctan((height - DROP * distance**2 - eye.level_m) / distance))
    x, y = camera.pixels(grid_bearing_deg(STAND.easting_m, STAND.northing_m, east, north), angle)
    inside = (
        (x >= 0) & (x <= camera.lens.width_px) & (y >= 0) & (y <= camera.lens.height_px) & (distance > 100)
    )
    chosen = np.flatnonzero(inside)
    rows, columns = grid.to_array(east[chosen], north[chosen])
    clearance = see_points(ground.surface, eye, rows, columns, 0.0).clearance_m
    chosen = chosen[clearance >= 0.0][:wanted]
    return [(float(east[n]), float(north[n]), float(x[n]), float(y[n])) for n in chosen]


@pytest.mark.parametrize("camera", CAMERAS)
def test_there_and_back(highlands: Ground, camera: Camera) -> None:
    """Ground, its pixel, the ground picked there, its pixel: within half a pixel, and the same place."""
    places = seen_places(highlands, camera, 60, 3)
    assert len(places) >= 30
    eye = standing_eye(STAND, highlands)
    same = 0
    for east, north, x, y in places:
        found = pick(x, y, camera, STAND, highlands, [], 0.0)
        assert found.state == "ground"
        same += math.hypot(found.easting_m - east, found.northing_m - north) < 0.5
        far = found.distance_m
        angle = math.degrees(math.atan((found.height_m - DROP * far**2 - eye.level_m) / far))
        back = camera.pixels(
            grid_bearing_deg(STAND.easting_m, STAND.northing_m, found.easting_m, found.northing_m), angle
        )
        assert math.hypot(float(back[0]) - x, float(back[1]) - y) < 0.5
    # Single targets are judged by the lines that a sight line crosses: a few lie behind a bulge.
    assert same >= 0.95 * len(places)


def test_a_crop_shows_the_same_ground(highlands: Ground) -> None:
    camera = CAMERAS[3]
    left, top = 400, 900
    crop = replace(camera, lens=camera.lens.cropped(left, top, 3100, 1800))
    compared = 0
    for _, _, x, y in seen_places(highlands, camera, 60, 4):
        if not (left <= x <= left + 3100 and top <= y <= top + 1800):
            continue
        whole = pick(x, y, camera, STAND, highlands, [], 0.0)
        part = pick(x - left, y - top, crop, STAND, highlands, [], 0.0)
        assert part.easting_m == pytest.approx(whole.easting_m, abs=1e-3)
        assert part.northing_m == pytest.approx(whole.northing_m, abs=1e-3)
        compared += 1
    assert compared > 20


def test_sky_voids_and_the_terrains_end_are_told() -> None:
    height_m = np.full((41, 41), 100.0, np.float32)
    height_m[5:9, 15:26] = np.nan
    surface = surface_of(height_m)
    east, north = (float(v) for v in surface.grid.to_map(20.0, 20.0))
    ground = Ground(surface, None, 100.0)
    stand = Stand(east, north, 2.0, 0.0, 0.0)
    looking = Camera(Lens(1000, 800, 1000.0), 0.0)
    assert pick(500.0, 300.0, looking, stand, ground, [], 0.0).state == "sky"
    at = pick(500.0, 420.0, looking, stand, ground, [], 0.0)
    # 20 px down at 1,000 px: the eye's 2 m at 2 in 100 reach the plain at 100 m (plane geometry).
    assert (at.state, at.distance_m) == ("ground", pytest.approx(100.0))
    assert at.northing_m == pytest.approx(north + 100.0)
    void = pick(500.0, 415.0, looking, stand, ground, [], 0.0)
    assert (void.state, math.isnan(void.easting_m)) == ("void", True)
    assert void.distance_m == pytest.approx(110.0)
    end = pick(500.0, 407.0, replace(looking, heading_grid_deg=180.0), stand, ground, [], 0.0)
    assert (end.state, end.distance_m) == ("terrain_edge", pytest.approx(200.0))


@pytest.mark.parametrize(("x", "y"), [(-1.0, 5.0), (5.0, 3000.5), (4000.5, 3.0), (math.nan, 3.0)])
def test_a_pixel_beyond_the_picture_is_refused(x: float, y: float) -> None:
    surface = surface_of(np.zeros((5, 5)))
    east, north = (float(v) for v in surface.grid.to_map(2.0, 2.0))
    with pytest.raises(CallError, match="outside the picture of 4000 x 3000 pixels"):
        pick(x, y, CAMERAS[0], Stand(east, north, 1.6, 0.0, 0.0), Ground(surface, None, 0.0), [], 0.0)


def test_a_ray_close_over_a_crest_is_told_as_one_that_may_meet_the_ground_beyond() -> None:
    """A ridge 20 m high at 500 m, a face from 1,500 m on, dead ground between: a pixel just under the ridge's
    edge may show either; one well down its face shows the ridge alone."""
    column = np.zeros(200)
    column[45:56] = 20.0 - 4.0 * np.abs(np.arange(-5, 6))
    column[150:] = 10.0 * np.arange(50)
    height_m = np.repeat(column[::-1][:, None], 41, axis=1)
    surface = surface_of(height_m)
    east, north = (float(v) for v in surface.grid.to_map(199.0, 20.0))
    ground, stand = Ground(surface, None, float(height_m.max())), Stand(east, north, 2.0, 0.0, 0.0)
    camera = Camera(Lens(4000, 3000, 4000.0), 0.0)
    drawn = by_spreads(camera, {"tilt_deg": 0.02})
    edge_y = float(camera.pixels(0.0, math.degrees(math.atan(18.0 / 500.0)))[1])
    close = pick(2000.0, edge_y + 1.0, camera, stand, ground, drawn, 2.0)
    assert close.state in ("ground", "grazing")
    assert close.distance_m == pytest.approx(500.0, abs=15.0)
    # Tilt to 0.02 degrees is 1.4 px, the click 2 px, together 2.4: a pixel under the edge goes over it in
    # P(z > 1 / 2.44) = 0.34 of all cases (normal table).
    assert close.shares["beyond"] == pytest.approx(0.34, abs=0.08)
    beyond = next(e for e in close.ellipses if e.which == "beyond")
    assert beyond.distance_m == pytest.approx(1_502.0 / 0.964, abs=15.0)
    own = next(e for e in close.ellipses if e.which == "same")
    assert own.distance_m == pytest.approx(495.0, abs=15.0)
    assert own.semi_major_m < 60.0
    down = pick(2000.0, edge_y + 14.0, camera, stand, ground, drawn, 2.0)
    assert down.state == "ground"
    assert down.shares == {"same": 1.0}
    # Just over the edge, on the face beyond, the ridge is the other ground.
    over = pick(2000.0, edge_y - 1.0, camera, stand, ground, drawn, 2.0)
    assert over.distance_m == pytest.approx(1_502.0 / 0.964, abs=15.0)
    assert over.shares["nearer"] == pytest.approx(0.34, abs=0.08)


def test_an_ellipse_is_as_long_as_the_slope_makes_it() -> None:
    """On a plain seen from 10 m above, a click out by s pixels moves the ground met by d^2 s / (f h) along
    the ray and d s / f across it (plane geometry): at 200 m, 3,000 px and 2 px, 2.67 m and 0.133 m."""
    surface = surface_of(np.zeros((101, 101)))
    east, north = (float(v) for v in surface.grid.to_map(50.0, 50.0))
    ground, stand = Ground(surface, None, 0.0), Stand(east, north, 10.0, 0.0, 0.0)
    camera = Camera(Lens(4000, 3000, 3000.0), 40.0)
    drawn = by_spreads(camera, {"tilt_deg": 0.0}, 2_000)
    found = pick(2000.0, 1500.0 + 3000.0 * 10.0 / 200.0, camera, stand, ground, drawn, 2.0)
    (own,) = found.ellipses
    radius = math.sqrt(-2.0 * math.log(0.05))  # 95 % of a normal distribution in two dimensions (closed form)
    assert own.semi_major_m == pytest.approx(radius * 2.667, rel=0.08)
    assert own.semi_minor_m == pytest.approx(radius * 0.1333, rel=0.08)
    assert own.orientation_grid_deg == pytest.approx(40.0, abs=0.2)
    assert own.holds(found.easting_m, found.northing_m)


def test_lines_lie_on_the_crests_they_were_traced_along(highlands: Ground) -> None:
    """The skyline and the brows of the terrain, a pixel or two out, come back as the ground they are of."""
    camera = CAMERAS[1]
    eye = standing_eye(STAND, highlands)
    bearings = camera.heading_grid_deg + np.arange(-20.0, 20.0, 0.2)
    along = see_bearings(highlands.surface, eye, 9_000.0, bearings)
    random = np.random.default_rng(8)
    x, y = camera.pixels(bearings, np.degrees(np.arctan(along.skyline_slope)))
    pieces, share = picked_lines(
        "skyline", x, y + random.normal(0.0, 2.0, x.size), camera, STAND, highlands, 3.0
    )
    assert share > 0.9
    assert all(piece.of == "skyline" for piece in pieces)
    # At the traced bearings themselves the ground is that of the skyline.
    told = np.concatenate([p.distance_m for p in pieces])
    assert np.percentile(told, [5, 50, 95]) == pytest.approx(
        np.percentile(along.skyline_distance_m, [5, 50, 95]), rel=0.1
    )
    # Far from any crest a traced edge is of none.
    none, share = picked_lines("skyline", x, y + 400.0, camera, STAND, highlands, 3.0)
    assert (none, share) == ([], 0.0)


def test_a_line_over_open_ground_is_followed(highlands: Ground) -> None:
    camera = CAMERAS[1]
    places = seen_places(highlands, camera, 2, 9)
    x, y = np.array([p[2] for p in places]), np.array([p[3] for p in places])
    pieces, share = picked_lines("ground", x, y, camera, STAND, highlands, 2.0)
    assert share > 0.3
    first = pieces[0]
    assert math.hypot(first.easting_m[0] - places[0][0], first.northing_m[0] - places[0][1]) < 1.0
    assert np.isfinite(first.height_m).all()


def test_draws_are_the_same_every_time_and_follow_their_covariance() -> None:
    camera = CAMERAS[1]
    covariance = np.array([[0.04, -0.018], [-0.018, 0.0225]])
    names = ["heading_grid_deg", "east_m"]
    drawn = by_names(camera, names, covariance, 4_000)
    assert drawn == by_names(camera, names, covariance, 4_000)
    off = np.array([(d.camera.heading_grid_deg - camera.heading_grid_deg, d.east_m) for d in drawn])
    assert np.cov(off.T) == pytest.approx(covariance, abs=0.003)


def test_errors_at_some_posts_are_those_of_the_whole_field(highlands: Ground) -> None:
    fields = highlands.fields
    assert fields is not None
    whole = fields.drawn(17)
    rows, columns = np.array([3, 40, 200]), np.array([100, 7, 31])
    assert fields.at(17, rows, columns) == pytest.approx(whole[rows, columns], abs=1e-5)


def test_surface_is_asked_for_no_more_than_it_has() -> None:
    """A pick beside the last row and column."""
    surface: Surface = surface_of(np.zeros((6, 6)))
    east, north = (float(v) for v in surface.grid.to_map(5.0, 5.0))
    ground, stand = Ground(surface, None, 0.0), Stand(east, north, 2.0, 0.0, 0.0)
    found = pick(500.0, 700.0, Camera(Lens(1000, 1000, 2000.0), 315.0), stand, ground, [], 0.0)
    assert found.state == "ground"
    assert found.distance_m == pytest.approx(20.0)
