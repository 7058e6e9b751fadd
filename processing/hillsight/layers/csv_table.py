"""Tables as text: one way of writing CSV for all that write it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.layers.atomic import replacing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import pandas as pd


def write_csv(
    path: Path, table: pd.DataFrame, decimals: Mapping[str, int], *, inputs: Sequence[str | Path] = ()
) -> None:
    """Write a table as CSV (RFC 4180, UTF-8); what is null stays empty.

    decimals : to round to, by the end of a column's name

    Raises
    ------
    OutputError : the place cannot be written to, or is an input
    """
    rounded = table.copy()
    for name in rounded.columns:
        for ending, places in decimals.items():
            if name.endswith(ending):
                rounded[name] = rounded[name].round(places)
    with replacing(path, inputs=inputs) as temporary:
        rounded.to_csv(temporary, index=False, lineterminator="\r\n", encoding="utf-8")
