"""Puts what stands on the ground on a terrain: the surface model and the map files that a request names."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError, TerrainError
from hillsight.ground.cover_source import open_cover
from hillsight.ground.cover_table import CoverTable
from hillsight.jobs.memory import as_raster, frame_checksum, raster_checksum, raster_file
from hillsight.jobs.requests import TerrainDoubts, ViewshedRequest
from hillsight.jobs.settling import words
from hillsight.layers.provenance import InputFile, input_file
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    from pyproj import CRS

    from hillsight.ground.stations import Station
    from hillsight.ground.terrain import Terrain
    from hillsight.ground.transform import Operation
    from hillsight.jobs.requests import CoverInput

NO_COVER = "No cover is given: trees, walls and buildings are not counted as hiding anything."

LEAVES = ("on", "off")


@dataclass(frozen=True, eq=False)
class Covered:
    """A terrain with what stands on it, what there is to say of that, and what was read for it."""

    terrain: Terrain
    notes: tuple[str, ...] = ()
    files: tuple[InputFile, ...] = ()
    operations: tuple[Operation, ...] = ()


@contextmanager
def covered(
    request: CoverInput, terrain: Terrain, stations: list[Station], default_crs: CRS
) -> Iterator[Covered]:
    """The terrain with the cover that a request names; what is in memory is held until the block ends.

    Raises
    ------
    HillsightError : a file that cannot be read or cannot be cover of this terrain; a parameter about cover
        where none is given
    """
    if request.leaf not in LEAVES:
        raise CallError(f"leaf is {request.leaf!r}", remedy="Give on or off", parameters=("leaf",))
    if request.surface is None and not request.cover:
        if wanted := [name for name in ("cover_layer", "cover_heights") if getattr(request, name)]:
            raise CallError(
                f"{', '.join(words(name) for name in wanted)}: about files of cover, and none are given",
                remedy="Name a file of cover too",
                parameters=(*wanted, "cover"),
            )
        yield Covered(terrain, () if _says_so_itself(request) else (NO_COVER,))
        return
    table = CoverTable.load(request.cover_heights)
    with _surface_file(request) as (surface, files):
        source, notes, operations = open_cover(
            terrain,
            surface=surface,
            paths=request.cover,
            layers=request.cover_layer,
            table=table,
            leaf=request.leaf,
            default_crs=default_crs,
            nodata=getattr(request, "nodata", None),
            around=_around(request, stations),
        )
        files += [input_file(one) if isinstance(one, str) else frame_checksum(one) for one in request.cover]
        if request.cover_heights is not None:
            files.append(input_file(request.cover_heights))
        terrain = replace(terrain, cover=source)
        notes += _inside(request, terrain, stations)
        yield Covered(terrain, tuple(notes), tuple(files), tuple(operations))


def _inside(request: CoverInput, terrain: Terrain, stations: list[Station]) -> list[str]:
    """Warnings of the stations whose eye is inside cover."""
    from hillsight.reading.what_hides import inside_notes  # brings the sight kernels: not for bare sheets

    eye_height_m: float = getattr(request, "eye_height", 0.0)
    notes: list[str] = []
    for station in stations:
        place = (station.easting_m, station.northing_m)
        try:
            surface = terrain.window(*place, 2 * max(terrain.spacing_x_m, terrain.spacing_y_m))
        except TerrainError:  # void ground, of which the job itself tells
            continue
        ground_m = station.ground_height_m
        if ground_m is None:
            ground_m = surface.height_at_m(*place)
        if np.isfinite(ground_m):
            eye = Eye.on(surface.grid, *place, ground_m + eye_height_m, 0.0)
            notes += inside_notes(station.label, surface, eye)
    return notes


def _says_so_itself(request: CoverInput) -> bool:
    """Whether the job's note on errors says that nothing on the ground is counted."""
    if isinstance(request, ViewshedRequest):
        return request.probability
    return isinstance(request, TerrainDoubts)


@contextmanager
def _surface_file(request: CoverInput) -> Iterator[tuple[str | None, list[InputFile]]]:
    """The surface model by a name that GDAL opens, and its description."""
    if request.surface is None:
        yield None, []
    elif isinstance(request.surface, str):
        yield request.surface, [input_file(request.surface)]
    else:
        raster = as_raster(request.surface)
        with raster_file(raster) as path:
            yield path, [raster_checksum(raster)]


def _around(request: CoverInput, stations: list[Station]) -> list[tuple[float, float, float, float]]:
    """West, south, east, north of the ground that is looked over from each station; none for all of it."""
    reach_m = getattr(request, "reach", None)
    if reach_m is None:
        return []
    return [
        (s.easting_m - reach_m, s.northing_m - reach_m, s.easting_m + reach_m, s.northing_m + reach_m)
        for s in stations
    ]
