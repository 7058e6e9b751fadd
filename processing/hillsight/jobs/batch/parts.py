"""One part of a batch job: neighbouring stations over one window of ground, into one checked file."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import HillsightError
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.stations import Station
from hillsight.jobs.batch.checked import is_whole, packed, write_checked
from hillsight.jobs.batch.covered import on_terrain
from hillsight.jobs.batch.ground import BatchGround
from hillsight.jobs.batch.planning import Part, overlap, tile_window, tiles_of
from hillsight.layers.package import raster_table
from hillsight.layers.rasters import write_cog
from hillsight.reading.coverage import Question, Stand, areas_ha, stand
from hillsight.reading.what_hides import inside_notes
from hillsight.schema.rasters import RASTERS
from hillsight.sight.bands import see_in_bands
from hillsight.sight.doubt import probability_of_posts
from hillsight.sight.gathering import NOT_ASKED, Gathered, Gatherers, gather
from hillsight.sight.many import Asked, WindowSight, see_each
from hillsight.sight.maxima import Maxima
from hillsight.sight.octants import Window
from hillsight.sight.points import see_pairs
from hillsight.sight.viewing import Eye, Viewing

if TYPE_CHECKING:
    from collections.abc import Iterator

    from hillsight.arrays import AnyArray, Bytes, Floats32
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.cover_shapes import CoverShapes
    from hillsight.ground.cover_source import CoverSource
    from hillsight.ground.grid import Grid, Surface
    from hillsight.ground.terrain import Terrain
    from hillsight.jobs.batch.job_file import Products
    from hillsight.jobs.batch.places import BatchStation
    from hillsight.layers.provenance import Provenance
    from hillsight.reading.coverage import Read

#: Rows of ground that are read at a time: what reading needs beside them stays small.
_ROWS_AT_ONCE = 512

_NO_VALUES = np.empty((0, 0), np.float32)

#: A post counts as the greatest number of eyes that a byte tells besides no count.
_MOST_IN_BYTE = 254


@dataclass(frozen=True)
class Setting:
    """What all tasks of a job share; small, so that it goes with each.

    folder : where everything is written, by a name that is good wherever a task is done
    errors : what errs, where chances are wanted
    cover : what stands on the ground, without the shapes of map files, which go with each part
    """

    folder: str
    ground: BatchGround
    products: Products
    refraction: float
    tile_posts: int
    provenance: Provenance
    errors: ErrorModel | None
    cover: CoverSource | None = None

    def part_file(self, number: int) -> Path:
        """The file of a part."""
        return Path(self.folder) / "parts" / f"{number:06d}.npz"

    def tile_file(self, name: str) -> Path:
        """The file that tells of a tile's rasters."""
        return Path(self.folder) / "tiles" / f"{name}.json"


def rank_of(station: BatchStation) -> int:
    """Who comes first: by weight, then by place in the list; the least rank is first."""
    return (1_000_000 - thousandths(station.weight)) * (1 << 32) + station.number


def thousandths(weight: float) -> int:
    """A weight as a whole number."""
    return round(weight * 1000)


@dataclass(frozen=True)
class PartTask:
    """See the stations of a part; done again it leaves the same file.

    shapes : what of map files of cover reaches into the part's window
    """

    setting: Setting
    part: Part
    shapes: CoverShapes | None = None

    @property
    def name(self) -> str:
        """As dashboards and messages show it."""
        return f"part-{self.part.name}"

    @property
    def file(self) -> Path:
        """What it leaves."""
        return self.setting.part_file(self.part.number)

    def is_done(self) -> bool:
        """Whether its file is there as it was written."""
        return is_whole(self.file)

    def run(self) -> dict[str, Any]:
        """Do it; returns how many stations were seen and refused.

        Raises
        ------
        HillsightError : the ground cannot be read, or the file not be written
        """
        done = _seen_part(self.setting, self.part, self.shapes)
        write_checked(self.file, packed(done.arrays, done.record))
        return {"stations": len(done.record["rows"]), "refused": len(done.record["refused"])}


@dataclass
class _Done:
    arrays: dict[str, AnyArray]
    record: dict[str, Any]


@dataclass
class _Standing:
    """Stations of a part that can be used, where they stand, and what is to say of each."""

    stations: list[BatchStation] = field(default_factory=list)
    stands: list[Stand] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    refused: list[dict[str, Any]] = field(default_factory=list)

    def note_inside(self, surface: Surface, eyes: list[Eye]) -> None:
        """Note of those whose eye is inside cover that they see uncertain ground only."""
        for number, (station, eye) in enumerate(zip(self.stations, eyes, strict=True)):
            told = (self.notes[number], *inside_notes(station.label, surface, eye))
            self.notes[number] = "; ".join(text for text in told if text)


