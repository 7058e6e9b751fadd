"""Tops and saddles of the map against grounds whose shape is a formula."""

from __future__ import annotations

import geopandas
import numpy as np
import pytest

from hillsight.ground.accuracy import ErrorModel
from hillsight.plan.exercise.map_agreement import disagreement, not_shown
from views import surface_of

#: 161 by 161 posts 10 m apart, the middle one at this place from the first.
POSTS, MIDDLE = 161, 80
EXACT = ErrorModel(0.0, 100.0)

_X, _Y = np.meshgrid((np.arange(POSTS) - MIDDLE) * 10.0, (MIDDLE - np.arange(POSTS)) * 10.0)

FLAT = np.full((POSTS, POSTS), 200.0)
SLOPE = 200.0 + 0.3 * _X
CONE = 300.0 - 0.2 * np.hypot(_X, _Y)
#: Rises to east and west, falls to north and south: x^2 - y^2, 20 m at 200 m off.
SADDLE = 200.0 + (_X**2 - _Y**2) / 2_000.0


def judged(height_m: np.ndarray, kind: str, errors: ErrorModel = EXACT, *, source: str = "map") -> bool:
    """Whether one thing in the middle of the ground is not shown."""
    surface = surface_of(height_m.astype(np.float32))
    grid = surface.grid
    east_m, north_m = grid.west_m + MIDDLE * grid.spacing_x_m, grid.north_m - MIDDLE * grid.spacing_y_m
    things = geopandas.GeoDataFrame(
        {"name": ["Cold Pike"], "kind": [kind], "source": [source]},
        geometry=geopandas.points_from_xy([east_m], [north_m]),
    )
    return bool(not_shown(things, surface, errors)[0])


@pytest.mark.parametrize(
    ("height_m", "kind", "left_out"),
    [
        (FLAT, "summit", True),
        (SLOPE, "summit", True),
        (SADDLE, "summit", True),
        (CONE, "summit", False),
        (FLAT, "saddle", True),
        (CONE, "saddle", True),
        (SADDLE, "saddle", False),
        (FLAT, "stream", False),
    ],
)
def test_the_ground_shows_a_top_or_a_saddle_or_does_not(
    height_m: np.ndarray, kind: str, left_out: bool
) -> None:
    assert judged(height_m, kind) is left_out


def test_a_rise_that_the_errors_could_make_is_no_top() -> None:
    """The cone rises by 40 m over 200 m. Errors of 30 m, a post for itself, differ by 30 sqrt(2) = 42 m."""
    assert judged(CONE, "summit", ErrorModel(30.0, 10.0))
    assert not judged(CONE, "summit", ErrorModel(5.0, 10.0))


def test_what_cannot_be_judged_is_left_alone() -> None:
    """Ground unknown all about but for 50 m round the place; a landform is the terrain's own."""
    unknown = np.where(np.hypot(_X, _Y) > 50.0, np.nan, FLAT)
    assert not judged(unknown, "summit")
    assert not judged(FLAT, "summit", source="landforms, tops")


def test_a_note_names_some_and_counts_the_rest() -> None:
    things = geopandas.GeoDataFrame(
        {"name": [*"ABCDEF", None], "kind": ["summit"] * 7},
        geometry=geopandas.points_from_xy([0] * 7, [0] * 7),
    )
    assert disagreement(things[:0]) == ""
    assert disagreement(things[:1]).startswith("map and terrain disagree where A stands")
    assert "A, B, C, D, E and 2 more stand" in disagreement(things)
