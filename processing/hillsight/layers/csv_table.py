"""Tables as text: one way of writing CSV for all that write it."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

import pandas as pd

from hillsight.layers.atomic import replacing
from hillsight.schema.frames import texts
from hillsight.words.marks import marks_shown

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path


#: What makes a spreadsheet take a text for a formula (OWASP, "CSV Injection"; from memory).
_ACTING = ("=", "+", "-", "@", "\t", "\r")


@contextmanager
def csv_file(
    path: Path, decimals: Mapping[str, int], *, inputs: Sequence[str | Path] = ()
) -> Iterator[Callable[[pd.DataFrame], int]]:
    """Write tables of the same columns one below the other as CSV (RFC 4180, UTF-8); null stays empty.

    Signs that act become their numbers. Text that a spreadsheet would take for a formula, as a name like
    ``=1+1``, gets an apostrophe before it, the usual convention. What is yielded returns how many cells it
    did that to.

    Call what is yielded with each table, once at least. The file takes its name when the block ends well.

    decimals : to round to, by the end of a column's name

    Raises
    ------
    OutputError : the place cannot be written to, or is an input
    """
    with replacing(path, inputs=inputs) as temporary:

        def add(table: pd.DataFrame) -> int:
            rounded, changed = table.copy(), 0
            for name in rounded.columns:
                if not pd.api.types.is_numeric_dtype(rounded[name]):
                    cells = [marks_shown(cell) if isinstance(cell, str) else cell for cell in rounded[name]]
                    acts = [_would_act(cell) for cell in cells]
                    told = [f"'{cell}" if act else cell for cell, act in zip(cells, acts, strict=True)]
                    rounded[name] = texts(told, rounded.index)
                    changed += sum(acts)
            for name in rounded.columns:
                for ending, places in decimals.items():
                    if name.endswith(ending):
                        rounded[name] = rounded[name].round(places)
            first = not temporary.exists()
            rounded.to_csv(
                temporary, mode="a", header=first, index=False, lineterminator="\r\n", encoding="utf-8"
            )
            return changed

        yield add


def formula_note(changed: int) -> str:
    """What the user should know of changed cells."""
    cells = "1 text" if changed == 1 else f"{changed} texts"
    return f"{cells} in the CSV would be taken for a formula by spreadsheets: an apostrophe stands before it."


def _would_act(cell: object) -> bool:
    return isinstance(cell, str) and cell.startswith(_ACTING)


def write_csv(
    path: Path, table: pd.DataFrame, decimals: Mapping[str, int], *, inputs: Sequence[str | Path] = ()
) -> int:
    """Write one table as :func:`csv_file` does; how many cells got an apostrophe."""
    with csv_file(path, decimals, inputs=inputs) as add:
        return add(table)
