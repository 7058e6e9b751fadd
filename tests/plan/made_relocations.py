"""A made hill in a terrain file, with things on it and all that relocation asks for.

High level ground lies south of an edge running east and west 300 m south of the middle; behind the edge it
falls for 200 m to a plain. On the plain stand two knolls, and 700 m north of the middle a ridge with a saddle
due north of it. Walls run over the plain below the edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.stations import Station
from hillsight.ground.terrain import open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.looking import Looker
from hillsight.plan.observer import Observer
from hillsight.plan.relocation.decision import Rules
from hillsight.plan.relocation.relocation import Relocation, relocate
from hillsight.plan.relocation.setting import Setting
from hillsight.plan.statement import Sighting, Statement
from hillsight.sight.viewing import Viewing
from plan.made_hills import (
    EAST_M,
    NORTH_M,
    SPACING_M,
    cone,
    frame_of,
    knoll,
    line,
    point,
    ridge,
    saddle_crest,
    steps,
    surface_of,
    together,
    told,
    wall,
)
from terrains import with_hole, write_geotiff

HILL = together(
    steps((-300, -25), (-100, 0)),
    ridge(700, 200, saddle_crest(0, high_m=200, low_m=120)),
    cone(-400, 100, 110, 150),
    cone(300, 250, 150, 150),
)

#: Posts without heights, 200 m wide, about 600 m east and 700 m south of the middle.
VOID = (600.0, -700.0)

THINGS = frame_of(
    [
        knoll("West Knoll", -400, 100),
        knoll("East Knoll", 300, 250),
        ("The Saddle", "saddle", "ground_shape", 0.0, point(0, 700)),
        ("Long Spur", "spur", "ground_shape", 0.0, line((-250, 600), (-250, 500))),
        *(wall(f"Wall {k}", (-150 + 60 * k, 0), (-110 + 60 * k, 0)) for k in range(6)),
    ]
)

#: A stands 50 m from the edge, B far from it on the same level, C on the plain below beyond the
#: walls, D before them.
PLACES = {"A": (0.0, -350.0), "B": (0.0, -900.0), "C": (100.0, 60.0), "D": (20.0, -250.0)}


def stations(*places: tuple[float, float] | str) -> list[Station]:
    """Candidates by name, or in metres from the middle."""
    made = []
    for number, place in enumerate(places, 1):
        label, (east, north) = (place, PLACES[place]) if isinstance(place, str) else (f"P{number}", place)
        made.append(Station(label, None, EAST_M + east, NORTH_M + north, None, "candidates"))
    return made


def setting_of(
    folder: Path,
    *,
    looks_deg: float | None = 0.0,
    give_or_take_deg: float = 4.0,
    declination_deg: float | None = None,
    elsewhere: int = 40,
    rules: Rules | None = None,
) -> Setting:
    """The hill written to a file and opened from there."""
    surface = surface_of(HILL)
    row, column = (int(v) for v in surface.grid.to_array(EAST_M + VOID[0], NORTH_M + VOID[1]))
    heights = with_hole(surface.height_m, row - 10, column - 10, 21, 21)
    path = write_geotiff(
        folder / "hill.tif", heights, west=EAST_M - 1_000, north=NORTH_M + 1_000, spacing=SPACING_M
    )
    source = open_terrain(str(path), TerrainOptions())
    terrain = source.on_metric_grid(*source.middle())
    looker = Looker.over(
        terrain,
        Geodesy(terrain.crs),
        Viewing(1.6, 0.0, 3_000.0, 0.13),
        ErrorModel(0.3, 30.0, between_posts="straight"),
        [EAST_M],
        [NORTH_M],
        1_000.0,
    )
    observer = Observer()
    framing = Framing.of(looks_deg, give_or_take_deg, 90.0, observer.picture_edge)
    return Setting(
        looker,
        THINGS,
        framing,
        observer,
        rules or Rules(),
        declination_deg,
        elsewhere,
        elsewhere_within_m=700.0,
        draws=24,
    )


def weigh(setting: Setting, said: Sequence[Statement], *places: Any, **more: Any) -> Relocation:
    """Relocate among candidates."""
    return relocate(setting, stations(*places), sighting(*said), **more)


def sighting(*said: Statement) -> Sighting:
    """Statements on lines of a file."""
    lined = [replace(one, line=5 * k) for k, one in enumerate(said, 1)]
    return Sighting(statements=tuple(lined), source="picture.toml")


#: True at A by plane trigonometry: 50 m to the edge, then 25 degrees down; the plain 93 m below is hidden.
#: The tops stand 15 m above the eye at 602 m, 1.5 degrees, and 55 m at 671 m, 4.7; 68 degrees apart. Behind
#: them the ridge stands higher: 105 m in 1,170 m are 5.1 degrees.
OF_A = (
    told("brow", "middle", distance_m=50.0),
    told("brow", "middle", slope_beyond="falls steeply"),
    told("dead_ground", "middle", extent="much"),
    told("height", what="West Knoll", stands="a little above"),
    told("height", what="East Knoll", stands="well above"),
    told("order", things=["West Knoll", "The Saddle", "East Knoll"]),
    told("angle", what="West Knoll", other="East Knoll", degrees=68.0),
    told("against_sky", what="West Knoll", stands=False),
)
