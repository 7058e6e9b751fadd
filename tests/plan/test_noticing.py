"""What is made out from afar: by the smaller apparent dimension and by contrast.

Half of all observers detect something with one line pair across it and recognise it with four (Johnson 1958,
as quoted, from memory); the eye parts pairs of two minutes of arc.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from hillsight.plan.look.noticing import made_out, noticed
from hillsight.plan.observer import Observer
from plan.made_hills import cone, line, look, plane, point, surface_of, things_of, together

PAIR_DEG = 2.0 / 60.0


def chance(apparent_deg: float, contrast: float = 1.0, *, is_line: bool = False) -> float:
    found = made_out(np.array([apparent_deg]), np.array([contrast]), np.array([is_line]), PAIR_DEG)
    return float(found[0])


def test_half_of_all_make_it_out_at_johnsons_criteria() -> None:
    assert chance(1 * PAIR_DEG, is_line=True) == pytest.approx(0.5)
    assert chance(4 * PAIR_DEG) == pytest.approx(0.5)
    assert chance(8 * PAIR_DEG, 0.5) == pytest.approx(0.5)


def test_the_larger_it_looks_the_surer() -> None:
    found = [chance(pairs * PAIR_DEG) for pairs in np.linspace(0.0, 40.0, 400)]
    assert found[0] == 0.0 and found[-1] > 0.999
    assert (np.diff(found) >= 0).all()
    assert np.diff(found).max() < 0.03


def test_a_fence_is_lost_far_off_and_a_lake_is_not() -> None:
    # 1.1 m at 2,600 m are 1.5 minutes of arc: less than one pair, of poor contrast.
    fence_deg = math.degrees(math.atan(1.1 / 2_600.0))
    assert fence_deg * 60 == pytest.approx(1.45, abs=0.01)
    assert chance(fence_deg, 0.2, is_line=True) < 0.01
    # A lake of 537 ha at 6.7 km, 200 m below the eye: some 2.3 km across, from 1.8 to 2.5 degrees down.
    lake_deg = math.degrees(math.atan(200 / 5_550.0) - math.atan(200 / 7_850.0))
    assert chance(lake_deg) > 0.95
    # A shelf of 3 ha at 3 km, 100 m below the eye: some 170 m deep, and hardly another colour.
    shelf_deg = math.degrees(math.atan(100 / 2_915.0) - math.atan(100 / 3_085.0))
    assert chance(shelf_deg, 0.3) < 0.05


def test_what_a_place_sees_is_noticed_by_its_size() -> None:
    ground = surface_of(together(plane(), cone(0, 500, 60, 150)))
    across = line((-50, 400), (50, 400))
    things = things_of(
        ("Near Wall", "wall", "man_made", 1.3, line((-50, 150), (50, 150))),
        ("Wall", "wall", "man_made", 1.3, across),
        ("Fence", "fence", "man_made", 1.1, across),
        ("Cairn", "cairn", "man_made", 1.5, point(0, 400)),
        ("Top", "summit", "ground_shape", 0.0, point(0, 500)),
    )
    view = look(ground, 0, 0, things)
    found = {
        name: float(noticed(name, view, things, Observer())[0]) for name in things.frame["name"].tolist()
    }
    assert found["Near Wall"] > found["Wall"] > found["Fence"]
    # 1.3 m at 400 m are 11 minutes; a cairn as far off must be known for one, and looks no larger.
    assert found["Wall"] > 0.9 > found["Cairn"]
    assert found["Top"] > 0.95
