"""Whether an exercise has exactly one defensible answer, and all that is known of it besides."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hillsight.plan.statement import Statement
    from hillsight.plan.verdict import Fact

HOLDS_FROM = 0.9
"""Share of the draws in which a fact must hold to decide."""

MATTERS_NEEDED = 2
"""Different matters of the ground that must tell the true place from each other one."""

ALIKE_BELOW = 0.4
"""Places look alike if no more learners than this are right beyond those who guess. Settled by simulation."""


GUESSED_FROM = 0.6
"""Share of learners that are right, at the low end of its interval, from which most are said to guess."""


@dataclass(frozen=True)
class DecidingFact:
    """A statement true of the true place that a wrong one contradicts.

    words : the statement as a clause; part of the picture included
    evidence_class : ground_shape, water, unclassed or man_made
    matter : number of what it hangs on; facts of one matter stand and fall together
    holds : share of draws in which it tells the true place from this wrong one
    bits : how much likelier it is said of the true place, over all draws, as a logarithm to base 2
    true_fact, wrong_fact : what either place shows of it, as the terrain model has it
    """

    statement: Statement
    words: str
    evidence_class: str
    matter: int
    holds: float
    bits: float
    true_fact: Fact
    wrong_fact: Fact


@dataclass(frozen=True)
class Against:
    """The true place against one wrong one.

    place : number of the wrong one, from 0
    facts : that hold in nine draws of ten or more, by trust, then by how surely they tell
    is_told_apart : whether facts of the ground about two matters are among them
    reason : what is lacking, in words; empty where nothing is
    """

    place: int
    facts: tuple[DecidingFact, ...]
    is_told_apart: bool
    reason: str

    @property
    def matters(self) -> int:
        """Matters of the ground that tell it apart."""
        return len({fact.matter for fact in self.facts if fact.evidence_class == "ground_shape"})


@dataclass(frozen=True)
class Misleading:
    """Something that could lead to a wrong answer, or that tells nothing though it is true.

    about : alike (true of every place), trees, season, man_made, haze, spot or terrain
    words : a sentence without its full stop
    evidence_class : of what it is about
    """

    about: str
    words: str
    evidence_class: str = "ground_shape"


@dataclass(frozen=True)
class LearnerTable:
    """What so many simulated learners answer.

    chosen : how many chose each place, in the exercise's order
    right : share that chose the true one; low, high : its exact interval of 95 % (Clopper and Pearson 1934)
    """

    chosen: tuple[int, ...]
    right: float
    low: float
    high: float

    @property
    def count(self) -> int:
        """How many learners there are."""
        return sum(self.chosen)

    @property
    def beyond_chance(self) -> float:
        """Share of them that are right, those taken out who would be by guessing."""
        by_chance = 1.0 / len(self.chosen)
        return (self.right - by_chance) / (1.0 - by_chance)


@dataclass(frozen=True)
class Soundness:
    """The whole of it.

    reasons : why it is not sound; empty where it is
    against : one for each wrong place, in the exercise's order
    tolerance_m : how far off the photographer may stand, in any direction, before the facts that decide no
        longer do; 0 where nothing is decided
    tolerance_is_least : whether it is at least so much, as no farther places were tried
    draws : in how many draws the facts were tried
    grade : easy, moderate or hard, by how many of the learners are right
    """

    is_sound: bool
    reasons: tuple[str, ...]
    against: tuple[Against, ...]
    misleading: tuple[Misleading, ...]
    tolerance_m: float
    learners: LearnerTable
    grade: str
    draws: int
    tolerance_is_least: bool = field(default=False)

    @property
    def state(self) -> str:
        """Sound; alike: the places look alike, and learners can hardly but guess; doubtful: neither."""
        if self.is_sound:
            return "sound"
        return "alike" if self.learners.beyond_chance < ALIKE_BELOW else "doubtful"

    @property
    def is_guessed(self) -> bool:
        """Whether most learners find the place though it is doubtful: by weak facts together."""
        return self.state == "doubtful" and self.learners.low >= GUESSED_FROM
