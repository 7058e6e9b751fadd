"""Statements of one sighting that cannot both be true, found before anything is weighed."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from hillsight.errors import SightingError
from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.kinds.shared.exclusions import NamedThings
from hillsight.plan.sighting.wording import statement_words

if TYPE_CHECKING:
    from hillsight.plan.statement import Sighting, Statement


def check_contradictions(sighting: Sighting, named: Collection[str] | None = None) -> None:
    """Refuse a sighting two of whose statements exclude each other.

    Things of a kind may be several, so two statements about one exclude each other only where they speak of
    the same part of the picture. What has a name is one thing wherever it is spoken of.

    Parameters
    ----------
    named : proper names among the things; what is no kind that hillsight knows, if not given

    Raises
    ------
    SightingError : with both statements and their lines, the first such pair of the file
    """
    things = NamedThings(sighting, named)
    # By the later of the two, as a reader of the file meets them.
    for k, later in enumerate(sighting.statements):
        for earlier in sighting.statements[:k]:
            reason = why_excluded(earlier, later, things)
            if reason:
                raise _error(sighting, earlier, later, reason, things)


def why_excluded(one: Statement, other: Statement, things: NamedThings) -> str:
    """Why two statements cannot both be true, as either kind says; empty where they can."""
    return KINDS[one.kind].excludes(one, other, things) or KINDS[other.kind].excludes(other, one, things)


def _error(
    sighting: Sighting, earlier: Statement, later: Statement, reason: str, things: NamedThings
) -> SightingError:
    said = [
        f"{statement_words(one, things.names)!r}" + (f" (line {one.line})" if one.line else "")
        for one in (earlier, later)
    ]
    lines = f"lines {earlier.line} and {later.line}" if earlier.line and later.line else ""
    return SightingError(
        f"{said[0]} and {said[1]} exclude each other: {reason}",
        where=", ".join(text for text in (sighting.source, lines) if text),
        remedy="Take one of them out, or say in which part of the picture each holds",
    )
