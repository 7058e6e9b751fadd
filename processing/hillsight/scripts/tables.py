"""Tables for whoever reads them: as wide as the terminal, or one row one line.

The rule for tables whose width hangs on data. A width that is known is kept to: the terminal's, or what
the environment variable ``COLUMNS`` says (POSIX.1, "Environment Variables"; from memory). Where a row does
not fit into it, the table has fewer columns, and each row more lines. Where no width is known, as in a pipe
or a file, each row is one line, as long as it needs to be: nothing there is wrapped or cut.
"""

from __future__ import annotations

import io
import os
import shutil
import sys
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

#: No table is made narrower than this.
NARROWEST = 40
#: Wider than any row, for tables that nothing wraps.
_BOUNDLESS = 100_000


@dataclass(frozen=True)
class Columns:
    """Heads of a table and its rows of as many cells; a cell may have several lines.

    right : numbers of the columns whose cells stand at the right
    """

    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    right: frozenset[int] = frozenset()


def output_width() -> int | None:
    """Characters in a line of the standard output; None where it has no width."""
    told = os.environ.get("COLUMNS", "")
    if told.isascii() and told.isdigit() and int(told) > 0:
        return max(int(told), NARROWEST)
    if sys.stdout is not None and sys.stdout.isatty():
        return max(shutil.get_terminal_size().columns, NARROWEST)
    return None


def table_lines(title: str, wide: Columns, narrow: Columns, caption: str, width: int | None) -> list[str]:
    """A table as lines: the wide one where it fits into the width or there is none, else the narrow one."""
    lines = _drawn(wide, None)
    if width is None:
        return [title, *lines, caption]
    if max(map(_cells, lines)) > width:
        lines = _drawn(narrow, width)
    return [*textwrap.wrap(title, width), *lines, *textwrap.wrap(caption, width)]


def _drawn(columns: Columns, width: int | None) -> list[str]:
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    shown = box.HEAVY_HEAD if width is None else box.SIMPLE_HEAD
    table = Table(
        box=shown if encoding.lower().startswith("utf") else box.ASCII2,
        collapse_padding=width is not None,
        pad_edge=width is None,
    )
    for number, head in enumerate(columns.heads):
        table.add_column(head, justify="right" if number in columns.right else "left")
    for row in columns.rows:
        table.add_row(*(Text(cell) for cell in row))
    # Into memory: the lines are printed when all files are whole, and what cannot be printed must spoil none.
    # Not printed by the console itself: it ends the process when the reader of a pipe has gone.
    file = io.StringIO()
    Console(file=file, width=width or _BOUNDLESS, color_system=None, legacy_windows=False).print(table)
    return [line.rstrip() for line in file.getvalue().splitlines()]


def _cells(line: str) -> int:
    from rich.cells import cell_len

    return cell_len(line)
