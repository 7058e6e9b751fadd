"""First ground against shapes worked by hand: a plateau with a cliff edge, a cone, flat ground."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from hillsight.errors import CallError
from hillsight.reading.ground.first_ground import check_sector_width, first_ground
from views import view_of


@pytest.fixture(scope="module")
def plateau():
    """Flat at 100 m as far as 200 m east of the eye, 50 m lower from 210 m on; eye 2 m up."""
    height_m = np.full((101, 201), 100.0)
    height_m[:, 71:] = 50.0
    return view_of(height_m, 50, 50, eye_height_m=2.0, reach_m=1000.0)


def test_a_cliff_edge(plateau):
    frame = first_ground(plateau, 10.0)
    assert len(frame) == 36
    east = frame[frame["sector"] == 9].iloc[0]  # 80 to 90 degrees
    assert (east.bearing_from_true_deg, east.bearing_to_true_deg) == (80.0, 90.0)
    assert east.brow_share == 1
    # The edge lies 200 m east: 200 / sin(bearing) away. Grid north is 0.003 degrees off true here.
    assert east.brow_distance_m == pytest.approx(
        200 / np.sin(np.radians(east.brow_bearing_true_deg)), rel=2e-5
    )
    assert east.brow_nearest_m == pytest.approx(200.0, rel=2e-5)
    assert east.brow_farthest_m == pytest.approx(200 / np.sin(np.radians(80)), rel=2e-5)
    assert east.slope_to_brow_deg == pytest.approx(0.0, abs=1e-6)
    # 50 m down within the 60 m of ground that the slope is taken over.
    assert east.slope_beyond_deg == pytest.approx(-np.degrees(np.arctan(50 / 60)), abs=0.1)
    assert east.drop_m == pytest.approx(50.0, abs=1e-3)
    # From 2 m above the edge 200 m off, ground 50 m lower shows at 200 * 52 / 2 = 5,200 m: beyond the reach.
    assert np.isnan(east.out_again_m)
    assert east.description.startswith("level to a brow at 20")
    assert east.description.endswith("no ground shows again within reach")


def test_no_brow_to_the_west(plateau):
    west = first_ground(plateau, 10.0).iloc[26]  # 260 to 270 degrees, flat to the terrain's edge at 500 m
    assert west.brow_share == 0
    assert np.isnan([west.brow_distance_m, west.drop_m, west.out_again_m]).all()
    assert west.description == "no brow: ground stays in view"
    assert west.geometry.bounds[0] == pytest.approx(plateau.easting_m - 500.0, abs=1.0)


def test_ground_shows_again_beyond_a_trench():
    """A trench 50 m deep from 200 m to 300 m east: seen again where the line over its edge meets the flat."""
    height_m = np.full((101, 201), 100.0)
    height_m[:, 71:80] = 50.0
    view = view_of(height_m, 50, 50, eye_height_m=2.0, reach_m=1000.0)
    row = first_ground(view, 10.0).iloc[8]
    sine = np.sin(np.radians(row.brow_bearing_true_deg))
    assert row.brow_distance_m == pytest.approx(200 / sine, rel=2e-5)
    # The line falls 1 in 100 / sine, the far side rises 50 m in 10 m to the rim at 300 m: there the line is
    # 1 m below it, so ground shows 0.2 m earlier, at 299.8 m less the line's own fall (2 mm).
    assert row.out_again_m * sine == pytest.approx(299.8, abs=0.02)
    assert row.drop_m == pytest.approx(50.0, abs=0.5)
    assert row.description.endswith("ground shows again at 300 m")


def test_from_a_cone_all_ground_is_seen_and_falls():
    row, column = np.mgrid[:101, :101]
    height_m = 300.0 - 2.0 * np.hypot(row - 50, column - 50)  # falls 1 in 5
    frame = first_ground(view_of(height_m, 50, 50, eye_height_m=2.0, reach_m=400.0))
    assert frame["brow_share"].max() == 0


def test_polygons_tile_the_ground_at_the_feet(plateau):
    for width_deg in (10.0, 45.0, 120.0, 180.0, 360.0):
        frame = first_ground(plateau, width_deg)
        assert len(frame) == 360 / width_deg
        assert frame.is_valid.all()
        assert frame.area.sum() == pytest.approx(shapely.area(frame.union_all()), rel=1e-6)
        assert frame.area.sum() == pytest.approx(first_ground(plateau, 5.0).area.sum(), rel=1e-6)


@pytest.mark.parametrize("width_deg", [0.0, -10.0, 7.0, 361.0, 0.5, 720.0])
def test_sectors_that_do_not_go_round_are_refused(width_deg):
    with pytest.raises(CallError, match="do not go round"):
        check_sector_width(width_deg)
