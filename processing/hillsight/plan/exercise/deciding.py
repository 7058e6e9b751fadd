"""Which facts tell the true place of an exercise from each wrong one, and in how many draws they do.

A fact is what a careful observer would say of the view from the true place, asked one of the questions of
the trade. It *holds* against a wrong place in a draw if, over the ground of that draw, the observer will more
likely than not (``SAID_FROM``) give an answer that is at least ``TIMES`` times as likely from the true place
as from the wrong one. It need not be the same answer in every draw: where near by and at middle distance are
both said of the true place, and far off of the other, either tells them apart.

A draw is of the terrain's errors and its roughness, of where beside its spot the picture was taken, of the
eye's height, the picture's width and what the observer misjudges alike in the whole picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.exercise.draws import said
from hillsight.plan.exercise.soundness import HOLDS_FROM, MATTERS_NEEDED, Against, DecidingFact
from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.kinds.shared.ground import near_ground
from hillsight.plan.sighting.wording import statement_words
from hillsight.plan.vocabulary import PARTS
from hillsight.plan.weighing.facts import fact
from hillsight.plan.weighing.statements import matters, topic
from hillsight.words.english import listed, number_word
from hillsight.words.quantities import per_cent
from hillsight.words.trust import trust_order

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.plan.exercise.draws import AnswerChances
    from hillsight.plan.kinds.shared.kind import Question
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Statement
    from hillsight.plan.verdict import Fact
    from hillsight.plan.weighing.statements import Weighing

#: How many times likelier an answer must be from the true place, and how likely such answers must be in all.
#: Settled by simulation (docs/studies/exercise_study.py).
TIMES, SAID_FROM = 4.0, 0.5

#: A question is tried in draws if over the model's own ground such answers are as likely as this.
_TRIED_FROM = 0.3

#: So many questions are tried at most against one wrong place, and so many of one matter.
_MOST_TRIED, _MOST_OF_MATTER = 40, 8

#: Most facts that are told of one wrong place, and most of one matter.
_MOST_TOLD, _MOST_TOLD_OF_MATTER = 8, 2

#: A fact that falls short is told of from this share of the draws.
_WORTH_TELLING = 0.3

#: A fact is handed out only if its words are so likely said of the true place.
_PLAIN_ENOUGH = 0.5

#: Nearer than so many posts of the terrain model no brow decides.
POSTS = 2.0

#: A true fact separates nothing if it is as plain as this from everywhere.
_PLAIN_FROM = 0.7


@dataclass(frozen=True)
class Tried:
    """Questions that may decide, with the likeliest answer of the true place.

    answers : (q,) number of the answer
    """

    questions: tuple[Question, ...]
    answers: Integers

    @property
    def statements(self) -> tuple[Statement, ...]:
        """The answers."""
        return tuple(q.answers[int(a)] for q, a in zip(self.questions, self.answers, strict=True))

    def answered_by(self, true: Floats) -> Tried:
        """The same with the answers that are likeliest over all draws.

        true : (d, q, a) chances from the true place
        """
        known = np.isfinite(true).any(axis=(1, 2)) if true.size else np.zeros(len(true), bool)
        if not known.any():
            return self
        return Tried(self.questions, np.nanargmax(true[known].mean(axis=0), axis=1))

    def only(self, kept: Sequence[int]) -> Tried:
        """Some of them."""
        return Tried(tuple(self.questions[k] for k in kept), self.answers[list(kept)])


def worth_trying(
    every: Sequence[Question], glances: Sequence[Glance], truth: int, weighing: Weighing
) -> tuple[Tried, tuple[Statement, ...]]:
    """Questions whose answers tell the places apart by the terrain model; true answers that tell nothing.

    Parameters
    ----------
    weighing : with the careful observer
    """
    if not every:
        return Tried((), np.zeros(0, np.int64)), ()
    most = max(len(question.answers) for question in every)
    chances = np.array([said(every, glance, weighing, most) for glance in glances])
    answers = np.nanargmax(chances[truth], axis=1)
    matter = matters([q.answers[int(a)] for q, a in zip(every, answers, strict=True)], weighing.things)
    kept: set[int] = set()
    for wrong in range(len(glances)):
        if wrong == truth:
            continue
        share, bits = telling(chances[truth], chances[wrong])
        chosen: list[int] = []
        for k in np.argsort(-bits, kind="stable"):
            of_matter = int((matter[chosen] == matter[k]).sum())
            if share[k] >= _TRIED_FROM and of_matter < _MOST_OF_MATTER and len(chosen) < _MOST_TRIED:
                chosen.append(int(k))
        kept |= set(chosen)
    given = chances[:, np.arange(len(every)), answers]
    alike = [k for k in range(len(every)) if given[:, k].min() >= _PLAIN_FROM]
    alike.sort(key=lambda k: -given[truth, k])
    told = Tried(tuple(every), answers)
    return told.only(sorted(kept)), told.only(alike).statements


def telling(true: Floats, wrong: Floats, shown: Floats | None = None) -> tuple[Floats, Floats]:
    """How likely answers are that tell two places apart; expected information of an answer, bits; (..., q).

    Parameters
    ----------
    true, wrong : (..., q, a) chances from either place, NaN where a question has no such answer
    shown : the same from where the picture was taken, if that is not the true place
    """
    said_of = true if shown is None else shown
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(true >= TIMES * wrong, said_of, 0.0).sum(axis=-1)
        bits = np.nansum(said_of * np.log2(true / wrong), axis=-1)
    return share, bits


def holding(true: Floats, wrong: Floats, shown: Floats | None = None) -> Flags:
    """In which draws each fact holds, (d, q); where a place is off the terrain nothing does.

    Parameters
    ----------
    true, wrong, shown : as for ``telling``
    """
    held: Flags = telling(true, wrong, shown)[0] >= SAID_FROM
    return held


def against(
    tried: Tried,
    asked: AnswerChances,
    glances: Sequence[Glance],
    truth: int,
    wrong: int,
    weighing: Weighing,
) -> Against:
    """What tells the true place from a wrong one."""
    true, other = asked.chances[truth], asked.chances[wrong]
    known = asked.known[truth] & asked.known[wrong]
    held = holding(true, other).mean(axis=0)
    bits = telling(true[known], other[known])[1].mean(axis=0) if known.any() else np.zeros(held.size)
    statements = tried.statements
    classes = [weighing.evidence_class(statement) for statement in statements]
    order = sorted(
        range(held.size), key=lambda k: (trust_order(classes[k]), -round(float(held[k]), 2), -bits[k])
    )
    named = {what for s in statements for what in s.things if weighing.things.is_named(what)}
    direction = int(np.argmax(weighing.framing.prior))
    plain = _plainness(tried, true)
    holds = [k for k in order if held[k] >= HOLDS_FROM and plain[k] >= _PLAIN_ENOUGH]
    shown = {k: fact(statements[k], glances[truth], weighing, direction) for k in holds}
    # What the words of a place would gainsay is no fact to hand out, however well it tells.
    holds = [k for k in holds if _says(shown[k], statements[k])]
    holds = [k for k in holds if not within_posts(statements[k], glances[truth], weighing)]
    matter = _matters_of(holds, statements, classes, weighing)
    told: list[int] = []
    for k in holds:
        of_matter = sum(matter[m] == matter[k] for m in told)
        if of_matter < _MOST_TOLD_OF_MATTER and len(told) < _MOST_TOLD:
            told.append(k)
    # One of each matter first, so that a reader meets different ones.
    first = [k for n, k in enumerate(told) if matter[k] not in [matter[m] for m in told[:n]]]
    told.sort(key=lambda k: (trust_order(classes[k]), k not in first, order.index(k)))
    facts = tuple(
        DecidingFact(
            statements[k],
            statement_words(statements[k], named),
            classes[k],
            matter[k],
            float(held[k]),
            float(bits[k]),
            shown[k],
            fact(statements[k], glances[wrong], weighing, direction),
        )
        for k in told
    )
    ground = {one.matter for one in facts if one.evidence_class == "ground_shape"}
    reason = ""
    if len(ground) < MATTERS_NEEDED:
        about = {what for k in told for what in _hangs_on(statements[k], weighing)}
        short = [k for k in order if classes[k] == "ground_shape" and held[k] < HOLDS_FROM]
        short = [k for k in short if not _hangs_on(statements[k], weighing) & about]
        short = sorted((k for k in short if held[k] >= _WORTH_TELLING), key=lambda k: -held[k])
        reason = _reason(
            glances[wrong].label,
            [one for one in facts if one.evidence_class == "ground_shape"],
            [(statement_words(statements[k], named), float(held[k])) for k in short[:1]],
            any(one.evidence_class != "ground_shape" for one in facts),
        )
    return Against(wrong, facts, not reason, reason)


def _plainness(tried: Tried, true: Floats) -> Floats:
    """How likely the likeliest answer is said of the true place over all draws, (q,)."""
    known = np.isfinite(true).any(axis=(1, 2)) if true.size else np.zeros(len(true), bool)
    if not known.any():
        return np.zeros(len(tried.questions))
    mean: Floats = true[known].mean(axis=0)[np.arange(len(tried.questions)), tried.answers]
    return mean


def _says(shown: Fact, statement: Statement) -> bool:
    """Whether the words of a place stand for what the statement says, or for no word at all."""
    return not shown.word or shown.word in [str(value) for value in statement.values.values()]


def within_posts(statement: Statement, view: Glance, weighing: Weighing) -> bool:
    """Whether a statement of the near ground rests on a brow nearer than ``POSTS`` posts of the model.

    What lies between the eye and so near a brow the model hardly knows, whatever its errors are told to be.
    """
    if KINDS[statement.kind].topic is not near_ground:
        return False
    across = weighing.framing.bearings(statement.part)[int(np.argmax(weighing.framing.prior))]
    brow_m = view.brow_m[across]
    known = brow_m[np.isfinite(brow_m)]
    return bool(known.size and np.median(known) < POSTS * view.spacing_m)


def _matters_of(
    holds: Sequence[int], statements: Sequence[Statement], classes: Sequence[str], weighing: Weighing
) -> dict[int, int]:
    """Number of the matter of each fact that holds: no two matters share the ground or a thing.

    Facts about one thing come first, so that two of them are not made one by a third that names both.
    """
    found: dict[int, int] = {}
    used: list[frozenset[object]] = []
    for k in sorted(holds, key=lambda k: (trust_order(classes[k]), len(_hangs_on(statements[k], weighing)))):
        on = _hangs_on(statements[k], weighing)
        shared = [number for number, other in enumerate(used) if on & other]
        if shared:
            found[k] = shared[0]
        else:
            found[k] = len(used)
            used.append(on)
    return found


def _hangs_on(statement: Statement, weighing: Weighing) -> frozenset[object]:
    """What a statement stands and falls with: a third of the near ground or of the skyline, or each thing."""
    if KINDS[statement.kind].topic is not None or not statement.things:
        about = topic(statement, weighing.things)
        name = about[0] if isinstance(about, tuple) else about
        left, right = PARTS[statement.part]
        thirds = np.array([-0.5, -1 / 6, 1 / 6, 0.5])
        across = np.flatnonzero((thirds[:-1] < right - 0.05) & (thirds[1:] > left + 0.05))
        return frozenset((name, int(third)) for third in across)
    return frozenset(int(row) for what in statement.things for row in weighing.things.rows(what))


def _reason(
    label: str, facts: Sequence[DecidingFact], short: Sequence[tuple[str, float]], seconded: bool
) -> str:
    """Why one wrong place is not told apart."""
    count = len({one.matter for one in facts})
    matters_told = f"{number_word(count)} matter{'' if count == 1 else 's'} of the ground"
    text = f"{matters_told} tell{'s' if count == 1 else ''} it from {label}, and two are needed"
    if facts:
        text += f" ({listed(list(dict.fromkeys(one.words for one in facts))[:2])})"
    if short:
        words, held = short[0]
        text += f"; the next best, {words}, holds in {per_cent(held)} of the draws"
    if seconded and count == 0:
        text += "; water and man-made features alone decide nothing"
    return text
