"""What is said at the terminal of a skyline found in a photograph."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.words.quantities import per_cent

if TYPE_CHECKING:
    from hillsight.jobs.find_skyline import SkylineFound


def found_lines(result: SkylineFound) -> list[str]:
    """How much of the skyline was found, how surely, and where not."""
    found = result.skyline
    if found.failed:
        return [f"No skyline found: {found.why}.", "Nothing is written. Trace the skyline by hand."]
    pieces = len(result.marks.skyline)
    lines = [
        f"Skyline found in {per_cent(found.trusted_share)} of the picture's width, "
        f"{'one piece' if pieces == 1 else f'{pieces} pieces'}, "
        f"give or take {found.give_or_take_px:.1f} pixels (one standard deviation)."
    ]
    gaps = _left_out(found.trusted)
    if gaps:
        told = ", ".join(f"{first} to {last}" for first, last in gaps)
        lines.append(f"Left out as unsure, pixels from the picture's left: {told}.")
    return lines


def _left_out(trusted: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[tuple[int, int]]:
    """First and last column of each gap that is at least a hundredth of the width."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], ~trusted, [False]]).astype(np.int8)))
    gaps = edges.reshape(-1, 2)
    wide = gaps[:, 1] - gaps[:, 0] >= max(1, trusted.size // 100)
    return [(int(first), int(last)) for first, last in gaps[wide]]
