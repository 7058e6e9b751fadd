"""Puts an exercise of the second observer to ``relocate``: the examinee's side of the table."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import rasterio
from affine import Affine

from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.stations import Station
from hillsight.ground.terrain import open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.looking import Looker
from hillsight.plan.observer import Observer
from hillsight.plan.relocation.decision import Rules
from hillsight.plan.relocation.relocation import weigh
from hillsight.plan.relocation.setting import Setting
from hillsight.plan.statement import Picture, Sighting, Statement
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    from pathlib import Path

    from hillsight.ground.terrain import Terrain
    from hillsight.plan.picture.measuring import MarkedThings
    from hillsight.plan.picture.skyline_match import PictureSkyline
    from second_observer_exercises import Exercise
    from second_observer_grounds import Pair

#: Chance of none of these that the weighing is told, and how far about the candidates it may be.
NONE_PRIOR, ELSEWHERE_M = 0.2, 3_000.0

#: How far is looked, and the direction's spread and the width that are told.
REACH_M, GIVE_OR_TAKE_DEG, WIDTH_DEG = 10_000.0, 12.0, 60.0

#: An answer that had less of a chance in the observer's own eyes is told as likely, not as sure.
_SURE_FROM = 0.5


def terrain_of(pair: Pair, folder: Path) -> Terrain:
    """The model that the weighing gets, through a file."""
    model = pair.model
    half_m = model.spacing_m / 2
    place = Affine(model.spacing_m, 0, model.west_m - half_m, 0, -model.spacing_m, model.north_m + half_m)
    path = folder / "model.tif"
    rows, columns = model.height_m.shape
    shape = {"height": rows, "width": columns, "count": 1, "dtype": "float32"}
    with rasterio.open(
        path, "w", driver="GTiff", crs=pair.crs, transform=place, nodata=-9999, **shape
    ) as file:
        file.write(np.nan_to_num(model.height_m, nan=-9999.0), 1)
    source = open_terrain(str(path), TerrainOptions())
    return source.on_metric_grid(*source.middle())


def sighting_of(made: Exercise) -> Sighting:
    """What was said, as a sighting."""
    names = made.sheet.names
    statements = []
    for saying, given, chance in made.said:
        kind, part, values = saying.values(given, names)
        statements.append(Statement(kind, values, part, "sure" if chance >= _SURE_FROM else "likely"))
    return Sighting(Picture(), tuple(statements), "the study")


@dataclass(frozen=True)
class Answer:
    """What became of an exercise.

    candidates, none : probabilities; without : by kind of statement, (c + 1,) without all of that kind
    """

    state: str
    candidates: list[float]
    none: float
    without: dict[str, list[float]]

    def row(self) -> dict[str, Any]:
        """As a row of a table."""
        return {
            "state": self.state,
            "probabilities": json.dumps([round(p, 6) for p in self.candidates]),
            "none": round(self.none, 6),
            "without": json.dumps({k: [round(p, 6) for p in one] for k, one in self.without.items()}),
        }


@dataclass(frozen=True)
class Pictured:
    """What is measured on a photograph, and the statements that are told beside it.

    width_deg : between its sides, as told
    """

    measured: PictureSkyline
    marked: MarkedThings | None
    sighting: Sighting
    width_deg: float = WIDTH_DEG


def put(
    made: Exercise, terrain: Terrain, reach_m: float = REACH_M, pictured: Pictured | None = None
) -> Answer:
    """Have an exercise weighed, by what was said or by what a photograph gives."""
    observer = Observer()
    east, north = made.places_m[:, 0].tolist(), made.places_m[:, 1].tolist()
    geodesy = Geodesy(made.pair.crs)
    looker = Looker.over(
        terrain,
        geodesy,
        Viewing(1.6, 0.0, reach_m, 0.13),
        ErrorModel.guessed_from_spacing(made.pair.model.spacing_m),
        east,
        north,
        ELSEWHERE_M + 150.0,
    )
    told_deg = made.told_deg + float(geodesy.convergence_deg(float(np.mean(east)), float(np.mean(north))))
    width_deg = WIDTH_DEG if pictured is None else pictured.width_deg
    framing = Framing.of(told_deg, GIVE_OR_TAKE_DEG, width_deg, observer.picture_edge)
    rules = Rules(decide_from=0.95, none_prior=NONE_PRIOR)
    setting = Setting(
        looker,
        made.sheet.frame,
        framing,
        observer,
        rules,
        None,
        elsewhere_within_m=ELSEWHERE_M,
        measured=None if pictured is None else pictured.measured,
        marked=None if pictured is None else pictured.marked,
    )
    stations = [
        Station(f"P{k}", None, e, n, None, "") for k, (e, n) in enumerate(zip(east, north, strict=True))
    ]
    sighting = sighting_of(made) if pictured is None else pictured.sighting
    evidence = weigh(setting, stations, sighting).evidence
    state, whole, _ = evidence.verdict()
    kinds = np.array([statement.kind for statement in sighting.statements])
    without = {}
    for kind in np.unique(kinds):
        rest = evidence.posterior(kinds == kind)
        without[str(kind)] = [*map(float, rest.candidates), rest.none]
    return Answer(state, [float(p) for p in whole.candidates], float(whole.none), without)
