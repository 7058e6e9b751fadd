"""Exercises made up on real ground and put to the weighing: how often it is right, and how sure it was.

    python docs/studies/relocation_simulation.py SHARED UPLAND GROUND west|east FIRST LAST EACH ROWS.csv

Sightings are written from the true place by ``plan.relocation.describing``, over ground that errs from the
model, and then spoilt by an observer of our own (``Spoiler``), whose errors are not those that the weighing
takes for granted: statements are lost, answers slip to another, walls are gone from whole exercises, the
picture was taken some way from the spot, and in three exercises of ten from none of the candidates. FIRST to
LAST (not itself) are seeds of grounds, with EACH exercises on every one. ``study_report.py`` sums up the
rows.

Grounds: OS Terrain 50 (Open Government Licence v3: Contains OS data (c) Crown copyright and database right),
the same made ten times as fine, SRTM of Big Tujunga (public domain, NASA/USGS), matplotlib's Jacksboro sample
(SRTM, public domain), and the invented upland. Walls on real ground are invented.
"""

from __future__ import annotations

import csv
import json
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.ground.stations import Station
from hillsight.plan.look.framing import Framing
from hillsight.plan.observer import Observer
from hillsight.plan.relocation.decision import DECIDED, UNDECIDED, Rules
from hillsight.plan.relocation.describing import describe_view
from hillsight.plan.relocation.next_questions import chances_of
from hillsight.plan.relocation.relocation import weigh
from hillsight.plan.relocation.setting import Setting
from hillsight.plan.statement import Picture, Sighting
from hillsight.plan.weighing.questions import answer_chances, information, is_answered, questions
from hillsight.plan.weighing.statements import Weighing
from relocation_pools import ELSEWHERE_M, ground_of, pool_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from hillsight.plan.kinds.shared.kind import Question
    from hillsight.plan.relocation.decision import Evidence
    from hillsight.plan.statement import Statement
    from relocation_pools import Pool

#: Candidates lie so far from each other at least: nearer ones show much the same.
APART_M = 250.0

#: Places of a ground that are looked from, statements of an exercise at most, and how often none is right.
PLACES, STATEMENTS, MISSING = 160, 10, 0.3

#: Of the undecided exercises one in so many is asked further.
ASKED_EVERY = 12


@dataclass(frozen=True)
class Spoiler:
    """An observer whose errors are not the model's.

    lost : chance that a statement is not made
    slipped : chance that an answer slips to the one beside it; wrong : to any
    heading_deg : spread of the direction told, drawn from a triangle rather than a normal
    """

    lost: float = 0.15
    slipped: float = 0.06
    wrong: float = 0.04
    heading_deg: float = 20.0

    def spoil(
        self,
        statements: Sequence[Statement],
        asked: Sequence[Question],
        random: np.random.Generator,
        *,
        walls_gone: bool,
    ) -> list[Statement]:
        """What is left of a careful observer's statements."""
        kept = []
        for statement in statements:
            if random.random() < self.lost:
                continue
            beside = next((q.answers for q in asked if _same(q.answers, statement)), ())
            at = next((k for k, a in enumerate(beside) if dict(a.values) == dict(statement.values)), None)
            draw = random.random()
            if statement.kind == "skyline_points":
                statement = _traced_badly(statement, random)
            if at is not None and draw < self.wrong:
                statement = replace(beside[int(random.integers(len(beside)))], sure=statement.sure)
            elif at is not None and draw < self.wrong + self.slipped:
                other = min(max(at + int(random.choice((-1, 1))), 0), len(beside) - 1)
                statement = replace(beside[other], sure=statement.sure)
            if walls_gone and statement.kind == "seen" and statement.values["what"] in ("wall", "fence"):
                statement = replace(statement, values={**statement.values, "seen": False})
            kept.append(statement)
        return kept


def _traced_badly(statement: Statement, random: np.random.Generator) -> Statement:
    """A trace held askew: stretched, shifted, and each point off by itself."""
    points = np.array(statement.values["points"])
    points[:, 0] = points[:, 0] * random.uniform(0.9, 1.1) + random.uniform(-3.0, 3.0)
    points[:, 1] = points[:, 1] * random.uniform(0.8, 1.2) + random.laplace(0.0, 0.3, len(points))
    return replace(statement, values={"points": points.tolist()})


