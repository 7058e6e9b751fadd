"""How well the skyline of a photograph is found, on drawn photographs whose skyline is known.

    python docs/studies/found_skyline_study.py draw SHARED pictures --cases tujunga east jacksboro --seeds
    100 104
    python docs/studies/found_skyline_study.py find pictures found.csv --figure
    docs/pictures/found_skyline.png

``draw`` keeps each picture with its truth; ``find`` looks for the skyline in all of them and prints the
figures.
"""

from __future__ import annotations

import argparse
import csv
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw

from found_skyline_scenes import HOPELESS, REPORTING, TUNING, WEATHERS, scene
from hillsight.plan.picture.found_skyline import find_skyline

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hillsight.plan.picture.found_skyline import FoundSkyline

#: A trusted column is wrong beyond this, pixels of 900; a picture is when more of its trusted columns are
#: wrong.
WRONG_PX, WRONG_SHARE = 3.0, 0.2


@dataclass(frozen=True)
class Scored:
    """What became of one picture.

    off_px : of trusted columns, found less true, rows down; inf where nothing of the ground is there to be
        found
    """

    kind: str
    name: str
    failed: bool
    trusted: float
    off_px: NDArray[np.float64]

    @property
    def wrong_columns(self) -> float:
        """Share of the trusted columns that are wrong."""
        return float(np.mean(np.abs(self.off_px) > WRONG_PX)) if self.off_px.size else 0.0

    @property
    def wrong(self) -> bool:
        """Trusted, but wrong."""
        return not self.failed and self.wrong_columns > WRONG_SHARE


def score(
    kind: str, name: str, found: FoundSkyline, edge_y_px: NDArray[np.float64], hidden: NDArray[np.bool_]
) -> Scored:
    """Hold a found skyline against the true one."""
    off = np.where(hidden | np.isnan(edge_y_px), np.inf, found.y_px - edge_y_px)
    return Scored(kind, name, found.failed, found.trusted_share, off[found.trusted])


def report(scores: list[Scored]) -> list[str]:
    """One line a kind of picture."""
    heads = (("pictures", 9), ("flagged", 9), ("width", 7), ("median", 8), ("90 %", 7), ("off >3 px", 11))
    lines = [f"{'kind':12}" + "".join(f"{head:>{wide}}" for head, wide in heads) + f"{'wrong':>7}"]
    kinds = [k for k in WEATHERS + HOPELESS if any(s.kind == k for s in scores)]
    for kind in [*kinds, "weathers", "hopeless"]:
        those = {"weathers": WEATHERS, "hopeless": HOPELESS}.get(kind, (kind,))
        of = [s for s in scores if s.kind in those]
        kept = [s for s in of if not s.failed]
        off = np.abs(np.concatenate([s.off_px for s in kept])) if kept else np.empty(0)
        known = off[np.isfinite(off)]
        figures = (
            f"{np.median(known):8.2f}{np.percentile(known, 90):7.2f}" if known.size else f"{'-':>8}{'-':>7}"
        )
        width = f"{np.mean([s.trusted for s in kept]):7.0%}" if kept else f"{'-':>7}"
        beyond = f"{np.mean(off > WRONG_PX):11.1%}" if off.size else f"{'-':>11}"
        lines.append(
            f"{kind:12}{len(of):9}{len(of) - len(kept):9}{width}{figures}{beyond}{sum(s.wrong for s in of):7}"
        )
    return lines


def _draw(given: argparse.Namespace) -> None:
    given.pictures.mkdir(parents=True, exist_ok=True)
    for seed in range(*given.seeds):
        for case in given.cases:
            for name in WEATHERS + HOPELESS:
                path = given.pictures / f"{name.replace(' ', '_')}_{case}_{seed}.npz"
                if not path.exists():
                    made = scene(given.shared, case, name, seed)
                    np.savez(path, rgb=made.rgb, edge=made.edge_y_px, hidden=made.hidden)


def _find(given: argparse.Namespace) -> None:
    scores, shown = [], []
    for path in sorted(given.pictures.glob("*.npz")):
        kind = path.stem.rsplit("_", 2)[0].replace("_", " ")
        with np.load(path) as kept:
            rgb, edge, hidden = kept["rgb"], kept["edge"], kept["hidden"]
        found = find_skyline(rgb)
        scores.append(score(kind, path.stem, found, edge, hidden))
        if kind in WEATHERS and all(kind != other for other, _, _ in shown):
            shown.append((kind, rgb, found))
    with given.table.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(
            ["picture", "kind", "failed", "trusted_share", "median_off_px", "wrong_columns", "wrong"]
        )
        for s in scores:
            known = np.abs(s.off_px[np.isfinite(s.off_px)])
            middle = f"{np.median(known):.3f}" if known.size else ""
            table.writerow(
                [s.name, s.kind, s.failed, f"{s.trusted:.3f}", middle, f"{s.wrong_columns:.3f}", s.wrong]
            )
    print("\n".join(report(scores)))
    if given.figure is not None:
        _figure(shown, given.figure)


def _figure(shown: list[tuple[str, NDArray[np.uint8], FoundSkyline]], path: Path) -> None:
    """One picture of each weather with what was found: red where trusted, black and white where not."""
    sheet = Image.new("RGB", (3 * 460 - 10, -(-len(shown) // 3) * 310 - 10), "white")
    for number, (_, rgb, found) in enumerate(shown):
        picture = Image.fromarray(rgb)
        pen = ImageDraw.Draw(picture)
        points = np.column_stack([found.x_px, found.y_px])
        for k in range(len(points) - 1):
            colour = (215, 0, 30) if found.trusted[k] else ((0, 0, 0), (255, 255, 255))[k // 6 % 2]
            pen.line([tuple(points[k]), tuple(points[k + 1])], fill=colour, width=4)
        sheet.paste(
            picture.resize((450, 300), Image.Resampling.LANCZOS), (number % 3 * 460, number // 3 * 310)
        )
    sheet.quantize(128, dither=Image.Dither.NONE).save(path, optimize=True)


def main() -> None:
    """Draw or find, as asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parts = parser.add_subparsers(required=True)
    draw = parts.add_parser("draw")
    draw.add_argument("shared", type=Path)
    draw.add_argument("pictures", type=Path)
    draw.add_argument("--cases", nargs="+", default=REPORTING, choices=TUNING + REPORTING)
    draw.add_argument("--seeds", nargs=2, type=int, default=(100, 104))
    draw.set_defaults(run=_draw)
    find = parts.add_parser("find")
    find.add_argument("pictures", type=Path)
    find.add_argument("table", type=Path)
    find.add_argument("--figure", type=Path)
    find.set_defaults(run=_find)
    given = parser.parse_args()
    given.run(given)


if __name__ == "__main__":
    main()
