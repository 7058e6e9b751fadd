"""Sums up rows of a relocation study: how much was told, how sure it was, and how right.

    python docs/studies/study_report.py NAME=ROWS.csv [NAME=ROWS.csv ...]

Every row is an exercise with probabilities of its candidates and of none of them. Exercises without their
place are more of the rows than of the prior; all figures but those said to be of one sort are reweighted to
the prior that was told.
"""

from __future__ import annotations

import itertools
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

NONE_PRIOR = 0.2

#: Edges of the bands of stated probabilities.
BANDS = (0.0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0)


@dataclass(frozen=True)
class Rows:
    """Exercises, n of them.

    stated : of each its (c + 1,) probabilities, none last
    truth : which of them is true
    weight : (n,) of each exercise, 1 on average
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
        share = missing.mean()
        weight = np.ones(len(table))
        if 0 < share < 1:
            weight = np.where(missing, NONE_PRIOR / share, (1.0 - NONE_PRIOR) / (1.0 - share))
        return cls(table.reset_index(drop=True), stated, truth, weight)

    def part(self, chosen: Any) -> Rows:
        """Some of the exercises, weighted anew."""
        return Rows.of(self.table[chosen])


def bits(stated: Floats, truth: int) -> float:
    """By how much an answer makes the truth likelier than it was, log2."""
    count = stated.size - 1
    prior = NONE_PRIOR if truth == count else (1.0 - NONE_PRIOR) / count
    return float(np.log2(max(stated[truth], 1e-9) / prior))


def spiegelhalter(stated: Floats, came_true: NDArray[np.bool_], weight: Floats) -> float:
    """Spiegelhalter's z: how far the Brier score is from what the stated chances make one expect.

    Source: Spiegelhalter 1986, Stat. Med. 5, from memory. Normal with mean 0 and variance 1 where all chances
    are true.
    """
    p, hit = np.clip(stated, 1e-9, 1 - 1e-9), came_true.astype(float)
    top = (weight * (hit - p) * (1 - 2 * p)).sum()
    return float(top / np.sqrt((weight**2 * (1 - 2 * p) ** 2 * p * (1 - p)).sum()))


def grouped(stated: list[Floats], truth: NDArray[np.int64], weight: Floats) -> float:
    """The same for the candidates of an exercise together, of which at most one is true.

    The variance is that of one draw from each exercise's own probabilities.
    """
    top, variance = 0.0, 0.0
    for p, true, w in zip(stated, truth, weight, strict=True):
        score = 1.0 - 2.0 * p[:-1]  # what the Brier score loses if it is this candidate
        score = np.append(score, 0.0)
        expected = float((p * score).sum())
        top += w * (score[true] - expected)
        variance += w**2 * float((p * score**2).sum() - expected**2)
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
    stated_best = np.array([p[b] for p, b in zip(rows.stated, best, strict=True)])
    none = np.array([p[-1] for p in rows.stated])
    # Wrong ones among the decided against what was stated of them: one-sided, exact where weights are alike.
    expected = float((1.0 - stated_best[decided]).mean()) if decided.any() else np.nan
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
        "bits_error": float((weight * gain).std() / np.sqrt(n)),
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
        "z_candidates": grouped(rows.stated, rows.truth, weight),
        "z_best": spiegelhalter(stated_best, right, weight),
        "z_none": spiegelhalter(none, missing, weight),
    }


def reliability(rows: Rows, of: str) -> pd.DataFrame:
    """By band: mean stated, share that came true and its 95 % interval (Wilson), weights allowed for.

    Parameters
    ----------
    of : candidates, best or none
    """
    stated: list[float] = []
    came: list[bool] = []
    weight: list[float] = []
    for p, truth, w in zip(rows.stated, rows.truth, rows.weight, strict=True):
        at = {"candidates": range(p.size - 1), "best": [int(np.argmax(p[:-1]))], "none": [p.size - 1]}[of]
        stated += [float(p[k]) for k in at]
        came += [k == truth for k in at]
        weight += [float(w)] * len(at)
    p, hit, w = np.array(stated), np.array(came), np.array(weight)
    found = []
    for low, high in itertools.pairwise(BANDS):
        chosen = (p >= low) & ((p < high) | (high == 1.0))
        if chosen.sum() < 5:
            continue
        share = float((w * hit)[chosen].sum() / w[chosen].sum())
        effective = float(w[chosen].sum() ** 2 / (w[chosen] ** 2).sum())
        middle, half = _wilson(share, effective)
        mean = float((w * p)[chosen].sum() / w[chosen].sum())
        found.append((low, high, mean, share, middle - half, middle + half, int(chosen.sum())))
    return pd.DataFrame(found, columns=["from", "to", "stated", "right", "low", "high", "number"])


def _wilson(share: float, n: float) -> tuple[float, float]:
    """Middle and half width of a 95 % interval of a share (Wilson 1927, from memory)."""
    z = 1.96
    middle = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    return middle, z / (1 + z**2 / n) * float(np.sqrt(share * (1 - share) / n + z**2 / (4 * n**2)))


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