def _same(answers: Sequence[Statement], statement: Statement) -> bool:
    one = answers[0]
    return (
        one.kind == statement.kind
        and one.part == statement.part
        and one.things == statement.things
        and set(one.values) == set(statement.values)
    )


@dataclass(frozen=True)
class Exercise:
    """One exercise as it is put.

    candidates : numbers of places of the pool; truth : which of them, None where it is none of them
    stood : where the picture was taken from; heading_deg : which way, from true north
    """

    pool: Pool
    candidates: list[int]
    truth: int | None
    stood: Station
    heading_deg: float
    framing: Framing
    statements: tuple[Statement, ...]

    def stations(self) -> list[Station]:
        """The candidates."""
        return [
            Station(f"P{k}", None, *(float(v) for v in self.pool.places_m[k]), None, "")
            for k in self.candidates
        ]


def exercise(pool: Pool, random: np.random.Generator, spoiler: Spoiler, observer: Observer) -> Exercise:
    """Choose places that look alike, one of them the true one, and write what is seen from it."""
    n = len(pool.glances)
    while True:
        heading_deg = float(random.integers(180) * 2)
        missing = bool(random.random() < MISSING)
        count = int(random.integers(2, 6))
        group = _alike(pool, int(random.integers(n)), count + missing)
        random.shuffle(group)
        candidates = group[1:] if missing else sorted(group)
        if len(candidates) < 2:
            continue
        off_m, turn = random.uniform(5.0, 25.0), random.uniform(0, 2 * np.pi)
        east_m, north_m = pool.places_m[group[0]] + off_m * np.array([np.sin(turn), np.cos(turn)])
        stood = Station("", None, float(east_m), float(north_m), None, "")
        view = pool.true_looker.look(stood, pool.things, float(random.uniform(1.4, 1.8)))
        exact = Framing.of(heading_deg, 0.5, 60.0 * float(random.uniform(0.9, 1.1)), observer.picture_edge)
        weighing = Weighing(pool.things, exact, observer)
        written = describe_view(view, weighing)
        asked = questions([view], weighing)
        spoilt = spoiler.spoil(written, asked, random, walls_gone=random.random() < 0.2)
        if len(spoilt) >= 3:
            break
    if len(spoilt) > STATEMENTS:
        kept = np.sort(random.choice(len(spoilt), STATEMENTS, replace=False))
        spoilt = [spoilt[int(k)] for k in kept]
    told_deg = heading_deg + spoiler.heading_deg * (random.random() - random.random())
    framing = Framing.of(told_deg, 10.0, 60.0, observer.picture_edge)
    truth = None if missing else candidates.index(group[0])
    return Exercise(pool, candidates, truth, stood, heading_deg, framing, tuple(spoilt))


def _alike(pool: Pool, anchor: int, count: int) -> list[int]:
    """A place and others most like it in height, near slope and skyline, all APART_M from each other."""
    here = pool.glances[anchor]
    scored = []
    for k, other in enumerate(pool.glances):
        height = abs(other.ground_m - here.ground_m) / 20.0
        slope = abs(np.nanmean(other.before_deg) - np.nanmean(here.before_deg)) / 5.0
        sky = float(np.nanstd(other.skyline_deg - here.skyline_deg)) / 3.0
        scored.append((height + float(np.nan_to_num(slope, nan=1.0)) + sky, k))
    chosen: list[int] = []
    for _, k in sorted(scored):
        away_m = np.hypot(*(pool.places_m[chosen] - pool.places_m[k]).T)
        if (away_m >= APART_M).all():
            chosen.append(k)
        if len(chosen) == count:
            break
    return chosen


def gathered(made: Exercise, observer: Observer, more: tuple[Statement, ...] = ()) -> Evidence:
    """All that speaks for and against the candidates."""
    pool = made.pool
    setting = Setting(
        pool.looker,
        pool.things_frame,
        made.framing,
        observer,
        Rules(),
        elsewhere_within_m=ELSEWHERE_M,
        **pool.effort,
    )
    sighting = Sighting(Picture(), (*made.statements, *more), "the study")
    return weigh(setting, made.stations(), sighting).evidence


