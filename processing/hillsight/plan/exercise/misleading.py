"""What could mislead in an exercise, told from what its facts rest on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.ground.evidence import kind_forms
from hillsight.plan.exercise.soundness import Misleading
from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.kinds.shared.ground import near_ground
from hillsight.plan.kinds.shared.skylines import stretch
from hillsight.plan.relocation.summary import CUT_FROM
from hillsight.plan.sighting.wording import statement_words
from hillsight.words.quantities import per_cent

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from hillsight.ground.accuracy import ErrorModel
    from hillsight.plan.exercise.soundness import Against, DecidingFact
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Statement
    from hillsight.plan.weighing.statements import Weighing

#: What stands this far off is lost in haze on many a day. Common practice, no source.
HAZE_FROM_M = 5_000.0

#: Ground hidden less deep than this may be hidden by heather, bracken or young trees too. Common practice.
_GROWTH_M = 3.0

#: A fact that fails in more draws than this hangs on the terrain model and the spot.
_SHAKY_BELOW = 0.97

_MOST_ALIKE = 6

_WOODS = frozenset({"wood", "forest", "plantation", "scrub", "tree", "copse", "woodland"})


def misleading(
    alike: Sequence[Statement],
    against: Sequence[Against],
    glances: Sequence[Glance],
    truth: int,
    weighing: Weighing,
    errors: ErrorModel,
) -> tuple[Misleading, ...]:
    """Everything that could mislead, what is true of every place first.

    Parameters
    ----------
    alike : true of every place
    """
    facts = list({one.words: one for each in against for one in each.facts}.values())
    view = glances[truth]
    found = [*_alike(alike, weighing), *_woods(facts, view, weighing), *_growth(facts, view, weighing)]
    for one in facts:
        found += [*_season(one), *_man_made(one), *_haze(one, view), *_cut(one, view, weighing)]
    found += _shaky(against, glances, errors)
    return tuple(dict.fromkeys(found))


def _alike(alike: Sequence[Statement], weighing: Weighing) -> Iterator[Misleading]:
    """True statements that separate nothing; no two about one matter and kind."""
    named = {what for s in alike for what in s.things if weighing.things.is_named(what)}
    told: set[tuple[str, tuple[str, ...]]] = set()
    for statement in alike:
        key = statement.kind, statement.things
        if key in told or len(told) == _MOST_ALIKE:
            continue
        told.add(key)
        words = f"true of every place, so no help: {statement_words(statement, named)}"
        yield Misleading("alike", words, weighing.evidence_class(statement))


def _woods(facts: Sequence[DecidingFact], view: Glance, weighing: Weighing) -> Iterator[Misleading]:
    """Woods of the map that stand in the picture before what decides."""
    frame = weighing.things.frame
    is_wood = [
        isinstance(kind, str) and bool(_WOODS & set(kind_forms(kind.split()[-1]))) for kind in frame["kind"]
    ]
    eye = shapely.Point(view.easting_m, view.northing_m)
    for fact in facts:
        if fact.true_fact.geometry is None or fact.true_fact.absent:
            continue
        sight = shapely.shortest_line(eye, fact.true_fact.geometry)
        for geometry in frame.geometry[is_wood]:
            if geometry.intersects(sight) and shapely.distance(eye, geometry) < sight.length:
                away_m = shapely.distance(eye, geometry)
                yield Misleading(
                    "trees",
                    f"a wood of the map stands {away_m:,.0f} m off before what shows that {fact.words}; "
                    "felled or grown since, it shows otherwise",
                )
                break


def _growth(facts: Sequence[DecidingFact], view: Glance, weighing: Weighing) -> Iterator[Misleading]:
    """Brows that hide so little that what grows there hides as much."""
    direction = int(np.argmax(weighing.framing.prior))
    for fact in facts:
        if KINDS[fact.statement.kind].topic is not near_ground:
            continue
        across = weighing.framing.bearings(fact.statement.part)[direction]
        depth_m = view.depth_m[across]
        if not np.isfinite(depth_m).any():
            yield Misleading(
                "trees",
                f"that {fact.words} shows on open ground alone: trees, bracken or a wall near by hide it too",
            )
            continue
        typical_m = float(np.nanmedian(depth_m))
        if typical_m < _GROWTH_M:
            yield Misleading(
                "trees",
                f"that {fact.words} rests on ground hidden {typical_m:.1f} m deep: heather, bracken or young "
                "trees hide as much",
            )


def _season(fact: DecidingFact) -> Iterator[Misleading]:
    if fact.evidence_class == "water":
        yield Misleading(
            "season",
            f"that {fact.words} rests on water, which dries up, freezes and rises with the season",
            "water",
        )


def _man_made(fact: DecidingFact) -> Iterator[Misleading]:
    if fact.evidence_class in ("man_made", "unclassed"):
        yield Misleading(
            "man_made",
            f"that {fact.words} rests on what people build: it may be new, gone or moved since the map",
            fact.evidence_class,
        )


def _haze(fact: DecidingFact, view: Glance) -> Iterator[Misleading]:
    geometry = fact.true_fact.geometry
    if geometry is None or fact.true_fact.absent:
        return
    away_m = shapely.distance(shapely.Point(view.easting_m, view.northing_m), geometry)
    if away_m >= HAZE_FROM_M:
        yield Misleading(
            "haze",
            f"that {fact.words} is seen {away_m / 1000:,.1f} km off: haze may hide it",
            fact.evidence_class,
        )


def _cut(fact: DecidingFact, view: Glance, weighing: Weighing) -> Iterator[Misleading]:
    """Facts of a skyline that stands, in part, where known ground ends."""
    if KINDS[fact.statement.kind].topic is not stretch:
        return
    across = weighing.framing.bearings(fact.statement.part)[int(np.argmax(weighing.framing.prior))]
    share = float(view.is_cut[across].mean())
    if share >= CUT_FROM:
        yield Misleading(
            "terrain",
            f"that {fact.words} rests on a skyline of which {per_cent(share)} is where the terrain ends: if "
            "higher ground stands beyond, the picture shows otherwise",
        )


def _shaky(against: Sequence[Against], glances: Sequence[Glance], errors: ErrorModel) -> Iterator[Misleading]:
    """Facts that fail in some draws, and how far the model errs."""
    for one in against:
        for fact in one.facts:
            if fact.holds < _SHAKY_BELOW and fact.evidence_class == "ground_shape":
                yield Misleading(
                    "terrain",
                    f"that {fact.words} tells it from {glances[one.place].label} in {per_cent(fact.holds)} "
                    "of the draws: in the others the ground, or the spot, is not as the terrain model has it",
                )
    if errors.is_guess:
        yield Misleading(
            "terrain",
            f"how far the terrain model errs is {errors.source}, and its age is not known: banks, "
            "quarries and felling change near ground",
        )
