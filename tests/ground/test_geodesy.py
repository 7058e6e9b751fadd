"""Geodesy of one projected system: round trips, wraps, grid north, odd reference systems."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS, Proj

from hillsight.errors import CallError, HillsightError
from hillsight.ground.geodesy import (
    Geodesy,
    drop_coefficient_per_m,
    grid_bearing_deg,
)
from hillsight.ground.metric import scale_error
from hillsight.words.angles import wrap_deg

BRITISH = Geodesy(CRS("EPSG:27700"))
UTM_NORTH = Geodesy(CRS("EPSG:32630"))
UTM_SOUTH = Geodesy(CRS("EPSG:32755"))
PLACES = {"british": (BRITISH, 300_000.0, 500_000.0), "north": (UTM_NORTH, 350_000.0, 6_200_000.0)}
PLACES["south"] = (UTM_SOUTH, 600_000.0, 5_600_000.0)

geodesies = st.sampled_from(sorted(PLACES))
offsets_m = st.floats(-100_000, 100_000)


def scale_at(geodesy: Geodesy, easting_m: float, northing_m: float) -> float:
    """Plane distance over ground distance, of the worst direction."""
    return 1.0 + float(scale_error(geodesy.crs, np.array([easting_m]), np.array([northing_m]))[0])


def turn(a_deg: float, b_deg: float) -> float:
    return abs(float(wrap_deg(a_deg - b_deg + 180.0)) - 180.0)


@given(st.floats(-1e6, 1e6))
def test_wrap_stays_in_range_and_keeps_the_direction(angle_deg: float) -> None:
    wrapped = float(wrap_deg(angle_deg))
    assert 0.0 <= wrapped < 360.0
    assert np.cos(np.radians(wrapped)) == pytest.approx(np.cos(np.radians(angle_deg)), abs=1e-8)
    assert np.sin(np.radians(wrapped)) == pytest.approx(np.sin(np.radians(angle_deg)), abs=1e-8)


def test_grid_bearings_of_the_compass_points() -> None:
    found = grid_bearing_deg(100.0, 200.0, [100, 110, 110, 100, 90, 100], [210, 210, 200, 190, 200, 200])
    assert found.tolist() == [0.0, 45.0, 90.0, 180.0, 270.0, 0.0]


@given(geodesies, st.floats(0, 359.999), st.floats(1, 60_000))
def test_inverse_undoes_forward(where: str, bearing_deg: float, distance_m: float) -> None:
    geodesy, easting, northing = PLACES[where]
    there = geodesy.forward(easting, northing, bearing_deg, distance_m)
    back_deg, back_m = geodesy.inverse(easting, northing, *there)
    assert float(back_m) == pytest.approx(distance_m, abs=1e-4)  # the datum's plane has 1e-5 m of noise
    assert turn(float(back_deg), bearing_deg) < np.degrees(1e-4 / distance_m) + 1e-9


@given(geodesies, offsets_m, offsets_m, st.floats(0, 359.999), st.floats(50, 500))
def test_true_is_grid_plus_convergence_on_short_lines(
    where: str, east_m: float, north_m: float, bearing_deg: float, distance_m: float
) -> None:
    geodesy, easting, northing = PLACES[where]
    easting, northing = easting + east_m, northing + north_m
    there = geodesy.forward(easting, northing, bearing_deg, distance_m)
    grid = float(grid_bearing_deg(easting, northing, *there))
    assert turn(grid + float(geodesy.convergence_deg(easting, northing)), bearing_deg) < 0.001


@given(geodesies, offsets_m, offsets_m)
def test_convergence_agrees_with_proj(where: str, east_m: float, north_m: float) -> None:
    """PROJ's own meridian_convergence is found by differentiation in longitude and latitude."""
    geodesy, easting, northing = PLACES[where]
    easting, northing = easting + east_m, northing + north_m
    factors = Proj(geodesy.crs).get_factors(*geodesy.longitude_latitude(easting, northing))
    assert float(geodesy.convergence_deg(easting, northing)) == pytest.approx(
        factors.meridian_convergence, abs=1e-5
    )


@given(geodesies, offsets_m, offsets_m)
def test_scale_is_grid_over_ground(where: str, east_m: float, north_m: float) -> None:
    geodesy, easting, northing = PLACES[where]
    easting, northing = easting + east_m, northing + north_m
    _, ground_m = geodesy.inverse(easting - 50.0, northing, easting + 50.0, northing)
    assert scale_at(geodesy, easting, northing) == pytest.approx(100.0 / float(ground_m), abs=2e-7)


