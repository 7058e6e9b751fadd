"""How rough the ground is between posts, read from the posts themselves.

Between posts the ground is taken as straight. Truly it bulges and dips there, the more so the more the posts
themselves bend: what a post stands out from the middle of its neighbours, a spacing each way, is what it
hides of the ground's shape if it is left out; half a spacing each way leaves out a like share of that, as
the variogram runs on below the spacing. So the scale of the roughness about a post is how far it and its
neighbours stand out from theirs, and the shares of that scale are settled on real ground thinned to coarser
posts (docs/studies/thinned_ground.py), whose finer posts tell the truth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from hillsight.ground.grid import between_posts

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Floats32
    from hillsight.ground.accuracy import BetweenPosts

#: Share of the scale that is the post's own; the rest is the mean of the nine about it.
_OWN = 0.85

#: How far the ground half-way between two posts stands over the line between them, as a share of how far the
#: two stand out from their neighbours along it: Keys's cubic convolution (1981, IEEE Trans. ASSP 29; from
#: memory).
CURVE = 0.25


@dataclass(frozen=True)
class Roughness:
    """Standard deviations of the ground about the straight line, as shares of the scale.

    between : half-way between two posts
    at_posts : variance at a post as a share of that half-way
    by_target, by_eye : of the ground half a spacing before a target, and before the eye
    """

    between: float
    at_posts: float
    by_target: float
    by_eye: float

    @property
    def curve(self) -> float:
        """Share of the bend that the ground half-way bulges."""
        return CURVE if self.between > 0.0 else 0.0


#: By what the posts are. Settled on the western Highlands thinned from 50 to 100, 150 and 200 m: every n-th
#: post for points, means of blocks for means.
ROUGHNESS: dict[BetweenPosts, Roughness] = {
    "points": Roughness(0.52, 0.1, 0.42, 0.25),
    "means": Roughness(0.70, 0.3, 0.60, 0.60),
    "unknown": Roughness(0.58, 0.2, 0.48, 0.35),
    "straight": Roughness(0.0, 0.0, 0.0, 0.0),
}


def rough_scale_m(height_m: Floats32) -> Floats32:
    """How far each post and its neighbours stand out from the middle of theirs, (rows, columns), metres.

    Root of the mean square over rows and columns; 0 where voids leave nothing to tell.
    """
    total, number = np.zeros(height_m.shape), np.zeros(height_m.shape)
    for axis in range(2):
        bent_m = np.full(height_m.shape, np.nan)
        inner = tuple(slice(1, -1) if k == axis else slice(None) for k in range(2))
        if height_m.shape[axis] > 2:
            bent_m[inner] = -np.diff(height_m.astype(np.float64), n=2, axis=axis) / 2.0
        known = np.isfinite(bent_m)
        total += np.where(known, bent_m, 0.0) ** 2
        number += known
    around, known_around = (9.0 * ndimage.uniform_filter(v, 3, mode="constant") for v in (total, number))
    # The filter runs its sums on: over a void they end up near nothing, on either side of it.
    known_around = np.rint(known_around)
    mean_m2 = np.where(known_around > 0, np.maximum(around, 0.0) / np.maximum(known_around, 1.0), 0.0)
    own_m2 = np.where(number > 0, total / np.maximum(number, 1.0), mean_m2)
    scale_m: Floats32 = np.sqrt(_OWN * own_m2 + (1.0 - _OWN) * mean_m2).astype(np.float32)
    return scale_m


def rough_variance_m2(scale_m: Floats32, roughness: Roughness, row: Floats, column: Floats) -> Floats:
    """Variance of the ground at n places about what lies straight between the posts, m^2; 0 off the terrain.

    Parameters
    ----------
    scale_m : (rows, columns) as ``rough_scale_m`` tells it
    row, column : (n,) fractional
    """
    scale = np.nan_to_num(between_posts(scale_m, row, column))
    parts = np.stack((np.mod(row, 1.0), np.mod(column, 1.0)))
    arch = np.nan_to_num((4.0 * parts * (1.0 - parts)).max(axis=0))
    share = roughness.at_posts + (1.0 - roughness.at_posts) * arch
    variance_m2: Floats = (roughness.between * scale) ** 2 * share
    return variance_m2
