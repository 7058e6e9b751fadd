"""Checks that the blocks of a GeoTIFF are what was written, before their heights are used.

A block that is packed by DEFLATE ends in a checksum. GDAL's reader stops as soon as a block is full: where
damage makes more of a block than there was, it never comes to the checksum, and gives other heights without
a word. Of a file that has lost the mark that it is packed it gives the packed bytes as heights.
"""

from __future__ import annotations

import os
import sys
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from rasterio.errors import RasterioError
from rasterio.windows import Window

from hillsight.errors import TerrainError

if TYPE_CHECKING:
    from hillsight.arrays import AnyArray

#: Blocks that were found whole (band, row, column), by path, length and time of change of their file.
_whole: dict[tuple[str, int, int], set[tuple[int, int, int]]] = {}
_MOST_BLOCKS = 200_000
#: Posts that are read at once to be checked.
_POSTS_AT_ONCE = 1_000_000
_REMEDY = "The file may be damaged or cut short: fetch it again"


def check_blocks(path: str, dataset: Any, band: int, top: int, left: int, rows: int, columns: int) -> None:
    """Refuse a window of a GeoTIFF if one of its blocks is not what was written.

    Each block is looked at once in a process, as long as the file does not change. What GDAL makes of a block
    is packed half-way again and held against the block's checksum, which costs a fraction of reading it; only
    where the two disagree it is unpacked a second time.

    Parameters
    ----------
    path : of a file of this machine; what a virtual name or an address leads to is not checked
    dataset : as rasterio has opened it; other compressions than DEFLATE have no checksum
    band : 1-based
    top, left, rows, columns : the window, in cells

    Raises
    ------
    TerrainError : a block's checksum does not agree (RFC 1950, section 2.2: ADLER32), it is cut short, or
        it is too small for its posts (TIFF 6.0, sections 7 and 15: byte counts of strips and tiles)
    """
    if dataset.driver not in ("GTiff", "COG") or not os.path.isfile(path):  # noqa: PTH113 - as GDAL has it
        return
    structure = dataset.tags(ns="IMAGE_STRUCTURE")
    packing = structure.get("COMPRESSION")
    if packing not in (None, "DEFLATE"):
        return
    high, wide = dataset.block_shapes[band - 1]
    down = range(top // high, (top + rows - 1) // high + 1)
    across = range(left // wide, (left + columns - 1) // wide + 1)
    with open(path, "rb") as file:  # noqa: PTH123 - the name as GDAL has it
        status = os.fstat(file.fileno())
        whole = _found_whole((path, status.st_size, status.st_mtime_ns))
        fresh = {(row, column) for row in down for column in across if (band, row, column) not in whole}
        if not fresh:
            return
        blocks = _Blocks(path, file, dataset, band, structure, high, wide)
        if packing is None:
            blocks.check_sizes(fresh)
        else:
            blocks.check_sums(fresh, across)
        whole.update((band, row, column) for row, column in fresh)


def found_whole(
    file: tuple[str, int, int],
    band: int,
    shape: tuple[int, int],
    top: int,
    left: int,
    rows: int,
    columns: int,
) -> bool:
    """Whether all blocks of a window were found whole, of a file by path, length and time of change (ns)."""
    whole, (high, wide) = _whole.get(file, set()), shape
    return all(
        (band, row, column) in whole
        for row in range(top // high, (top + rows - 1) // high + 1)
        for column in range(left // wide, (left + columns - 1) // wide + 1)
    )


@dataclass(frozen=True)
class _Blocks:
    """Blocks of one band, (row, column) each, ``high`` rows of ``wide`` posts."""

    path: str
    file: Any
    dataset: Any
    band: int
    structure: dict[str, str]
    high: int
    wide: int

    def check_sizes(self, fresh: set[tuple[int, int]]) -> None:
        """Refuse blocks that are not packed, but too small for their posts."""
        bits = self.structure.get("NBITS") or self.dataset.tags(self.band, ns="IMAGE_STRUCTURE").get("NBITS")
        bits = int(bits or 8 * np.dtype(self.dataset.dtypes[self.band - 1]).itemsize)
        samples = self.dataset.count if self.structure.get("INTERLEAVE") == "PIXEL" else 1
        row_bytes = -(-self.wide * samples * bits // 8)
        for row, column in sorted(fresh):
            place = self._place(row, column)
            rows = min(self.high, self.dataset.height - row * self.high)
            if place is not None and place[1] < rows * row_bytes:
                raise self._refused(row, column, f"their block has {place[1]} bytes of {rows * row_bytes}")

    def check_sums(self, fresh: set[tuple[int, int]], across: range) -> None:
        """Refuse blocks whose checksum does not agree."""
        for row, column in sorted(fresh - set(self._proven(fresh, across))):
            place = self._place(row, column)
            if place is None:
                continue
            self.file.seek(place[0])
            if not _is_whole(self.file.read(place[1])):
                raise self._refused(row, column, "the checksum of their block does not agree")

    def _proven(self, fresh: set[tuple[int, int]], across: range) -> Iterator[tuple[int, int]]:
        """Blocks of which GDAL makes what their checksum is of."""
        kind = np.dtype(self.dataset.dtypes[self.band - 1])
        one_sample = self.dataset.count == 1 or self.structure.get("INTERLEAVE") == "BAND"
        odd_bits = self.dataset.tags(self.band, ns="IMAGE_STRUCTURE").get("NBITS")
        if kind.kind not in "iuf" or odd_bits or not one_sample:
            return
        self.file.seek(0)
        swapped = (self.file.read(2) == b"MM") == (sys.byteorder == "little")
        predictor = self.structure.get("PREDICTOR", "1")
        rows = sorted({row for row, _ in fresh})
        at_once = max(1, _POSTS_AT_ONCE // (self.high * self.wide * len(across)))
        for first in range(0, len(rows), at_once):
            some = rows[first : first + at_once]
            values = self._read(some[0], some[-1] - some[0] + 1, across)
            if values is None:
                continue
            for column in across:
                start = (column - across[0]) * self.wide
                stored = _as_stored(values[:, start : start + self.wide], predictor, swapped)
                for row in some:
                    place = self._place(row, column) if (row, column) in fresh else None
                    if place is not None and place[1] > 4:
                        at = (row - some[0]) * self.high
                        told = os.pread(self.file.fileno(), 4, sum(place) - 4)
                        if zlib.adler32(stored[at : at + self.high]) == int.from_bytes(told, "big"):
                            yield row, column

    def _read(self, first: int, count: int, across: range) -> AnyArray | None:
        """What GDAL makes of rows of blocks; None where it refuses one.

        Tiles that reach beyond the raster are filled up with 0, as GDAL writes them. Strips are not.
        """
        top, left = first * self.high, across[0] * self.wide
        rows, columns = self.high * count, self.wide * len(across)
        inside = min(rows, self.dataset.height - top), min(columns, self.dataset.width - left)
        try:
            values: AnyArray = self.dataset.read(self.band, window=Window(left, top, inside[1], inside[0]))
        except RasterioError:
            return None
        if self.wide < self.dataset.width and inside != (rows, columns):
            values = np.pad(values, ((0, rows - inside[0]), (0, columns - inside[1])))
        return values

    def _place(self, row: int, column: int) -> tuple[int, int] | None:
        """Offset and size in bytes; None of a block of nothing but no data, which is not written."""
        place = self.dataset.get_tag_item(f"BLOCK_OFFSET_{column}_{row}", "TIFF", bidx=self.band)
        size = self.dataset.get_tag_item(f"BLOCK_SIZE_{column}_{row}", "TIFF", bidx=self.band)
        return (int(place), int(size)) if place and size else None

    def _refused(self, row: int, column: int, why: str) -> TerrainError:
        last_row, last_column = (row + 1) * self.high - 1, (column + 1) * self.wide - 1
        return TerrainError(
            f"rows {row * self.high} to {last_row}, columns {column * self.wide} to {last_column} cannot be "
            f"read: {why}",
            where=self.path,
            remedy=_REMEDY,
        )


def _as_stored(block: AnyArray, predictor: str, swapped: bool) -> AnyArray:
    """The bytes that were packed: of differences along rows, where a predictor made them.

    Source: TIFF 6.0, section 14 (predictor 2); Adobe Photoshop TIFF Technical Note 3 (2005) for predictor 3,
    from memory: bytes of a row by their weight, heaviest first, whatever the file's order, then differences.
    """
    size = block.dtype.itemsize
    if predictor == "3":
        weights = np.ascontiguousarray(block).view(np.uint8).reshape(*block.shape, size)
        heaviest_first = weights[..., ::-1] if sys.byteorder == "little" else weights
        return _differences(np.ascontiguousarray(heaviest_first.transpose(0, 2, 1)).reshape(len(block), -1))
    stored = np.ascontiguousarray(block).view(f"u{size}")
    if predictor == "2":
        stored = _differences(stored)
    return stored.byteswap() if swapped else stored


def _differences(values: AnyArray) -> AnyArray:
    made = np.empty_like(values)
    made[:, 0] = values[:, 0]
    np.subtract(values[:, 1:], values[:, :-1], out=made[:, 1:])
    return made


def _found_whole(file: tuple[str, int, int]) -> set[tuple[int, int, int]]:
    if file not in _whole and sum(map(len, _whole.values())) >= _MOST_BLOCKS:
        _whole.clear()
    return _whole.setdefault(file, set())


def _is_whole(content: bytes) -> bool:
    stream = zlib.decompressobj()
    try:
        stream.decompress(content)
    except zlib.error:
        return False
    return stream.eof
