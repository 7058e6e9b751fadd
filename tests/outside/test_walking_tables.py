"""Walking times against Tobler's table and worked examples of Naismith's rule. Sources: data/README.md."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from hillsight.plan.posts.hill_pace import OFF_PATH, hill_rule_minutes, tobler_minutes

with (Path(__file__).parent / "data" / "tobler_table.csv").open(newline="") as stream:
    TABLE = list(csv.DictReader(stream))


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row['slope_deg']}deg")
def test_tobler(row: dict[str, str]) -> None:
    rise_m = 1000.0 * math.tan(math.radians(float(row["slope_deg"])))
    km_per_hour = 60.0 / float(tobler_minutes(1000.0, rise_m))
    assert km_per_hour == pytest.approx(float(row["published_km_h"]), abs=0.0051)
    assert km_per_hour == pytest.approx(float(row["recomputed_km_h"]), abs=6e-5)
    off_path = 60.0 / float(tobler_minutes(1000.0, rise_m, False))
    assert off_path == pytest.approx(OFF_PATH * km_per_hour)


def test_off_path_is_six_tenths() -> None:
    """Tobler's factor as encyclopedias quote it (secondary)."""
    assert OFF_PATH == 0.6


def test_naismith() -> None:
    """20 km and 1600 m of climb: 6 h 40 by 12 min/km and 10 min/100 m (copy of an encyclopedia, read)."""
    legs_m, rises_m = np.full(20, 1000.0), np.tile([160.0, 0.0], 10)
    assert hill_rule_minutes(legs_m, rises_m).sum() == pytest.approx(400.0)
    # 3 miles an hour and 2000 ft an hour, as first printed, are 2 % off the metric form.
    assert float(hill_rule_minutes(3 * 1609.344, 0.0)) == pytest.approx(60.0, rel=0.04)
    assert float(hill_rule_minutes(1.0, 609.6)) == pytest.approx(60.0, rel=0.02)


def test_langmuir() -> None:
    """10 km with 600 m up, 300 m down at 8 degrees and 300 m down at 20: 180 minutes (closed form)."""
    falls_m = [300.0 / math.tan(math.radians(fall)) for fall in (8.0, 20.0)]
    legs_m = np.array([5000.0, *falls_m, 5000.0 - sum(falls_m)])
    rises_m = np.array([600.0, -300.0, -300.0, 0.0])
    assert hill_rule_minutes(legs_m, rises_m).sum() == pytest.approx(120 + 60 - 10 + 10)


@pytest.mark.parametrize(("fall_deg", "minutes"), [(4.9, 0.0), (5.1, -10.0), (11.9, -10.0), (12.1, 10.0)])
def test_langmuirs_angles(fall_deg: float, minutes: float) -> None:
    """Gentle from 5 degrees, steep beyond 12 (Mountaincraft and Leadership, from memory)."""
    length_m = 300.0 / math.tan(math.radians(fall_deg))
    assert float(hill_rule_minutes(length_m, -300.0)) == pytest.approx(length_m * 0.012 + minutes)
