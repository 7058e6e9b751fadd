"""Lines for the terminal that sum up what was found, from frames and sections."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.scripts.bearing_table import whole_degrees
from hillsight.words.english import counted
from hillsight.words.quantities import hectares, per_cent

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import pandas as pd

    from hillsight.jobs.profile import Cut
    from hillsight.jobs.sheet import SheetResult


#: Less ground than this left open is not told, hectares: what rounding leaves is none.
_LEAST_OPEN_HA = 0.05


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
            # What leafy woods and places inside cover leave open.
            if row.uncertain_ha >= _LEAST_OPEN_HA:
                seen += f", uncertain {row.uncertain_ha:,.1f} ha"
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
        # As the file tells them, no finer than they are known, without what lies behind.
        nearest, farthest = (
            f"on {whole_degrees(row.brow_bearing_true_deg)} (true) {row.description.split('; behind it')[0]}"
            for row in (near, far)
        )
        lines.append(
            f"{station}: the first ground ends at a brow in {len(met)} of {len(rows)} sectors. "
            f"Nearest: {nearest}. Farthest: {farthest}."
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


#: Tops told at the terminal; the file holds all.
_TOPS_TOLD = 5


def landform_lines(frames: Mapping[str, pd.DataFrame]) -> list[str]:
    """What was found, in a few lines: counts, and the tops of the greatest prominence."""
    counts = ", ".join(
        f"{len(frame)} {layer.replace('_', ' ')}" for layer, frame in frames.items() if len(frame)
    )
    tops = frames["tops"].sort_values("prominence_m", ascending=False, kind="stable").head(_TOPS_TOLD)
    lines = [f"Found {counts}." if counts else "Found no landforms."]
    for row in tops.itertuples(index=False):
        name = f"{row.name}: " if row.name else ""
        lines.append(f"{name}{row.description}, at E {row.geometry.x:.0f} N {row.geometry.y:.0f}")
    return lines


def section_lines(cuts: Iterable[Cut]) -> list[str]:
    """Each section in plain words."""
    from hillsight.reading.section.section_words import (
        course_words,
        feature_words,
        ground_words,
        target_words,
        title_words,
    )

    lines = []
    for section, along in cuts:
        lines.append(f"{title_words(section)}: {course_words(section)}")
        told = [*ground_words(section), *target_words(section), *feature_words(section, along)]
        lines += [f"  {sentence}" for sentence in told]
    return lines


def sheet_lines(result: SheetResult) -> list[str]:
    """What the sheets show, in one line."""
    count = len(result.sheets)
    lines = f"{'One sheet' if count == 1 else f'{count} sheets'} at 1:{result.scale:,.10g}"
    if result.interval_m is not None:
        lines += f", contours every {result.interval_m:g} m"
    if abs(result.grid_scale_factor - 1.0) >= 5e-6:
        lines += f"; the grid's own scale, {result.grid_scale_factor:.5f}, is taken out"
    return [f"{lines}."]


def panorama_lines(frames: Mapping[str, pd.DataFrame]) -> list[str]:
    """One line a station: what is drawn, how far the skyline is, and the highest of its landmarks."""
    pictures, lines, points = (frames[f"panorama_{kind}"] for kind in ("frames", "lines", "points"))
    said = []
    for station, own in pictures.groupby("station", sort=False):
        sky = lines[(lines["station"] == station) & (lines["role"] == "skyline")]
        seen = points[(points["station"] == station) & points["number"].notna()]
        words = f"{station}: {counted(len(own), 'picture')}"
        if len(sky):
            highest = float(sky["vertical_angle_max_deg"].max())
            words += (
                f"; the skyline lies {sky['distance_min_m'].min():,.0f} to "
                f"{sky['distance_max_m'].max():,.0f} m off, "
                f"at its highest {highest:+.1f} degrees"
            )
        said.append(f"{words}; {counted(len(seen), 'landmark')} with a number.")
    return said
