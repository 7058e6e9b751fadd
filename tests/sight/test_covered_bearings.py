"""Bearings, the sky's edge and drawn rays over ground with cover, against the brute-force walker."""

from __future__ import annotations

import math

import numpy as np
import pytest

import oracle
from covered_ground import GROUNDS, Walker, covered_case
from hillsight.sight.bearings import see_bearings
from hillsight.sight.far_sky import FarGround, to_the_sky
from hillsight.sight.rays import see_rays
from hillsight.sight.sky_rounds import sky_rounds
from hillsight.sight.stretches import seen_stretches


def _one_of(found, places):
    return any(abs(found - place) <= 1e-6 * (1 + place) for place in places)


def _walked(surface, eye, reach_m, bearing):
    walker, grid = Walker(surface, eye), surface.grid
    return oracle.look_along(
        walker.every, grid.spacing_x_m, grid.spacing_y_m, eye, reach_m, bearing, walker.screens, walker.bare
    )


@pytest.mark.parametrize("name", GROUNDS)
@pytest.mark.parametrize("number", range(5))
def test_bearings_agree_with_the_walker(name, number):
    surface, eye, reach_m, _, random = covered_case(name, number)
    bearings = np.r_[0, 45, 90, 135, 180, 225, 270, 315, random.uniform(0, 360, 30)]
    found = see_bearings(surface, eye, reach_m, bearings)
    for i, bearing in enumerate(bearings):
        walk, where = _walked(surface, eye, reach_m, bearing), (name, number, bearing)
        if not walk.crossings:
            assert np.isnan(found.skyline_slope[i]), where
            continue
        assert found.skyline_slope[i] == pytest.approx(walk.skyline_slope, abs=1e-9, rel=1e-9), where
        assert _one_of(found.skyline_distance_m[i], walk.skyline_distances_m), where
        assert (found.skyline_end[i] == 3) == walk.void, where
        if walk.brow_distances_m:
            assert _one_of(found.brow_distance_m[i], walk.brow_distances_m), where
        else:
            assert np.isnan(found.brow_distance_m[i]), where
        assert found.crest_count[i] == len(walk.pockets), where
        for k, (crests, last_m, again_m, depth_m) in enumerate(walk.pockets):
            crest, re_emergence, depth = found.crests[i, k]
            assert _one_of(crest, crests), (*where, k)
            assert depth == pytest.approx(depth_m, abs=1e-6, rel=1e-9), (*where, k)
            if math.isnan(again_m):
                assert np.isnan(re_emergence), (*where, k)
            else:
                assert last_m - 1e-6 <= re_emergence <= again_m + 1e-6, (*where, k)


@pytest.mark.parametrize("name", ["fractal", "flat", "highlands"])
@pytest.mark.parametrize("number", [1, 3, 4])
def test_the_skys_edge_is_the_highest_of_ground_and_cover(name, number):
    surface, eye, _, _, random = covered_case(name, number)
    far, bearings = FarGround.of(surface), np.sort(random.uniform(0, 360, 24))
    place = surface.grid.to_map(eye.row, eye.column)
    near = see_bearings(surface, eye, 60.0, bearings)
    found = to_the_sky(far, *(float(v) for v in place), eye.level_m, eye.drop_per_m, bearings, near)
    rounds = sky_rounds(
        far, np.full(2, eye.row), np.full(2, eye.column), np.full(2, eye.level_m), eye.drop_per_m, bearings
    )
    assert found.skyline_cover_m[np.isfinite(found.skyline_cover_m)].max() > 1
    for i, bearing in enumerate(bearings):
        walk = _walked(surface, eye, math.inf, bearing)
        if not walk.crossings:
            continue
        assert found.skyline_slope[i] == pytest.approx(walk.skyline_slope, abs=1e-9, rel=1e-9)
        assert rounds.angle_deg[1, i] == pytest.approx(math.degrees(math.atan(walk.skyline_slope)), abs=1e-4)
        distance_m = found.skyline_distance_m[i]
        assert _one_of(distance_m, walk.skyline_distances_m)
        north, east = math.cos(math.radians(bearing)), math.sin(math.radians(bearing))
        row = eye.row - distance_m * north / surface.grid.spacing_y_m
        column = eye.column + distance_m * east / surface.grid.spacing_x_m
        row, column = (
            min(max(v, 0), n - 1) for v, n in zip((row, column), surface.height_m.shape, strict=True)
        )
        ground_m = oracle.bilinear(surface.height_m.astype(float), row, column)
        assert found.skyline_height_m[i] - found.skyline_cover_m[i] == pytest.approx(ground_m, abs=0.02)


@pytest.mark.parametrize("number", [1, 4, 6])
def test_rays_end_at_the_first_cover_that_stands_as_high(number):
    """Between two crossings of the walker there is nothing higher than both, so a ray ends between them."""
    surface, eye, _, _, random = covered_case("fractal", number)
    far, step = FarGround.of(surface), 0.25
    seen = seen_stretches(far, eye, 0.0, 360.0, step, 1e-4)
    ended = 0
    for bearing in seen.first_bearing_grid_deg + step * random.integers(0, 1440, 40):
        walk = _walked(surface, eye, math.inf, float(bearing))
        slopes = [(top_m - eye.level_m) / d for d, top_m in walk.crossings]
        highest = np.maximum.accumulate(slopes)
        if highest[-1] - highest[0] < 1e-4:
            continue
        # At the very edges a stretch's 32 bits may say otherwise.
        for slope in highest[0] + (highest[-1] - highest[0]) * random.uniform(0.01, 0.99, 6):
            first = int(np.argmax(highest >= slope))
            found_m = float(see_rays(seen, bearing, math.degrees(math.atan(slope))))
            before_m = walk.crossings[first - 1][0] if first else 0.0
            assert before_m - 1e-3 <= found_m <= walk.crossings[first][0] * (1 + 1e-6) + 1e-3
            ended += 1
    assert ended >= 60
