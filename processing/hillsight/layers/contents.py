"""What a GeoPackage of hillsight holds for one station, read back for drawing; absent layers stay absent."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import HillsightError, StationError
from hillsight.ground.grid import between_posts
from hillsight.layers.package import raster_table
from hillsight.schema.layers import LAYERS

if TYPE_CHECKING:
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

    station : its row of the layer ``stations``
    frames : the other layers by name, this station's rows only; missing where the file lacks the layer
    rasters : by prefix, "viewshed" and "depth", where the file has them
    parameters, inputs : from the file's provenance; empty where it has none
    """

    label: str
    station: Any
    frames: dict[str, geopandas.GeoDataFrame]
    rasters: dict[str, Raster]
    parameters: dict[str, Any]
    inputs: tuple[str, ...]

    def rows(self, layer: str) -> geopandas.GeoDataFrame | None:
        """The layer's rows, or None where there are none."""
        frame = self.frames.get(layer)
        return None if frame is None or frame.empty else frame


def station_labels(package: Path) -> list[str]:
    """Labels of all stations in the file, in order.

    Raises
    ------
    HillsightError : it is no GeoPackage with stations
    """
    return [str(label) for label in _stations(package)["station"]]


def read_content(package: Path, station: str, crs: CRS | None = None) -> Content:
    """Read what the file holds for one station.

    Parameters
    ----------
    package : GeoPackage that hillsight wrote
    station : the station's label
    crs : to bring the vector layers into; None leaves them as they are. Rasters keep their own

    Raises
    ------
    HillsightError : the file cannot be read; StationError : it has no such station
    """
    import pyogrio

    stations = _stations(package)
    labels = [str(label) for label in stations["station"]]
    if station not in labels:
        raise StationError(
            f"there is no station {station!r}",
            where=str(package),
            remedy=f"The stations are: {', '.join(repr(label) for label in labels)}",
        )
    present = {str(name) for name in pyogrio.list_layers(package)[:, 0]}
    frames = {}
    for name in LAYERS:
        if name in present and name != "stations":
            frame = pyogrio.read_dataframe(package, layer=name)
            frame = frame[frame["station"] == station].reset_index(drop=True)
            frames[name] = frame if crs is None or frame.empty else frame.to_crs(crs)
    row = stations if crs is None else stations.to_crs(crs)
    document = _provenance(package)
    return Content(
        station,
        row.iloc[labels.index(station)],
        frames,
        _rasters(package, labels, station),
        dict(document.get("parameters") or {}),
        tuple(str(item.get("name", "")) for item in document.get("inputs") or ()),
    )


def _stations(package: Path) -> Any:
    import pyogrio

    if not Path(package).is_file():
        raise HillsightError("there is no such file", where=str(package))
    try:
        return pyogrio.read_dataframe(package, layer="stations")
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise HillsightError(
            "this is no GeoPackage with stations",
            where=str(package),
            remedy="Give a file that hillsight wrote",
        ) from error


def _rasters(package: Path, labels: list[str], station: str) -> dict[str, Raster]:
    """The station's rasters; their names follow from the order of the labels, as when they were written."""
    import rasterio
    from pyproj import CRS

    taken: set[str] = set()
    names = {
        label: {kind: raster_table(kind, label, taken) for kind in ("viewshed", "depth")} for label in labels
    }
    with closing(sqlite3.connect(f"{Path(package).resolve().as_uri()}?mode=ro", uri=True)) as database:
        tables = {row[0] for row in database.execute("SELECT table_name FROM gpkg_contents")}
    found = {}
    for kind, name in names[station].items():
        if name not in tables:
            continue
        options = {"BAND_COUNT": 1} if kind == "viewshed" else {}
        with rasterio.open(package, driver="GPKG", TABLE=name, **options) as file:
            array, bounds = file.read(1), file.bounds
            crs = CRS.from_wkt(file.crs.to_wkt())
        found[kind] = Raster(array, (bounds.left, bounds.bottom, bounds.right, bounds.top), crs)
    return found


def _provenance(package: Path) -> dict[str, Any]:
    with closing(sqlite3.connect(f"{Path(package).resolve().as_uri()}?mode=ro", uri=True)) as database:
        try:
            row = database.execute(
                "SELECT m.metadata FROM gpkg_metadata m JOIN gpkg_metadata_reference r "
                "ON r.md_file_id = m.id WHERE r.reference_scope = 'geopackage' ORDER BY m.id LIMIT 1"
            ).fetchone()
        except sqlite3.OperationalError:  # a file without metadata tables
            return {}
    try:
        document = json.loads(row[0]) if row else {}
    except ValueError:
        return {}
    return document if isinstance(document, dict) else {}


def sampled(raster: Raster, easting: AnyArray, northing: AnyArray, crs: CRS, *, smooth: bool) -> AnyArray:
    """Values of a raster at places of another grid; NaN (or 0 for whole numbers) beyond it.

    Parameters
    ----------
    easting, northing : (rows, columns) in ``crs``
    smooth : bilinear between cell centres, by the rule for ground between posts; otherwise
        the cell that holds the place
    """
    from pyproj import Transformer

    if not raster.crs.equals(crs, ignore_axis_order=True):
        easting, northing = Transformer.from_crs(crs, raster.crs, always_xy=True).transform(easting, northing)
    west, south, east, north = raster.edges
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
