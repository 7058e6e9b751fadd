"""What is stated of crests, edges of dead ground and depths, against brute simulation of the error model.

The draws are those of docs/studies/trust_simulation.py, which shares no code with ``drawn_edges``: fields,
stations, eyes and seeds of its own. Bounds: 90 to 98 % for intervals of 95 %, and chances within 0.03 of what
is counted, pooled over the figures of a ground.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np
import pytest

from hillsight.ground.accuracy import ErrorModel
from hillsight.reading.doubt.trust import Limits
from hillsight.reading.ground.behind_crests import behind_crests
from hillsight.reading.ground.brows import first_brows
from hillsight.reading.ground.drawn_edges import (
    add_ground_doubt,
    behind_edges,
    deepest_places,
    interval_m,
    plus_minus_m,
    same_crest,
)
from hillsight.reading.ground.first_ground import first_ground
from hillsight.sight.bearings import see_bearings
from hillsight.sight.points import see_points
from terrains import fractal, plane
from trust_simulation import draws
from views import reading_of, view_of

ERRORS = ErrorModel(1.0, 30.0, between_posts="straight")
TRUTHS = 300


@dataclass(frozen=True)
class Doubted:
    """A view, and its frames with their doubt."""

    view: object
    frames: dict


def doubted(view, errors):
    """The frames of a view's ground, with doubt."""
    reading = reading_of(view)
    frames = {
        "dead_ground": reading.pockets,
        "dead_ground_by_crest": behind_crests(view, reading.pockets, reading.lines),
        "crest_lines": reading.lines.frame,
        "first_ground": first_ground(view),
    }
    add_ground_doubt(view, frames, errors, Limits())
    return Doubted(view, frames)


def share_held(truths_m, low_m, high_m):
    """Share of known truths (n, draws) within intervals (n,), over the figures that have one."""
    known = np.isfinite(truths_m) & np.isfinite(low_m)[:, None]
    held = (truths_m >= low_m[:, None] - 1e-9) & (truths_m <= high_m[:, None] + 1e-9)
    assert known.sum() > 2_000  # else it says nothing
    return held[known].mean()


@pytest.fixture(scope="module", params=(3, 11))
def simulated(request):
    """Rough ground looked at, and what crests, depths and brows are on 300 possible truths."""
    view = view_of(fractal(121, 121, seed=request.param, relief_m=180.0), 60, 60, reach_m=580.0)
    made = doubted(view, ERRORS)
    behind, crests, sectors = (
        made.frames[name] for name in ("dead_ground_by_crest", "crest_lines", "first_ground")
    )
    deepest = deepest_places(view, behind)
    ends = [line.coords for line in crests.geometry]
    nearest = [min(c, key=lambda p: np.hypot(p[0] - view.easting_m, p[1] - view.northing_m)) for c in ends]
    edges = behind_edges(view, *np.array(nearest)[:, :2].T)
    asked = np.isfinite(edges.row)
    bearings = sectors["brow_bearing_true_deg"].to_numpy(float)  # true north is grid north there
    met = np.isfinite(bearings)
    found = {"depth": [], "edge": [], "brow": [], "again": [], "brow_depth": []}
    for draw in draws(view.surface, view.eye, 1.6, ERRORS, TRUTHS, seed=40 + request.param):
        of_depth = see_points(draw.surface, draw.eye, deepest.row, deepest.column)
        found["depth"].append(np.maximum(-of_depth.clearance_m, 0.0))
        edge_m = np.full(len(crests), np.nan)
        seen = see_points(draw.surface, draw.eye, edges.row[asked], edges.column[asked])
        edge_m[asked] = np.where(seen.clearance_m < 0, seen.crest_distance_m, np.nan)
        found["edge"].append(edge_m)
        brows = first_brows(see_bearings(draw.surface, draw.eye, 580.0, bearings[met]).crests)
        for name, values in zip(
            ("brow", "again", "brow_depth"), (brows.brow_m, brows.out_again_m, brows.depth_m), strict=True
        ):
            found[name].append(values)
    return made, edges, met, {name: np.array(values).T for name, values in found.items()}


def test_intervals_of_depths_hold_the_truths(simulated):
    made, _, _, found = simulated
    behind = made.frames["dead_ground_by_crest"]
    low_m, high_m = (behind[f"depth_max_{end}_m"].to_numpy() for end in ("low", "high"))
    assert 0.90 <= share_held(found["depth"], low_m, high_m) <= 0.98


def test_crests_lie_where_they_are_said_to_lie_and_hide_as_often_as_is_said(simulated):
    made, edges, _, found = simulated
    crests = made.frames["crest_lines"]
    same = same_crest(found["edge"], edges.stated_m, 10.0)
    half_m = crests["distance_min_plus_minus_m"].to_numpy()
    truths_m = np.where(same, found["edge"], np.nan)
    assert 0.90 <= share_held(truths_m, edges.stated_m - half_m, edges.stated_m + half_m) <= 0.98
    assert half_m[np.isfinite(half_m)].min() >= 10.0  # a spacing


