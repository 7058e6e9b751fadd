"""Small changes of what is said, or of where a candidate stands, change a verdict little.

The properties are mathematics, not taken from a source; the ground is a made fractal.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pyproj import CRS

from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.stations import Station
from hillsight.ground.terrain import open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.plan.look.drawn import PLACE_M
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.looking import Looker
from hillsight.plan.look.things import Things
from hillsight.plan.observer import Observer
from hillsight.plan.relocation.decision import Rules
from hillsight.plan.relocation.describing import describe_view
from hillsight.plan.relocation.gathering import Gathered, gather
from hillsight.plan.relocation.setting import Setting
from hillsight.plan.statement import Statement
from hillsight.plan.vocabulary import SURENESS
from hillsight.plan.weighing.statements import Weighing
from hillsight.sight.viewing import Viewing
from plan.made_hills import frame_of, knoll
from terrains import fractal, write_geotiff

SPACING_M, POSTS = 20.0, 401
WEST_M, NORTH_M = 300_000.0, 708_000.0
MIDDLE = WEST_M + 4_000.0, NORTH_M - 4_000.0


@pytest.fixture(scope="module")
def setting(tmp_path_factory: pytest.TempPathFactory) -> Setting:
    heights = fractal(POSTS, POSTS, seed=12, relief_m=500.0).astype(np.float32)
    path = write_geotiff(
        tmp_path_factory.mktemp("fractal") / "ground.tif",
        heights,
        west=WEST_M,
        north=NORTH_M,
        spacing=SPACING_M,
    )
    source = open_terrain(str(path), TerrainOptions())
    terrain = source.on_metric_grid(*source.middle())
    looker = Looker.over(
        terrain,
        Geodesy(CRS(27700)),
        Viewing(1.6, 0.0, 3_000.0, 0.13),
        ErrorModel.guessed_from_spacing(SPACING_M),
        [MIDDLE[0]],
        [MIDDLE[1]],
        1_500.0,
    )
    random = np.random.default_rng(3)
    tops = frame_of([knoll(f"Top {k}", *random.uniform(-1_500, 1_500, 2)) for k in range(12)])
    tops = tops.set_geometry(tops.geometry.translate(MIDDLE[0] - tops.total_bounds[[0, 2]].mean(), 0))
    tops = tops.set_geometry(tops.geometry.translate(0, MIDDLE[1] - tops.total_bounds[[1, 3]].mean()))
    observer = Observer()
    framing = Framing.of(0.0, 15.0, 60.0, observer.picture_edge)
    return Setting(looker, tops, framing, observer, Rules(), elsewhere=24, elsewhere_within_m=900.0, draws=64)


def case(setting: Setting, seed: int) -> tuple[Gathered, tuple[Statement, ...], list[Station]]:
    """Three places, and eight things said of the first in a direction of its own."""
    random = np.random.default_rng(seed)
    places = np.array(MIDDLE) + random.uniform(-500.0, 500.0, (3, 2))
    stations = [Station(f"P{k}", None, *map(float, place), None, "") for k, place in enumerate(places, 1)]
    heading_deg = float(random.integers(180) * 2)
    things = Things.of(setting.things_frame, setting.spacing_m)
    exact = Framing.of(heading_deg, 0.5, 60.0, setting.observer.picture_edge)
    view = setting.looker.look(stations[0], things)
    said = describe_view(view, Weighing(things, exact, setting.observer))[:8]
    told = Framing.of(heading_deg + random.normal(0.0, 10.0), 15.0, 60.0, setting.observer.picture_edge)
    weighing = Weighing(things, told, setting.observer)
    setting = replace(setting, framing=told)
    return gather(setting, weighing, said, stations, np.full(3, 1 / 3), few=True), said, stations


def test_softening_a_statement_moves_the_odds_one_way(setting: Setting) -> None:
    gathered, said, _ = case(setting, 1)
    assert len(said) >= 5
    for k in range(len(said)):
        odds = []
        for wrong in (*sorted(SURENESS.values()), 1.0):
            chances = gathered.calibration.wrong.copy()
            chances[k] = wrong
            table = replace(gathered.calibration, wrong=chances).table(gathered.fits, gathered.known)
            logs = table.without()
            odds.append(logs[0] - logs[1])
        steps = np.diff(odds)
        assert (steps <= 1e-9).all() or (steps >= -1e-9).all(), said[k]
        # Wrong for sure, it might as well not have been said.
        left_out = gathered.evidence.table.without(np.arange(len(said)) == k)
        assert odds[-1] == pytest.approx(left_out[0] - left_out[1], abs=1e-6)


def test_what_a_statement_tells_is_what_leaving_it_out_changes(setting: Setting) -> None:
    gathered, said, _ = case(setting, 2)
    evidence = gathered.evidence
    for k in range(len(said)):
        out = np.arange(len(said)) == k
        with_it, without = evidence.posterior(), evidence.posterior(out)
        answers = [*with_it.candidates, with_it.none], [*without.candidates, without.none]
        told = np.append(evidence.table.without(), evidence.elsewhere.without())
        told -= np.append(evidence.table.leave_one_out()[:, k], evidence.elsewhere.leave_one_out()[k])
        changed = np.log(answers[0]) - np.log(answers[1])
        assert np.diff(changed) == pytest.approx(np.diff(told), abs=1e-6)


@pytest.mark.slow
def test_a_candidate_moved_by_half_its_spread_changes_little(setting: Setting) -> None:
    moved = []
    for seed in range(8):
        gathered, _, _ = case(setting, seed)
        before = gathered.evidence.posterior()
        for turn in range(4):
            place = gathered.places[0]
            off_m = 0.5 * PLACE_M
            there = replace(
                place,
                easting_m=place.easting_m + off_m * np.sin(turn * np.pi / 2),
                northing_m=place.northing_m + off_m * np.cos(turn * np.pi / 2),
            )
            fits, known = gathered.drawn.of_all([there], 0, gathered.draws)
            table = gathered.calibration.table(
                np.concatenate((fits, gathered.fits[1:])), np.concatenate((known, gathered.known[1:]))
            )
            after = replace(gathered.evidence, table=table).posterior()
            moved.append(np.abs(after.candidates - before.candidates).max())
    assert np.mean(np.array(moved) <= 0.15) >= 0.95
    assert np.max(moved) > 0.0
