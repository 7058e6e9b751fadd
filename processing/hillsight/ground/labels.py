"""Labels of what somebody named: on one line, and each unlike the others."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

from hillsight.words.marks import marks_shown


def plain_label(name: str) -> str:
    """A name on one line: ends of lines become spaces, those at the ends go, signs that act their numbers."""
    shown = marks_shown(name.strip())
    return "".join(" " if unicodedata.category(c) == "Cc" else c for c in shown).strip()


def unlike(wanted: Sequence[str], named: Sequence[bool]) -> list[str]:
    """Labels that differ from one another: a name given again becomes "name (2)".

    Whoever bears a name first keeps it; given names, which ``named`` tells, go before those made up.
    """
    labels = [""] * len(wanted)
    taken: set[str] = set()
    repeats: list[int] = []
    for index in sorted(range(len(wanted)), key=lambda i: (not named[i], i)):
        if wanted[index] in taken:
            repeats.append(index)
        else:
            labels[index] = wanted[index]
            taken.add(wanted[index])
    counts: dict[str, int] = {}
    for index in repeats:
        count = counts.get(wanted[index], 2)
        while f"{wanted[index]} ({count})" in taken:
            count += 1
        counts[wanted[index]] = count
        labels[index] = f"{wanted[index]} ({count})"
        taken.add(labels[index])
    return labels
