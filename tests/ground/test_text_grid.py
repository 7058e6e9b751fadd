"""Grids of text: what is sound is read, and nothing is guessed of what is not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import hillsight
from hillsight.errors import TerrainError

HEADER = "ncols 4\nnrows 3\nxllcorner 300000\nyllcorner 700000\ncellsize 10\nNODATA_value -9999\n"
ROWS = "1 2 3 4\n5 6 7 8\n9 10 11 12\n"


@pytest.mark.parametrize(
    "text",
    [
        HEADER + ROWS,
        (HEADER + ROWS).replace("\n", "\r\n"),
        (HEADER + ROWS).upper(),
        HEADER + "\n" + ROWS.replace("\n", " "),
        HEADER + "  1.0 +2 3e0 4\n5. 6 7 .8e1 9 10 11 12",
        HEADER.replace("cellsize 10", "dx 10\ndy 10") + ROWS,
    ],
)
def test_a_sound_grid_is_read(tmp_path: Path, text: str) -> None:
    path = tmp_path / "grid.asc"
    path.write_bytes(text.encode())
    found = hillsight.open_terrain(path, terrain_crs="EPSG:27700", vertical_unit="m").whole()
    assert np.array_equal(found.height_m, np.arange(1.0, 13.0).reshape(3, 4))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (HEADER + ROWS.replace("6 7", "67"), "holds 11 values"),
        (HEADER + ROWS + "13\n", "holds 13 values"),
        (HEADER + ROWS + ROWS, "holds 24 values"),
        (HEADER + ROWS.replace("6", "6-1"), "value 2 of row 1 is '6-1'"),
        (HEADER + ROWS.replace("7", "0x7"), "value 3 of row 1 is '0x7'"),
        (HEADER + ROWS.replace("10", "1inf2"), "value 2 of row 2 is '1inf2'"),
        ((HEADER + ROWS).encode().replace(b"8", b"8\x00"), "value 4 of row 1"),
        ((HEADER + ROWS).encode().replace(b"8", b"\xd7"), "value 4 of row 1 is '\\xd7'"),
        (HEADER.replace("NODATA", "NADATA") + ROWS, "'NADATA_value -9999'"),
        (HEADER.replace("-9999", "-9999 7") + ROWS, "its header has a line"),
    ],
)
def test_a_damaged_grid_is_refused(tmp_path: Path, text: str | bytes, says: str) -> None:
    """Of all but that with a NUL GDAL 3.13 makes heights without a word, of most others than those meant."""
    path = tmp_path / "grid.asc"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(TerrainError) as refused:
        hillsight.open_terrain(path, terrain_crs="EPSG:27700", vertical_unit="m")
    assert says in str(refused.value)
