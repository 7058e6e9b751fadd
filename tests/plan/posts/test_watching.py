"""What places see of a course: similar triangles, what the eye parts, chances in closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import rasterio
from pyproj import CRS
from scipy import special

from hillsight.errors import CallError
from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.cover import Cover
from hillsight.ground.grid import Grid, Surface
from hillsight.ground.terrain import open_terrain
from hillsight.plan.look.noticing import made_out, made_out_to_m
from hillsight.plan.posts.course import Course, cut
from hillsight.plan.posts.drawn import Drawn, drawn_along, watch_drawn
from hillsight.plan.posts.places import Places
from hillsight.plan.posts.watching import Lines, Watching, light_along, watch
from hillsight.sight.points import see_points
from hillsight.sight.viewing import Eye
from shared_data import shared_file
from terrains import fractal, write_geotiff

DROP = 0.87 / (2 * 6_371_000.0)

SURE = ErrorModel(
    0.0,
    100.0,
    between_posts="straight",
    station_position_m=0.0,
    eye_height_m=0.0,
    refraction=0.0,
    feature_position_m=0.0,
)


def surface(height_m: np.ndarray, spacing_m: float = 10.0) -> Surface:
    rows, columns = height_m.shape
    grid = Grid(CRS(27700), 200_000.0, 700_000.0, spacing_m, spacing_m, rows, columns)
    return Surface(grid, np.asarray(height_m, np.float32))


def seen(ground: Surface, eyes: tuple, targets: tuple, how: Watching) -> np.ndarray:
    at = [np.asarray(v, float) for v in (*eyes, *targets)]
    lines = Lines.within(*at, how.farthest_m)
    light = light_along(
        ground, lines, (at[0], at[1]), (at[2], at[3]), how.eye_height_m, how.runner_least_m, 0.0
    )
    return lines.table(light > 0.95)


def walled(wall_m: float) -> Surface:
    """Level ground with a wall along the column 200 m east of the west edge."""
    height_m = np.zeros((21, 81))
    height_m[:, 20] = wall_m
    return surface(height_m)


def test_a_wall_hides_by_similar_triangles() -> None:
    """Eye at 1.6 m, wall 200 m off, body from 1 m up 400 m off: the line passes 1.3 m up."""
    for wall_m, sees in ((1.29, True), (1.31, False)):
        found = seen(
            walled(wall_m),
            ([200_000.0], [699_900.0]),
            ([200_400.0], [699_900.0]),
            Watching(runner_least_m=1.0),
        )
        assert found.tolist() == [[sees]]
    # Of one who need only show a head the line passes 1.7 m above it.
    high = Watching(runner_least_m=1.8)
    assert seen(walled(1.69), ([200_000.0], [699_900.0]), ([200_400.0], [699_900.0]), high).all()
    assert not seen(walled(1.71), ([200_000.0], [699_900.0]), ([200_400.0], [699_900.0]), high).any()


def test_as_far_as_a_person_is_made_out() -> None:
    """Half a metre under two minutes of arc, and four times that, by trigonometry."""
    detected_m = 0.5 / math.tan(math.radians(2 / 60))
    assert Watching().farthest_m == pytest.approx(detected_m, rel=1e-4)
    assert Watching(known=True).farthest_m == pytest.approx(detected_m / 4, rel=1e-4)
    assert Watching(glass=8.0).farthest_m == pytest.approx(8 * detected_m, rel=1e-4)
    assert Watching(glass=8.0, reach_m=3000.0).farthest_m == 3000.0
    flat = surface(np.zeros((5, 120)))
    easting_m = 200_000.0 + np.array([850.0, 870.0])
    assert seen(flat, ([200_000.0], [699_980.0]), (easting_m, [699_980.0] * 2), Watching()).tolist() == [
        [True, False]
    ]


@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("glass", [1.0, 8.0])
def test_one_rule_for_what_is_made_out(known: bool, glass: float) -> None:
    """The distance is where the chance of the rule for pictures comes to a half; haze takes contrast."""
    for hazy in (False, True):
        away_m = made_out_to_m(0.5, known=known, glass=glass, hazy=hazy)
        apparent_deg = np.degrees(0.5 / np.array([away_m])) * glass
        contrast = np.exp(-3.912 * np.array([away_m]) / 5_000.0) if hazy else np.ones(1)
        chance = made_out(apparent_deg, contrast, np.array([not known]), 2.0 / 60.0)
        assert chance == pytest.approx([0.5], abs=1e-6)
    assert made_out_to_m(0.5, hazy=True) < made_out_to_m(0.5)


def test_as_single_targets_are_judged() -> None:
    """On rough ground every pair within reach gets the answer of ``see_points``, which the oracle judges."""
    ground = surface(fractal(81, 81, seed=3, relief_m=150.0))
    random = np.random.default_rng(1)
    eyes = 200_000.0 + random.uniform(0, 800, 12), 700_000.0 - random.uniform(0, 800, 12)
    targets = 200_000.0 + random.uniform(0, 800, 60), 700_000.0 - random.uniform(0, 800, 60)
    how = Watching(reach_m=500.0)
    found = seen(ground, eyes, targets, how)
    rows, columns = ground.grid.to_array(*targets)
    for place, (east_m, north_m) in enumerate(zip(*eyes, strict=True)):
        eye = Eye.on(ground.grid, east_m, north_m, ground.height_at_m(east_m, north_m) + 1.6, 0.0)
        alone = see_points(ground, eye, rows, columns, 1.0).clearance_m >= 0
        near = np.hypot(targets[0] - east_m, targets[1] - north_m) <= 500.0
        assert (found[place] == (alone & near)).all()
    assert 0.1 < found.mean() < 0.9


def test_watch_reads_the_terrain_once_for_all(tmp_path) -> None:
    height_m = np.zeros((41, 81), np.float32)
    height_m[:, 40] = 30.0
    path = tmp_path / "wall.tif"
    write_geotiff(path, height_m, west=200_000.0, north=700_000.0)
    terrain = open_terrain(str(path)).on_metric_grid(-5.2, 56.1)
    course = cut(Course("past the wall", np.array([200_100.0, 200_700.0]), np.full(2, 699_800.0)), 50.0)
    places = Places(
        np.array([200_150.0, 200_650.0]), np.full(2, 699_750.0), np.zeros(2), ("", ""), np.zeros(2, bool)
    )
    found = watch(terrain, places, course, Watching())
    west = course.easting_m < 200_390.0
    assert found.shape == (2, course.pieces)
    assert (found[0] == west[course.first]).all()
    assert (found[1] == (course.easting_m > 200_410.0)[course.first]).all()
    told = watch_drawn(terrain, places, course, Watching(), SURE, np.array([0, 1]), draws=3)
    assert (told.of_each() == found).all()
    assert (told.of_any() == found.any(axis=0)).all()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"eye_height_m": -1.0}, "eye is -1 m"),
        ({"runner_least_m": float("nan")}, "least height is nan m"),
        ({"glass": 0.5}, "glass of power 0.5"),
        ({"reach_m": 0.0}, "farthest that counts is 0 m"),
    ],
)
def test_what_makes_no_sense_is_said(change: dict[str, float], words: str) -> None:
    with pytest.raises(CallError, match=words):
        Watching(**change)


def test_without_errors_all_draws_are_alike() -> None:
    ground = surface(fractal(61, 61, seed=8, relief_m=120.0))
    eyes = np.array([200_100.0, 200_400.0]), np.array([699_900.0, 699_500.0])
    targets = np.linspace(200_050.0, 200_550.0, 40), np.linspace(699_550.0, 699_950.0, 40)
    told = drawn_along(ground, eyes, targets, Watching(), SURE, 0.0, draws=5)
    plain = seen(ground, eyes, targets, Watching())
    assert (told.of_each() == plain).all()
    assert told.of_share(np.ones(40)) == pytest.approx((plain.any(axis=0).mean(),) * 3)


def test_chance_of_an_eye_that_errs() -> None:
    """The line to the runner clears a wall of 1.3 m if the eye is above 1.6 m: for an eye at 1.7 +- 0.1 m one
    standard deviation, 84 % (tables of the normal distribution)."""
    errors = replace(SURE, eye_height_m=0.1)
    how = Watching(eye_height_m=1.7)
    eyes = np.array([200_000.0]), np.array([699_900.0])
    targets = np.array([200_400.0]), np.array([699_900.0])
    told = drawn_along(walled(1.3), eyes, targets, how, errors, 0.0, draws=1000)
    assert told.of_each()[0, 0] == pytest.approx(special.ndtr(1.0), abs=0.04)


def test_what_errs_for_all_is_counted_once() -> None:
    """Two marshals look over the same wall, 1 m high give or take 1 m, at one who must show from 1 m up.

    They see over it together or not at all: one chance in two, not three in four.
    """
    height_m = np.zeros((21, 81))
    ground = surface(height_m)
    wall_m = np.zeros((21, 81), np.float32)
    wall_m[:, 20] = 1.3
    cover = Cover(
        wall_m, np.zeros_like(wall_m), (wall_m > 0).astype(np.uint8), ("", "wall"), height_sigma_m=0.5
    )
    ground = replace(ground, cover=cover)
    eyes = np.full(2, 200_000.0), np.array([699_900.0, 699_910.0])
    targets = np.array([200_400.0]), np.array([699_905.0])
    told = drawn_along(ground, eyes, targets, Watching(), SURE, 0.0, draws=400)
    each = told.of_each()[:, 0]
    assert each == pytest.approx([0.5, 0.5], abs=0.06)
    assert told.of_any()[0] == pytest.approx(0.5, abs=0.06)
    assert told.of_any()[0] < 1.0 - np.prod(1.0 - each) - 0.15


def test_ground_that_errs_is_shared_by_posts_side_by_side() -> None:
    """Of two posts 2 m apart the second adds next to nothing, whatever the ground between truly is."""
    ground = surface(fractal(81, 81, seed=5, relief_m=100.0))
    errors = replace(SURE, terrain_rmse_m=1.0, correlation_length_m=60.0)
    eyes = np.array([200_200.0, 200_202.0]), np.array([699_600.0, 699_600.0])
    targets = np.linspace(200_100.0, 200_700.0, 80), np.linspace(699_900.0, 699_300.0, 80)
    told = drawn_along(ground, eyes, targets, Watching(), errors, 0.0, draws=80)
    each, any_of = told.of_each(), told.of_any()
    doubtful = (each[0] > 0.1) & (each[0] < 0.9)
    assert doubtful.sum() > 5
    assert (any_of >= each.max(axis=0)).all()
    apart = (1.0 - np.prod(1.0 - each, axis=0))[doubtful].mean()
    assert any_of[doubtful].mean() - each[0][doubtful].mean() < 0.35 * (apart - each[0][doubtful].mean())


def test_a_posts_chances_do_not_hang_on_the_others() -> None:
    ground = surface(fractal(61, 61, seed=8, relief_m=120.0))
    errors = ErrorModel.guessed_from_spacing(10.0)
    eyes = np.array([200_100.0, 200_400.0]), np.array([699_900.0, 699_500.0])
    targets = np.linspace(200_050.0, 200_550.0, 40), np.linspace(699_550.0, 699_950.0, 40)
    both = drawn_along(ground, eyes, targets, Watching(), errors, DROP, draws=10)
    second = drawn_along(ground, (eyes[0][1:], eyes[1][1:]), targets, Watching(), errors, DROP, draws=10)
    assert (both.of_each()[1] == second.of_each()[0]).all()
    assert (both.of_any(np.array([1])) == second.of_any()).all()


def test_shares_are_weighed() -> None:
    bits = np.packbits(np.array([[[1, 0, 1]], [[1, 0, 0]]], bool), axis=-1)
    told = Drawn(bits, 3)
    mean, low, high = told.of_share(np.array([2.0, 1.0, 1.0]))
    assert (told.draws, mean) == (2, pytest.approx(0.625))
    assert 0.5 <= low <= high <= 0.75


def test_chances_hold_on_real_ground_that_the_model_has_not() -> None:
    """OS Terrain 50 thinned to 100 m is the model, the 50 m posts are the truth, in the east of the
    Highlands.

    Of pieces that any of four posts was said to see with nine chances in ten or more, at least so many are
    seen.
    """
    with rasterio.open(shared_file("osterrain50_highlands.tif")) as dataset:
        whole_m = dataset.read(1, window=((1200, 2600), (3400, 4600))).astype(np.float32) * 0.1
    errors = replace(
        ErrorModel.guessed_from_spacing(100.0),
        between_posts="points",
        station_position_m=0.0,
        eye_height_m=0.0,
        feature_position_m=0.0,
    )
    random = np.random.default_rng(77)
    how = Watching(glass=4.0, reach_m=2_000.0)
    stated, found = [], []
    while len(stated) < 8:
        row, column = random.integers(0, 1239), random.integers(0, 1039)
        fine_m = whole_m[row : row + 121, column : column + 121]
        if not (np.isfinite(fine_m).all() and fine_m.min() > 0 and np.ptp(fine_m) > 250.0):
            continue
        truth, model = surface(fine_m, 50.0), surface(fine_m[::2, ::2], 100.0)
        targets = 200_000.0 + random.uniform(1_500, 4_500, 150), 700_000.0 - random.uniform(1_500, 4_500, 150)
        eyes = 200_000.0 + random.uniform(2_000, 4_000, 4), 700_000.0 - random.uniform(2_000, 4_000, 4)
        stated.append(drawn_along(model, eyes, targets, how, errors, DROP, draws=40).of_any())
        found.append(seen(truth, eyes, targets, how).any(axis=0))
    said, true = np.concatenate(stated), np.concatenate(found)
    assert said.mean() == pytest.approx(true.mean(), abs=0.05)
    assert true[said >= 0.9].mean() >= 0.93
    assert true[said <= 0.1].mean() <= 0.07
