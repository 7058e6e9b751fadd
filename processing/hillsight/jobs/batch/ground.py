"""The terrain of a batch job: one file, a VRT, or a folder of tiles; its files with checksums."""

from __future__ import annotations

import hashlib
import xml.etree.ElementTree as ET
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

import numpy as np

from hillsight.errors import TerrainError
from hillsight.ground.raster import opened
from hillsight.ground.terrain import open_terrain
from hillsight.layers.provenance import InputFile, input_file

if TYPE_CHECKING:
    from collections.abc import Iterator

    from hillsight.ground.terrain import Terrain, TerrainSource
    from hillsight.ground.terrain_options import TerrainOptions

#: Endings of files in a folder of tiles that are rasters.
_TILE_ENDINGS = (".tif", ".tiff", ".asc", ".hgt", ".img", ".bil", ".dt2", ".dt1", ".dt0")

#: Tiles that lie off the lattice of the first by more than this share of a cell do not fit.
_OFF_LATTICE = 1e-3

#: More input files than these are told as one in the provenance.
_MOST_TOLD = 20


@dataclass(frozen=True)
class BatchGround:
    """What a task needs to open the terrain.

    path : as GDAL takes it, or a folder of tiles
    near : longitude and latitude of the work, degrees
    mosaic : VRT over the tiles of a folder, as XML; empty for a single file
    """

    path: str
    options: TerrainOptions
    near: tuple[float, float] = (0.0, 0.0)
    mosaic: str = ""

    @contextmanager
    def source(self) -> Iterator[TerrainSource]:
        """The terrain, its header read; a mosaic lives in memory until the block ends."""
        if not self.mosaic:
            yield open_terrain(self.path, self.options)
            return
        from rasterio.io import MemoryFile

        with MemoryFile(self.mosaic.encode(), filename="terrain.vrt") as file:
            yield open_terrain(file.name, self.options)

    @contextmanager
    def terrain(self) -> Iterator[Terrain]:
        """The terrain on its working grid."""
        with self.source() as source:
            yield source.on_metric_grid(*self.near)


def found_ground(path: str, options: TerrainOptions) -> BatchGround:
    """The terrain that a job names; of a folder of tiles with a mosaic over them.

    Raises
    ------
    TerrainError : it does not exist, tiles do not fit together, or a VRT names files that are missing
    """
    if Path(path).is_dir():
        return BatchGround(path, options, mosaic=_mosaic(Path(path)))
    missing = [name for name in _named_by(Path(path)) if not Path(name).exists()]
    if missing:
        more = f" and {len(missing) - 3:,} more" if len(missing) > 3 else ""
        raise TerrainError(
            f"it names {len(missing):,} files that are not there: {', '.join(missing[:3])}{more}",
            where=path,
            remedy="Fetch them, or take them out of the VRT: ground without a tile would be a silent hole",
        )
    return BatchGround(path, options)


def ground_files(path: str) -> list[InputFile]:
    """Every file that the terrain is read from, with checksums by content; a folder's in order of names."""
    place = Path(path)
    if place.is_dir():
        return [input_file(tile) for tile in _tiles(place)]
    names = dict.fromkeys([path, *_named_by(place)])
    with opened(path) as dataset:
        names |= dict.fromkeys(str(name) for name in dataset.files)
    same = {str(Path(name)) if Path(name).exists() else name: name for name in names}
    return [input_file(name) for name in same.values()]


def told_files(files: list[InputFile], path: str) -> tuple[InputFile, ...]:
    """Files as the provenance tells them: many of them as one, with a checksum over theirs."""
    if len(files) <= _MOST_TOLD:
        return tuple(files)
    lines = "\n".join(f"{file.name} {file.sha256}" for file in files)
    digest = hashlib.sha256(lines.encode()).hexdigest()
    size_bytes = sum(file.size_bytes or 0 for file in files)
    return (InputFile(f"{path} ({len(files)} files)", None, digest, size_bytes),)


def _named_by(path: Path) -> list[str]:
    """Files that a VRT, and those that it names, are made of; none of another file."""
    if path.suffix.lower() != ".vrt" or not path.is_file():
        return []
    try:
        root = ET.fromstring(path.read_bytes())
    except ET.ParseError as error:
        raise TerrainError(f"the VRT is no XML: {error}", where=str(path), remedy="Make it again") from error
    found: dict[str, None] = {}
    for element in root.iter("SourceFilename"):
        name = (element.text or "").strip()
        if not name or name.startswith("/vsi") or "://" in name or name.lstrip().startswith("<"):
            continue
        file = path.parent / name if element.get("relativeToVRT") == "1" else Path(name)
        if str(file) not in found:
            found[str(file)] = None
            found |= dict.fromkeys(_named_by(file))
    return list(found)


