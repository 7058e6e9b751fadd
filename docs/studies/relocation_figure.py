"""Draws how right verdicts are against how sure they were, from the rows of ``relocation_simulation``.

python docs/studies/relocation_figure.py ROWS.csv FIGURE.png
"""

from __future__ import annotations

import itertools
import sys

import matplotlib as mpl
import numpy as np
import pandas as pd

mpl.use("Agg")
import matplotlib.pyplot as plt

EDGES = (0.0, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.99, 1.0)


def reliability(rows: pd.DataFrame) -> pd.DataFrame:
    """By bin: mean stated probability, share right, its 95 % interval (Wilson 1927, from memory), number."""
    found = []
    for low, high in itertools.pairwise(EDGES):
        part = rows[(rows["probability"] >= low) & (rows["probability"] < high)]
        if len(part) < 5:
            continue
        n, share, z = len(part), float(part["right"].mean()), 1.96
        middle = (share + z**2 / (2 * n)) / (1 + z**2 / n)
        half = z / (1 + z**2 / n) * np.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
        found.append((float(part["probability"].mean()), share, middle - half, middle + half, n))
    return pd.DataFrame(found, columns=["stated", "right", "low", "high", "number"])


def draw(rows: pd.DataFrame, path: str) -> None:
    """One panel of reliability, one of what became of the exercises by ground."""
    plt.rcParams.update({"font.size": 11})
    figure, (left, right) = plt.subplots(1, 2, figsize=(11, 4.8), layout="constrained")
    bins = reliability(rows)
    left.plot([0, 1], [0, 1], color="0.6", linewidth=1)
    reach = np.abs(bins[["low", "high"]].to_numpy().T - bins["right"].to_numpy())
    left.errorbar(bins["stated"], bins["right"], yerr=reach, fmt="o", color="#1b4965", capsize=3)
    for row in bins.itertuples():
        left.annotate(
            f"{row.number}",
            (row.stated, row.low),
            (0, -11),
            textcoords="offset points",
            ha="center",
            fontsize=8,
        )
    left.set(
        xlim=(0.2, 1.02),
        ylim=(0, 1.05),
        xlabel="probability stated of the best candidate",
        ylabel="share of them right",
    )
    left.set_title("As right as they are sure?", loc="left")
    grounds = list(dict.fromkeys(rows["ground"]))
    start = np.zeros(len(grounds))
    kinds = (
        ("decided, right", lambda r: (r["state"] == "decided") & r["right"], "#1b4965"),
        ("decided, wrong", lambda r: (r["state"] == "decided") & ~r["right"], "#b5302a"),
        ("undecided", lambda r: r["state"] == "undecided", "#c9c5b8"),
        ("none fits, and so it is", lambda r: (r["state"] == "none_fits") & r["missing"], "#7a9e7e"),
        ("none fits, though one does", lambda r: (r["state"] == "none_fits") & ~r["missing"], "#d98e4a"),
    )
    for label, chosen, colour in kinds:
        share = np.array([float(chosen(rows[rows["ground"] == g]).mean()) for g in grounds])
        right.barh(grounds, share, left=start, color=colour, label=label)
        start += share
    right.set(xlim=(0, 1), xlabel="share of the exercises")
    right.set_title("What became of them", loc="left")
    right.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=2, frameon=False, fontsize=9)
    figure.savefig(path, dpi=110)


if __name__ == "__main__":
    draw(pd.read_csv(sys.argv[1]), sys.argv[2])
