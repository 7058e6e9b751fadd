"""Bearing lists with doubt, and what stands against the sky, on grounds where the answer is known."""

from __future__ import annotations

import geopandas
import numpy as np
import pytest
import shapely

from doubts import exactly_placed
from hillsight.ground.accuracy import ErrorModel
from hillsight.reading.doubt.trust import Limits
from hillsight.reading.section.whole_target import Standpoint, whole_target
from hillsight.reading.things.against_sky import sky_shares
from hillsight.reading.things.bearing_list import bearing_list
from hillsight.reading.things.judged import judge
from hillsight.sight.doubt import Doubtful
from hillsight.sight.doubt_shares import seen_of_feature
from terrains import plane
from views import reading_of, view_of

ERRORS = exactly_placed(ErrorModel(1.0, 30.0, between_posts="straight"))


def points(view, *places):
    """Map features at (east, north, target height) from the station."""
    shapes = [shapely.Point(view.easting_m + e, view.northing_m + n) for e, n, _ in places]
    return geopandas.GeoDataFrame(
        {
            "name": [f"thing {k}" for k in range(len(places))],
            "kind": ["cairn"] * len(places),
            "evidence_class": ["man_made"] * len(places),
            "target_height_m": [float(h) for _, _, h in places],
            "source": ["made"] * len(places),
        },
        geometry=shapes,
        crs=view.grid.crs,
    )


def walled():
    """A plane with a wall of 10 m across it 200 m north of an eye 1.6 m above it."""
    height_m = plane(81, 81)
    height_m[20] += 10.0
    return view_of(height_m, 40, 40)


def test_on_the_limit_of_being_seen_a_thing_is_uncertain_and_far_from_it_sure():
    # The line over the wall stands (10 - 1.6) / 200 m a metre: at 380 m it is 17.56 m above the ground.
    view = walled()
    listed = bearing_list(
        view,
        points(view, (0, 380, 17.56), (0, 380, 60.0), (0, 380, 0.0)),
        reading_of(view).lines,
        errors=ERRORS,
    ).frame.sort_index()
    assert listed["state"].tolist() == ["uncertain", "visible", "hidden"]
    assert listed["seen_probability"].iloc[0] == pytest.approx(0.5, abs=0.1)
    assert listed["seen_probability"].iloc[1] > 0.99
    assert listed["seen_probability"].iloc[2] < 0.01
    wide = bearing_list(
        view, points(view, (0, 380, 17.56)), reading_of(view).lines, errors=ERRORS, limits=Limits(0.5, 0.5)
    ).frame
    assert wide["state"].iloc[0] in ("visible", "hidden")


def test_without_an_error_model_nothing_is_doubted():
    view = walled()
    listed = bearing_list(view, points(view, (0, 380, 17.56)), reading_of(view).lines).frame
    assert listed["state"].iloc[0] in ("visible", "hidden")
    assert listed["seen_probability"].isna().all() and listed["bearing_plus_minus_deg"].isna().all()


def test_what_tops_the_skyline_stands_against_the_sky():
    view = walled()
    on_wall, before = points(view, (0, 200, 0.0)), points(view, (0, 100, 0.0))
    (against,), (below,) = (sky_shares(view, judge(view, each)) for each in (on_wall, before))
    assert against == 1.0
    assert below == 0.0
    (hidden,) = sky_shares(view, judge(view, points(view, (0, 380, 0.0))))
    assert hidden is None


def test_plus_minus_of_bearing_is_that_of_the_places():
    # 1.96 sigma across at 300 m: arctan(1.96 * 10 / 300), first order (standard propagation of errors).
    view = walled()
    errors = ErrorModel(1.0, 30.0, station_position_m=6.0, feature_position_m=8.0, between_posts="straight")
    listed = bearing_list(
        view, points(view, (300, 0, 2.0)), reading_of(view).lines, errors=errors
    ).frame.iloc[0]
    assert listed["bearing_plus_minus_deg"] == pytest.approx(np.degrees(np.arcsin(19.6 / 300)), rel=0.03)
    assert listed["distance_plus_minus_m"] == pytest.approx(19.6, rel=0.01)


def long_view():
    """A plane with a wall of 100 m across it 400 m north of an eye at its southern end."""
    height_m = plane(220, 61)
    height_m[170] += 100.0
    return view_of(height_m, 210, 30)


@pytest.mark.parametrize("half_width_m", [0.0, 60.0])
def test_of_a_long_thing_a_fifth_of_which_is_surely_seen_the_share_is_a_fifth(half_width_m):
    """10 m high from the eye's feet to 2,000 m: seen up to the wall at 400 m and surely hidden behind it."""
    view = long_view()
    things = points(view, (0, 380, 10.0))
    line = shapely.LineString([(view.easting_m, view.northing_m + n) for n in (5.0, 2000.0)])
    things.geometry = [line if half_width_m == 0 else line.buffer(half_width_m, cap_style="flat")]
    assert judge(view, things)[0].weight.size > 200
    listed = bearing_list(
        view,
        things,
        reading_of(view).lines,
        errors=exactly_placed(ErrorModel(0.2, 30.0, between_posts="straight")),
    ).frame.iloc[0]
    assert listed["state"] == "partly"
    assert listed["seen_probability"] > 0.99
    assert listed["visible_share_low"] == pytest.approx(0.2, abs=0.02)
    assert listed["visible_share_high"] == pytest.approx(0.2, abs=0.02)


def test_a_sample_without_weight_counts_for_anything_seen_and_not_for_the_share():
    view = walled()
    row, column = np.array([view.eye.row - 10.0, view.eye.row - 38.0]), np.full(2, view.eye.column)
    doubtful = Doubtful.of(
        view.surface, view.eye, ErrorModel(0.1, 30.0, between_posts="straight"), feature=True
    )
    share = seen_of_feature(doubtful, row, column, np.array([9.0, 0.0]), np.array([0.0, 1.0]))
    assert share.any_seen > 0.99
    assert share.high < 0.01


@pytest.mark.parametrize("half_width_m", [0.0, 60.0])
def test_a_section_says_of_all_of_its_target_what_the_list_says(half_width_m):
    view = long_view()
    line = shapely.LineString([(view.easting_m, view.northing_m + n) for n in (5.0, 2000.0)])
    shape = line if half_width_m == 0 else line.buffer(half_width_m, cap_style="flat")
    things = points(view, (0, 380, 10.0))
    things.geometry = [shape]
    listed = bearing_list(view, things, reading_of(view).lines).frame.iloc[0]
    stand = Standpoint(view.easting_m, view.northing_m, view.surface, view.eye, view.viewing, view.geodesy)
    whole = whole_target(stand, shape, 10.0)
    assert (whole.state, whole.visible_share) == (listed["state"], listed["visible_share"])
    assert whole.state == "partly"
