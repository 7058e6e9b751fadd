"""Makes a batch job ready: opens its ground, places its stations, cuts them into parts and tiles."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.errors import BatchError
from hillsight.ground.crs import horizontal_crs
from hillsight.ground.labels import unlike
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.ground.transform import Operation
from hillsight.jobs.batch import planning
from hillsight.jobs.batch.covered import cover_of
from hillsight.jobs.batch.ground import BatchGround, found_ground, ground_files, told_files
from hillsight.jobs.batch.manifest import kernel_mark
from hillsight.jobs.batch.places import BatchStation, Refused, given_places, settled_places
from hillsight.jobs.batch.planning import Part, Tile, cut_parts, cut_tiles, station_window, with_others
from hillsight.jobs.batch.work import MOST_IN_WORK
from hillsight.jobs.batch.work_script import files_of, station_script
from hillsight.jobs.doubts import error_model, error_note
from hillsight.jobs.requests import SightDoubts
from hillsight.layers.provenance import InputFile, Provenance, input_file

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pyproj import CRS

    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.cover_source import CoverSource
    from hillsight.ground.grid import Grid
    from hillsight.ground.terrain import Terrain
    from hillsight.jobs.batch.job_file import BatchJob


@dataclass(frozen=True)
class Prepared:
    """A job made ready: its ground opened, its stations placed and cut into parts.

    parts, work_parts : of what is seen, and of a script's work; no parts of what is not wanted
    """

    ground: BatchGround
    grid: Grid
    stations: list[BatchStation]
    refused: list[Refused]
    parts: list[Part]
    work_parts: list[Part]
    tiles: list[Tile]
    files: list[InputFile]
    notes: tuple[str, ...]
    versions: dict[str, str]
    provenance: Provenance
    errors: ErrorModel | None
    default_crs: CRS
    cover: CoverSource | None


def prepared_job(job: BatchJob) -> Prepared:
    """Open what a job names, place its stations and cut them into parts.

    Raises
    ------
    HillsightError : bad input, or no station that can be used
    """
    options = TerrainOptions(job.band, job.terrain_crs, job.vertical_unit, job.nodata, job.grid_crs)
    path = str(Path(job.beside(job.terrain)).absolute()) if "://" not in job.terrain else job.terrain
    ground = found_ground(job.beside(job.terrain) if job.terrain.startswith("/vsi") else path, options)
    with ground.source() as source:
        default_crs = horizontal_crs(source.source_crs)
        given = given_places(job, default_crs)
        ground = replace(ground, near=given.near() or source.middle())
        terrain = source.on_metric_grid(*ground.near)
    stations, refused, operation = settled_places(job, given, terrain)
    stations, too_far = _within_memory(stations, terrain, *_most_posts(job))
    parts, work_parts = [], []
    if job.has_products:
        parts = cut_parts(terrain.grid, stations, job.output.window_posts)
    if job.work is not None:
        alike = unlike([one.label for one in stations], [one.name is not None for one in stations])
        labelled = [replace(one, label=label) for one, label in zip(stations, alike, strict=True)]
        work_parts = cut_parts(terrain.grid, labelled, job.output.window_posts, MOST_IN_WORK)
    if job.products.matrix:
        parts = with_others(parts, stations)
    spacing_m = max(terrain.spacing_x_m, terrain.spacing_y_m)
    errors = error_model(_doubts(job), spacing_m) if job.products.chances else None
    tiles = cut_tiles(terrain.grid, parts, job.output.tile_posts)
    files = ground_files(ground.path)
    work_files: list[str] = []
    versions = {"the code that sees": kernel_mark()}
    if job.work is not None:
        script = station_script(job.work.script)
        work_files = files_of(script, job.work.options)
        versions = {"the code": kernel_mark(everything=True), f"script {script.name}": script.package}
    terrain_files = told_files(files, job.terrain)
    vectors = [
        input_file(job.beside(name), layer)
        for name, layer in (
            (job.stations.file, job.stations.layer),
            (job.products.share, job.products.share_layer),
            (job.products.paths, job.products.paths_layer),
            *((name, None) for name in (*job.cover.names, *work_files)),
        )
        if name is not None
    ]
    cover, cover_notes, cover_ways = None, list[str](), list[Operation]()
    if job.has_products:
        cover, cover_notes, cover_ways = cover_of(job, ground, stations, default_crs)
    used = dict.fromkeys((terrain.operation, operation, *cover_ways))
    operations = [one.record() for one in used if one is not None]
    doubts = () if errors is None else (error_note(errors, covered=cover is not None),)
    notes = tuple(dict.fromkeys((*terrain.notes, *given.notes, *cover_notes, *doubts)))
    provenance = Provenance(
        "batch", {"job": job.told()}, (*terrain_files, *vectors), tuple(operations), notes
    )
    return Prepared(
        ground,
        terrain.grid,
        stations,
        sorted([*refused, *too_far], key=lambda one: one.number),
        parts,
        work_parts,
        tiles,
        [*files, *vectors],
        notes,
        {**provenance.versions, **versions},
        provenance,
        errors,
        default_crs,
        cover,
    )


def _doubts(job: BatchJob) -> SightDoubts:
    """What errs, as other jobs are told it."""
    told = job.errors
    return SightDoubts(
        terrain_product=told.terrain_product,
        terrain_error=told.terrain_error_m,
        error_correlation=told.error_correlation_m,
        between_posts=told.between_posts,
        station_error=told.station_error_m,
        eye_height_error=told.eye_height_error_m,
        refraction_error=told.refraction_error,
        uncertain_between=(0.1, 0.9),
    )


def _most_posts(job: BatchJob) -> tuple[int, str]:
    """How many posts a station may look at, and what would allow more; that is empty where nothing would."""
    products, most = job.products, planning.MOST_IN_MEMORY
    if job.work is not None or not job.has_products:
        return most, ""
    if job.cover.names or products.least_depth or products.chances or products.matrix:
        return most, "; without cover, least depth, chances and matrix it would do"
    return planning.MOST_IN_BANDS, ""


def _within_memory(
    stations: Sequence[BatchStation], terrain: Terrain, most: int, unless: str
) -> tuple[list[BatchStation], list[Refused]]:
    """Stations whose view fits into memory, and the others as refused."""
    kept, refused = [], []
    for station in stations:
        window = station_window(terrain.grid, station)
        posts = window.rows * window.columns
        if posts <= most:
            kept.append(station)
            continue
        hint = unless if posts <= planning.MOST_IN_BANDS else ""
        reason = f"it looks at {posts:,} posts, more than can be held at once ({most:,}){hint}"
        place = station.easting_m, station.northing_m
        refused.append(Refused(station.number, station.label, reason, *place))
    if not kept:
        raise BatchError(
            f"every station looks at more posts than can be held at once ({most:,})",
            remedy="Give a shorter reach_m, or coarser terrain",
        )
    return kept, refused
