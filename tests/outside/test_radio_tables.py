"""Radio over ground, against Recommendations ITU-R P.525 and P.526 and a validation profile of ITU-R.

Sources, licences and tolerances: data/README.md.
"""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.special import fresnel

from hillsight.sight.radio import (
    NO_LOSS,
    RadioPath,
    bullington_loss_db,
    edge_parameter,
    free_space_loss_db,
    fresnel_radius_m,
    knife_edge_loss_db,
    wavelength_m,
)
from hillsight.sight.smooth_earth import LAND, Soil, general_loss_db, smooth_ends_m, sphere_loss_db

DATA = Path(__file__).parent / "data"
#: Effective radius of the validation, and its frequency with light at 2.998e8 m/s.
RADIUS_M, VALIDATED_MHZ = 8_930_776.786, 95.3 * 299.792458 / 299.8


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(newline="") as stream:
        return list(csv.DictReader(stream))


def exact_loss_db(edge: float) -> float:
    """Loss at a sharp edge by the Fresnel integrals of scipy (P.526, section 2.7 and 4.1)."""
    sine, cosine = fresnel(edge)
    part = math.hypot(1 - cosine - sine, cosine - sine) / 2
    return -20 * math.log10(part)


@pytest.mark.parametrize(("distance_km", "loss_db"), [(1, 85.4), (5, 99.4), (10, 105.4)])
def test_free_space(distance_km: float, loss_db: float) -> None:
    """32.4 + 20 log MHz + 20 log km (P.525, from memory); 99.4 dB at 446 MHz and 5 km."""
    found = float(free_space_loss_db(distance_km * 1000, 446.0))
    assert found == pytest.approx(loss_db, abs=0.05)
    assert found == pytest.approx(32.4 + 20 * math.log10(446.0) + 20 * math.log10(distance_km), abs=0.06)


@pytest.mark.parametrize(
    ("frequency_mhz", "distance_km", "radius_m"),
    [
        *((446, 1, 12.96), (446, 2, 18.33), (446, 5, 28.99), (446, 10, 40.99)),
        *((160, 5, 48.40), (160, 10, 68.44), (868, 2, 13.14)),
    ],
)
def test_first_fresnel_zone_in_the_middle(frequency_mhz: float, distance_km: float, radius_m: float) -> None:
    """Closed form; P.526-8, section 2, has 550 sqrt(d1 d2 / (d1 + d2) f) in km and MHz, 0.45 % high."""
    half_m = distance_km * 500.0
    found = float(fresnel_radius_m(half_m, half_m, frequency_mhz))
    assert found == pytest.approx(radius_m, abs=0.005)
    half_km = half_m / 1000
    practical_m = 550 * math.sqrt(half_km * half_km / (2 * half_km * frequency_mhz))
    assert found == pytest.approx(practical_m, rel=0.005)


def test_a_point_on_the_zone_makes_the_way_half_a_wave_longer() -> None:
    """The definition (P.526-8, section 2.1, equation 1): AM + MB = AB + n wavelength / 2."""
    before_m, beyond_m, frequency_mhz = 1200.0, 3100.0, 446.0
    for zone in (1, 2, 3):
        radius_m = float(fresnel_radius_m(before_m, beyond_m, frequency_mhz, zone))
        longer_m = math.hypot(before_m, radius_m) + math.hypot(beyond_m, radius_m) - before_m - beyond_m
        assert longer_m == pytest.approx(zone * wavelength_m(frequency_mhz) / 2, rel=5e-4)


@pytest.mark.parametrize("row", rows("knife_edge.csv"), ids=lambda row: f"nu={row['v']}")
def test_knife_edge(row: dict[str, str]) -> None:
    edge, found = float(row["v"]), float(knife_edge_loss_db(float(row["v"])))
    if edge <= NO_LOSS:
        assert found == 0.0
        return
    assert exact_loss_db(edge) == pytest.approx(float(row["J_dB_exact_Fresnel"]), abs=1e-4)
    assert found == pytest.approx(float(row["J_dB_P526_approx_v_gt_-0.78"]), abs=5e-5)
    assert abs(found - exact_loss_db(edge)) < 0.13


