"""GeoPackages: layers, rasters, styles and provenance in one file that appears whole or not at all."""

from __future__ import annotations

import hashlib
import os
import re
import unicodedata
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import OutputError
from hillsight.ground.registry import epsg_code
from hillsight.layers.atomic import disk_trouble, replacing
from hillsight.layers.frames import GEOMETRY_COLUMN, conform
from hillsight.layers.gdal_settings import fixed_settings, stamped
from hillsight.layers.rasters import Placed, check_raster, placed, raster_profile
from hillsight.layers.tables import Table, write_tables
from hillsight.schema.layers import LAYERS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import geopandas
    import pandas
    import pyproj

    from hillsight.arrays import AnyArray
    from hillsight.ground.grid import Grid
    from hillsight.layers.provenance import Provenance

_SLUG_LENGTH = 40
_TILE_SIZE = "256"
_PROBE_BYTES = 1 << 16


@contextmanager
def package(
    path: Path,
    provenance: Provenance,
    *,
    inputs: Sequence[str | Path] = (),
    out_crs: pyproj.CRS | None = None,
    near: tuple[float, float] | None = None,
) -> Iterator[Package]:
    """GeoPackage to write layers and rasters into; it takes its name when the block ends well, or never.

    With the same content and ``provenance.written_at`` the file is the same, byte for byte.

    Parameters
    ----------
    path : file to make or replace, suffix .gpkg
    provenance : goes into the file's metadata; its time becomes the time of every table
    inputs : files that must not be overwritten
    out_crs : CRS to write in, or None to keep each layer's own
    near : longitude and latitude of the work, where the way to ``out_crs`` is chosen

    Raises
    ------
    OutputError : the place, the disk or the CRS asked for does not allow it; an older file stays as it was
    """
    path = Path(path)
    if path.suffix.lower() != ".gpkg":
        raise OutputError(
            "the output's name must end in .gpkg",
            where=str(path),
            remedy=f"Name it {path.name.partition('.')[0] or path.name}.gpkg or alike",
        )
    folder = os.path.dirname(os.path.realpath(path))  # noqa: PTH120 - as text
    if any(sign in folder for sign in "!;"):  # pyogrio would take what follows for another place
        raise OutputError(
            "the folder's name holds ! or ;, which the writing library gives a meaning of its own",
            where=folder,
            remedy="Name another folder",
        )
    with replacing(path, inputs=inputs) as temporary, fixed_settings(_stamp(provenance)):
        made = Package(temporary, path, provenance, out_crs, near)
        yield made
        made.finish()


