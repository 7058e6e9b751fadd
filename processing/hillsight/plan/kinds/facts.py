"""What a place shows of the matter of a statement, in words and with the figure they rest on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.plan.kinds.pair_facts import angle_fact, order_fact, relation_fact
from hillsight.plan.kinds.thing_facts import (
    SHOWS_FROM,
    bearing_fact,
    comes_down_fact,
    height_fact,
    number_fact,
    seen_fact,
    sky_fact,
)
from hillsight.plan.kinds.weigh_ground import BROW_WITHIN_M, skyline_fit
from hillsight.plan.kinds.weigh_things import noticed, shown
from hillsight.plan.look.glance import BEARINGS, STEP_DEG
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SHAPES, SLOPES
from hillsight.words.quantities import rough_distance_words

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers
    from hillsight.plan.kinds.weigh import Weighing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Statement


_OF_THINGS = {
    "seen": seen_fact,
    "height": height_fact,
    "vertical_angle": height_fact,
    "against_sky": sky_fact,
    "number": number_fact,
    "comes_down": comes_down_fact,
    "bearing": bearing_fact,
    "order": order_fact,
    "relation": relation_fact,
    "angle": angle_fact,
}

#: A brow or skyline goes on from one bearing to the next while its distance changes by less than this share,
#: or this length.
_JUMP_SHARE, _JUMP_M = 0.15, 60.0

#: What holds of more than this share of a part of the picture holds of all of it.
_ALL_BUT = 0.9

_SHAPE_WORDS = {
    "flat": "is flat",
    "pointed": "rises to a point",
    "saddle": "dips to a saddle",
    "falls left": "falls to the left",
    "falls right": "falls to the right",
}


def fact(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    """What would be seen of it if the picture looked in one of the directions weighed.

    Parameters
    ----------
    direction : index among the framing's headings
    """
    if statement.kind == "brow":
        return _brow(statement, glance, weighing, direction)
    if statement.kind == "dead_ground":
        return _dead_ground(statement, glance, weighing, direction)
    if statement.kind in ("skyline", "skyline_points"):
        return _skyline(statement, glance, weighing, direction)
    if statement.kind != "number" and statement.values.get("seen", True):
        weighing = meant(statement, glance, weighing, direction)
    return _OF_THINGS[statement.kind](statement, glance, weighing, direction)


def meant(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Weighing:
    """The weighing in which each name or kind stands for the one thing that fits the statement best.

    Where many of a kind show, it is the best fitting one that the statement is weighed by.
    """
    for what in dict.fromkeys(statement.things):
        if statement.kind == "bearing":  # taken whichever way the picture looks
            chances = noticed(what, glance, weighing.things, weighing.observer)
        else:
            framing, things = weighing.framing, weighing.things
            chances = shown(what, "anywhere", glance, framing, things, weighing.observer)[direction]
        telling = weighing.things.rows(what)[chances >= SHOWS_FROM]
        if telling.size > 1:
            each = [weighing.of_one(what, int(row)) for row in telling]
            weighing = max(each, key=lambda one: float(one.fit(statement, glance)[direction]))
    return weighing


def degrees_words(degrees: float) -> str:
    """Whole degrees with their sign; none for nought."""
    return "0 degrees" if abs(degrees) < 0.5 else f"{degrees:+.0f} degrees"


def slope_word(slope_deg: float) -> str:
    """Word for a slope, falling away negative."""
    for word, (low, high) in SLOPES.items():
        if low <= slope_deg < high:
            return word
    return "rises steeply"


def _rim(glance: Glance, at: Integers, distance_m: Floats) -> shapely.Geometry | None:
    """Lines through places at distances along neighbouring bearings, broken where the distance jumps."""
    turn = np.radians(at * STEP_DEG - glance.convergence_deg)
    places = np.column_stack(
        (glance.easting_m + distance_m * np.sin(turn), glance.northing_m + distance_m * np.cos(turn))
    )
    with np.errstate(invalid="ignore"):
        jump_m = np.abs(np.diff(distance_m))
        allowed_m = np.maximum(_JUMP_SHARE * np.minimum(distance_m[1:], distance_m[:-1]), _JUMP_M)
        cuts = np.flatnonzero(~(jump_m <= allowed_m)) + 1
    runs = [run for run in np.split(np.arange(at.size), cuts) if np.isfinite(distance_m[run]).all()]
    lines = [shapely.LineString(places[run]) for run in runs if run.size >= 2]
    return shapely.MultiLineString(lines) if lines else None


def _middle_deg(at: Integers) -> float:
    return float(at[at.size // 2] * STEP_DEG % 360.0)


def _over_most(words: str, share: float, statement: Statement) -> str:
    """Words about a part of the picture, with a word more where they hold of most of it but not of all."""
    if share > _ALL_BUT:
        return words
    return f"over most of {'the picture' if statement.part == 'anywhere' else 'that part'} {words}"


def _brow(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    at = weighing.framing.bearings(statement.part)[direction]
    brow_m = glance.brow_m[at]
    near = np.isfinite(brow_m) & (brow_m <= BROW_WITHIN_M)
    if near.mean() < 0.5:
        words = f"the ground stays in view for {rough_distance_words(BROW_WITHIN_M)}, or as far as is looked"
        return Fact(_over_most(words, 1.0 - near.mean(), statement), bearing_true_deg=_middle_deg(at))
    middle_m = float(np.median(brow_m[near]))
    words = f"the ground turns out of view at about {rough_distance_words(middle_m)}"
    words = _over_most(words, near.mean(), statement)
    figure, unit = middle_m, "m on the grid"
    for key, slopes, place in (
        ("slope_before", glance.before_deg, "up to the brow"),
        ("slope_beyond", glance.beyond_deg, "behind the brow"),
    ):
        if key in statement.values and np.isfinite(slopes[at][near]).any():
            slope = float(np.nanmedian(slopes[at][near]))
            word = slope_word(slope)
            told = f"the ground {'is level' if word == 'level' else word} {place} ({degrees_words(slope)})"
            with_distance = {"distance", "distance_m"} & set(statement.values)
            words = f"{words}, and {told}" if with_distance or key == "slope_beyond" else told
            figure, unit = slope, "degrees, falling negative"
    return Fact(words, figure, unit, _rim(glance, at, np.where(near, brow_m, np.nan)), _middle_deg(at))


def _dead_ground(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    at = weighing.framing.bearings(statement.part)[direction]
    brow_m, out_m = glance.brow_m[at], glance.out_again_m[at]
    there = np.isfinite(brow_m)
    if there.mean() < 0.5:
        words = _over_most("no ground is out of view behind a brow", 1.0 - there.mean(), statement)
        return Fact(words, 0.0, "m on the grid", None, _middle_deg(at))
    rim = _rim(glance, at, brow_m)
    hidden_m = float(np.median((out_m - brow_m)[there]))
    extent = "all the ground behind the brow is out of view"
    if np.isfinite(hidden_m):
        extent = f"about {rough_distance_words(hidden_m)} of ground are out of view behind the brow"
    with_extent = {"extent", "extent_m"} & set(statement.values)
    if "beyond" in statement.values:
        again = glance.again_deg[at][there & np.isfinite(out_m)]
        again = again[np.isfinite(again)]
        if again.size < 0.5 * np.count_nonzero(there):
            words = "no ground shows again behind the brow"
            if with_extent and np.isfinite(hidden_m):
                words = f"{extent}, and little shows again"
            return Fact(words, None, "", rim, _middle_deg(at))
        slope = float(np.median(again))
        word = slope_word(slope)
        words = (
            f"the ground that shows again {'is level' if word == 'level' else word} ({degrees_words(slope)})"
        )
        return Fact(
            f"{extent}, and {words}" if with_extent else words,
            slope,
            "degrees, falling negative",
            _rim(glance, at, np.where(np.isfinite(out_m), out_m, np.nan)),
            _middle_deg(at),
        )
    if not np.isfinite(hidden_m):
        return Fact(extent, None, "", rim, _middle_deg(at))
    return Fact(
        extent,
        hidden_m,
        "m on the grid",
        rim,
        _middle_deg(at),
    )


def _skyline(statement: Statement, glance: Glance, weighing: Weighing, direction: int) -> Fact:
    from hillsight.plan.statement import Statement as Told

    at = weighing.framing.bearings(statement.part)[direction]
    rim = _rim(glance, at, glance.skyline_m[at])
    if statement.kind == "skyline_points":
        points = np.asarray(statement.values["points"], np.float64)
        bearing = weighing.framing.heading_deg[direction] + points[:, 0]
        slot = np.rint(bearing / STEP_DEG).astype(int) % BEARINGS
        off = np.nan_to_num(glance.skyline_deg[slot], nan=-5.0) - points[:, 1]
        spread = float(np.sqrt(((off - off.mean()) ** 2).mean()))
        return Fact(
            f"the skyline runs {spread:.1f} degrees off the traced points, on average",
            spread,
            "degrees",
            rim,
            _middle_deg(at),
        )
    fits = [
        float(
            skyline_fit(
                Told("skyline", {"shape": shape}, statement.part), glance, weighing.framing, weighing.observer
            )[direction]
        )
        for shape in SHAPES
    ]
    shape = SHAPES[int(np.argmax(fits))]
    angles = glance.skyline_deg[at]
    range_deg = float(np.nanmax(angles) - np.nanmin(angles)) if np.isfinite(angles).any() else 0.0
    where = "" if statement.part == "anywhere" else f" of the {statement.part}"
    over = "within" if shape == "flat" else "by"
    return Fact(
        f"the skyline{where} {_SHAPE_WORDS[shape]}, {over} {range_deg:.1f} degrees",
        range_deg,
        "degrees",
        rim,
        _middle_deg(at),
    )
