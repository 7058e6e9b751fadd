"""The check of an exercise in words, for a terminal and for its report."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from hillsight.words.quantities import per_cent
from hillsight.words.trust import CLASS_NAMES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from hillsight.plan.exercise.exercise import Exercise
    from hillsight.plan.exercise.soundness import Against, DecidingFact, Soundness

LIMITS = (
    "The terrain model leaves out trees, walls and buildings, and is wrong by metres in places. Simulated "
    "learners are no learners: try an exercise on somebody before you hand it out. On the hill the ground "
    "decides: use results together with a map, local rules and qualified leaders."
)


@dataclass(frozen=True)
class Part:
    """A heading with what stands below it: sentences, then items."""

    heading: str
    sentences: tuple[str, ...] = ()
    items: tuple[str, ...] = ()


def headline(exercise: Exercise, found: Soundness) -> str:
    """The check in a sentence."""
    name = exercise.places[exercise.truth()].name
    if found.is_sound:
        return f"Sound: {exercise.title!r} has one defensible answer, {name}"
    if found.is_guessed:
        return (
            f"Not sound: most learners will guess the place of {exercise.title!r} from several weak facts, "
            "but it cannot be defended"
        )
    if found.state == "alike":
        return f"Not sound: in {exercise.title!r} the places look alike, and learners can hardly but guess"
    return f"Not sound: in {exercise.title!r} the ground does not decide surely enough"


def parts(exercise: Exercise, found: Soundness) -> Iterator[Part]:
    """All of the check, in the order that a setter reads it."""
    letters = exercise.letters()
    if found.reasons:
        yield Part("Why it is not sound", items=tuple(map(_begun, found.reasons)))
    for one in found.against:
        name = f"{letters[one.place]}, {exercise.places[one.place].name}"
        if one.facts:
            yield Part(
                f"Against {name}",
                (_matters(one),),
                tuple(_fact(fact, letters[one.place]) for fact in one.facts),
            )
        else:
            yield Part(f"Against {name}", ("Nothing tells it from the true place surely enough.",))
    alike = tuple(one.words for one in found.misleading if one.about == "alike")
    if alike:
        yield Part("True, and of no help", items=tuple(_begun(words.partition(": ")[2]) for words in alike))
    others = tuple(_begun(one.words) for one in found.misleading if one.about != "alike")
    if others:
        yield Part("What could mislead", items=others)
    yield Part("How far off the photographer may stand", (_tolerance(found),))
    learners = found.learners
    right = f"{per_cent(learners.low)} to {per_cent(learners.high)}"
    yield Part(
        f"{learners.count:,} simulated learners",
        (
            f"{per_cent(learners.right)} choose the true place ({right} at 95 % confidence); the exercise is "
            f"{found.grade}.",
        ),
        tuple(
            f"{letters[k]}, {exercise.places[k].name}: {learners.chosen[k]}"
            + (" (the true place)" if k == exercise.truth() else "")
            for k in exercise.by_letter()
        ),
    )


def lines(exercise: Exercise, found: Soundness, most: int = 4) -> list[str]:
    """What a terminal shows of it."""
    told = [f"{headline(exercise, found)}."]
    for part in parts(exercise, found):
        told.append(f"{part.heading}: {' '.join(part.sentences)}".rstrip())
        told += [f"  {item}" for item in part.items[:most]]
        if len(part.items) > most:
            told.append(f"  and {len(part.items) - most} more (see the report)")
    return told


def _matters(one: Against) -> str:
    count = one.matters
    return (
        f"{count} matter{'' if count == 1 else 's'} of the ground tell{'s' if count == 1 else ''} it apart."
    )


def _fact(fact: DecidingFact, letter: str) -> str:
    """A fact, how surely it tells, and what the true place and the wrong one show."""
    trust = f"{CLASS_NAMES[fact.evidence_class]}, in {per_cent(fact.holds)} of the draws"
    here, there = fact.true_fact.words, fact.wrong_fact.words
    return f"{_begun(fact.words)} [{trust}]: from the true place {here}; from {letter} {there}"


def _begun(words: str) -> str:
    """Words as a sentence begins."""
    return f"{words[:1].upper()}{words[1:]}"


def _tolerance(found: Soundness) -> str:
    if not found.is_sound:
        return "It is not asked, as nothing is decided."
    if found.tolerance_m <= 0.0:
        return "Less than 25 m: name the spot closely, or choose one that minds less where one stands."
    least = " or more" if found.tolerance_is_least else ""
    return f"{found.tolerance_m:,.0f} m{least} in any direction before the facts that decide no longer hold."
