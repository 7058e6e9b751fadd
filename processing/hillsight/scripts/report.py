"""What a script says to the person at the terminal: notes, progress, and a summary when all is written."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, Self

from hillsight.jobs.listener import ERRORS_NOTE, Listener
from hillsight.scripts.bearing_table import bearing_table
from hillsight.scripts.running import say, show
from hillsight.scripts.summary_lines import (
    first_ground_lines,
    landform_lines,
    relation_lines,
    station_lines,
)
from hillsight.words.marks import marks_shown

if TYPE_CHECKING:
    import pandas as pd

    from hillsight.jobs.results import Result


def note(text: str) -> None:
    """One thing the user should know, on the error stream."""
    say(f"note: {text}")


class Terminal(Listener):
    """Notes on the error stream, and a progress bar where that is a terminal."""

    def __init__(self, *, quiet: bool) -> None:
        self.quiet = quiet
        self._bar: Any = None
        self._tasks: dict[str, Any] = {}
        if not quiet and sys.stderr.isatty():
            from rich.console import Console
            from rich.progress import Progress as Bar

            self._bar = Bar(console=Console(stderr=True), transient=True)

    def __enter__(self) -> Self:
        if self._bar is not None:
            self._bar.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()

    def note(self, text: str) -> None:
        """On the error stream; what warns of something also where quiet is asked for."""
        if not (self.quiet and text.startswith(ERRORS_NOTE)):
            note(text)

    def waiting(self, why: str) -> None:
        """On the error stream."""
        if not self.quiet:
            note(why)

    def progress(self, what: str, share: float) -> None:
        """A bar for each piece of work."""
        if self._bar is None:
            return
        from rich.markup import escape

        if what not in self._tasks:
            self._tasks[what] = self._bar.add_task(escape(marks_shown(what)), total=1.0)
        self._bar.update(self._tasks[what], completed=share)

    def say(self, lines: Iterable[str], result: Result) -> None:
        """Lines, then what was written, on the standard output."""
        if not self.quiet:
            for line in (*lines, *written_lines(result)):
                show(line)


class StationReport(Terminal):
    """The same, with a summary of each station; only its lines are kept, not its rows.

    field : the field of view in words, where it is not all within the reach
    first_ground : whether to tell of first ground
    """

    def __init__(
        self, *, quiet: bool, field: str = "", first_ground: bool = False, show_hidden: bool = False
    ) -> None:
        super().__init__(quiet=quiet)
        self._field = field
        self._first_ground = first_ground
        self._show_hidden = show_hidden
        self._lines: tuple[list[str], list[str], list[str], list[str]] = ([], [], [], [])

    def station_read(self, frames: Mapping[str, pd.DataFrame]) -> None:
        """Keep what is to be said of a station."""
        if self.quiet:
            return
        stations, brows, tables, told = self._lines
        stations += station_lines(frames["stations"], self._field)
        if self._first_ground:
            brows += first_ground_lines(frames["first_ground"])
        if "bearing_list" in frames:
            tables += bearing_table(frames["bearing_list"], frames["stations"], show_hidden=self._show_hidden)
        if "relations" in frames:
            for station in frames["stations"]["station"]:
                told += relation_lines(frames["relations"], station)

    def tell(self, result: Result) -> None:
        """Say it all, now that everything is written."""
        self.say([line for part in self._lines for line in part], result)


class LandformReport(Terminal):
    """The same, with what was found of landforms."""

    _lines: tuple[str, ...] = ()

    def station_read(self, frames: Mapping[str, pd.DataFrame]) -> None:
        """Keep what is to be said of the landforms."""
        self._lines = tuple(landform_lines(frames))

    def tell(self, result: Result) -> None:
        """Say it, now that everything is written."""
        self.say(self._lines, result)


def check_shown(show_hidden: bool, *, features: Any, landforms: Any, **_: Any) -> None:
    """Refuse a table of hidden features where no features are listed.

    Raises
    ------
    CallError : hidden ones are to be shown, and neither features nor landforms are given
    """
    if show_hidden and not features and landforms is None:
        from hillsight.jobs.inputs import no_features

        raise no_features("show_hidden")


def written_lines(result: Result) -> list[str]:
    """What was written, one line a file or folder."""
    lines = []
    for name, places in result.files.items():
        verb = "drew" if name in ("pictures", "drawing") else "wrote"
        beside = " and styles beside it" if name == "out" and result.frames and places[0].suffix else ""
        lines += [f"{verb} {place}{beside}" for place in places]
    return lines
