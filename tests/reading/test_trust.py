"""Plus-minus of readings against draws of the errors, and the words for what is uncertain."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from doubts import exactly_placed
from hillsight.errors import CallError
from hillsight.ground.accuracy import LE90_SIGMAS, PRODUCTS, ErrorModel
from hillsight.ground.roughness import ROUGHNESS
from hillsight.reading.doubt.trust import SIGMAS_95, Limits, bearing_plus_minus_deg, plus_minus
from hillsight.sight.viewing import Eye
from terrains import fractal
from trust_simulation import EARTH_M, draws
from views import surface_of

DRAWS = 4000
ERRORS = ErrorModel(
    2.0, 80.0, station_position_m=5.0, eye_height_m=0.2, feature_position_m=8.0, between_posts="straight"
)
#: Features near and far, on posts and between them.
ROWS, COLUMNS = np.array([28.0, 11.4, 55.0, 3.2, 33.7]), np.array([31.0, 40.2, 20.0, 57.6, 25.1])


def _place(seed=11):
    # Gentle enough for the ground about a place to be as good as plane over the places' errors.
    surface = surface_of(fractal(61, 61, seed=seed, relief_m=60.0, roughness=3.2))
    easting_m, northing_m = surface.grid.to_map(30.3, 28.6)
    level_m = surface.height_at_m(float(easting_m), float(northing_m)) + 1.6
    return surface, Eye(30.3, 28.6, level_m, 0.87 / 2 / EARTH_M)


def _drawn(surface, eye, errors):
    """Bearing, distance, height difference and vertical angle of each feature in each draw, (draws, n)."""
    random = np.random.default_rng(8)
    found = []
    for draw in draws(surface, eye, 1.6, errors, DRAWS, 5):
        rows = ROWS + random.normal(0.0, errors.feature_position_m) / 10.0
        columns = COLUMNS + random.normal(0.0, errors.feature_position_m) / 10.0
        rows, columns = rows.clip(0, 60), columns.clip(0, 60)
        ground_m = [
            draw.surface.height_at_m(*(float(v) for v in draw.surface.grid.to_map(r, c)))
            for r, c in zip(rows, columns, strict=True)
        ]
        east_m, north_m = (columns - draw.eye.column) * 10.0, (draw.eye.row - rows) * 10.0
        distance_m = np.hypot(east_m, north_m)
        difference_m = np.array(ground_m) - draw.eye.level_m
        lowered_m = difference_m - draw.eye.drop_per_m * distance_m**2
        angle_deg = np.degrees(np.arctan2(lowered_m, distance_m))
        found.append((np.degrees(np.arctan2(east_m, north_m)), distance_m, difference_m, angle_deg))
    return np.moveaxis(np.array(found), 1, 0)


def _stated(surface, eye):
    """The same of the model as it stands."""
    ground_m = np.array(
        [
            surface.height_at_m(*(float(v) for v in surface.grid.to_map(r, c)))
            for r, c in zip(ROWS, COLUMNS, strict=True)
        ]
    )
    east_m, north_m = (COLUMNS - eye.column) * 10.0, (eye.row - ROWS) * 10.0
    distance_m = np.hypot(east_m, north_m)
    difference_m = ground_m - eye.level_m
    angle_deg = np.degrees(np.arctan2(difference_m - eye.drop_per_m * distance_m**2, distance_m))
    return np.degrees(np.arctan2(east_m, north_m)), distance_m, difference_m, angle_deg


@pytest.mark.slow
@pytest.mark.parametrize("seed", [11, 12])
def test_intervals_hold_95_in_100_draws(seed):
    surface, eye = _place(seed)
    errors = plus_minus(surface, eye, ROWS, COLUMNS, ERRORS)
    drawn, stated = _drawn(surface, eye, ERRORS), _stated(surface, eye)
    widths = (errors.bearing_deg, errors.distance_m, errors.height_difference_m, errors.vertical_angle_deg)
    off = [np.abs(values - value) for values, value in zip(drawn, stated, strict=True)]
    off[0] = np.minimum(off[0], 360.0 - off[0])
    cover = np.array([np.mean(away <= width, axis=0) for away, width in zip(off, widths, strict=True)])
    far = np.hypot(ROWS - eye.row, COLUMNS - eye.column) * 10.0 > 100.0
    assert (np.abs(cover[0] - 0.95) < 0.02).all(), cover  # bearing: near ones too
    assert (np.abs(cover[2] - 0.95) < 0.02).all(), cover  # height difference
    assert (np.abs(cover[[1, 3]][:, far] - 0.95) < 0.02).all(), cover  # to first order in place over distance


def test_a_surveyed_station_height_shares_no_error_with_the_terrain():
    surface, eye = _place()
    errors = replace(ERRORS, station_height_m=0.05, feature_position_m=0.0, eye_height_m=0.0)
    found = plus_minus(surface, eye, ROWS[:1], COLUMNS[:1], errors)
    # Closed form: the feature's own error and the station's.
    assert found.height_difference_m[0] == pytest.approx(1.959964 * math.hypot(2.0, 0.05), rel=1e-6)


def test_near_ground_errs_with_the_station():
    """Closed form: the variance of a difference is twice the variance less twice the covariance."""
    surface, _ = _place()
    eye = Eye(30.0, 28.0, 100.0)
    found = plus_minus(surface, eye, 30.0, [29.0, 36.0], exactly_placed(ERRORS))
    expected = 1.959964 * np.sqrt(2 * 4.0 * (1 - np.exp(-np.array([10.0, 80.0]) / 80.0)))
    assert found.height_difference_m == pytest.approx(expected, rel=1e-6)
    assert found.bearing_deg.tolist() == found.distance_m.tolist() == [0.0, 0.0]


def test_bearing_far_away_is_the_error_across_over_the_distance():
    """Closed form for small angles; all bearings alike where the places coincide: 0.95 of 180 degrees."""
    assert bearing_plus_minus_deg(1000.0, 5.0) == pytest.approx(np.degrees(1.959964 * 5 / 1000), rel=2e-3)
    assert bearing_plus_minus_deg(0.0, 5.0) == pytest.approx(171.0, abs=0.1)
    assert (np.diff(bearing_plus_minus_deg(np.linspace(0.0, 400.0, 200), 5.0)) < 0).all()


def test_off_the_terrain_nothing_is_stated():
    surface, eye = _place()
    found = plus_minus(surface, eye, [-1.0, np.nan], [4.0, 4.0], ERRORS)
    for widths in (found.bearing_deg, found.distance_m, found.height_difference_m, found.vertical_angle_deg):
        assert np.isnan(widths).all()


def test_words_of_probabilities():
    limits = Limits()
    words = [limits.state_word(p) for p in (0.0, 0.099, 0.1, 0.899, 0.9, 1.0, math.nan)]
    assert words == ["hidden", "hidden", "uncertain", "uncertain", "visible", "visible", "unknown"]
    assert [Limits(0.5, 0.5).state_word(p) for p in (0.49, 0.5)] == ["hidden", "visible"]


@pytest.mark.parametrize("limits", [(0.9, 0.1), (-0.1, 0.5), (0.5, 1.1), (math.nan, 0.5)])
def test_limits_out_of_order_are_refused(limits):
    with pytest.raises(CallError, match="no limits of what is uncertain"):
        Limits(*limits)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"terrain_rmse_m": -1.0}, "-1 m is no standard deviation"),
        ({"terrain_rmse_m": math.nan}, "nan m is no standard deviation"),
        ({"terrain_rmse_m": 250.0}, "250 m is no standard deviation.*from 0 to 100"),
        ({"correlation_length_m": 0.0}, "correlation length of 0 m"),
        ({"correlation_length_m": math.inf}, "correlation length of inf m"),
        ({"correlation_shape": "square"}, "in the shape 'square'"),
        ({"nugget_share": 1.5}, "nugget_share"),
        ({"station_position_m": -3.0}, "station_position_m"),
        ({"station_height_m": -3.0}, "station_height_m"),
        ({"eye_height_m": 11.0}, "eye_height_m"),
        ({"refraction": math.nan}, "refraction"),
        ({"feature_position_m": math.inf}, "feature_position_m"),
    ],
)
def test_absurd_errors_are_refused(changed, told):
    with pytest.raises(CallError, match=told):
        replace(ERRORS, **changed)


def test_what_posts_are_is_one_of_four_words():
    with pytest.raises(CallError, match=r"cannot be 'tops'.*unknown, points, means, straight"):
        replace(ERRORS, between_posts="tops")


def test_rough_ground_adds_to_heights():
    """By hand: on posts 10 m apart that rise and fall by 2 m in turn each stands 4 m out from its neighbours.

    Half-way between two posts the standard deviation is the share of that which ``ROUGHNESS`` names.
    """
    height_m = 100.0 + 2.0 * (-1.0) ** np.add.outer(np.arange(61), np.arange(61))
    surface = surface_of(height_m, 10.0)
    eye = Eye(30.5, 30.5, 110.0, 0.0)
    bare = replace(exactly_placed(ErrorModel(0.0, 80.0)), between_posts="straight")
    for word in ("points", "means", "unknown"):
        rough = plus_minus(surface, eye, [10.5], [12.5], replace(bare, between_posts=word))
        sigma_m = 4.0 * ROUGHNESS[word].between
        assert rough.height_difference_m[0] == pytest.approx(SIGMAS_95 * math.sqrt(2.0) * sigma_m, rel=0.01)
    assert plus_minus(surface, eye, [10.5], [12.5], bare).height_difference_m[0] == 0.0


def test_products():
    """Sources beside each figure in ground/accuracy.py; LE90 = 1.645 sigma (closed form)."""
    assert PRODUCTS["copernicus-30m"].terrain_rmse_m == pytest.approx(2.57 / LE90_SIGMAS, abs=0.005)
    assert PRODUCTS["copernicus-30m-specified"].terrain_rmse_m == pytest.approx(4 / LE90_SIGMAS, abs=0.005)
    assert PRODUCTS["srtm-30m"].terrain_rmse_m == pytest.approx(16 / LE90_SIGMAS, abs=0.005)
    for name, product in PRODUCTS.items():
        model = ErrorModel.of_product(name)
        assert (model.terrain_rmse_m, model.is_guess) == (product.terrain_rmse_m, False)
        assert product.source in model.source
    with pytest.raises(CallError, match=r"no terrain product is called 'lidr'.*lidar"):
        ErrorModel.of_product("lidr")


@pytest.mark.parametrize(("spacing_m", "rmse_m"), [(1.0, 0.1), (10.0, 0.2), (50.0, 1.0), (200.0, 4.0)])
def test_a_guess_says_that_it_is_one(spacing_m, rmse_m):
    model = ErrorModel.guessed_from_spacing(spacing_m)
    assert (model.terrain_rmse_m, model.is_guess) == (pytest.approx(rmse_m), True)
    assert "guessed" in model.source
    assert model.between_posts == "unknown"
    with pytest.raises(ValueError, match="apart"):
        ErrorModel.guessed_from_spacing(-spacing_m)
