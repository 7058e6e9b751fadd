"""The unrolled cylinder: directions and pixels undo each other, and it refuses what is no picture."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.errors import CallError
from hillsight.sight.cylinder import Cylinder


def test_pixels_undo_directions_over_north():
    cylinder = Cylinder(330.0, 600, 200, 0.1, 0.05, 120.0)
    x, y = np.meshgrid(np.linspace(0.0, 599.9, 23), np.linspace(0.0, 200.0, 11))
    bearing, angle = cylinder.directions(x, y)
    assert bearing.min() >= 0.0
    assert bearing.max() < 360.0
    back_x, back_y = cylinder.pixels(bearing, angle)
    assert np.allclose(back_x, x, rtol=0, atol=1e-9)
    assert np.allclose(back_y, y, rtol=0, atol=1e-9)


def test_worked_example():
    # 60 degrees over 600 pixels from 330: north lies in the middle; 6 degrees up at 0.05 a pixel are 120.
    cylinder = Cylinder(330.0, 600, 200, 0.1, 0.05, 120.0)
    assert cylinder.pixels(0.0, 6.0) == (pytest.approx(300.0), pytest.approx(0.0))
    assert cylinder.exaggeration == pytest.approx(2.0)
    assert cylinder.span_deg == pytest.approx(60.0)


def test_what_lies_beside_the_picture_lies_beyond_its_nearer_edge():
    cylinder = Cylinder(330.0, 600, 200, 0.1, 0.1, 120.0)
    x, _ = cylinder.pixels(np.array([329.0, 31.0]), 0.0)
    assert x == pytest.approx([-10.0, 610.0])


def test_the_whole_round_has_no_seam():
    whole = Cylinder(0.0, 3600, 100, 0.1, 0.1, 50.0)
    x, _ = whole.pixels(np.array([0.0, 359.9, 180.0]), 0.0)
    assert x == pytest.approx([0.0, 3599.0, 1800.0])


@pytest.mark.parametrize(
    "size", [(0.0, 0, 10, 0.1, 0.1, 5.0), (0.0, 10, 10, 0.0, 0.1, 5.0), (0.0, 4000, 10, 0.1, 0.1, 5.0)]
)
def test_what_is_no_picture_is_refused(size):
    with pytest.raises(CallError):
        Cylinder(*size)
