"""Closed forms: what must be seen of shapes whose answer can be worked out with a pencil.

Source of every row: analytic_visibility.csv, column ``formula`` (closed forms, not published figures).
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from assertions import assert_same_states
from hillsight.sight.bearings import see_bearings
from hillsight.sight.points import see_points
from hillsight.sight.posts import distance_from_m, see_posts
from hillsight.sight.viewing import Eye
from terrains import fractal
from views import surface_of

with (Path(__file__).parent / "data" / "analytic_visibility.csv").open(newline="") as _file:
    ROWS = list(csv.DictReader(_file))

SPHERE, HIDDEN, WALL, RIDGES = (
    "sphere horizon on flat DEM",
    "hidden height beyond horizon",
    "single wall",
    "two ridges",
)
#: No part of the sight room answers with a probability.
NOT_CHECKED = {
    "DEM-error visibility probability": "the error model is a thing of its own, not of a sight line"
}


def _rows(case):
    return [
        pytest.param(row, id=f"{row['inputs']}: {row['quantity']}") for row in ROWS if row["case"] == case
    ]


def _number(pattern, text):
    return float(re.search(pattern, text)[1])


def _required_m(surface, eye, at_m):
    """Height that a thing on the row of posts must reach to show."""
    column = at_m / surface.grid.spacing_x_m
    seen = see_points(surface, eye, np.zeros(1), np.array([column]))
    return float(seen.ground_m[0] - seen.clearance_m[0])


@pytest.mark.parametrize("row", _rows(SPHERE))
def test_horizon_on_a_sphere(row):
    height_m, cc, radius_m = (_number(rf"{k}=([\d.]+)", row["inputs"]) for k in ("h", "cc", "R"))
    expected_m, spacing_m = float(row["value"]), 25.0
    flat = surface_of(np.zeros((1, int(1.2 * expected_m / spacing_m))), spacing_m)
    eye = Eye(0, 0, height_m, cc / (2 * radius_m))
    clearance = see_posts(flat, eye, 1e9).clearance_m[0]
    seen = np.flatnonzero(clearance >= 0)
    assert seen.tolist() == list(range(seen.size))  # all to the horizon, none behind it
    assert seen.size < clearance.size
    assert abs(seen[-1] * spacing_m - expected_m) <= spacing_m
    skyline = see_bearings(flat, eye, 1e9, np.array([90.0]))
    assert abs(skyline.skyline_distance_m[0] - expected_m) <= spacing_m
    assert np.degrees(np.arctan(skyline.skyline_slope[0])) == pytest.approx(
        -np.degrees(np.sqrt(2 * height_m * cc / radius_m)), abs=1e-4
    )  # dip, closed form


@pytest.mark.parametrize("bearing", [0.0, 37.0, 135.0, 256.5])
def test_horizon_is_the_same_on_slanting_bearings(bearing):
    """Row "eye h=2 m; cc=0.87" again, over a square of posts."""
    flat = surface_of(np.zeros((301, 301)), 40.0)
    eye = Eye(150.3, 149.6, 2.0, 0.87 / (2 * 6_371_000))
    found = see_bearings(flat, eye, 1e9, np.array([bearing]))
    assert abs(found.skyline_distance_m[0] - 5412.2) <= 40 * np.sqrt(2)


@pytest.mark.parametrize("row", _rows(HIDDEN))
def test_height_hidden_beyond_the_horizon(row):
    at_m = _number(r"target at (\d+) m", row["inputs"])
    flat = surface_of(np.zeros((1, int(at_m / 25) + 1)), 25.0)
    eye = Eye(0, 0, 2.0, 0.87 / (2 * 6_371_000))
    assert _required_m(flat, eye, at_m) == pytest.approx(float(row["value"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", _rows(WALL))
def test_single_wall(row):
    height_m = np.zeros((1, 301))
    height_m[0, 100] = 5.0
    wall, eye = surface_of(height_m, 1.0), Eye(0, 0, 20.0)
    if row["quantity"] == "shadow ends at m":
        hidden = np.flatnonzero(see_posts(wall, eye, 1e9).clearance_m[0] < 0)
        assert hidden.tolist() == list(range(101, 134))
        assert abs(hidden[-1] - float(row["value"])) <= 1
        _, re_emergence_m, depth_m = see_bearings(wall, eye, 1e9, np.array([90.0])).crests[0, 0]
        assert re_emergence_m == pytest.approx(20 * 100 / 15, abs=1e-9)  # the row's own formula
        assert depth_m == pytest.approx(5 - 0.15, abs=1e-9)  # just behind the wall: 20 - 0.15 * 101
    else:
        assert row["quantity"] == "min visible target height at 120 m"
        assert _required_m(wall, eye, 120.0) == pytest.approx(float(row["value"]), abs=1e-9)


@pytest.mark.parametrize("row", _rows(RIDGES))
def test_two_ridges(row):
    height_m = np.zeros((1, 41))
    height_m[0, 10], height_m[0, 20] = 50.0, 100.0 if "raised" in row["inputs"] else 80.0
    at_m = _number(r"at (\d+) m", row["quantity"])
    ridges, eye = surface_of(height_m, 100.0), Eye(0, 0, 2.0)
    assert _required_m(ridges, eye, at_m) == pytest.approx(float(row["value"]), abs=1e-9)
    if "ridge 2 hidden" in row["quantity"]:
        assert see_posts(ridges, eye, 1e9).clearance_m[0, 20] == pytest.approx(80.0 - 98.0)


@pytest.mark.parametrize("row", _rows("cone"))
def test_cone(row):
    top_m, base_m, away_m, eye_m = (
        _number(p, row["inputs"]) for p in (r"H=(\d+)", r"radius (\d+)", r"distance (\d+) m", r"eye ([\d.]+)")
    )
    half_angle_deg, fraction = (float(v) for v in row["value"].split(";"))
    spacing_m = base_m / 100
    half = int(base_m / spacing_m) + 3
    columns = half + round(away_m / spacing_m) + 1
    north, east = np.meshgrid(
        (half - np.arange(2 * half + 1)) * spacing_m, (np.arange(columns) - half) * spacing_m, indexing="ij"
    )
    radius_m = np.hypot(north, east)
    cone = surface_of(np.maximum(0.0, top_m * (1 - radius_m / base_m)), spacing_m)
    eye = Eye(half, half + away_m / spacing_m, eye_m)  # due east of the axis
    seen = see_posts(cone, eye, 1e9).clearance_m >= 0
    angle_deg = np.degrees(np.abs(np.arctan2(north, east)))
    # Beside the edge a facet between posts may turn either way; a facet is a spacing wide.
    band_deg = np.degrees(np.arcsin(np.minimum(1, 3 * spacing_m / np.maximum(radius_m, 1e-9))))
    on_cone = (radius_m < base_m - spacing_m) & (radius_m > 3 * spacing_m)
    assert seen[on_cone & (angle_deg < half_angle_deg - band_deg)].all()
    assert not seen[on_cone & (angle_deg > half_angle_deg + band_deg)].any()
    assert seen[radius_m < base_m].mean() == pytest.approx(fraction, abs=0.01)


def _rough():
    """Heights in 64ths of a metre: sums with such planes are exact in float32, so that ties stay ties."""
    return np.round(fractal(61, 61, seed=4, relief_m=60.0) * 64) / np.float32(64)


@pytest.mark.parametrize("row", _rows("tilted plane"))
def test_tilted_plane_is_all_in_view(row):
    assert row["value"] == "all"
    r, c = np.indices((40, 50))
    for eye_m in (0.0, 1.6, 50.0):
        for p, q in ((0.3125, -0.25), (-1.25, 0.75), (0.0, 0.5)):  # exact in float32
            heights = 100 + p * r + q * c
            eye = Eye(17.25, 11.5, 100 + p * 17.25 + q * 11.5 + eye_m)
            assert (see_posts(surface_of(heights), eye, 1e9).clearance_m[:] >= 0).all(), (eye_m, p, q)


@pytest.mark.parametrize("row", _rows("curvature = parabolic dome"))
def test_curvature_is_a_parabolic_dome(row):
    cc_2r = 0.87 / (2 * 6_371_000) * 1e3  # a planet small enough to show on 61 posts
    rough = surface_of(_rough())
    eye = Eye(30, 30, float(rough.height_m[30, 30]) + 1.6, cc_2r)
    dome = (rough.height_m.astype(float) - cc_2r * distance_from_m(rough.grid, eye) ** 2).astype(np.float32)
    curved = see_posts(rough, eye, 1e9).clearance_m
    domed = see_posts(surface_of(dome), Eye(30, 30, eye.level_m), 1e9).clearance_m
    assert_same_states(curved, domed)
    assert 0.1 < (curved < 0).mean() < 0.95
    assert int(row["value"]) == 0


@pytest.mark.parametrize("row", _rows("shear invariance"))
def test_shear(row):
    rough = _rough()
    r, c = np.indices(rough.shape)
    plane = (2.0 * r - 0.5 * c).astype(np.float32)
    at = 22.0, 41.0
    level_m = float(rough[22, 41]) + 16.0
    flat = see_posts(surface_of(rough), Eye(*at, level_m), 1e9).clearance_m
    sheared = see_posts(surface_of(rough + plane), Eye(*at, level_m + float(plane[22, 41])), 1e9).clearance_m
    assert_same_states(flat, sheared)
    assert 0.1 < (flat < 0).mean() < 0.95
    assert int(row["value"]) == 0


@pytest.mark.parametrize("row", _rows("reciprocity"))
def test_reciprocity(row):
    rough = surface_of(_rough())
    random = np.random.default_rng(8)
    answers = Counter()
    for _ in range(200):
        a, b = random.uniform(0, 60, 2), random.uniform(0, 60, 2)
        tall = random.uniform(0, 8, 2)
        ground = [rough.height_at_m(*(float(v) for v in rough.grid.to_map(*p))) for p in (a, b)]
        there, back = (
            see_points(
                rough, Eye(*p, ground[i] + tall[i]), np.array([q[0]]), np.array([q[1]]), tall[1 - i]
            ).clearance_m[0]
            >= 0
            for i, (p, q) in enumerate(((a, b), (b, a)))
        )
        assert there == back, (a, b)
        answers[bool(there)] += 1
    assert min(answers.values()) > 20
    assert row["value"] == "same"


def test_every_row_is_checked_or_named():
    checked = {SPHERE: 32, HIDDEN: 3, WALL: 2, RIDGES: 3, "cone": 3, "tilted plane": 1}
    checked |= {"curvature = parabolic dome": 1, "shear invariance": 1, "reciprocity": 1}
    found = Counter(row["case"] for row in ROWS)
    assert found == checked | dict.fromkeys(NOT_CHECKED, 5)
    assert (len(ROWS), sum(checked.values())) == (52, 47)
