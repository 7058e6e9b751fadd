"""What is written when all parts and tiles are done: the index as a GeoPackage, mosaics of the tiles."""

from __future__ import annotations

import importlib.util
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import shapely

from hillsight.errors import CallError
from hillsight.jobs.batch.catalog import write_mosaic, write_parquet, write_stac
from hillsight.jobs.batch.checked import Packed
from hillsight.jobs.batch.matrix import LAYER, matrix_of
from hillsight.jobs.batch.shares import TileCounts, area_shares, path_stretches, shapes_on_grid
from hillsight.jobs.outputs import write_style_folder
from hillsight.layers.atomic import made_folder
from hillsight.layers.package import package
from hillsight.schema.batch import BATCH_RASTERS
from hillsight.schema.frames import frame_of_rows
from hillsight.sight.octants import Window

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from hillsight.ground.grid import Grid
    from hillsight.jobs.batch.job_file import BatchJob, Cutting
    from hillsight.jobs.batch.parts import Setting
    from hillsight.jobs.batch.prepared import Prepared
    from hillsight.jobs.batch.work_merge import Worked
    from hillsight.layers.package import Package

INDEX = "batch.gpkg"


@dataclass(frozen=True)
class Found:
    """What a job came to, for its report."""

    stations: int
    refused: int
    reasons: list[str]
    asked_cells: int
    seen_cells: int
    layers: tuple[str, ...]


def check_libraries(cutting: Cutting) -> None:
    """Refuse output that a library is missing for, before the work.

    Raises
    ------
    CallError : it is
    """
    for wanted, library, what in (
        (cutting.parquet, "pyarrow", "Parquet"),
        (cutting.stac, "pystac", "STAC items"),
    ):
        if wanted and importlib.util.find_spec(library) is None:
            raise CallError(
                f"the job asks for {what}, and the library {library} is not installed",
                remedy="Install it: pip install hillsight[batch]; or take it out of [output]",
            )


def write_index(
    folder: Path, job: BatchJob, setting: Setting, prepared: Prepared, worked: Worked | None = None
) -> Found:
    """Write the index, and whatever is made of all tiles together.

    worked : what a script's work came to, where one was wanted
    """
    stations, parts, refused = _of_parts(setting, prepared, worked)
    tiles = [json.loads(setting.tile_file(tile.name).read_bytes()) for tile in prepared.tiles]
    frames = {
        "batch_stations": stations,
        "refused_stations": refused,
        "batch_tiles": _tile_frame(tiles, prepared.grid),
        "batch_parts": parts,
    }
    if not job.has_products:
        frames = {"refused_stations": refused}
    products, near = job.products, prepared.ground.near
    counts = TileCounts(setting, prepared.grid, prepared.tiles)
    if products.share is not None:
        areas = shapes_on_grid(
            *(job.beside(products.share), products.share_layer, "Polygon"),
            *(prepared.grid, prepared.default_crs, near),
        )
        frames["area_shares"] = area_shares(*areas, counts, setting.tile_posts)
    if products.paths is not None:
        paths = shapes_on_grid(
            *(job.beside(products.paths), products.paths_layer, "LineString"),
            *(prepared.grid, prepared.default_crs, near),
        )
        frames["path_stretches"] = path_stretches(*paths, counts, products.stretch_m)
    for kind in ("visible_count", *BATCH_RASTERS):
        write_mosaic(folder, kind, tiles, prepared.grid, setting.provenance)
    if job.output.parquet:
        for name, frame in frames.items():
            write_parquet(made_folder(folder / "tables") / f"{name}.parquet", [frame], setting.provenance)
    if job.output.stac:
        stac = made_folder(folder / "stac")
        write_stac(stac, job.title, tiles, prepared.grid, near, setting.provenance)
    with package(folder / INDEX, setting.provenance) as file:
        for name, frame in frames.items():
            file.write(name, frame)
        if job.has_products and products.matrix:
            _write_matrix(folder, job, setting, prepared, file)
        layers = tuple(file.tables)
    write_style_folder(folder / INDEX)
    return Found(
        worked.stations if worked is not None and not job.has_products else len(stations),
        len(refused),
        [f"{label}: {reason}" for label, reason in zip(refused["station"], refused["reason"], strict=True)],
        sum(tile["asked_cells"] for tile in tiles),
        sum(tile["seen_cells"] for tile in tiles),
        layers,
    )


