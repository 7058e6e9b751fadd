"""What stands on the ground of a batch: read and judged once, cut for each part."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hillsight.ground.cover_source import open_cover
from hillsight.ground.cover_table import CoverTable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pyproj import CRS

    from hillsight.ground.cover_shapes import CoverShapes
    from hillsight.ground.cover_source import CoverSource
    from hillsight.ground.grid import Grid
    from hillsight.ground.terrain import Terrain
    from hillsight.ground.transform import Operation
    from hillsight.jobs.batch.ground import BatchGround
    from hillsight.jobs.batch.job_file import BatchJob
    from hillsight.jobs.batch.places import BatchStation
    from hillsight.sight.octants import Window


def cover_of(
    job: BatchJob, ground: BatchGround, stations: Sequence[BatchStation], default_crs: CRS
) -> tuple[CoverSource | None, list[str], list[Operation]]:
    """The cover that a job names, what there is to say of it, and the coordinate operations used.

    A surface model is sampled over the ground that the stations look over. Map files are read whole.

    Raises
    ------
    HillsightError : a file that cannot be read, or cannot be cover of this terrain
    """
    if not job.cover.names:
        return None, [], []
    given = job.cover.given(job.beside)
    around = [
        (s.easting_m - s.reach_m, s.northing_m - s.reach_m, s.easting_m + s.reach_m, s.northing_m + s.reach_m)
        for s in stations
    ]
    with ground.terrain() as terrain:
        return open_cover(
            terrain,
            surface=given["surface"],
            paths=given["cover"],
            layers=given["cover_layer"],
            table=CoverTable.load(given["cover_heights"]),
            leaf=given["leaf"],
            default_crs=default_crs,
            nodata=job.nodata,
            around=around,
        )


def without_shapes(cover: CoverSource) -> CoverSource:
    """The same with no shapes of map files: those that a part needs go with the part."""
    return replace(cover, shapes=None)


def shapes_near(cover: CoverSource | None, grid: Grid, window: Window) -> CoverShapes | None:
    """What of map files reaches into the cells of a window."""
    if cover is None or cover.shapes is None:
        return None
    return cover.shapes.touching(*grid.part(*window).cell_edges_m)


def on_terrain(terrain: Terrain, cover: CoverSource | None, shapes: CoverShapes | None) -> Terrain:
    """The terrain with what stands on it, as a task opened it."""
    if cover is None:
        return terrain
    return replace(terrain, cover=replace(cover, terrain=terrain, shapes=shapes))
