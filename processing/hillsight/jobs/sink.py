"""Where results go as they come: into a GeoPackage, a little at a time, or into memory."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import pandas as pd
import shapely

from hillsight.jobs.memory import Raster
from hillsight.jobs.results import WrittenFrames, WrittenRasters
from hillsight.layers.frames import conform
from hillsight.layers.package import package, raster_table
from hillsight.layers.rasters import placed
from hillsight.schema.layers import LAYERS
from hillsight.schema.rasters import NO_DATA, RASTERS

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas
    from numpy.typing import NDArray
    from pyproj import CRS

    from hillsight.ground.grid import Grid
    from hillsight.layers.package import Package
    from hillsight.layers.provenance import Provenance

    Frames = Mapping[str, geopandas.GeoDataFrame]

#: Rows are gathered until they take about so many bytes: each writing opens the file once a layer.
_GATHERED_BYTES = 16_000_000

#: A cell of a table takes about so many bytes, a point of a shape 16.
_BYTES_A_CELL, _BYTES_A_POINT = 64, 16


@dataclass(frozen=True, eq=False)
class MadeRaster:
    """A raster as a job makes it.

    kind : one of ``schema.rasters.RASTERS``
    about : a station's label, or "" where it is of all stations
    array : (rows, columns) uint8, uint16 or float32 on ``grid``
    ending : tells several of one station apart, as "2m"
    remark : is added to what the values mean
    """

    kind: str
    about: str
    array: NDArray[Any]
    grid: Grid
    ending: str = ""
    remark: str = ""

    def table(self, taken: set[str]) -> str:
        """Name of its table; it joins those that are taken."""
        if self.about:
            return raster_table(self.kind, self.about, taken, self.ending)
        name = f"{self.kind}{self.ending and '_'}{self.ending.replace('.', '_')}"
        taken.add(name)
        return name

    @property
    def meaning(self) -> str:
        """What its values say, one clause."""
        return f"{self.about}{self.about and ': '}{RASTERS[self.kind].meaning}{self.remark}"


class Sink(Protocol):
    """Takes results as they come."""

    def add(self, frames: Frames) -> None:
        """Rows to add to layers; layers that were not asked for are passed over."""

    def add_raster(self, raster: MadeRaster) -> None:
        """One raster."""

    def close(self, provenance: Provenance) -> None:
        """Nothing more comes; this is where it comes from."""

    @property
    def frames(self) -> Frames:
        """All layers, once the sink is closed."""

    @property
    def rasters(self) -> Mapping[str, Raster]:
        """All rasters, once the sink is closed."""


@dataclass
class MemorySink:
    """Keeps everything, just as a file would hold it: columns, types and CRS.

    layers : names of the layers wanted, in order
    rasters_wanted : whether to keep rasters
    """

    layers: Sequence[str]
    out_crs: CRS | None
    rasters_wanted: bool = True
    near: tuple[float, float] | None = None
    _parts: dict[str, list[geopandas.GeoDataFrame]] = field(default_factory=dict)
    _rasters: dict[str, Raster] = field(default_factory=dict)

    def add(self, frames: Frames) -> None:
        """Keep rows."""
        for layer in self.layers:
            if layer in frames:
                self._parts.setdefault(layer, []).append(frames[layer])

    def add_raster(self, raster: MadeRaster) -> None:
        """Keep a raster."""
        if self.rasters_wanted:
            at = placed(raster.array, raster.grid, self.out_crs, self.near)
            name = raster.table(set(self._rasters))
            self._rasters[name] = Raster(
                at.array, at.transform(), at.crs.to_wkt(), NO_DATA[at.array.dtype.name]
            )

    def close(self, provenance: Provenance) -> None:
        """Nothing is left to do."""

    @property
    def frames(self) -> Frames:
        """The layers that anything was added to."""
        return {
            layer: conform(_joined(parts), LAYERS[layer], self.out_crs, self.near)
            for layer, parts in self._parts.items()
        }

    @property
    def rasters(self) -> Mapping[str, Raster]:
        """The rasters kept."""
        return dict(self._rasters)


class PackageSink:
    """Writes everything into a GeoPackage and holds no more than some stations' rows.

    The file's bytes follow from the content alone: rows are written out by how much has come, not by time.
    """

    def __init__(self, file: Package, path: Path, layers: Sequence[str], *, rasters_wanted: bool) -> None:
        self.file = file
        self.kinds: dict[str, str] = {}
        self._path = path
        self._layers = layers
        self._rasters_wanted = rasters_wanted
        self._parts: dict[str, list[geopandas.GeoDataFrame]] = {}
        self._bytes = 0
        self._are_bytes: dict[str, bool] = {}

    def add(self, frames: Frames) -> None:
        """Gather rows, and write what is gathered if it is much."""
        for layer in self._layers:
            if layer in frames:
                self._parts.setdefault(layer, []).append(frames[layer])
                self._bytes += _size(frames[layer])
        if self._bytes > _GATHERED_BYTES:
            self._write()

    def add_raster(self, raster: MadeRaster) -> None:
        """Write a raster."""
        if self._rasters_wanted:
            table = raster.table(set(self.kinds))
            self.file.write_raster(
                table, raster.array, raster.grid, raster.meaning, raster.kind, station=raster.about or None
            )
            self.kinds[table] = raster.kind
            self._are_bytes[table] = raster.array.dtype == np.uint8

    def close(self, provenance: Provenance) -> None:
        """Write what is left."""
        self.file.provenance = provenance
        self._write()

    def _write(self) -> None:
        for layer in self._layers:
            if layer in self._parts:
                self.file.write(layer, _joined(self._parts.pop(layer)), append=layer in self.file.tables)
        self._bytes = 0

    @property
    def frames(self) -> Frames:
        """The layers of the file, read when they are asked for."""
        return WrittenFrames(self._path, tuple(layer for layer in self._layers if layer in self.file.tables))

    @property
    def rasters(self) -> Mapping[str, Raster]:
        """The rasters of the file, read when they are asked for."""
        return WrittenRasters(self._path, dict(self._are_bytes))


@contextmanager
def sink_for(
    out: Path | None,
    layers: Sequence[str],
    provenance: Provenance,
    *,
    inputs: Sequence[str],
    out_crs: CRS | None,
    near: tuple[float, float],
    rasters_wanted: bool,
) -> Iterator[Sink]:
    """A sink for what a request asks: a file, which appears when the block ends well, or memory.

    near : longitude and latitude of the work, where the way to ``out_crs`` is chosen

    Entered before the work, so that a place that cannot be written to is known at once.

    Raises
    ------
    OutputError : as ``layers.package.package``
    """
    if out is None:
        yield MemorySink(layers, out_crs, rasters_wanted, near)
        return
    with package(out, provenance, inputs=inputs, out_crs=out_crs, near=near) as file:
        yield PackageSink(file, out, layers, rasters_wanted=rasters_wanted)


def _joined(parts: list[geopandas.GeoDataFrame]) -> geopandas.GeoDataFrame:
    return pd.concat(parts, ignore_index=True)


def _size(frame: geopandas.GeoDataFrame) -> int:
    """About how many bytes a table takes."""
    points = int(shapely.get_num_coordinates(frame.geometry.to_numpy()).sum())
    return int(frame.size) * _BYTES_A_CELL + points * _BYTES_A_POINT
