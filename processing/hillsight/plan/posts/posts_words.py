"""A plan of posts in sentences and tables of 80 columns, for a terminal."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from hillsight.ground.national_grid import place_reference
from hillsight.plan.posts.outcome import CAUTIONS
from hillsight.plan.posts.radio import FURTHER_PERSON
from hillsight.words.english import folded, plural
from hillsight.words.quantities import metres, per_cent

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from hillsight.ground.sun import Daylight
    from hillsight.plan.posts.outcome import Outcome

#: What a page of plain text is wide, whoever reads it: a name or a danger goes on below, and none is cut.
WIDTH = 80

#: Of the names of posts.
_NAME = 20

#: Most gaps and unseen stretches that are listed; the layer holds all.
_LISTED = 15


def posts_lines(outcome: Outcome, frames: Mapping[str, Any], light: Daylight | None) -> list[str]:
    """What a plan comes to: unseen stretches first, then gaps, posts, pairs, cautions.

    Parameters
    ----------
    frames : the layers, by name
    light : of the day of the start; None where it is not known
    """
    lines = _head(outcome)
    lines += ["", *_unseen(outcome, frames["unseen_stretches"])]
    lines += ["", *_gaps(frames["handover_gaps"])]
    lines += ["", *_posts(outcome, frames["posts"])]
    lines += _checkpoints(frames["checkpoints"])
    lines += _light(frames["posts"], light)
    lines += _pairs(outcome, frames)
    return [*lines, "", *_wrapped(" ".join(CAUTIONS))]


def _head(outcome: Outcome) -> list[str]:
    course, choice = outcome.course, outcome.choice
    laps = "" if course.laps == 1 else f" in {course.laps} laps"
    _, low, high = outcome.share_range
    count = len(outcome.posts)
    told = [
        f"{outcome.plan.title}: {_course_length(course.length_m)}{laps}, {count} {_many('post', count)}.",
        f"Unseen: {per_cent(outcome.unseen_share, 1)} of the course's length.",
        f"Seen, by weight: {per_cent(outcome.seen_share, 1)} by the terrain as it is; in nine of ten "
        f"draws of its errors {per_cent(low)} to {per_cent(high)}. The heads of runners "
        f"{outcome.plan.eyes.runner_most_m:g} m tall show over {per_cent(outcome.heads_share, 1)}.",
        choice.in_words,
    ]
    wanted = outcome.plan.wanted.share
    if wanted is not None and choice.covered_share < wanted - 1e-9:
        told.append(
            f"SHORT OF WHAT IS WANTED, {per_cent(wanted, 1)}: all places together see "
            f"{per_cent(choice.reachable_share, 1)}."
        )
    return [line for text in told for line in _wrapped(text)]


def _unseen(outcome: Outcome, frame: pd.DataFrame) -> list[str]:
    if len(frame) == 0:
        return ["UNSEEN STRETCHES: none"]
    lines = [
        f"UNSEEN STRETCHES ({len(frame)}), metres along the course; minutes after the start",
        "   no    from      to  length   share   first    last  chance  danger",
    ]
    for row in frame.head(_LISTED).itertuples():
        text = (
            f"{row.number:5d}{row.from_m:8.0f}{row.to_m:8.0f}{row.length_m:8.0f}"
            f"{per_cent(row.share, 1):>8}{row.first_runner_min:8.0f}{row.last_runner_min:8.0f}"
            f"{row.seen_probability:8.2f}  "
        )
        lines += _hung(text, row.danger)
    return lines + _more(len(frame), "unseen_stretches")


def _gaps(frame: pd.DataFrame) -> list[str]:
    if len(frame) == 0:
        return ["HAND-OVER GAPS: none"]
    lines = [
        "HAND-OVER GAPS, longest first; minutes that a runner is out of sight",
        "     from      to  length   first    last  from post > to post",
    ]
    for row in frame.head(5).itertuples():
        between = f"{row.from_post or 'start'} > {row.to_post or 'finish'}"
        text = (
            f"{row.from_m:9.0f}{row.to_m:8.0f}{row.length_m:8.0f}{row.first_minutes:8.1f}"
            f"{row.last_minutes:8.1f}  "
        )
        lines += _hung(text, between)
    return lines + _more(len(frame), "handover_gaps", 5)


def _posts(outcome: Outcome, frame: pd.DataFrame) -> list[str]:
    start = outcome.plan.paces.start
    when = "clock times" if start is not None else "minutes from the start"
    lines = [
        f"POSTS in running order; shares of the weighed course; runners at {when}",
        "post                  easting northing height  sees alone  first   last  walk",
    ]
    for row in frame.itertuples():
        first, last = (
            _when(getattr(row, f"{which}_passing_min"), getattr(row, f"{which}_passing_at"))
            for which in ("first", "last")
        )
        walk = "" if row.walking_minutes != row.walking_minutes else f"{row.walking_minutes:.0f} min"
        name, *more = textwrap.wrap(row.post, _NAME) or [""]
        lines.append(
            f"{name:<{_NAME}}{row.easting_m:9.0f}{row.northing_m:9.0f}{row.ground_height_m:5.0f} m"
            f"{per_cent(row.seen_share):>6}{per_cent(row.own_share):>6}{first:>7}{last:>7}{walk:>7}"
        )
        lines += [f"  {part}" for part in more]
    return lines


def _checkpoints(frame: pd.DataFrame) -> list[str]:
    """Who sees the checkpoints."""
    told = [f"{row.checkpoint} from {row.posts or 'no post'}" for row in frame.itertuples()]
    return ["", *_wrapped(f"Checkpoints seen: {'; '.join(told)}.")] if told else []


def _light(frame: pd.DataFrame, light: Daylight | None) -> list[str]:
    """Sunrise and sunset over a level horizon, and which watches lie in twilight or in the dark."""
    if light is None:
        return []
    sun = [
        f"{what} {at.strftime('%H:%M')}"
        for what, at in (("sunrise", light.sunrise), ("sunset", light.sunset))
        if at is not None
    ]
    told = f"Light over a level horizon: {' and '.join(sun) or 'the sun neither rises nor sets'}."
    dim = [
        f"{row.post} {row.twilight_minutes + row.dark_minutes:.0f} min"
        for row in frame.itertuples()
        if row.twilight_minutes + row.dark_minutes >= 1
    ]
    after = f" In twilight or dark: {', '.join(dim)}." if dim else ""
    return ["", *_wrapped(told + after)]


def _when(minutes: float, at: str | None) -> str:
    if minutes != minutes:
        return "-"
    return at[11:16] if at else f"{minutes:.0f}"


def _pairs(outcome: Outcome, frames: Mapping[str, Any]) -> list[str]:
    lines = []
    for answer in outcome.pairs:
        pair = answer.pair
        lines += _wrapped(f"{pair.one} and {pair.other} by {pair.by}: {answer.answer}.")
    told = {
        frozenset((folded(a.pair.one), folded(a.pair.other))) for a in outcome.pairs if a.pair.by == "radio"
    }
    relays = frames["relays"]
    for row in relays.itertuples():
        ends = f"{row.from_post} and {row.to_post} by radio"
        if row.by == FURTHER_PERSON:
            at = place_reference(relays.crs, row.easting_m, row.northing_m)
            lines += _wrapped(
                f"{ends}: {FURTHER_PERSON} at {at} would join them, {row.margin_db:.0f} dB to spare."
            )
        elif frozenset((folded(row.from_post), folded(row.to_post))) not in told:
            lines += _wrapped(f"{ends}: by way of {row.by}.")
    return ["", *lines] if lines else []


def _course_length(length_m: float) -> str:
    return f"{length_m / 1000:.1f} km" if length_m >= 1000 else metres(length_m)


def _more(count: int, layer: str, listed: int = _LISTED) -> list[str]:
    return [f"  and {count - listed} more in the layer {layer}"] if count > listed else []


def _many(noun: str, count: int) -> str:
    return noun if count == 1 else plural(noun)


def _hung(figures: str, words: str) -> list[str]:
    """A row whose words go on below where they began."""
    first, *more = textwrap.wrap(words, WIDTH - len(figures)) or [""]
    return [f"{figures}{first}".rstrip(), *(" " * len(figures) + part for part in more)]


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH) or [""]
