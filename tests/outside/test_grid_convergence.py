"""Grid north, point scale and map positions against published worked examples.

Sources, licences and tolerances: data/README.md. Mind the sign: Australian manuals print grid = true + C.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from pyproj import CRS

from hillsight.ground.crs import from_own_degrees
from hillsight.ground.geodesy import Geodesy, grid_bearing_deg
from hillsight.ground.metric import scale_error

with (Path(__file__).parent / "data" / "grid_convergence.csv").open(newline="") as stream:
    CASES = list(csv.DictReader(stream))


def degrees(text: str) -> float:
    """Degrees of "-1 35 03.65" or "-1.2439811331 deg"; remarks in brackets are dropped."""
    parts = text.split("(")[0].replace("deg", "").split()
    value = sum(abs(float(part)) / 60**power for power, part in enumerate(parts))
    return -value if parts[0].startswith("-") else value


def expected_convergence(case: dict[str, str]) -> float:
    """Published convergence in this package's sign: true = grid + convergence."""
    australian = "Australian" in case["convergence_sign"]
    return degrees(case["convergence_source"]) * (-1.0 if australian else 1.0)


def test_every_published_point_is_here() -> None:
    assert len(CASES) == 8
    assert sum("Australian" in case["convergence_sign"] for case in CASES) == 4


@pytest.mark.parametrize("case", CASES, ids=[case["case"] for case in CASES])
def test_position(case: dict[str, str]) -> None:
    crs = CRS(case["crs_params"])
    longitude, latitude = (np.array([float(case[name])]) for name in ("lon_deg", "lat_deg"))
    easting, northing = from_own_degrees(crs, longitude, latitude)
    tolerance_m = float(case["position_tolerance_m"])
    assert float(easting[0]) == pytest.approx(float(case["E_m"]), abs=tolerance_m)
    assert float(northing[0]) == pytest.approx(float(case["N_m"]), abs=tolerance_m)
    longitude, latitude = Geodesy(crs).longitude_latitude(float(case["E_m"]), float(case["N_m"]))
    assert float(longitude) == pytest.approx(float(case["lon_deg"]), abs=tolerance_m / 60_000)
    assert float(latitude) == pytest.approx(float(case["lat_deg"]), abs=tolerance_m / 60_000)


WITH_CONVERGENCE = [case for case in CASES if case["convergence_source"]]


@pytest.mark.parametrize("case", WITH_CONVERGENCE, ids=[case["case"] for case in WITH_CONVERGENCE])
def test_convergence_and_scale(case: dict[str, str]) -> None:
    geodesy = Geodesy(CRS(case["crs_params"]))
    easting, northing = float(case["E_m"]), float(case["N_m"])
    convergence = float(geodesy.convergence_deg(easting, northing))
    assert convergence == pytest.approx(expected_convergence(case), abs=0.006 / 3600)
    error = scale_error(CRS(case["crs_params"]), np.array([easting]), np.array([northing]))
    assert 1.0 + float(error[0]) == pytest.approx(float(case["point_scale"]), abs=5e-9)


def test_flinders_peak_to_buninyong_on_the_grid() -> None:
    """GeodePy, test_vincinv_utm: plane distance 54 992.279 m, grid bearing of the geodesic 305 17 01.7259."""
    crs = CRS("+proj=utm +zone=55 +south +ellps=GRS80")
    longitudes, latitudes = [144.42486788888889, 143.92649552777777], [-37.95103341666667, -37.65282113888889]
    easting, northing = from_own_degrees(crs, np.array(longitudes), np.array(latitudes))
    plane_m = math.hypot(easting[1] - easting[0], northing[1] - northing[0])
    assert plane_m == pytest.approx(54_992.279, abs=0.001)
    geodesy = Geodesy(crs)
    true_bearing, _ = geodesy.inverse(easting[0], northing[0], easting[1], northing[1])
    grid_bearing = float(true_bearing) - float(geodesy.convergence_deg(easting[0], northing[0]))
    assert grid_bearing == pytest.approx(degrees("305 17 01.7259"), abs=0.005 / 3600)
    # The straight line on the map leaves at another angle than the geodesic: 305 17 21.185 by closed form.
    chord = float(grid_bearing_deg(easting[0], northing[0], easting[1], northing[1]))
    assert chord == pytest.approx(degrees("305 17 21.185"), abs=0.005 / 3600)
