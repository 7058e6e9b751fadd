"""Moves a line found in a small copy of a picture to where the edge is in the picture itself, parts of a
pixel."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from hillsight.plan.picture import edge_path

if TYPE_CHECKING:
    from hillsight.arrays import AnyArray, Floats


def fine_line(rgb: AnyArray, line: AnyArray, by: int) -> Floats:
    """Row of the edge at the middle of each column of the picture, (columns,) float, 0 at the picture's
    upper edge.

    rgb : (rows, columns, 3) uint8; line : rows of a copy ``by`` times smaller, one a column of it

    A band about the line is straightened, the change of colour across it found along the colour in which sky
    and ground differ there, and the steepest change followed from column to column.
    """
    rows, columns = rgb.shape[:2]
    x = np.arange(columns)
    coarse = np.interp(x + 0.5, (np.arange(line.size) + 0.5) * by, line * float(by))
    reach = int(np.ceil(1.6 * by)) + 2
    beyond = reach + by + 3
    middle = np.rint(coarse).astype(np.int64)
    at = middle[None, :] + np.arange(-beyond, beyond)[:, None]
    # the rows above and below the picture repeat its rim
    band = rgb[np.clip(at, 0, rows - 1), x[None, :]].astype(np.float32)
    wide = 3 * by
    sky = ndimage.uniform_filter1d(band[: by + 3].mean(axis=0), wide, axis=0, mode="nearest")
    ground = ndimage.uniform_filter1d(band[-by - 3 :].mean(axis=0), wide, axis=0, mode="nearest")
    axis = sky - ground
    axis = axis / np.maximum(np.sqrt((axis**2).sum(axis=1, keepdims=True)), 1e-3)
    told = np.einsum("rck,ck->rc", band, axis)
    soft = 0.6 + 0.25 * by**0.5
    change = -ndimage.gaussian_filter1d(told, soft, axis=0, order=1, mode="nearest")
    change = ndimage.gaussian_filter1d(change, soft, axis=1, mode="nearest")
    inner = slice(beyond - reach, beyond + reach)
    strength = np.maximum(change[inner], 0)
    usual = np.maximum(ndimage.uniform_filter1d(strength.max(axis=0), 4 * wide, mode="nearest"), 1e-3)
    bent = np.abs(np.arange(-reach, reach) + 0.5)[:, None] / reach
    costs = (-3 * strength / usual + 0.4 * bent).T
    row = _levelled(costs, middle)
    lower, here, upper = (
        np.maximum(change[inner], 0)[np.clip(row + k, 0, 2 * reach - 1), x] for k in (-1, 0, 1)
    )
    bow = lower - 2 * here + upper
    part = np.where(bow < 0, np.clip((lower - upper) / (2 * np.where(bow < 0, bow, -1)), -0.5, 0.5), 0.0)
    return np.asarray(middle - reach + row + part + 0.5)


def _levelled(costs: Floats, middle: AnyArray) -> AnyArray:
    """Rows of the cheapest line within a band whose columns are shifted to ``middle``, (columns,)."""
    low = int(middle.min())
    tall = np.full((len(costs), int(middle.max()) - low + costs.shape[1]), 50.0)
    at = (middle - low)[:, None] + np.arange(costs.shape[1])
    np.put_along_axis(tall, at, costs, axis=1)
    return np.asarray(edge_path.cheapest(tall, 0.25, 6.0) - (middle - low))
