"""What a GeoPackage of hillsight holds, read back: layers as the schema has them, stations, landforms."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import FeatureError, HillsightError
from hillsight.ground.grid import between_posts
from hillsight.ground.network import asking, shut
from hillsight.ground.transform import middle_near, operation_between
from hillsight.ground.vector import IN_MEMORY, carried, list_layers
from hillsight.layers.rasters import Placed
from hillsight.schema.frames import in_order, plain_texts
from hillsight.schema.landforms import LANDFORM_LAYERS
from hillsight.schema.layers import LAYERS
from hillsight.schema.rasters import RASTERS

if TYPE_CHECKING:
    from collections.abc import Iterator

    import geopandas
    from pyproj import CRS

    from hillsight.arrays import AnyArray


@dataclass(frozen=True)
class Raster:
    """One band with its place: cell edges west, south, east, north in ``crs``; NaN or 0 where nothing is."""

    array: AnyArray
    edges: tuple[float, float, float, float]
    crs: CRS


@dataclass(frozen=True)
class Content:
    """Layers and rasters of one station.

    frames : the layers by name, this station's rows only; missing where the file lacks the layer
    rasters : by prefix, "viewshed" and "depth", where the file has them
    parameters, inputs : from the file's provenance; empty where it has none
    """

    label: str
    frames: dict[str, geopandas.GeoDataFrame]
    rasters: dict[str, Raster]
    parameters: dict[str, Any]
    inputs: tuple[str, ...]

    @property
    def station(self) -> Any:
        """Its row of the layer ``stations``."""
        return self.frames["stations"].iloc[0]

    def rows(self, layer: str) -> geopandas.GeoDataFrame | None:
        """The layer's rows, or None where there are none."""
        frame = self.frames.get(layer)
        return None if frame is None or frame.empty else frame

    def in_crs(self, crs: CRS, near: tuple[float, float]) -> Content:
        """The same with the vector layers in a CRS; the rasters keep their own.

        near : longitude and latitude of the work, where the way is chosen
        """
        frames = {name: carried(f, crs, near) for name, f in self.frames.items()}
        return replace(self, frames=frames)


def read_contents(package: Path) -> Iterator[Content]:
    """What the file holds, station by station, in their order; vector layers in the file's CRS.

    Parameters
    ----------
    package : GeoPackage that hillsight wrote

    Raises
    ------
    HillsightError : it is no GeoPackage with stations
    """
    if not Path(package).is_file():
        raise HillsightError("there is no such file", where=str(package))
    present = layers_in(package)
    if "stations" not in present:
        raise HillsightError(
            "this is no GeoPackage with stations",
            where=str(package),
            remedy="Give a file that hillsight wrote",
        )
    frames = {name: read_layer(package, name) for name in LAYERS if name in present}
    document, tables = _documents(package)
    for label in frames["stations"]["station"]:
        yield Content(
            str(label),
            {name: frame[frame["station"] == label].reset_index(drop=True) for name, frame in frames.items()},
            {kind: _raster(package, table, kind) for kind, table in _tables_of(tables, str(label)).items()},
            dict(document.get("parameters") or {}),
            tuple(str(item.get("name", "")) for item in document.get("inputs") or ()),
        )


def read_landforms(
    source: str | Mapping[str, geopandas.GeoDataFrame], crs: CRS, near: tuple[float, float]
) -> dict[str, geopandas.GeoDataFrame]:
    """Layers of landforms in a file or in memory, in a CRS.

    near : longitude and latitude of the work, where the way is chosen

    Raises
    ------
    FeatureError : no such file, or none of its layers holds landforms with their columns
    """
    there = set(source if isinstance(source, Mapping) else list_layers(source))
    frames = {}
    for name in (layer.name for layer in LANDFORM_LAYERS if layer.name in there):
        frame = (
            fitted(source[name], name, IN_MEMORY) if isinstance(source, Mapping) else read_layer(source, name)
        )
        frames[name] = carried(frame, crs, near)
    if not frames:
        raise FeatureError(
            "the file holds no landforms",
            where=IN_MEMORY if isinstance(source, Mapping) else source,
            remedy="Give a file that hillsight landforms wrote, or name no file to have them read",
            parameters=("landforms",),
        )
    return frames


def read_layer(path: str | Path, name: str, stations: Sequence[str] = ()) -> geopandas.GeoDataFrame:
    """One layer of a file, as :func:`fitted` makes it.

    stations : labels of the stations whose rows are wanted; all rows if none are named
    """
    import pyogrio

    where = None
    if stations:
        labels = ", ".join("'" + label.replace("'", "''") + "'" for label in stations)
        where = f'"station" IN ({labels})'
    with shut(str(path)), asking(str(path)):
        frame = plain_texts(pyogrio.read_dataframe(path, layer=name, where=where))
    return fitted(frame, name, str(path))


def fitted(frame: geopandas.GeoDataFrame, name: str, where: str) -> geopandas.GeoDataFrame:
    """A layer's columns of a frame, in order and of their types, with its geometry; others are left out.

    Raises
    ------
    FeatureError : columns of the layer are missing; those that may be null become null instead
    """
    layer = LAYERS[name]
    missing = [c.name for c in layer.columns if not c.optional and c.name not in frame.columns]
    if missing:
        raise FeatureError(
            f"this is no layer {name} as hillsight writes it: it lacks {', '.join(missing)}",
            where=f"{where}, layer {name}",
            remedy="Give a file that hillsight wrote",
        )
    return in_order(frame, layer)


