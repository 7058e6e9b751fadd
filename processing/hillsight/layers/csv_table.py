"""Tables as text: one way of writing CSV for all that write it."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from hillsight.layers.atomic import replacing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path

    import pandas as pd


@contextmanager
def csv_file(
    path: Path, decimals: Mapping[str, int], *, inputs: Sequence[str | Path] = ()
) -> Iterator[Callable[[pd.DataFrame], None]]:
    """Write tables of the same columns one below the other as CSV (RFC 4180, UTF-8); null stays empty.

    Call what is yielded with each table, once at least. The file takes its name when the block ends well.

    decimals : to round to, by the end of a column's name

    Raises
    ------
    OutputError : the place cannot be written to, or is an input
    """
    with replacing(path, inputs=inputs) as temporary:

        def add(table: pd.DataFrame) -> None:
            rounded = table.copy()
            for name in rounded.columns:
                for ending, places in decimals.items():
                    if name.endswith(ending):
                        rounded[name] = rounded[name].round(places)
            first = not temporary.exists()
            rounded.to_csv(
                temporary, mode="a", header=first, index=False, lineterminator="\r\n", encoding="utf-8"
            )

        yield add


def write_csv(
    path: Path, table: pd.DataFrame, decimals: Mapping[str, int], *, inputs: Sequence[str | Path] = ()
) -> None:
    """Write one table as :func:`csv_file` does."""
    with csv_file(path, decimals, inputs=inputs) as add:
        add(table)
