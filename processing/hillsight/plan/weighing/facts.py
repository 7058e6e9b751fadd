"""What a place shows of what a statement is about, in words and with the figure they rest on."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.kinds.shared.things import SHOWS_FROM

if TYPE_CHECKING:
    from hillsight.plan.kinds.shared.kind import Case
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Statement
    from hillsight.plan.verdict import Fact
    from hillsight.plan.weighing.statements import Weighing


def fact(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """What would be seen of it if the picture looked in one of the directions weighed.

    Parameters
    ----------
    direction : index among the framing's headings
    """
    case, kind = weighing.case(statement, glance, direction), KINDS[statement.kind]
    return kind.fact(of_best(case) if kind.of_best and kind.says_there(statement) else case)


def of_best(case: Case) -> Case:
    """The case in which each name or kind stands for the one thing that fits the statement best.

    Where many of a kind show, it is the best fitting one that the statement is weighed by.
    """
    kind = KINDS[case.statement.kind]
    for what in dict.fromkeys(case.statement.things):
        chances = case.noticed(what) if kind.any_direction else case.shown(what, "anywhere")[case.direction]
        showing = case.rows(what)[chances >= SHOWS_FROM]
        if showing.size > 1:
            each = [case.of_one(what, int(row)) for row in showing]
            case = max(each, key=lambda one: float(kind.fit(one)[one.direction]))
    return case


def denied(statement: Statement, shown: Fact) -> bool:
    """Whether a statement is about what does not show there at all."""
    return shown.absent and KINDS[statement.kind].says_there(statement)


def with_fit(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """The same with how well the statement fits there."""
    agrees = min(max(float(weighing.fit(statement, glance)[direction]), 0.0), 1.0)
    return replace(fact(statement, glance, weighing, direction), agrees=agrees)
