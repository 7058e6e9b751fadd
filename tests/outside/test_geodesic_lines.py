"""Bearings and distances against published geodesics: GeographicLib, Vincenty 1975, the GDA Technical Manual.

Sources, licences and tolerances: data/README.md. The lines go through plane coordinates (Mercator on each
line's ellipsoid), as every bearing of the package does.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from pyproj import CRS
from pyproj import Transformer as PlainTransformer

from hillsight.ground.geodesy import Geodesy
from hillsight.words.angles import wrap_deg

with (Path(__file__).parent / "data" / "geodesic_cases.csv").open(newline="") as stream:
    CASES = list(csv.DictReader(stream))


def tolerances(source: str) -> tuple[float, float]:
    """Degrees and metres."""
    if source.startswith("GeographicLib"):
        return 1e-12, 2e-8
    if "line (d)" in source:
        return 2e-3 / 3600, 1e-3
    if source.startswith("Vincenty"):
        return 1.2e-5 / 3600, 1e-3
    return 0.005 / 3600, 5e-4


def angle_between(a_deg: float, b_deg: float) -> float:
    return abs(float(wrap_deg(a_deg - b_deg + 180.0)) - 180.0)


def test_every_published_line_is_here() -> None:
    assert len(CASES) == 26


@pytest.mark.parametrize("case", CASES, ids=[f"{i:02d}-{c['source'][:24]}" for i, c in enumerate(CASES)])
def test_line(case: dict[str, str]) -> None:
    crs = CRS(f"+proj=merc +a={case['a_m']} +rf={case['inv_f']} +units=m +no_defs")
    geodesy = Geodesy(crs)
    to_plane = PlainTransformer.from_crs(crs.geodetic_crs, crs, always_xy=True)
    lon1, lat1, lon2, lat2 = (float(case[k]) for k in ("lon1_deg", "lat1_deg", "lon2_deg", "lat2_deg"))
    lon2 = (lon2 + 180.0) % 360.0 - 180.0
    here, there = to_plane.transform(lon1, lat1), to_plane.transform(lon2, lat2)
    degrees, metres = tolerances(case["source"])

    bearing, distance = geodesy.inverse(*here, *there)
    assert float(distance) == pytest.approx(float(case["s12_m"]), abs=metres)
    assert angle_between(float(bearing), float(case["azi1_deg"])) < degrees

    back, distance_back = geodesy.inverse(*there, *here)
    assert float(distance_back) == pytest.approx(float(case["s12_m"]), abs=metres)
    onward = (
        0.0 if "Flinders" in case["source"] else 180.0
    )  # that row prints the azimuth back, the others onward
    assert angle_between(float(back), float(case["azi2_deg"]) + onward) < degrees

    east, north = geodesy.forward(*here, float(case["azi1_deg"]), float(case["s12_m"]))
    longitude, latitude = geodesy.longitude_latitude(east, north)
    on_ground = 111_320.0  # metres in a degree, near enough for a tolerance
    # An azimuth printed to so many digits throws the far end sideways by that times the distance.
    slack_m = metres + np.radians(degrees) * float(case["s12_m"])
    assert abs(float(latitude) - lat2) * on_ground < slack_m
    assert angle_between(float(longitude), lon2) * on_ground * np.cos(np.radians(lat2)) < slack_m