def _seen_part(setting: Setting, part: Part, shapes: CoverShapes | None) -> _Done:
    products = setting.products
    with setting.ground.terrain() as bare, bare.reading() as read_any:
        terrain = on_terrain(bare, setting.cover, shapes)
        surface, read = None, read_any
        if not part.is_far:
            height_m = _read(read_any, part.window)
            surface = terrain.surface(part.window.row, part.window.column, height_m)
            read = _held(height_m, part.window)
        standing = _stood(setting, terrain, part, read)
        gathered = Gathered.over(
            part.window.rows,
            part.window.columns,
            first=products.first,
            nearest=products.nearest,
            weights=products.weights,
            depth=products.least_depth,
            chances=products.chances,
        )
        eyes = [_moved(at.eye, part.window) for at in standing.stands]
        gatherers = Gatherers(
            np.array([eye.row for eye in eyes], np.float64),
            np.array([eye.column for eye in eyes], np.float64),
            np.array([rank_of(s) for s in standing.stations], np.int64),
            np.array([thousandths(s.weight) for s in standing.stations], np.int64),
        )
        rows = []
        if surface is None:
            views = _far_views(terrain, read, part.window, standing)
        else:
            standing.note_inside(surface, eyes)
            asked = (
                Asked(eye, at.field, (station.target_height_m,))
                for eye, at, station in zip(eyes, standing.stands, standing.stations, strict=True)
            )
            views = see_each(surface, asked, clearance=products.least_depth)
        for number, (view, at, station) in enumerate(
            zip(views, standing.stands, standing.stations, strict=True)
        ):
            seen = gather(
                gathered,
                gatherers,
                number,
                view.window,
                view.states[0],
                view.clearance_m,
                terrain.grid.spacing_x_m,
                terrain.grid.spacing_y_m,
            )
            rows.append(_row(terrain.grid, station, at, view.states[0], seen, standing.notes[number]))
            if setting.errors is not None and surface is not None:
                around = surface.part(*view.window)
                eye = _moved(eyes[number], view.window)
                chance = probability_of_posts(around, eye, at.field, station.target_height_m, setting.errors)
                gathered.add_chances(view.window, chance)
            if products.viewsheds:
                rows[-1]["viewshed"] = _write_viewshed(setting, terrain, station, at, view.states[0])
        arrays = _blocks(gathered, setting, terrain.grid, part.window)
        if products.matrix and surface is not None:
            arrays |= _matrix(surface, part, standing, eyes)
    arrays["window"] = np.array(part.window, np.int64)
    arrays["numbers"] = np.array([s.number for s in standing.stations], np.int64)
    arrays["ranks"] = gatherers.ranks
    arrays["rows"] = gatherers.rows + part.window.row
    arrays["columns"] = gatherers.columns + part.window.column
    return _Done(arrays, {"rows": rows, "refused": standing.refused})


def _far_views(terrain: Terrain, read: Read, window: Window, standing: _Standing) -> Iterator[WindowSight]:
    """Views whose ground is more than is held at once: states alone, the ground band by band."""
    for station, at in zip(standing.stations, standing.stands, strict=True):
        heights_m = [station.target_height_m]
        states = see_in_bands(lambda band: read(*band), terrain.grid, at.eye, at.field, heights_m)
        moved = at.window._replace(row=at.window.row - window.row, column=at.window.column - window.column)
        yield WindowSight(moved, states, _NO_VALUES, _NO_VALUES, _NO_VALUES)


def _read(read: Read, window: Window) -> Floats32:
    """The heights of a window, some rows at a time."""
    height_m = np.empty((window.rows, window.columns), np.float32)
    for top in range(0, window.rows, _ROWS_AT_ONCE):
        rows = min(_ROWS_AT_ONCE, window.rows - top)
        height_m[top : top + rows] = read(window.row + top, window.column, rows, window.columns)
    return height_m


def _held(height_m: Floats32, window: Window) -> Read:
    """Reads heights of a window that are held."""

    def read(row: int, column: int, rows: int, columns: int) -> Floats32:
        top, left = row - window.row, column - window.column
        return height_m[top : top + rows, left : left + columns]

    return read


def _stood(setting: Setting, terrain: Terrain, part: Part, read: Read) -> _Standing:
    """Put the stations of a part on the ground; one that cannot stand is refused, the rest goes on."""
    geodesy = Geodesy(terrain.crs)
    found = _Standing()
    for station in part.stations:
        try:
            at, notes = stand(
                terrain.bare, read, _as_station(station), _question(station, setting.refraction), geodesy
            )
        except HillsightError as error:
            found.refused.append({"number": station.number, "reason": error.what})
            continue
        found.stations.append(station)
        found.stands.append(at)
        found.notes.append("; ".join(notes))
    return found


def _as_station(station: BatchStation) -> Station:
    return Station(
        station.label,
        station.label,
        station.easting_m,
        station.northing_m,
        station.ground_height_m,
        station.label,
    )


def _question(station: BatchStation, refraction: float) -> Question:
    viewing = Viewing(station.eye_height_m, station.target_height_m, station.reach_m, refraction)
    return Question(
        viewing,
        (station.target_height_m,),
        from_bearing_deg=station.from_bearing_deg or 0.0,
        to_bearing_deg=station.to_bearing_deg,
    )


