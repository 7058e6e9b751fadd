"""What a script says to the person at the terminal: notes, progress, summary, bearing table."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from hillsight.scripts.running import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import pandas as pd


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
                f"visible {row.visible_ha:,.1f} ha ({row.visible_ha / row.reach_ha:.1%}), "
                f"hidden {row.hidden_ha:,.1f} ha, unknown {row.unknown_ha:,.1f} ha"
            )
        else:  # outlines of cells, and none has its post so near
            seen = "no terrain post"
        lines.append(f"{where} {field or f'Within {row.reach_m:,.0f} m'}: {seen}.")
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


def whole_degrees(bearing_deg: float) -> str:
    """A bearing as three figures: 359.6 is 000, as on a compass."""
    return f"{round(bearing_deg) % 360:03d}"


def bearing_table(listed: pd.DataFrame, stations: pd.DataFrame, *, show_hidden: bool) -> None:
    """The bearing list of each station as a table on the standard output.

    What is hidden or out of reach is only counted unless ``show_hidden``: on a real map it is most of it. But
    what is only just hidden is always listed, and said to be no evidence.
    """
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    # A pipe has no width: lines must not be cut to that of a terminal that is not there.
    console = Console(width=None if sys.stdout.isatty() else 160)
    for station in stations["station"]:
        rows = listed[listed["station"] == station]
        if rows.empty:
            click.echo(f"From {station}: no feature lies between these bearings.")
            continue
        close = (rows["state"] == "hidden") & (rows["hidden_by_m"] < TOO_CLOSE_M)
        dropped = rows["state"].isin(_LEFT_OUT) & ~close & (not show_hidden)
        counts = rows.loc[dropped, "state"].value_counts()
        left_out = [state for state in _LEFT_OUT if state in counts]
        rows = rows[~dropped]
        if rows.empty:
            click.echo(f"From {station} nothing on the list is seen.")
            _say_left_out(counts, left_out)
            continue
        magnetic = bool(rows["bearing_magnetic_deg"].notna().any())
        table = Table(
            title=Text(f"From {station}, left to right"),
            caption="Bearings in degrees from true" + (", magnetic" if magnetic else "") + " and grid north. "
            "From-to: true bearings of the edges of what is seen. Distance over the ground.",
            title_justify="left",
            caption_justify="left",
        )
        table.add_column("no.", justify="right")
        table.add_column("true", justify="right")
        if magnetic:
            table.add_column("mag.", justify="right")
        table.add_column("grid", justify="right")
        table.add_column("from-to", justify="right")
        table.add_column("feature")
        table.add_column("kind")
        table.add_column("seen")
        table.add_column("distance", justify="right")
        table.add_column("above eye", justify="right")
        table.add_column("height")
        table.add_column("to next", justify="right")
        for row in rows.itertuples(index=False):
            cells = [str(row.rank), whole_degrees(row.bearing_true_deg)]
            if magnetic:
                cells.append(whole_degrees(row.bearing_magnetic_deg))
            cells += [
                whole_degrees(row.bearing_grid_deg),
                _spread(row),
                _one_line(row.name, "-"),
                _one_line(row.kind, "-"),
                _seen(row),
                f"{row.distance_m:,.0f} m",
                "-" if np.isnan(row.height_difference_m) else f"{row.height_difference_m:+.0f} m",
                _height_word(row.relative_height),
                "" if np.isnan(row.gap_to_next_deg) else f"{row.gap_to_next_deg:.0f}°",
            ]
            table.add_row(*(Text(cell) for cell in cells))
        # Not printed by the console itself: it ends the process when the reader of a pipe has gone.
        with console.capture() as drawn:
            console.print(table)
        click.echo(drawn.get(), nl=False)
        if close.any():
            click.echo(
                f"Just hidden (by less than {TOO_CLOSE_M:g} m): too close to call, no evidence either way."
            )
        _say_left_out(counts, left_out)


def _say_left_out(counts: pd.Series, left_out: list[str]) -> None:
    if left_out:
        words = " and ".join(f"{counts[state]} {state.replace('_', ' ')}" for state in left_out)
        click.echo(f"Left out of this table: {words} (--show-hidden lists them).")


def _spread(row: Any) -> str:
    """Edges of what is seen of a thing that is more than a degree wide."""
    left, right = row.left_edge_true_deg, row.right_edge_true_deg
    if np.isnan(left) or ((right - left) % 360.0 <= 1.0 and right - left < 360.0):
        return ""
    return "all round" if right - left >= 360.0 else f"{whole_degrees(left)}-{whole_degrees(right)}"


#: What is hidden by less (m) may as well be seen: terrain models are wrong by metres.
#: Common practice, no source.
TOO_CLOSE_M = 2.0

_LEFT_OUT = ("hidden", "out_of_reach")


def _height_word(word: str | None) -> str:
    return "-" if word is None else word.removesuffix(" us").removesuffix(" with")


def _one_line(text: str | None, absent: str) -> str:
    if text is None:
        return absent
    return "".join(c if c.isprintable() else " " for c in text)


def _seen(row: Any) -> str:
    if row.state == "partly" and not 0.005 <= row.visible_share < 0.995:
        return "partly, a speck" if row.visible_share < 0.005 else "partly, nearly all"
    if row.state == "partly":
        return f"partly, {row.visible_share:.0%}"
    if row.state == "hidden":
        depth = "under 0.1" if row.hidden_by_m < 0.1 else f"{row.hidden_by_m:.1f}"
        just = "just " if row.hidden_by_m < TOO_CLOSE_M else ""
        return f"{just}hidden by {depth} m at {row.hidden_by_distance_m:,.0f} m"
    return str(row.state).replace("_", " ")