def _tiles(folder: Path) -> list[Path]:
    tiles = sorted(f for f in folder.iterdir() if f.is_file() and f.suffix.lower() in _TILE_ENDINGS)
    if not tiles:
        raise TerrainError(
            "the folder holds no tiles of terrain",
            where=str(folder),
            remedy=f"Give a folder with rasters whose names end in {', '.join(_TILE_ENDINGS)}",
        )
    return tiles


@dataclass(frozen=True)
class _Tile:
    path: Path
    crs: Any
    transform: tuple[float, ...]
    rows: int
    columns: int
    dtype: str
    nodata: float | None
    unit: str
    scaled: tuple[float, float]


def _header(path: Path) -> _Tile:
    with opened(str(path)) as file:
        if file.count != 1:
            raise TerrainError(
                f"the tile has {file.count} bands", where=str(path), remedy="Give tiles of heights alone"
            )
        return _Tile(
            path,
            file.crs,
            tuple(file.transform)[:6],
            file.height,
            file.width,
            file.dtypes[0],
            file.nodata,
            file.units[0] or "",
            (file.scales[0], file.offsets[0]),
        )


def _mosaic(folder: Path) -> str:
    """A VRT over the tiles of a folder; ground without a tile is void.

    Raises
    ------
    TerrainError : tiles in another CRS, with other cells or off the lattice of the first
    """
    tiles = [_header(path) for path in _tiles(folder)]
    first = tiles[0]
    width, height = first.transform[0], first.transform[4]
    places = []
    for tile in tiles:
        a, b, c, d, e, f = tile.transform
        column, row = (c - first.transform[2]) / width, (f - first.transform[5]) / height
        off = max(abs(column - round(column)), abs(row - round(row)))
        cell = max(abs(a / width - 1) * tile.columns, abs(e / height - 1) * tile.rows)
        if tile.crs != first.crs or b or d or max(off, cell) > _OFF_LATTICE:
            reason = "is in another CRS than" if tile.crs != first.crs else "does not lie on the lattice of"
            raise TerrainError(
                f"the tile {reason} {first.path.name}",
                where=str(tile.path),
                remedy="Give tiles of one lattice, or make a VRT of them by gdalbuildvrt",
            )
        if (tile.unit, tile.scaled) != (first.unit, first.scaled):
            raise TerrainError(
                f"its heights are in other units than those of {first.path.name}", where=str(tile.path)
            )
        places.append((round(row), round(column)))
    top, left = min(row for row, _ in places), min(column for _, column in places)
    rows = max(row + tile.rows for (row, _), tile in zip(places, tiles, strict=True)) - top
    columns = max(column + tile.columns for (_, column), tile in zip(places, tiles, strict=True)) - left
    wide = any(np.dtype(tile.dtype).itemsize >= 4 and tile.dtype != "float32" for tile in tiles)
    x, y = first.transform[2] + left * width, first.transform[5] + top * height
    sources = "".join(
        f'<ComplexSource><SourceFilename relativeToVRT="0">{escape(str(tile.path.absolute()))}'
        f"</SourceFilename><SourceBand>1</SourceBand>"
        f'<SrcRect xOff="0" yOff="0" xSize="{tile.columns}" ySize="{tile.rows}"/>'
        f'<DstRect xOff="{column - left}" yOff="{row - top}" xSize="{tile.columns}" ySize="{tile.rows}"/>'
        f"{'' if tile.nodata is None else f'<NODATA>{tile.nodata!r}</NODATA>'}</ComplexSource>"
        for (row, column), tile in zip(places, tiles, strict=True)
    )
    crs = "" if first.crs is None else f"<SRS>{escape(first.crs.to_wkt())}</SRS>"
    unit = f"<UnitType>{escape(first.unit)}</UnitType>" if first.unit else ""
    return (
        f'<VRTDataset rasterXSize="{columns}" rasterYSize="{rows}">{crs}'
        f"<GeoTransform>{x!r}, {width!r}, 0.0, {y!r}, 0.0, {height!r}</GeoTransform>"
        f'<VRTRasterBand dataType="{"Float64" if wide else "Float32"}" band="1">'
        f"<NoDataValue>nan</NoDataValue>{unit}<Scale>{first.scaled[0]!r}</Scale>"
        f"<Offset>{first.scaled[1]!r}</Offset>{sources}</VRTRasterBand></VRTDataset>"
    )
