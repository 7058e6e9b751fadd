"""The bearing list as a text table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.layers.csv_table import write_csv

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import geopandas

#: Decimals by the end of a column's name.
_DECIMALS = {"_deg": 2, "_m": 1, "_share": 3}


def write_bearing_csv(
    path: Path, listed: geopandas.GeoDataFrame, *, inputs: Sequence[str | Path] = ()
) -> None:
    """Write a bearing list as CSV (RFC 4180, UTF-8): its columns, then easting_m and northing_m.

    Angles have two decimals, metres one, shares three; what is null stays empty.

    Raises
    ------
    OutputError : the place cannot be written to, or is an input
    """
    table = listed.drop(columns=listed.geometry.name).copy()
    table["easting_m"], table["northing_m"] = listed.geometry.x, listed.geometry.y
    write_csv(path, table, _DECIMALS, inputs=inputs)
