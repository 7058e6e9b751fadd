"""The evidence for and against all candidates, gathered in as many draws as it takes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import Faults, StationError
from hillsight.ground.stations import Station
from hillsight.plan.relocation.decision import Evidence
from hillsight.plan.relocation.drawn_fits import DrawnFits
from hillsight.plan.relocation.likeness import Likeness, Traits
from hillsight.plan.relocation.measured import Hopes, Measured, MeasuredPlaces
from hillsight.plan.relocation.posterior import Calibration, Elsewhere, base_rates
from hillsight.plan.relocation.reference_places import PlacesAbout, Strewn
from hillsight.plan.weighing.statements import judgements, matters, wrong_chances

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Flags, Floats, Floats32
    from hillsight.plan.look.drawn import Place
    from hillsight.plan.relocation.setting import Setting
    from hillsight.plan.statement import Statement
    from hillsight.plan.weighing.statements import Weighing

#: Share of the draws in which each of many candidates is looked from.
_OF_MANY = 1.0 / 8.0

#: Draws are doubled until the log likelihood of every candidate that counts is good to so much, or there are
#: so many times as many.
_GOOD_TO, _MOST_TIMES = 0.15, 4

#: A candidate with less of the probability than this does not count for that.
_COUNTS_FROM = 0.02

#: Share of the places elsewhere that are drawn about those that fit best.
_CLOSER = 1.0 / 3.0

#: Of so many even places, glanced at, one is looked from: the more alike to the candidates the likelier.
_GLANCED_AT = 5


@dataclass(frozen=True)
class Gathered:
    """What is known of all candidates and of other places.

    places : of the candidates; fits, known : theirs, as ``DrawnFits.of_all`` gives them
    elsewhere_m : (b, 2) easting and northing of the places that are none of them
    measured : what was measured on the photograph, from the candidates
    """

    evidence: Evidence
    calibration: Calibration
    drawn: DrawnFits
    places: tuple[Place, ...]
    fits: Floats32
    known: Flags
    elsewhere_m: Floats
    measured: MeasuredPlaces | None = None

    @property
    def draws(self) -> int:
        """How many draws there are."""
        return int(self.fits.shape[1])


def gather(
    setting: Setting,
    weighing: Weighing,
    statements: Sequence[Statement],
    stations: Sequence[Station],
    prior: Floats,
    *,
    few: bool,
    report: Callable[[float], None] | None = None,
) -> Gathered:
    """Look from the candidates and from other places.

    Parameters
    ----------
    prior : (c,) of the candidates, adding up to one
    few : whether the candidates are few enough to be looked from in many draws

    Raises
    ------
    StationError : a candidate is off the terrain or on a void
    """

    def part(begin: float, end: float) -> Callable[[float], None] | None:
        return None if report is None else lambda done: report(begin + (end - begin) * done)

    drawn = DrawnFits(setting.looker, weighing, statements)
    places = tuple(setting.looker.place(station) for station in stations)
    count = setting.draws if few else math.ceil(setting.draws * _OF_MANY)
    fits, known = drawn.of_all(places, 0, count, part(0.0, 0.3 if few else 0.8))
    faults = Faults("stations")
    for place, some in zip(places, known.any(axis=1), strict=True):
        if not some:
            what, remedy = "no ground about it is known", "Move it, or fill the void first"
            faults.found.append(StationError(what, where=place.label, remedy=remedy))
    faults.tell()
    about = _about(setting, stations)
    first = int(np.lexsort((about.northing_m, about.easting_m))[0])
    traits = Traits(about.surface, places[first], setting.looker.viewing, setting.framing)
    hopes = Hopes.of(setting)
    strewn, likeness = _strewn(setting, about, traits, hopes, round(setting.elsewhere * (1.0 - _CLOSER)))
    strewn_places = _places(setting, strewn.places_m)
    strewn_fits, strewn_known = drawn.of_each(strewn_places, count, part(0.3, 0.5))
    rates = base_rates(
        *((strewn_fits, strewn_known) if strewn_known.any() else (fits, known)), setting.framing.prior
    )
    calibration = Calibration(
        rates,
        wrong_chances(statements),
        matters(statements, weighing.things),
        judgements(statements, weighing.things),
        setting.framing.prior,
        setting.observer.mistaken,
    )
    measured = Measured.of_setting(setting)
    photograph = None if measured is None else MeasuredPlaces.of(measured, places, strewn_places)
    elsewhere, elsewhere_m = None, strewn.places_m
    if strewn_known.any():
        of_strewn = None if photograph is None else photograph.strewn
        logs = calibration.table(strewn_fits, strewn_known, of_strewn).without()
        closer_count = setting.elsewhere - len(strewn)
        closer_m = strewn.closer(logs, closer_count)
        closer_places = _places(setting, closer_m)
        closer_fits, closer_known = drawn.of_each(closer_places, count, part(0.5, 0.6))
        elsewhere_m = np.concatenate((strewn.places_m, closer_m))
        elsewhere = Elsewhere(
            calibration.table(
                np.concatenate((strewn_fits, closer_fits)),
                np.concatenate((strewn_known, closer_known)),
                None if photograph is None else photograph.with_strewn(closer_places),
            ),
            strewn.log_shares(
                logs,
                closer_m,
                likeness.times(traits.of(closer_m)),
                closer_count,
                hopes.of_some(closer_places),
            ),
        )
    of_candidates = None if photograph is None else photograph.candidates
    table = calibration.table(fits, known, of_candidates)
    if elsewhere is None:
        elsewhere = Elsewhere(table, np.log(prior))
    untrusted = np.array(
        [weighing.evidence_class(s) not in ("ground_shape", "water") for s in statements], bool
    )
    evidence = Evidence(table, elsewhere, prior, untrusted, setting.rules)
    while few and count < _MOST_TIMES * setting.draws:
        counts = evidence.posterior().candidates >= _COUNTS_FROM
        if not (evidence.table.error()[counts] > _GOOD_TO).any():
            break
        more, more_known = drawn.of_all(places, count, 2 * count)
        fits, known = np.concatenate((fits, more), axis=1), np.concatenate((known, more_known), axis=1)
        count *= 2
        table = calibration.table(fits, known, of_candidates)
        evidence = Evidence(table, elsewhere, prior, untrusted, setting.rules)
    return Gathered(evidence, calibration, drawn, places, fits, known, elsewhere_m, photograph)


def _about(setting: Setting, stations: Sequence[Station]) -> PlacesAbout:
    east = np.array([s.easting_m for s in stations])
    north = np.array([s.northing_m for s in stations])
    surface = setting.looker.surface(float(east[0]), float(north[0]))
    least_m = 4 * max(surface.grid.spacing_x_m, 10.0)
    return PlacesAbout(surface, east, north, setting.elsewhere_within_m, least_m)


def _places(setting: Setting, places_m: Floats) -> list[Place]:
    return [
        setting.looker.place(Station(f"elsewhere {k}", None, float(e), float(n), None, ""))
        for k, (e, n) in enumerate(places_m, 1)
    ]


def _strewn(
    setting: Setting, about: PlacesAbout, traits: Traits, hopes: Hopes, count: int
) -> tuple[Strewn, Likeness]:
    """Places that are none of the candidates, and how alike to these any place is."""
    even_m, allowed = about.evenly(_GLANCED_AT * count)
    theirs = traits.of(np.column_stack((about.easting_m, about.northing_m)))
    of_even = traits.of(even_m)
    likeness = Likeness.of(theirs, of_even if len(of_even) > 1 else theirs)
    promising = hopes.of_all(_places(setting, even_m)) if len(even_m) else None
    return Strewn.of(about, even_m, allowed, likeness.times(of_even), count, promising), likeness
