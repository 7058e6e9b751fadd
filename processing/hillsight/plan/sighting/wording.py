"""A statement said in one plain English clause, as an instructor would say it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.kinds.shared.nouns import Nouns

if TYPE_CHECKING:
    from collections.abc import Collection

    from hillsight.plan.statement import Statement


def statement_words(statement: Statement, named: Collection[str] = ()) -> str:
    """The statement as a clause without a full stop; how sure the observer is does not show.

    Parameters
    ----------
    named : proper names, which take no article; case makes no difference
    """
    return KINDS[statement.kind].sentence(statement, Nouns(named))
