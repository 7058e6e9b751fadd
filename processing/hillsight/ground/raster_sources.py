"""Checks the files that a raster's window is read from, a virtual raster's sources with it.

Of a virtual raster with a source that is missing or broken GDAL refuses the first window that needs it. Every
later one in the process it reads with 0 there, without a word: it remembers that it has tried. So sources are
looked at here before each window.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

import numpy as np
import rasterio
from rasterio.errors import RasterioError
from rasterio.warp import transform

from hillsight.errors import TerrainError
from hillsight.ground.text_grid import check_text_grid
from hillsight.ground.tiff_blocks import check_blocks, found_whole

if TYPE_CHECKING:
    from hillsight.arrays import Floats

#: Virtual rasters within virtual rasters that are followed.
_DEEPEST = 8
#: Cells around a window that resampling may read, and how much of a warped window's size besides.
_AROUND_CELLS, _AROUND_PART = 3, 0.02
#: Files that are remembered.
_MOST_FACTS = 4096

_Window = tuple[int, int, int, int]
_State = tuple[str, int, int]


@dataclass(frozen=True)
class _Source:
    """A piece of a virtual band.

    path, band : where it comes from; band 0 is a mask
    taken, put : west, north, width and height in the source's cells and in the virtual raster's; None for all
    options : names and values that GDAL opens it with
    """

    path: str
    band: int
    taken: tuple[float, ...] | None = None
    put: tuple[float, ...] | None = None
    warped: bool = False
    options: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class _Facts:
    """What is remembered of a raster, so that it need not be opened for each window.

    sources : of a virtual raster, by band, with (n, 4) left, top, right and bottom of where they are put
    """

    path: str
    driver: str
    height: int
    width: int
    block_shapes: tuple[tuple[int, int], ...]
    transform: Any
    crs: Any
    sources: dict[int, tuple[list[_Source], Floats]]


_facts: dict[_State, _Facts] = {}
#: Text grids that were found sound.
_sound_texts: set[_State] = set()


def check_window(path: str, dataset: Any, band: int, top: int, left: int, rows: int, columns: int) -> None:
    """Refuse a window if a file that it is read from is not what was written there.

    Of a virtual raster only the sources are looked at that the window touches, and of them only the part that
    it takes. What a tile index, an archive or an address leads to is not checked.

    Parameters
    ----------
    path : of the raster
    dataset : as rasterio has opened it
    band : 1-based
    top, left, rows, columns : the window, in cells

    Raises
    ------
    TerrainError : a block of a GeoTIFF, or a text grid behind a virtual raster, is damaged; or what a virtual
        raster needs is missing or cannot be opened
    """
    window = top, left, rows, columns
    if dataset.driver == "VRT":
        state = _state(path)
        facts = _facts.get(state) if state is not None else None
        _check_sources(facts or _remember(path, state, dataset), band, window, 0)
    else:
        check_blocks(path, dataset, band, *window)


def _check_sources(virtual: _Facts, band: int, window: _Window, depth: int) -> None:
    """Check what a window of a virtual raster takes of its sources."""
    if band not in virtual.sources or depth >= _DEEPEST:
        return
    top, left, rows, columns = window
    sources, put = virtual.sources[band]
    met = (put[:, 0] < left + columns) & (put[:, 2] > left) & (put[:, 1] < top + rows) & (put[:, 3] > top)
    for number in np.flatnonzero(met):
        source = sources[number]
        state = _state(source.path)
        facts = _facts.get(state) if state is not None else None
        with nullcontext() if facts is not None else _opened(source, virtual) as dataset:
            if state is None:
                continue
            if facts is None:
                facts = _remember(source.path, state, dataset)
            needed = (_warped_window if source.warped else _taken_window)(source, virtual, facts, window)
            if needed is not None and 1 <= source.band <= len(facts.block_shapes):
                _check_source(source, state, facts, needed, depth, dataset)


def _check_source(
    source: _Source, state: _State, facts: _Facts, window: _Window, depth: int, dataset: Any
) -> None:
    """Check a window of a source; ``dataset`` is None where it is not open."""
    if facts.driver == "VRT":
        _check_sources(facts, source.band, window, depth + 1)
    elif facts.driver == "AAIGrid":
        if state not in _sound_texts:
            check_text_grid(source.path, facts.height, facts.width)
            _sound_texts.add(state)
    elif facts.driver == "GTiff" and not found_whole(
        state, source.band, facts.block_shapes[source.band - 1], *window
    ):
        with nullcontext(dataset) if dataset is not None else _opened(source, facts) as held:
            check_blocks(source.path, held, source.band, *window)


@contextmanager
def _opened(source: _Source, virtual: _Facts) -> Iterator[Any]:
    """A source's dataset, within the settings of the raster that leads to it.

    Raises
    ------
    TerrainError : it is missing, or cannot be opened
    """
    try:
        # Side files are looked for by name: a folder of tiles may be long.
        with rasterio.Env(GDAL_DISABLE_READDIR_ON_OPEN="TRUE"):
            dataset = rasterio.open(source.path, **dict(source.options))
    except (RasterioError, OSError, ValueError) as fault:
        raise TerrainError(
            f"what it leads to cannot be read ({' '.join(str(fault).split())})".rstrip("."),
            where=virtual.path,
            remedy="Fetch it, or correct its name there",
        ) from fault
    with dataset:
        yield dataset


def _taken_window(source: _Source, virtual: _Facts, facts: _Facts, window: _Window) -> _Window | None:
    """Cells of a source that a window of the virtual raster takes."""
    put = source.put or (0.0, 0.0, virtual.width, virtual.height)
    taken = source.taken or (0.0, 0.0, facts.width, facts.height)
    top, left, rows, columns = window
    bounds = []
    for start, count, at in ((top, rows, 1), (left, columns, 0)):
        per_cell = taken[at + 2] / put[at + 2]
        around = 0.0 if per_cell == 1 and float(put[at] - taken[at]).is_integer() else _AROUND_CELLS
        first, last = (taken[at] + (edge - put[at]) * per_cell for edge in (start, start + count))
        first, last = max(first, taken[at]), min(last, taken[at] + taken[at + 2])
        bounds.append((first - around, last + around))
    return _within(facts, *bounds[0], *bounds[1])


def _warped_window(source: _Source, virtual: _Facts, facts: _Facts, window: _Window) -> _Window | None:
    """Cells of a source that a window of a warped raster takes, as far as their two grids tell; else all."""
    top, left, rows, columns = window
    row, column = np.meshgrid(np.linspace(top, top + rows, 21), np.linspace(left, left + columns, 21))
    try:
        x, y = _applied(virtual.transform, column.ravel(), row.ravel())
        x, y = (np.asarray(v) for v in transform(virtual.crs, facts.crs, x, y))
        at_column, at_row = _applied(~facts.transform, x, y)
    except Exception:  # no CRS, ground control points, no way between the two: whatever it takes
        return 0, 0, facts.height, facts.width
    if not (np.isfinite(at_row).all() and np.isfinite(at_column).all()):
        return 0, 0, facts.height, facts.width
    return _within(facts, *_widened(at_row), *_widened(at_column))


def _applied(affine: Any, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    a, b, c, d, e, f = affine[:6]
    return a * x + b * y + c, d * x + e * y + f


def _widened(at: Floats) -> tuple[float, float]:
    first, last = float(at.min()), float(at.max())
    around = _AROUND_CELLS + _AROUND_PART * (last - first)
    return first - around, last + around


def _within(
    facts: _Facts, first_row: float, last_row: float, first_column: float, last_column: float
) -> _Window | None:
    top, left = max(int(np.floor(first_row)), 0), max(int(np.floor(first_column)), 0)
    rows = min(int(np.ceil(last_row)), facts.height) - top
    columns = min(int(np.ceil(last_column)), facts.width) - left
    return (top, left, rows, columns) if rows > 0 and columns > 0 else None


def _remember(path: str, state: _State | None, dataset: Any) -> _Facts:
    sources: dict[int, tuple[list[_Source], Floats]] = {}
    if dataset.driver == "VRT":
        try:
            root = ElementTree.fromstring(dataset.tags(ns="xml:VRT").get("xml:VRT", ""))
        except UnicodeDecodeError as fault:
            raise TerrainError(
                "the virtual raster holds bytes that are no UTF-8",
                where=path,
                remedy="Save it as UTF-8, or make it again if it is damaged",
            ) from fault
        except ElementTree.ParseError:  # GDAL has understood it: what it reads is left to it
            root = ElementTree.Element("VRTDataset")
        for band in range(1, dataset.count + 1):
            found = list(_listed(root, _folder_of(path, state, dataset), band))
            whole = 0.0, 0.0, float(dataset.width), float(dataset.height)
            put = np.array([whole if one.put is None else one.put for one in found]).reshape(-1, 4)
            put[:, 2:] += put[:, :2]
            sources[band] = found, put
    facts = _Facts(
        path,
        dataset.driver,
        dataset.height,
        dataset.width,
        tuple(dataset.block_shapes),
        dataset.transform,
        dataset.crs,
        sources,
    )
    if state is not None:
        if len(_facts) >= _MOST_FACTS:
            _facts.clear()
        _facts[state] = facts
    return facts


def _folder_of(path: str, state: _State | None, dataset: Any) -> str:
    """What the sources of a virtual raster are named from: its folder, of a file, in an archive or typed."""
    if state is None and not path.startswith("vrt://") and dataset.files:
        path = dataset.files[0]  # as GDAL names it
    # A path of pathlib would lose the second of the two signs in /vsizip//tmp.
    return "" if path.startswith("vrt://") else os.path.dirname(path)  # noqa: PTH120


def _listed(root: ElementTree.Element, folder: str, band: int) -> Iterator[_Source]:
    for warp in root.iter("GDALWarpOptions"):
        name = warp.find("SourceDataset")
        if name is not None:
            mapped = [one.get("src", "1") for one in warp.iter("BandMapping") if one.get("dst") == str(band)]
            yield _Source(_path_of(name, folder), int(mapped[0]) if mapped else band, warped=True)
    for one in root.findall("Input"):
        name = one.find("SourceFilename")
        if name is not None:
            yield _Source(_path_of(name, folder), band)
    bands = [one for one in root.findall("VRTRasterBand") if one.get("band") == str(band)]
    for element in (*bands, *root.findall("MaskBand/VRTRasterBand")):
        for piece in element:
            if piece.tag == "Overview":  # heights are read at full size
                continue
            name, number = piece.find("SourceFilename"), piece.findtext("SourceBand", "1").strip()
            if name is not None:
                yield _Source(
                    _path_of(name, folder),
                    int(number) if number.isdecimal() else 0,
                    _rectangle(piece.find("SrcRect")),
                    _rectangle(piece.find("DstRect")),
                    options=tuple((one.get("key", ""), one.text or "") for one in piece.iter("OOI")),
                )


def _path_of(name: ElementTree.Element, folder: str) -> str:
    text = (name.text or "").strip()
    return os.path.join(folder, text) if name.get("relativeToVRT") == "1" else text  # noqa: PTH118


def _rectangle(element: ElementTree.Element | None) -> tuple[float, ...] | None:
    if element is None:
        return None
    found = tuple(float(element.get(name, "nan")) for name in ("xOff", "yOff", "xSize", "ySize"))
    return found if np.isfinite(found).all() and min(found[2:]) > 0 else None


def _state(path: str) -> _State | None:
    """What tells whether a file is still the same; None where it is no file of this machine."""
    try:
        status = os.stat(path)  # noqa: PTH116 - the name as GDAL has it
    except (OSError, ValueError):
        return None
    return path, status.st_size, status.st_mtime_ns
