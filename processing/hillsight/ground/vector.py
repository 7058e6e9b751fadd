"""Any vector file as a GeoDataFrame, whatever its driver, its column names and its reference system."""

from __future__ import annotations

import re
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from pyproj import CRS
from pyproj.exceptions import CRSError

from hillsight.errors import Faults, FeatureError, HillsightError
from hillsight.ground.crs import horizontal_crs
from hillsight.ground.network import asking, refuse_if_asked, refuse_linked_crs, shut
from hillsight.ground.text_layers import check_text_layers
from hillsight.ground.transform import operation_between
from hillsight.schema.frames import plain_texts

if TYPE_CHECKING:
    from hillsight.arrays import Floats

_LONGITUDE_LATITUDE = (("longitude", "latitude"), ("lon", "lat"), ("long", "lat"), ("lng", "lat"))
_EASTING_NORTHING = (
    ("easting_m", "northing_m"),
    ("easting", "northing"),
    ("eastings", "northings"),
    ("e", "n"),
    ("x", "y"),
)
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")


#: What messages and the ``source`` columns call a table that came from no file.
IN_MEMORY = "in memory"


class NoGeometryError(FeatureError):
    """A table has neither geometry nor columns that could be coordinates."""


def _exists(path: str) -> bool:
    """Whether it makes sense to ask GDAL: virtual paths, addresses, driver prefixes cannot be looked up."""
    return (
        path.startswith("/vsi") or bool(re.match(r"^[A-Za-z][A-Za-z0-9+_.-]+:", path)) or Path(path).exists()
    )


def display_name(path: Any) -> str:
    """File name without folders, for the ``source`` columns: outputs carry no machine's paths."""
    if not isinstance(path, str):
        return IN_MEMORY
    return path.rstrip("/\\").replace("\\", "/").rsplit("/", 1)[-1]


def list_layers(path: Any) -> list[str]:
    """Names of the layers of a vector file, in the file's order; a GeoDataFrame is one layer, "in memory".

    Raises
    ------
    FeatureError : no such file, or not a vector file that GDAL can read
    """
    return [name for name, _ in _layers_with_types(path)]


def point_layers(path: Any) -> list[str]:
    """Layers that may hold points, of the surest sort there is: of points, else mixed, else tables."""
    layers = _layers_with_types(path)
    points = [name for name, kind in layers if kind is not None and "Point" in kind]
    mixed = [
        name for name, kind in layers if kind is not None and ("Unknown" in kind or "Collection" in kind)
    ]
    return points or mixed or [name for name, kind in layers if kind is None]


def _layers_with_types(path: Any) -> list[tuple[str, str | None]]:
    import pyogrio
    from pyogrio.errors import DataLayerError, DataSourceError

    if not isinstance(path, str):
        return [(IN_MEMORY, "Unknown")]
    if not _exists(path):
        raise FeatureError("no such file", where=path, remedy="Check the path")
    # pyogrio takes what follows them for a file in an archive or an address: it might read another file.
    if any(sign in path for sign in "!;") and Path(path).exists():
        raise FeatureError(
            "the name or its folder holds ! or ;, which the reading library gives a meaning of its own",
            where=path,
            remedy="Rename it",
        )
    try:
        with warnings.catch_warnings(record=True) as told, shut(path), asking(path):
            warnings.simplefilter("always")  # of odd separators and the like: it is read all the same
            found = pyogrio.list_layers(path)
            refuse_if_asked(path, [str(warning.message) for warning in told])
    except (DataSourceError, DataLayerError) as error:
        if Path(path).is_dir():
            raise FeatureError("a folder without vector data", where=path, remedy="Give a file") from error
        raise FeatureError(
            "not a vector file that can be read",
            where=path,
            remedy="Give a GeoPackage, GeoJSON, GPX, KML, CSV, shapefile or another format that GDAL opens",
        ) from error
    return [(str(name), None if kind is None else str(kind)) for name, kind in found]


