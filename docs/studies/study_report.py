"""Sums up rows of a relocation study: how much was told, how sure it was, and how right.

    python docs/studies/study_report.py NAME=ROWS.csv [NAME=ROWS.csv ...]

Every row is an exercise with probabilities of its candidates and of none of them. In three exercises of ten
the place is none of the candidates, while the weighing is told two. Shares are therefore weighted to what was
told. Where probabilities are tested, they are first brought to three in ten by Bayes' rule, and nothing is
weighted.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy import stats

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

#: Probability of none of the candidates that the weighing is told, and share of exercises where it is so.
NONE_PRIOR, MISSING = 0.2, 0.3

#: Edges of the bands of stated probabilities.
BANDS = (0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0)


@dataclass(frozen=True)
class Rows:
    """Exercises, n of them.

    stated : of each its (c + 1,) probabilities, none last
    truth : which of them is true
    weight : (n,) of each exercise, some 1 on average
    """

    table: pd.DataFrame
    stated: list[Floats]
    truth: NDArray[np.int64]
    weight: Floats

    @classmethod
    def of(cls, table: pd.DataFrame) -> Rows:
        """From a study's table."""
        stated = [
            np.array([*json.loads(one), none])
            for one, none in zip(table["probabilities"], table["none"], strict=True)
        ]
        truth = np.array(
            [len(p) - 1 if pd.isna(t) else int(t) for p, t in zip(stated, table["truth"], strict=True)]
        )
        missing = table["truth"].isna().to_numpy()
        weight = np.where(missing, NONE_PRIOR / MISSING, (1.0 - NONE_PRIOR) / (1.0 - MISSING))
        return cls(table.reset_index(drop=True), stated, truth, weight)

    @property
    def as_sampled(self) -> list[Floats]:
        """What would have been stated, had the weighing been told how many places are missing."""
        odds = [
            np.append(p[:-1] * (1 - MISSING) / (1 - NONE_PRIOR), p[-1] * MISSING / NONE_PRIOR)
            for p in self.stated
        ]
        return [p / p.sum() for p in odds]

    def part(self, chosen: Any) -> Rows:
        """Some of the exercises, weighted anew."""
        return Rows.of(self.table[chosen])


def bits(stated: Floats, truth: int) -> float:
    """By how much an answer makes the truth likelier than it was, log2."""
    count = stated.size - 1
    prior = NONE_PRIOR if truth == count else (1.0 - NONE_PRIOR) / count
    return float(np.log2(max(stated[truth], 1e-9) / prior))


def spiegelhalter(stated: Floats, came_true: NDArray[np.bool_]) -> float:
    """Spiegelhalter's z: how far the Brier score is from what the stated chances make one expect.

    Source: Spiegelhalter 1986, Stat. Med. 5, from memory. Normal with mean 0 and variance 1 where all chances
    are true.
    """
    p, hit = np.clip(stated, 1e-9, 1 - 1e-9), came_true.astype(float)
    return float(((hit - p) * (1 - 2 * p)).sum() / np.sqrt(((1 - 2 * p) ** 2 * p * (1 - p)).sum()))


def grouped(stated: list[Floats], truth: NDArray[np.int64]) -> float:
    """The same for the candidates of an exercise together, of which at most one is true.

    The variance is that of one draw from each exercise's own probabilities.
    """
    top, variance = 0.0, 0.0
    for p, true in zip(stated, truth, strict=True):
        gain = np.append(1.0 - 2.0 * p[:-1], 0.0)
        expected = float((p * gain).sum())
        top += gain[true] - expected
        variance += float((p * gain**2).sum() - expected**2)
    return float(top / np.sqrt(max(variance, 1e-12)))


def summary(rows: Rows) -> dict[str, float]:
    """The figures of one set of exercises."""
    n = len(rows.stated)
    none_at = np.array([len(p) - 1 for p in rows.stated])
    missing = rows.truth == none_at
    weight = rows.weight
    gain = np.array([bits(p, t) for p, t in zip(rows.stated, rows.truth, strict=True)])
    best = np.array([int(np.argmax(p[:-1])) for p in rows.stated])
    right = best == rows.truth
    state = rows.table["state"].to_numpy()
    decided = state == "decided"
    wrong = decided & ~right
    none = np.array([p[-1] for p in rows.stated])
    sampled = rows.as_sampled
    sampled_best = np.array([p[b] for p, b in zip(sampled, best, strict=True)])
    # Wrong ones among the decided against what was stated of them, one-sided.
    expected = float((1.0 - sampled_best[decided]).mean()) if decided.any() else np.nan
    test = (
        stats.binomtest(
            int(wrong.sum()), int(decided.sum()), max(expected, 1e-6), alternative="greater"
        ).pvalue
        if decided.any()
        else np.nan
    )
    return {
        "exercises": float(n),
        "bits": float((weight * gain).sum() / weight.sum()),
        "bits_error": float((weight * (gain - (weight * gain).sum() / weight.sum())).std() / np.sqrt(n)),
        "bits_there": float(gain[~missing].mean()) if (~missing).any() else np.nan,
        "bits_missing": float(gain[missing].mean()) if missing.any() else np.nan,
        "best_right": float(right[~missing].mean()) if (~missing).any() else np.nan,
        "decided": float((weight * decided).sum() / weight.sum()),
        "decided_there": float(decided[~missing].mean()) if (~missing).any() else np.nan,
        "decided_number": float(decided.sum()),
        "wrong_of_decided": float((weight * wrong).sum() / max((weight * decided).sum(), 1e-9)),
        "wrong_number": float(wrong.sum()),
        "wrong_stated": expected,
        "wrong_p": float(test),
        "none_false": float((state == "none_fits")[~missing].mean()) if (~missing).any() else np.nan,
        "none_found": float((state == "none_fits")[missing].mean()) if missing.any() else np.nan,
        "none_mean_missing": float(none[missing].mean()) if missing.any() else np.nan,
        "z_candidates": grouped(sampled, rows.truth),
        "z_best": spiegelhalter(sampled_best, right),
        "z_none": spiegelhalter(np.array([p[-1] for p in sampled]), missing),
    }


