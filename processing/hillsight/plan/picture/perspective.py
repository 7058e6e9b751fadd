"""Central perspective on arrays: how a camera is turned, and from directions to the picture and back.

The camera's own axes run right, down and forward along its optical axis; the ground's run east, north and up.
A picture plane lies one unit before the camera: x right, y down. Method: the collinearity equations (Kraus
2007, Photogrammetry, chapter 3; from memory) with one term of radial distortion (Brown 1971, from memory), in
the form that OpenCV documents: distorted = undistorted (1 + radial r^2).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from hillsight.arrays import Floats

#: Least forward part of a unit vector that still counts as before the camera.
_LEAST_FORWARD = 1e-9


def rotation(heading_deg: ArrayLike, tilt_deg: ArrayLike, roll_deg: ArrayLike) -> Floats:
    """Rows are the camera's axes right, down and forward, in east, north and up; (..., 3, 3).

    Parameters
    ----------
    heading_deg : of the optical axis, clockwise from north
    tilt_deg : of the optical axis above the level
    roll_deg : the camera turned clockwise about its axis as seen from behind it: its right side goes down
    """
    heading, tilt, roll = np.broadcast_arrays(
        *(np.radians(np.asarray(angle, np.float64)) for angle in (heading_deg, tilt_deg, roll_deg))
    )
    none = np.zeros(heading.shape)
    forward = np.stack(
        [np.sin(heading) * np.cos(tilt), np.cos(heading) * np.cos(tilt), np.sin(tilt)], axis=-1
    )
    level_right = np.stack([np.cos(heading), -np.sin(heading), none], axis=-1)
    upright_down = np.cross(forward, level_right)
    cosine, sine = np.cos(roll)[..., None], np.sin(roll)[..., None]
    right = cosine * level_right + sine * upright_down
    down = cosine * upright_down - sine * level_right
    return np.stack([right, down, forward], axis=-2)


def turned_by(rotation_matrix: Floats) -> tuple[Floats, Floats, Floats]:
    """Heading [0, 360), tilt and roll, degrees, of cameras given by :func:`rotation`'s matrix (..., 3, 3).

    Of a camera that looks straight up or down, heading and roll are one: the roll is then 0.
    """
    right, down, forward = (rotation_matrix[..., row, :] for row in range(3))
    level = np.hypot(forward[..., 0], forward[..., 1])
    upright = level > 1e-12
    tilt = np.arctan2(forward[..., 2], level)
    heading = np.where(
        upright,
        np.arctan2(forward[..., 0], forward[..., 1]),
        np.arctan2(-right[..., 1], right[..., 0]),
    )
    roll = np.where(upright, np.arctan2(-right[..., 2], -down[..., 2]), 0.0)
    return np.degrees(heading) % 360.0, np.degrees(tilt), np.degrees(roll)


def direction_vectors(bearing_deg: ArrayLike, vertical_angle_deg: ArrayLike) -> Floats:
    """Unit vectors (..., 3) east, north, up of directions in degrees."""
    bearing, angle = np.broadcast_arrays(
        np.radians(np.asarray(bearing_deg, np.float64)),
        np.radians(np.asarray(vertical_angle_deg, np.float64)),
    )
    level = np.cos(angle)
    return np.stack([np.sin(bearing) * level, np.cos(bearing) * level, np.sin(angle)], axis=-1)


def directions_of(vectors: Floats) -> tuple[Floats, Floats]:
    """Bearings [0, 360) and vertical angles, degrees, of vectors (..., 3) east, north, up of any length."""
    east, north, up = vectors[..., 0], vectors[..., 1], vectors[..., 2]
    bearing = np.degrees(np.arctan2(east, north)) % 360.0
    return np.where(bearing == 360.0, 0.0, bearing), np.degrees(np.arctan2(up, np.hypot(east, north)))


def on_plane(vectors: Floats, rotation_matrix: Floats) -> tuple[Floats, Floats]:
    """Where vectors (..., 3) meet the picture plane of a camera without distortion; NaN behind the camera."""
    inside = np.einsum("...ij,...j->...i", rotation_matrix, vectors)
    length = np.linalg.norm(inside, axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        before = inside[..., 2] > _LEAST_FORWARD * length
        forward = np.where(before, inside[..., 2], np.nan)
        return inside[..., 0] / forward, inside[..., 1] / forward


def from_plane(x: Floats, y: Floats, rotation_matrix: Floats) -> Floats:
    """Vectors (..., 3) east, north, up through places on the picture plane; their forward part is 1."""
    inside = np.stack(np.broadcast_arrays(x, y, np.ones(())), axis=-1)
    return np.asarray(np.einsum("...ji,...j->...i", rotation_matrix, inside))


def distorted(x: Floats, y: Floats, radial: ArrayLike) -> tuple[Floats, Floats]:
    """Places on the plane as the lens shows them.

    With a negative term, radii grow up to a limit and then fold back: beyond it the answer is NaN.
    """
    radial = np.asarray(radial, np.float64)
    radius2 = x * x + y * y
    scale = np.where(1.0 + 3.0 * radial * radius2 > 0.0, 1.0 + radial * radius2, np.nan)
    return x * scale, y * scale


def undistorted(x: Floats, y: Floats, radial: ArrayLike) -> tuple[Floats, Floats]:
    """Places on the plane without what the lens did; NaN where no place is shown that far out.

    The cubic equation of the radius is solved by its trigonometric and hyperbolic forms.
    """
    radial = np.asarray(radial, np.float64)
    shown = np.hypot(x, y)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        fold = 1.0 / np.sqrt(3.0 * np.abs(radial))  # for a negative term, the radius at which pictures fold
        third = 1.5 * shown / fold
        radius = np.where(
            radial < 0,
            2.0 * fold * np.sin(np.arcsin(third) / 3.0),
            2.0 * fold * np.sinh(np.arcsinh(third) / 3.0),
        )
        scale = np.where((radial == 0) | (shown == 0), 1.0, radius / shown)
    return x * scale, y * scale
