"""A verdict in words: a few lines for a terminal, and the phrases of its pages."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

from hillsight.plan.relocation.summary import times_words
from hillsight.plan.sighting.wording import statement_words
from hillsight.plan.verdict import NONE_OF_THESE
from hillsight.sheets.paper.labels import drawable
from hillsight.words.quantities import probability_words
from hillsight.words.trust import CLASS_NAMES, TRUST

if TYPE_CHECKING:
    from hillsight.plan.verdict import Argument, Change, Fact, Verdict, Weighed

#: What a terminal has room for: candidates told one by one, arguments, letters of a line and of a label.
_CANDIDATES, _ARGUMENTS, _LABEL_LENGTH = 4, 3, 60

#: From how much agreement a fact fits a statement well, and in part.
FITS_FROM, FITS_PARTLY_FROM = 0.5, 0.25

LIMITS = (
    "The terrain model leaves out trees, walls and buildings, and is wrong by metres in places; what is seen "
    "close by depends on metres.",
    "Heights and distances are hard to judge in a picture: what the description says of them counts for "
    "little.",
    "The probabilities hold only if the description was written by somebody who did not know the answer.",
    "Do not rely on this on the hill: follow local rules and qualified leaders, and check on the ground.",
)

STATE_WORDS = {
    "decided": "One candidate is likely enough, and the ground and water alone speak for it too.",
    "undecided": "No candidate is likely enough both by all that is said and by the ground and water alone.",
    "none_fits": "The description fits other places better than any of the candidates.",
}

#: Evidence classes in order of trust, as headings.
CLASS_HEADINGS = {evidence: CLASS_NAMES[evidence].capitalize() for evidence in TRUST}

ROLE_WORDS = {
    "decides": "decides",
    "supports": "supports",
    "tells_nothing": "tells them apart little",
    "against": "speaks against",
}


def plain(text: object, most: int = 10_000) -> str:
    """A text on one line, without control characters and half surrogates; "" for what is no text."""
    return drawable(text, most)


def odds_words(times: float) -> str:
    """Odds from 1 to 1 upwards, no finer than they are known."""
    return f"{times_words(times).removesuffix(' times')} to 1"


def argument_words(one: Argument, verdict: Verdict) -> str:
    """What an argument does, with its odds."""
    best, rival = plain(verdict.best.station), plain(verdict.argued_against)
    role = ROLE_WORDS[one.role]
    if one.role == "tells_nothing" or not one.times > 0:
        return role
    if one.times >= 1:
        return f"{role}: {odds_words(one.times)} for {best} against {rival}"
    return f"{role}: {odds_words(1 / one.times)} for {rival} against {best}"


def fits_words(fact: Fact) -> str:
    """How well a fact fits its statement."""
    if fact.agrees != fact.agrees:
        return "not weighed"
    if fact.agrees > FITS_FROM:
        return "fits"
    return "fits in part" if fact.agrees >= FITS_PARTLY_FROM else "does not fit"


def chance_words(share: float, verdict: Verdict) -> str:
    """A probability, never rounded over the limit from which a candidate is decided for."""
    return probability_words(share, verdict.decide_from)


def change_words(change: Change, verdict: Verdict) -> str:
    """What would become of the verdict."""
    label, chance = plain(change.station), chance_words(change.probability, verdict)
    if change.state == "decided":
        return f"decided for {label} ({chance})"
    if change.state == "none_fits":
        return f"none fits; the nearest fit {label} ({chance})"
    if change.none_probability > change.probability:
        none = chance_words(change.none_probability, verdict)
        return f"undecided; likeliest {NONE_OF_THESE} ({none}), then {label} ({chance})"
    return f"undecided; likeliest {label} ({chance})"


def variation_words(verdict: Verdict) -> str:
    """How many of the variations tested change the verdict."""
    tested, telling = len(verdict.changes), sum(change.changes for change in verdict.changes)
    if not telling:
        return f"None of {tested} variations tested changes the verdict"
    return f"Of {tested} variations tested, {telling} {'changes' if telling == 1 else 'change'} the verdict"


def direction_words(one: Weighed, *, true_north: bool = True) -> str:
    """Direction that fits best, with one standard deviation."""
    north = " true" if true_north else ""
    return f"{one.looks_true_deg % 360:.0f}°{north} ± {one.looks_plus_minus_deg:.0f}°"


def place_words(one: Weighed) -> str:
    """Where a candidate stands."""
    return f"E {one.easting_m:.0f} N {one.northing_m:.0f}, ground {one.ground_height_m:.0f} m"


def by_trust(verdict: Verdict) -> dict[str, list[Argument]]:
    """Arguments that decide or support, by class in order of trust; classes without any are left out."""
    groups = {
        evidence: [
            a for a in verdict.arguments if a.evidence_class == evidence and a.role in ("decides", "supports")
        ]
        for evidence in CLASS_HEADINGS
    }
    return {evidence: group for evidence, group in groups.items() if group}


def picture_words(verdict: Verdict) -> str:
    """What the description says of the picture as a whole."""
    picture = verdict.sighting.picture
    if picture.looks_deg is None:
        looks = "nobody knows where it looks"
    else:
        looks = (
            f"it looks {picture.looks_deg % 360:.0f}° from {picture.north} north, "
            f"give or take {picture.give_or_take_deg:g}°"
        )
    words = [f"{picture.width_deg:g}° wide", looks]
    if isinstance(picture.taken, datetime.datetime):
        words.append(f"taken {picture.taken.isoformat(' ', 'minutes')}")
    elif picture.taken is not None:
        words.append(f"taken {picture.taken.isoformat()}")
    return ", ".join(words)


def described_words(verdict: Verdict) -> list[str]:
    """The description, statement by statement; what begins with a capital is a name."""
    statements = verdict.sighting.statements
    names = {what for statement in statements for what in statement.things if what[:1].isupper()}
    return [statement_words(statement, names) for statement in statements]


def summary_lines(verdict: Verdict) -> list[str]:
    """The verdict in at most ten lines, for a terminal."""
    lines = [verdict.headline, _chances(verdict)]
    deciding = [a for a in verdict.arguments if a.role == "decides"]
    chosen = deciding or [a for a in verdict.arguments if a.role == "supports"]
    against = sorted((a for a in verdict.arguments if a.role == "against"), key=lambda a: a.times)
    if verdict.state == "none_fits":
        chosen, against = against, []
    lines += _photographed(verdict)
    lines += [f"{a.number}. {a.sentence}" for a in chosen[: _ARGUMENTS - len(_photographed(verdict))]]
    if against:
        lines.append(f"Against it: {against[0].number}. {against[0].sentence}")
    lines += [line for line in (_changing(verdict), _asking(verdict)) if line]
    lines.append("The terrain model leaves out trees, walls and buildings: check on the ground.")
    return [plain(line) for line in lines]


def _photographed(verdict: Verdict) -> list[str]:
    """What the photograph says of the likeliest candidate and of the next, if it was measured."""
    if verdict.measured is None:
        return []
    labels = [one.station for one in (verdict.best, verdict.next) if one is not None]
    sentences = {fit.station: fit.sentence for fit in verdict.measured.fits}
    return [f"By the photograph: {sentences[label]}" for label in labels]


def _chances(verdict: Verdict) -> str:
    ordered = sorted(verdict.candidates, key=lambda one: one.rank)
    told = [
        f"{plain(one.station, _LABEL_LENGTH) or '(no label)'} {chance_words(one.probability, verdict)}"
        for one in ordered[:_CANDIDATES]
    ]
    rest = ordered[_CANDIDATES:]
    if rest:
        together = probability_words(sum(one.probability for one in rest))
        told.append(f"{len(rest)} other{'s together' if len(rest) > 1 else ''} {together}")
    return f"{', '.join(told)}; none of these {chance_words(verdict.none_probability, verdict)}"


def _changing(verdict: Verdict) -> str:
    telling = [change for change in verdict.changes if change.changes]
    if not telling:
        return variation_words(verdict) if verdict.changes else ""
    first = telling[0]
    more = f" (and {len(telling) - 1} more)" if len(telling) > 1 else ""
    return f"Another verdict {plain(first.about)}: {change_words(first, verdict)}{more}"


def _asking(verdict: Verdict) -> str:
    """The best question, with what would be answered from either place, and the others."""
    if verdict.state != "undecided" or not verdict.questions:
        return ""
    question, *others = verdict.questions
    expected = "; ".join(f"from {plain(label)}, {plain(answer)}" for label, answer in question.expected)
    line = f"Look next: {question.text}{f' Expected {expected}.' if expected else ''}"
    if others:
        line += f" Or, if that cannot be told: {' '.join(other.text for other in others)}"
    return line
