"""Results of jobs: layers and rasters in memory, or read from the written file when they are asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.jobs.memory import Raster
from hillsight.layers.atomic import where_written
from hillsight.schema.rasters import NO_DATA

if TYPE_CHECKING:
    import geopandas

    from hillsight.layers.provenance import Provenance


@dataclass(frozen=True, eq=False)
class Result:
    """What a job found.

    Parameters
    ----------
    frames : GeoDataFrames by layer, with the columns that docs/layers.md lists, in its order
    rasters : arrays with transform and CRS, by the name of their table
    notes : what the user should know, one sentence each
    provenance : inputs with checksums, parameters, coordinate operations, versions, time
    files : what was written, by the parameter that asked for it

    With ``out`` the frames and rasters are in the file, and each is read when it is first asked for.
    """

    frames: Mapping[str, geopandas.GeoDataFrame]
    rasters: Mapping[str, Raster]
    notes: tuple[str, ...]
    provenance: Provenance
    files: Mapping[str, tuple[Path, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class WrittenFrames(Mapping[str, "geopandas.GeoDataFrame"]):
    """Layers of a GeoPackage; each access reads one, and keeps nothing."""

    path: Path
    names: tuple[str, ...]

    def __getitem__(self, name: str) -> geopandas.GeoDataFrame:
        from hillsight.layers.contents import read_layer
        from hillsight.layers.frames import GEOMETRY_COLUMN, conform
        from hillsight.schema.layers import LAYERS

        if name not in self.names:
            raise KeyError(name)
        rows = read_layer(where_written(self.path), name)
        return conform(rows.rename_geometry(GEOMETRY_COLUMN), LAYERS[name], None)

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __len__(self) -> int:
        return len(self.names)


@dataclass(frozen=True)
class WrittenRasters(Mapping[str, Raster]):
    """Rasters of a GeoPackage; each access reads one, and keeps nothing.

    bytes_of : for each table whether it holds bytes
    """

    path: Path
    bytes_of: Mapping[str, bool]

    def __getitem__(self, name: str) -> Raster:
        import rasterio

        options: dict[str, Any] = {"BAND_COUNT": "1"} if self.bytes_of[name] else {}
        with rasterio.open(where_written(self.path), driver="GPKG", TABLE=name, **options) as file:
            array = file.read(1)
            nodata = NO_DATA.get(np.dtype(array.dtype).name)
            return Raster(array, file.transform, file.crs.to_wkt(), nodata)

    def __iter__(self) -> Iterator[str]:
        return iter(self.bytes_of)

    def __len__(self) -> int:
        return len(self.bytes_of)
