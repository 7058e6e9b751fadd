"""Exercises made up on real ground and put to the weighing: how often it is right, and how sure it was.

    python docs/studies/relocation_simulation.py EXERCISES_A_GROUND SHARED_FOLDER UPLAND_FOLDER [ROWS.csv]

Sightings are written from the true place by ``plan.relocation.describing`` and then spoilt by an observer of
our own (``Spoiler``), whose errors are not those that the weighing takes for granted: statements are lost,
answers slip to another, walls are gone from whole exercises, the picture was taken some way from the spot,
and in one exercise of ten from none of the candidates.

Grounds: OS Terrain 50 (Open Government Licence v3: Contains OS data (c) Crown copyright and database right),
SRTM of Big Tujunga (public domain, NASA/USGS), matplotlib's Jacksboro sample (SRTM, public domain), and the
invented upland. Walls on real ground are invented.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from hillsight.plan.look.framing import Framing
from hillsight.plan.observer import Observer
from hillsight.plan.relocation.decision import Rules, reach_verdict
from hillsight.plan.relocation.describing import describe_view
from hillsight.plan.relocation.next_questions import chances_of
from hillsight.plan.relocation.posterior import base_rates, table_of
from hillsight.plan.weighing.questions import answer_chances, information, is_answered, questions
from hillsight.plan.weighing.statements import Weighing, weights, wrong_chances
from relocation_pools import GROUNDS, pool_of, surface_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.kind import Question
    from hillsight.plan.relocation.posterior import LikelihoodTable
    from hillsight.plan.statement import Statement
    from relocation_pools import Pool

#: Places that stand for none of the candidates.
ELSEWHERE = 120

#: Candidates lie so far from the true place at least: nearer ones show much the same.
APART_M = 250.0


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

    candidates : indices into the pool's glances; truth : index among them, None where it is none of them
    """

    pool: Pool
    candidates: list[int]
    elsewhere: list[int]
    truth: int | None
    true_place: int
    heading_deg: float
    framing: Framing
    statements: list[Statement]


def exercise(
    pool: Pool,
    random: np.random.Generator,
    spoiler: Spoiler,
    observer: Observer,
    missing_share: float = 0.1,
) -> Exercise:
    """Choose a true place and its look-alikes, and write what is seen from it."""
    count, n = int(random.integers(2, 6)), len(pool.glances)
    while True:
        true_place = int(random.integers(n))
        heading_deg = float(random.integers(180) * 2)
        alike = _look_alikes(pool, true_place)
        missing = random.random() < missing_share
        candidates = alike[: count - (not missing)] + ([] if missing else [true_place])
        random.shuffle(candidates)
        exact = Framing.of(heading_deg, 0.5, 60.0, observer.picture_edge)
        weighing = Weighing(pool.things, exact, observer)
        view = pool.twins[true_place]
        written = describe_view(view, weighing)
        asked = questions([view], weighing)
        spoilt = spoiler.spoil(written, asked, random, walls_gone=random.random() < 0.2)
        if len(spoilt) >= 3:
            break
    told_deg = heading_deg + spoiler.heading_deg * (random.random() - random.random())
    framing = Framing.of(told_deg, 20.0, 60.0, observer.picture_edge)
    others = [k for k in range(n) if k not in candidates and k != true_place]
    around = random.choice(others, min(ELSEWHERE, len(others)), replace=False).tolist()
    truth = None if missing else candidates.index(true_place)
    return Exercise(pool, candidates, around, truth, true_place, heading_deg, framing, spoilt)


def _look_alikes(pool: Pool, true_place: int) -> list[int]:
    """Other places by likeness in height, near slope and skyline; none nearer than APART_M."""
    here = pool.glances[true_place]
    scored = []
    for k, other in enumerate(pool.glances):
        apart_m = np.hypot(other.easting_m - here.easting_m, other.northing_m - here.northing_m)
        if k == true_place or apart_m < APART_M:
            continue
        height = abs(other.ground_m - here.ground_m) / 20.0
        slope = abs(np.nanmean(other.before_deg) - np.nanmean(here.before_deg)) / 5.0
        sky = float(np.nanstd(other.skyline_deg - here.skyline_deg)) / 3.0
        scored.append((height + float(np.nan_to_num(slope, nan=1.0)) + sky, k))
    return [k for _, k in sorted(scored)]


