"""A verdict in words: a few lines for a terminal, and a page of Markdown."""

from __future__ import annotations

import datetime
import re
from typing import TYPE_CHECKING

from hillsight.plan.kinds.saying import say
from hillsight.sheets.paper.labels import drawable
from hillsight.words.quantities import probability_words
from hillsight.words.trust import CLASS_NAMES, TRUST

if TYPE_CHECKING:
    from hillsight.plan.verdict import Argument, Change, Fact, Verdict

#: What a terminal has room for: candidates told one by one, arguments, letters of a line and of a label.
_CANDIDATES, _ARGUMENTS, _LINE_LENGTH, _LABEL_LENGTH = 4, 3, 400, 60

#: From how much agreement a fact fits a statement well, and in part.
FITS_FROM, FITS_PARTLY_FROM = 0.67, 0.33

LIMITS = (
    "The terrain model leaves out trees, walls and buildings, and is wrong by metres in places; what is seen "
    "close by hangs on metres.",
    "Heights and distances are hard to judge in a picture: what is told of them counts for little.",
    "The probabilities hold only if what is told of the picture was told by somebody who did not know the "
    "answer.",
    "Do not rely on this on the hill: follow local rules and qualified leaders, and check on the ground.",
)

STATE_WORDS = {
    "decided": "One candidate is likely enough, and the ground and water alone speak for it too.",
    "undecided": "No candidate is likely enough by the ground and water together with the man-made features.",
    "none_fits": "What is told fits places that are none of the candidates better than any of them.",
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
    """Odds from 1 to 1 upwards, in two figures at most."""
    return "over 9,999 to 1" if times > 9_999 else f"{float(f'{times:.2g}'):,g} to 1"


def argument_words(one: Argument, verdict: Verdict) -> str:
    """What an argument does, with its odds."""
    best, other = plain(verdict.best.station), verdict.next
    role = ROLE_WORDS[one.role]
    if one.role == "tells_nothing" or not one.times > 0:
        return role
    none = other is None or verdict.state == "none_fits"
    rival = "a place that is none of these" if none or other is None else plain(other.station)
    if one.times >= 1:
        return f"{role}: {odds_words(one.times)} for {best} against {rival}"
    return f"{role}: {odds_words(1 / one.times)} for {rival} against {best}"


def fits_words(fact: Fact) -> str:
    """How well a fact fits its statement."""
    if fact.agrees != fact.agrees:
        return "not weighed"
    if fact.agrees >= FITS_FROM:
        return "fits"
    return "fits in part" if fact.agrees >= FITS_PARTLY_FROM else "does not fit"


def change_words(change: Change) -> str:
    """What would become of the verdict."""
    label, chance = plain(change.station), probability_words(change.probability)
    if change.state == "decided":
        return f"decided for {label} ({chance})"
    if change.state == "none_fits":
        return f"none fits; the nearest fit {label} ({chance})"
    return f"undecided; likeliest {label} ({chance})"


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
    """What is told of the picture as a whole."""
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


def told_words(verdict: Verdict) -> list[str]:
    """What is told of the picture, statement by statement; what begins with a capital is a name."""
    statements = verdict.sighting.statements
    names = {what for statement in statements for what in statement.things if what[:1].isupper()}
    return [say(statement, names) for statement in statements]


def summary_lines(verdict: Verdict) -> list[str]:
    """The verdict in at most ten lines, for a terminal."""
    lines = [verdict.headline, _chances(verdict)]
    deciding = [a for a in verdict.arguments if a.role == "decides"]
    chosen = deciding or [a for a in verdict.arguments if a.role == "supports"]
    against = sorted((a for a in verdict.arguments if a.role == "against"), key=lambda a: a.times)
    if verdict.state == "none_fits":
        chosen, against = against, []
    lines += [f"{a.number}. {a.sentence}" for a in chosen[:_ARGUMENTS]]
    if against:
        lines.append(f"Against it: {against[0].number}. {against[0].sentence}")
    lines += [line for line in (_changing(verdict), _asking(verdict)) if line]
    lines.append("The terrain model leaves out trees, walls and buildings: check on the ground.")
    return [plain(line, _LINE_LENGTH) for line in lines]


def _chances(verdict: Verdict) -> str:
    ordered = sorted(verdict.candidates, key=lambda one: one.rank)
    told = [
        f"{plain(one.station, _LABEL_LENGTH) or '(no label)'} {probability_words(one.probability)}"
        for one in ordered[:_CANDIDATES]
    ]
    rest = ordered[_CANDIDATES:]
    if rest:
        together = probability_words(sum(one.probability for one in rest))
        told.append(f"{len(rest)} other{'s together' if len(rest) > 1 else ''} {together}")
    return f"{', '.join(told)}; none of these {probability_words(verdict.none_probability)}"


def _changing(verdict: Verdict) -> str:
    if not verdict.changes:
        return ""
    telling = [change for change in verdict.changes if change.changes]
    if not telling:
        return f"None of {len(verdict.changes)} changes tried would make it another answer"
    first = telling[0]
    more = f" (and {len(telling) - 1} more)" if len(telling) > 1 else ""
    return f"Another answer {plain(first.about)}: {change_words(first)}{more}"


def _asking(verdict: Verdict) -> str:
    if verdict.state != "undecided" or not verdict.questions:
        return ""
    question = verdict.questions[0]
    expected = "; ".join(f"from {plain(label)} {plain(answer)}" for label, answer in question.expected)
    others = [other.text for other in verdict.questions[1:]]
    rest = f". Or, if that cannot be told: {' '.join(others)}" if others else ""
    return f"Look next: {question.text} ({question.part}){f': {expected}' if expected else ''}{rest}"


def verdict_markdown(verdict: Verdict) -> str:
    """The whole verdict as Markdown with tables (as in GitHub's written specification)."""
    out = [f"# {_safe(verdict.sighting.picture.title) or 'Where was the picture taken?'}", ""]
    out += [f"**{_safe(verdict.headline)}.** {STATE_WORDS[verdict.state]}", ""]
    out += [f"The picture: {_safe(picture_words(verdict))}.", "", "## Candidates", ""]
    out += ["| rank | candidate | probability | by ground and water | looks, true |"]
    out += ["| --- | --- | --- | --- | --- |"]
    out += [
        f"| {one.rank} | {_safe(one.station)} | {probability_words(one.probability)} "
        f"| {probability_words(one.by_ground)} "
        f"| {one.looks_true_deg % 360:.0f}° ± {one.looks_plus_minus_deg:.0f}° |"
        for one in sorted(verdict.candidates, key=lambda one: one.rank)
    ]
    out += [f"| | none of these | {probability_words(verdict.none_probability)} | | |", ""]
    for evidence, group in by_trust(verdict).items():
        out += [f"## {CLASS_HEADINGS[evidence]}", ""]
        for one in group:
            out += _argument_block(one, verdict)
    little = [a for a in verdict.arguments if a.role == "tells_nothing"]
    if little:
        out += ["## What tells them apart little", ""]
        out += [f"- **{a.number}.** {_safe(a.sentence)}" for a in little]
        out += [""]
    against = [a for a in verdict.arguments if a.role == "against"]
    if against:
        out += ["## What speaks against", ""]
        for one in against:
            out += _argument_block(one, verdict)
    if not verdict.arguments and verdict.sighting.statements:
        out += ["## What is told", ""]
        out += [f"{k}. {_safe(words)}" for k, words in enumerate(told_words(verdict), 1)]
        out += [""]
    if verdict.changes:
        out += [
            "## What would change the answer",
            "",
            "| if | then | another answer |",
            "| --- | --- | --- |",
        ]
        out += [
            f"| {_safe(c.about)} | {_safe(change_words(c))} | {'yes' if c.changes else 'no'} |"
            for c in sorted(verdict.changes, key=lambda c: not c.changes)
        ]
        out += [""]
    if verdict.questions:
        out += ["## What to look at next", ""]
        for question in verdict.questions:
            out += [f"- {_safe(question.text)} ({_safe(question.part)})"]
            out += [f"  - from {_safe(label)}: {_safe(answer)}" for label, answer in question.expected]
        out += [""]
    out += ["## Limits and cautions", ""]
    out += [f"- {_safe(text)}" for text in (*verdict.cautions, *LIMITS)]
    return "\n".join(out) + "\n"


def _argument_block(one: Argument, verdict: Verdict) -> list[str]:
    out = [f"**{one.number}.** {_safe(one.sentence)}", "", f"({_safe(argument_words(one, verdict))})", ""]
    out += ["| candidate | what would be seen | |", "| --- | --- | --- |"]
    out += [
        f"| {_safe(place.station)} | {_safe(fact.words)} | {fits_words(fact)} |"
        for place, fact in zip(verdict.candidates, one.facts, strict=True)
    ]
    return [*out, ""]


def _safe(text: str) -> str:
    """A text that Markdown takes for words alone."""
    line = plain(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return re.sub(r"([\\`*_{}\[\]|#!~])", r"\\\1", line)
