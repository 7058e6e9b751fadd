"""Photographs put to ``relocate``: exercises of the second observer with a traced skyline, a row each.

    python docs/studies/picture_study.py SHARED CASE west|east FIRST LAST EACH ROWS.csv

CASE, FIRST, LAST and EACH are as for ``second_observer_study.py``, whose rows these are like. Nothing is said
of the pictures: their skylines alone are weighed. Rows that are there already are kept.
``study_report.py`` sums them up.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.ground.accuracy import ErrorModel
from hillsight.plan.look.skies import alike_over_m
from hillsight.plan.picture.skyline_match import PictureErrors, PictureSkyline
from picture_observer import HEIGHT_PX, WIDTH_PX, photographed
from second_observer_exam import put, terrain_of
from second_observer_exercises import exercises
from second_observer_grounds import pair_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from picture_observer import Photograph
    from second_observer_grounds import Pair

#: Fewest statements that the exercises are drawn with; they are not told.
STATEMENTS = (6, 7)


def measured_of(taken: Photograph, spacing_m: float) -> PictureSkyline:
    """What the weighing gets of a photograph."""
    errors = PictureErrors(
        ground_over_m=alike_over_m(spacing_m, ErrorModel.guessed_from_spacing(spacing_m)), hidden=0.2
    )
    right = (taken.x_px - WIDTH_PX / 2) / taken.told_px
    up = (HEIGHT_PX / 2 - taken.y_px) / taken.told_px
    return PictureSkyline.of_pieces([(right, up)], taken.told_share, errors)


def rows_of(pair: Pair, seed: int, each: int, done: set[tuple[str, ...]]) -> Iterator[dict[str, Any]]:
    """All exercises of one window that are not done."""
    side = "east" if pair.truth.middle_m[0] > 255_000.0 else "west"
    with tempfile.TemporaryDirectory() as folder:
        terrain = None
        for number, made in enumerate(exercises(pair, each, STATEMENTS, seed)):
            key = (pair.case, side, str(seed), str(STATEMENTS[0]), str(number))
            if key in done:
                continue
            terrain = terrain or terrain_of(pair, Path(folder))
            random = np.random.default_rng((seed, number, 77))
            taken = photographed(pair.truth, made.stood_m, made.eye_m, made.heading_deg, random)
            row: dict[str, Any] = dict(zip(("case", "side", "seed", "least", "number"), key, strict=True))
            row |= {
                "statements": 0,
                "candidates": len(made.places_m),
                "truth": "" if made.truth is None else made.truth,
                "effective": "",
            }
            if taken.x_px.size < 5:
                continue
            yield row | put(made, terrain, measured=measured_of(taken, pair.model.spacing_m)).row()


def main(arguments: list[str]) -> None:
    """Run it; see above."""
    shared, case, side = Path(arguments[0]), arguments[1], arguments[2]
    first, last, each = (int(one) for one in arguments[3:6])
    path, done = Path(arguments[6]), set()
    if path.exists():
        with path.open(newline="", encoding="utf-8") as file:
            rows = csv.DictReader(file)
            done = {(r["case"], r["side"], r["seed"], r["least"], r["number"]) for r in rows}
    with path.open("a", newline="", encoding="utf-8") as file:
        writer = None
        for seed in range(first, last):
            wanted = {(case, side, str(seed), str(STATEMENTS[0]), str(k)) for k in range(each)}
            if wanted <= done:
                continue
            for row in rows_of(pair_of(shared, case, side, seed), seed, each, done):
                if writer is None:
                    writer = csv.DictWriter(file, list(row))
                    if not done:
                        writer.writeheader()
                writer.writerow(row)
                file.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
