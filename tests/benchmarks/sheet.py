"""Time of map sheets: one, and all those of a terrain, beside matplotlib's own contours of that ground.

    python tests/benchmarks/sheet.py --side 1001 --rounds 3 --json run.json

Ground is made (seeded spectral synthesis), 10 m posts. The peer draws the contours of one sheet with
``Axes.contour`` and saves them as PDF, without names, hillshade, grid, margins or exact scale. What counts is
the quickest round, in processor time; the ratio is that over the peer's in the same run.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

_TESTS = Path(__file__).resolve().parents[1]
_SPACING_M, _SHEET_M = 10.0, (4_500.0, 5_200.0)


def draw_plainly(height_m: np.ndarray, interval_m: float, out: Path) -> None:
    """The peer: contours of the ground and nothing else."""
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.27, 11.69))
    axes = figure.add_axes((0.07, 0.22, 0.86, 0.72))
    levels = np.arange(np.floor(height_m.min()), height_m.max(), interval_m)
    axes.contour(height_m[::-1], levels=levels, colors="k", linewidths=0.4)
    FigureCanvasPdf(figure).print_pdf(str(out))


def main(arguments: Sequence[str] | None = None) -> None:
    """Time it, print it, and write it where asked."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--side", type=int, default=1001, help="posts along each side")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--json", type=Path)
    given = parser.parse_args(arguments)
    sys.path.insert(0, str(_TESTS))
    import terrains
    from benchmarks.panorama import quickest
    from hillsight import sheet

    side_m = (given.side - 1) * _SPACING_M
    height_m = terrains.fractal(given.side, given.side, seed=5, relief_m=0.06 * side_m, lowest_m=100.0)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        terrains.write_geotiff(folder / "ground.tif", height_m)
        middle = (300_000.0 + side_m / 2, 700_000.0 - side_m / 2)
        asked: dict[str, Any] = {"date": "2026-06-01", "out": folder / "a.pdf"}
        drawn = sheet(folder / "ground.tif", at=(middle,), **asked)
        found = {
            "one sheet": quickest(lambda: sheet(folder / "ground.tif", at=(middle,), **asked), given.rounds),
            "all sheets": quickest(lambda: sheet(folder / "ground.tif", **asked), given.rounds),
        }
        rows, columns = (min(given.side, int(length / _SPACING_M)) for length in _SHEET_M[::-1])
        part = height_m[:rows, :columns]
        plain = folder / "b.pdf"
        peer = quickest(lambda: draw_plainly(part, drawn.interval_m or 10.0, plain), given.rounds)
    for what, times in found.items():
        times["ratio"] = times["processor_s"] / peer["processor_s"]
        print(
            f"{what}: {times['processor_s']:.2f} s of processor time, {times['wall_s']:.2f} s on the wall, "
            f"{times['ratio']:.1f} times matplotlib's own contours of one sheet"
        )
    if given.json is not None:
        given.json.write_text(json.dumps({**found, "matplotlib": peer}, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