def test_brows_of_first_ground_lie_and_are_as_likely_as_is_said(simulated):
    made, _, met, found = simulated
    sectors = made.frames["first_ground"][met]
    stated_m = sectors["brow_distance_m"].to_numpy()
    same = same_crest(found["brow"], stated_m, 10.0)
    assert sectors["brow_probability"].mean() == pytest.approx(same.mean(), abs=0.03)
    off = np.abs(sectors["brow_probability"].to_numpy() - same.mean(axis=1))
    assert off.max() < 0.25  # 79 draws against 300: three standard deviations of a half and half are 0.19
    half_m = sectors["brow_distance_plus_minus_m"].to_numpy()
    truths_m = np.where(same, found["brow"], np.nan)
    assert 0.90 <= share_held(truths_m, stated_m - half_m, stated_m + half_m) <= 0.98
    low_m, high_m = (sectors[f"depth_max_{end}_m"].to_numpy() for end in ("low", "high"))
    assert 0.90 <= share_held(np.where(same, found["brow_depth"], np.nan), low_m, high_m) <= 0.98


def test_words_of_first_ground_are_no_surer_than_its_figures(simulated):
    made, _, met, _ = simulated
    told = 0
    for _, row in made.frames["first_ground"][met].iterrows():
        distance_m, half_m = row["brow_distance_m"], row["brow_distance_plus_minus_m"]
        if distance_m < 10.0:
            assert "within a post's spacing (10 m)" in row["description"]
        elif half_m >= 0.2 * distance_m:
            out_m = float(re.search(r"give or take ([0-9]+) m", row["description"]).group(1))
            assert out_m == pytest.approx(half_m, rel=0.5)  # one figure of it
            told += 1
        assert ("some slight rise" in row["description"]) == (row["brow_probability"] < 0.5)
    assert told > 5


def test_ground_is_hidden_as_often_as_is_said(simulated):
    made, _, _, found = simulated
    behind = made.frames["dead_ground_by_crest"]
    hidden = (found["depth"] > 1e-6).mean(axis=1)  # what lies on the grazing line is seen
    assert behind["hidden_probability"].mean() == pytest.approx(hidden.mean(), abs=0.03)
    uncertain = behind["state"] == "uncertain"
    assert (behind["hidden_probability"][uncertain] < 0.9).all()
    assert (behind["hidden_probability"][~uncertain] >= 0.9).all()


def test_a_high_wall_is_known_to_a_spacing_and_hides_for_certain():
    height_m = plane(81, 81)
    height_m[20] += 30.0
    errors = replace(ErrorModel(0.05, 30.0), station_position_m=0.0, between_posts="straight")
    made = doubted(view_of(height_m, 40, 40, reach_m=390.0), errors)
    crest = made.frames["crest_lines"].iloc[0]
    assert crest["hides_probability"] == 1.0
    assert crest["distance_min_m"] == pytest.approx(200.0, abs=10.0)
    assert crest["distance_min_plus_minus_m"] == 10.0
    pocket = made.frames["dead_ground"].iloc[0]
    assert pocket["state"] == "hidden" and pocket["hidden_probability"] == pytest.approx(1.0, abs=1e-6)
    assert pocket["depth_max_low_m"] <= pocket["depth_max_m"] <= pocket["depth_max_high_m"]


def test_dead_ground_as_shallow_as_the_errors_is_uncertain():
    height_m = plane(81, 81)
    # From 10 m up, the line over the lip 190 m north stands 0.53 m below the plane at 200 m.
    height_m[20] -= 0.8
    made = doubted(view_of(height_m, 40, 40, eye_height_m=10.0, reach_m=390.0), ERRORS)
    pockets = made.frames["dead_ground"]
    shallow = pockets[pockets["depth_max_m"].between(0.25, 0.3)]
    assert len(shallow) and (shallow["state"] == "uncertain").all()


def test_intervals_keep_their_share_where_values_are_missing():
    values = np.full((2, 79), np.nan)
    values[0], values[1, :39] = np.arange(79.0), np.arange(39.0)
    low, high = interval_m(values)
    assert (low[0], high[0]) == (1.0, 77.0)  # second smallest, second greatest
    assert np.isnan(low[1]) and np.isnan(high[1])  # fewer than half
    assert plus_minus_m(values[:1], np.zeros(1))[0] == 75.0  # 76th smallest difference


def test_without_an_error_model_nothing_is_said():
    view = view_of(fractal(61, 61, seed=3, relief_m=80.0), 30, 30, reach_m=280.0)
    reading = reading_of(view)
    assert reading.pockets["hidden_probability"].isna().all()
    assert set(reading.pockets["state"]) == {"hidden"}
    assert reading.lines.frame["distance_min_plus_minus_m"].isna().all()
