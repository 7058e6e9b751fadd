"""Frames as the schema declares them: a layer's columns in its order, each with its type."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import pandas as pd

from hillsight.schema.layers import LAYERS

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from pyproj import CRS

    from hillsight.arrays import Floats
    from hillsight.schema.columns import Column, Layer

#: What a reading of one station leaves out, for whoever puts stations together.
BUT_STATION = ("station",)


def frame_of(
    layer: str, columns: Mapping[str, Any], shapes: Any, crs: CRS, *, but: Sequence[str] = ()
) -> geopandas.GeoDataFrame:
    """A layer's frame from its columns.

    Parameters
    ----------
    layer : name in ``schema.layers.LAYERS``
    columns : values by column, (n,) each, in any order; optional columns may be absent: they become null
    shapes : (n,) geometries
    crs : CRS of the shapes
    but : columns of the layer that the frame is to go without

    Returns
    -------
    frame with the columns in the layer's order, then ``geometry``; types as :func:`typed` gives them

    Raises
    ------
    ValueError : a column is missing or not the layer's (a fault of the program)
    """
    wanted = [column for column in LAYERS[layer].columns if column.name not in but]
    _check_names(layer, wanted, columns)
    count = len(shapes)
    data = {c.name: typed(columns.get(c.name, [None] * count), c) for c in wanted}
    return geopandas.GeoDataFrame(data, geometry=geopandas.GeoSeries(list(shapes), crs=crs), crs=crs)


def frame_of_rows(
    layer: str, rows: Sequence[Mapping[str, Any]], shapes: Any, crs: CRS, *, but: Sequence[str] = ()
) -> geopandas.GeoDataFrame:
    """A layer's frame from its rows, as :func:`frame_of`; optional columns that a row lacks are null."""
    wanted = [column for column in LAYERS[layer].columns if column.name not in but]
    for row in rows:
        _check_names(layer, wanted, row)
    columns = {column.name: [row.get(column.name) for row in rows] for column in wanted}
    return frame_of(layer, columns, shapes, crs, but=but)


def with_station(frame: geopandas.GeoDataFrame, label: str) -> geopandas.GeoDataFrame:
    """The frame of one station's reading with the column ``station`` before the others."""
    full = frame.copy(deep=False)
    full.insert(0, "station", pd.Series([label] * len(frame), dtype=object, index=frame.index))
    return full


def in_order(frame: geopandas.GeoDataFrame, layer: Layer) -> geopandas.GeoDataFrame:
    """A frame read back from a file, with the layer's columns in order and of their types.

    Optional columns that it lacks are null: a file of an older version may not have them.

    Raises
    ------
    KeyError : another column is missing
    """
    nothing = [None] * len(frame)
    columns = {
        c.name: typed(nothing if c.optional and c.name not in frame else frame[c.name], c)
        for c in layer.columns
    }
    shapes = frame.geometry.reset_index(drop=True)
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs=frame.crs).set_index(frame.index)


def plain_texts(frame: Any) -> Any:
    """A table with columns of Python's own texts, whatever pandas made of them when it was read or given.

    What pandas takes texts for hangs on its version, and on whether pyarrow is installed: pyarrow's texts
    refuse half surrogates, and are another type. Objects are the same everywhere. Nulls are None.
    """
    columns = {
        name: texts(frame[name], frame.index)
        for name, dtype in frame.dtypes.items()
        if isinstance(dtype, pd.StringDtype)
    }
    return frame.assign(**columns) if columns else frame


def texts(values: Iterable[Any], index: Any = None) -> pd.Series:
    """Texts as a column of objects; None, NaN and NA are None."""
    plain = [None if v is None or v is pd.NA or v != v else str(v) for v in values]
    return pd.Series(plain, dtype=object, index=index)


def column_names(layer: str, *, but: Sequence[str] = ()) -> list[str]:
    """Names of a layer's columns, in order."""
    return [column.name for column in LAYERS[layer].columns if column.name not in but]


def typed(values: Any, column: Column) -> pd.Series:
    """One column's values with its type; None, NaN and NA are null.

    Texts become objects (null is None), reals float64 (null is NaN), whole numbers int64 and truth values
    bool, or Int64 and boolean where they may be null.
    """
    if column.type == "real":
        return pd.Series(_reals(values))
    plain = [None if v is None or v is pd.NA or v != v else v for v in values]
    dtypes = {"text": (object, object), "integer": ("int64", "Int64"), "boolean": ("bool", "boolean")}
    return pd.Series(plain, dtype=dtypes[column.type][column.optional])


def _reals(values: Any) -> Floats:
    if isinstance(values, np.ndarray) and values.dtype.kind == "f":
        return values.astype(np.float64)
    return np.array([np.nan if v is None or v is pd.NA else v for v in values], np.float64)


def _check_names(layer: str, wanted: Sequence[Column], given: Mapping[str, Any]) -> None:
    known = {column.name for column in wanted}
    surplus = [name for name in given if name not in known]
    missing = [column.name for column in wanted if not column.optional and column.name not in given]
    if surplus or missing:
        raise ValueError(f"layer {layer}: columns missing {missing}, not in the schema {surplus}")
