"""Photographs put to ``relocate``: exercises of the second observer with what is measured on a picture.

    python docs/studies/picture_study.py SHARED CASE west|east FIRST LAST EACH FOLDER TOLD[,TOLD...]

CASE, FIRST, LAST and EACH are as for ``second_observer_study.py``, whose rows these are like. TOLD says what
is told of the picture: ``trace``, ``marks`` (tops and saddles), ``trace+marks``, or ``trace+words`` (what the
observer says of it besides). Each has its table in FOLDER; the pictures are the same in all. Rows that
are there already are kept. ``study_report.py`` sums them up.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.ground.accuracy import ErrorModel
from hillsight.plan.look.skies import alike_over_m
from hillsight.plan.picture.mark_ground import ground_at
from hillsight.plan.picture.measuring import MarkedThings
from hillsight.plan.picture.skyline_match import PictureErrors, PictureSkyline
from hillsight.plan.relocation.set_aside import set_aside
from hillsight.plan.statement import Picture, Sighting
from picture_observer import HEIGHT_PX, WIDTH_PX, mark_tops, photographed
from second_observer_exam import Pictured, put, sighting_of, terrain_of
from second_observer_exercises import exercises
from second_observer_grounds import pair_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from hillsight.ground.terrain import Terrain
    from picture_observer import Floats, Marked, Photograph
    from second_observer_exercises import Exercise
    from second_observer_grounds import Pair

#: Fewest and most statements that the exercises are drawn with.
STATEMENTS = (6, 7)

#: What may be told.
TOLD = ("trace", "marks", "trace+marks", "trace+words")

#: How far off each mark is told to be, pixels.
GIVE_OR_TAKE_PX = 3.0


def measured_of(taken: Photograph, spacing_m: float) -> PictureSkyline:
    """What the weighing gets of a traced photograph."""
    errors = PictureErrors(
        ground_over_m=alike_over_m(spacing_m, ErrorModel.guessed_from_spacing(spacing_m)),
        click_deg=float(np.degrees(GIVE_OR_TAKE_PX / taken.told_px)),
    )
    return PictureSkyline.of_pieces([_on_plane(taken, taken.x_px, taken.y_px)], taken.told_share, errors)


def pictured(made: Exercise, taken: Photograph, marked: Marked, terrain: Terrain, told: str) -> Pictured:
    """What the weighing gets of a photograph, of which so much is told."""
    parts = told.split("+")
    measured = measured_of(taken, made.pair.model.spacing_m)
    if "trace" not in parts:
        measured = replace(measured, trace=measured.trace[:0])
    things, names = None, []
    if "marks" in parts:
        names = [made.sheet.names[k] for k in marked.rows]
        nothing = np.zeros(len(names))
        errors = ErrorModel.guessed_from_spacing(made.pair.model.spacing_m)
        grounds = [ground_at(terrain, *at, errors) for at in zip(marked.east_m, marked.north_m, strict=True)]
        places = marked.east_m, marked.north_m, nothing + np.nan, nothing
        things = MarkedThings.on(names, *places, grounds, errors)
        measured = replace(measured, marks=np.column_stack(_on_plane(taken, marked.x_px, marked.y_px)))
    statements = ()
    if "words" in parts:
        every = sighting_of(made).statements
        aside = set_aside(every, [taken.x_px] if "trace" in parts else [], WIDTH_PX, names)
        statements = tuple(s for s, out in zip(every, aside, strict=True) if not out)
    width_deg = float(2 * np.degrees(np.arctan(WIDTH_PX / 2 / taken.told_px)))
    return Pictured(measured, things, Sighting(Picture(), statements, "the study"), width_deg)


def _on_plane(taken: Photograph, x_px: Floats, y_px: Floats) -> tuple[Floats, Floats]:
    return (x_px - WIDTH_PX / 2) / taken.told_px, (HEIGHT_PX / 2 - y_px) / taken.told_px


Key = tuple[str, ...]


def rows_of(
    pair: Pair, seed: int, each: int, done: dict[str, set[Key]]
) -> Iterator[tuple[str, dict[str, Any]]]:
    """All exercises of one window, a row for each that is not done of what is told.

    Parameters
    ----------
    done : of each that is told, the keys of its rows
    """
    side = "east" if pair.truth.middle_m[0] > 255_000.0 else "west"
    with tempfile.TemporaryDirectory() as folder:
        terrain = terrain_of(pair, Path(folder))
        for number, made in enumerate(exercises(pair, each, STATEMENTS, seed)):
            key = (pair.case, side, str(seed), str(STATEMENTS[0]), str(number))
            random = np.random.default_rng((seed, number, 77))
            taken = photographed(pair.truth, made.stood_m, made.eye_m, made.heading_deg, random)
            marked = mark_tops(pair.truth, made.sheet, made.stood_m, made.eye_m, taken, random)
            for told in (one for one in done if key not in done[one]):
                if ("trace" in told and taken.x_px.size < 5) or ("marks" in told and not marked.x_px.size):
                    continue
                given = pictured(made, taken, marked, terrain, told)
                row: dict[str, Any] = dict(zip(("case", "side", "seed", "least", "number"), key, strict=True))
                row |= {
                    "statements": len(given.sighting.statements),
                    "marks": len(given.measured.marks),
                    "wrong_marks": int(marked.wrong.sum()) if "marks" in told else 0,
                    "relief_deg": round(_relief_deg(taken), 3),
                    "candidates": len(made.places_m),
                    "truth": "" if made.truth is None else made.truth,
                    "effective": "",
                }
                yield told, row | put(made, terrain, pictured=given).row()


def _relief_deg(taken: Photograph) -> float:
    """How far the trace rises and falls about a straight line across the picture, trees and all."""
    if taken.x_px.size < 5:
        return float("nan")
    line = np.polynomial.Polynomial.fit(taken.x_px, taken.y_px, 1)
    return float(np.degrees((taken.y_px - line(taken.x_px)).std() / taken.focal_px))


def done_in(path: Path) -> set[Key]:
    """Keys of the rows that a table has."""
    if not path.exists():
        return set()
    with path.open(newline="", encoding="utf-8") as file:
        return {(r["case"], r["side"], r["seed"], r["least"], r["number"]) for r in csv.DictReader(file)}


def add(path: Path, row: dict[str, Any]) -> None:
    """Write a row at the end of a table."""
    is_new = not path.exists()
    with path.open("a", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(row))
        if is_new:
            writer.writeheader()
        writer.writerow(row)


def main(arguments: Sequence[str]) -> None:
    """Run it; see above."""
    shared, case, side = Path(arguments[0]), arguments[1], arguments[2]
    first, last, each = (int(one) for one in arguments[3:6])
    folder, every = Path(arguments[6]), arguments[7].split(",")
    if unknown := set(every) - set(TOLD):
        raise SystemExit(f"{', '.join(sorted(unknown))}: told may be {', '.join(TOLD)}")
    folder.mkdir(parents=True, exist_ok=True)
    done = {told: done_in(folder / f"{told}.csv") for told in every}
    for seed in range(first, last):
        wanted = {(case, side, str(seed), str(STATEMENTS[0]), str(k)) for k in range(each)}
        if all(wanted <= keys for keys in done.values()):
            continue
        for told, row in rows_of(pair_of(shared, case, side, seed), seed, each, done):
            add(folder / f"{told}.csv", row)


if __name__ == "__main__":
    main(sys.argv[1:])
