"""Slope, aspect and curvature on surfaces whose derivatives are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.landform.gradient import evans, horn

SPACING_X_M, SPACING_Y_M = 8.0, 5.0


def ground(formula, rows=9, columns=11):
    """Heights of ``formula(east, north)`` about the middle post, metres."""
    row, column = np.mgrid[:rows, :columns]
    return formula((column - columns // 2) * SPACING_X_M, (rows // 2 - row) * SPACING_Y_M)


@pytest.mark.parametrize("method", [horn, evans])
def test_planes_come_out_exactly(method):
    plane = ground(lambda east, north: 100 + 0.3 * east - 0.4 * north)
    found = method(plane, SPACING_X_M, SPACING_Y_M)
    assert found.dz_dx[1:-1, 1:-1] == pytest.approx(0.3)
    assert found.dz_dy[1:-1, 1:-1] == pytest.approx(-0.4)
    assert found.slope_deg[1:-1, 1:-1] == pytest.approx(26.56505118)


@pytest.mark.parametrize("falls_toward_deg", range(0, 360, 15))
def test_aspect_is_the_bearing_of_the_fall(falls_toward_deg):
    angle = np.radians(falls_toward_deg)
    plane = ground(lambda east, north: -0.2 * (east * np.sin(angle) + north * np.cos(angle)))
    aspect_deg = horn(plane, SPACING_X_M, SPACING_Y_M).aspect_deg[1:-1, 1:-1]
    assert ((aspect_deg >= 0) & (aspect_deg < 360)).all()
    assert np.abs((aspect_deg - falls_toward_deg + 180) % 360 - 180).max() < 1e-9


def test_level_ground_has_no_aspect_and_no_curvature():
    level = np.full((5, 5), 12.0)
    assert np.isnan(horn(level, 1.0, 1.0).aspect_deg).all()
    bend = evans(level, 1.0, 1.0)
    assert (bend.slope_deg[1:-1, 1:-1] == 0).all()
    assert np.isnan(bend.profile_per_m).all()
    assert np.isnan(bend.contour_per_m).all()


def test_a_quadratic_is_fitted_exactly():
    """Curvatures from the derivatives at the middle: g = (0.2, 0.1), second 0.006, -0.004, 0.003."""
    quadratic = ground(lambda e, n: 50 + 0.2 * e + 0.1 * n + 0.003 * e**2 - 0.002 * n**2 + 0.003 * e * n)
    bend = evans(quadratic, SPACING_X_M, SPACING_Y_M)
    middle = (4, 5)
    assert bend.dz_dx[middle] == pytest.approx(0.2)
    assert bend.dz_dy[middle] == pytest.approx(0.1)
    assert bend.d2z_dx2[middle] == pytest.approx(0.006)
    assert bend.d2z_dy2[middle] == pytest.approx(-0.004)
    assert bend.d2z_dxdy[middle] == pytest.approx(0.003)
    along, across = 0.00032, -0.00022  # p2 r + 2 p q s + q2 t; q2 r - 2 p q s + p2 t
    assert bend.profile_per_m[middle] == pytest.approx(-along / (0.05 * 1.05**1.5))
    assert bend.contour_per_m[middle] == pytest.approx(-across / 0.05**1.5)
    assert bend.tangential_per_m[middle] == pytest.approx(-across / (0.05 * 1.05**0.5))


def test_signs_on_cone_bowl_and_trough():
    """A cone far from its tip: contours are circles of the post's radius; a bowl's are hollow."""
    row, column = np.mgrid[:3, :3]
    radius = np.hypot(1000.0 + (column - 1) * 2.0, (1 - row) * 2.0)
    cone = evans(-0.5 * radius, 2.0, 2.0)
    assert cone.contour_per_m[1, 1] == pytest.approx(1 / 1000, rel=1e-4)
    assert abs(cone.profile_per_m[1, 1]) < 1e-8
    bowl = evans(radius**2 / 2000.0, 2.0, 2.0)
    assert bowl.contour_per_m[1, 1] == pytest.approx(-1 / 1000, rel=1e-4)
    assert bowl.profile_per_m[1, 1] == pytest.approx(-1 / (1000 * 2**1.5), rel=1e-4)
    brow = evans(-((1000.0 + (column - 1) * 2.0) ** 2) / 2000.0, 2.0, 2.0)
    assert brow.profile_per_m[1, 1] == pytest.approx(1 / (1000 * 2**1.5), rel=1e-4)
    assert brow.contour_per_m[1, 1] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("method", [horn, evans])
def test_edge_and_posts_beside_a_void_are_unknown(method):
    plane = ground(lambda east, north: 0.3 * east + 0.1 * north)
    plane[4, 5] = np.nan
    unknown = np.ones(plane.shape, bool)
    unknown[1:-1, 1:-1] = False
    unknown[3:6, 4:7] = True
    found = method(plane, SPACING_X_M, SPACING_Y_M)
    for values in (found.slope_deg, found.dz_dx, found.dz_dy):
        assert np.array_equal(np.isnan(values), unknown)
    assert np.isnan(method(np.ones((2, 5)), 1.0, 1.0).slope_deg).all()
