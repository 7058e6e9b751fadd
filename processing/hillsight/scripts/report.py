"""What a script says to the person at the terminal: notes, progress, and a summary when all is written."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Self

import click
import numpy as np

from hillsight.jobs.listener import Listener
from hillsight.scripts.bearing_table import bearing_table, whole_degrees
from hillsight.scripts.running import say
from hillsight.words.quantities import hectares, per_cent

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import pandas as pd

    from hillsight.jobs.results import Result


def note(text: str) -> None:
    """One thing the user should know, on the error stream."""
    say(f"note: {text}")


def say_if_compiling() -> None:
    """Say why the first run takes longer, if this is one; nothing where the kernels are ready."""
    from hillsight.kernels.readiness import readiness
    from hillsight.sight.sweep import walk_fan

    state = readiness(walk_fan)
    if state == "once":
        note("compiling the sight kernels for this machine, once: some twenty seconds")
    elif state == "always":
        note(
            "compiling the sight kernels, some twenty seconds, as in each run: "
            "no folder to keep them in can be written to (see: hillsight doctor)"
        )


class Progress:
    """Progress bar on the error stream; nothing when that is no terminal or quiet is asked for."""

    def __init__(self, *, quiet: bool) -> None:
        self._bar: Any = None
        if not quiet and sys.stderr.isatty():
            from rich.console import Console
            from rich.progress import Progress as Bar

            self._bar = Bar(console=Console(stderr=True), transient=True)

    def __enter__(self) -> Progress:
        if self._bar is not None:
            self._bar.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()

    @contextmanager
    def station(self, label: str) -> Iterator[Callable[[float], None] | None]:
        """Progress of one station: call the yielded function with the share done."""
        if self._bar is None:
            yield None
            return
        from rich.markup import escape

        task = self._bar.add_task(escape(label), total=1.0)
        yield lambda share: self._bar.update(task, completed=share)
        self._bar.update(task, completed=1.0)


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
        """On the error stream, also where quiet is asked for."""
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
            self._tasks[what] = self._bar.add_task(escape(what), total=1.0)
        self._bar.update(self._tasks[what], completed=share)

    def say(self, lines: Iterable[str], result: Result) -> None:
        """Lines, then what was written, on the standard output."""
        if not self.quiet:
            for line in (*lines, *written_lines(result)):
                click.echo(line)


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


def check_shown(show_hidden: bool, *, features: Any, landforms: Any, **_: Any) -> None:
    """Refuse a table of hidden features where no features are listed.

    Raises
    ------
    CallError : hidden ones are to be shown, and neither features nor landforms are given
    """
    if show_hidden and not features and landforms is None:
        from hillsight.jobs.inputs import no_features

        raise no_features("show_hidden")


def field_words(
    *, inner_distance: float, reach: float, from_bearing: float, to_bearing: float | None, **_: Any
) -> str:
    """A field of view for the summary; empty if it is all within the reach."""
    words = []
    if inner_distance > 0:
        words.append(f"From {inner_distance:,.0f} to {reach:,.0f} m")
    if to_bearing is not None and (to_bearing - from_bearing) % 360.0 != 0.0:
        words += [] if words else [f"Within {reach:,.0f} m"]
        words.append(f"between bearings {from_bearing:g} and {to_bearing:g}")
    return ", ".join(words)


def written_lines(result: Result) -> list[str]:
    """What was written, one line a file or folder."""
    lines = []
    for name, places in result.files.items():
        verb = "drew" if name in ("pictures", "drawing") else "wrote"
        beside = " and styles beside it" if name == "out" and result.frames else ""
        lines += [f"{verb} {place}{beside}" for place in places]
    return lines


def station_lines(stations: pd.DataFrame, field: str = "") -> list[str]:
    """One line a station: where it is, and how much is seen.

    field : the field of view in words, where it is not all within the reach
    """
    lines = []
    for row in stations.itertuples(index=False):
        where = (
            f"{row.station}: E {row.easting_m:.0f} N {row.northing_m:.0f}, "
            f"ground {row.ground_height_m:.1f} m, eye at {row.eye_level_m:.1f} m."
        )
        if row.reach_ha > 0:
            seen = (
                f"visible {hectares(row.visible_ha)} ({per_cent(row.visible_ha / row.reach_ha, 1)}), "
                f"hidden {row.hidden_ha:,.1f} ha, unknown {row.unknown_ha:,.1f} ha"
            )
        else:  # outlines of cells, and none has its post so near
            seen = "no terrain post"
        lines.append(f"{where} {field or f'Within {row.reach_m:,.0f} m'}: {seen}.")
        expected_ha = getattr(row, "expected_visible_ha", np.nan)
        if not np.isnan(expected_ha):
            lines.append(
                f"{row.station}: under the terrain model's errors {expected_ha:,.1f} ha are likely seen "
                f"(95 %: {row.expected_visible_low_ha:,.1f} to {row.expected_visible_high_ha:,.1f} ha)."
            )
    return lines


def first_ground_lines(sectors: pd.DataFrame) -> list[str]:
    """One line a station: where the nearest and the farthest brow of its sectors stand."""
    lines = []
    for station, rows in sectors.groupby("station", sort=False):
        met = rows[rows["brow_distance_m"].notna()]
        if met.empty:
            lines.append(f"{station}: first ground stays in view on every bearing.")
            continue
        near, far = (
            met.loc[place] for place in (met["brow_distance_m"].idxmin(), met["brow_distance_m"].idxmax())
        )
        lines.append(
            f"{station}: first ground ends at a brow in {len(met)} of {len(rows)} sectors, "
            f"nearest {near.brow_distance_m:,.0f} m on {whole_degrees(near.brow_bearing_true_deg)}, "
            f"farthest {far.brow_distance_m:,.0f} m on {whole_degrees(far.brow_bearing_true_deg)} (true)."
        )
    return lines


#: Relations told at the terminal for each station; the file holds all.
_RELATIONS_TOLD = 8


def relation_lines(told: pd.DataFrame, station: str) -> list[str]:
    """The most telling relations of a station: spurs in front of or behind something named, then the rest."""
    rows = told[told["station"] == station]
    if rows.empty:
        return []
    depth = ~rows["relation"].isin(("in_front_of", "behind"))
    minor = ~rows["feature"].str.startswith("spur")
    nearness = rows["nearer_by_m"].abs().fillna(np.inf)
    order = np.lexsort((nearness, depth, minor))[:_RELATIONS_TOLD]
    lines = [f"From {station}: {text}." for text in rows["description"].iloc[order]]
    if len(rows) > len(lines):
        lines.append(f"From {station}: {len(rows) - len(lines)} more relations are in the file.")
    return lines
