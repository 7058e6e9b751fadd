"""Reads back the landforms that were written to a GeoPackage, or takes them from memory."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from hillsight.errors import FeatureError
from hillsight.ground.vector import IN_MEMORY, carried, list_layers
from hillsight.schema.landforms import LANDFORM_LAYERS

if TYPE_CHECKING:
    import geopandas
    from pyproj import CRS


def read_landforms(
    source: str | Mapping[str, geopandas.GeoDataFrame], crs: CRS
) -> dict[str, geopandas.GeoDataFrame]:
    """Layers of landforms in a file or in memory, in a CRS.

    Raises
    ------
    FeatureError : no such file, or none of its layers holds landforms with their columns
    """
    import pyogrio

    there = set(source if isinstance(source, Mapping) else list_layers(source))
    where = IN_MEMORY if isinstance(source, Mapping) else source
    frames = {}
    for layer in LANDFORM_LAYERS:
        if layer.name not in there:
            continue
        if isinstance(source, Mapping):
            frame = source[layer.name].rename_geometry("geometry")
        else:
            frame = pyogrio.read_dataframe(source, layer=layer.name)
        missing = [column.name for column in layer.columns if column.name not in frame.columns]
        if missing:
            raise FeatureError(
                f"this is no layer of landforms: it lacks {', '.join(missing)}",
                where=f"{where}, layer {layer.name}",
                remedy="Give a file that hillsight landforms wrote",
            )
        texts = [column.name for column in layer.columns if column.type == "text"]
        for name in texts:
            frame[name] = [value if isinstance(value, str) else None for value in frame[name]]
            frame[name] = frame[name].astype(object)
        frames[layer.name] = carried(frame, crs)
    if not frames:
        raise FeatureError(
            "the file holds no landforms",
            where=where,
            remedy="Give a file that hillsight landforms wrote, or name no file to have them read",
            parameters=("landforms",),
        )
    return frames
