"""Layers of several files together, for a map: those of hillsight by their names, and others as they are."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.errors import FeatureError
from hillsight.ground.network import asking, shut
from hillsight.ground.vector import carried
from hillsight.layers.contents import Raster, read_contents, read_layer, read_raster, written_rasters
from hillsight.schema.frames import plain_texts
from hillsight.schema.layers import LAYERS

if TYPE_CHECKING:
    import geopandas
    from pyproj import CRS


@dataclass(frozen=True)
class MapLayers:
    """What files hold for a map.

    frames : rows by layer, those of all files after one another
    viewshed : the states of the ground as a raster, where no layer tells them
    depth : how deep the dead ground of one station lies, metres, where a file has it as a raster
    stations : labels of the stations whose rows there are
    left : names of the layers that were not to be read
    """

    frames: dict[str, geopandas.GeoDataFrame]
    viewshed: Raster | None
    stations: tuple[str, ...]
    left: tuple[str, ...] = ()
    depth: Raster | None = None


_STATES = ("visible_ground", "dead_ground", "dead_ground_by_crest")


def read_map_layers(
    files: Sequence[str],
    crs: CRS,
    near: tuple[float, float],
    station: str | None = None,
    *,
    leave: Collection[str] = (),
) -> MapLayers:
    """All layers with geometry of some files, in a CRS.

    Parameters
    ----------
    near : longitude and latitude of the work, where the ways between systems are chosen
    station : keep the rows of this station only; layers that are of no station are kept
    leave : names of layers of ours that need not be read where a file has others

    Raises
    ------
    FeatureError : no such file, nothing to draw in it, or no such station
    """
    import geopandas
    import pandas

    found: dict[str, list[geopandas.GeoDataFrame]] = {}
    left: dict[str, None] = {}
    for path in files:
        names = _names_in(path)
        wanted = [name for name in names if name not in leave or name not in LAYERS] or names
        left |= dict.fromkeys(name for name in names if name not in wanted)
        for name in wanted:
            frame = _layer_of(path, name)
            found.setdefault(name, []).append(carried(frame, crs, near))
    frames = {
        name: several[0]
        if len(several) == 1
        else geopandas.GeoDataFrame(pandas.concat(several, ignore_index=True), crs=crs)
        for name, several in found.items()
    }
    labels = tuple(dict.fromkeys(_labels(frames.values())))
    if station is not None:
        if station not in labels:
            raise FeatureError(
                f"no layer has a station {station!r}",
                where=", ".join(files),
                remedy=f"Give one of {', '.join(labels)}" if labels else "Leave the station out",
                parameters=("station",),
            )
        frames = {
            name: frame[frame["station"] == station].reset_index(drop=True) if "station" in frame else frame
            for name, frame in frames.items()
        }
        labels = (station,)
    viewshed = None
    if len(labels) == 1 and not any(name in frames for name in _STATES):
        viewshed = _viewshed(files, labels[0])
    depth = _depth(files, labels[0]) if len(labels) == 1 and "dead_ground" in frames else None
    return MapLayers(frames, viewshed, labels, tuple(left), depth)


def _names_in(path: str) -> list[str]:
    """Names of the layers of a file that have a geometry."""
    import pyogrio

    try:
        with shut(path), asking(path):
            listed = pyogrio.list_layers(path)
    except pyogrio.errors.DataSourceError:
        there = Path(path).exists()
        raise FeatureError(
            "the file holds no layers" if there else "there is no such file",
            where=path,
            remedy="Give a GeoPackage that hillsight wrote, or another file of vector layers",
            parameters=("layers",),
        ) from None
    names = [str(name) for name, kind in listed if kind is not None]
    if not names:
        raise FeatureError(
            "no layer of the file has a geometry", where=path, remedy="Give another", parameters=("layers",)
        )
    return names


def _layer_of(path: str, name: str) -> geopandas.GeoDataFrame:
    """The rows of a layer that lie somewhere."""
    import pyogrio

    with shut(path), asking(path):
        frame = _ours(path, name) if name in LAYERS else plain_texts(pyogrio.read_dataframe(path, layer=name))
    if frame.crs is None:
        raise FeatureError(
            "the layer does not say in which coordinate reference system it is",
            where=f"{path}, layer {name}",
            remedy="Write it again with its CRS",
            parameters=("layers",),
        )
    frame = frame[frame.geometry.notna() & ~frame.geometry.is_empty]
    return frame.reset_index(drop=True)


def _ours(path: str, name: str) -> geopandas.GeoDataFrame:
    try:
        return read_layer(path, name)
    except FeatureError as error:
        raise FeatureError(
            error.what,
            where=error.where,
            remedy="Give a file that hillsight wrote here, and a map of another hand as map features",
            parameters=("layers", "features"),
        ) from error


def _labels(frames: Iterable[geopandas.GeoDataFrame]) -> Iterable[str]:
    for frame in frames:
        if "station" in frame:
            yield from (str(label) for label in frame["station"] if isinstance(label, str))


def _viewshed(files: Sequence[str], station: str) -> Raster | None:
    import pyogrio

    for path in files:
        if path.lower().endswith(".gpkg") and "stations" in pyogrio.list_layers(path)[:, 0]:
            for content in read_contents(Path(path)):
                if content.label == station and "viewshed" in content.rasters:
                    return content.rasters["viewshed"]
    return None


def _depth(files: Sequence[str], station: str) -> Raster | None:
    for path in files:
        if path.lower().endswith(".gpkg") and Path(path).is_file():
            for raster in written_rasters(Path(path)):
                if raster.kind == "depth" and raster.station == station:
                    return read_raster(Path(path), raster)
    return None