def _moved(eye: Eye, window: Window) -> Eye:
    return Eye(eye.row - window.row, eye.column - window.column, eye.level_m, eye.drop_per_m)


def _row(grid: Grid, station: BatchStation, at: Stand, states: Bytes, seen: int, note: str) -> dict[str, Any]:
    """What is told of a station in the index."""
    return {
        "number": station.number,
        "ground_height_m": at.ground_m,
        "eye_level_m": at.eye.level_m,
        "visible_cells": seen,
        **areas_ha(grid, at, states),
        "note": note,
    }


def _write_viewshed(
    setting: Setting, terrain: Terrain, station: BatchStation, at: Stand, states: Bytes
) -> str:
    """The states of a station as a raster of its own; returns its name within the folder."""
    name = raster_table(f"{station.number:06d}", station.label, set())
    file = Path("viewsheds") / f"{name}.tif"
    kind = RASTERS["viewshed"]
    write_cog(
        Path(setting.folder) / file,
        states,
        terrain.grid.part(*at.window),
        nodata=kind.no_data,
        provenance=setting.provenance,
        meaning=f"{station.label}: {kind.meaning}",
    )
    return file.as_posix()


def _blocks(gathered: Gathered, setting: Setting, grid: Grid, window: Window) -> dict[str, AnyArray]:
    """What is gathered, cut by the tiles that it lies on; where nothing was asked there is no block."""
    arrays: dict[str, AnyArray] = {}
    for row, column in tiles_of(window, setting.tile_posts):
        shared = overlap(window, tile_window(grid, row, column, setting.tile_posts))
        top, left = shared.row - window.row, shared.column - window.column
        inside = np.s_[top : top + shared.rows, left : left + shared.columns]
        counts = gathered.counts[inside]
        if int(counts.min()) == NOT_ASKED:
            continue
        place = f"{row}_{column}"
        arrays[f"counts_{place}"] = _narrowed(counts)
        if gathered.first.size:
            arrays[f"first_{place}"] = gathered.first[inside]
        if gathered.nearest.size:
            arrays[f"nearest_{place}"] = gathered.nearest[inside]
        if gathered.weights.size:
            arrays[f"weights_{place}"] = gathered.weights[inside]
        if gathered.depth_m.size:
            arrays[f"depth_{place}"] = gathered.depth_m[inside]
        if gathered.best.size:
            arrays[f"chances_{place}"] = gathered.chances[inside]
            arrays[f"best_{place}"] = gathered.best[inside]
    return arrays


def _matrix(surface: Surface, part: Part, standing: _Standing, eyes: list[Eye]) -> dict[str, AnyArray]:
    """Which eyes of other stations the stations of a part see, of those within their reach."""
    grid = surface.grid
    others = sorted(part.others, key=lambda station: station.number)
    easting_m = np.array([other.easting_m for other in others])
    northing_m = np.array([other.northing_m for other in others])
    number = np.array([other.number for other in others], np.int64)
    rows, columns = grid.to_array(easting_m, northing_m)
    surveyed = np.array([np.nan if o.ground_height_m is None else o.ground_height_m for o in others])
    ground_m = np.where(np.isnan(surveyed), surface.heights_at_m(easting_m, northing_m), surveyed)
    level_m = ground_m + np.array([other.eye_height_m for other in others])
    found: dict[str, list[AnyArray]] = {name: [] for name in ("from", "to", "state", "distance")}
    maxima = Maxima.over(surface)
    for station, eye in zip(standing.stations, eyes, strict=True):
        distance_m = np.hypot(easting_m - station.easting_m, northing_m - station.northing_m)
        near = (distance_m <= station.reach_m) & (number != station.number)
        if not near.any():
            continue
        states = see_pairs(
            surface,
            maxima,
            *(eye.row, eye.column, eye.level_m),
            *(rows[near], columns[near], level_m[near]),
            eye.drop_per_m,
        )
        found["from"].append(np.full(int(near.sum()), station.number, np.int64))
        found["to"].append(number[near])
        found["state"].append(states)
        found["distance"].append(distance_m[near])
    return {
        f"matrix_{name}": np.concatenate(arrays) if arrays else np.empty(0, np.float64)
        for name, arrays in found.items()
    }


def _narrowed(counts: AnyArray) -> AnyArray:
    """Counts in bytes where these hold them, 255 for no count: half of what is to be written."""
    most = int((counts + np.uint16(1)).max()) - 1  # no count, the greatest number, comes round to 0
    return counts if most > _MOST_IN_BYTE else counts.astype(np.uint8)


def widened(counts: AnyArray) -> AnyArray:
    """Counts as they were before :func:`_narrowed`."""
    if counts.dtype != np.uint8:
        return counts
    return np.where(counts == 255, np.uint16(NOT_ASKED), counts)
