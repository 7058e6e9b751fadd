"""Draws how right verdicts are against how sure they were, from the rows of a relocation study.

python docs/studies/relocation_figure.py ROWS.csv FIGURE.png
"""

from __future__ import annotations

import sys

import matplotlib as mpl
import numpy as np
import pandas as pd

mpl.use("Agg")
import matplotlib.pyplot as plt

from study_report import Rows, reliability


def draw(table: pd.DataFrame, path: str) -> None:
    """Reliability of all candidates and of none of them, and what became of the exercises by ground."""
    rows = Rows.of(table)
    plt.rcParams.update({"font.size": 11})
    figure, (left, right) = plt.subplots(1, 2, figsize=(11, 4.8), layout="constrained")
    left.plot([0, 1], [0, 1], color="0.6", linewidth=1)
    for of, colour, aside, name in (
        ("candidates", "#1b4965", -0.004, "a candidate"),
        ("none", "#d98e4a", 0.004, "none of them"),
    ):
        bins = reliability(rows, of)
        left.fill_between(bins["stated"], bins["low"], bins["high"], color=colour, alpha=0.15, linewidth=0)
        left.plot(bins["stated"] + aside, bins["right"], "o", color=colour, label=name)
    left.set(xlim=(-0.02, 1.02), ylim=(-0.02, 1.02), xlabel="probability stated", ylabel="share of them true")
    left.set_title("As right as they are sure?", loc="left")
    left.legend(loc="upper left", frameon=False, fontsize=9)
    best = np.array([int(np.argmax(p[:-1])) for p in rows.stated])
    missing = table["truth"].isna().to_numpy()
    state, hit = table["state"].to_numpy(), best == rows.truth
    grounds = list(dict.fromkeys(table["case"]))
    start = np.zeros(len(grounds))
    kinds = (
        ("decided, right", (state == "decided") & hit, "#1b4965"),
        ("decided, wrong", (state == "decided") & ~hit, "#b5302a"),
        ("undecided", state == "undecided", "#c9c5b8"),
        ("none fits, and so it is", (state == "none_fits") & missing, "#7a9e7e"),
        ("none fits, though one does", (state == "none_fits") & ~missing, "#d98e4a"),
    )
    for label, chosen, colour in kinds:
        at = [table["case"].to_numpy() == ground for ground in grounds]
        share = np.array([np.average(chosen[one], weights=rows.weight[one]) for one in at])
        right.barh(grounds, share, left=start, color=colour, label=label)
        start += share
    right.set(xlim=(0, 1), xlabel="share of the exercises")
    right.set_title("What became of them", loc="left")
    right.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=2, frameon=False, fontsize=9)
    figure.savefig(path, dpi=110)


if __name__ == "__main__":
    draw(pd.read_csv(sys.argv[1]), sys.argv[2])
