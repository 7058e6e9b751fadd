"""Signs, column by column, that a line found in a small picture is the sky's edge or is not; and their
weights.

The weights are those of a logistic regression on drawn photographs whose edge is known
(``docs/studies/README.md``).
A sign whose weight came out as none, or of the wrong sense, is not kept.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from hillsight.plan.picture import edge_path
from hillsight.plan.picture.sky_cost import MOST_STEP, ROW

if TYPE_CHECKING:
    from hillsight.arrays import AnyArray, Floats
    from hillsight.plan.picture.sky_cost import Segmented, Small

#: What each sign is, in the order of the columns of ``signs``, and how much it weighs.
WEIGHTS = {
    "lead over other lines": 0.17,
    "the same near by": 1.17,
    "an edge, and a sharp one": 1.86,
    "looks like this sky above": 2.92,
    "looks like this ground below": 0.74,
    "stands up": -0.5,
    "more like any sky above than below": 1.81,
    "ground less even than sky": 0.9,
    "brighter above": 0.58,
}
CONSTANT = -9.01

#: Rows beside the line that are looked at.
_NEAR, _BROAD = 7, 15
#: Rows off which another line is another one.
_APART = 3


def sureness(small: Small, found: Segmented) -> Floats:
    """Chance that each column of a found line is right, (columns,)."""
    told = signs(small, found) @ np.array(list(WEIGHTS.values())) + CONSTANT
    return np.asarray(1 / (1 + np.exp(-told)))


def signs(small: Small, found: Segmented) -> Floats:
    """Signs of each column, (columns, signs), each about 0 to 1 or a few."""
    line, light = found.line, small.light
    columns, rows = line.size, light.shape[0]
    lead = edge_path.lead_over_others(found.costs, line, _APART, ROW, MOST_STEP)
    near_by = ndimage.uniform_filter1d(lead, 31, mode="nearest")
    sharp_edge = (found.edge * found.sharp)[np.arange(columns), line]
    sky = np.arange(rows)[:, None] < line
    grain = np.log(small.grain + 0.7)
    uneven = grain[~sky].mean() - grain[sky].mean() if sky.any() and not sky.all() else 0.0

    def above(values: Floats, reach: int) -> Floats:
        return _beside(values, line, -reach, -1).mean(axis=1)

    def below(values: Floats, reach: int) -> Floats:
        return _beside(values, line, 1, reach).mean(axis=1)

    return np.stack(
        [
            np.log1p(np.maximum(lead, 0)),
            np.log1p(np.maximum(near_by, 0)),
            sharp_edge,
            above(found.sky_like, _NEAR) / 5,
            -below(found.sky_like, _NEAR) / 5,
            _stands_up(line, 0.16),
            (above(found.prior, _BROAD) - below(found.prior, _BROAD)) / 3,
            np.full(columns, np.clip(uneven, -1.5, 1.5)),
            np.clip((above(light, _NEAR) - below(light, _NEAR)) / 80, -1, 1),
        ],
        axis=1,
    )


def _beside(values: Floats, line: AnyArray, first: int, last: int) -> Floats:
    """Values in the rows from ``first`` to ``last`` off the line, (columns, rows)."""
    rows = np.clip(line[:, None] + np.arange(first, last), 0, values.shape[0] - 1)
    return np.asarray(values.T[np.arange(line.size)[:, None], rows])


def _stands_up(line: AnyArray, share: float) -> Floats:
    """How far the line stands above its surroundings within a share of the picture's width, where its
    flanks are
    steep: trees and people do, and hills seldom."""
    wide = max(3, int(share * line.size) | 1)
    above = -line.astype(np.float64)
    tall = above - ndimage.grey_opening(above, wide, mode="nearest")
    steps = ndimage.uniform_filter1d(np.abs(np.diff(above, append=above[-1])), 3, mode="nearest")
    flank = ndimage.maximum_filter1d(steps, wide, mode="nearest")
    return np.asarray(np.log1p(tall) * np.minimum(flank, 2.0))
