"""A section in plain words, for the terminal and the drawing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.reading.section.cover_along import (
    grazed_words,
    hider_of_stretch,
    hider_of_target,
    target_stands_in,
)
from hillsight.reading.section.profile import HIDDEN, UNKNOWN, VISIBLE
from hillsight.words.angles import bearing_words
from hillsight.words.quantities import distance_as_known, metres, per_cent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.reading.section.features import Passed
    from hillsight.reading.section.profile import Section, Stretch

#: A clearance or depth below this (m) is too close to call: terrain models are wrong by metres. Common
#: practice, no source.
TOO_CLOSE_M = 2.0

#: Crests and features named in words; all are in the layers.
_MOST_CRESTS, _MOST_FEATURES = 5, 8


def title_words(section: Section) -> str:
    """Where a section leads."""
    course = section.course
    if course.target is not None:
        return f"From {course.station} to {course.target.name}"
    return f"From {course.station} on bearing {bearing_words(course.bearing_true_deg)} true"


def course_words(section: Section) -> str:
    """Length, bearings and eye of a section."""
    course = section.course
    ends = {"target": "", "reach": ", the reach", "terrain_edge": ", where the terrain ends"}[course.ends_at]
    true = "" if course.target is None else f"{bearing_words(course.bearing_true_deg)} true, "
    return (
        f"{metres(section.length_m)} over the ground{ends}; bearing {true}"
        f"{bearing_words(course.bearing_grid_deg)} grid; eye at {section.eye.level_m:.1f} m, "
        f"{course.eye_height_m:g} m above the ground."
    )


def ground_words(section: Section) -> list[str]:
    """Sentences on the ground along a section: where it turns out of view and comes back."""
    hidden = [stretch for stretch in section.stretches if stretch.state == HIDDEN]
    unknown = [stretch for stretch in section.stretches if stretch.state == UNKNOWN]
    words = [_hidden_words(section, stretch) for stretch in hidden[:_MOST_CRESTS]]
    if len(hidden) > _MOST_CRESTS:
        more = len(hidden) - _MOST_CRESTS
        words.append(f"{more} more {'stretch' if more == 1 else 'stretches'} of dead ground farther off.")
    if section.crests and section.samples.grid_m[section.crests[0].sample] < section.spacing_m:
        words.append(
            f"This {section.crests[0].role} is nearer than the terrain's posts are to each other: "
            "a step to the side may change the view."
        )
    if not hidden and not unknown:
        words.append("All ground along it is in view.")
    return words + [
        f"From {_at(section, stretch.from_grid_m)} to {_at(section, stretch.to_grid_m)} nobody can say: "
        "a void of the terrain, or ground seen only across one."
        for stretch in unknown[:2]
    ]


def _hidden_words(section: Section, stretch: Stretch) -> str:
    samples, crest = section.samples, stretch.crest
    if crest is None:
        begin = (
            f"Ground is out of view from {_at(section, stretch.from_grid_m)}, beyond ground without heights"
        )
    else:
        at = f"at {_at(section, stretch.from_grid_m)}"
        if section.samples.grid_m[crest.sample] < section.spacing_m:
            at = distance_as_known(0.0, section.spacing_m)
        begin = f"Ground turns out of view {at} ({crest.role}, {samples.ground_m[crest.sample]:.0f} m high)"
    if stretch.emerges:
        end = f"comes back into view at {_at(section, stretch.to_grid_m)}"
    elif stretch.to_grid_m == section.length_grid_m:
        end = f"stays so to the end at {_at(section, stretch.to_grid_m)}"
    else:
        end = f"is so at least to {_at(section, stretch.to_grid_m)}"
    assert stretch.deepest is not None
    depth = f"greatest depth {depth_words(stretch.depth_m)} at {metres(samples.distance_m[stretch.deepest])}"
    hider = hider_of_stretch(section, stretch)
    by = "" if hider is None else f", hidden there by {hider.words} at {metres(hider.distance_m)}"
    doubt = ", too close to call" if stretch.depth_m < TOO_CLOSE_M else ""
    return f"{begin} and {end}; {depth}{by}{doubt}."


def depth_words(depth_m: float) -> str:
    """A depth or clearance, never rounded down to nothing."""
    return "under 0.1 m" if depth_m < 0.05 else f"{depth_m:.1f} m"


def target_words(section: Section) -> list[str]:
    """Sentences on the target and the line to it; none without a target."""
    line, target = section.line, section.course.target
    if line is None or target is None:
        return []
    tall = f" ({target.height_m:g} m tall)" if target.height_m else ""
    over = (
        ""
        if line.crest_sample is None
        else f" {_grazed(section)} at {metres(section.samples.distance_m[line.crest_sample])}"
    )
    if line.state == UNKNOWN:
        return [f"Whether {target.name}{tall} is seen nobody can say: a void is there, or on the way."]
    close = abs(line.clearance_m) < TOO_CLOSE_M
    name = target.name if target.shape is None else f"The point aimed at on {target.name}"
    if line.state == HIDDEN:
        hider = hider_of_target(section)
        if hider is not None:
            over = f" {hider.words} at {metres(hider.distance_m)}"
        words = [f"{name}{tall} is hidden by {depth_words(-line.clearance_m)}, behind{over}"]
    elif np.isinf(line.clearance_m):
        words = [f"{name}{tall} is in view, with no ground before it"]
    else:
        words = [f"{name}{tall} is in view, {depth_words(line.clearance_m)} clear of{over}"]
    words[0] += "; too close to call." if close else "."
    if line.state == VISIBLE and (among := target_stands_in(section)):
        words.append(f"It stands in {among}, below its top: whether it is seen is uncertain.")
    if line.closest_sample is not None and line.state == VISIBLE:
        i = line.closest_sample
        gap_m = float(line.level_m[i] - section.samples.lowered_m[i])
        words.append(
            f"Between its ends the sight line comes nearest to the ground at "
            f"{metres(section.samples.distance_m[i])}, {depth_words(max(gap_m, 0.0))} above it."
        )
    return words + _whole_words(section, target.name)


def _grazed(section: Section) -> str:
    """What stands where the line to the target is nearest to being blocked."""
    line = section.line
    if line is None or line.crest_sample is None:
        return "ground"
    return grazed_words(section, float(section.samples.grid_m[line.crest_sample]))


def _whole_words(section: Section, name: str) -> list[str]:
    """A sentence on all of the target; none where the section meets all there is of it."""
    whole = section.whole
    if whole is None:
        return []
    if whole.state == "partly":
        share = whole.visible_share
        seen = "A speck" if share is None or share < 0.005 else per_cent(share)
        return [f"{seen} of {name} is in view."]
    words = {"visible": "All of {} is in view.", "hidden": "Nothing of {} is in view."}
    return [words.get(whole.state, "How much of {} is in view nobody can say.").format(name)]


def feature_words(section: Section, along: Sequence[Passed]) -> list[str]:
    """Sentences on the features crossed and beside, those with names first thought of."""
    sentences = []
    for crossed, word in ((True, "Crosses"), (False, "Passes")):
        these = [passed for passed in along if passed.is_crossed == crossed]
        named = [passed for passed in these if passed.name] or these
        parts = [_passed_words(section, passed) for passed in named[:_MOST_FEATURES]]
        if len(these) > len(parts):
            parts.append(f"{len(these) - len(parts)} more")
        if parts:
            sentences.append(f"{word} {', '.join(parts)}.")
    return sentences


def passed_name(passed: Passed) -> str:
    """What a feature is called: its name, else its kind."""
    return passed.name or (f"a {passed.kind}" if passed.kind else "a feature without a name")


def _passed_words(section: Section, passed: Passed) -> str:
    place = _at(section, passed.from_grid_m)
    if metres(section.ground_distance_m(passed.to_grid_m)) != place:
        place += f" to {_at(section, passed.to_grid_m)}"
    side = ""
    if not passed.is_crossed:
        side = f", {metres(abs(passed.offset_m))} to the {'right' if passed.offset_m > 0 else 'left'}"
    return f"{passed_name(passed)} ({place}{side}, {passed.state})"


def _at(section: Section, grid_m: float) -> str:
    return metres(section.ground_distance_m(grid_m))
