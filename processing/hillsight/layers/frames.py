"""Tables made to fit the layer schema exactly, in the CRS asked for; anything else is refused."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import HillsightError, OutputError

if TYPE_CHECKING:
    from collections.abc import Callable

    import geopandas
    import pandas as pd
    import pyproj

    from hillsight.arrays import Floats, Objects
    from hillsight.ground.transform import Operation
    from hillsight.schema.columns import Column, Layer

GEOMETRY_COLUMN = "geom"
# Rings that touch can cross by rounding when they change CRS; shreds below this share of the area go.
_SHRED_SHARE = 1e-9
# SQLite's readers end a text at a NUL, and UTF-8 has no half surrogates.
_UNWRITABLE = re.compile("[\0\ud800-\udfff]")


def conform(
    frame: geopandas.GeoDataFrame,
    layer: Layer,
    out_crs: pyproj.CRS | None,
    near: tuple[float, float] | None = None,
) -> geopandas.GeoDataFrame:
    """Frame with exactly the layer's columns in order, their types, its geometry type and the CRS asked for.

    Parameters
    ----------
    frame : columns of the layer in its order, a geometry column and a CRS; rows may be none
    layer : what the frame claims to be
    out_crs : CRS to write in, or None for the frame's own; heights are never touched
    near : longitude and latitude of the work, where the way to ``out_crs`` is chosen; the frame's middle if
        not given

    Returns
    -------
    New frame, index 0.., dtypes str object / float64 / Int64 / boolean, geometry column ``geom``

    Raises
    ------
    ValueError : the frame breaks the schema (a fault of the program, not of the user's data)
    OutputError : a place of the result does not exist in the CRS asked for
    """
    import geopandas
    import pyproj
    import shapely

    if frame.crs is None:
        raise ValueError(f"layer {layer.name}: the frame has no CRS")
    geometry_name = frame.geometry.name
    given = [str(name) for name in frame.columns if name != geometry_name]
    expected = [column.name for column in layer.columns]
    if given != expected:
        missing = [name for name in expected if name not in given]
        surplus = [name for name in given if name not in expected]
        raise ValueError(
            f"layer {layer.name}: columns missing {missing}, not in the schema {surplus}; "
            f"wanted in order {expected}"
        )
    columns = {column.name: _typed(frame[column.name], column, layer) for column in layer.columns}
    crs = pyproj.CRS.from_user_input(frame.crs)
    shapes = _shapes(np.asarray(frame.geometry.array, dtype=object), layer)
    if out_crs is not None and out_crs != crs:
        shapes, crs = _reproject(shapes, crs, out_crs, layer, near), out_crs
        if shapely.get_type_id(shapes[:1]).tolist() in ([3], [6]):
            shapes = np.array([_still_valid(shape, layer) for shape in shapes], dtype=object)
    return geopandas.GeoDataFrame(
        {**columns, GEOMETRY_COLUMN: geopandas.GeoSeries(shapes, crs=crs)}, geometry=GEOMETRY_COLUMN, crs=crs
    )


def _typed(values: pd.Series, column: Column, layer: Layer) -> pd.Series:
    """One column with the type that the schema promises."""
    import pandas as pd

    # The common cases, without looking at each cell.
    plain = np.asarray(values) if isinstance(values.dtype, np.dtype) else np.empty(0)
    if column.type == "real" and plain.dtype.kind == "f":
        refused = np.isinf(plain) if column.optional else ~np.isfinite(plain)
        if not refused.any():
            return pd.Series(plain.astype(np.float64))
    if column.type == "text" and plain.dtype == object and set(map(type, plain)) <= {str}:
        refused_text = _UNWRITABLE.search("".join(plain))
        if refused_text is None:
            return pd.Series(plain, dtype="object")
    raw = values.to_numpy(dtype=object, na_value=None)
    empty = np.array([item is None or item is pd.NA or item != item for item in raw], dtype=bool)
    if empty.any() and not column.optional:
        row = int(np.flatnonzero(empty)[0])
        raise ValueError(
            f"layer {layer.name}, column {column.name}, row {row}: no value, and none may be absent"
        )
    converters: dict[str, tuple[Callable[[Any], Any], str]] = {
        "text": (_as_text, "object"),
        "real": (_as_real, "float64"),
        "integer": (_as_integer, "Int64"),
        "boolean": (_as_boolean, "boolean"),
    }
    convert, dtype = converters[column.type]
    out: list[Any] = []
    for row, item in enumerate(raw):
        try:
            out.append(None if empty[row] else convert(item))
        except (TypeError, ValueError) as error:
            raise ValueError(f"layer {layer.name}, column {column.name}, row {row}: {error}") from None
    if dtype == "float64":
        return pd.Series(np.array([np.nan if item is None else item for item in out], dtype=np.float64))
    return pd.Series(out, dtype=dtype)


def _as_text(item: Any) -> str:
    if not isinstance(item, str):
        raise TypeError(f"{item!r} is no text")
    return _UNWRITABLE.sub("\N{REPLACEMENT CHARACTER}", item)


def _as_real(item: Any) -> float:
    if isinstance(item, (bool, np.bool_, str)):
        raise TypeError(f"{item!r} is no number")
    number = float(item)
    if np.isinf(number):
        raise ValueError("infinite")
    return number


def _as_integer(item: Any) -> int:
    if isinstance(item, (int, np.integer)) and not isinstance(item, bool):
        return int(item)
    if not isinstance(item, (float, np.floating)) or not float(item).is_integer():
        raise TypeError(f"{item!r} is no whole number")
    return int(item)


def _as_boolean(item: Any) -> bool:
    if not isinstance(item, (bool, np.bool_)):
        raise TypeError(f"{item!r} is neither true nor false")
    return bool(item)


def _shapes(shapes: Objects, layer: Layer) -> Objects:
    """Geometries of the layer's type; a Polygon may stand for a MultiPolygon of one part."""
    import shapely

    base, _, wants_z = layer.geometry.partition(" ")
    absent = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    if absent.any():
        raise ValueError(f"layer {layer.name}, row {int(np.flatnonzero(absent)[0])}: no geometry")
    if base == "MultiPolygon":
        single = shapely.get_type_id(shapes) == 3
        shapes = np.array(
            [shapely.MultiPolygon([s]) if one else s for s, one in zip(shapes, single, strict=True)],
            dtype=object,
        )
    wrong = np.array([shape.geom_type != base for shape in shapes], dtype=bool)
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise ValueError(f"layer {layer.name}, row {row}: a {shapes[row].geom_type}, not a {layer.geometry}")
    if not np.isfinite(shapely.get_coordinates(shapes)).all():
        raise ValueError(f"layer {layer.name}: a coordinate is not finite")
    if not wants_z:
        return np.asarray(shapely.force_2d(shapes), dtype=object)
    flat = ~shapely.has_z(shapes)
    if flat.any():
        raise ValueError(
            f"layer {layer.name}, row {int(np.flatnonzero(flat)[0])}: no z; NaN says it is not known"
        )
    return shapes


def _reproject(
    shapes: Objects, crs: pyproj.CRS, out_crs: pyproj.CRS, layer: Layer, near: tuple[float, float] | None
) -> Objects:
    """The same shapes in another CRS; z stays what it is, since heights keep the terrain's own datum."""
    import shapely

    from hillsight.ground.transform import tears

    if not len(shapes):
        return shapes
    with_z = bool(shapely.has_z(shapes).any())
    coordinates = shapely.get_coordinates(shapes, include_z=with_z)
    x, y = coordinates[:, 0].copy(), coordinates[:, 1].copy()
    what = f"layer {layer.name}"
    operation = out_operation(crs, out_crs, near if near is not None else _amid(crs, x, y, what))
    coordinates[:, 0], coordinates[:, 1] = operation.forward(x, y)
    if not np.isfinite(coordinates[:, :2]).all():
        raise beyond(what, out_crs)
    places, run = shapely.get_coordinates(_runs(shapes), return_index=True)
    if tears(operation, places[:, 0], places[:, 1], run):
        raise torn(what, out_crs)
    return np.asarray(shapely.set_coordinates(shapes.copy(), coordinates), dtype=object)


def _runs(shapes: Objects) -> Objects:
    """Lines and rings of all shapes, each one run of neighbouring places; points are none."""
    import shapely

    parts = shapely.get_parts(shapes)
    dimensions = shapely.get_dimensions(parts)
    return np.concatenate((parts[dimensions == 1], shapely.get_rings(parts[dimensions == 2])))


def out_operation(crs: pyproj.CRS, out_crs: pyproj.CRS, near: tuple[float, float]) -> Operation:
    """The way to the CRS that results are written in.

    Raises
    ------
    OutputError : there is none
    """
    from hillsight.ground.transform import operation_between

    try:
        return operation_between(crs, out_crs, near)
    except HillsightError as error:
        raise OutputError(
            error.what, where="output CRS", remedy=error.remedy, parameters=("out_crs",)
        ) from error


def _amid(crs: pyproj.CRS, x: Floats, y: Floats, what: str) -> tuple[float, float]:
    from hillsight.ground.transform import middle_near

    try:
        return middle_near(crs, x, y)
    except HillsightError:
        raise beyond(what, crs) from None


def beyond(what: str, crs: pyproj.CRS) -> OutputError:
    """The error where results lie outside what a CRS can show."""
    return OutputError(
        f"{what} reaches beyond where {crs.name} is defined",
        where="output CRS",
        remedy="Name another CRS, or leave the terrain's own",
        parameters=("out_crs",),
    )


def torn(what: str, out_crs: pyproj.CRS) -> OutputError:
    """The error where results lie on both sides of a line at which coordinates jump."""
    return OutputError(
        f"{what} lies across a line where the coordinates of {out_crs.name} jump, such as the 180th meridian",
        where="output CRS",
        remedy="Name a CRS without such a line there, or leave the terrain's own",
        parameters=("out_crs",),
    )


def _still_valid(shape: Any, layer: Layer) -> Any:
    """The shape, mended where rounding in another CRS made rings cross."""
    import shapely

    if shapely.is_valid(shape):
        return shape
    mended = shapely.make_valid(shape, method="structure", keep_collapsed=False)
    parts = [part for part in shapely.get_parts(mended) if part.geom_type == "Polygon"]
    parts = [part for part in parts if part.area > _SHRED_SHARE * shape.area]
    if shape.geom_type == "MultiPolygon" and parts:
        return shapely.MultiPolygon(parts)
    if len(parts) == 1:
        return parts[0]
    raise OutputError(
        f"a shape of layer {layer.name} does not survive the change of CRS",
        where="output CRS",
        remedy="Name another CRS, or leave the terrain's own",
    )
