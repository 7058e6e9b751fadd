"""The bearing list as a text table."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from hillsight.layers.csv_table import csv_file
from hillsight.layers.frames import conform
from hillsight.schema.layers import LAYERS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    import geopandas

#: Decimals by the end of a column's name.
_DECIMALS = {"_deg": 2, "_m": 1, "_share": 3}


@contextmanager
def bearing_csv(
    path: Path, *, inputs: Sequence[str | Path] = ()
) -> Iterator[Callable[[geopandas.GeoDataFrame], int]]:
    """Write a bearing list as CSV (RFC 4180, UTF-8): its columns, then easting_m and northing_m.

    Angles have two decimals, metres one, shares three; what is null stays empty. Call what is yielded with
    the rows of one station after the other; the file takes its name when the block ends well.

    Raises
    ------
    OutputError : the place cannot be written to, or is an input
    """
    with csv_file(path, _DECIMALS, inputs=inputs) as add:

        def add_rows(listed: geopandas.GeoDataFrame) -> int:
            fitting = conform(listed, LAYERS["bearing_list"], None)
            table = fitting.drop(columns=fitting.geometry.name)
            table["easting_m"], table["northing_m"] = fitting.geometry.x, fitting.geometry.y
            return add(table)

        yield add_rows
