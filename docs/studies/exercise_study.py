"""Are exercises that ``exercise check`` calls sound answered rightly, and those that it calls alike not?

    python docs/studies/exercise_study.py SHARED CASE west|east FIRST LAST EACH ROWS.csv
    python docs/studies/exercise_study.py report ROWS.csv [ROWS.csv ...]

CASE is one of those of ``second_observer_grounds``: true ground, and the coarser or erring model of it that
the check gets. FIRST to LAST (not itself) are seeds of windows, with EACH pairs on every one: by turns the
place most alike to the true one, and any place. Rows that are there already are kept, so a run goes on where
it ended. West is for tuning, east for reporting.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import stats

from exercise_learners import chosen_by
from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.stations import Station
from hillsight.plan.exercise.checking import Effort, check
from hillsight.plan.exercise.soundness import ALIKE_BELOW
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.looking import Looker
from hillsight.plan.look.things import Things
from hillsight.plan.observer import Observer
from hillsight.plan.weighing.statements import Weighing
from hillsight.sight.viewing import Viewing
from second_observer_exam import REACH_M, WIDTH_DEG, terrain_of
from second_observer_exercises import LEAST_M, MOST_M, exercise_of, on_land
from second_observer_grounds import pair_of
from second_observer_map import sheet_of
from second_observer_view import look

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from hillsight.ground.terrain import Terrain
    from hillsight.plan.exercise.soundness import Soundness
    from second_observer_exercises import Exercise
    from second_observer_grounds import Pair
    from second_observer_map import Sheet

#: Learners that are asked about each pair, and draws of the check.
LEARNERS, DRAWS = 100, 64

#: What must hold: share of right answers to sound ones, and to rejected ones.
SOUND_FROM, REJECTED_BELOW = 0.8, 0.6


@dataclass(frozen=True)
class Put:
    """A pair of places as it is put: the true one first.

    heading_deg : of the picture's middle, from grid north
    """

    made: Exercise
    places_m: tuple[tuple[float, float], tuple[float, float]]
    is_alike: bool

    @property
    def heading_deg(self) -> float:
        """From grid north."""
        return self.made.heading_deg


def put_of(pair: Pair, sheet: Sheet, seed: int, number: int) -> Put:
    """The pair that a seed draws: the wrong place as like the true one as any, or any place."""
    made = exercise_of(pair, sheet, (6, 7), (seed, 9, number))
    alike = number % 2 == 0
    if alike:
        others = [(float(e), float(n)) for e, n in made.places_m if (e, n) != made.true_m]
        wrong = others[0]
    else:
        random = np.random.default_rng((seed, 10, number))
        wrong = on_land(pair.truth, made.true_m, LEAST_M, MOST_M, random)
    return Put(made, (made.true_m, wrong), alike)


def checked(put: Put, terrain: Terrain, frame: Any, spacing_m: float) -> Soundness:
    """What the check says, over the model."""
    observer = Observer()
    east, north = zip(*put.places_m, strict=True)
    geodesy = Geodesy(terrain.crs)
    errors = ErrorModel.guessed_from_spacing(spacing_m)
    looker = Looker.over(terrain, geodesy, Viewing(1.6, 0.0, REACH_M, 0.13), errors, east, north, 600.0)
    stations = [Station(name, None, e, n, None, "") for name, e, n in zip("AB", east, north, strict=True)]
    looks_deg = (put.heading_deg + float(geodesy.convergence_deg(east[0], north[0]))) % 360.0
    things = Things.of(frame, 2 * spacing_m)
    weighing = Weighing(things, Framing.of(looks_deg, 0.5, WIDTH_DEG, observer.picture_edge), observer)
    glances = looker.look_all(stations, things)
    effort = Effort(DRAWS, 500, with_tolerance=False)
    return check(looker, stations, glances, 0, weighing, looks_deg, effort)


def rows_of(pair: Pair, seed: int, each: int, done: set[tuple[str, ...]]) -> Iterator[dict[str, Any]]:
    """All pairs of one window that are not done."""
    sheet = sheet_of(pair.truth, pair.crs, np.random.default_rng((seed, 1)))
    with tempfile.TemporaryDirectory() as folder:
        terrain = terrain_of(pair, Path(folder))
        for number in range(each):
            if (pair.case, str(seed), str(number)) in done:
                continue
            put = put_of(pair, sheet, seed, number)
            found = checked(put, terrain, sheet.frame, pair.model.spacing_m)
            picture = look(pair.truth, *put.made.stood_m, put.made.eye_m, sheet)
            mapped = [look(pair.model, *place, 1.6, sheet) for place in put.places_m]
            right, by_ground = (
                int(
                    chosen_by(
                        picture,
                        mapped,
                        sheet,
                        put.heading_deg,
                        LEARNERS,
                        np.random.default_rng((seed, 11, number)),
                        by_ground=ground_alone,
                    )[0]
                )
                for ground_alone in (False, True)
            )
            (against,) = found.against
            yield {
                "case": pair.case,
                "seed": seed,
                "number": number,
                "alike": int(put.is_alike),
                "sound": int(found.is_sound),
                "matters": against.matters,
                "own": found.learners.right,
                "right": right,
                "right_by_ground": by_ground,
                "learners": LEARNERS,
            }


def state_of(row: dict[str, str]) -> str:
    """What the check calls the pair; half of all learners are right by chance."""
    if row["sound"] == "1":
        return "sound"
    return "alike" if 2.0 * float(row["own"]) - 1.0 < ALIKE_BELOW else "doubtful"


def report(rows: Sequence[dict[str, str]], column: str) -> list[str]:
    """The table: by verdict and by matters that tell, how many learners are right.

    column : right, or right_by_ground of those who go by the shape of the ground alone
    """
    lines = ["| exercises | pairs | learners right | 95 % | pairs with 80 % right | with under 60 % |"]
    lines.append("| --- | --- | --- | --- | --- | --- |")
    groups = [
        *(
            (state, [row for row in rows if state_of(row) == state])
            for state in ("sound", "doubtful", "alike")
        ),
        *(
            (name, [row for row in rows if min(int(row["matters"]), 4) == n])
            for n, name in enumerate(("no matter", "1 matter", "2 matters", "3 matters", "4 or more"))
        ),
        ("look-alikes", [row for row in rows if row["alike"] == "1"]),
        ("any place", [row for row in rows if row["alike"] == "0"]),
    ]
    for name, group in groups:
        if not group:
            continue
        shares = np.array([int(row[column]) / int(row["learners"]) for row in group])
        # Pairs differ, so that pairs are drawn again, not learners.
        low, high = shares.mean(), shares.mean()
        if len(shares) > 2:
            again = stats.bootstrap((shares,), np.mean, n_resamples=2000, rng=np.random.default_rng(1))
            low, high = again.confidence_interval
        lines.append(
            f"| {name} | {len(group)} | {shares.mean():.0%} | {low:.0%} to {high:.0%} "
            f"| {(shares >= SOUND_FROM).sum()} | {(shares < REJECTED_BELOW).sum()} |"
        )
    return lines


def main(arguments: list[str]) -> None:
    """Run it; see above."""
    if arguments[0] == "report":
        rows = []
        for name in arguments[1:]:
            with Path(name).open(newline="", encoding="utf-8") as file:
                rows += list(csv.DictReader(file))
        for column in ("right", "right_by_ground"):
            print(f"{column}:", *report(rows, column), "", sep="\n")
        return
    shared, case, side = Path(arguments[0]), arguments[1], arguments[2]
    first, last, each = (int(one) for one in arguments[3:6])
    path = Path(arguments[6])
    done: set[tuple[str, ...]] = set()
    if path.exists():
        with path.open(newline="", encoding="utf-8") as file:
            done = {(row["case"], row["seed"], row["number"]) for row in csv.DictReader(file)}
    with path.open("a", newline="", encoding="utf-8") as file:
        writer = None
        for seed in range(first, last):
            if {(case, str(seed), str(k)) for k in range(each)} <= done:
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
