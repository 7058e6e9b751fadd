"""Ground under marks: heights follow slopes, tops stand over the posts, errors of the terrain are shared."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from pyproj import CRS

from hillsight.errors import MarksError
from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.grid import Grid, Surface
from hillsight.plan.picture.mark_ground import MarkedThing, ground_at, known_marks
from hillsight.plan.picture.marks import Landmark

ERRORS = replace(ErrorModel(3.0, 200.0), between_posts="points", feature_position_m=10.0)


@dataclass(frozen=True)
class Held:
    """Terrain that is one surface."""

    surface: Surface
    spacing_x_m: float = 50.0
    spacing_y_m: float = 50.0

    def window(self, *_: float) -> Surface:
        return self.surface


def terrain(shape) -> Held:
    grid = Grid(CRS("EPSG:27700"), 0.0, 3_000.0, 50.0, 50.0, 61, 61)
    east, north = np.meshgrid(50.0 * np.arange(61), 3_000.0 - 50.0 * np.arange(61))
    return Held(Surface(grid, shape(east, north).astype(np.float32)))


def thing(east, north, height=None, extent=0.0) -> MarkedThing:
    return MarkedThing(Landmark(1.0, 1.0), 1, "it", east, north, height, extent_m=extent)


def test_a_landmark_that_is_out_follows_the_slope():
    """Rising 0.2 to the east and 0.1 to the north: height errs by 0.2 x 10 and 0.1 x 10 m with the place."""
    plane = terrain(lambda east, north: 100 + 0.2 * east + 0.1 * north)
    marks = known_marks([thing(1_010.0, 1_020.0)], plane, ERRORS, 0.0, 0.0)
    assert marks.height_m[0] == pytest.approx(100 + 202 + 102, abs=0.01)
    assert marks.covariance_m2[0, :, :2] == pytest.approx(np.array([[100, 0], [0, 100], [20, 10]]), abs=0.1)
    assert marks.covariance_m2[0, 2, 2] == pytest.approx(4.0 + 1.0, abs=0.1)


def test_a_top_between_posts_stands_over_them_and_a_plane_does_not():
    """Half-way between posts of z = -c d^2 the line lies c (s/2)^2 = 0.625 m under it, twice for two axes."""
    curve = 0.001
    hill = terrain(lambda east, north: 500 - curve * ((east - 1_525) ** 2 + (north - 1_525) ** 2))
    at = ground_at(hill, 1_525.0, 1_525.0, ERRORS)
    assert at.height_m == pytest.approx(500 - 2 * 0.625, abs=0.01)
    # Tops are sharper than that curve; half of how far posts stand out is taken, 2 x 2.5 x 0.5.
    assert at.lift_m == pytest.approx(2.5, abs=0.01)
    assert ground_at(hill, 1_500.0, 1_500.0, ERRORS).lift_m == pytest.approx(0.0, abs=1e-6)
    assert ground_at(hill, 1_525.0, 1_525.0, replace(ERRORS, between_posts="straight")).lift_m == 0.0
    bowl = terrain(lambda east, north: 500 + curve * ((east - 1_525) ** 2 + (north - 1_525) ** 2))
    assert ground_at(bowl, 1_525.0, 1_525.0, ERRORS).lift_m == 0.0


def test_errors_of_the_terrain_that_camera_and_landmark_share_cancel():
    """Posts err alike by exp(-d / 200 m); what lies between two of them errs by their mean."""
    plane = terrain(lambda east, north: 100 + 0.0 * east)
    marks = known_marks([thing(1_000.0, 1_000.0), thing(1_050.0, 1_000.0)], plane, ERRORS, 1_000.0, 1_050.0)
    alike = np.exp(-50 / 200)
    assert marks.relative_m2[0, 0] == pytest.approx(2 * 9 * (1 - alike))
    far = known_marks([thing(1_000.0, 1_000.0), thing(1_025.0, 1_000.0)], plane, ERRORS, 2_900.0, 2_900.0)
    assert far.relative_m2[0, 0] == pytest.approx(18.0, rel=0.01)
    assert far.terrain_m2[1, 1] == pytest.approx(9 * (1 + alike) / 2)
    assert far.terrain_m2[0, 1] == pytest.approx(9 * (1 + alike) / 2)


def test_bends_that_the_posts_errors_make_are_no_roughness():
    """Posts of a plane that err by 3 m each for itself bend by 3 sqrt(1.5) m, and the plane is smooth.

    Rougher ground with the same errors stays rough.
    """
    random = np.random.default_rng(8)
    errors = replace(ERRORS, correlation_length_m=1.0)
    noise, rugged = random.normal(0, 3, (61, 61)), random.normal(0, 30, (61, 61))
    smooth = ground_at(terrain(lambda east, north: 100 + noise), 1_525.0, 1_525.0, errors)
    rough = ground_at(terrain(lambda east, north: 100 + rugged), 1_525.0, 1_525.0, errors)
    trusted = ground_at(
        terrain(lambda east, north: 100 + noise), 1_525.0, 1_525.0, replace(errors, terrain_rmse_m=0.0)
    )
    assert smooth.rough_m2 < 0.3 * trusted.rough_m2
    assert rough.rough_m2 > 30 * trusted.rough_m2


def test_a_height_that_is_given_is_exact_and_an_extent_widens_the_place():
    plane = terrain(lambda east, north: 100 + 0.2 * east)
    marks = known_marks([thing(1_000.0, 1_000.0, height=333.0, extent=30.0)], plane, ERRORS, 0.0, 0.0)
    assert marks.height_m[0] == 333.0
    assert marks.covariance_m2[0] == pytest.approx(np.diag([1_000.0, 1_000.0, 0.0]))
    assert marks.terrain_m2[0, 0] == 0.0 and marks.terrain_m2[1, 1] == 9.0


def test_a_landmark_off_the_terrain_needs_a_height():
    plane = terrain(lambda east, north: 100 + 0.0 * east)
    with pytest.raises(MarksError, match=r"landmark 1 \(it\).*off the terrain"):
        known_marks([thing(-500.0, 1_000.0)], plane, ERRORS, 0.0, 0.0)
    assert known_marks([thing(-500.0, 1_000.0, height=10.0)], plane, ERRORS, 0.0, 0.0).height_m[0] == 10.0
