"""What sheets of marshal posts say: the place, runners, walk, light, what to watch, radio."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.ground.geodesy import grid_bearing_deg
from hillsight.ground.national_grid import national_grid_reference, place_reference
from hillsight.ground.sun import daylight
from hillsight.plan.posts.gaps import runs
from hillsight.plan.posts.radio import FURTHER_PERSON, radio_words
from hillsight.sheets.paper.maps import place_words
from hillsight.sheets.posts.sheet_data import Fact, Table
from hillsight.words.angles import bearing_words
from hillsight.words.cover import hider_words
from hillsight.words.english import listed
from hillsight.words.quantities import metres, per_cent, rough_distance_words, whole_number

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import geopandas
    from pyproj import CRS

    from hillsight.arrays import Floats
    from hillsight.plan.posts.outcome import Outcome
    from hillsight.plan.posts.plan import PostsPlan
    from hillsight.plan.posts.walking import Walk

#: A marshal is to stand at the post so long before the first runner, minutes; common practice, no source.
_BEFORE_MIN = 30.0
TOO_FAR, PARTLY, NOT_KNOWN = "distance", "leafy wood", "unknown ground"
"""What keeps the course from being seen besides ground and cover."""

OUT_OF_SIGHT = {
    TOO_FAR: "too far off",
    PARTLY: "uncertain through leafy wood",
    NOT_KNOWN: "on unknown ground",
}
"""The same in a sentence."""

NORTHS = {
    "magnetic": "bearings as a compass shows them on the day",
    "grid": "bearings from grid north",
}
"""How bearings of a sheet are told to be counted."""


def place_words_of(
    crs: CRS, easting_m: float, northing_m: float, ground_m: float, longitude: float, latitude: float
) -> tuple[str, ...]:
    """The grid reference in full figures, with letters in Great Britain; then grid, degrees, height."""
    figures = f"E {whole_number(easting_m)}  N {whole_number(northing_m)}"
    letters = national_grid_reference(crs, easting_m, northing_m)
    return (
        *((figures, crs.name) if letters is None else (letters, figures)),
        f"{place_words(longitude, latitude)} (WGS 84)",
        f"ground {metres(ground_m)}",
    )


def _clock(start: datetime.datetime | None, minutes: float) -> str:
    """A time of day, or minutes after the start where no start is told."""
    if start is None:
        hours, rest = divmod(round(minutes), 60)
        return f"start + {hours}:{rest:02d}"
    return f"{start + datetime.timedelta(minutes=round(minutes)):%H:%M}"


def runners_fact(outcome: Outcome, row: Any) -> Fact:
    """When the first and the last runner are in sight, and how much of the course the post sees."""
    paces = outcome.plan.paces
    if not np.isfinite(row["first_runner_min"] if row["first_runner_min"] is not None else np.nan):
        return Fact("Runners", ("No part of the course is in sight of this post.",))
    times = " to ".join(_clock(paces.start, row[name]) for name in ("first_runner_min", "last_runner_min"))
    return Fact(
        "Runners",
        (
            f"In sight {times}: from the first at {paces.first_min_per_km:g} to the last at "
            f"{paces.last_min_per_km:g} min/km on the flat.",
            f"You see {metres(row['seen_m'])} of the course ({per_cent(row['seen_share'])} by weight); "
            f"{per_cent(row['own_share'])} nobody else sees.",
        ),
    )


def walk_fact(plan: PostsPlan, row: Any, walk: Walk | None) -> Fact | None:
    """The way in, how long it takes by both rules, and when to set out."""
    if not plan.walking.access:
        return None
    if walk is None:
        return Fact("Walking in", ("No way was found from any access.",))
    says = [
        f"From {row['access']}: {walk.minutes:.0f} min (Tobler's function), {walk.hill_rule_minutes:.0f} min "
        "(Naismith with Langmuir). Load, snow and dark take longer.",
        f"{rough_distance_words(walk.distance_m)}, of it {rough_distance_words(walk.path_m)} on paths; "
        f"{metres(walk.climb_m)} up, {metres(walk.descent_m)} down.",
    ]
    first = row["first_runner_min"]
    if first is not None and np.isfinite(first):
        slower = max(walk.minutes, walk.hill_rule_minutes)
        leaves = _clock(plan.paces.start, first - slower - _BEFORE_MIN) if plan.paces.start else ""
        if leaves:
            says.append(f"Set out by {leaves} to be there {_BEFORE_MIN:.0f} min before the first runner.")
    return Fact("Walking in", tuple(says))


def light_fact(row: Any, start: datetime.datetime, longitude: float, latitude: float) -> Fact:
    """Sunrise, sunset, twilight, and how much of the watch lies in the dark."""
    zone = start.tzinfo
    if zone is None:
        return Fact("Light", ("The plan's start has no time zone: sunset is not told.",))
    light = daylight(start.date(), zone, longitude, latitude)
    times = [
        f"{name} {moment:%H:%M}"
        for name, moment in (
            ("civil dawn", light.civil_dawn),
            ("sunrise", light.sunrise),
            ("sunset", light.sunset),
            ("civil dusk", light.civil_dusk),
        )
        if moment is not None
    ]
    says = [(", ".join(times) or f"all day {light.light(light.begins)}").capitalize() + "."]
    last = row["last_runner_min"]
    if last is not None and np.isfinite(last):
        begins, ends = (
            start + datetime.timedelta(minutes=float(row[name]))
            for name in ("first_runner_min", "last_runner_min")
        )
        twilight, dark = light.dark_minutes(begins, ends)
        if twilight + dark < 1:
            says.append("All runners pass in daylight. Hills hide the sun for longer.")
        else:
            says.append(
                f"{twilight:.0f} min of the watch lie in twilight, {dark:.0f} min in the dark: runners are "
                "not seen then unless they carry lights."
            )
    return Fact("Light", tuple(says))


def watch_table(outcome: Outcome, k: int, turn_deg: float, north: str, hidden_by: Sequence[str]) -> Table:
    """What to watch, in running order: where runners come into sight and where they leave it.

    Parameters
    ----------
    turn_deg : bearing from grid north of the north counted from; north : which that is
    hidden_by : what keeps the post from seeing each stretch
    """
    posts, stretches, start = outcome.posts, outcome.stretches, outcome.plan.paces.start
    here = float(posts.easting_m[k]), float(posts.northing_m[k])

    def at(along_m: float) -> tuple[str, str]:
        east_m, north_m = (float(v[0]) for v in outcome.course.at(np.array([along_m])))
        grid_deg = float(grid_bearing_deg(*here, np.array([east_m]), np.array([north_m]))[0])
        away_m = float(np.hypot(east_m - here[0], north_m - here[1]))
        return bearing_words(grid_deg - turn_deg), metres(round(away_m, -1))

    rows = []
    along = outcome.along
    own = runs(along[k])
    for number, (first, last) in enumerate(own):
        from_m, to_m = float(stretches.from_m[first]), float(stretches.to_m[last])
        alone = along[:, first : last + 1].sum(axis=0) == 1
        begins, ends = at(from_m), at(to_m)
        until = "not seen again"
        if number + 1 < len(own):
            gap = slice(last + 1, own[number + 1][0])
            until = rough_distance_words(float(stretches.from_m[own[number + 1][0]]) - to_m)
            until += f": {_most(hidden_by[gap], stretches.length_m[gap])}"
        dangers = dict.fromkeys(
            one for text in stretches.reason[first : last + 1] if text for one in text.split(", ")
        )
        rows.append(
            (
                f"{from_m / 1000:.2f} to {to_m / 1000:.2f} km",
                f"{begins[0]}, {begins[1]}",
                f"{ends[0]}, {ends[1]}",
                _clock(start, float(outcome.at_ends_min[0, first])),
                _clock(start, float(outcome.at_ends_min[1, last + 1])),
                until,
                "alone" if alone.all() else "in part alone" if alone.any() else "others too",
                ", ".join(dangers),
            )
        )
    return Table(
        heading="What to watch, in running order",
        columns=(
            "course", f"into sight ({north})", f"out of sight ({north})", "first", "last",
            "then hidden for, by", "you see it", "danger",
        ),
        shares=(0.14, 0.155, 0.165, 0.065, 0.065, 0.185, 0.1, 0.125),
        rows=tuple(rows),
        note=_unseen_words(hidden_by, stretches.length_m)
        + "Told by terrain and map: what the post really sees is known on the spot alone.",
    )  # fmt: skip


def _lengths(words: Sequence[str], length_m: Floats) -> dict[str, float]:
    """Length by word, the longest first; what has no word is left out."""
    lengths: dict[str, float] = {}
    for word, one_m in zip(words, length_m.tolist(), strict=True):
        if word:
            lengths[word] = lengths.get(word, 0.0) + one_m
    return dict(sorted(lengths.items(), key=lambda item: -item[1]))


def _unseen_words(hidden_by: Sequence[str], length_m: Floats) -> str:
    """How much of the course a post does not see, and why; empty where it sees all."""
    told = [
        f"{rough_distance_words(long_m)} {OUT_OF_SIGHT.get(word) or f'behind {hider_words(word)}'}"
        for word, long_m in _lengths(hidden_by, length_m).items()
    ]
    return f"Not seen of the course: {listed(told)}. " if told else ""


def _most(words: Sequence[str], length_m: Floats) -> str:
    """What hides most of a gap; two things where neither hides three quarters of it."""
    lengths = _lengths(words, length_m)
    ordered = list(lengths)
    few = 1 if lengths[ordered[0]] >= 0.75 * sum(lengths.values()) else 2
    return " and ".join(ordered[:few])


def _zone_words(clear: float) -> str:
    """Room in the first Fresnel zone at the worst place."""
    return "topped" if clear < 0 else f"{per_cent(min(clear, 1.0))} of it"


def radio_table(frames: Mapping[str, geopandas.GeoDataFrame], name: str, plan: PostsPlan) -> Table:
    """Whom the post may reach by radio, and whom it sees; control first."""
    links = frames["radio_links"]
    sights = {
        frozenset((row["from_post"], row["to_post"])): row["state"]
        for row in frames["sight_matrix"].to_dict("records")
    }
    rows = []
    for row in links.to_dict("records"):
        if name not in (row["from_post"], row["to_post"]):
            continue
        other = row["to_post"] if row["from_post"] == name else row["from_post"]
        worst_m = row["worst_m"]
        if worst_m is not None and np.isfinite(worst_m) and row["from_post"] != name:
            worst_m = row["distance_m"] - worst_m
        known = row["margin_db"] is not None and np.isfinite(row["margin_db"])
        rows.append(
            (
                other,
                metres(round(row["distance_m"], -1)),
                row["answer"] + (" (wanted)" if row["is_wanted"] else ""),
                f"{row['margin_db']:+.0f} dB" if known else "",
                _zone_words(row["first_zone_clear"]) if known else "",
                f"{row['worst_is']}, {metres(round(worst_m, -1))} off"
                if worst_m is not None and np.isfinite(worst_m)
                else "",
                str(sights.get(frozenset((name, other)), "")),
            )
        )
    rows.sort(key=lambda one: one[0] != "control")
    by = [
        f"To {row['to_post'] if row['from_post'] == name else row['from_post']} by way of {row['by']}"
        + (
            f" at {place_reference(frames['relays'].crs, row['easting_m'], row['northing_m'])}."
            if row["by"] == FURTHER_PERSON
            else "."
        )
        for row in frames["relays"].to_dict("records")
        if name in (row["from_post"], row["to_post"])
    ]
    return Table(
        heading="Radio and sight to others",
        columns=("to", "distance", "radio", "to spare", "first zone clear", "worst obstacle", "by eye"),
        shares=(0.18, 0.1, 0.17, 0.1, 0.13, 0.22, 0.1),
        rows=tuple(rows),
        note=" ".join([*by, f"Worked out with {radio_words(plan.radios)}."]),
    )