def read_layer(
    path: Any, layer: str | None, default_crs: CRS | None, *, listed: bool = False
) -> tuple[Any, list[str]]:
    """One layer with its rows as stored, geometry as stored (curves as polylines, no measures).

    Tables without geometry (CSV, spreadsheets) get points from a pair of columns, whatever their case:
    longitude/latitude, lon/lat (WGS 84) or easting_m/northing_m, easting/northing, E/N, x/y
    (``default_crs``). A blank pair gives a row without geometry.

    Parameters
    ----------
    path : anything GDAL opens, virtual paths too; or a table in memory, which is one layer
    layer : its name; None where the file has one layer only
    default_crs : reference system of layers that do not state one; None refuses them
    listed : whether ``list_layers`` has just named the layer, so that it need not be looked for again

    Returns
    -------
    (GeoDataFrame with a CRS, notes of what had to be assumed)

    Raises
    ------
    FeatureError : unreadable file, no such layer, no coordinates, coordinates that are no numbers, no CRS
    """
    if layer is None or not listed:
        layer = _settle_layer(path, layer)
    where = f"{display_name(path)}, layer {layer}"
    notes: list[str] = []
    frame = _read(path, layer, where, notes) if isinstance(path, str) else _in_memory(path)
    if "geometry" not in frame.columns or not hasattr(frame, "crs"):
        return _from_columns(frame, where, default_crs)
    if frame.crs is None:
        if default_crs is None:
            raise FeatureError(
                "the layer does not say its reference system",
                where=where,
                remedy="State one, such as EPSG:27700",
            )
        notes.append(f"{where}: no reference system stated; taken to be in {default_crs.name}")
        frame = frame.set_crs(default_crs)
    else:
        try:
            CRS(frame.crs)
        except CRSError as error:
            raise FeatureError(
                f"the layer's reference system cannot be understood: {error}", where=where
            ) from error
    return frame, notes


def _in_memory(frame: Any) -> Any:
    """A table in memory as one that was read: rows from 0 on, the geometry's column called so.

    Raises
    ------
    FeatureError : it is no table
    """
    if not hasattr(frame, "columns"):
        raise FeatureError(
            f"a {type(frame).__name__} is no table of features",
            where=IN_MEMORY,
            remedy="Give a GeoDataFrame or the name of a vector file",
        )
    frame = plain_texts(frame.reset_index(drop=True))
    if hasattr(frame, "geometry") and frame.geometry.name != "geometry":
        frame = frame.drop(columns="geometry", errors="ignore").rename_geometry("geometry")
    return frame


def _settle_layer(path: Any, layer: str | None) -> str:
    names = list_layers(path)
    if not names:
        raise FeatureError("the file has no layers", where=path)
    if layer is None:
        if len(names) > 1:
            raise FeatureError(
                "the file has several layers", where=path, remedy=f"Name one of them: {', '.join(names)}"
            )
        return names[0]
    if layer not in names:
        raise FeatureError(
            f"there is no layer {layer!r}",
            where=path if isinstance(path, str) else IN_MEMORY,
            remedy=f"The layers are: {', '.join(names)}",
        )
    return layer


def _read(path: str, layer: str, where: str, notes: list[str]) -> Any:
    import pyogrio
    from pyogrio.errors import CRSError as StoredCrsError
    from pyogrio.errors import DataLayerError, DataSourceError, FieldError, GeometryError
    from shapely.errors import ShapelyError

    def read(on_invalid: str) -> Any:
        with warnings.catch_warnings(record=True) as told, shut(path), asking(path):
            # Measures are dropped on purpose; odd dates and lists in columns nobody reads are no concern.
            warnings.simplefilter("always")
            frame = plain_texts(pyogrio.read_dataframe(path, layer=layer, on_invalid=on_invalid))
            said = [str(warning.message) for warning in told]
            refuse_if_asked(path, said)
        refuse_linked_crs(path)
        # Named, and not to be made out: to take another in its place would put all of it elsewhere.
        damaged = [line for line in said if "srs_id" in line]
        if damaged and getattr(frame, "crs", None) is None:
            raise FeatureError(
                f"the layer's reference system is damaged ({damaged[0]})".rstrip("."),
                where=where,
                remedy="State it anew in the file, such as EPSG:27700",
            )
        return frame

    check_text_layers(path)
    try:
        try:
            return read("raise")
        except ShapelyError:  # rings that do not close and the like: not even a geometry
            frame, broken = read("fix"), int(read("ignore").geometry.isna().sum())
            closed = broken - int(frame.geometry.isna().sum())
            notes.append(f"{where}: {closed} feature{'s' if closed != 1 else ''} with open rings, closed")
            return frame
    except UnicodeDecodeError as error:
        raise FeatureError("the text is not UTF-8", where=where, remedy="Save the file as UTF-8") from error
    except (
        DataLayerError,
        DataSourceError,
        FieldError,
        GeometryError,
        ShapelyError,
        StoredCrsError,
        ValueError,
    ) as error:
        raise FeatureError(f"the layer cannot be read: {error}".rstrip("."), where=where) from error
    except (HillsightError, MemoryError):
        raise
    except Exception as error:  # a library met what it never expected: a CRS or a shape that is damaged
        raise FeatureError(
            f"the layer cannot be read ({type(error).__name__}: {error})".rstrip("."),
            where=where,
            remedy="The file may be damaged: fetch or write it again",
        ) from error


