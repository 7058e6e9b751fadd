"""How far kinds of evidence are trusted, and what each class is called."""

from __future__ import annotations

from collections.abc import Iterable

TRUST = ("ground_shape", "water", "unclassed", "man_made")
"""Classes of evidence in falling order of trust.

The shape of the ground lasts; water dries up, rises and shifts; what people build comes and goes between two
surveys, and only seconds what the ground shows. What is unclassed is not known to be ground, so it stands
below ground and water. It stands above man-made features because it may be either: where a name or a
statement covers several classes the least trusted counts, and a wall among unclassed things must stay a
man-made feature, which cannot decide by itself. Common practice, no source.
"""

CLASS_NAMES = {
    "ground_shape": "ground shape",
    "water": "water",
    "unclassed": "unclassed features",
    "man_made": "man-made features",
}
"""What each class is called in sentences, legends and headings."""


def trust_order(evidence_class: str) -> int:
    """Place in the order of trust, 0 for the most trusted; unknown classes stand as unclassed."""
    return TRUST.index(evidence_class if evidence_class in TRUST else "unclassed")


def least_trusted(evidence_classes: Iterable[str], of_none: str = "unclassed") -> str:
    """The class that counts for several things together; ``of_none`` where there are none."""
    return max(evidence_classes, key=trust_order, default=of_none)
