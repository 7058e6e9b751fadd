"""The samples of sections as a text table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.layers.csv_table import write_csv
from hillsight.schema.section import PROFILE_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import pandas as pd

#: Centimetres of height and distance: what a small clearance is the difference of.
_DECIMALS = {"_m": 2}


def write_profile_csv(path: Path, samples: pd.DataFrame, *, inputs: Sequence[str | Path] = ()) -> int:
    """Write samples as CSV (RFC 4180, UTF-8), the columns of PROFILE_SAMPLES; metres have two decimals.

    Returns how many texts got an apostrophe, as :func:`csv_table.csv_file` says.

    Raises
    ------
    ValueError : other columns (a fault of the program)
    OutputError : the place cannot be written to, or is an input
    """
    expected = [column.name for column in PROFILE_SAMPLES]
    if list(samples.columns) != expected:
        raise ValueError(f"columns {list(samples.columns)}, not {expected}")
    return write_csv(path, samples, _DECIMALS, inputs=inputs)