def test_an_edge_that_just_fills_the_zone_has_a_parameter_of_root_two() -> None:
    radius_m = float(fresnel_radius_m(700.0, 1900.0, 446.0))
    assert float(edge_parameter(radius_m, 700.0, 1900.0, 446.0)) == pytest.approx(math.sqrt(2))
    # P.526 has nu = h sqrt(2 / wavelength (1 / d1 + 1 / d2)).
    other = 25.0 * math.sqrt(2 / wavelength_m(446.0) * (1 / 700 + 1 / 1900))
    assert float(edge_parameter(25.0, 700.0, 1900.0, 446.0)) == pytest.approx(other)


@pytest.mark.parametrize(("distance_km", "drop_m"), [(1, 0.059), (5, 1.472), (10, 5.886), (20, 23.544)])
def test_bulge_of_an_earth_of_four_thirds(distance_km: float, drop_m: float) -> None:
    """In the middle the bulge is a quarter of the drop at the far end; drops for 4/3 of 6 371 km."""
    length_m = distance_km * 1000.0
    path = RadioPath(
        np.array([length_m / 2]), np.zeros(1), length_m, 0.0, 0.0, 0.75 / (2 * 6_371_000.0), 0.0, 0.0
    )
    assert path.bulge_m[0] == pytest.approx(drop_m / 4, abs=0.0002)
    assert path.above_line_m[0] == pytest.approx(drop_m / 4, abs=0.0002)


def validation_path() -> RadioPath:
    profile = [{key: float(value) for key, value in row.items()} for row in rows("radio_profile_10km.csv")]
    along_m = np.array([row["distance_km"] * 1000 for row in profile])
    # Cover counts as ground, but for the ends, where the antennas stand on the ground itself.
    height_m = np.array([row["ground_m"] + row["cover_m"] for row in profile])
    return RadioPath(along_m[1:-1], height_m[1:-1], 10_000.0, 814.4, 257.3, 1 / (2 * RADIUS_M), 754.4, 250.3)


def test_bullington_on_a_validation_profile() -> None:
    """28.49553647 dB, printed by the Study Group's validation; it takes light as 2.998e8 m/s."""
    assert bullington_loss_db(validation_path(), VALIDATED_MHZ) == pytest.approx(28.49553647, abs=2e-8)


def test_bullington_of_one_edge_is_that_edge_and_the_allowance() -> None:
    """P.526, 4.5.1: L + (1 - exp(-L / 6)) (10 + 0.02 km)."""
    for height_m in (-12.0, 5.0, 60.0):
        path = RadioPath(np.array([1500.0]), np.array([height_m]), 4000.0, 0.0, 0.0, 0.0, -300.0, -300.0)
        edge = float(path.edges(446.0)[0])
        alone = float(knife_edge_loss_db(edge))
        assert alone > 0
        expected = alone + (1 - math.exp(-alone / 6)) * (10 + 0.02 * 4)
        assert bullington_loss_db(path, 446.0) == pytest.approx(expected)


def test_bullington_of_two_ridges_is_the_edge_where_their_grazing_rays_meet() -> None:
    # Two ridges 40 m high at 1 and 3 km of 4 km: the rays rise 40 m a kilometre and meet 80 m up at 2 km.
    path = RadioPath(
        np.array([1000.0, 3000.0]), np.array([40.0, 40.0]), 4000.0, 0.0, 0.0, 0.0, -300.0, -300.0
    )
    alone = float(knife_edge_loss_db(edge_parameter(80.0, 2000.0, 2000.0, 446.0)))
    assert bullington_loss_db(path, 446.0) == pytest.approx(alone + (1 - math.exp(-alone / 6)) * 10.08)
    # It is the same the other way, and a deep valley between costs nothing.
    deep = RadioPath(
        np.array([1000.0, 2000.0, 3000.0]),
        np.array([40.0, -200.0, 40.0]),
        4000.0,
        0.0,
        0.0,
        0.0,
        -300.0,
        -300.0,
    )
    assert bullington_loss_db(deep, 446.0) == pytest.approx(bullington_loss_db(path, 446.0))


