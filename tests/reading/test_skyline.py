"""The skyline, bearing by bearing and in pieces, on made ground and round the compass."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from hillsight.reading.ground.skyline import skyline
from terrains import fractal, with_hole
from views import view_of

ROUGH = fractal(91, 101, seed=31, relief_m=150.0)
SCALE = 0.9996012717


def _bowl():
    r, c = np.indices((81, 81))
    away = np.hypot(r - 40, c - 40)
    return np.where(away <= 20, away, np.maximum(0, 20 - 4 * (away - 20)))


def test_the_rim_of_a_bowl_is_one_closed_piece():
    found = skyline(view_of(_bowl(), 40, 40, eye_height_m=2.0, reach_m=380.0), 1.0)
    assert len(found.bearings) == 360
    assert found.bearings.distance_m.to_numpy() * SCALE == pytest.approx(195.0, abs=8.0)
    assert found.bearings.height_m.to_numpy() == pytest.approx(20.0, abs=1.2)
    # up 20 - 2 m in 200 m
    assert found.bearings.angle_deg.to_numpy() == pytest.approx(np.degrees(np.arctan(0.09)), abs=0.25)
    assert set(found.bearings.state) == {"ground"}
    (piece,) = found.pieces.itertuples()
    assert (piece.bearing_from_true_deg, piece.bearing_to_true_deg) == (0.0, 360.0)
    assert piece.geometry.is_closed
    assert piece.state == "ground"
    assert found.bearings.brow_distance_m.to_numpy() == pytest.approx(
        found.bearings.distance_m * SCALE, rel=1e-4
    )


def test_bearings_are_in_order_and_measured_on_the_ellipsoid():
    view = view_of(ROUGH, 45.4, 50.2, eye_height_m=4.0, reach_m=420.0)
    found = skyline(view, 0.5).bearings
    assert found.bearing_grid_deg.tolist() == pytest.approx(np.arange(0, 360, 0.5))
    turn = (found.bearing_true_deg - found.bearing_grid_deg + 180) % 360 - 180
    assert np.abs(turn).max() < 0.02  # on the central meridian
    x, y, z = shapely.get_coordinates(found.geometry.to_numpy(), include_z=True).T
    assert view.grid_distance_m(x, y) / SCALE == pytest.approx(found.distance_m.to_numpy(), rel=1e-6)
    assert z.tolist() == found.height_m.tolist()
    rise = (z - view.eye.level_m) / view.grid_distance_m(x, y)
    assert np.degrees(np.arctan(rise)) == pytest.approx(found.angle_deg.to_numpy(), abs=1e-6)


def test_angles_hold_the_curvature():
    """Flat ground, eye at 10 m: the horizon dips by 1.76 arc minutes times the root of the height (k = 0.13
    gives sqrt(2 h (1 - k) / R) = 5.68 minutes; closed form)."""
    flat = np.zeros((301, 301))
    view = view_of(flat, 150, 150, spacing_x_m=90.0, eye_height_m=10.0, reach_m=13_000.0, refraction=0.13)
    found = skyline(view, 5.0).bearings
    radius_m = view.geodesy.gaussian_radius_m(view.easting_m, view.northing_m)
    dip_deg = np.degrees(np.sqrt(2 * 10 * 0.87 / radius_m))
    assert found.angle_deg.to_numpy() == pytest.approx(-dip_deg, abs=1e-4)
    assert found.distance_m.to_numpy() == pytest.approx(np.sqrt(2 * radius_m * 10 / 0.87), rel=0.02)


@pytest.mark.parametrize(
    ("row", "column", "missing"),
    [(0, 50, (-90, 90)), (90, 50, (90, 270)), (45, 0, (180, 360)), (45, 100, (0, 180))],
)
def test_from_the_terrain_s_edge_no_piece_leaps_across_what_is_missing(row, column, missing):
    found = skyline(view_of(np.zeros_like(ROUGH), row, column, reach_m=200.0), 1.0)
    middle = np.mean(missing) % 360
    away = np.abs((found.bearings.bearing_grid_deg - middle + 180) % 360 - 180)
    assert away.min() >= 90  # looking off the terrain there is none
    assert 179 <= len(found.bearings) <= 181
    for piece in found.pieces.itertuples():
        step_m = np.hypot(*np.diff(shapely.get_coordinates(piece.geometry), axis=0).T)
        assert step_m.max() < 50.0
    width = (found.pieces.bearing_to_true_deg - found.pieces.bearing_from_true_deg) % 360
    assert width.max() <= 180.1
    # It is one sweep, also where it runs through north.
    assert len(found.pieces[found.pieces.state == "reach"]) == 1


@pytest.mark.parametrize("where", [(45, 50), (40.3, 61.7), (0, 30), (90, 100)])
def test_pieces_run_clockwise_over_the_points_and_miss_none_for_long(where):
    height_m = with_hole(ROUGH, 70, 20, 5, 5)
    view = view_of(height_m, *where, eye_height_m=4.0, reach_m=420.0)
    found = skyline(view, 0.5)
    points = found.bearings.geometry
    on = np.zeros(len(points), int)
    for piece in found.pieces.itertuples():
        xyz = shapely.get_coordinates(piece.geometry, include_z=True)
        bearing, ground_m = view.measure(xyz[:, 0], xyz[:, 1])
        turned = np.diff(np.unwrap(bearing, period=360.0))
        assert (turned > 0).all()  # left to right
        assert turned.max() < 1.5
        assert (piece.distance_min_m, piece.distance_max_m) == pytest.approx((ground_m.min(), ground_m.max()))
        assert (piece.height_min_m, piece.height_max_m) == (xyz[:, 2].min(), xyz[:, 2].max())
        assert piece.bearing_from_true_deg == pytest.approx(bearing[0], abs=1e-6)
        assert piece.bearing_to_true_deg == pytest.approx(bearing[-1], abs=1e-6)
        here = {tuple(v) for v in xyz}
        mine = np.array(
            [tuple(v) in here for v in shapely.get_coordinates(points.to_numpy(), include_z=True)]
        )
        assert mine.sum() == len(here)
        assert set(found.bearings.state[mine]) == {piece.state}
        on += mine
    assert on.max() == 1  # pieces share no point
    assert (on > 0).mean() > 0.8  # the rest stand alone between two leaps
    assert found.pieces.piece.tolist() == list(range(1, len(found.pieces) + 1))


def test_a_leap_in_distance_parts_two_pieces():
    height_m = np.zeros((101, 101))
    height_m[:50, 60] = 20.0  # near wall, north-east
    height_m[50:, 95] = 60.0  # far wall, south-east
    found = skyline(view_of(height_m, 50, 50, reach_m=495.0), 0.5).pieces
    east = found[(found.bearing_from_true_deg > 20) & (found.bearing_to_true_deg < 160)]
    assert ((east.distance_max_m < 300) | (east.distance_min_m > 400)).all()
    assert len(east) >= 2


def test_where_nothing_lies_within_the_reach_there_is_no_skyline():
    found = skyline(view_of(ROUGH, 45.5, 50.5, reach_m=2.0), 10.0)
    assert len(found.bearings) == 0
    assert len(found.pieces) == 0
    found = skyline(view_of(np.zeros((1, 1)), 0, 0, reach_m=20.0), 10.0)
    assert len(found.bearings) == 0


def test_a_void_is_told():
    height_m = with_hole(np.zeros((41, 41), np.float32), 10, 10, 21, 2)  # to the west
    found = skyline(view_of(height_m, 20, 20, reach_m=150.0), 1.0).bearings
    west = (found.bearing_grid_deg > 240) & (found.bearing_grid_deg < 300)
    assert set(found.state[west]) == {"void"}
    assert set(found.state[(found.bearing_grid_deg > 30) & (found.bearing_grid_deg < 150)]) == {"reach"}


def test_the_brow_has_an_angle_of_its_own():
    # Flat ground, eye 10 m up, a bank of 5 m at 300 m to the east: its top stands 5 m below the eye.
    height_m = np.zeros((41, 201), np.float32)
    height_m[:, 50] = 5.0
    found = skyline(view_of(height_m, 20, 20, eye_height_m=10.0, reach_m=1700.0), step_deg=1.0).bearings
    east = found[found.bearing_grid_deg == 90.0].iloc[0]
    assert east.brow_distance_m == pytest.approx(300.0)
    assert east.brow_angle_deg == pytest.approx(np.degrees(np.arctan2(-5.0, 300.0)), abs=1e-6)
    assert np.isnan(found.brow_angle_deg[found.brow_distance_m.isna()]).all()
