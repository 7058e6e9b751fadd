"""Thousands of stations over terrain larger than memory: counts, who sees what, shares; resumable."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError, OutputError
from hillsight.jobs.batch.covered import shapes_near, without_shapes
from hillsight.jobs.batch.engine import do_tasks
from hillsight.jobs.batch.index import check_libraries, write_index
from hillsight.jobs.batch.job_file import BatchJob, read_job
from hillsight.jobs.batch.manifest import Manifest, settled, told_inputs
from hillsight.jobs.batch.parts import PartTask, Setting
from hillsight.jobs.batch.prepared import prepared_job
from hillsight.jobs.batch.request import BatchRequest
from hillsight.jobs.batch.tiles import TileTask
from hillsight.jobs.batch.work import WorkSetting, WorkTask
from hillsight.jobs.batch.work_merge import WORK, put_together
from hillsight.jobs.batch.work_script import LOOKING, TERRAIN, station_script, with_files
from hillsight.jobs.listener import SILENT, Listener, say_if_compiling
from hillsight.jobs.outputs import check_folder
from hillsight.jobs.results import Result, WrittenFrames
from hillsight.kernels.threads import budget
from hillsight.layers.atomic import made_folder, remove_leavings
from hillsight.layers.provenance import WholeRun
from hillsight.words.english import counted

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from hillsight.jobs.batch.engine import Task
    from hillsight.jobs.batch.index import Found
    from hillsight.jobs.batch.job_file import Work
    from hillsight.jobs.batch.prepared import Prepared

#: Most processes at a time.
_MOST_WORKERS = 1024


@dataclass(frozen=True, eq=False, kw_only=True)
class BatchResult(Result):
    """What a batch job made; the layers are those of ``batch.gpkg``.

    stations, refused : how many were seen from, and how many could not be used
    parts, parts_kept : how many parts, and how many of them an earlier run had done
    work_parts, work_parts_kept : likewise, of a script's work
    tiles, tiles_kept : likewise
    """

    stations: int
    refused: int
    parts: int
    parts_kept: int
    work_parts: int
    work_parts_kept: int
    tiles: int
    tiles_kept: int
    lines: tuple[str, ...]


def batch(
    job: Any,
    *,
    out: str | Path,
    workers: int | None = None,
    scheduler: str | None = None,
    afresh: bool = False,
    listener: Listener = SILENT,
) -> BatchResult:
    """See from many stations over terrain of any size, and put together what they see.

    Or do the work of another script, such as outlook, for all of them: what the job says.

    Parameters
    ----------
    job : a file; docs/scripts/batch.md tells of it
    out : folder for the results; a run that was stopped goes on in it
    workers : processes; the cores of the machine if not given
    scheduler : address of a dask.distributed scheduler, in place of processes of this machine
    afresh : throw away what an earlier run left in the folder
    listener : hears of progress and notes

    Raises
    ------
    HillsightError : bad input, another content than an earlier run's, or a file cannot be written
    """
    return run_batch(BatchRequest.of(locals()), listener)


def run_batch(request: BatchRequest, listener: Listener = SILENT) -> BatchResult:
    """Do what a request asks for; see :func:`batch`."""
    workers = _workers(request)
    job = read_job(request.job)
    check_libraries(job.output)
    check_folder(request.out)
    with listener.work("inputs"):
        prepared = prepared_job(job)
    folder = made_folder(request.out)
    with _alone(folder):
        asked = Manifest(
            job.told(), told_inputs(prepared.files), prepared.versions, prepared.provenance.written_at
        )
        manifest = settled(folder, asked, afresh=request.afresh)
        provenance = replace(prepared.provenance, written_at=manifest.written_at)
        setting = Setting(
            str(folder.absolute()),
            prepared.ground,
            job.products,
            job.looking.refraction,
            job.output.tile_posts,
            provenance,
            prepared.errors,
            None if prepared.cover is None else without_shapes(prepared.cover),
        )
        for text in prepared.notes:
            listener.note(text)
        for name in _work_folders(job):
            made_folder(folder / name)
        say_if_compiling(listener)
        part_tasks = [
            PartTask(setting, part, shapes_near(prepared.cover, prepared.grid, part.window))
            for part in prepared.parts
        ]
        kept = work_kept = 0
        if part_tasks:
            kept = _do(part_tasks, "parts", request.scheduler, workers, listener)
            for name in _raster_folders(job):
                made_folder(folder / name)
        tile_tasks = [
            TileTask(setting, tile, prepared.grid, len(prepared.stations)) for tile in prepared.tiles
        ]
        tiles_kept = _do(tile_tasks, "tiles", request.scheduler, workers, listener) if tile_tasks else 0
        worked = None
        if job.work is not None:
            work_tasks = _work_tasks(folder, job, job.work, prepared, manifest.written_at)
            work_kept = _do(work_tasks, job.work.script, request.scheduler, workers, listener)
            with listener.work("layers"):
                labelled = [station for part in prepared.work_parts for station in part.stations]
                worked = put_together(folder, work_tasks, labelled, provenance, job.output)
            for text in worked.notes:
                listener.note(text)
        with listener.work("index"):
            found = write_index(folder, job, setting, prepared, worked)
        remove_leavings(folder)
    lines = []
    if worked is not None and job.work is not None:
        where = f", in {WORK}" if worked.stations else f"; there is no {WORK}"
        lines.append(f"{job.title}: {job.work.script} of {worked.stations:,} stations{where}.")
        if work_kept:
            lines.append(f"Kept from an earlier run: {work_kept:,} parts of that work, verified.")
    if job.has_products:
        lines += _told(job, prepared, found, kept, tiles_kept)
    if found.refused:
        more = f" and {found.refused - 3:,} more" if found.refused > 3 else ""
        lines.append(
            f"Refused: {found.refused:,} stations, in the layer refused_stations: "
            f"{'; '.join(found.reasons[:3])}{more}."
        )
    return BatchResult(
        frames=WrittenFrames(folder / "batch.gpkg", found.layers),
        rasters={},
        notes=prepared.notes,
        provenance=provenance,
        files={"out": (request.out,)},
        stations=found.stations,
        refused=found.refused,
        parts=len(prepared.parts),
        parts_kept=kept,
        work_parts=len(prepared.work_parts),
        work_parts_kept=work_kept,
        tiles=len(prepared.tiles),
        tiles_kept=tiles_kept,
        lines=tuple(lines),
    )


def _work_tasks(
    folder: Path, job: BatchJob, work: Work, prepared: Prepared, written_at: str
) -> list[WorkTask]:
    """The tasks of a script's work, each with what it needs."""
    script = station_script(work.script)
    given = with_files(script, work.options, job.beside)
    given |= {name: getattr(job, name) for name in TERRAIN}
    if job.cover.names:
        given |= job.cover.given(job.beside)
    looked = tuple(name for name in job.looked if name in LOOKING.values())
    if "refraction" in looked and "refraction" in script.parameters:
        given["refraction"] = job.looking.refraction
    setting = WorkSetting(
        str(folder.absolute()),
        prepared.ground,
        prepared.grid.crs,
        work.script,
        given,
        looked,
        WholeRun(prepared.ground.near, prepared.provenance.inputs, written_at),
    )
    return [WorkTask(setting, part) for part in prepared.work_parts]


