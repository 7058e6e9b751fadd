"""Names and heights on a map of landforms: the tops first, then what finds room."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING, Any

from hillsight.sheets.landforms import landform_marks as marks
from hillsight.sheets.paper import palette
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.marks import name_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import geopandas

    from hillsight.sheets.paper.labels import Placer
    from hillsight.sheets.paper.maps import Map

_LONG = 70.0  # pixels; spurs from here on say in which direction they fall
_MOST_DIRECTIONS = 40
_APART = 9.0  # pixels
_CROWDED_PAD = 28.0  # pixels more between labels if signs were of no width at all
_NAMED_LINES = ("ridges", "spurs", "valley_lines", "re_entrants", "breaks_of_slope")
_NAMED_AREAS = ("hollows", "level_ground")
_WATERY = ("valley_lines", "re_entrants", "hollows")


def label_landforms(
    chart: Map, frames: Mapping[str, geopandas.GeoDataFrame], placer: Placer, fine: float
) -> int:
    """Write names and heights where they find room; returns how many of tops, saddles and names did not.

    In order: tops by prominence, with name and height; heights of saddles, those with the greatest climb
    first; names of lines and areas, the longest first, each name once; directions of the longer spurs.

    Parameters
    ----------
    fine : share of their usual width that lines have on this map; the finer, the farther labels keep apart
    """
    left_out = 0
    written: set[str] = set()
    pad = _CROWDED_PAD * (1 - fine)
    for name, text, kind, x, y, size in [*_tops(chart, frames), *_saddles(chart, frames)]:
        clear = marks.half_size(kind, marks.mark_share(fine)) + placer.gap + 0.1
        bold, size = kind == "summit", size * (0.8 + 0.2 * fine)
        for words in dict.fromkeys((text, name)):  # without the height if there is no room for both
            if words and _write(chart, placer, words, x, y, size, clear=clear, pad=pad, bold=bold):
                written.add(name)
                break
        else:
            left_out += bool(text)
    for name, x, y, colour in _names(chart, frames):
        if name not in written:
            if _write(chart, placer, name, x, y, 6.4, clear=5, pad=pad, colour=colour):
                written.add(name)
            else:
                left_out += 1
    placer.gap += _APART  # so that a direction does not read as part of a name or height
    for text, x, y in _directions(chart, frames):
        _write(chart, placer, text, x, y, 5.8, clear=5, pad=pad)
    placer.gap -= _APART
    return left_out


def _write(
    chart: Map, placer: Placer, text: str, x: float, y: float, size: float, *,
    clear: float, pad: float, **style: Any,
) -> bool:  # fmt: skip
    """Write a text beside a place, and keep later ones ``pad`` pixels off it; whether there was room."""
    width, height = chart.page.size_of(text, size, bold=style.get("bold", False))
    box = placer.beside(x, y, width, height, clear)
    if box is None:
        return False
    placer.taken[-1] = Box(box.left - pad, box.bottom - pad, box.right + pad, box.top + pad)
    chart.page.text(box.left, (box.bottom + box.top) / 2, text, size, halo=True, **style)
    return True


def _height(value: float) -> str:
    if not isfinite(value):
        return ""
    return f"{value + 0.0:.0f}".replace("-", "−")


_Label = tuple[str, str, str, float, float, float]


def _tops(chart: Map, frames: Mapping[str, geopandas.GeoDataFrame]) -> Iterator[_Label]:
    if "tops" not in frames:
        return
    for row in marks.by_rank(frames["tops"]).itertuples(index=False):
        name, size = name_of(row.name), 7.4 if row.kind == "summit" else 6.4
        text = f"{name} {_height(row.height_m)}".strip()
        yield name, text, row.kind, *chart.to_page(row.geometry.x, row.geometry.y), size


def _saddles(chart: Map, frames: Mapping[str, geopandas.GeoDataFrame]) -> Iterator[_Label]:
    if "saddles" not in frames:
        return
    for row in marks.by_climb(frames["saddles"]).itertuples(index=False):
        name = name_of(row.name)
        text = f"{name} {_height(row.height_m)}".strip()
        yield name, text, "saddle", *chart.to_page(row.geometry.x, row.geometry.y), 6.0


def _names(
    chart: Map, frames: Mapping[str, geopandas.GeoDataFrame]
) -> Iterator[tuple[str, float, float, str]]:
    """Names of lines and areas, the largest first."""
    found = []
    for layer in (*_NAMED_LINES, *_NAMED_AREAS):
        if layer in frames:
            for row in frames[layer].itertuples(index=False):
                if name := name_of(row.name):
                    shape, is_area = row.geometry, layer in _NAMED_AREAS
                    at = shape.representative_point() if is_area else shape.interpolate(0.5, normalized=True)
                    colour = palette.WATER_NAME if layer in _WATERY else palette.INK
                    found.append((-shape.length, name, *chart.to_page(at.x, at.y), colour))
    for _, name, x, y, colour in sorted(found):
        yield name, x, y, colour


def _directions(
    chart: Map, frames: Mapping[str, geopandas.GeoDataFrame]
) -> Iterator[tuple[str, float, float]]:
    """Compass points of the longest spurs, beside the middle of each."""
    if "spurs" not in frames:
        return
    spurs = frames["spurs"]
    order = spurs.sort_values(["length_m", "landform"], ascending=[False, True], kind="stable")
    for row in order.head(_MOST_DIRECTIONS).itertuples(index=False):
        if row.geometry.length >= _LONG * chart.pixel_m:
            at = row.geometry.interpolate(0.5, normalized=True)
            yield str(row.falls_towards), *chart.to_page(at.x, at.y)
