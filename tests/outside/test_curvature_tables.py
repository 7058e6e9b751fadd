"""The drop for curvature and refraction against levelling tables, horizon distances and dip tables.

Everything follows from one coefficient c: drop = c d^2, so the horizon of an eye h above a level sea lies at
sqrt(h / c) and dips by 2 c d. Sources, licences and tolerances: data/README.md.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from hillsight.ground.geodesy import drop_coefficient_per_m

MEAN_RADIUS_M = 6_371_000.0
FOOT_M, NAUTICAL_MILE_M, MILE_M = 0.3048, 1852.0, 1609.344


def rows(name: str) -> list[dict[str, str]]:
    with (Path(__file__).parent / "data" / name).open(newline="") as stream:
        return list(csv.DictReader(stream))


def horizon_m(height_m: float, refraction: float, radius_m: float = MEAN_RADIUS_M) -> float:
    return math.sqrt(height_m / drop_coefficient_per_m(radius_m, refraction))


def dip_arcmin(height_m: float, refraction: float) -> float:
    slope = 2 * drop_coefficient_per_m(MEAN_RADIUS_M, refraction) * horizon_m(height_m, refraction)
    return math.degrees(slope) * 60


@pytest.mark.parametrize(
    "row", rows("curvature_drop.csv"), ids=lambda r: f"{r['quantity']}-{r['distance_km']}km"
)
def test_drop(row: dict[str, str]) -> None:
    distance_m, refraction = float(row["distance_km"]) * 1000.0, float(row["refraction"])
    drop_m = drop_coefficient_per_m(MEAN_RADIUS_M, refraction) * distance_m**2
    if row["quantity"] == "refraction":  # the part that refraction takes off
        drop_m = drop_coefficient_per_m(MEAN_RADIUS_M, 0.0) * distance_m**2 - drop_m
    assert drop_m == pytest.approx(float(row["drop_m"]), abs=float(row["tolerance_m"]))


COLUMNS = {"k0": 0.0, "k0.13": 0.13, "k1_7": 1 / 7}


@pytest.mark.parametrize("row", rows("horizon_dip.csv"), ids=lambda r: f"{r['height_m']}m")
def test_horizon_and_dip_closed_forms(row: dict[str, str]) -> None:
    height_m = float(row["height_m"])
    for column, refraction in COLUMNS.items():
        found_km = horizon_m(height_m, refraction) / 1000
        assert found_km == pytest.approx(float(row[f"horizon_km_{column}"]), abs=6e-5)
        dip = dip_arcmin(height_m, refraction)
        assert dip == pytest.approx(float(row[f"dip_arcmin_{column}"]), abs=6e-5)
    # Radio: an Earth of 4/3 its radius is a refraction of 1/4 (ITU-R P.526).
    assert horizon_m(height_m, 0.25) / 1000 == pytest.approx(float(row["horizon_km_4_3earth"]), abs=6e-5)


@pytest.mark.parametrize("row", rows("horizon_unrefracted.csv"), ids=lambda r: f"{r['height_m']}m")
def test_printed_horizon_without_refraction(row: dict[str, str]) -> None:
    assert horizon_m(float(row["height_m"]), 0.0) / 1000 == pytest.approx(float(row["horizon_km"]), abs=0.1)


@pytest.mark.parametrize("row", rows("dip_printed.csv"), ids=lambda r: f"{r['height_ft']}ft")
def test_printed_dip(row: dict[str, str]) -> None:
    """Navigators' tables use a refraction of 1 - 0.8321 = 0.1679 (Bowditch, Tables 14 and 15)."""
    dip = dip_arcmin(float(row["height_ft"]) * FOOT_M, 0.1679)
    assert dip == pytest.approx(float(row["dip_arcmin"]), abs=float(row["tolerance_arcmin"]))


@pytest.mark.parametrize("row", rows("bowditch_table12_recomputed.csv"), ids=lambda r: f"{r['height_ft']}ft")
def test_bowditch_table_12(row: dict[str, str]) -> None:
    """Radius 3440.1 nautical miles and 1 - k = 0.8279."""
    found_m = horizon_m(float(row["height_ft"]) * FOOT_M, 1 - 0.8279, 3440.1 * NAUTICAL_MILE_M)
    assert found_m / NAUTICAL_MILE_M == pytest.approx(float(row["distance_nautical_miles"]), abs=0.0501)


def test_bowditch_rules_of_thumb() -> None:
    """1.169 sqrt(feet) nautical, 1.346 sqrt(feet) statute miles (Bowditch, Table 12, as on ariesmar.com)."""
    found_m = horizon_m(FOOT_M, 1 - 0.8279, 3440.1 * NAUTICAL_MILE_M)
    assert found_m / NAUTICAL_MILE_M == pytest.approx(1.169, abs=0.001)
    assert found_m / MILE_M == pytest.approx(1.346, abs=0.001)


def test_feet_and_miles() -> None:
    """0.574 feet per mile squared in engineers' handbooks (from memory): 0.4 % high against 1/7."""
    found_ft = drop_coefficient_per_m(MEAN_RADIUS_M, 1 / 7) * MILE_M**2 / FOOT_M
    assert found_ft == pytest.approx(0.574, rel=0.005)
