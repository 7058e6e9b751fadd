"""How the ground runs, in words."""

from __future__ import annotations

from hillsight.plan.kinds.shared.kind import WordFigures

SLOPES = {
    "falls steeply": (-90.0, -15.0),
    "falls gently": (-15.0, -3.0),
    "level": (-3.0, 3.0),
    "rises gently": (3.0, 15.0),
    "rises steeply": (15.0, 90.0),
}
"""Slopes in words, with the degrees between which each is said, falling away from the eye negative."""

FIGURES = WordFigures("slope, falling away from the eye negative", "degrees", SLOPES)

_ORDER = tuple(SLOPES)


def runs(slope: str) -> str:
    """A slope as the ground's doing, in what an observer says."""
    return "runs level" if slope == "level" else slope


def is_or_runs(slope: str) -> str:
    """The same in what a place shows."""
    return "is level" if slope == "level" else slope


def degrees_words(degrees: float) -> str:
    """Whole degrees with their sign; none for zero."""
    if abs(degrees) < 0.5:
        return "0 degrees"
    return f"{degrees:+.0f} degree{'' if round(abs(degrees)) == 1 else 's'}"


def slopes_apart(one: str | None, other: str | None) -> bool:
    """Slopes of which no ground is both: words next to each other are a matter of judgement."""
    if one not in _ORDER or other not in _ORDER:
        return False
    return abs(_ORDER.index(one) - _ORDER.index(other)) > 1
