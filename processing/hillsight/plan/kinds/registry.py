"""The kinds of statement: every module of this folder that declares one."""

from __future__ import annotations

import importlib
import pkgutil
from typing import TYPE_CHECKING

from hillsight.plan import kinds

if TYPE_CHECKING:
    from hillsight.plan.kinds.shared.kind import StatementKind, WordFigures


def find_kinds() -> dict[str, StatementKind]:
    """Kinds by name, in the order of their ``place``."""
    found: list[StatementKind] = [
        importlib.import_module(module.name).KIND
        for module in pkgutil.iter_modules(kinds.__path__, f"{kinds.__name__}.")
        if not module.ispkg and module.name != __name__
    ]
    return {kind.name: kind for kind in sorted(found, key=lambda kind: (kind.place, kind.name))}


KINDS = find_kinds()
"""Every kind of statement that a sighting may hold, by name."""


def word_figures() -> list[WordFigures]:
    """Words that stand for figures, of all kinds, each once."""
    figures = [each for kind in KINDS.values() for each in kind.figures]
    return list({each.of: each for each in figures}.values())
