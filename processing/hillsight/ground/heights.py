"""Heights as metres: units of a band, conversion, and the check for numbers that are no heights."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import TerrainError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import AnyArray, Flags, Floats32

# From below the deepest trench (about -10,935 m) to above the highest summit (8,849 m).
LOWEST_PLAUSIBLE_M = -12_000.0
HIGHEST_PLAUSIBLE_M = 9_000.0

# Numbers that files use for "no data" without saying so; suspected only where nothing else comes near them.
_SENTINELS = (-99_999.0, -32_768.0, -32_767.0, -9_999.0, 32_767.0, 65_535.0, 99_999.0)
_SENTINEL_GAP_M = 100.0

_US_SURVEY_FOOT_M = 1200 / 3937
_SPELLINGS: dict[float, tuple[str, ...]] = {
    1.0: ("m", "metre", "metres", "meter", "meters", "mtr", "masl"),
    0.1: ("dm", "decimetre", "decimetres", "decimeter", "decimeters"),
    0.01: ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    0.001: ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    1000.0: ("km", "kilometre", "kilometres", "kilometer", "kilometers"),
    0.3048: ("ft", "foot", "feet", "ift", "international foot", "international feet", "foot international"),
    _US_SURVEY_FOOT_M: (
        "us ft",
        "ft us",
        "ftus",
        "usft",
        "us foot",
        "us feet",
        "foot us",
        "feet us",
        "us survey foot",
        "us survey feet",
        "us survey ft",
        "survey foot",
        "survey feet",
        "foot us survey",
    ),
}
_METRES_PER_UNIT = {spelling: metres for metres, names in _SPELLINGS.items() for spelling in names}
UNIT_NAMES = ("m", "dm", "cm", "mm", "km", "ft", "us-ft")


def metres_per_unit(unit: str) -> float | None:
    """Length in metres of a named unit, however spelt; None if the name is not known.

    >>> metres_per_unit("US_survey_foot") == 1200 / 3937
    True
    """
    words = re.sub(r"[\s_\-()]+", " ", unit.replace(".", "").casefold()).strip()
    return _METRES_PER_UNIT.get(words)


def settle_vertical_unit(
    option: str | None, band_unit: str | None, axis: tuple[str, float] | None, *, where: str
) -> tuple[float, tuple[str, ...]]:
    """Metres per unit of a band's heights, and what there is to say about it.

    Parameters
    ----------
    option : the user's word, which wins
    band_unit : the band's own unit string; None or empty if it states none
    axis : name and length in metres of the vertical CRS's unit, None without a vertical CRS
    where : file and band, for the message

    Raises
    ------
    TerrainError : a unit that is not known, or band and vertical CRS that contradict each other
    """
    known = ", ".join(UNIT_NAMES)
    band_unit = (band_unit or "").strip()
    if option is not None:
        metres = metres_per_unit(option)
        if metres is None:
            raise TerrainError(
                f"the vertical unit {option!r} is not known",
                where=where,
                remedy=f"The units are {known}",
                parameters=("vertical_unit",),
            )
        stated = (
            f" (the file says {band_unit or axis[0] if axis else band_unit})" if band_unit or axis else ""
        )
        return metres, (f"Heights are taken as {option}, as told{stated}.",)
    from_band = metres_per_unit(band_unit) if band_unit else None
    if band_unit and from_band is None:
        raise TerrainError(
            f"the heights' unit {band_unit!r} is not known",
            where=where,
            remedy=f"State the unit ({known})",
            parameters=("vertical_unit",),
        )
    if from_band is not None and axis is not None and not np.isclose(from_band, axis[1], rtol=1e-9):
        raise TerrainError(
            f"the band's heights are in {band_unit!r} but its vertical CRS is in {axis[0]!r}",
            where=where,
            remedy=f"State which holds ({known})",
            parameters=("vertical_unit",),
        )
    metres, name = (
        (from_band, band_unit) if from_band is not None else (axis[1], axis[0]) if axis else (1.0, "")
    )
    if not name:
        return 1.0, ("The terrain file does not state the unit of its heights: metres assumed.",)
    if metres == 1.0:
        return 1.0, ()
    return metres, (f"Heights converted from {name} to metres (1 {name} = {metres:.10g} m).",)


def to_metres(raw: AnyArray, void: Flags, *, scale: float, offset: float, metres_per_unit: float) -> Floats32:
    """Stored numbers as heights: (raw * scale + offset) * metres_per_unit, NaN where void.

    raw, void : (rows, columns). Worked in float64 a band of rows at a time, so that large windows stay small.
    """
    as_stored = (scale, offset, metres_per_unit) == (1.0, 0.0, 1.0)
    if as_stored and raw.dtype == np.float32:
        height_m: Floats32 = raw.copy()
        height_m[void] = np.nan
        return height_m
    height_m = np.empty(raw.shape, np.float32)
    for top in range(0, raw.shape[0], 256):
        rows = slice(top, top + 256)
        with np.errstate(invalid="ignore"):  # a damaged file may hold signalling NaNs
            part = raw[rows].astype(np.float64)
        if not as_stored:
            part = (part * scale + offset) * metres_per_unit
        part[void[rows]] = np.nan
        with np.errstate(
            over="ignore"
        ):  # 1e300 becomes infinite here and is refused by the check that follows
            height_m[rows] = part
    return height_m


def check_plausible(
    height_m: Floats32,
    raw: AnyArray,
    *,
    metres_per_step: float,
    first_row: int,
    first_column: int,
    where: str,
) -> None:
    """Refuse numbers that cannot be heights: they are no-data values that the file does not declare.

    Two kinds: outside -12,000 to 9,000 m (infinity included), and a number that files use for no data (-9999,
    32767 ...) standing at the end of the range with no other height within 100 m of it. The bounds are common
    sense, no source; the second test lets real ground pass that happens to hold such a number.

    Parameters
    ----------
    height_m, raw : (rows, columns), metres with NaN voids, and the same cells as stored
    metres_per_step : metres that one step of the stored numbers stands for
    first_row, first_column : place of the window in the file

    Raises
    ------
    TerrainError : with the count, one such number and where it stands
    """
    if not height_m.size:
        return
    lowest_m, highest_m = (float(pick.reduce(height_m, axis=None)) for pick in (np.fmin, np.fmax))
    if math.isnan(lowest_m):  # voids all over
        return
    if lowest_m < LOWEST_PLAUSIBLE_M or highest_m > HIGHEST_PLAUSIBLE_M:
        bad = (height_m < LOWEST_PLAUSIBLE_M) | (height_m > HIGHEST_PLAUSIBLE_M)
        row, column = _worst(bad, height_m)
        _refuse(
            f"{_count(bad)} outside {LOWEST_PLAUSIBLE_M:,.0f} to {HIGHEST_PLAUSIBLE_M:,.0f} m",
            raw[row, column],
            row + first_row,
            column + first_column,
            where,
            unit_hint=True,
        )
    valid = ~np.isnan(height_m)
    if valid.all():
        ends = raw.min(), raw.max()
    else:
        ends = raw.min(where=valid, initial=_top(raw)), raw.max(where=valid, initial=_bottom(raw))
    for end in ends:
        if float(end) not in _SENTINELS:
            continue
        others = raw[valid & (raw != end)]
        if others.size and _nearest_step(others, float(end)) * abs(metres_per_step) < _SENTINEL_GAP_M:
            continue
        bad = valid & (raw == end)
        row, column = (int(v) for v in np.argwhere(bad)[0])
        _refuse(
            f"{_count(bad)} {end} with no height within {_SENTINEL_GAP_M:.0f} m of it: "
            "it looks like an undeclared no-data value",
            end,
            row + first_row,
            column + first_column,
            where,
            unit_hint=False,
        )


def is_number(raw: AnyArray, value: float) -> Flags:
    """Cells that hold a value as the user types it; float cells match to 1 part in a million."""
    if np.isnan(value):
        return np.zeros(raw.shape, np.bool_)  # NaN cells are voids anyway
    if raw.dtype.kind == "f" and value != 0 and np.isfinite(value):
        with np.errstate(over="ignore", invalid="ignore"):
            # Roughly first, in the cells' own type: most windows hold no such number at all.
            low, high = sorted((value * (1 - 2e-6), value * (1 + 2e-6)))
            close: Flags = (raw >= low) & (raw <= high)
            if close.any():
                close[close] = np.abs(raw[close].astype(np.float64) - value) <= 1e-6 * abs(value)
        return close
    return np.asarray(raw == value, np.bool_)


def _worst(bad: Flags, height_m: Floats32) -> tuple[int, int]:
    """First cell of the most extreme among the bad."""
    size = np.where(bad, np.abs(height_m), -1)
    row, column = np.unravel_index(int(np.argmax(size)), size.shape)
    return int(row), int(column)


def _top(raw: AnyArray) -> Any:
    return np.inf if raw.dtype.kind == "f" else np.iinfo(raw.dtype).max


def _bottom(raw: AnyArray) -> Any:
    return -np.inf if raw.dtype.kind == "f" else np.iinfo(raw.dtype).min


def _nearest_step(others: AnyArray, value: float) -> float:
    return float(np.abs(others.astype(np.float64) - value).min())


def _count(bad: Flags) -> str:
    count = int(bad.sum())
    return "1 cell is" if count == 1 else f"{count:,} cells are"


def _refuse(what: str, value: Any, row: int, column: int, where: str, *, unit_hint: bool) -> None:
    shown = str(value).removesuffix(".0")  # as many figures as the file's own type needs
    remedies: Sequence[str] = (
        f"If {shown} stands for no data, name it as a value of no data",
        *(("if the heights are in another unit, state the unit",) if unit_hint else ()),
    )
    raise TerrainError(
        f"{what}, for example {shown} at row {row}, column {column} (from 0 at the file's first cell)",
        where=where,
        remedy="; ".join(remedies),
        parameters=("nodata", "vertical_unit") if unit_hint else ("nodata",),
    )
