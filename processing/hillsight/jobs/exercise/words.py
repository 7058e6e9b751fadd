"""What is said of an exercise once it is judged, the same on its page and on its sheets."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.plan.exercise.marking import NOT_SO
from hillsight.sheets.map.margin import North
from hillsight.words.angles import bearing_words
from hillsight.words.english import listed
from hillsight.words.quantities import whole_number

if TYPE_CHECKING:
    from hillsight.jobs.exercise.check import Judged
    from hillsight.jobs.exercise.laid_out import Shown

#: Reasons that are told for choosing a wrong place.
_MOST_TEMPTING = 2

#: Facts that are told against a wrong place.
_MOST_AGAINST = 5


def norths_of(judged: Judged) -> North:
    """How the norths lie amid the places; magnetic north where the day of the picture is told."""
    taken = judged.exercise.picture.taken
    day = None if taken is None else f"{taken:%Y-%m-%d}"
    return North(judged.scene.convergence_deg, judged.scene.declination_deg, None, day)


def looking_words(shown: Shown) -> str:
    """Where the picture looks, and how wide it is."""
    picture = shown.judged.exercise.picture
    return f"looking {bearing_words(shown.judged.looks_true_deg)} true, {picture.width_deg:g}° wide"


def where_words(shown: Shown, number: int) -> str:
    """A place's coordinates and the sector it would look into."""
    view, half = shown.views[number], shown.judged.exercise.picture.width_deg / 2.0
    left, right = (bearing_words(view.looks_true_deg + turn) for turn in (-half, half))
    looks = "all round" if half >= 180.0 else f"{left} to {right} true"
    return (
        f"E {whole_number(view.lines.easting_m)} N {whole_number(view.lines.northing_m)}; would look {looks}"
    )


def ruled_out(shown: Shown, number: int) -> tuple[str, ...]:
    """What rules a wrong place out, the most trusted first."""
    against = next((one for one in shown.judged.soundness.against if one.place == number), None)
    if against is None:
        return ()
    return tuple(
        as_sentence(f"In the picture, {one.words}; from here {one.wrong_fact.words}")
        for one in against.facts[:_MOST_AGAINST]
    )


def mistakes(shown: Shown) -> tuple[str, ...]:
    """Who goes where, what tempts them, and what leads astray besides."""
    exercise, found = shown.judged.exercise, shown.judged.soundness
    letters, learners = exercise.letters(), found.learners
    wrong = [k for k in exercise.by_letter() if k != exercise.truth() and learners.chosen[k]]
    told = []
    for k in sorted(wrong, key=lambda k: -learners.chosen[k]):
        words = f"{learners.chosen[k]} of {learners.count} simulated learners choose {letters[k]}"
        tempts = [one.words for one in shown.reasons if one.role == NOT_SO and k in one.facts]
        if tempts:
            words += f". What it shows and the picture does not: {listed(tempts[:_MOST_TEMPTING])}"
        told.append(as_sentence(words))
    return (*told, *(as_sentence(one.words) for one in found.misleading if one.about != "alike"))


def cautions(judged: Judged) -> tuple[str, ...]:
    """Why an exercise is not sound, and what to bear in mind of any."""
    from hillsight.sheets.exercise.soundness_text import LIMITS

    found = judged.soundness
    unsound = tuple(as_sentence(f"Not sound: {reason}") for reason in found.reasons)
    return (*unsound, LIMITS)


def as_sentence(words: str) -> str:
    """A clause as a sentence."""
    return f"{words[:1].upper()}{words[1:]}".rstrip(".") + "."