def reliability(rows: Rows, of: str, draws: int = 2_000) -> pd.DataFrame:
    """By band of what was stated: its mean, the share that came true, and the bounds that it should keep.

    The bounds hold for all bands at once, in 95 % of studies whose probabilities are true: exercises are
    drawn anew from what was stated, and the widest deviation of any band, over its spread, sets them.

    Parameters
    ----------
    of : candidates, best or none
    """
    sampled, best = rows.as_sampled, [int(np.argmax(p[:-1])) for p in rows.stated]
    at = {"candidates": [range(p.size - 1) for p in sampled], "best": [[b] for b in best]}.get(
        of, [[p.size - 1] for p in sampled]
    )
    stated = np.array([p[k] for p, ks in zip(sampled, at, strict=True) for k in ks])
    whose = np.array([n for n, ks in enumerate(at) for _ in ks])
    number = np.array([k for ks in at for k in ks])
    band = np.clip(np.digitize(stated, BANDS) - 1, 0, len(BANDS) - 2)
    random = np.random.default_rng(5)
    ends = [np.cumsum(p) for p in sampled]
    drawn = np.array([np.searchsorted(end, random.random(draws) * end[-1]) for end in ends])
    shown = []
    for k in range(len(BANDS) - 1):
        chosen = band == k
        if chosen.sum() >= 5:
            hits = (drawn[whose[chosen]] == number[chosen][:, None]).mean(axis=0)
            right = float((rows.truth[whose[chosen]] == number[chosen]).mean())
            shown.append(
                (BANDS[k], BANDS[k + 1], float(stated[chosen].mean()), right, int(chosen.sum()), hits)
            )
    columns = ["from", "to", "stated", "right", "low", "high", "number", "held"]
    if not shown:
        return pd.DataFrame(columns=columns)
    spread = np.array([max(float(hits.std()), 1e-6) for *_, hits in shown])
    away = np.array([np.abs(hits - mean) for _, _, mean, _, _, hits in shown]) / spread[:, None]
    widest = float(np.quantile(away.max(axis=0), 0.95))
    found = []
    for (low, high, mean, right, count, _), s in zip(shown, spread, strict=True):
        least, most = max(mean - widest * s, 0.0), min(mean + widest * s, 1.0)
        held = least - 1e-9 <= right <= most + 1e-9
        found.append((low, high, mean, right, least, most, count, held))
    return pd.DataFrame(found, columns=columns)


def worth(rows: Rows) -> pd.DataFrame:
    """Bits that each kind of statement adds to all others, a time that it is used and an exercise."""
    gained: dict[str, list[tuple[float, float]]] = {}
    for k, told in enumerate(rows.table["without"]):
        with_all = bits(rows.stated[k], int(rows.truth[k]))
        for kind, rest in json.loads(told).items():
            lost = with_all - bits(np.array(rest), int(rows.truth[k]))
            gained.setdefault(kind, []).append((lost, float(rows.weight[k])))
    found = []
    for kind, each in gained.items():
        lost, weight = np.array(each).T
        mean = float((lost * weight).sum() / weight.sum())
        found.append((kind, len(each), mean, float(lost.std() / np.sqrt(len(each)))))
    return pd.DataFrame(found, columns=["kind", "exercises", "bits", "error"]).sort_values("kind")


def main(arguments: list[str]) -> None:
    """Print all figures of some studies side by side."""
    names = [one.split("=", 1)[0] for one in arguments]
    tables = [pd.read_csv(one.split("=", 1)[1]) for one in arguments]
    key = ["case", "side", "seed", "least", "number"]
    common = set.intersection(*(set(map(tuple, table[key].astype(str).to_numpy())) for table in tables))
    tables = [table[[tuple(r) in common for r in table[key].astype(str).to_numpy()]] for table in tables]
    every = [Rows.of(table) for table in tables]
    pd.set_option("display.width", 160)
    for case in sorted(set(tables[0]["case"])):
        for least in (0, *sorted(set(tables[0]["least"]))):
            told = "all" if not least else f"{least} to {least + 1} statements"
            parts = [
                rows.part((rows.table["case"] == case) & ((least == 0) | (rows.table["least"] == least)))
                for rows in every
            ]
            print(f"\n== {case}, {told}")
            print(
                pd.DataFrame({n: summary(one) for n, one in zip(names, parts, strict=True)})
                .round(4)
                .to_string()
            )
    for name, rows in zip(names, every, strict=True):
        for of in ("candidates", "best", "none"):
            print(f"\n-- {name}: reliability of {of}")
            print(reliability(rows, of).round(3).to_string(index=False))
    print("\n-- bits by kind of statement, left out one kind at a time")
    each = [worth(rows).set_index("kind") for rows in every]
    table = pd.concat(dict(zip(names, each, strict=True)), axis=1)
    print(table.round(3).to_string())


if __name__ == "__main__":
    main(sys.argv[1:])
