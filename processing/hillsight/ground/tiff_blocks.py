"""Checks the blocks of a compressed GeoTIFF by the checksums that they end in.

GDAL's reader stops as soon as a block is full. Where damage makes more of a block than there was, it never
comes to the checksum, and gives other heights without a word.
"""

from __future__ import annotations

import os
import zlib
from typing import Any

from hillsight.errors import TerrainError

#: Blocks that were found whole (band, row, column), by path, length and time of change of their file.
_whole: dict[tuple[str, int, int], set[tuple[int, int, int]]] = {}
_MOST_FILES = 16


def check_blocks(path: str, dataset: Any, band: int, top: int, left: int, rows: int, columns: int) -> None:
    """Refuse a window of a GeoTIFF packed by DEFLATE if one of its blocks is not what was written.

    Each block is looked at once in a process, as long as the file does not change. It takes about as long as
    reading the block.

    Parameters
    ----------
    path : of a file of this machine; nothing else is checked, and no other compression has a checksum
    dataset : as rasterio has opened it
    band : 1-based
    top, left, rows, columns : the window, in cells

    Raises
    ------
    TerrainError : a block's checksum does not agree (RFC 1950, section 2.2: ADLER32), or it is cut short
    """
    packed = dataset.tags(ns="IMAGE_STRUCTURE").get("COMPRESSION") == "DEFLATE"
    if dataset.driver not in ("GTiff", "COG") or not packed or "://" in path or path.startswith("/vsi"):
        return
    high, wide = dataset.block_shapes[band - 1]
    with open(path, "rb") as file:  # noqa: PTH123 - the name as GDAL has it
        status = os.fstat(file.fileno())
        whole = _found_whole((path, status.st_size, status.st_mtime_ns))
        for row in range(top // high, (top + rows - 1) // high + 1):
            for column in range(left // wide, (left + columns - 1) // wide + 1):
                if (band, row, column) in whole:
                    continue
                place = dataset.get_tag_item(f"BLOCK_OFFSET_{column}_{row}", "TIFF", bidx=band)
                size = dataset.get_tag_item(f"BLOCK_SIZE_{column}_{row}", "TIFF", bidx=band)
                if not place or not size:  # a block of nothing but no data is not written
                    continue
                file.seek(int(place))
                if not _is_whole(file.read(int(size))):
                    last_row, last_column = row * high + high - 1, column * wide + wide - 1
                    raise TerrainError(
                        f"rows {row * high} to {last_row}, columns {column * wide} to {last_column} cannot "
                        "be read: the checksum of their block does not agree",
                        where=path,
                        remedy="The file may be damaged or cut short: fetch it again",
                    )
                whole.add((band, row, column))


def _found_whole(file: tuple[str, int, int]) -> set[tuple[int, int, int]]:
    if file not in _whole and len(_whole) >= _MOST_FILES:
        _whole.clear()
    return _whole.setdefault(file, set())


def _is_whole(content: bytes) -> bool:
    stream = zlib.decompressobj()
    try:
        stream.decompress(content)
    except zlib.error:
        return False
    return stream.eof
