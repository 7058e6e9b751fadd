"""Seen parts of lines and areas behind a wall right across the view, worked by hand.

Eye 1.6 m up on flat ground at post (60, 10), posts every 10 m; a wall 30 m tall on column 60, 500 m east,
one post broad, hides all flat ground beyond it.
"""

from __future__ import annotations

import geopandas
import numpy as np
import pytest
import shapely

from hillsight.reading.things.bearing_list import bearing_list
from hillsight.reading.things.seen_outlines import seen_areas, seen_lines
from terrains import fractal, with_hole
from views import CRS, reading_of, view_of


def _walled():
    height_m = np.zeros((121, 151), np.float32)
    height_m[:, 60] = 30.0
    return height_m


def _features(view, *shapes, height_m=np.nan):
    east, north = view.easting_m, view.northing_m
    moved = [shapely.transform(shape, lambda xy: xy + np.array([east, north])) for shape in shapes]
    return geopandas.GeoDataFrame(
        {
            "name": [f"thing {i}" for i in range(len(shapes))],
            "kind": "wall",
            "evidence_class": "man_made",
            "target_height_m": float(height_m),
            "source": "made",
        },
        geometry=moved,
        crs=CRS,
    )


def _outlines(reading, *shapes, height_m=np.nan):
    features = _features(reading.view, *shapes, height_m=height_m)
    listed = bearing_list(reading.view, features, reading.lines).frame
    lines = seen_lines(reading.view, features, listed)
    return features, listed, lines, seen_areas(reading.view, features, listed, reading.cover)


@pytest.fixture(scope="module")
def walled():
    return reading_of(view_of(_walled(), 60, 10, reach_m=900.0))


def test_a_line_through_the_wall(walled):
    _, listed, lines, areas = _outlines(walled, shapely.LineString([(100, 7), (800, 7)]))
    assert areas.empty
    (line,) = lines.itertuples()
    assert (line.rank, line.name) == (listed["rank"].iloc[0], "thing 0")
    # Seen as far as the wall's crest at 500 m, hidden beyond it; samples stand 5 m apart.
    assert line.seen_length_m == pytest.approx(400.0, abs=5.0)
    assert line.hidden_length_m == pytest.approx(300.0, abs=5.0)
    assert line.seen_length_m + line.hidden_length_m == pytest.approx(700.0, abs=1e-6)
    assert line.geometry.length == pytest.approx(line.seen_length_m, abs=1e-6)


def test_a_line_is_cut_finer_than_its_samples(walled):
    """Tall things show beyond the wall up to the line over its crest: at 45 m, x = 500 * 43.4 / 28.4."""
    _, _, lines, _ = _outlines(walled, shapely.LineString([(520, 0), (880, 0)]), height_m=45.0)
    (line,) = lines.itertuples()
    assert line.seen_length_m == pytest.approx(500 * 43.4 / 28.4 - 520, abs=0.01)
    assert line.hidden_length_m == pytest.approx(880 - 500 * 43.4 / 28.4, abs=0.01)


def test_an_area_across_the_wall(walled):
    _, _, lines, areas = _outlines(walled, shapely.box(400, -50, 600, 50))
    assert lines.empty
    (area,) = areas.itertuples()
    assert area.seen_ha == pytest.approx(1.0, abs=0.1)  # 100 m by 100 m before the wall, within a spacing
    assert area.seen_ha + area.hidden_ha == pytest.approx(2.0, abs=1e-6)


def test_a_tall_area_shows_over_the_wall(walled):
    _, _, _, areas = _outlines(walled, shapely.box(520, -5, 880, 5), height_m=45.0)
    (area,) = areas.itertuples()
    assert area.seen_ha == pytest.approx((500 * 43.4 / 28.4 - 520) * 10 / 1e4, abs=0.001)


def test_nothing_seen_makes_no_row(walled):
    _, listed, lines, areas = _outlines(
        walled, shapely.LineString([(600, 0), (700, 0)]), shapely.box(600, 0, 700, 50)
    )
    assert len(listed) == 2
    assert lines.empty and areas.empty


@pytest.mark.parametrize("height_m", [np.nan, 12.0])
def test_parts_add_up_within_the_reach_and_agree_with_visible_ground(height_m):
    ground_m = with_hole(fractal(121, 121, seed=3, relief_m=200.0), 20, 30, 12, 9)
    reading = reading_of(view_of(ground_m, 60, 60, reach_m=550.0))
    view = reading.view
    shapes = [
        shapely.box(-300, -200, 100, 150),
        shapely.box(-320, 180, -200, 420),
        shapely.Point(400, 300).buffer(260),
        shapely.LineString([(-700, 10), (-100, 300), (300, -400), (900, -420)]),
        shapely.LineString([(-280, 100), (-250, 500)]),
    ]
    features, listed, lines, areas = _outlines(reading, *shapes, height_m=height_m)
    place = dict(zip(listed["rank"], listed.index, strict=True))
    disc = shapely.Point(view.easting_m, view.northing_m).buffer(550.0, quad_segs=400)
    assert len(lines) >= 1 and len(areas) >= 2
    for frame, names, unit in (
        (lines, ["seen_length_m", "hidden_length_m", "unknown_length_m"], 1.0),
        (areas, ["seen_ha", "hidden_ha", "unknown_ha"], 1e4),
    ):
        for _, row in frame.iterrows():
            whole = shapely.intersection(features.geometry.iloc[place[row["rank"]]], disc)
            size = whole.length if unit == 1.0 else whole.area
            assert row[names].sum() * unit == pytest.approx(size, rel=1e-3)
    if np.isnan(height_m):
        visible = shapely.union_all(reading.cover.visible.polygons)
        for _, row in areas.iterrows():
            expected = shapely.intersection(visible, features.geometry.iloc[place[row["rank"]]])
            assert row["seen_ha"] * 1e4 == pytest.approx(expected.area, rel=1e-6)
