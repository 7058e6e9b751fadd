"""The bearing list as a table for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.scripts.running import one_line
from hillsight.scripts.tables import Columns, output_width, table_lines
from hillsight.words.cover import hider_words
from hillsight.words.quantities import per_cent, rough_distance_words

if TYPE_CHECKING:
    import pandas as pd


def whole_degrees(bearing_deg: float) -> str:
    """A bearing as three figures: 359.6 is 000, as on a compass."""
    return f"{round(bearing_deg) % 360:03d}"


def bearing_table(listed: pd.DataFrame, stations: pd.DataFrame, *, show_hidden: bool) -> list[str]:
    """The bearing list of each station as a table, line by line, as ``tables`` has it.

    What is hidden or out of reach is only counted unless ``show_hidden``: on a real map it is most of it. But
    what is only just hidden is always listed, and said to be no evidence.
    """
    width = output_width()
    lines: list[str] = []
    for station in stations["station"]:
        rows = listed[listed["station"] == station]
        if rows.empty:
            lines.append(f"From {station}: no feature lies between these bearings.")
            continue
        close = (rows["state"] == "hidden") & (rows["hidden_by_m"] < TOO_CLOSE_M)
        dropped = rows["state"].isin(_LEFT_OUT) & ~close & (not show_hidden)
        # Of landforms without a name only those that are surely seen: there are hundreds.
        unnamed = rows["landform"].notna() & rows["name"].isna()
        minor = unnamed & ~rows["state"].isin(("visible", "partly")) & ~dropped & (not show_hidden)
        counts = rows.loc[dropped, "state"].value_counts()
        close &= ~minor
        dropped |= minor
        left_out = [state for state in _LEFT_OUT if state in counts]
        rows = rows[~dropped]
        if rows.empty:
            lines.append(f"From {station} nothing on the list is seen.")
            lines += _left_out_words(counts, left_out, int(minor.sum()))
            continue
        lines += _table(station, rows, width)
        if close.any():
            lines.append(
                f"Just hidden (by less than {TOO_CLOSE_M:g} m): terrain models err by as much in places; "
                "argue nothing from it."
            )
        if (rows["state"] == "uncertain").any():
            lines.append("Uncertain: in how many of ten cases it would be seen, by the error model.")
        lines += _left_out_words(counts, left_out, int(minor.sum()))
    return lines


def _table(station: str, rows: pd.DataFrame, width: int | None) -> list[str]:
    """The rows of a station: a column for each figure, or few columns and the rest in words."""
    magnetic = bool(rows["bearing_magnetic_deg"].notna().any())
    bearings = ["no.", "true", *(["mag."] if magnetic else []), "grid"]
    wide, narrow = [], []
    for row in rows.itertuples(index=False):
        first = [str(row.rank), whole_degrees(row.bearing_true_deg) + _degrees_either_way(row)]
        if magnetic:
            first.append(whole_degrees(row.bearing_magnetic_deg))
        first.append(whole_degrees(row.bearing_grid_deg))
        name, kind = _one_line(_called(row), "-"), _one_line(row.kind, "-")
        seen, above, height = _seen(row), _above_eye(row), _height_word(row.relative_height)
        distance, spread, gap = f"{row.distance_m:,.0f} m", _spread(row), _gap(row)
        wide.append([*first, spread, name, kind, seen, distance, above, height, gap])
        called = kind if name == "-" else f"{name} ({kind})"
        about = [seen, f"{above}, {height}", spread.replace("-", " to "), f"{gap} to next" if gap else ""]
        narrow.append([*first, f"{called}, {distance}\n{'; '.join(words for words in about if words)}"])
    right = frozenset(range(len(bearings)))
    last = len(bearings)
    heads = ["from-to", "feature", "kind", "seen", "distance", "above eye", "height", "to next"]
    caption = (
        f"Bearings in degrees from true{', magnetic' if magnetic else ''} and grid north. "
        "From-to: true bearings of the edges of what is seen. Distance over the ground; height above the "
        "eye. ±: 95 %."
    )
    return table_lines(
        f"From {station}, left to right",
        Columns([*bearings, *heads], wide, right | {last, last + 4, last + 5, last + 7}),
        Columns([*bearings, "feature"], narrow, right),
        caption,
        width,
    )


def _left_out_words(counts: pd.Series, left_out: list[str], minor: int) -> list[str]:
    words = [f"{counts[state]} {state.replace('_', ' ')}" for state in left_out]
    if minor:
        words.append(f"{minor} landforms without a name that are not surely seen")
    if not words:
        return []
    listed = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
    return [f"Left out of this table: {listed} (--show-hidden lists them)."]


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


def _called(row: Any) -> str | None:
    """A feature's name, or the first words of a landform's description."""
    if isinstance(row.name, str):
        return row.name
    return row.description.split(",")[0] if isinstance(row.description, str) else None


def _degrees_either_way(row: Any) -> str:
    """Plus-minus of a bearing in whole degrees, not rounded down."""
    half = row.bearing_plus_minus_deg
    return "" if np.isnan(half) else f" ±{max(1, int(np.ceil(half - 0.05)))}"


def _above_eye(row: Any) -> str:
    above_m = row.height_difference_m
    if np.isnan(above_m):
        return "-"
    if not np.isnan(row.highest_seen_m):  # what the word beside it is about
        above_m += row.highest_seen_m - row.height_m
    half = row.height_difference_plus_minus_m
    return f"{above_m:+.0f}{'' if np.isnan(half) else f' ±{np.ceil(half):.0f}'} m"


def _gap(row: Any) -> str:
    return "" if np.isnan(row.gap_to_next_deg) else f"{row.gap_to_next_deg:.0f}°"


def _height_word(word: str | None) -> str:
    return "-" if word is None else word.removesuffix(" us").removesuffix(" with")


def _one_line(text: str | None, absent: str) -> str:
    if text is None:
        return absent
    return one_line(text, tidy=False)


def _seen(row: Any) -> str:
    if row.state == "partly" and not 0.005 <= row.visible_share < 0.995:
        return "partly, a speck" if row.visible_share < 0.005 else "partly, nearly all"
    if row.state == "partly":
        return f"partly, {per_cent(row.visible_share)}"
    if row.state == "hidden":
        depth = "under 0.1" if row.hidden_by_m < 0.1 else f"{row.hidden_by_m:.1f}"
        just = "just " if row.hidden_by_m < TOO_CLOSE_M else ""
        hider = hider_words(getattr(row, "hidden_by", None))
        by = f"{hider}, {depth} m," if hider else f"{depth} m"
        return f"{just}hidden by {by} at {rough_distance_words(row.hidden_by_distance_m)}"
    if row.state == "uncertain":
        return f"uncertain, {min(max(round(10 * row.seen_probability), 1), 9)} in 10"
    return str(row.state).replace("_", " ")
