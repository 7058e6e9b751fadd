"""Relocation: from a sighting and candidates to a verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from hillsight.errors import CallError, Faults, StationError
from hillsight.plan.look.things import Things, wanted_rows
from hillsight.plan.relocation.arguments import arguments
from hillsight.plan.relocation.decision import NONE_FITS, UNDECIDED
from hillsight.plan.relocation.gathering import gather
from hillsight.plan.relocation.measured_words import measured_evidence
from hillsight.plan.relocation.next_questions import next_questions
from hillsight.plan.relocation.summary import cautions, headline
from hillsight.plan.relocation.variations import Variations
from hillsight.plan.verdict import NONE_OF_THESE, Verdict, Weighed
from hillsight.plan.weighing.statements import Weighing
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Floats, Integers
    from hillsight.ground.stations import Station
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.relocation.decision import Evidence
    from hillsight.plan.relocation.gathering import Gathered
    from hillsight.plan.relocation.measured_words import Photographed
    from hillsight.plan.relocation.posterior import Posterior
    from hillsight.plan.relocation.setting import Setting
    from hillsight.plan.statement import Sighting, Statement
    from hillsight.plan.verdict import NextQuestion


#: Two candidates nearer than this are one place.
LEAST_APART_M = 1.0

#: With more candidates than these nobody reads what would change the answer, or the next question.
MOST_ARGUED = 12


@dataclass(frozen=True)
class Relocation:
    """A verdict, and what it rests on: views from the candidates in their order, and the evidence."""

    verdict: Verdict
    glances: list[Glance]
    weighing: Weighing
    evidence: Evidence


def check_candidates(stations: Sequence[Station]) -> None:
    """Refuse what leaves nothing to decide.

    Raises
    ------
    StationError : fewer than two candidates, or two at one place
    """
    if len(stations) < 2:
        raise StationError(
            "one candidate leaves nothing to decide",
            where=stations[0].source if stations else "",
            remedy="Give two or more places that the picture may have been taken from",
        )
    places = np.array([(station.easting_m, station.northing_m) for station in stations])
    faults = Faults("pairs of stations")
    for k, m in sorted(cKDTree(places).query_pairs(LEAST_APART_M)):
        one, other = stations[k], stations[m]
        faults.found.append(
            StationError(
                f"{one.label!r} and {other.label!r} are one place "
                f"({np.hypot(*(places[k] - places[m])):.1f} m apart)",
                where=other.source,
                remedy="Drop one of them, or move it",
            )
        )
    faults.tell()


def weigh(
    setting: Setting,
    stations: Sequence[Station],
    sighting: Sighting,
    priors: Sequence[float] | None = None,
    progress: Callable[[float], None] | None = None,
) -> Gathered:
    """Gather the evidence for every candidate, without an argument made of it.

    Raises
    ------
    StationError, CallError : see ``relocate``
    """
    check_candidates(stations)
    return gather(
        setting,
        _weighing(setting, sighting),
        sighting.statements,
        stations,
        _priors(priors, len(stations)),
        few=len(stations) <= MOST_ARGUED,
        report=progress,
    )


def relocate(
    setting: Setting,
    stations: Sequence[Station],
    sighting: Sighting,
    priors: Sequence[float] | None = None,
    progress: Callable[[float], None] | None = None,
    taken: Photographed | None = None,
) -> Relocation:
    """Weigh every candidate.

    Parameters
    ----------
    priors : of the candidates, any numbers above 0; equal where None
    taken : what is told of the photograph that the setting has measured

    Raises
    ------
    StationError : see ``check_candidates``; a candidate on a void
    CallError : a statement's thing is on no map, a prior is not a number above 0
    """
    report = None if progress is None else lambda done: progress(0.75 * done)
    gathered = weigh(setting, stations, sighting, priors, report)
    statements, weighing = sighting.statements, gathered.drawn.weighing
    few = len(stations) <= MOST_ARGUED
    glances = setting.looker.look_all(stations, weighing.things)
    evidence = gathered.evidence
    state, whole, trusted = evidence.verdict()
    order = np.argsort(-whole.candidates, kind="stable")
    second = int(order[1])
    # While nothing is decided none of these may be the runner-up, or the likeliest of all.
    by_none = state == NONE_FITS or (state == UNDECIDED and whole.none > whole.candidates[second])
    rival = None if by_none else second
    argued = arguments(statements, glances, weighing, evidence, whole.best, rival) if few else []
    verdict = Verdict(
        state,
        sighting,
        _weighed(stations, glances, evidence, setting, whole, trusted, order),
        whole.none,
        whole.ratio_to_next,
        tuple(argued),
        "",
        cautions=(
            *_elsewhere_words(state, gathered),
            *cautions(sighting, glances, weighing, measured=setting.measured is not None),
        ),
        decide_from=setting.rules.decide_from,
        argued_against=NONE_OF_THESE if rival is None else stations[rival].label,
    )
    verdict = replace(verdict, headline=headline(verdict))
    if taken is not None and gathered.measured is not None:
        told = measured_evidence(
            taken,
            [station.label for station in stations],
            gathered.measured.candidates,
            gathered.measured.fits,
            setting.framing,
            [place.convergence_deg for place in gathered.places],
            whole.best,
            gathered.measured.skies_deg,
            gathered.measured.measured.picture.trace[:, :2],
        )
        verdict = replace(verdict, measured=told)
    if few:
        variations = Variations(gathered, stations, state, whole.best)
        said = [argument.says for argument in sorted(argued, key=lambda one: one.number)]
        changes = (
            *variations.without_statements(said),
            *variations.elsewhere(second),
            variations.higher(),
        )
        _report(progress, 0.9)
        questions = _questions(setting, stations, statements, evidence, whole) if state == UNDECIDED else ()
        verdict = replace(verdict, changes=changes, questions=questions)
    _report(progress, 1.0)
    return Relocation(verdict, glances, weighing, evidence)


def _report(progress: Callable[[float], None] | None, done: float) -> None:
    if progress is not None:
        progress(done)


def _weighing(setting: Setting, sighting: Sighting) -> Weighing:
    """What a sighting's statements are weighed with: the things that they name.

    Raises
    ------
    CallError : a statement's thing is on no map; a magnetic bearing of no day
    """
    frame, statements = setting.things_frame, sighting.statements
    things = Things.of(frame.iloc[wanted_rows(frame, statements, sighting.source)], setting.spacing_m)
    if setting.declination_deg is None and any(s.values.get("north") == "magnetic" for s in statements):
        raise CallError(
            "a magnetic bearing needs the day it was taken on",
            where=sighting.source,
            remedy="Give taken = YYYY-MM-DD under [picture], or count the bearing from grid or true north",
        )
    return Weighing(things, setting.framing, setting.observer, setting.declination_deg)


def _elsewhere_words(state: str, gathered: Gathered) -> tuple[str, ...]:
    """Where it would rather be, if none of the candidates fits; that nothing was tried, if so."""
    if not len(gathered.elsewhere_m):
        return ("no place about the candidates was tried, so nothing is known of: none of these",)
    if state != NONE_FITS:
        return ()
    logs = gathered.evidence.elsewhere.table.without()
    east, north = gathered.elsewhere_m[int(np.argmax(logs))]
    return (
        f"of {len(logs)} places tried about the candidates, that at E {east:.0f} N {north:.0f} fits best: "
        "look about there",
    )


def _priors(given: Sequence[float] | None, count: int) -> Floats:
    if given is None:
        return np.full(count, 1.0 / count)
    prior = np.asarray(given, np.float64)
    if not (np.isfinite(prior).all() and (prior > 0).all()):
        raise CallError(
            "a prior is not a number above 0",
            remedy="Give numbers above 0; they need not add up to 1",
            parameters=("priors",),
        )
    prior = prior / prior.max()  # before they are added up: they may be huge
    shares: Floats = prior / prior.sum()
    return shares


def _weighed(
    stations: Sequence[Station],
    glances: Sequence[Glance],
    evidence: Evidence,
    setting: Setting,
    whole: Posterior,
    trusted: Posterior,
    order: Integers,
) -> tuple[Weighed, ...]:
    directions, framing = evidence.table.directions(), setting.framing
    best = directions.argmax(axis=1)
    looks = framing.heading_deg[best]
    off = signed_deg(framing.heading_deg[None, :] - looks[:, None])
    spread = np.sqrt((directions * off**2).sum(axis=1))
    prior = evidence.prior * (1.0 - setting.rules.none_prior)
    ranks = np.empty(len(stations), np.int64)
    ranks[order] = np.arange(1, len(stations) + 1)
    return tuple(
        Weighed(
            station.label,
            station.easting_m,
            station.northing_m,
            glance.ground_m,
            glance.eye_level_m,
            float(prior[k]),
            float(whole.candidates[k]),
            float(trusted.candidates[k]),
            float(looks[k]),
            float(spread[k]),
            int(ranks[k]),
        )
        for k, (station, glance) in enumerate(zip(stations, glances, strict=True))
    )


def _questions(
    setting: Setting,
    stations: Sequence[Station],
    statements: Sequence[Statement],
    evidence: Evidence,
    whole: Posterior,
) -> tuple[NextQuestion, ...]:
    """The next questions, about all that may be seen from any of the likelier candidates."""
    likely = np.flatnonzero(whole.candidates >= 0.02 * whole.candidates.max())
    things = Things.of(setting.things_frame, setting.spacing_m)
    weighing = Weighing(things, setting.framing, setting.observer, setting.declination_deg)
    glances = [setting.looker.look(stations[int(k)], things) for k in likely]
    return next_questions(
        glances, weighing, evidence.table.directions()[likely], whole.candidates[likely], statements
    )
