"""What touches a void or the terrain's edge, and what does not."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from hillsight.ground.grid import Surface
from hillsight.landform.limits import cut_by
from hillsight.landform.scale import Worked
from landform.known import CENTRE
from landform.worked_ground import grid_of, ground

SCALE_M = 240.0  # smoothing with a standard deviation of 40 m: what lies within 120 m touches


def at(east_m: float, north_m: float) -> tuple[float, float]:
    return CENTRE[0] + east_m, CENTRE[1] + north_m


def one_cut_by(shape: shapely.Geometry, worked: Worked) -> str | None:
    (reason,) = cut_by([shape], worked)
    return reason


@pytest.fixture(scope="module")
def whole() -> Worked:
    """Posts to 500 m east and west, 300 m north and south."""
    return Worked.of(ground(lambda x, y: 0.1 * x, grid_of(61, 101)), SCALE_M)


@pytest.fixture(scope="module")
def holed() -> Worked:
    """Void from 100 m west to 100 m east of the centre and 50 m to both sides."""
    height_m = ground(lambda x, y: 0.1 * x, grid_of(61, 101)).height_m.copy()
    height_m[25:36, 40:61] = np.nan
    return Worked.of(Surface(grid_of(61, 101), height_m), SCALE_M)


@pytest.mark.parametrize(("east_m", "north_m"), [(1, 0), (-1, 0), (0, 1), (0, -1)])
def test_a_point_touches_the_edge_within_three_standard_deviations(
    whole: Worked, east_m: int, north_m: int
) -> None:
    side_m = abs(500.0 * east_m + 300.0 * north_m)
    for away_m, expected in ((0.0, "terrain_edge"), (119.0, "terrain_edge"), (121.0, None)):
        point = shapely.Point(at(east_m * (side_m - away_m), north_m * (side_m - away_m)))
        assert one_cut_by(point, whole) == expected


def test_lines_and_areas_touch_with_any_part(whole: Worked) -> None:
    inside, outside = at(0, 0), at(0, 270)
    assert one_cut_by(shapely.LineString([inside, at(100, 100)]), whole) is None
    assert one_cut_by(shapely.LineString([inside, outside, at(50, 0)]), whole) == "terrain_edge"
    assert one_cut_by(shapely.Point(*inside).buffer(170.0), whole) is None
    assert one_cut_by(shapely.Point(*inside).buffer(190.0), whole) == "terrain_edge"


def test_a_void_is_told_before_the_edge(holed: Worked) -> None:
    assert one_cut_by(shapely.Point(at(0, 160)), holed) == "void"
    assert one_cut_by(shapely.Point(at(0, 175)), holed) is None
    assert one_cut_by(shapely.Point(at(0, 280)), holed) == "terrain_edge"
    assert one_cut_by(shapely.LineString([at(0, 290), at(0, 80)]), holed) == "void"
    assert one_cut_by(shapely.Point(at(-230, 0)), holed) is None
    assert one_cut_by(shapely.Point(at(-210, 0)), holed) == "void"


def test_an_area_around_a_void_touches_it(holed: Worked) -> None:
    hole = shapely.box(*at(-105, -55), *at(105, 55))
    assert one_cut_by(shapely.box(*at(-200, -150), *at(200, 150)).difference(hole), holed) == "void"


def test_at_small_scales_a_post_and_a_half_touches() -> None:
    worked = Worked.of(ground(lambda x, y: 0.1 * x, grid_of(61, 101)), 20.0)
    assert one_cut_by(shapely.Point(at(486, 0)), worked) == "terrain_edge"
    assert one_cut_by(shapely.Point(at(484, 0)), worked) is None
