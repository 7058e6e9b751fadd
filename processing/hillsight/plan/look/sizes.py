"""How large things are, and how plainly they stand out, by kind: for what of them can be made out from afar.

Figures of thumb (common practice, no source), for things whose size the map does not give.
"""

from __future__ import annotations

from dataclasses import dataclass

from hillsight.ground.evidence import kind_forms


@dataclass(frozen=True)
class Look:
    """size_m : least dimension of a thing that is a point on the map, or thickness of a line, metres
    contrast : how plainly it stands out against what is about it, 0 to 1
    """

    size_m: float
    contrast: float


#: By evidence class, where the kind is not below.
_OF_CLASS = {
    "ground_shape": Look(25.0, 0.7),
    "water": Look(2.0, 1.0),
    "man_made": Look(1.3, 0.6),
    "unclassed": Look(1.5, 0.5),
}

_OF_KIND = {
    "summit": Look(60.0, 1.0),
    "top": Look(60.0, 1.0),
    "knoll": Look(20.0, 0.8),
    "saddle": Look(40.0, 0.8),
    "ridge": Look(60.0, 0.8),
    "spur": Look(40.0, 0.6),
    "reentrant": Look(40.0, 0.6),
    "crag": Look(20.0, 1.0),
    "shelf": Look(20.0, 0.3),
    "levelground": Look(20.0, 0.3),
    "hollow": Look(15.0, 0.3),
    "stream": Look(2.0, 0.7),
    "river": Look(12.0, 1.0),
    "tarn": Look(40.0, 1.0),
    "lake": Look(100.0, 1.0),
    "wall": Look(1.3, 0.6),
    "intakewall": Look(1.3, 0.6),
    "fence": Look(1.1, 0.2),
    "path": Look(1.0, 0.7),
    "track": Look(3.0, 0.8),
    "road": Look(6.0, 0.9),
    "cairn": Look(1.5, 0.6),
    "farm": Look(8.0, 1.0),
    "house": Look(7.0, 1.0),
    "sheepfold": Look(1.3, 0.6),
}


def look_of(kind: str | None, evidence_class: str) -> Look:
    """What is taken of a kind, or else of its class."""
    if kind is not None:
        for form in kind_forms(kind):
            if form in _OF_KIND:
                return _OF_KIND[form]
        # An old stone wall is a wall.
        last = kind_forms(kind.split()[-1]) if kind.split() else []
        for form in last:
            if form in _OF_KIND:
                return _OF_KIND[form]
    return _OF_CLASS.get(evidence_class, _OF_CLASS["unclassed"])