def _told(job: BatchJob, prepared: Prepared, found: Found, kept: int, tiles_kept: int) -> list[str]:
    """What was seen, in lines."""
    lines = [
        f"{job.title}: {counted(found.stations, 'station')}, {counted(len(prepared.parts), 'part')}, "
        f"{counted(len(prepared.tiles), 'tile')}."
    ]
    if kept or tiles_kept:
        lines.append(
            f"Kept from an earlier run: {counted(kept, 'part')} and {counted(tiles_kept, 'tile')}, verified."
        )
    lines.append(
        f"Seen from any station: {found.seen_cells:,} of {found.asked_cells:,} cells within a reach."
    )
    return lines


def _do(tasks: Sequence[Any], what: str, scheduler: str | None, workers: int, listener: Listener) -> int:
    """Have those tasks done that are not done yet; returns how many were."""
    with listener.work(what) as advance:
        left: list[Task] = [task for task in tasks if not task.is_done()]
        kept = done = len(tasks) - len(left)

        def one_done() -> None:
            nonlocal done
            done += 1
            advance(done / len(tasks))

        do_tasks(left, workers=workers, scheduler=scheduler, done=one_done)
    return kept


def _work_folders(job: BatchJob) -> list[str]:
    wanted = {
        "parts": job.has_products,
        "tiles": job.has_products,
        "viewsheds": job.has_products and job.products.viewsheds,
        "work": job.work is not None,
    }
    return [name for name, is_wanted in wanted.items() if is_wanted]


def _raster_folders(job: BatchJob) -> list[str]:
    products = job.products
    wanted = {
        "visible_count": products.counts,
        "first_station": products.first,
        "nearest_station": products.nearest,
        "visible_weight": products.weights,
        "least_depth": products.least_depth,
        "expected_count": products.chances,
        "best_chance": products.chances,
    }
    return [name for name, is_wanted in wanted.items() if is_wanted]


def _workers(request: BatchRequest) -> int:
    if request.workers is not None and request.scheduler is not None:
        raise CallError(
            "both a number of workers and a scheduler are given",
            remedy="The scheduler has workers of its own: leave one out",
            parameters=("workers", "scheduler"),
        )
    workers = budget() if request.workers is None else request.workers
    if not 1 <= workers <= _MOST_WORKERS:
        raise CallError(
            f"{workers} workers can do no work",
            remedy=f"Give a number from 1 to {_MOST_WORKERS:,}",
            parameters=("workers",),
        )
    return workers


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Keep other runs out of the folder; the system lets go of it when a process dies."""
    from filelock import FileLock, Timeout

    lock = FileLock(folder / ".hillsight-batch.lock")
    try:
        lock.acquire(blocking=False)
    except Timeout:
        raise OutputError(
            "another run is at work in the folder",
            where=str(folder),
            remedy="Wait for it, or name another folder",
        ) from None
    try:
        yield
    finally:
        (folder / ".hillsight-batch.lock").unlink(missing_ok=True)
        lock.release()
