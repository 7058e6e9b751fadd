"""Contours of a map, and the heights written on them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.sheets.paper import palette, relief, signs
from hillsight.sheets.paper.labels import Box

if TYPE_CHECKING:
    from hillsight.sheets.paper.labels import Placer
    from hillsight.sheets.paper.maps import Map


def draw_contours(chart: Map, terrain: relief.Raised, *, strength: float = 1.0) -> float | None:
    """Contours, every fifth one thicker; returns their interval in metres, None where there is no relief.

    ``strength`` 1 draws them in full colour, less lets the ground show through.
    """
    if min(terrain.height_m.shape) < 2:
        return None
    interval_m = relief.contour_interval_m(terrain, chart.pixel_m)
    if interval_m is None:
        return None
    for levels, width in zip(
        _levels(terrain, interval_m), (signs.CONTOUR.width, signs.INDEX_CONTOUR.width), strict=True
    ):
        if levels.size:
            chart.axes.contour(
                terrain.easting_m,
                terrain.northing_m,
                np.ma.masked_invalid(terrain.height_m),
                levels=levels,
                colors=palette.CONTOUR,
                linewidths=width,
                linestyles="solid",
                alpha=strength,
                algorithm="serial",
                zorder=1.5,
            )
    return interval_m


def _levels(terrain: relief.Raised, interval_m: float) -> tuple[Any, Any]:
    """Heights of the thin and of the thick contours."""
    low, high = np.nanmin(terrain.height_m), np.nanmax(terrain.height_m)
    number = np.arange(np.ceil(low / interval_m), np.floor(high / interval_m) + 1)
    return number[number % 5 != 0] * interval_m, number[number % 5 == 0] * interval_m


def label_contours(chart: Map, terrain: relief.Raised, interval_m: float, placer: Placer) -> None:
    """Heights of thick contours, where they find room, at most two a level."""
    import contourpy

    lines = contourpy.contour_generator(
        terrain.easting_m, terrain.northing_m, np.ma.masked_invalid(terrain.height_m), name="serial"
    )
    for level in _levels(terrain, interval_m)[1]:
        text = f"{level + 0.0:.0f}".replace("-", "−")
        parts: list[Any] = sorted(lines.lines(float(level)), key=len, reverse=True)  # type: ignore[arg-type,unused-ignore]
        for part in parts[:2]:
            for share in (0.5, 0.25, 0.75, 0.1, 0.9):
                x, y = chart.to_page(*part[int(share * (len(part) - 1))])
                width, height = chart.page.size_of(text, 6)
                box = Box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
                if placer.free(box):
                    placer.taken.append(box)
                    chart.page.text(box.left, y, text, 6, colour=palette.CONTOUR_NAME, halo=True)
                    break
