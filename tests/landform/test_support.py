"""What stands out from its flanks: closed forms on planes, roofs, cones and corrugations."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hillsight.arrays import Floats
from hillsight.landform.scale import Worked
from hillsight.landform.support import LEAST_RELIEF_SHARE, relief_m, stands_out
from landform.worked_ground import as_it_is, grid_of, places_on

SCALE_M = 200.0
SPACINGS = [(10.0, 10.0), (16.0, 7.0)]


def inner(values: Floats, worked: Worked) -> Floats:
    """Without what lies within half a scale, and a post, of the edge."""
    by_row, by_column = (int(SCALE_M / 2 / s) + 2 for s in (worked.grid.spacing_y_m, worked.grid.spacing_x_m))
    return values[by_row:-by_row, by_column:-by_column]


@given(azimuth_deg=st.floats(0.0, 360.0), slope=st.floats(0.01, 1.0), spacing=st.sampled_from(SPACINGS))
@settings(max_examples=25, deadline=None)
def test_a_plane_has_no_relief(azimuth_deg: float, slope: float, spacing: tuple[float, float]) -> None:
    east, north = np.sin(np.radians(azimuth_deg)), np.cos(np.radians(azimuth_deg))
    worked = as_it_is(lambda x, y: 100.0 - slope * (x * east + y * north), grid_of(50, 50, *spacing), SCALE_M)
    found = inner(relief_m(worked, worked.height_m), worked)
    assert np.abs(found).max() < 1e-6
    assert not stands_out(worked, worked.height_m).any()


@pytest.mark.parametrize("spacing", SPACINGS)
@pytest.mark.parametrize("flank", [0.1, 0.3])
@pytest.mark.parametrize("along", [0.05, 0.4])
def test_the_axis_of_a_roof_stands_out_by_its_fall_over_half_a_scale(
    spacing: tuple[float, float], flank: float, along: float
) -> None:
    """Its crest runs down northward; on the crest the contour runs east and west by symmetry."""
    grid = grid_of(61, 61, *spacing)
    worked = as_it_is(lambda x, y: 500.0 - flank * np.abs(x) - along * y, grid, SCALE_M)
    found, valley = relief_m(worked, worked.height_m), relief_m(worked, -worked.height_m)
    assert inner(found, worked)[:, inner(found, worked).shape[1] // 2] == pytest.approx(flank * SCALE_M / 2)
    assert inner(valley, worked)[:, inner(found, worked).shape[1] // 2] == pytest.approx(-flank * SCALE_M / 2)
    axis = inner(stands_out(worked, worked.height_m), worked)
    assert axis[:, axis.shape[1] // 2].all()
    assert not stands_out(worked, -worked.height_m).any()


@pytest.mark.parametrize("spacing", SPACINGS)
@pytest.mark.parametrize("crest_runs", ["east", "north"])
def test_a_level_crest_right_on_a_row_or_column_of_posts_stands_out(
    spacing: tuple[float, float], crest_runs: str
) -> None:
    """A roof whose crest is level: flanks that fall by 0.3 lie 0.3 of half a scale below it."""
    grid = grid_of(61, 61, *spacing)
    worked = as_it_is(lambda x, y: 500.0 - 0.3 * np.abs(y if crest_runs == "east" else x), grid, SCALE_M)
    found, valley = relief_m(worked, worked.height_m), relief_m(worked, -worked.height_m)
    axis = stands_out(worked, worked.height_m)
    if crest_runs == "east":
        found, valley, axis = found.T, valley.T, axis.T
    assert found[15:-15, 30] == pytest.approx(0.3 * SCALE_M / 2)
    assert np.isnan(valley[15:-15, 30]).all()
    assert axis[15:-15, 30].all()
    assert not np.delete(axis[15:-15], 30, axis=1).any()


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_level_crest_along_a_diagonal_stands_out_too(sign: float) -> None:
    """Half a scale across the crest the ground has fallen by 0.3 * 100 * sqrt(2)."""
    worked = as_it_is(lambda x, y: 500.0 - 0.3 * np.abs(x + sign * y), grid_of(61, 61), SCALE_M)
    found = relief_m(worked, worked.height_m)
    crest = np.diagonal(found if sign > 0 else found[:, ::-1])
    assert crest[20:40] == pytest.approx(0.3 * np.sqrt(2) * SCALE_M / 2, rel=1e-6)


@pytest.mark.parametrize("bend", [-1.0, 1.0])
def test_a_round_top_and_a_saddle_do_not_stand_out_for_being_level(bend: float) -> None:
    worked = as_it_is(lambda x, y: 500.0 - (x**2 + bend * y**2) / 900.0, grid_of(61, 61), SCALE_M)
    assert np.isnan(relief_m(worked, worked.height_m)[30, 30])


@pytest.mark.parametrize("share", [0.9, 1.1])
def test_the_least_relief_is_a_share_of_the_scale(share: float) -> None:
    flank = share * LEAST_RELIEF_SHARE * 2
    worked = as_it_is(lambda x, y: 500.0 - flank * np.abs(x) - 0.2 * y, grid_of(61, 61), SCALE_M)
    assert stands_out(worked, worked.height_m).any() == (share > 1)


def test_nothing_on_a_cone_is_the_axis_of_a_spur() -> None:
    """At a radius r the two places lie at the radius sqrt(r^2 + h^2): all lines down the slope are alike."""
    worked = as_it_is(lambda x, y: 900.0 - 0.4 * np.hypot(x, y), grid_of(121, 121), SCALE_M)
    radius_m = np.hypot(*places_on(worked.grid))
    ring = (radius_m > 150.0) & (radius_m < 450.0)
    found = relief_m(worked, worked.height_m)[ring]
    assert found == pytest.approx(0.4 * (np.hypot(radius_m, SCALE_M / 2) - radius_m)[ring], abs=0.2)
    assert not stands_out(worked, worked.height_m)[ring].any()


def test_a_corrugated_slope_stands_out_on_its_crests_and_lies_in_on_its_troughs() -> None:
    """Crests of a wave of the scale: half a scale to each side are troughs, twice the amplitude below."""
    grid = grid_of(81, 121)
    worked = as_it_is(lambda x, y: 300.0 - 0.3 * y + 15.0 * np.cos(2 * np.pi * x / SCALE_M), grid, SCALE_M)
    east = places_on(grid)[0]
    crest, trough = np.isclose(np.mod(east, SCALE_M), 0.0), np.isclose(np.mod(east, SCALE_M), SCALE_M / 2)
    found = relief_m(worked, worked.height_m)
    assert inner(found, worked)[inner(crest, worked)] == pytest.approx(30.0, abs=1e-6)
    assert inner(found, worked)[inner(trough, worked)] == pytest.approx(-30.0, abs=1e-6)
    up, down = stands_out(worked, worked.height_m), stands_out(worked, -worked.height_m)
    assert inner(up, worked)[inner(crest, worked)].all()
    assert not inner(up, worked)[inner(trough, worked)].any()
    assert inner(down, worked)[inner(trough, worked)].all()
    assert not inner(up & down, worked).any()


@given(added_m=st.floats(-500.0, 5000.0))
@settings(max_examples=10, deadline=None)
def test_a_height_added_everywhere_changes_no_relief(added_m: float) -> None:
    worked = as_it_is(
        lambda x, y: 20.0 * np.sin(x / 70.0) * np.cos(y / 50.0) - 0.1 * y, grid_of(50, 50), 150.0
    )
    one, other = (relief_m(worked, worked.height_m + c) for c in (0.0, added_m))
    assert other == pytest.approx(one, abs=1e-5, nan_ok=True)


def test_level_ground_voids_and_unknown_flanks_have_no_relief() -> None:
    level = as_it_is(lambda x, y: 7.0, grid_of(40, 40), SCALE_M)
    assert np.isnan(relief_m(level, level.height_m)).all()
    roof = as_it_is(lambda x, y: 500.0 - 0.3 * np.abs(x) - 0.2 * y, grid_of(61, 61), SCALE_M)
    holed = roof.height_m.copy()
    holed[20:40, 38:42] = np.nan
    found = relief_m(roof, holed)
    assert np.isnan(found[25:35, 30]).all()
    assert found[50, 30] == pytest.approx(30.0)
    assert not stands_out(roof, holed)[25:35, 30].any()
    assert np.isnan(found[0]).all()


@pytest.mark.parametrize("shape", [(1, 40), (2, 40), (40, 1), (40, 2), (1, 1)])
def test_strips_too_narrow_to_have_flanks_have_none(shape: tuple[int, int]) -> None:
    worked = as_it_is(lambda x, y: x + y, grid_of(*shape), SCALE_M)
    assert not stands_out(worked, worked.height_m).any()
