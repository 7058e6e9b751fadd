"""Puts what a script found in the parts of a batch into one GeoPackage, in the order of the stations."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from hillsight.jobs.batch.catalog import write_parquet
from hillsight.jobs.outputs import write_style_folder
from hillsight.layers.atomic import made_folder
from hillsight.layers.bearing_csv import bearing_csv
from hillsight.layers.contents import layers_in, read_layer, read_placed, written_rasters
from hillsight.layers.csv_table import formula_note
from hillsight.layers.frames import conform
from hillsight.layers.package import package
from hillsight.schema.layers import LAYERS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import geopandas

    from hillsight.jobs.batch.job_file import Cutting
    from hillsight.jobs.batch.places import BatchStation
    from hillsight.jobs.batch.work import WorkTask
    from hillsight.layers.contents import WrittenRaster
    from hillsight.layers.package import Package
    from hillsight.layers.provenance import Provenance

WORK = "work.gpkg"

#: Stations whose rows are held at a time.
_AT_ONCE = 64

#: Columns that count through a whole run, and the layer that has a row for each number.
_COUNTED = {"section": "profile_line", "picture": "panorama_frames"}

#: More notes than these are counted, not told.
_MOST_NOTES = 200


@dataclass(frozen=True)
class Worked:
    """What the work came to.

    stations : how many it was done for
    refused : number and reason of the others
    notes : what there is to say of the tables that were written beside
    """

    stations: int
    refused: list[tuple[int, str]]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class _File:
    """A GeoPackage of a part, with the stations in it by number."""

    path: Path
    numbers: tuple[int, ...]


def put_together(
    folder: Path,
    tasks: Sequence[WorkTask],
    stations: Sequence[BatchStation],
    provenance: Provenance,
    output: Cutting,
) -> Worked:
    """Write ``work.gpkg``: every layer's rows, and all rasters, by the number of the station they are of.

    Its layers as tables beside, in other formats, as ``output`` wants them. Some stations' rows of one layer
    are held at a time, or one raster.

    Parameters
    ----------
    stations : with the labels that they bear in the parts

    Raises
    ------
    OutputError : the file cannot be written
    """
    files: list[_File] = []
    refused: list[tuple[int, str]] = []
    notes: dict[str, None] = {}
    operations: dict[str, None] = {}
    for task in tasks:
        told = json.loads(task.file.read_bytes())
        refused += [(one["number"], one["reason"]) for one in told["refused"]]
        for one in told["files"]:
            files.append(_File(task.setting.work_folder / one["file"], tuple(one["numbers"])))
            notes |= dict.fromkeys(one["notes"])
            operations |= dict.fromkeys(json.dumps(each, sort_keys=True) for each in one["operations"])
    done = sorted(number for file in files for number in file.numbers)
    if not done:
        return Worked(0, sorted(refused))
    by_number = {station.number: station for station in stations}
    told_by = dict.fromkeys([*provenance.notes, *notes])
    provenance = replace(
        provenance,
        notes=_shortened(list(told_by)),
        operations=(*provenance.operations, *(json.loads(text) for text in operations)),
    )
    layers = _Layers(files, done, by_number)
    with package(folder / WORK, provenance) as file:
        for layer in layers.names:
            for number, rows in enumerate(layers.rows(layer)):
                if number == 0 or len(rows):
                    file.write(layer, rows, append=number > 0)
        _write_rasters(file, files, done, by_number)
    write_style_folder(folder / WORK)
    tables = _write_tables(folder, layers, provenance, output)
    return Worked(len(done), sorted(refused), tables)


def _write_tables(folder: Path, layers: _Layers, provenance: Provenance, output: Cutting) -> tuple[str, ...]:
    """Layers in other formats; what there is to say of them."""
    import pyogrio

    if not (output.parquet or output.csv):
        return ()
    tables = made_folder(folder / "tables")
    for layer in layers.names if output.parquet else ():
        bounds = pyogrio.read_info(folder / WORK, layer=layer)["total_bounds"]
        rows = (conform(some, LAYERS[layer], None) for some in layers.rows(layer))
        write_parquet(tables / f"{layer}.parquet", rows, provenance, bounds)
    if not output.csv:
        return ()
    if "bearing_list" not in layers.names:
        return ("The script makes no bearing list, so there is none as CSV.",)
    with bearing_csv(tables / "bearing_list.csv") as add:
        formulas = sum(add(rows) for rows in layers.rows("bearing_list"))
    return (formula_note(formulas),) if formulas else ()


def _shortened(notes: list[str]) -> tuple[str, ...]:
    if len(notes) <= _MOST_NOTES:
        return tuple(notes)
    return (*notes[:_MOST_NOTES], f"{len(notes) - _MOST_NOTES:,} more notes of single stations are not told.")


class _Layers:
    """The layers of all parts; some stations' rows are read at a time."""

    def __init__(
        self, files: Sequence[_File], done: Sequence[int], stations: Mapping[int, BatchStation]
    ) -> None:
        found = dict.fromkeys(layer for one in files for layer in layers_in(one.path) if layer in LAYERS)
        self.names = tuple(found)
        self._done, self._stations = done, stations
        self._place = {number: one for one in files for number in one.numbers}
        self._shifts = {
            column: _shifts(column, files, done, stations)
            for column, layer in _COUNTED.items()
            if layer in found
        }

    def rows(self, layer: str) -> Iterator[geopandas.GeoDataFrame]:
        """Rows of a layer, in the order of the stations; frames without rows too."""
        for first in range(0, len(self._done), _AT_ONCE):
            numbers = self._done[first : first + _AT_ONCE]
            rows = _rows(layer, numbers, self._place, self._stations)
            for column, shift in self._shifts.items():
                if column in rows:
                    rows[column] += np.array([shift[label] for label in rows["station"]], np.int64)
            yield rows