def _of_parts(
    setting: Setting, prepared: Prepared, worked: Worked | None
) -> tuple[geopandas.GeoDataFrame, geopandas.GeoDataFrame, geopandas.GeoDataFrame]:
    """Stations, parts and refused stations, as layers."""
    grid, by_number = prepared.grid, {station.number: station for station in prepared.stations}
    rows: list[dict[str, Any]] = []
    parts: list[dict[str, Any]] = []
    refused = [(one.number, one.label, one.reason, one.easting_m, one.northing_m) for one in prepared.refused]
    for part in prepared.parts:
        with Packed(setting.part_file(part.number)) as file:
            record = file.record()
        parts.append(
            {
                "part": part.number,
                "stations_count": len(record["rows"]),
                "refused_count": len(record["refused"]),
            }
        )
        for row in record["rows"]:
            station = by_number[row["number"]]
            rows.append(
                {
                    "station": station.label,
                    **{
                        name: getattr(station, name)
                        for name in (
                            *("easting_m", "northing_m", "target_height_m", "reach_m"),
                            *("from_bearing_deg", "to_bearing_deg", "weight"),
                        )
                    },
                    "part": part.number,
                    **row,
                }
            )
        for row in record["refused"]:
            station = by_number[row["number"]]
            refused.append(
                (station.number, station.label, row["reason"], station.easting_m, station.northing_m)
            )
    known = {number for number, *_ in refused}
    for number, reason in () if worked is None else worked.refused:
        if number not in known:
            station = by_number[number]
            refused.append((number, station.label, reason, station.easting_m, station.northing_m))
    rows.sort(key=lambda row: int(row["number"]))
    refused.sort()
    return (
        frame_of_rows(
            "batch_stations",
            rows,
            [shapely.Point(row["easting_m"], row["northing_m"]) for row in rows],
            grid.crs,
        ),
        frame_of_rows("batch_parts", parts, [_box(grid, part.window) for part in prepared.parts], grid.crs),
        frame_of_rows(
            "refused_stations",
            [{"number": number, "station": label, "reason": reason} for number, label, reason, *_ in refused],
            [_place(grid, x, y) for *_, x, y in refused],
            grid.crs,
        ),
    )


def _write_matrix(folder: Path, job: BatchJob, setting: Setting, prepared: Prepared, file: Package) -> None:
    """Which stations see each other, in the order of their numbers, some at a time."""
    paths = [setting.part_file(part.number) for part in prepared.parts]
    with matrix_of(folder, paths, prepared.stations, prepared.grid.crs) as matrix:
        for frame in matrix.frames():
            file.write(LAYER, frame, append=LAYER in file.tables)
        if job.output.parquet:
            table = made_folder(folder / "tables") / f"{LAYER}.parquet"
            write_parquet(table, matrix.frames(), setting.provenance, matrix.bounds_m)


def _place(grid: Grid, easting_m: float, northing_m: float) -> shapely.Point:
    """A place, or the terrain's corner where there is none."""
    if not np.isfinite([easting_m, northing_m]).all():
        return shapely.Point(grid.west_m, grid.north_m)
    return shapely.Point(easting_m, northing_m)


def _tile_frame(tiles: Sequence[Mapping[str, Any]], grid: Grid) -> geopandas.GeoDataFrame:
    rows = [
        {
            "tile": tile["tile"],
            "asked_cells": tile["asked_cells"],
            "seen_cells": tile["seen_cells"],
            "most_stations": tile["most_stations"],
            "rasters": "; ".join(tile["rasters"]),
        }
        for tile in tiles
    ]
    shapes = [_box(grid, Window(*tile["window"])) for tile in tiles]
    return frame_of_rows("batch_tiles", rows, shapes, grid.crs)


def _box(grid: Grid, window: Window) -> shapely.Polygon:
    """The cells of a window as a rectangle."""
    return shapely.box(*grid.part(*window).cell_edges_m)
