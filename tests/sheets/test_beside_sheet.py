"""Views beside each other: one scale, one way to look, and differences that are those of the figures."""

from __future__ import annotations

import re

import numpy as np
import pytest

from drawn import COLUMNS, ROWS, features_of, looking, made_features, thing
from hillsight.reading.drawn.differences import (
    brow_distances_m,
    compared_features,
    difference_sentences,
    highest_of_skyline,
    skyline_gap,
)
from hillsight.reading.drawn.drawn_view import drawn_view
from hillsight.sheets.panorama.beside_sheet import draw_beside
from hillsight.sheets.panorama.panorama_sheet import Place
from hillsight.sheets.panorama.picture import North
from sheets.test_panorama_sheet import assert_drawn_texts_keep_apart, assert_texts_keep_apart, said
from terrains import fractal

import shapely  # isort: skip

LABELS = ["Upper Fold", "Lower Fold", "Middle Fold"]


@pytest.fixture(scope="module")
def views():
    ground = fractal(ROWS, COLUMNS, seed=21, relief_m=240)
    features = made_features(seed=21)
    places = [(71.3, 78.6), (60.2, 90.4), (100.7, 40.1)]
    return [drawn_view(looking(ground, *place), 20.0, 120.0, 0.2, features=features) for place in places]


@pytest.fixture(scope="module")
def drawn(views):
    places = [Place(label, "a made grid", -2.0, 52.6, "made.tif", "20° to 140° true") for label in LABELS]
    return draw_beside(views, places, [North("true", 0.0)] * 3)


def test_all_look_the_same_way_at_the_same_scale_on_one_page(views, drawn) -> None:
    assert len({id(one.page) for one in drawn}) == 1
    cylinders = [one.pictures[0][0] for one in drawn]
    assert len(set(cylinders)) == 1 and cylinders[0].span_deg == pytest.approx(120.0)
    tops = [one.pictures[0][2] for one in drawn]
    assert tops == sorted(tops) and len({one.pictures[0][1] for one in drawn}) == 1
    assert_texts_keep_apart(drawn[0].page)
    assert_drawn_texts_keep_apart(drawn[0].page)


def test_a_number_is_the_same_thing_on_every_view(drawn) -> None:
    names: dict[int, str] = {}
    for one in drawn:
        for landmark in one.landmarks:
            if landmark.number:
                assert names.setdefault(landmark.number, landmark.name) == landmark.name
    assert len(names) > 5


def test_the_table_tells_what_each_list_says(views, drawn) -> None:
    words = said(drawn[0].page)
    for feature in compared_features(views):
        for view, one in zip(views, feature.seen_from, strict=True):
            row = view.listed.loc[feature.place]
            assert row["name"] == feature.name
            across = (row["bearing_grid_deg"] - 20.0) % 360
            assert one.state == (row["state"] if across <= 120 else "outside")
    numbered = {landmark.name for one in drawn for landmark in one.landmarks if landmark.number}
    for feature in compared_features(views):
        if feature.name in numbered:
            assert feature.name in words
            for one in feature.seen_from:
                if one.is_seen:
                    assert f"{one.bearing_true_deg:05.1f}°" in words


def test_sentences_are_made_of_the_figures(views, drawn) -> None:
    features = compared_features(views)
    sentences = difference_sentences(LABELS, views, features)
    words = " ".join(sentences)
    for view in views:
        # By hand from the fan: the highest vertical angle and its bearing; grid north is true north here.
        at = int(np.argmax(view.fan.sky_deg))
        bearing, angle, distance_m = highest_of_skyline(view)
        assert bearing == pytest.approx(view.fan.bearing_grid_deg[at] % 360, abs=0.05)
        assert (angle, distance_m) == (view.fan.sky_deg[at], view.fan.sky_m[at])
        assert f"at {bearing:05.1f}° (" in words
        brows = brow_distances_m(view)
        some = np.flatnonzero(np.isfinite(brows))[::40]
        for i in some:
            deep = [
                d for d, depth in zip(view.fan.crest_m[i], view.fan.depth_m[i], strict=True) if depth >= 1.0
            ]
            assert brows[i] == deep[0]
    bearing, here, there = skyline_gap(views[0], views[1])
    gaps = np.abs(views[0].fan.sky_deg - views[1].fan.sky_deg)
    assert abs(here - there) == pytest.approx(gaps.max())
    if gaps.max() >= 0.3:
        assert f"{gaps.max():.1f}° higher from" in words
    for sentence in sentences:
        found = re.fullmatch(r"Seen from (.*), and not from (.*): (.*)\.", sentence)
        if not found:
            continue
        for feature in features:
            if feature.name not in found[3].replace(" and ", ", ").split(", "):
                continue
            for label, one in zip(LABELS, feature.seen_from, strict=True):
                if label in found[1]:
                    assert one.is_seen
                if label in found[2]:
                    assert not one.is_seen and not one.is_close
    assert any(sentence.startswith("Seen from ") for sentence in sentences)
    for sentence in sentences[:3]:
        assert sentence.split()[0] in said(drawn[0].page)


def test_a_thing_hidden_by_a_hair_tells_nothing_and_things_that_swap_sides_are_told() -> None:
    # By hand: two masts on a plain. The far one stands left of the near one from the west alone.
    ground = np.full((ROWS, COLUMNS), 100.0, np.float32)
    things = features_of(
        [
            thing("Near", "mast", "man_made", shapely.Point(80, 50), 10.0),
            thing("Far", "mast", "man_made", shapely.Point(80, 20), 10.0),
        ]
    )
    west, east = (
        drawn_view(looking(ground, 100.0, column, refraction=1.0), 330.0, 60.0, 0.5, features=things)
        for column in (74.0, 86.0)
    )
    # atan(60 / 500) = 6.84 and atan(60 / 800) = 4.29 degrees: 2.55 degrees between them from either side.
    words = " ".join(difference_sentences(["West", "East"], [west, east], compared_features([west, east])))
    assert "Far stands 2.6° to the left of Near from West, and 2.6° to its right from East." in words or (
        "Far stands 2.5° to the left of Near from West, and 2.5° to its right from East." in words
    )
    assert "Seen from" not in words
    ridge = ground.copy()
    ridge[60, 81:90] = 112.0  # 10.4 m above the eye at 400 m: at 800 m a thing must stand 22.4 m tall
    for tall_m, told in ((10.0, True), (21.4, False)):
        things["target_height_m"] = tall_m
        hidden = drawn_view(looking(ridge, 100.0, 86.0, refraction=1.0), 330.0, 60.0, 0.5, features=things)
        clear = drawn_view(looking(ridge, 100.0, 74.0, refraction=1.0), 330.0, 60.0, 0.5, features=things)
        features = compared_features([clear, hidden])
        said_far = [feature.tells for feature in features if feature.name == "Far"]
        states = [one for feature in features if feature.name == "Far" for one in feature.seen_from]
        assert said_far == [told], states
