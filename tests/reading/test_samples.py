"""Samples that stand for a feature: fair shares of its length or area, ends and outline included."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from hillsight.reading.things.samples import MOST_SAMPLES, sample

X, Y = 400_123.4, 298_765.6  # far from the origin, off any lattice


def _share_west_of(samples, x):
    return samples.weight[samples.easting_m < x].sum()


def test_a_point():
    found = sample(shapely.Point(X, Y), 5.0)
    assert (found.easting_m.tolist(), found.northing_m.tolist(), found.weight.tolist()) == ([X], [Y], [1.0])


def test_several_points_share_evenly():
    found = sample(shapely.MultiPoint([(X, Y), (X + 9, Y), (X, Y + 3)]), 5.0)
    assert found.weight.tolist() == pytest.approx([1 / 3] * 3)


def test_a_line_has_its_ends_and_even_shares():
    found = sample(shapely.LineString([(X, Y), (X + 100, Y), (X + 100, Y + 50)]), 5.0)
    assert (found.easting_m[0], found.northing_m[0]) == (X, Y)
    assert (found.easting_m[-1], found.northing_m[-1]) == (X + 100, Y + 50)
    assert found.weight.sum() == pytest.approx(1)
    assert found.weight[[0, -1]].tolist() == [0, 0]
    assert _share_west_of(found, X + 50) == pytest.approx(50 / 150, abs=5 / 150)
    steps = np.hypot(np.diff(found.easting_m[1:-1]), np.diff(found.northing_m[1:-1]))
    assert steps.max() <= 5.0 + 1e-6


def test_parts_of_a_line_count_by_their_length():
    found = sample(shapely.MultiLineString([[(X, Y), (X + 30, Y)], [(X + 1000, Y), (X + 1090, Y)]]), 4.0)
    assert _share_west_of(found, X + 500) == pytest.approx(0.25)


def test_a_line_shorter_than_the_spacing_and_one_of_no_length():
    short = sample(shapely.LineString([(X, Y), (X + 0.5, Y)]), 5.0)
    assert short.weight.sum() == pytest.approx(1)
    assert short.easting_m.size == 3
    none = sample(shapely.LineString([(X, Y), (X, Y)]), 5.0)
    assert none.weight.tolist() == [1.0]
    assert none.easting_m.tolist() == [X]


def test_an_area_has_even_shares_and_its_outline():
    outline = shapely.box(X, Y, X + 200, Y + 100)
    found = sample(outline, 5.0)
    assert _share_west_of(found, X + 50) == pytest.approx(0.25, abs=0.02)
    on_edge = found.weight == 0
    assert on_edge.sum() > 100
    points = shapely.points(found.easting_m, found.northing_m)
    assert shapely.distance(points[on_edge], outline.boundary).max() < 1e-6
    assert shapely.contains(outline, points[~on_edge]).all()


def test_holes_are_no_part_of_an_area():
    hole = [(X + 20, Y + 10), (X + 180, Y + 10), (X + 180, Y + 90), (X + 20, Y + 90)]
    found = sample(shapely.Polygon(shapely.box(X, Y, X + 200, Y + 100).exterior, [hole]), 3.0)
    inside = found.weight > 0
    assert not shapely.contains_xy(
        shapely.Polygon(hole), found.easting_m[inside], found.northing_m[inside]
    ).any()
    # its edge counts for what is seen
    points = shapely.points(found.easting_m, found.northing_m)
    assert (shapely.distance(points[~inside], shapely.LinearRing(hole)) < 1e-6).sum() > 50


@pytest.mark.parametrize("width_m", [0.5, 2.0, 4.9])
@pytest.mark.parametrize("slant_deg", [0.0, 33.0, 90.0])
def test_a_narrow_area_is_sampled_evenly_along_its_sides(width_m, slant_deg):
    """A lattice may miss a stream 2 m wide altogether, or meet it only here and there."""
    strip = shapely.affinity.rotate(shapely.box(X, Y, X + 1000, Y + width_m), slant_deg, origin=(X, Y))
    found = sample(strip, 5.0)
    assert found.weight.sum() == pytest.approx(1)
    along = np.hypot(found.easting_m - X, found.northing_m - Y)
    for at in (100, 250, 500, 900):
        assert found.weight[along < at].sum() == pytest.approx(at / 1000, abs=0.02)


def test_a_speck_of_an_area():
    found = sample(shapely.box(X, Y, X + 0.01, Y + 0.01), 5.0)
    assert found.weight.sum() == pytest.approx(1)
    assert np.abs(found.easting_m - X).max() <= 0.01 + 1e-6


def test_parts_of_an_area_count_by_their_area():
    both = shapely.MultiPolygon(
        [shapely.box(X, Y, X + 100, Y + 100), shapely.box(X + 500, Y, X + 800, Y + 100)]
    )
    assert _share_west_of(sample(both, 5.0), X + 300) == pytest.approx(0.25, abs=0.02)


@pytest.mark.parametrize(
    "huge",
    [
        shapely.LineString([(X, Y), (X + 300_000, Y + 200_000)]),
        shapely.box(X, Y, X + 80_000, Y + 60_000),
        shapely.LineString([(X, Y), (X + 50_000, Y + 50_000)]).buffer(40),  # slanting through a vast box
    ],
)
def test_huge_features_are_sampled_sparsely(huge):
    found = sample(huge, 5.0)
    assert 500 < found.easting_m.size < 3 * MOST_SAMPLES
    assert found.weight.sum() == pytest.approx(1)
    middle = huge.centroid.x
    assert _share_west_of(found, middle) == pytest.approx(0.5, abs=0.03)


@settings(deadline=None, max_examples=50)
@given(st.lists(st.tuples(st.integers(0, 300), st.integers(0, 300)), min_size=3, max_size=8, unique=True))
def test_a_hull_s_centroid_is_that_of_its_samples(corners):
    hull = shapely.MultiPoint(corners).convex_hull
    if hull.area < 2000 or 2 * hull.area / hull.length < 15:
        return
    found = sample(hull, 2.0)
    assert (found.easting_m * found.weight).sum() == pytest.approx(hull.centroid.x, abs=3)
    assert (found.northing_m * found.weight).sum() == pytest.approx(hull.centroid.y, abs=3)


def test_numbers_follow_each_other_along_one_line_only() -> None:
    lines = shapely.MultiLineString([[(0, 0), (100, 0)], [(100, 0), (100, 60)]])
    found = sample(lines, 10.0)
    steps = np.diff(found.number)
    assert steps[:11].tolist() == [1] * 11  # ten middles and two ends
    assert steps[11] == 2
    assert steps[12:].tolist() == [1] * 7
    for other in (shapely.MultiPoint([(0, 0), (5, 0), (9, 0)]), shapely.box(0, 0, 90, 90)):
        assert (np.diff(sample(other, 10.0).number) >= 2).all()