@dataclass(frozen=True)
class Fits:
    """How every statement fits every candidate and every place elsewhere, worked out once.

    candidates, about : (c, s, h) and (b, s, h)
    """

    made: Exercise
    told: list[Statement]
    candidates: Floats
    about: Floats

    @classmethod
    def of(cls, made: Exercise, observer: Observer, told: list[Statement]) -> Fits:
        weighing = Weighing(made.pool.things, made.framing, observer)
        return cls(
            made,
            told,
            np.array([blurred(made.pool, weighing, told, k) for k in made.candidates]),
            np.array([weighing.fits(told, made.pool.glances[k]) for k in made.elsewhere]),
        )

    def kept(self, kept: Sequence[bool]) -> Fits:
        """Only some of the statements."""
        at = np.asarray(kept, bool)
        told = [s for s, k in zip(self.told, at, strict=True) if k]
        return Fits(self.made, told, self.candidates[:, at], self.about[:, at])

    def with_one(self, observer: Observer, statement: Statement) -> Fits:
        """One statement more."""
        one = Fits.of(self.made, observer, [statement])
        return Fits(
            self.made,
            [*self.told, statement],
            np.concatenate((self.candidates, one.candidates), axis=1),
            np.concatenate((self.about, one.about), axis=1),
        )

    def tables(self, observer: Observer) -> tuple[LikelihoodTable, LikelihoodTable]:
        prior = self.made.framing.prior
        settings = (
            base_rates(self.about, prior),
            wrong_chances(self.told),
            weights(self.told, observer, self.made.pool.things),
            prior,
            observer.discount,
        )
        return table_of(self.candidates, *settings), table_of(self.about, *settings)

    def outcome(self, observer: Observer, rules: Rules) -> dict[str, Any]:
        """What is found, and whether it is right."""
        made = self.made
        ours, others = self.tables(observer)
        weighing = Weighing(made.pool.things, made.framing, observer)
        man_made = np.array([weighing.evidence_class(s) == "man_made" for s in self.told], bool)
        even = np.full(len(made.candidates), 1.0 / len(made.candidates))
        state, whole, _ = reach_verdict(ours, others, even, man_made, rules)
        return {
            "ground": made.pool.ground,
            "state": state,
            "probability": float(whole.candidates.max()),
            "none": whole.none,
            "right": made.truth is not None and whole.best == made.truth,
            "missing": made.truth is None,
            "candidates": len(made.candidates),
            "statements": len(self.told),
        }


def blurred(pool: Pool, weighing: Weighing, told: Sequence[Statement], k: int) -> Floats:
    """Fits of a candidate and of places just beside it, averaged."""
    return np.mean([weighing.fits(told, view) for view in (pool.glances[k], *pool.beside[k])], axis=0)


def resolved_by_asking(
    fits: Fits, observer: Observer, rules: Rules, random: np.random.Generator
) -> tuple[bool, bool]:
    """Whether the best next question, and one drawn at random, decide an undecided exercise, and rightly.

    The answer is what a careful observer at the true place would say, one time in ten another.
    """
    made = fits.made
    weighing = Weighing(made.pool.things, made.framing, observer)
    views = [made.pool.glances[k] for k in made.candidates]
    table, _ = fits.tables(observer)
    log_likelihood = table.without()
    shares = np.exp(log_likelihood - log_likelihood.max())
    shares = shares / shares.sum()
    asked = [q for q in questions(views, weighing) if not any(is_answered(q, told) for told in fits.told)]
    bits = [information(chances_of(q, views, weighing, table.directions()), shares) for q in asked]
    exact = Weighing(
        made.pool.things, Framing.of(made.heading_deg, 0.5, 60.0, observer.picture_edge), observer.careful()
    )
    results = []
    for question in (asked[int(np.argmax(bits))], asked[int(random.integers(len(asked)))]):
        chances = answer_chances(question, made.pool.twins[made.true_place], exact) @ exact.framing.prior
        given = int(np.argmax(chances)) if random.random() < 0.9 else int(random.integers(len(chances)))
        found = fits.with_one(observer, question.answers[given]).outcome(observer, rules)
        results.append(bool(found["state"] == "decided" and found["right"]))
    return results[0], results[1]