@pytest.mark.parametrize("code", ["EPSG:27572", "EPSG:31281"])  # Paris with grads; Ferro
@pytest.mark.parametrize("step_m", [-50_000.0, 50_000.0])
def test_other_prime_meridians(code: str, step_m: float) -> None:
    geodesy = Geodesy(CRS(code))
    easting, northing = {"EPSG:27572": (600_000.0, 2_200_000.0), "EPSG:31281": (0.0, 5_250_000.0)}[code]
    longitude, _ = geodesy.longitude_latitude(easting, northing)
    # The central meridians: Paris 2.5969213 grad east of Greenwich; Ferro 17 40 west, 28 degrees east of it.
    expected = {"EPSG:27572": 2.5969213 * 0.9, "EPSG:31281": 28.0 - 17.0 - 40.0 / 60.0}[code]
    assert float(longitude) == pytest.approx(expected, abs=1e-6)
    easting += step_m
    north = geodesy.forward(easting, northing, 0.0, 100.0)
    south = geodesy.forward(easting, northing, 180.0, 100.0)
    scale = np.hypot(north[0] - south[0], north[1] - south[1]) / 200.0
    assert scale_at(geodesy, easting, northing) == pytest.approx(float(scale), abs=1e-8)
    back_deg, back_m = geodesy.inverse(easting, northing, *geodesy.forward(easting, northing, 123.0, 4_000.0))
    assert (float(back_deg), float(back_m)) == pytest.approx((123.0, 4_000.0), abs=1e-6)
    towards_north = float(grid_bearing_deg(easting, northing, *north))
    assert turn(towards_north + float(geodesy.convergence_deg(easting, northing)), 0.0) < 0.001


def test_bearings_are_zero_where_places_coincide() -> None:
    bearing, distance = BRITISH.inverse(300_000.0, 500_000.0, [300_000.0, 300_000.0], [500_000.0, 501_000.0])
    assert bearing[0] == 0.0
    assert distance[0] == 0.0
    assert distance[1] > 990.0


def test_arrays_keep_their_shape() -> None:
    eastings, northings = np.meshgrid([300_000.0, 301_000.0, 302_000.0], [500_000.0, 501_000.0])
    assert BRITISH.convergence_deg(eastings, northings).shape == (2, 3)
    bearing, distance = BRITISH.inverse(299_000.0, 499_000.0, eastings, northings)
    assert bearing.shape == distance.shape == (2, 3)
    empty_bearing, empty_distance = BRITISH.inverse(299_000.0, 499_000.0, [], [])
    assert empty_bearing.shape == empty_distance.shape == (0,)


def test_gaussian_radius_between_the_principal_radii() -> None:
    """At the equator M = a (1 - e^2) and N = a, so sqrt(M N) = a sqrt(1 - e^2) = b for any ellipsoid."""
    crs = CRS("+proj=utm +zone=31 +ellps=WGS84 +units=m")
    assert Geodesy(crs).gaussian_radius_m(500_000.0, 0.0) == pytest.approx(6_356_752.3142, abs=0.01)
    poleward = Geodesy(CRS("EPSG:32661")).gaussian_radius_m(2_000_000.0, 2_000_000.0)
    assert poleward == pytest.approx(6_378_137.0**2 / 6_356_752.3142, abs=0.01)  # a^2 / b at the pole


def test_the_vertical_part_of_a_compound_system_is_left_aside() -> None:
    assert Geodesy(CRS("EPSG:27700+5701")).convergence_deg(651_409.9, 313_177.3) == pytest.approx(
        float(BRITISH.convergence_deg(651_409.9, 313_177.3))
    )


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("EPSG:4326", "not a projected"),
        ("EPSG:2227", "US survey foot"),
        ("EPSG:2048", "run west or south"),
    ],
)
def test_systems_that_would_mislead_are_refused(code: str, said: str) -> None:
    with pytest.raises(HillsightError, match=said):
        Geodesy(CRS(code))


@pytest.mark.parametrize("easting_m", [np.nan, np.inf, 1e38])
def test_absurd_positions_are_refused(easting_m: float) -> None:
    with pytest.raises(HillsightError, match="no place in"):
        BRITISH.longitude_latitude([300_000.0, easting_m], [500_000.0, 500_000.0])


def test_drop_switches_off_and_doubles() -> None:
    assert drop_coefficient_per_m(6_371_000.0, 1.0) == 0.0
    assert drop_coefficient_per_m(6_371_000.0, 0.0) == pytest.approx(7.848e-8, rel=1e-3)
    with pytest.raises(CallError, match="radius"):
        drop_coefficient_per_m(0.0, 0.13)
    with pytest.raises(CallError, match="refraction"):
        drop_coefficient_per_m(6_371_000.0, float("nan"))
