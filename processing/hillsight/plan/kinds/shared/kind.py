"""What a kind of statement is: its fields, and what is done with a statement of it."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from hillsight.plan.look.noticing import noticed

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers
    from hillsight.plan.kinds.shared.exclusions import NamedThings
    from hillsight.plan.kinds.shared.nouns import Nouns
    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.things import Things
    from hillsight.plan.observer import Observer
    from hillsight.plan.statement import Statement
    from hillsight.plan.verdict import Fact
    from hillsight.plan.vocabulary import SightingField


@dataclass(frozen=True)
class Case:
    """A statement held against what one place sees.

    declination_deg : magnetic north's true bearing; None where no day is known
    direction : index among the framing's headings, for facts; chances are of all headings
    """

    statement: Statement
    glance: Glance
    things: Things
    framing: Framing
    observer: Observer
    declination_deg: float | None = None
    direction: int = 0

    @property
    def values(self) -> Mapping[str, Any]:
        """What the statement says."""
        return self.statement.values

    @property
    def heading_deg(self) -> float:
        """True bearing of the picture's middle in the case's direction."""
        return float(self.framing.heading_deg[self.direction])

    def bearings(self) -> Integers:
        """Indices of the bearings in the statement's part of the picture, for each heading, (h, k)."""
        return self.framing.bearings(self.statement.part)

    def bearings_ahead(self) -> Integers:
        """The same in the case's direction, (k,)."""
        ahead: Integers = self.bearings()[self.direction]
        return ahead

    def rows(self, what: str) -> Integers:
        """Things that a name or kind stands for."""
        return self.things.rows(what)

    def noticed(self, what: str) -> Floats:
        """Chance that each thing of that name or kind is seen and noticed, (m,)."""
        return noticed(what, self.glance, self.things, self.observer)

    def in_part(self, what: str, part: str) -> Floats:
        """Chance that an observer puts each such thing into a part of the picture, (h, m)."""
        rows, seen = self.rows(what), self.glance.things
        return self.framing.holds(part, seen.left_deg[rows], seen.width_deg[rows])

    def shown(self, what: str, part: str | None = None) -> Floats:
        """Chance that each such thing is noticed in a part, (h, m); in the statement's part if None."""
        return self.in_part(what, part or self.statement.part) * self.noticed(what)[None, :]

    def of_one(self, what: str, row: int) -> Case:
        """The case where a name or kind stands for one thing alone."""
        return replace(self, things=self.things.of_one(what, row))

    def saying(self, statement: Statement) -> Case:
        """The case of another statement at the same place."""
        return replace(self, statement=statement)


@dataclass(frozen=True)
class Question:
    """One question and its answers, each a statement; the answers exclude one another."""

    text: str
    answers: tuple[Statement, ...]

    @property
    def part(self) -> str:
        """Where in the picture to look."""
        return self.answers[0].part


@dataclass(frozen=True)
class Subjects:
    """What may be asked about.

    names : names and kinds of what stands out in any of the views, the most noticeable first
    """

    names: tuple[str, ...]
    things: Things

    @property
    def named(self) -> list[str]:
        """Those with a name of their own."""
        return [what for what in self.names if self.things.is_named(what)]


@dataclass(frozen=True)
class WordFigures:
    """Words that stand for figures, each with the two between which it is said.

    of : what is measured
    """

    of: str
    unit: str
    words: Mapping[str, tuple[float, float]]

    def spans(self) -> dict[str, str]:
        """Each word with its figures: ``below -15``, ``0 to 150``, ``above 600``."""
        return {word: _span(*bounds) for word, bounds in self.words.items()}


def _span(low: float, high: float) -> str:
    if low in (float("-inf"), -90.0):
        return f"below {high:g}"
    return f"above {low:g}" if high in (float("inf"), 90.0) else f"{low:g} to {high:g}"


def excludes_nothing(one: Statement, other: Statement, things: NamedThings) -> str:
    """A kind whose statements go with all others."""
    return ""


def asks_nothing(subjects: Subjects) -> list[Question]:
    """A kind that is not asked for."""
    return []


def adds_nothing(case: Case, said: Sequence[Statement]) -> list[Statement]:
    """A kind of which an observer says nothing beyond answers to questions."""
    return []


def always(statement: Statement) -> bool:
    """True of every statement of a kind."""
    return True


def about_unseen(statement: Statement, said: Sequence[Statement]) -> bool:
    """Whether it is about a thing that is said not to be seen."""
    unseen = {s.values["what"] for s in said if s.values.get("seen") is False}
    return bool(unseen & set(statement.things))


@dataclass(frozen=True, kw_only=True)
class StatementKind:
    """A kind of statement: one value a module of ``plan.kinds``, called ``KIND``.

    Parameters
    ----------
    name : as ``kind`` in a sighting
    meaning : what it is about, in a clause
    place : its place among all kinds, in lists, messages and the docs; the least comes first
    section : heading of the template under which it stands
    fields : besides those that all statements have (``vocabulary.COMMON``)
    example : values of one statement, as in the template
    one_of : fields of which at least one must be there
    either_or : two fields that say the same thing, of which a statement has one
    rests_on : fields that are nothing without another, with that other
    figures : words that stand for figures
    fit : chance that a right statement would say this, for each direction the picture may look in, (h,)
    fact : what would be seen of it in the case's direction, in words, with its figure and geometry
    sentence : the statement in one plain clause without a full stop
    topic : what a statement hangs on, where that is not its things: statements of one topic do not count as
        if each were new
    excludes : why a statement of this kind (the first) cannot be true together with another; empty if it can
    questions : what may be asked, with its answers
    asked_once : whether an answer about one part of the picture answers the question for all of it
    described : place in what an observer writes of a view, None where it comes last
    adds : what an observer says of a view beyond answers to questions, given what is said already
    left_unsaid : whether an observer leaves an answer out, given what else is said
    says_there : whether a statement says that what it is about is there
    of_best : whether, of many things of one kind, it is about the one that fits best
    any_direction : whether it holds whichever way the picture looks
    """

    name: str
    meaning: str
    place: int
    section: str
    fields: tuple[SightingField, ...]
    example: Mapping[str, Any]
    fit: Callable[[Case], Floats]
    fact: Callable[[Case], Fact]
    sentence: Callable[[Statement, Nouns], str]
    one_of: tuple[str, ...] = ()
    either_or: tuple[str, ...] = ()
    rests_on: Mapping[str, str] = field(default_factory=dict)
    figures: tuple[WordFigures, ...] = ()
    topic: Callable[[Statement], Hashable] | None = None
    excludes: Callable[[Statement, Statement, NamedThings], str] = excludes_nothing
    questions: Callable[[Subjects], list[Question]] = asks_nothing
    asked_once: bool = False
    described: int | None = None
    adds: Callable[[Case, Sequence[Statement]], list[Statement]] = adds_nothing
    left_unsaid: Callable[[Statement, Sequence[Statement]], bool] = about_unseen
    says_there: Callable[[Statement], bool] = always
    of_best: bool = True
    any_direction: bool = False
