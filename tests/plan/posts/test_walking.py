"""Ways over made ground: straight ones no longer than they must be, barriers kept, paths taken."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from pyproj import CRS

from hillsight.errors import CallError
from hillsight.ground.grid import Grid, Surface
from hillsight.plan.posts.hill_pace import hill_rule_minutes, tobler_minutes
from hillsight.plan.posts.walking import Barriers, Walks, walking_minutes

EAST, NORTH, SPACING = 500_000.0, 6_250_000.0, 10.0
#: Tobler on level ground: 6 exp(-0.175) = 5.037 km/h; off paths 0.6 of it.
LEVEL_M_PER_MIN = 6000.0 * math.exp(-0.175) / 60.0
OPEN_M_PER_MIN = 0.6 * LEVEL_M_PER_MIN


def ground(height_m: np.ndarray, spacing_m: float = SPACING) -> Surface:
    grid = Grid(CRS("EPSG:32630"), EAST, NORTH, spacing_m, spacing_m, *height_m.shape)
    return Surface(grid, height_m.astype(np.float32))


def flat(size: int = 121) -> Surface:
    return ground(np.zeros((size, size)))


def at(*places: tuple[float, float]) -> np.ndarray:
    """Metres east and south of the north-west corner, as map positions."""
    return np.array([(EAST + east, NORTH - south) for east, south in places])


def line(*places: tuple[float, float]) -> shapely.LineString:
    return shapely.LineString(at(*places))


def box(west: float, north: float, east: float, south: float) -> shapely.Geometry:
    return shapely.box(EAST + west, NORTH - south, EAST + east, NORTH - north)


def test_sixteen_legs_lengthen_a_way_by_2_8_per_cent_at_most() -> None:
    """Closed form: 1 / cos(half the widest angle between legs): 26.57 degrees for sixteen, 45 for eight."""
    sixteen, eight = (1 / math.cos(math.radians(widest) / 2) for widest in (math.degrees(math.atan(0.5)), 45))
    assert sixteen == pytest.approx(1.0275, abs=5e-5)
    assert eight == pytest.approx(1.0824, abs=5e-5)
    everywhere = at(*((east, south) for east in range(0, 1201, 10) for south in range(0, 1201, 10)))
    found = walking_minutes(flat(), at((600, 600)), everywhere)
    straight_m = np.hypot(*(everywhere - at((600, 600))).T)
    away = straight_m > 0
    longer = found.minutes[away] * OPEN_M_PER_MIN / straight_m[away]
    assert longer.min() == pytest.approx(1.0, abs=1e-9)
    assert 1.027 < longer.max() <= sixteen + 1e-9


def test_up_takes_longer_than_down() -> None:
    # A slope of 10 degrees to the south: Tobler's table has 2.72 km/h up, 3.86 down.
    south_m = np.arange(121)[:, None] * SPACING * np.ones(121)
    slope = ground(1000.0 - south_m * math.tan(math.radians(10.0)))
    top, foot = at((600, 100)), at((600, 1100))
    down, up = walking_minutes(slope, top, foot), walking_minutes(slope, foot, top)
    assert 60.0 / down.minutes[0] == pytest.approx(0.6 * 3.86, abs=0.005)
    assert 60.0 / up.minutes[0] == pytest.approx(0.6 * 2.72, abs=0.005)
    walk = up.to(0)
    assert walk is not None
    assert walk.climb_m == pytest.approx(176.3, abs=0.1)
    assert walk.descent_m == pytest.approx(0.0, abs=1e-3)
    # Naismith: 12 minutes and 17.6; Langmuir takes 5.9 off the way down.
    assert walk.hill_rule_minutes == pytest.approx(12.0 + 17.63, abs=0.02)
    back = down.to(0)
    assert back is not None
    assert back.hill_rule_minutes == pytest.approx(12.0 - 5.88, abs=0.02)


def test_steep_ground_is_climbed_in_zigzags() -> None:
    # Up 35 degrees Tobler makes 0.43 km/h: it is quicker at a slant, but never quicker than the steepest
    # gain of height there is, at a slope of 1 / 3.5 (closed form).
    slope = ground(np.arange(121)[::-1, None] * SPACING * math.tan(math.radians(35.0)) * np.ones(121))
    found = walking_minutes(slope, at((600, 1000)), at((600, 400)))
    height_m = 600 * math.tan(math.radians(35.0))
    best_m_per_min = OPEN_M_PER_MIN * math.exp(0.175) / 3.5 * math.exp(-3.5 * (1 / 3.5 + 0.05))
    straight = float(tobler_minutes(600.0, height_m, False))
    assert height_m / best_m_per_min <= found.minutes[0] < 0.75 * straight


def test_crags_are_gone_round_and_paths_lead_up_them() -> None:
    # A face of 53 degrees and 80 m across the ground, with a gentle ramp about its western end.
    south_m = np.arange(121)[:, None] * SPACING
    heights = np.clip((660.0 - south_m) / 60.0, 0.0, 1.0) * 80.0 * np.ones(121)
    heights[:, :10] = np.clip(1 - south_m / 900.0, 0.0, 1.0) * 80.0
    face = ground(heights)
    ends = at((900, 900)), at((900, 300))
    round_ = walking_minutes(face, *ends).to(0)
    assert round_ is not None
    assert round_.distance_m > 1600.0
    assert round_.easting_m.min() < EAST + 100
    # A path that slants up the face: 240, 603 and 671 m.
    slant = walking_minutes(face, *ends, [line((900, 900), (900, 660), (300, 600), (900, 300))]).to(0)
    assert slant is not None
    assert slant.path_m == pytest.approx(240 + math.hypot(600, 60) + math.hypot(600, 300), abs=1.0)
    assert slant.climb_m == pytest.approx(80.0, abs=0.01)
    assert slant.minutes < round_.minutes


def wet(*places: tuple[float, float], width: float) -> Barriers:
    return Barriers(water=(line(*places).buffer(width, cap_style="square"),))


@pytest.mark.parametrize("width", [1.0, 14.0])
@pytest.mark.parametrize("far", [(1200.0, 1200.0), (1200.0, 700.0), (700.0, 1200.0), (1200.0, 610.0)])
def test_no_leg_slips_through_thin_water(width: float, far: tuple[float, float]) -> None:
    """A lake from corner to corner, at several slants, even if it is much narrower than a leg."""
    middle = np.array([600.0, 600.0])
    water = wet(tuple(2 * middle - far), far, width=width)
    if far != (1200.0, 1200.0):
        ends_open = wet((600 - 3 * (far[0] - 600), 600 - 3 * (far[1] - 600)), far, width=width)
        water = Barriers(water=(*water.water, *ends_open.water))
    across = at((900, 300), (300, 900))
    found = walking_minutes(flat(), across[:1], across[1:], barriers=water)
    assert found.access[0] == -1
    assert math.isinf(found.minutes[0])
    assert found.to(0) is None


def test_a_bridge_is_crossed_and_a_barred_one_is_not() -> None:
    water = wet((-50, 600), (1250, 600), width=30.0)
    bridge = [line((800, 500), (800, 700))]
    ends = at((300, 300)), at((300, 900))
    walk = walking_minutes(flat(), *ends, bridge, water).to(0)
    assert walk is not None
    assert abs(walk.easting_m - (EAST + 800)).min() < 0.01
    shut = Barriers(water=water.water, no_go=(box(780, 590, 820, 610),))
    assert walking_minutes(flat(), *ends, bridge, shut).to(0) is None


def test_a_path_is_worth_a_detour_and_is_walked_along_its_own_line() -> None:
    # Round a bend of 300 m radius: 942 m of path against 600 m of heather: 11.2 minutes against 11.9.
    angles = np.linspace(math.pi, 0, 200)
    bend = line(*zip(600 + 300 * np.cos(angles), 600 + 300 * np.sin(angles), strict=True))
    found = walking_minutes(flat(), at((300, 600)), at((900, 600)), [bend])
    walk = found.to(0)
    assert walk is not None
    assert walk.minutes == pytest.approx(math.pi * 300 / LEVEL_M_PER_MIN, rel=2e-3)
    assert walk.path_m == pytest.approx(math.pi * 300, rel=2e-3)
    assert walk.distance_m == pytest.approx(walk.path_m, abs=1.0)


def test_one_may_change_where_paths_cross() -> None:
    cross = [line((100, 600), (1100, 600)), line((600, 100), (600, 1100))]
    walk = walking_minutes(flat(), at((100, 600)), at((600, 1100)), cross).to(0)
    assert walk is not None
    assert walk.path_m == pytest.approx(1000.0)


def test_the_nearest_access_in_time_counts_and_the_way_adds_up() -> None:
    rng = np.random.default_rng(3)
    rough = ground(np.cumsum(np.cumsum(rng.normal(0, 0.4, (121, 121)), 0), 1) / 8)
    access = at((50, 50), (1150, 1100))
    places = at((100, 200), (1000, 1000), (640, 580))
    both = walking_minutes(rough, access, places)
    single = [walking_minutes(rough, access[k : k + 1], places).minutes for k in range(2)]
    assert np.allclose(both.minutes, np.minimum(*single))
    assert list(both.access[:2]) == [0, 1]
    for place in range(3):
        walk = both.to(place)
        assert walk is not None
        assert (walk.easting_m[-1], walk.northing_m[-1]) == pytest.approx(tuple(places[place]))
        assert (walk.easting_m[0], walk.northing_m[0]) == pytest.approx(tuple(access[walk.access]))
        assert walk.minutes == pytest.approx(_minutes_along(rough, walk.easting_m, walk.northing_m)[0])
        assert walk.hill_rule_minutes == pytest.approx(
            _minutes_along(rough, walk.easting_m, walk.northing_m)[1]
        )


def _minutes_along(surface: Surface, easting_m: np.ndarray, northing_m: np.ndarray) -> tuple[float, float]:
    heights_m = surface.heights_at_m(easting_m, northing_m)
    length_m, rise_m = np.hypot(np.diff(easting_m), np.diff(northing_m)), np.diff(heights_m)
    length_m, rise_m = length_m[length_m > 0], rise_m[length_m > 0]
    return float(tobler_minutes(length_m, rise_m, False).sum()), float(
        hill_rule_minutes(length_m, rise_m).sum()
    )


def test_fine_ground_is_thinned_to_strides() -> None:
    fine = ground(np.zeros((400, 400)), 1.0)
    found = walking_minutes(fine, at((50, 50)), at((350, 250)))
    assert found.spacing_m == 5.0
    assert found.minutes[0] * OPEN_M_PER_MIN == pytest.approx(math.hypot(300, 200), rel=0.028)


def test_voids_are_not_walked_and_places_off_the_ground_not_reached() -> None:
    heights = np.zeros((121, 121))
    heights[60, :] = np.nan
    found: Walks = walking_minutes(ground(heights), at((600, 300)), at((600, 900), (600, 400), (600, -400)))
    assert list(found.access) == [-1, 0, -1]


def test_access_must_be_known_and_on_the_ground() -> None:
    with pytest.raises(CallError, match="where marshals start"):
        walking_minutes(flat(), np.empty((0, 2)), at((600, 600)))
    with pytest.raises(CallError, match="off the terrain"):
        walking_minutes(flat(), at((600, 600), (-5, 10)), at((600, 600)))