@dataclass(frozen=True)
class WrittenRaster:
    """What a file tells of one of its rasters.

    kind : one of ``schema.rasters.RASTERS``
    station : label of the station it is of; None where it is of several or of none
    """

    table: str
    kind: str
    meaning: str
    station: str | None


def written_rasters(package: Path) -> list[WrittenRaster]:
    """The rasters of a file that hillsight wrote, in its order."""
    return [
        WrittenRaster(
            str(told["table"]), str(told["raster"]), str(told.get("meaning", "")), told.get("station")
        )
        for told in _documents(package)[1]
        if "raster" in told
    ]


def read_placed(package: Path, raster: WrittenRaster) -> Placed:
    """A raster of a file, bit for bit, with its place."""
    import rasterio
    from pyproj import CRS

    options = {"BAND_COUNT": 1} if RASTERS[raster.kind].dtype == "uint8" else {}
    with shut(str(package)), rasterio.open(package, driver="GPKG", TABLE=raster.table, **options) as file:
        at = file.transform
        crs = CRS.from_wkt(file.crs.to_wkt())
        return Placed(file.read(1), crs, (at.c, at.f), (at.a, -at.e))


def read_raster(package: Path, raster: WrittenRaster) -> Raster:
    """A raster of a file, to be sampled."""
    return _raster(package, raster.table, raster.kind)


def layers_in(package: Path) -> list[str]:
    """Names of the vector layers of a file, in its order; none where it cannot be read."""
    import pyogrio

    try:
        with shut(str(package)), asking(str(package)):
            return [str(name) for name in pyogrio.list_layers(package)[:, 0]]
    except pyogrio.errors.DataSourceError:
        return []


def _tables_of(documents: list[dict[str, Any]], station: str) -> dict[str, str]:
    """Names of the station's rasters by kind, as the file's metadata give them; of several, the first."""
    found: dict[str, str] = {}
    for document in documents:
        kind = document.get("raster")
        if document.get("station") == station and kind in ("viewshed", "depth"):
            found.setdefault(kind, str(document["table"]))
    return found


def _raster(package: Path, table: str, kind: str) -> Raster:
    import rasterio
    from pyproj import CRS

    options = {"BAND_COUNT": 1} if kind == "viewshed" else {}
    with shut(str(package)), rasterio.open(package, driver="GPKG", TABLE=table, **options) as file:
        array, bounds = file.read(1), file.bounds
        crs = CRS.from_wkt(file.crs.to_wkt())
    return Raster(array, (bounds.left, bounds.bottom, bounds.right, bounds.top), crs)


def _documents(package: Path) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The file's provenance, and the documents of its tables in their order; empty where it has none."""
    with closing(sqlite3.connect(f"{Path(package).resolve().as_uri()}?mode=ro", uri=True)) as database:
        try:
            rows = database.execute(
                "SELECT r.reference_scope, m.metadata FROM gpkg_metadata m JOIN gpkg_metadata_reference r "
                "ON r.md_file_id = m.id WHERE r.reference_scope IN ('geopackage', 'table') ORDER BY m.id"
            ).fetchall()
        except sqlite3.OperationalError:  # a file without metadata tables
            return {}, []
    whole: dict[str, Any] = {}
    tables = []
    for scope, text in rows:
        try:
            document = json.loads(text)
        except ValueError:
            continue
        if not isinstance(document, dict):
            continue
        if scope == "table":
            tables.append(document)
        elif not whole:
            whole = document
    return whole, tables


def sampled(raster: Raster, easting: AnyArray, northing: AnyArray, crs: CRS, *, smooth: bool) -> AnyArray:
    """Values of a raster at places of another grid; NaN (or 0 for whole numbers) beyond it.

    Parameters
    ----------
    easting, northing : (rows, columns) in ``crs``
    smooth : bilinear between cell centres, by the rule for ground between posts; otherwise
        the cell that holds the place
    """
    west, south, east, north = raster.edges
    if not raster.crs.equals(crs, ignore_axis_order=True):
        near = middle_near(raster.crs, [west, east], [south, north])
        easting, northing = operation_between(crs, raster.crs, near).forward(easting, northing)
    rows, columns = raster.array.shape
    at_row = (north - northing) / (north - south) * rows - 0.5
    at_column = (easting - west) / (east - west) * columns - 0.5
    if smooth:
        # Cells reach half a step, edges drawn between posts up to one, beyond the outermost centres.
        for at, count in ((at_row, rows), (at_column, columns)):
            near = (at > -1) & (at < count)
            at[near] = np.clip(at[near], 0, count - 1)
        return between_posts(raster.array, at_row, at_column)
    row, column = np.rint(at_row), np.rint(at_column)
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    taken = raster.array[np.where(inside, row, 0).astype(int), np.where(inside, column, 0).astype(int)]
    nothing = np.nan if raster.array.dtype.kind == "f" else 0
    return np.asarray(np.where(inside, taken, nothing))