def find_column(frame: Any, names: tuple[str, ...]) -> str | None:
    """The first column whose name equals one of the names, whatever its case; best name first."""
    by_name = {str(column).strip().casefold(): str(column) for column in reversed(frame.columns)}
    for name in names:
        if name in by_name:
            return by_name[name]
    return None


def text_or_none(value: Any) -> str | None:
    """A cell as text exactly as stored; None for null and blank. Whole numbers lose their '.0'."""
    if value is None or (isinstance(value, float) and np.isnan(value)) or str(value) in ("<NA>", "NaT"):
        return None
    if isinstance(value, (float, np.floating)) and float(value).is_integer():
        value = int(value)
    text = str(value)
    return text if text.strip() else None


def number_or_none(value: Any, where: str) -> float | None:
    """A cell as a finite number; None for null and blank.

    Raises
    ------
    FeatureError : the cell holds something else
    """
    text = text_or_none(value)
    if text is None:
        return None
    text = text.strip()
    try:
        number = float(text.replace(",", ".") if _DECIMAL_COMMA.fullmatch(text) else text)
    except ValueError:
        number = np.nan
    if not np.isfinite(number) or "_" in text:
        raise FeatureError(
            f"{text!r} is not a finite number", where=where, remedy="Correct it or leave it blank"
        )
    return number


def _coordinate_columns(table: Any) -> tuple[str, str] | None:
    for x_name, y_name in (*_LONGITUDE_LATITUDE, *_EASTING_NORTHING):
        x_column, y_column = find_column(table, (x_name,)), find_column(table, (y_name,))
        if x_column is not None and y_column is not None:
            return x_column, y_column
    return None


def _from_columns(table: Any, where: str, default_crs: CRS | None) -> tuple[Any, list[str]]:
    import geopandas
    import shapely

    notes: list[str] = []
    pair = _coordinate_columns(table)
    if pair is None:
        raise NoGeometryError(
            "neither geometry nor a pair of coordinate columns",
            where=where,
            remedy="Name two columns easting and northing, E and N, x and y, or longitude and latitude",
        )
    x_column, y_column = pair
    if y_column.strip().casefold() in ("latitude", "lat"):
        crs = CRS("EPSG:4326")
    elif default_crs is None:
        raise FeatureError(
            f"columns {x_column} and {y_column} do not say their reference system",
            where=where,
            remedy="State one, such as EPSG:27700",
        )
    else:
        crs = default_crs
        notes.append(f"{where}: columns {x_column}, {y_column} taken to be in {crs.name}")
    x = _column_numbers(table, x_column, where)
    y = _column_numbers(table, y_column, where)
    half = np.flatnonzero(np.isnan(x) != np.isnan(y))
    faults = Faults("rows")
    for row in half:
        faults.found.append(
            FeatureError(
                f"only one of {x_column} and {y_column} is given",
                where=f"{where}, row {row + 1}",
                remedy="Give both or leave both blank",
            )
        )
    faults.tell()
    points = np.full(len(table), None, dtype=object)
    given = ~np.isnan(x)
    points[given] = shapely.points(x[given], y[given])
    columns = table.drop(columns=["geometry"], errors="ignore")
    return geopandas.GeoDataFrame(columns, geometry=geopandas.array.from_shapely(points), crs=crs), notes


def _column_numbers(table: Any, column: str, where: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Numbers of a coordinate column, NaN where blank."""
    numbers = np.full(len(table), np.nan)
    faults = Faults("cells")
    for row, value in enumerate(table[column]):
        with faults.kept():
            number = number_or_none(value, f"{where}, row {row + 1}, column {column}")
            if number is not None:
                numbers[row] = number
    faults.tell()
    return numbers


def carried(frame: Any, crs: CRS, near: tuple[float, float]) -> Any:
    """A GeoDataFrame in another CRS by the package's one way; z stays what it is.

    near : longitude and latitude of the work, where the way is chosen: the same for all that one run carries

    Raises
    ------
    HillsightError : there is no way, or a place has no image
    """
    import shapely

    if frame.empty or horizontal_crs(frame.crs).equals(horizontal_crs(crs), ignore_axis_order=True):
        return frame
    shapes = np.asarray(frame.geometry, dtype=object)
    operation = operation_between(frame.crs, crs, near)

    def moved(places: Floats) -> Floats:
        x, y = operation(places[:, 0], places[:, 1])
        return np.column_stack((x, y, places[:, 2:]))

    with_z = bool(shapely.has_z(shapes).any())
    return frame.set_geometry(shapely.transform(shapes, moved, include_z=with_z), crs=operation.to_crs)