def outcome(made: Exercise, observer: Observer) -> dict[str, Any]:
    """What is found, with all statements and without those of each kind and class."""
    evidence = gathered(made, observer)
    state, whole, _ = evidence.verdict()
    kinds = np.array([statement.kind for statement in made.statements])
    without = {}
    for kind in np.unique(kinds):
        rest = evidence.posterior(kinds == kind)
        without[str(kind)] = [round(float(p), 6) for p in (*rest.candidates, rest.none)]
    row: dict[str, Any] = {
        "state": state,
        "probabilities": json.dumps([round(float(p), 6) for p in whole.candidates]),
        "none": round(float(whole.none), 6),
        "without": json.dumps(without),
    }
    weighing = Weighing(made.pool.things, made.framing, observer)
    classes = np.array([weighing.evidence_class(s) for s in made.statements])
    for name, left_out in (("without_ground", "ground_shape"), ("without_man_made", "man_made")):
        out = classes == left_out
        row[name] = UNDECIDED if out.all() else evidence.verdict(out)[0]
    return row


def resolved_by_asking(made: Exercise, observer: Observer, random: np.random.Generator) -> tuple[bool, bool]:
    """Whether the best next question, and one drawn at random, decide an undecided exercise, and rightly.

    The answer is what a careful observer at the true place would say, one time in ten another.
    """
    pool = made.pool
    evidence = gathered(made, observer)
    weighing = Weighing(pool.things, made.framing, observer)
    views = [pool.glances[k] for k in made.candidates]
    shares = evidence.posterior().candidates
    shares = shares / shares.sum()
    asked = [
        q for q in questions(views, weighing) if not any(is_answered(q, told) for told in made.statements)
    ]
    directions = evidence.table.directions()
    bits = [information(chances_of(q, views, weighing, directions), shares) for q in asked]
    exact = Weighing(
        pool.things, Framing.of(made.heading_deg, 0.5, 60.0, observer.picture_edge), observer.careful()
    )
    seen = pool.true_looker.look(made.stood, pool.things)
    results = []
    for question in (asked[int(np.argmax(bits))], asked[int(random.integers(len(asked)))]):
        chances = answer_chances(question, seen, exact) @ exact.framing.prior
        given = int(np.argmax(chances)) if random.random() < 0.9 else int(random.integers(len(chances)))
        state, whole, _ = gathered(made, observer, (question.answers[given],)).verdict()
        results.append(bool(state == DECIDED and whole.best == made.truth))
    return results[0], results[1]


def rows_of(
    pool: Pool, side: str, seed: int, each: int, observer: Observer, spoiler: Spoiler
) -> Iterator[dict[str, Any]]:
    """Every exercise of one ground, weighed."""
    random = np.random.default_rng((seed, 1_000))
    for number in range(each):
        made = exercise(pool, random, spoiler, observer)
        row: dict[str, Any] = {
            "case": pool.ground,
            "side": side,
            "seed": seed,
            "least": STATEMENTS,
            "number": number,
            "statements": len(made.statements),
            "candidates": len(made.candidates),
            "truth": "" if made.truth is None else made.truth,
        }
        row |= outcome(made, observer)
        asks = row["state"] == UNDECIDED and made.truth is not None and number % ASKED_EVERY == 0
        chance = np.random.default_rng((seed, 1_001, number))
        row["best_question"], row["random_question"] = (
            resolved_by_asking(made, observer, chance) if asks else ("", "")
        )
        yield row


def main(arguments: list[str]) -> None:
    """Run it; grounds that have rows already are not made again."""
    shared, upland = Path(arguments[0]), Path(arguments[1])
    ground, side = arguments[2:4]
    first, last, each = (int(one) for one in arguments[4:7])
    path = Path(arguments[7])
    done = set()
    if path.exists():
        with path.open(newline="", encoding="utf-8") as file:
            done = {(row["case"], row["side"], row["seed"]) for row in csv.DictReader(file)}
    for seed in range(first, last):
        if (ground, side, str(seed)) in done:
            continue
        with tempfile.TemporaryDirectory() as folder:
            pair, features = ground_of(ground, side, seed, shared, upland)
            pool = pool_of(pair, features, PLACES, Path(folder), seed)
            rows = list(rows_of(pool, side, seed, each, Observer(), Spoiler()))
        with path.open("a", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            if file.tell() == 0:
                writer.writeheader()
            writer.writerows(rows)


if __name__ == "__main__":
    main(sys.argv[1:])
