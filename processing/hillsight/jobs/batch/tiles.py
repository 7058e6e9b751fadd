"""One tile of a batch job: what parts tell of it put together, into cloud-optimised rasters."""

from __future__ import annotations

import json
import zipfile
import zlib
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import BatchError
from hillsight.jobs.batch.checked import Packed, checksum, is_whole, write_checked
from hillsight.jobs.batch.parts import Setting, widened
from hillsight.jobs.batch.planning import Tile, overlap
from hillsight.layers.rasters import placed, write_placed_cog
from hillsight.schema.batch import BATCH_RASTERS, NOTHING_32
from hillsight.schema.rasters import NOT_COUNTED, RASTERS
from hillsight.sight.gathering import NOT_ASKED, merge_counts, merge_eyes
from hillsight.sight.octants import Window

if TYPE_CHECKING:
    from collections.abc import Iterator

    from hillsight.arrays import AnyArray
    from hillsight.ground.grid import Grid


@dataclass(frozen=True)
class TileTask:
    """Put together a tile; done again it leaves the same files.

    grid : the whole lattice
    stations : how many there are in all: more than 65,534 need counts of 32 bits
    """

    setting: Setting
    tile: Tile
    grid: Grid
    stations: int

    @property
    def name(self) -> str:
        """As dashboards and messages show it."""
        return f"tile-{self.tile.name}"

    @property
    def file(self) -> Path:
        """What tells that it is done."""
        return self.setting.tile_file(self.tile.name)

    def is_done(self) -> bool:
        """Whether all its rasters are there as they were written."""
        if not is_whole(self.file):
            return False
        told = json.loads(self.file.read_bytes())
        folder = Path(self.setting.folder)
        return all(checksum(folder / name) == digest for name, digest in told["rasters"].items())

    def run(self) -> dict[str, Any]:
        """Do it; returns what is told of the tile.

        Raises
        ------
        HillsightError : a part cannot be read, or a raster not be written
        """
        rasters = _merged(self)
        counts = rasters.pop("counts")
        asked = counts != NOTHING_32
        told: dict[str, Any] = {
            "tile": self.tile.name,
            "window": list(self.tile.window),
            "asked_cells": int(asked.sum()),
            "seen_cells": int((asked & (counts > 0)).sum()),
            "most_stations": int(counts[asked].max()) if asked.any() else 0,
            "rasters": {},
        }
        if self.setting.products.counts:
            rasters = {"visible_count": counts, **rasters}
        if asked.any():
            for name, array in rasters.items():
                file = _write(self, name, array)
                told["rasters"][file] = checksum(Path(self.setting.folder) / file)
        write_checked(self.file, json.dumps(told, sort_keys=True, indent=1).encode())
        return {"asked_cells": told["asked_cells"], "seen_cells": told["seen_cells"]}


def _merged(task: TileTask) -> dict[str, AnyArray]:
    """Rasters of a tile by name; ``counts`` always, for what is told of it."""
    window, products, tile = task.tile.window, task.setting.products, task.tile
    shape = (window.rows, window.columns)
    counts = np.full(shape, NOTHING_32, np.uint32)
    eyes = {
        name: np.full(shape, NOTHING_32, np.uint32)
        for name, wanted in (("first", products.first), ("nearest", products.nearest))
        if wanted
    }
    weights = np.zeros(shape, np.int64) if products.weights else None
    depth_m = np.full(shape, np.nan, np.float32) if products.least_depth else None
    chances = np.zeros(shape, np.int64) if products.chances else None
    best = np.full(shape, -1, np.int32)
    book = _StationBook.of(task) if eyes else None
    for number in tile.parts:
        with _part(task, number) as part:
            block = part.array(f"counts_{tile.row}_{tile.column}")
            if block is None:
                continue
            shared = overlap(Window(*part.needed("window").tolist()), window)
            top, left = shared.row - window.row, shared.column - window.column
            inside = np.s_[top : top + shared.rows, left : left + shared.columns]
            merge_counts(counts, widened(block), top, left)
            for name, total in eyes.items():
                assert book is not None
                merge_eyes(
                    total,
                    part.needed(f"{name}_{tile.row}_{tile.column}"),
                    *(top, left),
                    part.needed("numbers"),
                    *(book.ranks, book.rows, book.columns),
                    *(window.row, window.column),
                    *(task.grid.spacing_x_m, task.grid.spacing_y_m),
                    name == "nearest",
                )
            if weights is not None:
                weights[inside] += part.needed(f"weights_{tile.row}_{tile.column}")
            if depth_m is not None:
                depth_m[inside] = np.fmin(depth_m[inside], part.needed(f"depth_{tile.row}_{tile.column}"))
            if chances is not None:
                chances[inside] += part.needed(f"chances_{tile.row}_{tile.column}")
                told = part.needed(f"best_{tile.row}_{tile.column}").astype(np.int32)
                best[inside] = np.maximum(best[inside], np.where(told == NOT_ASKED, -1, told))
    nothing = counts == NOTHING_32
    found: dict[str, AnyArray] = {"counts": counts}
    found |= {f"{name}_station": total for name, total in eyes.items()}
    if weights is not None:
        found["visible_weight"] = np.where(nothing, np.nan, weights / 1000).astype(np.float32)
    if depth_m is not None:
        found["least_depth"] = depth_m
    if chances is not None:
        for name, values in (("expected_count", chances), ("best_chance", best)):
            found[name] = np.where(best < 0, np.nan, values / 1000).astype(np.float32)
    return found


@contextmanager
def _part(task: TileTask, number: int) -> Iterator[Packed]:
    """A part's file.

    Raises
    ------
    BatchError : it cannot be read
    """
    path = task.setting.part_file(number)
    try:
        with Packed(path) as part:
            yield part
    except (OSError, ValueError, EOFError, zipfile.BadZipFile, zlib.error) as error:
        raise BatchError(
            f"what was seen in part {number} cannot be read ({error})",
            where=str(path),
            remedy="Run the same command again: what is damaged is done anew",
        ) from error


@dataclass(frozen=True)
class _StationBook:
    """Ranks and places of the stations of some parts, by their number."""

    ranks: AnyArray
    rows: AnyArray
    columns: AnyArray

    @classmethod
    def of(cls, task: TileTask) -> _StationBook:
        found: list[list[AnyArray]] = []
        for number in task.tile.parts:
            with _part(task, number) as part:
                found.append([part.needed(name) for name in ("numbers", "ranks", "rows", "columns")])
        numbers, *values = (np.concatenate(arrays) for arrays in zip(*found, strict=True))
        by_number = [np.zeros(int(numbers.max(initial=0)) + 1, array.dtype) for array in values]
        for array, told in zip(by_number, values, strict=True):
            array[numbers] = told
        return cls(*by_number)


def _write(task: TileTask, name: str, array: AnyArray) -> str:
    """One raster of the tile; returns its name within the folder."""
    window = task.tile.window
    kind = RASTERS["visible_count"] if name == "visible_count" else BATCH_RASTERS[name]
    no_data = kind.no_data
    if name == "visible_count":
        if task.stations < NOT_COUNTED:
            array = np.where(array == NOTHING_32, NOT_COUNTED, array).astype(np.uint16)
        else:
            no_data = float(NOTHING_32)
    file = Path(name) / f"{name}_{task.tile.name}.tif"
    write_placed_cog(
        Path(task.setting.folder) / file,
        placed(array, task.grid.part(*window)),
        nodata=no_data,
        provenance=task.setting.provenance,
        meaning=kind.meaning,
        unit=kind.unit,
    )
    return file.as_posix()