def study(pools: Sequence[Pool], each: int, observer: Observer, spoiler: Spoiler) -> pd.DataFrame:
    """Every exercise weighed with all statements, without the ground's and without man-made features."""
    rules = Rules()
    rows = []
    for number, pool in enumerate(pools):
        random = np.random.default_rng(1_000 + number)
        for _ in range(each):
            made = exercise(pool, random, spoiler, observer)
            weighing = Weighing(pool.things, made.framing, observer)
            classes = [weighing.evidence_class(s) for s in made.statements]
            fits = Fits.of(made, observer, made.statements)
            row = fits.outcome(observer, rules)
            for name, left_out in (("without_ground", "ground_shape"), ("without_man_made", "man_made")):
                kept = [c != left_out for c in classes]
                row[name] = fits.kept(kept).outcome(observer, rules)["state"] if any(kept) else "undecided"
            row["best_question"], row["random_question"] = (
                resolved_by_asking(fits, observer, rules, random)
                if row["state"] == "undecided" and not row["missing"]
                else (None, None)
            )
            rows.append(row)
    return pd.DataFrame(rows)


def figures(found: pd.DataFrame) -> dict[str, float]:
    """What the study says, as shares."""
    decided, missing = found[found["state"] == "decided"], found[found["missing"]]
    present = found[~found["missing"]]
    sure = found[(found["probability"] >= 0.9) & (found["probability"] < 0.99)]
    asked = found[found["best_question"].notna()]
    return {
        "exercises": float(len(found)),
        "statements": float(found["statements"].mean()),
        "best_is_right": float(present["right"].mean()),
        "decided": len(decided) / len(found),
        "undecided": float((found["state"] == "undecided").mean()),
        "wrong_of_decided": float((~decided["right"]).mean()),
        "wrong_of_all": float((~decided["right"]).sum() / len(found)),
        "stated_90_to_99": float(sure["probability"].mean()),
        "right_90_to_99": float(sure["right"].mean()),
        "number_90_to_99": float(len(sure)),
        "none_found": float((missing["state"] == "none_fits").mean()),
        "none_decided": float((missing["state"] == "decided").mean()),
        "none_false": float((present["state"] == "none_fits").mean()),
        "decided_without_ground": float((found["without_ground"] == "decided").mean()),
        "decided_without_man_made": float((found["without_man_made"] == "decided").mean()),
        "resolved_by_best_question": float(asked["best_question"].astype(float).mean()),
        "resolved_by_random_question": float(asked["random_question"].astype(float).mean()),
    }


def main() -> None:
    """Run the study and print it, a line a ground and one for all."""
    each = int(sys.argv[1]) if len(sys.argv) > 1 else 125
    shared, upland = Path(sys.argv[2]), Path(sys.argv[3])
    pools = []
    for ground in GROUNDS:
        surface, features = surface_of(ground, upland if ground == "upland" else shared)
        pools.append(pool_of(ground, surface, features, 160))
        print(f"looked from {len(pools[-1].glances)} places of {ground}", file=sys.stderr)
    found = study(pools, each, Observer(), Spoiler())
    result = {ground: figures(part) for ground, part in found.groupby("ground")} | {"all": figures(found)}
    print(json.dumps(result, indent=2))
    if len(sys.argv) > 4:
        found.to_csv(sys.argv[4], index=False)


if __name__ == "__main__":
    main()
