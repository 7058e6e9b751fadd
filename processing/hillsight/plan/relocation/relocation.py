"""Relocation: from a sighting and candidates to a verdict."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from hillsight.errors import CallError, StationError
from hillsight.ground.stations import Station
from hillsight.plan.look.things import Things, wanted_rows
from hillsight.plan.relocation.arguments import arguments
from hillsight.plan.relocation.decision import NONE_FITS, UNDECIDED, Rules, reach_verdict
from hillsight.plan.relocation.nearby_places import mean_fits
from hillsight.plan.relocation.next_questions import next_questions
from hillsight.plan.relocation.posterior import Calibration, LikelihoodTable, base_rates, log_mean
from hillsight.plan.relocation.reference_places import reference_places
from hillsight.plan.relocation.summary import cautions, headline
from hillsight.plan.relocation.variations import Variations
from hillsight.plan.verdict import Verdict, Weighed
from hillsight.plan.weighing.statements import Weighing, weights, wrong_chances
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import geopandas

    from hillsight.arrays import Floats, Integers
    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.looking import Looker
    from hillsight.plan.observer import Observer
    from hillsight.plan.relocation.posterior import Posterior
    from hillsight.plan.statement import Sighting, Statement
    from hillsight.plan.verdict import NextQuestion


#: Two candidates nearer than this are one place.
LEAST_APART_M = 1.0

#: With more candidates than these nobody reads what would change the answer, or the next question.
MOST_ARGUED = 12


@dataclass(frozen=True)
class Setting:
    """What a sighting is weighed with.

    things_frame : map features and landforms, as ``landform_features`` gives them
    declination_deg : None where no day is known
    elsewhere : how many places stand for none of the candidates, and how far about they are drawn
    """

    looker: Looker
    things_frame: geopandas.GeoDataFrame
    framing: Framing
    observer: Observer
    rules: Rules
    declination_deg: float | None = None
    elsewhere: int = 150
    elsewhere_within_m: float = 2_000.0

    @property
    def spacing_m(self) -> float:
        """Spacing at which things are sampled."""
        return 2 * min(self.looker.terrain.spacing_x_m, self.looker.terrain.spacing_y_m)


@dataclass(frozen=True)
class Relocation:
    """A verdict, and what it rests on: views and weights of the candidates in their order."""

    verdict: Verdict
    glances: list[Glance]
    weighing: Weighing
    table: LikelihoodTable


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
    for k, m in sorted(cKDTree(places).query_pairs(LEAST_APART_M)):
        one, other = stations[k], stations[m]
        raise StationError(
            f"{one.label!r} and {other.label!r} are one place "
            f"({np.hypot(*(places[k] - places[m])):.1f} m apart)",
            where=other.source,
            remedy="Drop one of them, or move it",
        )


def relocate(
    setting: Setting,
    stations: Sequence[Station],
    sighting: Sighting,
    priors: Sequence[float] | None = None,
    progress: Callable[[float], None] | None = None,
) -> Relocation:
    """Weigh every candidate.

    Parameters
    ----------
    priors : of the candidates, any numbers above 0; equal where None

    Raises
    ------
    StationError : see ``check_candidates``; a candidate on a void
    CallError : a statement's thing is on no map, a prior is not a number above 0
    """
    check_candidates(stations)
    statements = sighting.statements
    weighing = _weighing(setting, sighting)
    prior = _priors(priors, len(stations))
    few = len(stations) <= MOST_ARGUED
    glances, others = _look(setting, stations, weighing.things, few, progress)
    if few:
        fits = np.array([mean_fits(setting.looker, weighing, statements, station) for station in stations])
    else:
        fits = np.array([weighing.fits(statements, glance) for glance in glances])
    about_fits = np.array([weighing.fits(statements, glance) for glance in others]) if others else fits
    calibration = Calibration(
        base_rates(about_fits, setting.framing.prior),
        wrong_chances(statements),
        weights(statements, setting.observer, weighing.things),
        setting.framing.prior,
        setting.observer.discount,
    )
    table, about = calibration.table(fits), calibration.table(about_fits)
    man_made = np.array([weighing.evidence_class(s) == "man_made" for s in statements], bool)
    state, whole, ground = reach_verdict(table, about, prior, man_made, setting.rules)
    order = np.argsort(-whole.candidates, kind="stable")
    # Where none fits, the best is argued against what would be said elsewhere.
    rival = None if state == NONE_FITS else int(order[1])
    gained = log_mean(about.without()) - np.array([log_mean(row) for row in about.leave_one_out().T])
    argued = arguments(statements, glances, weighing, table, gained, whole.best, rival) if few else []
    verdict = Verdict(
        state,
        sighting,
        _weighed(
            stations,
            glances,
            table,
            setting.framing,
            prior * (1.0 - setting.rules.none_prior),
            whole,
            ground,
            order,
        ),
        whole.none,
        whole.ratio_to_next,
        tuple(argued),
        "",
        cautions=(*_elsewhere_words(state, about, table, others), *cautions(sighting, glances, weighing)),
        decide_from=setting.rules.decide_from,
    )
    verdict = replace(verdict, headline=headline(verdict))
    if few:
        variations = Variations(
            setting.looker,
            stations,
            glances,
            statements,
            weighing,
            calibration,
            fits,
            about,
            prior,
            man_made,
            setting.rules,
            state,
            whole.best,
        )
        said = [argument.says for argument in sorted(argued, key=lambda one: one.number)]
        changes = (
            *variations.without_statements(said),
            *variations.elsewhere(rival),
            variations.higher(),
        )
        _report(progress, 0.85)
        questions = _questions(setting, stations, statements, table, whole) if state == UNDECIDED else ()
        verdict = replace(verdict, changes=changes, questions=questions)
    _report(progress, 1.0)
    return Relocation(verdict, glances, weighing, table)


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


def _look(
    setting: Setting,
    stations: Sequence[Station],
    things: Things,
    few: bool,
    progress: Callable[[float], None] | None,
) -> tuple[list[Glance], list[Glance]]:
    """Looks from the candidates, and from places that are none of them."""

    def share(of: float, from_: float) -> Callable[[float], None] | None:
        return None if progress is None else lambda done: progress(from_ + of * done)

    glances = setting.looker.look_all(stations, things, share(0.3 if few else 0.8, 0.0))
    others = _look_elsewhere(setting, stations, things, share(0.3 if few else 0.2, 0.3 if few else 0.8))
    return glances, others


def _elsewhere_words(
    state: str, about: LikelihoodTable, table: LikelihoodTable, others: Sequence[Glance]
) -> tuple[str, ...]:
    """Where it would rather be, if none of the candidates fits; that nothing was tried, if so."""
    if not others:
        return ("no place about the candidates was tried, so nothing is known of: none of these",)
    if state != NONE_FITS:
        return ()
    logs = about.without()
    place = others[int(np.argmax(logs))]
    times = float(np.exp(min(logs.max() - table.without().max(), 9.0)))
    if times < 1.5:
        return ()
    return (
        f"of {len(others)} places tried about the candidates, that at E {place.easting_m:.0f} "
        f"N {place.northing_m:.0f} fits best, {times:,.0f} times better than any candidate: look about there",
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


def _look_elsewhere(
    setting: Setting,
    stations: Sequence[Station],
    things: Things,
    progress: Callable[[float], None] | None,
) -> list[Glance]:
    east = np.array([s.easting_m for s in stations])
    north = np.array([s.northing_m for s in stations])
    surface = setting.looker.surface(float(east[0]), float(north[0]))
    least_m = 4 * max(surface.grid.spacing_x_m, 10.0)
    places = reference_places(surface, east, north, setting.elsewhere, setting.elsewhere_within_m, least_m)
    made = [
        Station(f"elsewhere {k}", None, float(e), float(n), None, "") for k, (e, n) in enumerate(places, 1)
    ]
    return setting.looker.look_all(made, things, progress)


def _weighed(
    stations: Sequence[Station],
    glances: Sequence[Glance],
    table: LikelihoodTable,
    framing: Framing,
    prior: Floats,
    whole: Posterior,
    ground: Posterior,
    order: Integers,
) -> tuple[Weighed, ...]:
    directions = table.directions()
    best = directions.argmax(axis=1)
    looks = framing.heading_deg[best]
    off = signed_deg(framing.heading_deg[None, :] - looks[:, None])
    spread = np.sqrt((directions * off**2).sum(axis=1))
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
            float(ground.candidates[k]),
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
    table: LikelihoodTable,
    whole: Posterior,
) -> tuple[NextQuestion, ...]:
    """The next questions, about all that may be seen from any of the likelier candidates."""
    likely = np.flatnonzero(whole.candidates >= 0.02 * whole.candidates.max())
    things = Things.of(setting.things_frame, setting.spacing_m)
    weighing = Weighing(things, setting.framing, setting.observer, setting.declination_deg)
    glances = [setting.looker.look(stations[int(k)], things) for k in likely]
    return next_questions(glances, weighing, table.directions()[likely], whole.candidates[likely], statements)
