"""Where marshals may stand: laid out over shapes, sifted by limits, and weighed dangers of a course."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import CRS

from hillsight.errors import PostsError
from hillsight.ground.grid import Grid, Surface
from hillsight.plan.posts.course import Course, cut
from hillsight.plan.posts.dangers import weighed
from hillsight.plan.posts.limits import ground_limits, open_shares, within
from hillsight.plan.posts.places import Limit, NamedShapes, laid_out, sifted
from hillsight.plan.posts.plan import DangerWeights, Limits, NamedDanger

#: 2 km square, posts 10 m apart, north-west post at E 0 N 2000.
_POSTS = 201
_GRID = Grid(CRS.from_epsg(32632), 0.0, 2000.0, 10.0, 10.0, _POSTS, _POSTS)


def _surface(height_m: object) -> Surface:
    return Surface(_GRID, np.asarray(height_m, np.float32))


def _axes() -> tuple[np.ndarray, np.ndarray]:
    """Easting and northing of all posts."""
    return np.meshgrid(np.arange(_POSTS) * 10.0, 2000.0 - np.arange(_POSTS) * 10.0)


def _shapes(*shapes: shapely.Geometry, within_m: float = 0.0, every_m: float = 50.0) -> NamedShapes:
    array = np.empty(len(shapes), object)
    array[:] = shapes
    return NamedShapes(array, tuple(f"s{k}" for k in range(len(shapes))), within_m, every_m)


def test_points_are_places_and_keep_their_names() -> None:
    easting_m, northing_m, names = laid_out([_shapes(shapely.Point(3, 4), shapely.Point(103, 4))])
    assert names == ("s0", "s1")
    np.testing.assert_allclose(easting_m, [3, 103])
    np.testing.assert_allclose(northing_m, [4, 4])


def test_lines_have_places_along_them_and_at_their_ends() -> None:
    easting_m, _, names = laid_out([_shapes(shapely.LineString([(0, 0), (120, 0)]))])
    np.testing.assert_allclose(easting_m, [0, 50, 100, 120])
    assert set(names) == {""}


def test_areas_have_the_places_of_a_lattice_that_all_share() -> None:
    one = laid_out([_shapes(shapely.box(10, 10, 160, 110))])
    both = laid_out([_shapes(shapely.box(10, 10, 160, 110)), _shapes(shapely.box(90, 40, 210, 120))])
    assert sorted(zip(one[0], one[1], strict=True)) == [(e, n) for e in (50, 100, 150) for n in (50, 100)]
    # Of the second area only what the first has not: the lattices are one.
    assert len(both[0]) == 6 + 2
    assert {(200.0, 50.0)} <= set(zip(both[0], both[1], strict=True))


def test_within_a_distance_of_a_line_is_an_area() -> None:
    easting_m, northing_m, _ = laid_out(
        [_shapes(shapely.LineString([(0, 0), (1000, 0)]), within_m=60, every_m=25)]
    )
    line = shapely.LineString([(0, 0), (1000, 0)])
    apart_m = shapely.distance(line, shapely.points(easting_m, northing_m))
    assert apart_m.max() <= 60 and (apart_m == 50).any() and (apart_m == 0).any()
    # An area of 1,000 x 120 m and a disc of 60 m holds so many squares of 25 m, its line apart.
    assert len(easting_m) == pytest.approx((1000 * 120 + np.pi * 60**2) / 25**2, rel=0.1)


def test_too_many_places_are_refused_before_they_are_made() -> None:
    with pytest.raises(PostsError, match="are the most"):
        laid_out([_shapes(shapely.box(0, 0, 100_000, 100_000), every_m=5.0)])


def test_a_sieve_that_leaves_nothing_says_which_limit_costs_most() -> None:
    fixed = np.zeros(10, np.bool_)
    slope = Limit("slope over 25 degrees", np.arange(10) < 1)
    water = Limit("water within 5 m", np.arange(10) >= 2)
    with pytest.raises(PostsError) as caught:
        sifted(fixed, [slope, water])
    assert "9 by slope over 25 degrees and 2 by water within 5 m" in str(caught.value)
    # Without the slope eight places are left, without the water one.
    assert "costs most is slope over 25 degrees: without it 8 places would be left" in str(caught.value)


def test_fixed_posts_are_kept_against_all_limits() -> None:
    fixed = np.arange(10) == 4
    kept = sifted(fixed, [Limit("slope", np.arange(10) == 7)])
    assert np.flatnonzero(kept).tolist() == [4, 7]


def test_limits_of_slope_crag_water_and_height() -> None:
    """A plane of 20 degrees in the west, level ground in the east, a step of 20 m in 10 m between them."""
    east, _ = _axes()
    plane = np.tan(np.radians(20.0)) * np.maximum(1000.0 - east, 0.0)
    height = plane + np.where(east < 1005, 20.0, 0.0)
    surface = _surface(height)
    places = np.array([500.0, 985.0, 1100.0, 1500.0]), np.full(4, 1000.0)
    water = [shapely.LineString([(1500, 0), (1500, 2000)])]

    def kept(limits: Limits) -> dict[str, list[bool]]:
        return {one.name: one.keeps.tolist() for one in ground_limits(limits, surface, *places, water)}

    assert kept(Limits(slope_deg=25, crag_deg=40, crag_within_m=20, water_within_m=5)) == {
        "slope over 25 degrees": [True, True, True, True],
        "ground of 40 degrees within 20 m": [True, False, True, True],
        "water within 5 m": [True, True, True, False],
    } or kept(Limits(slope_deg=25, crag_deg=40, crag_within_m=20, water_within_m=5)) == {
        "ground of 40 degrees within 20 m": [True, False, True, True],
        "water within 5 m": [True, True, True, False],
    }
    steep = kept(Limits(slope_deg=15, crag_deg=89, water_within_m=None, highest_m=100))
    assert steep["slope over 15 degrees"] == [False, False, True, True]
    assert steep["ground above 100 m"] == [False, True, True, True]


def test_openness_is_the_share_of_bearings_without_shelter() -> None:
    """A wall of ground all along the east shelters the bearings toward it; a pit has none open."""
    east, north = _axes()
    wall = _surface(np.where(east > 1100, 60.0, 0.0))
    at = np.array([1000.0]), np.array([1000.0])
    # The wall stands 110 m off and 60 m high, and is met within 300 m on bearings whose sine is over 110/300.
    bearings = np.radians(np.arange(16) * 22.5)
    sheltered = (np.sin(bearings) > 110.0 / 300.0).mean()
    assert open_shares(wall, *at)[0] == pytest.approx(1.0 - sheltered)
    away = np.hypot(east - 1000, north - 1000)
    assert open_shares(_surface(np.minimum(away, 400) * 0.3), *at)[0] == 0.0
    assert open_shares(_surface(np.maximum(400 - away, 0) * 0.3), *at)[0] == 1.0


def test_within_is_of_shapes_and_distances() -> None:
    area = shapely.box(0, 0, 10, 10)
    found = within([area], 5.0, np.array([5.0, 14.0, 16.0]), np.array([5.0, 5.0, 5.0]))
    assert found.tolist() == [True, True, False]


def test_dangers_of_a_course() -> None:
    """East along N 1000: a slope of 30 degrees from 600 to 800, a stream at 300, a path at 1200."""
    east, _ = _axes()
    rise = np.tan(np.radians(30.0)) * (np.clip(east, 600, 800) - 600)
    course = Course("made", np.array([100.0, 1900.0]), np.array([1000.0, 1000.0]))
    stretches = cut(course, 20.0)
    stream = shapely.LineString([(300, 0), (300, 2000)])
    beside = shapely.LineString([(100, 1100), (1900, 1100)])
    path = shapely.LineString([(1200, 1000), (1200, 1500)])
    found = weighed(
        course,
        stretches,
        _surface(rise),
        DangerWeights(steep=2, edge=3, edge_deg=60, water=2.5, water_within_m=10, choice=1.5),
        [NamedDanger("bulls", 1500.0, 1600.0, 4.0)],
        [stream, beside],
        [path],
        10.0,
    )
    middle = found.easting_m

    def where(reason: str) -> np.ndarray:
        return middle[[reason in told for told in found.reason]]

    assert where("steep").min() == pytest.approx(610, abs=15)
    assert where("steep").max() == pytest.approx(790, abs=15)
    # Water that is crossed, not water that runs beside.
    assert abs(where("water") - 300).max() <= 20
    assert len(where("water")) > 0
    assert abs(where("route choice") - 1200).max() <= 35
    assert len(where("route choice")) > 0
    assert where("bulls").min() == pytest.approx(1600, abs=20)
    assert where("bulls").max() == pytest.approx(1700, abs=20)
    assert where("edge").size == 0
    assert set(found.weight[[told == "" for told in found.reason]]) == {1.0}
    assert set(found.weight[[told == "bulls" for told in found.reason]]) == {4.0}


def test_named_dangers_come_again_in_every_lap() -> None:
    ring = np.array([(500, 500), (1500, 500), (1500, 1500), (500, 1500), (500, 500)], float)
    course = Course("ring", ring[:, 0], ring[:, 1], 3)
    flat = _surface(np.zeros((_POSTS, _POSTS)))
    found = weighed(
        course, cut(course), flat, DangerWeights(), [NamedDanger("dogs", 100, 200, 2)], [], [], 10.0
    )
    dangerous_m = found.length_m[found.weight > 1].sum()
    assert dangerous_m == pytest.approx(300, abs=60)
