"""Slope and aspect on surfaces whose derivatives are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.landform.gradient import horn

SPACING_X_M, SPACING_Y_M = 8.0, 5.0


def ground(formula, rows=9, columns=11):
    """Heights of ``formula(east, north)`` about the middle post, metres."""
    row, column = np.mgrid[:rows, :columns]
    return formula((column - columns // 2) * SPACING_X_M, (rows // 2 - row) * SPACING_Y_M)


def test_planes_come_out_exactly():
    plane = ground(lambda east, north: 100 + 0.3 * east - 0.4 * north)
    found = horn(plane, SPACING_X_M, SPACING_Y_M)
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


def test_level_ground_has_no_aspect():
    level = horn(np.full((5, 5), 12.0), 1.0, 1.0)
    assert np.isnan(level.aspect_deg).all()
    assert (level.slope_deg[1:-1, 1:-1] == 0).all()


def test_edge_and_posts_beside_a_void_are_unknown():
    plane = ground(lambda east, north: 0.3 * east + 0.1 * north)
    plane[4, 5] = np.nan
    unknown = np.ones(plane.shape, bool)
    unknown[1:-1, 1:-1] = False
    unknown[3:6, 4:7] = True
    found = horn(plane, SPACING_X_M, SPACING_Y_M)
    for values in (found.slope_deg, found.dz_dx, found.dz_dy):
        assert np.array_equal(np.isnan(values), unknown)
    assert np.isnan(horn(np.ones((2, 5)), 1.0, 1.0).slope_deg).all()
