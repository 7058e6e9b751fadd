"""Tells of jobs that run one after the other: each as it would be typed, then what it found."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import click

from hillsight.jobs.listener import Listener
from hillsight.scripts.report import StationReport, Terminal
from hillsight.scripts.running import show

if TYPE_CHECKING:
    import geopandas


class Steps(Listener):
    """Shows the command of each job that begins, and its report when it has ended; a context."""

    def __init__(self) -> None:
        self._report = Terminal(quiet=False)
        self._begun = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Stop the report in hand, also where a job ended in an error: no bar is left on the terminal."""
        self._report.__exit__()

    def begins(self, job: str, asked: Mapping[str, Any]) -> None:
        """Print the command, and listen to it as its script would."""
        module = import_module(f"hillsight.scripts.{job.replace('-', '_')}")
        command: click.Command = module.command
        if self._begun:
            click.echo("")
        self._begun += 1
        show(f"$ {Path(sys.argv[0])} {command.name} {shlex.join(_words(command, asked))}")
        self._report = (
            StationReport(quiet=False, first_ground=True) if job == "outlook" else Terminal(quiet=False)
        )
        self._report.__enter__()

    def ended(self, job: str, result: Any) -> None:
        """Print what it found."""
        self._report.__exit__()
        if isinstance(self._report, StationReport):
            self._report.tell(result)
            return
        self._report.say(_found_lines(job, result), result)

    def note(self, text: str) -> None:
        """As the script would."""
        self._report.note(text)

    def waiting(self, why: str) -> None:
        """As the script would."""
        self._report.waiting(why)

    def progress(self, what: str, share: float) -> None:
        """As the script would."""
        self._report.progress(what, share)

    def station_read(self, frames: Mapping[str, geopandas.GeoDataFrame]) -> None:
        """As the script would."""
        self._report.station_read(frames)


def _found_lines(job: str, result: Any) -> Sequence[str]:
    """What the script of a job says of its result."""
    if job == "relocate":
        from hillsight.sheets.verdict.verdict_text import summary_lines

        return summary_lines(result.verdict)
    if job == "find-skyline":
        from hillsight.scripts.skyline_lines import found_lines

        return found_lines(result)
    if job == "panorama":
        from hillsight.scripts.summary_lines import panorama_lines

        return panorama_lines(result.frames)
    if job == "sheet":
        from hillsight.scripts.summary_lines import sheet_lines

        return sheet_lines(result)
    return result.lines if job == "resect" else ()


def _words(command: click.Command, asked: Mapping[str, Any]) -> list[str]:
    """A job's parameters as its options are typed."""
    options = {option.name: option for option in command.params}
    words = []
    for name, value in asked.items():
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(options[name], click.Option):
                words.append(options[name].opts[-1])
            if one is not True:
                words.append(f"{one:g}" if isinstance(one, float) else str(one))
    return words