class Package:
    """A GeoPackage being written; made by :func:`package`.

    ``provenance`` may be replaced until the block ends, by one with the same ``written_at``.
    """

    def __init__(
        self,
        temporary: Path,
        path: Path,
        provenance: Provenance,
        out_crs: pyproj.CRS | None,
        near: tuple[float, float] | None,
    ) -> None:
        self.provenance = provenance
        self._written_at = provenance.written_at
        self._temporary = temporary
        self._path = path
        self._out_crs, self._near = out_crs, near
        self._tables: list[Table] = []
        self._places: dict[str, Placed] = {}  # of the rasters, without their values

    @property
    def tables(self) -> list[str]:
        """Names of the tables written so far, in order."""
        return [table.name for table in self._tables]

    def write(self, layer: str, frame: geopandas.GeoDataFrame, *, append: bool = False) -> None:
        """Write one vector layer with a spatial index; a frame without rows makes a layer without features.

        Parameters
        ----------
        layer : a name in ``schema.layers.LAYERS``, once per file unless rows are appended
        frame : the layer's columns in the schema's order, geometry, CRS. Optional columns may hold nulls.
            NUL characters and half surrogates in texts become U+FFFD, all else is kept as it is
        append : add the rows to those that the layer has already

        Raises
        ------
        ValueError : the frame breaks the schema (a fault of the program)
        OutputError : the layer cannot be written
        """
        import pyogrio
        import shapely

        declared = LAYERS.get(layer)
        if declared is None:
            raise ValueError(f"no layer {layer!r} in the schema")
        if append:
            place = self.tables.index(layer)
        else:
            self._refuse_twice(layer)
        fitting = conform(frame, declared, self._out_crs, self._near)
        shapes = np.asarray(fitting.geometry.array, dtype=object)
        try:
            # Not write_dataframe(): it would search the registry for the CRS of each layer.
            with stamped(_stamp(self.provenance)):
                pyogrio.raw.write(
                    self._temporary,
                    shapely.to_wkb(shapes, flavor="iso"),
                    **_field_arrays(fitting.drop(columns=GEOMETRY_COLUMN)),
                    crs=_crs_text(fitting.crs),
                    layer=layer,
                    driver="GPKG",
                    geometry_type=declared.geometry,
                    promote_to_multi=False,
                    nan_as_null=True,
                    append=append,
                    **({} if append else _layer_options(layer, declared.meaning)),
                )
        except (pyogrio.errors.DataSourceError, RuntimeError) as error:
            raise self._failure(layer, error) from error
        rows = len(fitting.index)
        if append:
            before = self._tables[place]
            self._tables[place] = replace(before, rows=(before.rows or 0) + rows)
            return
        self._tables.append(Table(layer, layer, declared.meaning, GEOMETRY_COLUMN, declared, rows=rows))

    def write_raster(
        self,
        table: str,
        array: AnyArray,
        grid: Grid,
        meaning: str,
        style: str | None = None,
        station: str | None = None,
    ) -> None:
        """Write one raster without loss and read it back.

        Bytes are codes of ``words.states.GroundState`` and become PNG tiles; floats are depths in metres, or
        probabilities, and become TIFF tiles of a gridded coverage in which NaN is no data; 16-bit whole
        numbers are counts of stations and become PNG tiles of a gridded coverage in which 65535 is no data.
        In another CRS each cell takes the nearest post.

        Parameters
        ----------
        table : name of the table; see :func:`raster_table`
        array : (rows, columns) uint8, uint16 or float32
        grid : the posts of the array
        meaning : what the values say, one clause
        style : name of its style, which is the raster's kind; by the type of its values if not given
        station : label of the station it is of, told in the file's metadata

        Raises
        ------
        ValueError : array and grid do not fit, or the table exists
        OutputError : the raster cannot be written, or does not read back bit for bit
        """
        self.write_placed(table, placed(array, grid, self._out_crs, self._near), meaning, style, station)

    def write_placed(
        self,
        table: str,
        raster: Placed,
        meaning: str,
        style: str | None = None,
        station: str | None = None,
    ) -> None:
        """As :func:`write_raster`, of a raster that has its place already."""
        import rasterio

        self._refuse_twice(table)
        is_byte = raster.array.dtype == np.uint8
        profile = raster_profile(raster)
        code = epsg_code(raster.crs)
        if code is not None:  # the registry's whole entry, as layers have it: the file keeps the first
            profile["crs"] = rasterio.crs.CRS.from_epsg(code)
        try:
            with rasterio.open(
                self._temporary,
                "w",
                **profile,
                driver="GPKG",
                # Not declared here: a tile all NaN would be left out and read back as 0.
                nodata=None,
                APPEND_SUBDATASET="YES" if self._tables else "NO",
                RASTER_TABLE=table,
                RASTER_IDENTIFIER=table,
                RASTER_DESCRIPTION=meaning,
                TILE_FORMAT="TIFF" if raster.array.dtype == np.float32 else "PNG",
                BLOCKSIZE=_TILE_SIZE,
            ) as file:
                file.write(raster.array, 1)
        # TypeError: rasterio stumbles over its own message where GDAL cannot write the raster's place.
        except (rasterio.errors.RasterioError, RuntimeError, TypeError) as error:
            raise self._failure(table, error) from error
        check_raster(self._temporary, raster, f"{self._path}, {table}", **_raster_options(table, is_byte))
        self._places[table] = replace(raster, array=np.empty((0, 0), raster.array.dtype))
        usual = {"uint8": "viewshed", "uint16": "visible_count"}.get(raster.array.dtype.name, "depth")
        style = usual if style is None else style
        self._tables.append(Table(table, style, meaning, codes=bool(is_byte), station=station))

    def read_raster(self, table: str) -> Placed:
        """A raster written before, with its place; until the block ends.

        Raises
        ------
        KeyError : no such raster has been written
        OutputError : it cannot be read back
        """
        import rasterio

        place = self._places[table]
        try:
            with rasterio.open(
                self._temporary, **_raster_options(table, place.array.dtype == np.uint8)
            ) as file:
                return replace(place, array=file.read(1))
        except rasterio.errors.RasterioError as error:
            raise self._failure(table, error) from error

    def finish(self) -> None:
        """Add styles, metadata and the documentation of columns and codes; called by :func:`package`."""
        if not self._tables:
            raise ValueError("a GeoPackage needs at least one layer")
        if self.provenance.written_at != self._written_at:
            raise ValueError("the provenance was replaced by one of another time")
        # Rasters are written station by station, before the layers are complete; the layers are listed first.
        tables = sorted(self._tables, key=lambda table: table.layer is None)
        write_tables(self._temporary, tables, self.provenance, str(self._path))

    def _refuse_twice(self, table: str) -> None:
        if table.casefold() in (name.casefold() for name in self.tables):
            raise ValueError(f"table {table!r} is written twice")

    def _disk_refuses(self) -> str | None:
        """What the disk says to a little more in the file, which is lost anyway; None if it takes it."""
        try:
            with self._temporary.open("ab") as file:
                file.write(bytes(_PROBE_BYTES))
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            return disk_trouble(error)
        return None

    def _failure(self, table: str, error: Exception) -> OutputError:
        what = disk_trouble(error) or self._disk_refuses() or f"{table} cannot be written ({error})"
        return OutputError(
            what, where=str(self._path), remedy="Nothing was written: make room, or name another place"
        )


