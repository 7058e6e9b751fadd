"""Directions that rise and fall, against the definition worked post by post."""

from __future__ import annotations

import math

import numpy as np
import pytest

from hillsight.errors import CallError
from hillsight.landform.openness import FORM_TABLE, NO_FORM, UNKNOWN_COUNT, Form, forms, patterns
from terrains import fractal, with_voids

MOVES = [(-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1)]


def slow_pattern(ground, row, column, spacing_x_m, spacing_y_m, lookup_m, skip_m, flatness_deg):
    """Zenith and nadir angles of every direction at one post: (falling, rising)."""
    falls = rises = 0
    for down, across in MOVES:
        up_deg = []
        r, c = row + down, column + across
        while 0 <= r < ground.shape[0] and 0 <= c < ground.shape[1] and not np.isnan(ground[r, c]):
            away_m = math.hypot((r - row) * spacing_y_m, (c - column) * spacing_x_m)
            if away_m > lookup_m:
                break
            if away_m > skip_m:
                up_deg.append(math.degrees(math.atan2(ground[r, c] - ground[row, column], away_m)))
            r, c = r + down, c + across
        if up_deg:
            zenith_deg, nadir_deg = 90 - max(up_deg), 90 + min(up_deg)
            rises += nadir_deg - zenith_deg > flatness_deg
            falls += nadir_deg - zenith_deg < -flatness_deg
    return falls, rises


@pytest.mark.parametrize(
    ("lookup_m", "skip_m", "flatness_deg"), [(95.0, 0.0, 1.0), (60.0, 25.0, 3.0), (1e6, 0.0, 0.5)]
)
def test_every_post_follows_the_definition(lookup_m, skip_m, flatness_deg):
    ground = with_voids(fractal(41, 37, seed=4, relief_m=80.0), seed=5, share=0.02).astype(float)
    settings = (7.0, 11.0, lookup_m, skip_m, flatness_deg)
    negatives, positives = patterns(ground, *settings)
    assert len(np.unique(negatives)) > 5
    for row, column in np.ndindex(ground.shape):
        found = (int(negatives[row, column]), int(positives[row, column]))
        if np.isnan(ground[row, column]):
            assert found == (UNKNOWN_COUNT, UNKNOWN_COUNT)
        else:
            assert found == slow_pattern(ground, row, column, *settings)


def test_a_direction_ends_at_a_void():
    """A wall behind a void is not looked at; before the void it is."""
    ground = np.zeros((3, 9))
    ground[:, 7] = 50.0
    assert patterns(ground, 10.0, 10.0, 80.0)[1][1, 2] == 1
    ground[1, 5] = np.nan
    assert patterns(ground, 10.0, 10.0, 80.0)[1][1, 2] == 0
    assert patterns(ground, 10.0, 10.0, 80.0)[1][1, 6] == 3


def test_voids_have_no_form():
    ground = np.zeros((5, 5))
    ground[2, 2] = np.nan
    codes = forms(*patterns(ground, 10.0, 10.0, 30.0))
    assert codes[2, 2] == NO_FORM
    assert (np.delete(codes.ravel(), 12) == Form.FLAT).all()


def test_the_table_covers_what_eight_directions_allow():
    falls, rises = np.mgrid[:9, :9]
    assert np.array_equal(FORM_TABLE == NO_FORM, falls + rises > 8)
    assert set(np.unique(FORM_TABLE)) == {NO_FORM, *Form}


@pytest.mark.parametrize(
    "settings", [(9.0, 0.0, 1.0), (50.0, 50.0, 1.0), (np.nan, 0.0, 1.0), (50.0, 0.0, 90.0), (50.0, 0.0, -1.0)]
)
def test_settings_that_see_nothing_are_refused(settings):
    with pytest.raises(CallError):
        patterns(np.zeros((5, 5)), 10.0, 10.0, *settings)
