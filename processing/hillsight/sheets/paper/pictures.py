"""Pictures of pixels on a page."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.page import PER_MM

if TYPE_CHECKING:
    from hillsight.arrays import Bytes
    from hillsight.sheets.paper.page import Page


def draw_rgb(page: Page, rgb: Bytes, box_mm: Box, name: str) -> Box:
    """A picture as large as fits the top of a box, in its middle; returns where it stands, mm.

    Parameters
    ----------
    rgb : (rows, columns, 3) uint8, top row first
    name : of its group in an SVG
    """
    rows, columns = rgb.shape[:2]
    width = min(box_mm.width, box_mm.height * columns / rows)
    height = width * rows / columns
    left = box_mm.left + (box_mm.width - width) / 2
    stands = Box(left, box_mm.top - height, left + width, box_mm.top)
    place = Box(*(edge * PER_MM for edge in (stands.left, stands.bottom, stands.right, stands.top)))
    axes = page.frame(place, Box(0.0, 0.0, columns, rows))
    axes.set_gid(name)
    axes.imshow(rgb, extent=(0, columns, 0, rows), origin="upper", interpolation="none", aspect="auto")
    page.box(place, linewidth=0.6)
    return stands


def few_colours(rgb: Bytes) -> Bytes:
    """A drawn view in 256 colours: files take a third of the room, and no difference is seen."""
    from PIL import Image

    fewer = Image.fromarray(rgb).quantize(256, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    return np.asarray(fewer.convert("RGB"))
