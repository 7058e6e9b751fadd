"""The second observer's study: exercises put to ``relocate`` and to the ideal judge, a row each.

    python docs/studies/second_observer_study.py SHARED CASE west|east FIRST LAST EACH ROWS.csv [WHO]

WHO is relocate, judge (who knows the true ground) or judge_of_model (who knows the model and how far it
errs). CASE is one of those of ``second_observer_grounds``. FIRST to LAST (not itself) are seeds of windows,
with EACH exercises of 6 or 7 statements and as many of 10 or 11 on every one. Rows that are there already
are kept, so a run goes on where it ended. ``study_report.py`` sums them up.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.plan.relocation.decision import Rules
from second_observer_ceiling import draws_of_truth, judge
from second_observer_exam import NONE_PRIOR, Answer, put, terrain_of
from second_observer_exercises import exercises
from second_observer_grounds import pair_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from second_observer_exercises import Exercise
    from second_observer_grounds import Pair

#: Numbers of statements that are reported apart.
STATEMENTS = ((6, 7), (10, 11))


def judged(made: Exercise, grounds: list[Any], seed: tuple[int, ...]) -> tuple[Answer, float]:
    """The ideal judge's answer, by the same rules, and of how many draws it is worth."""
    found = judge(made, NONE_PRIOR, seed, grounds)
    rules = Rules(decide_from=0.95, none_prior=NONE_PRIOR)
    state = "undecided"
    if found.none >= rules.none_from:
        state = "none_fits"
    elif found.candidates.max() >= rules.decide_from:
        state = "decided"
    without = {kind: one.tolist() for kind, one in found.without.items()}
    return Answer(state, found.candidates.tolist(), found.none, without), found.effective


def rows_of(
    pair: Pair, seed: int, each: int, who: str, done: set[tuple[str, ...]]
) -> Iterator[dict[str, Any]]:
    """All exercises of one window that are not done."""
    side = "east" if pair.truth.middle_m[0] > 255_000.0 else "west"
    with tempfile.TemporaryDirectory() as folder:
        terrain, grounds = None, None
        for statements in STATEMENTS:
            for number, made in enumerate(exercises(pair, each, statements, seed)):
                key = (pair.case, side, str(seed), str(statements[0]), str(number))
                if key in done:
                    continue
                row: dict[str, Any] = dict(zip(("case", "side", "seed", "least", "number"), key, strict=True))
                row |= {
                    "statements": len(made.said),
                    "candidates": len(made.places_m),
                    "truth": "" if made.truth is None else made.truth,
                    "effective": "",
                }
                if who == "relocate":
                    if terrain is None:
                        terrain = terrain_of(pair, Path(folder))
                    answer = put(made, terrain)
                else:
                    if grounds is None:
                        random = np.random.default_rng((seed, 3))
                        grounds = [pair.truth] if who == "judge" else draws_of_truth(pair, random)
                    answer, worth = judged(made, grounds, (seed, statements[0], number))
                    row["effective"] = round(worth, 1)
                yield row | answer.row()


def main(arguments: list[str]) -> None:
    """Run it; see above."""
    shared, case, side = Path(arguments[0]), arguments[1], arguments[2]
    first, last, each = (int(one) for one in arguments[3:6])
    path, who = Path(arguments[6]), arguments[7] if len(arguments) > 7 else "relocate"
    done = set()
    if path.exists():
        with path.open(newline="", encoding="utf-8") as file:
            done = {
                (row["case"], row["side"], row["seed"], row["least"], row["number"])
                for row in csv.DictReader(file)
            }
    with path.open("a", newline="", encoding="utf-8") as file:
        writer = None
        for seed in range(first, last):
            wanted = {(case, side, str(seed), str(s[0]), str(k)) for s in STATEMENTS for k in range(each)}
            if wanted <= done:
                continue
            for row in rows_of(pair_of(shared, case, side, seed), seed, each, who, done):
                if writer is None:
                    writer = csv.DictWriter(file, list(row))
                    if not done:
                        writer.writeheader()
                writer.writerow(row)
                file.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