def raster_table(prefix: str, label: str, taken: set[str], suffix: str = "") -> str:
    """Table name for a raster: ``prefix_slug[_suffix]`` in small ASCII letters, digits and underscores.

    Accents are dropped; whatever else a label holds becomes an underscore. A label that leaves nothing, or
    less than it should, or that clashes with a name taken, gets a part of its checksum, so that the same
    label always gives the same name.

    Parameters
    ----------
    prefix : "viewshed" or "depth"
    label : the station's label, any text
    taken : names in use; the new name is added
    suffix : tells several rasters of one station apart, such as "2m"
    """
    ending = f"_{re.sub(r'[^a-z0-9]+', '_', suffix.lower())}" if suffix else ""
    folded = unicodedata.normalize("NFKD", label).encode("ascii", "ignore").decode().lower()
    slug = re.sub(r"[^a-z0-9]+", "_", folded).strip("_")[:_SLUG_LENGTH].strip("_")
    name = f"{prefix}_{slug}{ending}" if slug else ""
    if not name or name in taken:
        digest = hashlib.sha256(label.encode("utf-8", "surrogatepass")).hexdigest()
        name = "_".join(part for part in (prefix, slug, digest[:8]) if part) + ending
    base, number = name, 2
    while name in taken:
        name, number = f"{base}_{number}", number + 1
    taken.add(name)
    return name


def _stamp(provenance: Provenance) -> str:
    """Its time as GDAL takes it."""
    return f"{provenance.written_at[:19]}.000Z"


def _layer_options(layer: str, meaning: str) -> dict[str, str]:
    """How GDAL is to make a vector layer."""
    return {
        "SPATIAL_INDEX": "YES",
        "GEOMETRY_NAME": GEOMETRY_COLUMN,
        "IDENTIFIER": layer,
        "DESCRIPTION": meaning,
    }


def _raster_options(table: str, is_byte: bool) -> dict[str, str]:
    """What rasterio.open() needs to find a raster's table, as one band."""
    return {"driver": "GPKG", "TABLE": table, **({"BAND_COUNT": "1"} if is_byte else {})}


def _crs_text(crs: pyproj.CRS) -> str:
    """A CRS as GDAL takes it: its EPSG code if it has one, else WKT."""
    code = epsg_code(crs)
    return crs.to_wkt("WKT1_GDAL") if code is None else f"EPSG:{code}"


def _field_arrays(columns: pandas.DataFrame) -> dict[str, list[Any]]:
    """Columns of a table made by ``conform`` as pyogrio's ``raw.write`` takes them."""
    names: list[str] = []
    data: list[Any] = []
    masks: list[Any] = []
    for name, column in columns.items():
        names.append(str(name))
        if isinstance(column.dtype, np.dtype):
            data.append(column.to_numpy())
            masks.append(None)
        else:  # pandas' whole numbers and truth values, which may be null
            masks.append(column.isna().to_numpy())
            data.append(column.fillna(0).to_numpy(column.dtype.numpy_dtype))
    return {"fields": names, "field_data": data, "field_mask": masks}
