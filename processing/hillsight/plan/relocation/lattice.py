"""Probability of every place of an area: where a picture may have been taken from, if nobody has an idea."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.errors import CallError
from hillsight.ground.grid import Grid
from hillsight.ground.stations import Station
from hillsight.plan.look.things import Things, wanted_rows
from hillsight.plan.relocation.drawn_fits import DrawnFits
from hillsight.plan.relocation.measured import Measured, rate_of, ratios
from hillsight.plan.relocation.posterior import Calibration, base_rates
from hillsight.plan.weighing.statements import Weighing, judgements, matters, wrong_chances

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Floats32
    from hillsight.plan.look.drawn import Place
    from hillsight.plan.relocation.setting import Setting
    from hillsight.plan.statement import Sighting

#: Draws in which each place is looked from, and places done at a time.
_DRAWS, _AT_A_TIME = 4, 64

#: Places by which it is known how likely a statement is from anywhere.
_RATED = 300

#: More places than these would take a day, and are refused.
_MOST_PLACES = 250_000


@dataclass(frozen=True)
class LatticeShares:
    """Probability of each place, adding up to one over the raster.

    share : (rows, columns) float32; NaN where there is no ground
    """

    share: Floats32
    grid: Grid


def weigh_lattice(
    setting: Setting,
    stations: Sequence[Station],
    sighting: Sighting,
    apart_m: float,
    within_m: float,
    progress: Callable[[float], None] | None = None,
) -> LatticeShares:
    """Weigh places on a lattice about the candidates.

    Parameters
    ----------
    apart_m : between places; within_m : how far beyond the outermost candidates, in eastings and northings

    Raises
    ------
    CallError : too many places
    """
    terrain = setting.looker.terrain
    west_m, south_m, east_m, north_m = terrain.bounds_m
    east = [s.easting_m for s in stations]
    north = [s.northing_m for s in stations]
    left, right = max(min(east) - within_m, west_m), min(max(east) + within_m, east_m)
    bottom, top = max(min(north) - within_m, south_m), min(max(north) + within_m, north_m)
    columns, rows = int((right - left) // apart_m) + 1, int((top - bottom) // apart_m) + 1
    if rows * columns > _MOST_PLACES:
        raise CallError(
            f"every {apart_m:g} m there are {rows * columns:,} places, and {_MOST_PLACES:,} are the most",
            remedy="Give a wider spacing, or weigh places less far about the candidates",
            parameters=("everywhere", "everywhere_within"),
        )
    grid = Grid(terrain.crs, left, top, apart_m, apart_m, rows, columns)
    frame = setting.things_frame
    things = Things.of(
        frame.iloc[wanted_rows(frame, sighting.statements, sighting.source)], setting.spacing_m
    )
    weighing = Weighing(things, setting.framing, setting.observer, setting.declination_deg)
    statements = sighting.statements
    places = [
        (row, column)
        for row in range(rows)
        for column in range(columns)
        if not np.isnan(_ground_m(setting, grid, row, column))
    ]
    share = np.full((rows, columns), np.nan, np.float32)
    if not places:
        return LatticeShares(share, grid)

    def stands(places: Sequence[tuple[int, int]]) -> list[Place]:
        found = []
        for place in places:
            e, n = (float(v) for v in grid.to_map(*place))
            found.append(setting.looker.place(Station("", None, e, n, None, "")))
        return found

    drawn, prior = DrawnFits(setting.looker, weighing, statements), setting.framing.prior
    # Some places all over say how likely each statement is from anywhere.
    some_places = stands(places[:: max(1, len(places) // _RATED)])
    rates = base_rates(*drawn.of_all(some_places, 0, _DRAWS), prior)
    measured = Measured.of_setting(setting)
    log_rate = 0.0 if measured is None else rate_of(measured.logs(some_places), prior)
    calibration = Calibration(
        rates,
        wrong_chances(statements),
        matters(statements, things),
        judgements(statements, things),
        prior,
        setting.observer.mistaken,
    )
    logs = np.empty(len(places))
    for first in range(0, len(places), _AT_A_TIME):
        some = slice(first, first + _AT_A_TIME)
        here = stands(places[some])
        seen = None if measured is None else ratios(measured.logs(here), log_rate)
        logs[some] = calibration.table(*drawn.of_all(here, 0, _DRAWS), seen).without()
        if progress is not None:
            progress(min(first + _AT_A_TIME, len(places)) / len(places))
    at = np.array(places)
    share[at[:, 0], at[:, 1]] = special.softmax(logs)
    return LatticeShares(share, grid)


def _ground_m(setting: Setting, grid: Grid, row: int, column: int) -> float:
    e, n = (float(v) for v in grid.to_map(row, column))
    return setting.looker.surface(e, n).height_at_m(e, n)
