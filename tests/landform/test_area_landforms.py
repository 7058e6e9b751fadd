"""Areas and breaks of slope on grounds by formula: outlines, level and steep ground, hollows, breaks."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from hillsight.arrays import Floats
from hillsight.landform.breaks import find_breaks
from hillsight.landform.flood import drain
from hillsight.landform.hollows import Hollow, find_hollows
from hillsight.landform.level_ground import find_level_ground
from hillsight.landform.outlines import areas_between, posts_inside
from hillsight.landform.scale import Worked
from hillsight.landform.steep_ground import find_steep_ground
from landform.known import CENTRE
from landform.worked_ground import as_it_is, grid_of, places_on

SCALE_M = 200.0
GRID = grid_of(101, 101)  # 500 m to each side of the centre, which is a post


def from_centre(places: Floats) -> Floats:
    return places - np.array(CENTRE)


# Outlines


def test_the_outline_of_a_disc_has_its_area_and_that_of_a_ring_its_hole() -> None:
    radius_m = np.hypot(*places_on(GRID))
    (disc,) = areas_between(radius_m, GRID, -1.0, 200.0, least_m2=0.0)
    assert disc.area == pytest.approx(np.pi * 200.0**2, rel=0.01)
    (ring,) = areas_between(radius_m, GRID, 100.0, 200.0, least_m2=0.0)
    assert len(ring.interiors) == 1
    assert ring.area == pytest.approx(np.pi * (200.0**2 - 100.0**2), rel=0.01)
    (filled,) = areas_between(
        radius_m, GRID, 100.0, 200.0, least_m2=0.0, least_hole_m2=1.05 * np.pi * 100.0**2
    )
    assert not filled.interiors
    assert filled.area == pytest.approx(disc.area)
    assert areas_between(radius_m, GRID, -1.0, 200.0, least_m2=1.05 * np.pi * 200.0**2) == []


def test_two_discs_are_two_areas_and_voids_are_not_drawn() -> None:
    east, north = places_on(GRID)
    apart_m = np.minimum(np.hypot(east - 250.0, north), np.hypot(east + 250.0, north))
    assert len(areas_between(apart_m, GRID, -1.0, 150.0, least_m2=0.0)) == 2
    half = np.where(east > 0, np.nan, np.hypot(east, north))
    (area,) = areas_between(half, GRID, -1.0, 200.0, least_m2=0.0)
    assert area.area == pytest.approx(np.pi * 200.0**2 / 2, rel=0.01)
    assert areas_between(np.full((101, 101), np.nan), GRID, 0.0, None, least_m2=0.0) == []


def test_posts_inside_a_box_are_counted_and_a_box_between_posts_takes_the_nearest() -> None:
    e, n = CENTRE
    rows, columns = posts_inside(shapely.box(e - 25, n - 15, e + 35, n + 15), GRID)
    assert len(rows) == 3 * 6  # at -10 to 10 m north and -20 to 30 m east
    assert (rows.min(), rows.max(), columns.min(), columns.max()) == (49, 51, 48, 53)
    rows, columns = posts_inside(shapely.box(e + 12, n + 2, e + 14, n + 4), GRID)
    assert (rows.tolist(), columns.tolist()) == ([50], [51])


# Level ground


def test_a_bench_on_a_plane_is_a_shelf() -> None:
    """Level 100 m either way; Horn's slope at its rims is half the flank's, so that 5 degrees lie between."""
    flank = 0.3
    bench = as_it_is(lambda x, y: flank * np.sign(x) * np.maximum(np.abs(x) - 100.0, 0.0), GRID, SCALE_M)
    (found,) = find_level_ground(bench, 5.0)
    half_m = 90.0 + 10.0 * 5.0 / np.degrees(np.arctan(flank / 2))
    west, _, east, _ = found.area.bounds
    assert (west - CENTRE[0], east - CENTRE[0]) == pytest.approx((-half_m, half_m), abs=0.5)
    assert found.area.area == pytest.approx(
        2 * half_m * 1000.0, rel=0.03
    )  # the outermost posts have no slope
    assert found.kind == "shelf"
    assert found.falling_share == pytest.approx(0.5, abs=0.1)
    assert found.height_mean_m == pytest.approx(0.0, abs=1e-9)
    assert found.slope_mean_deg == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize(("sign", "kind", "falling"), [(1.0, "flat_top", 1.0), (-1.0, "floor", 0.0)])
def test_a_cone_cut_off_is_a_flat_top_and_upside_down_a_floor(sign: float, kind: str, falling: float) -> None:
    cut = as_it_is(lambda x, y: 300.0 - sign * 0.4 * np.maximum(np.hypot(x, y) - 150.0, 0.0), GRID, SCALE_M)
    (found,) = find_level_ground(cut, 5.0)
    assert (found.kind, found.falling_share) == (kind, falling)
    assert found.area.area == pytest.approx(np.pi * 150.0**2, rel=0.08)  # to half a post
    assert found.height_mean_m == pytest.approx(300.0, abs=0.1)


def test_level_ground_is_half_a_scale_wide_at_least() -> None:
    """A top of 40 m radius holds 5,000 m2: too little at 200 m, where half a scale squared is 10,000 m2."""

    def tops(scale_m: float) -> list[object]:
        ground = as_it_is(lambda x, y: -0.4 * np.maximum(np.hypot(x, y) - 40.0, 0.0), GRID, scale_m)
        return [*find_level_ground(ground, 5.0)]

    assert tops(200.0) == []
    assert len(tops(100.0)) == 1


# Steep ground


def test_the_flank_of_a_cone_cut_off_is_a_ring_of_steep_ground() -> None:
    """Falls by 0.4 (21.8 degrees) from 150 to 350 m out: 80 m. Horn reaches a post over each bend."""
    cut = as_it_is(lambda x, y: 300.0 - 0.4 * np.clip(np.hypot(x, y) - 150.0, 0.0, 200.0), GRID, SCALE_M)
    (found,) = find_steep_ground(cut, (20.0, 30.0))
    assert (found.slope_from_deg, found.slope_to_deg) == (20.0, 30.0)
    assert len(found.area.interiors) == 1
    assert found.area.area == pytest.approx(np.pi * (340.0**2 - 160.0**2), rel=0.02)
    assert (found.height_min_m, found.height_max_m) == pytest.approx((220.0, 300.0), abs=5.0)
    assert find_steep_ground(cut, (30.0, 40.0)) == []


@pytest.mark.parametrize("faces_deg", [0.0, 60.0, 135.0, 270.0])
def test_a_plane_faces_where_it_falls_and_lies_in_one_band(faces_deg: float) -> None:
    """tan 35 degrees: of bands from 20, 30 and 40 degrees the one from 30."""
    east, north = np.sin(np.radians(faces_deg)), np.cos(np.radians(faces_deg))
    fall = np.tan(np.radians(35.0))
    plane = as_it_is(lambda x, y: 900.0 - fall * (x * east + y * north), GRID, SCALE_M)
    (found,) = find_steep_ground(plane, (20.0, 30.0, 40.0))
    assert (found.slope_from_deg, found.slope_to_deg) == (30.0, 40.0)
    assert (found.faces_grid_deg - faces_deg + 180.0) % 360.0 == pytest.approx(180.0, abs=0.01)
    (last,) = find_steep_ground(plane, (20.0, 30.0))
    assert last.slope_to_deg is None


# Hollows


def flooded(worked: Worked) -> list[Hollow]:
    grid = worked.grid
    return find_hollows(worked, drain(worked.height_m, grid.spacing_x_m, grid.spacing_y_m).filled_m)


def pitted(depth_m: float, radius_m: float = 100.0, scale_m: float = SCALE_M) -> Worked:
    """A plane rising east by 0.05 with a conical pit about the centre."""

    def formula(x: Floats, y: Floats) -> Floats:
        return 0.05 * x + depth_m * np.minimum(np.hypot(x, y) / radius_m - 1.0, 0.0)

    return as_it_is(formula, GRID, scale_m)


def test_a_conical_pit_in_a_plane_fills_to_an_ellipse() -> None:
    """Water stands to the pit's western rim, 5 m below the plane at the centre, and 30 m is the pit's depth.

    So it covers 0.05 x + 0.3 r < 25: a conic about its focus, semi-latus rectum 25 / 0.3 m, eccentricity 1/6.
    """
    (found,) = flooded(pitted(30.0))
    assert (found.floor_height_m, found.rim_height_m) == pytest.approx((-30.0, -5.0), abs=1e-3)
    latus_m, round_share = 25.0 / 0.3, 1.0 - 1.0 / 36.0
    assert found.area.area == pytest.approx(np.pi * latus_m**2 / round_share**1.5, rel=0.03)
    middle_m = found.area.centroid.x - CENTRE[0]  # the focus is the pit's middle
    assert middle_m == pytest.approx(-latus_m / round_share / 6.0, abs=2.0)


def test_too_shallow_too_small_and_too_large_pits_and_slopes_are_no_hollows() -> None:
    assert flooded(pitted(6.5)) == []  # 6.5 - 5 m: less than a hundredth of the scale, 2 m
    assert len(flooded(pitted(7.5))) == 1
    assert (
        flooded(pitted(30.0, radius_m=25.0)) == []
    )  # at most 1,963 m2: a quarter of the scale squared is 2,500
    assert flooded(pitted(90.0, radius_m=400.0, scale_m=100.0)) == []  # more than three scales squared
    assert flooded(as_it_is(lambda x, y: 0.05 * x, GRID, SCALE_M)) == []


# Breaks of slope


def bent(upper: float, lower: float) -> Worked:
    """Falls east, by ``upper`` west of the centre and by ``lower`` east of it."""
    return as_it_is(lambda x, y: -np.where(x < 0, upper * x, lower * x), GRID, SCALE_M)


@pytest.mark.parametrize(("upper", "lower", "kind"), [(0.1, 0.6, "convex_edge"), (0.6, 0.1, "concave_foot")])
def test_a_bend_between_two_planes_is_a_break_with_their_slopes(
    upper: float, lower: float, kind: str
) -> None:
    (found,) = find_breaks(bent(upper, lower), 8.0)
    assert found.kind == kind
    assert (found.above_deg, found.below_deg) == pytest.approx(
        (np.degrees(np.arctan(upper)), np.degrees(np.arctan(lower))), abs=0.2
    )
    east, north = from_centre(found.places).T
    assert np.abs(east).max() < 5.0
    assert np.ptp(north) > 900.0


def test_planes_slight_bends_ridges_and_valleys_are_no_breaks() -> None:
    assert find_breaks(bent(0.3, 0.3), 8.0) == []
    slight = bent(0.3, 0.4)  # 16.7 and 21.8 degrees: a change of 5.1
    assert find_breaks(slight, 5.5) == []
    assert len(find_breaks(slight, 4.5)) == 1
    for sign in (1.0, -1.0):
        roof = as_it_is(lambda x, y, s=sign: -s * 0.5 * np.abs(x) - 0.05 * y, GRID, SCALE_M)
        assert find_breaks(roof, 8.0) == []
