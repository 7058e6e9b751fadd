"""Change of reference system: one operation for a run, never one that leaves out the datum."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from hillsight.errors import HillsightError
from hillsight.ground.crs import horizontal_crs
from hillsight.ground.transform import operation_between, tears

WGS84, BRITISH, UTM30 = CRS("EPSG:4326"), CRS("EPSG:27700"), CRS("EPSG:32630")
NEAR = (-5.0, 56.8)
TO_BRITISH, TO_WGS84 = operation_between(WGS84, BRITISH, NEAR), operation_between(BRITISH, WGS84, NEAR)
SUMMIT_M = (216_671.0, 771_281.0)


def test_operation_with_its_accuracy() -> None:
    x, y = TO_BRITISH([-5.0, -4.9], [56.8, 56.9])
    assert x.shape == y.shape == (2,)
    assert TO_BRITISH.accuracy_m is not None
    assert "British National Grid" in TO_BRITISH.name
    if TO_BRITISH.best_available:  # a machine with the grid
        assert TO_BRITISH.accuracy_m <= 1.0
    else:
        assert TO_BRITISH.accuracy_m == 2.0
        assert any("OSTN15" in grid for grid in TO_BRITISH.missing_grids)
        assert "good to about 2 m; a better way needs a grid that is not installed" in TO_BRITISH.note
    assert set(TO_BRITISH.record()) == {"name", "accuracy_m", "best_available", "missing_grids"}


@pytest.mark.parametrize("code", [25830, 3035, 2157])
def test_where_only_a_ballpark_way_is_straight_it_goes_by_way_of_wgs_84(code: int) -> None:
    """PROJ's first candidate from the British grid to these leaves out the datum: 76 m off at the summit."""
    target = CRS(code)
    straight = operation_between(BRITISH, target, NEAR)
    assert "ballpark" not in straight.name.lower()
    assert straight.accuracy_m is not None and 0 < straight.accuracy_m <= 3.0
    there = straight(*SUMMIT_M)
    round_about = operation_between(WGS84, target, NEAR)(*TO_WGS84(*SUMMIT_M))
    assert np.hypot(there[0] - round_about[0], there[1] - round_about[1])[0] < 0.01


@pytest.mark.parametrize("code", [4326, 32630, 25830, 3035, 23030, 4258])
def test_there_and_back_is_one_way_from_either_side(code: int) -> None:
    there, back = operation_between(BRITISH, CRS(code), NEAR), operation_between(CRS(code), BRITISH, NEAR)
    assert there.accuracy_m == back.accuracy_m
    for again in (back(*there(*SUMMIT_M)), there.backward(*there(*SUMMIT_M))):
        assert np.hypot(again[0] - SUMMIT_M[0], again[1] - SUMMIT_M[1])[0] < 0.005


def test_same_datum_is_exact() -> None:
    change = operation_between(WGS84, UTM30, NEAR)
    assert (change.accuracy_m, change.best_available, change.missing_grids) == (0.0, True, ())
    assert change.note == ""
    own = CRS("+proj=utm +zone=30 +ellps=airy"), CRS("+proj=tmerc +lon_0=-3 +ellps=airy")
    exact = operation_between(*own, NEAR)  # a datum that PROJ knows nothing of, but the same
    assert exact.accuracy_m == 0.0
    assert np.isfinite(exact(500_000.0, 6_000_000.0)).all()


def test_same_system_changes_nothing() -> None:
    change = operation_between(BRITISH, CRS("EPSG:27700+5701"), NEAR)
    x, y = change([216_671.25], [771_281.75])
    assert (x[0], y[0]) == (216_671.25, 771_281.75)
    assert change.accuracy_m == 0.0
    assert change.name.startswith("none")


def test_the_datum_shift_holds_beyond_the_area_it_is_meant_for() -> None:
    """East of 1.92 E PROJ would drop the shift of the British datum: a jump of 140 m between neighbours."""
    x, y = operation_between(WGS84, BRITISH, (1.9, 51.0))([1.919, 1.921], [51.0, 51.0])
    assert np.hypot(x[1] - x[0], y[1] - y[0]) == pytest.approx(140.6, abs=0.5)  # 0.002 degrees at 51 N
    outside = operation_between(WGS84, BRITISH, (5.0, 51.0))
    assert outside.outside
    assert "the work lies outside the area this is meant for" in outside.note
    assert np.hypot(*(a - b for a, b in zip(outside(1.921, 51.0), (x[1], y[1]), strict=True)))[0] < 20.0


def test_a_way_that_leaves_out_the_datum_is_refused() -> None:
    for other in ("+proj=utm +zone=30 +ellps=airy +units=m", "+proj=utm +zone=30 +ellps=WGS84"):
        with pytest.raises(HillsightError, match="hundreds of metres") as caught:
            operation_between(WGS84, CRS(other), NEAR)
        assert "State the right system by its code" in caught.value.remedy