def test_nothing_near_the_line_costs_nothing() -> None:
    path = RadioPath(np.linspace(50, 3950, 40), np.full(40, -300.0), 4000.0, 0.0, 0.0, 0.0, -300.0, -300.0)
    assert bullington_loss_db(path, 446.0) == 0.0
    assert bullington_loss_db(RadioPath(np.empty(0), np.empty(0), 5.0, 1.0, 1.0, 0.0, 0.0, 0.0), 446.0) == 0.0


def bare_path() -> RadioPath:
    """The same without its cover, as the smooth line is laid through the ground."""
    profile = rows("radio_profile_10km.csv")
    height_m = np.array([float(row["ground_m"]) for row in profile])[1:-1]
    return replace(validation_path(), height_m=height_m)


def test_smooth_line_through_the_validation_profile() -> None:
    """Printed there: 537.65013 and 206.91287 m, after the ends are lowered for the ridge between."""
    assert smooth_ends_m(bare_path()) == pytest.approx((537.65013, 206.91287), abs=6e-6)


def test_general_method_on_the_validation_profile() -> None:
    """There the sphere costs nothing more: 28.49553647 dB again; over 235.1 km it is 41.35859946 dB.

    That path is 0.9085495534 sea: the validation weighs the losses over sea and land by their shares.
    """
    assert general_loss_db(validation_path(), VALIDATED_MHZ) == pytest.approx(28.49553647, abs=2e-8)
    ends = 235_100.0, 734.4522796, 154.8142878, RADIUS_M, 95.3
    sea, land = (sphere_loss_db(*ends, soil=soil, upright=False) for soil in (Soil(80.0, 5.0), LAND))
    share = 0.9085495534
    assert share * sea + (1 - share) * land == pytest.approx(41.35859946, abs=1e-6)


@pytest.mark.parametrize("distance_m", [500.0, 1000.0, 2000.0, 4000.0])
def test_low_antennas_over_level_ground_lose_about_what_a_plane_earth_costs(distance_m: float) -> None:
    """Textbooks: 40 log d - 20 log h1 h2 between low antennas over a plane, whatever the frequency.

    From memory. The general method comes within 8 dB of it at 446 MHz, free space is 20 dB and more off.
    """
    antenna_m = 1.5
    along_m = np.arange(10.0, distance_m, 10.0)
    path = RadioPath(
        along_m, np.zeros(along_m.size), distance_m, antenna_m, antenna_m, 0.75 / 1.2742e7, 0.0, 0.0
    )
    plane_db = 40 * math.log10(distance_m) - 20 * math.log10(antenna_m**2)
    free_db = float(free_space_loss_db(distance_m, 446.0))
    found = free_db + general_loss_db(path, 446.0)
    assert found == pytest.approx(plane_db, abs=8.0)
    assert plane_db - free_db > 20


def test_high_antennas_in_sight_lose_nothing_to_the_sphere() -> None:
    assert sphere_loss_db(6000.0, 60.0, 60.0, 8_495_000.0, 446.0) == 0.0
    # Rays that bend as the Earth does have no sphere to get round.
    assert sphere_loss_db(6000.0, 60.0, 60.0, math.inf, 446.0) == 0.0


def test_the_sphere_costs_the_same_both_ways_and_more_the_farther() -> None:
    losses = [sphere_loss_db(d, 3.0, 1.5, 8_495_000.0, 446.0) for d in (500, 1000, 3000, 9000, 15000, 30000)]
    back = [sphere_loss_db(d, 1.5, 3.0, 8_495_000.0, 446.0) for d in (500, 1000, 3000, 9000, 15000, 30000)]
    assert losses == pytest.approx(back)
    assert losses == sorted(losses)
    assert losses[0] > 0
