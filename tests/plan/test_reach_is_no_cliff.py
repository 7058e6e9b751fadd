"""How far is looked makes no odds to a verdict, unless things stand beyond.

Real ground: OS Terrain 50 (Open Government Licence v3: Contains OS data (c) Crown copyright and database
right). The property is mathematics, not taken from a source.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.error_fields import ErrorFields
from hillsight.ground.roughness import rough_scale_m
from second_observer_exam import put, terrain_of
from second_observer_exercises import exercises
from second_observer_grounds import pair_of
from shared_data import shared_file
from terrains import fractal
from views import surface_of

if TYPE_CHECKING:
    from pathlib import Path


def test_a_post_errs_the_same_whatever_piece_of_the_ground_is_held() -> None:
    whole = surface_of(fractal(90, 80, seed=3, relief_m=200.0), 50.0)
    grid = replace(
        whole.grid,
        west_m=whole.grid.west_m + 20 * 50.0,
        north_m=whole.grid.north_m - 30 * 50.0,
        rows=40,
        columns=50,
    )
    errors = ErrorModel(4.0, 300.0, between_posts="unknown")
    rough_m = rough_scale_m(whole.height_m)
    for number in (0, 5, 17):
        every = ErrorFields(whole.grid, errors, rough_m).drawn(number)
        some = ErrorFields(grid, errors, rough_m[30:70, 20:70]).drawn(number)
        np.testing.assert_array_equal(some, every[30:70, 20:70])
    assert every.std() > 2.0


@pytest.mark.slow
def test_a_reach_of_8_or_30_km_changes_no_probability_of_what_stands_within_8(tmp_path: Path) -> None:
    folder = shared_file("osterrain50_highlands.tif").parent
    changed = []
    for seed in range(50, 53):
        pair = pair_of(folder, "thinned", "west", seed)
        (made,) = exercises(pair, 1, (10, 11), seed)
        middles = made.sheet.frame.geometry.centroid
        away_m = [np.hypot(middles.x - e, middles.y - n) for e, n in made.places_m]
        far = set(np.flatnonzero(np.max(away_m, axis=0) > 7_000.0).tolist())
        made = replace(made, said=tuple(one for one in made.said if not far & set(one[0].things)))
        terrain = terrain_of(pair, tmp_path)
        near, wide = (put(made, terrain, reach_m) for reach_m in (8_000.0, 30_000.0))
        changed.append(
            np.abs(np.subtract([*near.candidates, near.none], [*wide.candidates, wide.none])).max()
        )
    assert max(changed) <= 0.02
    assert max(changed) > 0.0
