"""The chance that some of a thing is seen: a glance against a bearing list's own, on made and real ground.

Pairs of place and thing in doubt on four grounds, over 2,000 with ``-m slow``, else over 500; the two must
mean the same (docs/trust.md).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from hillsight.ground.geodesy import Geodesy
from hillsight.plan.look.glance import glance
from hillsight.plan.look.things import Things
from hillsight.reading.things.samples import sample
from hillsight.sight.doubt import Doubtful, ErringGround
from hillsight.sight.maxima import Maxima
from hillsight.sight.points import see_points
from hillsight.sight.probability import ThingSamples, seen_of_things
from hillsight.sight.viewing import Eye, Viewing
from plan.made_hills import frame_of
from trust_simulation import CASES

EYE_M = 1.6


def _things(grid, random):
    """Points, winding lines and areas strewn over the ground."""
    spacing_m, made = grid.spacing_x_m, []
    for k in range(70):
        row, column = random.uniform(0.05, 0.95, 2) * (grid.rows - 1, grid.columns - 1)
        middle = np.array([float(v) for v in grid.to_map(row, column)])
        if k % 7 < 3:
            shape = shapely.Point(middle)
        elif k % 7 < 6:
            steps = random.normal(0.0, random.uniform(1.0, 6.0) * spacing_m, (6, 2))
            shape = shapely.LineString(middle + np.cumsum(steps, axis=0))
        else:
            shape = shapely.Point(middle).buffer(random.uniform(1.0, 8.0) * spacing_m)
        made.append((f"thing {k}", "thing", "unclassed", float(random.choice([0.0, 1.5, 8.0])), shape))
    box = shapely.box(grid.west_m, grid.south_m, grid.east_m, grid.north_m).buffer(-spacing_m)
    return [one for one in made if box.contains(one[-1])]


def _in_full(erring, eye, frame, reach_m, maxima):
    """Chances of all things, by samples as close as those of a bearing list."""
    grid = erring.surface.grid
    taken = [sample(shape, min(grid.spacing_x_m, grid.spacing_y_m) / 2) for shape in frame.geometry]
    counts = [one.weight.size for one in taken]
    row, column = grid.to_array(
        np.concatenate([one.easting_m for one in taken]), np.concatenate([one.northing_m for one in taken])
    )
    height_m = np.repeat(frame["target_height_m"].to_numpy(), counts)
    near = np.hypot((row - eye.row) * grid.spacing_y_m, (column - eye.column) * grid.spacing_x_m) <= reach_m
    clearance_m = see_points(erring.surface, eye, row, column, height_m, maxima).clearance_m
    weight = np.concatenate([one.weight for one in taken])
    starts = np.concatenate(([0], np.cumsum(counts)))
    samples = ThingSamples(row, column, height_m, weight, near, clearance_m, starts)
    return seen_of_things(Doubtful.over(erring, eye), samples).chance


def _pairs(case, errors, number, seed):
    """Full and quick chances of things in doubt, from one place after another."""
    random = np.random.default_rng(seed)
    surface, grid = case.surface, case.surface.grid
    frame = frame_of(_things(grid, random)).set_crs(grid.crs, allow_override=True)
    things = Things.of(frame, 2 * grid.spacing_x_m)
    erring, geodesy, maxima = (
        ErringGround(surface, errors, feature=True),
        Geodesy(grid.crs),
        Maxima.of(surface.height_m),
    )
    viewing = Viewing(EYE_M, 0.0, 0.7 * grid.rows * grid.spacing_y_m, 0.13)
    full, quick = [], []
    for _ in range(60):
        row, column = random.uniform(0.1, 0.9, 2) * (grid.rows - 1, grid.columns - 1)
        east, north = (float(v) for v in grid.to_map(row, column))
        ground_m = surface.height_at_m(east, north)
        seen = glance(erring, geodesy, "", east, north, ground_m, viewing, things, maxima)
        radius_m = geodesy.gaussian_radius_m(east, north)
        eye = Eye.on(grid, east, north, ground_m + EYE_M, (1 - viewing.refraction) / (2 * radius_m))
        full.append(_in_full(erring, eye, frame, viewing.reach_m, maxima))
        quick.append(seen.things.chance)
        doubt = (np.concatenate(full) >= 0.02) & (np.concatenate(full) <= 0.98)
        if doubt.sum() >= number:
            return np.concatenate(full)[doubt], np.concatenate(quick)[doubt]
    raise AssertionError("not enough things are in doubt here")


@pytest.mark.parametrize("number", [130, pytest.param(510, marks=pytest.mark.slow)])
@pytest.mark.parametrize("ground", sorted(CASES))
def test_a_glance_means_what_a_bearing_list_means(ground, number):
    case = CASES[ground]()
    errors = case.errors
    if ground == "rough_made_ground":
        errors = replace(errors, correlation_shape="gaussian", nugget_share=0.2)
    full, quick = _pairs(case, errors, number, 5)
    off = np.abs(quick - full)
    assert full.size >= number
    assert np.mean(off <= 0.05) >= 0.95
    assert off.max() <= 0.15
    assert abs(np.mean(quick - full)) < 0.01  # neither says more than the other on the whole