def test_a_stated_shift_to_wgs_84_is_a_way() -> None:
    shifted = CRS(
        "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 +y_0=-100000 +ellps=airy "
        "+towgs84=446.448,-125.157,542.06,0.15,0.247,0.842,-20.489 +units=m"
    )
    x, y = operation_between(WGS84, shifted, NEAR)(-5.0, 56.8)
    there = TO_BRITISH(-5.0, 56.8)
    assert np.hypot(x - there[0], y - there[1])[0] < 3.0


def test_it_crosses_into_another_process() -> None:
    again = pickle.loads(pickle.dumps(TO_BRITISH))
    assert again == TO_BRITISH
    assert [v[0] for v in again(-5.0, 56.8)] == [v[0] for v in TO_BRITISH(-5.0, 56.8)]


def test_longitude_comes_first_whatever_the_authority_says() -> None:
    """WGS 84 / UTM 30N, central meridian 3 W: easting 500 000 there."""
    x, y = operation_between(WGS84, UTM30, NEAR)(-3.0, 0.0)
    assert (float(x[0]), float(y[0])) == pytest.approx((500_000.0, 0.0), abs=1e-6)
    new_zealand = CRS("EPSG:2193")  # axes northing, easting
    x, y = operation_between(new_zealand, WGS84, (173.0, -41.5))(1_600_000.0, 5_400_000.0)
    assert (float(x[0]), float(y[0])) == pytest.approx((173.0, -41.5), abs=0.2)


@given(st.floats(-8.0, 2.0), st.floats(49.0, 61.0))
def test_there_and_back(longitude: float, latitude: float) -> None:
    back = TO_WGS84(*TO_BRITISH(longitude, latitude))
    assert float(back[0][0]) == pytest.approx(longitude, abs=1e-6)
    assert float(back[1][0]) == pytest.approx(latitude, abs=1e-6)


def test_metres_said_to_be_degrees_are_refused() -> None:
    with pytest.raises(HillsightError, match="no longitude and latitude"):
        TO_BRITISH(216_671.0, 771_281.0)
    with pytest.raises(HillsightError, match="no longitude and latitude"):
        TO_BRITISH(-3.0, 97.0)


def test_points_without_an_image_are_refused_or_inf() -> None:
    change = operation_between(WGS84, UTM30, NEAR)
    with pytest.raises(HillsightError, match=r"1 of 2 points .* have no place"):
        change([-3.0, 87.0], [54.0, 0.0])
    x, y = change.attempt([-3.0, 87.0], [54.0, 0.0])
    assert np.isfinite([x[0], y[0]]).all()
    assert np.isinf([x[1], y[1]]).all()


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_coordinates_that_are_no_numbers_are_refused(bad: float) -> None:
    for change in (operation_between(WGS84, UTM30, NEAR), operation_between(UTM30, UTM30, NEAR)):
        with pytest.raises(HillsightError, match="not finite"):
            change([0.0, bad], [1.0, 1.0])


def test_no_points_are_no_trouble() -> None:
    x, y = operation_between(WGS84, UTM30, NEAR)([], [])
    assert x.size == y.size == 0


def test_horizontal_part() -> None:
    assert horizontal_crs(CRS("EPSG:27700+5701")) == BRITISH
    assert horizontal_crs(CRS("EPSG:4979")).to_epsg() == 4326
    assert horizontal_crs(CRS("EPSG:5041")).to_epsg() == 5041  # both axes run south, from the pole
    for code, what in ((2053, "run west or south"), (5513, "run west or south"), (4978, "neither")):
        with pytest.raises(HillsightError, match=what):
            horizontal_crs(CRS(code), "a file")


def test_a_line_over_the_180th_meridian_is_torn_in_degrees_and_whole_on_its_grid() -> None:
    fiji, near = CRS("EPSG:3460"), (179.0, -17.5)
    to_fiji = operation_between(WGS84, fiji, near)
    x, y = to_fiji([179.5, 179.9, 180.3, 180.7], [-17.0, -17.1, -17.0, -17.1])
    line = np.column_stack((x, y))
    assert tears(operation_between(fiji, WGS84, near), *line.T)
    assert not tears(operation_between(fiji, CRS("EPSG:32760"), near), *line.T)
    assert not tears(operation_between(fiji, WGS84, near), *line[:2].T)
    apart = np.array([0, 0, 1, 1])
    assert not tears(operation_between(fiji, WGS84, near), *line.T, apart), "two lines, one on either side"


def test_steps_of_uneven_length_are_no_tear() -> None:
    x = np.cumsum([0.0, 1.0, 5_000.0, 0.1, 30_000.0, 2.0, 2.0]) + 216_000.0
    assert not tears(TO_WGS84, x, 770_000.0 + 0.3 * (x - 216_000.0))
