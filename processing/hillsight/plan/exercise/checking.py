"""The check of an exercise: one defensible answer, or the reasons why there is none."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.exercise.deciding import against, worth_trying
from hillsight.plan.exercise.draws import Asking
from hillsight.plan.exercise.learners import compared_rows, learn
from hillsight.plan.exercise.misleading import misleading
from hillsight.plan.exercise.soundness import Soundness
from hillsight.plan.exercise.tolerance import DRAWS, tolerance_m
from hillsight.plan.weighing.questions import questions
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Integers
    from hillsight.ground.stations import Station
    from hillsight.plan.exercise.soundness import LearnerTable
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.looking import Looker
    from hillsight.plan.statement import Statement
    from hillsight.plan.weighing.statements import Weighing

#: Share of learners that are right, guessing taken out, from which an exercise is easy, and moderate. Ours.
_EASY_FROM, _MODERATE_FROM = 0.8, 0.5


#: Things so far beside the picture, or so near, may come into it from beside the spot.
_BESIDE_DEG, _NEAR_M = 12.0, 400.0


@dataclass(frozen=True)
class Effort:
    """How much work a check is.

    draws : of what is not known; learners : how many
    with_tolerance : whether places beside the spot are tried
    """

    draws: int = 128
    learners: int = 500
    with_tolerance: bool = True


def check(
    looker: Looker,
    stations: Sequence[Station],
    glances: Sequence[Glance],
    truth: int,
    weighing: Weighing,
    looks_true_deg: float,
    effort: Effort,
    report: Callable[[float], None] | None = None,
) -> Soundness:
    """Whether the true place can be told from each other one, by facts of the ground.

    Parameters
    ----------
    glances : from the stations, in their order, over the terrain model as it is
    weighing : its framing is the picture's; the observer is made a careful one here
    """
    careful = replace(weighing, observer=weighing.observer.careful())
    tried, alike = worth_trying(questions(glances, careful), glances, truth, careful)
    compared = compared_rows(glances, weighing.things, looks_true_deg, weighing.framing.width_deg)
    rows = _needed(tried.statements, compared, glances, careful)
    few = replace(careful, things=weighing.things.some(rows))
    asking = Asking(looker, few, tried.questions)
    places = [looker.place(station) for station in stations]
    asked = asking.of_places(places, truth, max(effort.draws, DRAWS), report)
    tried = tried.answered_by(asked.chances[truth])
    wrong = [k for k in range(len(stations)) if k != truth]
    each = tuple(against(tried, asked, glances, truth, k, careful) for k in wrong)
    reasons = tuple(one.reason for one in each if one.reason)
    pictures = [view for view in asked.views if view is not None]
    learners = learn(
        pictures or [_of_rows(glances[truth], rows)],
        [_of_rows(one, rows) for one in glances],
        np.searchsorted(rows, compared),
        truth,
        looks_true_deg,
        weighing.framing.width_deg,
        effort.learners,
    )
    reached_m, is_least = 0.0, False
    if not reasons and effort.with_tolerance:
        reached_m, is_least = tolerance_m(asking, tried, each, places[truth], truth, asked)
    return Soundness(
        not reasons,
        reasons,
        each,
        misleading(alike, each, glances, truth, careful, looker.errors),
        reached_m,
        learners,
        _grade(learners),
        asked.known.shape[1],
        is_least,
    )


def _needed(
    statements: Sequence[Statement], compared: Integers, glances: Sequence[Glance], weighing: Weighing
) -> Integers:
    """Rows of the things that are looked for in draws, rising.

    Of what statements are about those that may come into the picture from any of the places; where none of a
    name or kind may, one of them, so that it still means something of the map.
    """
    looks_deg = float(weighing.framing.heading_deg[int(np.argmax(weighing.framing.prior))])
    may_show = np.zeros(len(weighing.things), bool)
    for view in glances:
        seen = view.things
        off_deg = np.abs(signed_deg(seen.left_deg + seen.width_deg / 2.0 - looks_deg))
        inside = off_deg <= (weighing.framing.width_deg + seen.width_deg) / 2.0 + _BESIDE_DEG
        may_show |= seen.judged & (inside | (seen.nearest_m < _NEAR_M) | (seen.distance_m < _NEAR_M))
    rows = set(compared.tolist())
    for what in {what for statement in statements for what in statement.things}:
        of_what = weighing.things.rows(what)
        rows |= set((of_what[may_show[of_what]] if may_show[of_what].any() else of_what[:1]).tolist())
    return np.array(sorted(rows), np.int64)


def _of_rows(view: Glance, rows: Integers) -> Glance:
    """The same view, with some of the things alone."""
    return replace(view, things=view.things.of_rows(rows))


def _grade(learners: LearnerTable) -> str:
    """By how many learners are right beyond those who guess."""
    beyond = learners.beyond_chance
    return "easy" if beyond >= _EASY_FROM else "moderate" if beyond >= _MODERATE_FROM else "hard"