def _shifts(
    column: str, files: Sequence[_File], done: Sequence[int], stations: Mapping[int, BatchStation]
) -> dict[str, int]:
    """By how much a number grows that parts count from 1 each, by the station's label."""
    import pyogrio

    least: dict[str, int] = {}
    count: dict[str, int] = {}
    for one in files:
        told = pyogrio.read_dataframe(
            one.path, layer=_COUNTED[column], columns=["station", column], read_geometry=False
        )
        for label, numbers in told.groupby("station")[column]:
            least[str(label)], count[str(label)] = int(numbers.min()), numbers.nunique()
    before, found = 0, {}
    for number in done:
        label = stations[number].label
        found[label] = before + 1 - least.get(label, before + 1)
        before += count.get(label, 0)
    return found


def _rows(
    layer: str,
    numbers: Sequence[int],
    place: Mapping[int, _File],
    stations: Mapping[int, BatchStation],
) -> geopandas.GeoDataFrame:
    """Rows of a layer of some stations, in their order; as they stand in the parts within each station."""
    wanted: dict[Path, list[str]] = {}
    for number in numbers:
        wanted.setdefault(place[number].path, []).append(stations[number].label)
    frames = [read_layer(path, layer, labels) for path, labels in wanted.items()]
    filled = [frame for frame in frames if len(frame)] or frames[:1]
    rows = pd.concat(filled, ignore_index=True)
    number_of = {stations[number].label: number for number in numbers}
    order = np.argsort([number_of[label] for label in rows["station"]], kind="stable")
    rows = rows.iloc[order].reset_index(drop=True)
    if layer == "stations":  # where parts were told labels in place of names
        given = {stations[number].label: stations[number].name for number in numbers}
        rows["name"] = pd.Series([given[label] for label in rows["station"]], dtype=object)
    return rows


def _write_rasters(
    file: Package, files: Sequence[_File], done: Sequence[int], stations: Mapping[int, BatchStation]
) -> None:
    place = {number: one for one in files for number in one.numbers}
    taken = {name.casefold() for name in file.tables}
    for number in done:
        path = place[number].path
        for raster in _rasters(path, stations[number].label):
            table = _free(raster.table, stations[number].label, taken)
            file.write_placed(
                table, read_placed(path, raster), raster.meaning, raster.kind, station=raster.station
            )


def _rasters(path: Path, label: str) -> Iterator[WrittenRaster]:
    return (raster for raster in _told(path) if raster.station == label)


@lru_cache(maxsize=256)
def _told(path: Path) -> list[Any]:
    return written_rasters(path)


def _free(table: str, label: str, taken: set[str]) -> str:
    """The name of a raster, or another one by its station's label where stations of two parts share it."""
    name, number = table, 2
    if name in taken:
        name = base = f"{table}_{hashlib.sha256(label.encode('utf-8', 'surrogatepass')).hexdigest()[:8]}"
        while name in taken:
            name, number = f"{base}_{number}", number + 1
    taken.add(name)
    return name
