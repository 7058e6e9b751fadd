"""Change of reference system: what was really used, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from hillsight.errors import HillsightError
from hillsight.ground.transform import horizontal_crs, transformer

WGS84, BRITISH, UTM30 = CRS("EPSG:4326"), CRS("EPSG:27700"), CRS("EPSG:32630")
TO_BRITISH, TO_WGS84 = transformer(WGS84, BRITISH), transformer(BRITISH, WGS84)


def test_operation_with_its_accuracy_after_use() -> None:
    change = transformer(WGS84, BRITISH)
    with pytest.raises(RuntimeError, match="after a point"):
        _ = change.operation
    x, y = change([-5.0, -4.9], [56.8, 56.9])
    assert x.shape == y.shape == (2,)
    operation = change.operation
    assert operation.accuracy_m is not None
    assert "British National Grid" in operation.name
    if operation.best_available:  # a machine with the grid
        assert operation.accuracy_m <= 1.0
    else:
        assert operation.accuracy_m == 2.0
        assert any("OSTN15" in grid for grid in operation.missing_grids)


def test_same_datum_is_exact() -> None:
    change = transformer(WGS84, UTM30)
    change(-3.0, 54.0)
    assert change.operation.accuracy_m == 0.0
    assert change.operation.best_available
    assert change.operation.missing_grids == ()


def test_same_system_changes_nothing() -> None:
    change = transformer(BRITISH, CRS("EPSG:27700+5701"))
    x, y = change([216_671.25], [771_281.75])
    assert (x[0], y[0]) == (216_671.25, 771_281.75)
    assert change.operation.accuracy_m == 0.0
    assert change.operation.name.startswith("none")


def test_the_datum_shift_holds_beyond_the_area_it_is_meant_for() -> None:
    """East of 1.92 E PROJ would drop the shift of the British datum: a jump of 140 m between neighbours."""
    change = transformer(WGS84, BRITISH)
    x, y = change([1.919, 1.921], [51.0, 51.0])
    assert np.hypot(x[1] - x[0], y[1] - y[0]) == pytest.approx(140.6, abs=0.5)  # 0.002 degrees at 51 N
    assert change.operation.caution == ""


def test_unknown_datum_shifts_are_said() -> None:
    change = transformer(WGS84, CRS("+proj=utm +zone=30 +ellps=airy +units=m"))
    change(-3.0, 54.0)
    assert change.operation.accuracy_m is None
    assert "hundreds of metres" in change.operation.caution


def test_longitude_comes_first_whatever_the_authority_says() -> None:
    """WGS 84 / UTM 30N, central meridian 3 W: easting 500 000 there."""
    x, y = transformer(WGS84, UTM30)(-3.0, 0.0)
    assert (float(x[0]), float(y[0])) == pytest.approx((500_000.0, 0.0), abs=1e-6)
    x, y = transformer(CRS("EPSG:2193"), WGS84)(1_600_000.0, 5_400_000.0)  # axes northing, easting
    assert (float(x[0]), float(y[0])) == pytest.approx((173.0, -41.5), abs=0.2)


@given(st.floats(-8.0, 2.0), st.floats(49.0, 61.0))
def test_there_and_back(longitude: float, latitude: float) -> None:
    back = TO_WGS84(*TO_BRITISH(longitude, latitude))
    assert float(back[0][0]) == pytest.approx(longitude, abs=1e-6)
    assert float(back[1][0]) == pytest.approx(latitude, abs=1e-6)


def test_metres_said_to_be_degrees_are_refused() -> None:
    with pytest.raises(HillsightError, match="no longitude and latitude"):
        transformer(WGS84, BRITISH)(216_671.0, 771_281.0)
    with pytest.raises(HillsightError, match="no longitude and latitude"):
        transformer(WGS84, BRITISH)(-3.0, 97.0)


def test_points_without_an_image_are_refused_or_inf() -> None:
    change = transformer(WGS84, UTM30)
    with pytest.raises(HillsightError, match=r"1 of 2 points .* have no place"):
        change([-3.0, 87.0], [54.0, 0.0])
    x, y = change.attempt([-3.0, 87.0], [54.0, 0.0])
    assert np.isfinite([x[0], y[0]]).all()
    assert np.isinf([x[1], y[1]]).all()


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_coordinates_that_are_no_numbers_are_refused(bad: float) -> None:
    for change in (transformer(WGS84, UTM30), transformer(UTM30, UTM30)):
        with pytest.raises(HillsightError, match="not finite"):
            change([0.0, bad], [1.0, 1.0])


def test_no_points_are_no_trouble() -> None:
    x, y = transformer(WGS84, UTM30)([], [])
    assert x.size == y.size == 0


def test_horizontal_part() -> None:
    assert horizontal_crs(CRS("EPSG:27700+5701")) == BRITISH
    assert horizontal_crs(CRS("EPSG:4979")).to_epsg() == 4326
