"""Landforms as things to list by bearing, beside map features."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import pandas as pd
import shapely

from hillsight.ground.features import COLUMNS

if TYPE_CHECKING:
    from collections.abc import Mapping

#: What each layer's landforms are called in a list; those with a kind of their own go by that.
_KINDS = {
    "tops": None,
    "saddles": "saddle",
    "spurs": "spur",
    "re_entrants": "re-entrant",
    "ridges": "ridge",
    "valley_lines": "valley",
    "breaks_of_slope": None,
    "level_ground": None,
    "steep_ground": "steep ground",
    "hollows": "hollow",
}

#: Layers whose lines are listed only where they are no spur or re-entrant, which are listed themselves, and
#: at the largest scale alone.
_NETWORKS = ("ridges", "valley_lines")


def landform_features(
    frames: Mapping[str, geopandas.GeoDataFrame], features: geopandas.GeoDataFrame | None
) -> geopandas.GeoDataFrame:
    """Map features and landforms in one table for the bearing list.

    A top or saddle that is a map feature itself (it has its name and lies beside it) is not listed twice: the
    map feature gets the landform's identifier and description.

    Parameters
    ----------
    frames : layers of landforms, those of them that there are
    features : columns name, kind, evidence_class, target_height_m, source, geometry; or None

    Returns
    -------
    those columns with ``landform`` and ``description`` before the geometry, in the CRS of the landforms
    """
    tables = []
    if features is not None:
        tables.append(features.assign(**{c: pd.Series([None] * len(features), dtype=object) for c in _OWN}))
    for layer, kind in _KINDS.items():
        frame = frames.get(layer)
        if frame is None:
            continue
        if layer in _NETWORKS:  # which hold the whole of each scale
            frame = frame[(frame["order"] > 1) & (frame["scale_m"] == frame["scale_m"].max())]
        if features is not None and layer in ("tops", "saddles"):
            frame = _not_on_the_map(frame, tables[0])
        tables.append(_as_features(frame, layer, kind))
    if not tables:
        raise ValueError("neither landforms nor map features are given")
    table = pd.concat(tables, ignore_index=True)[[*COLUMNS[:-1], *_OWN, COLUMNS[-1]]]
    return geopandas.GeoDataFrame(table, geometry="geometry", crs=tables[0].crs)


#: A map feature farther (m) from the landform that has its name is something else called after it.
_BESIDE_M = 250.0

_OWN = ("landform", "description")


def _as_features(frame: geopandas.GeoDataFrame, layer: str, kind: str | None) -> geopandas.GeoDataFrame:
    words = [kind] * len(frame) if kind is not None else [own.replace("_", " ") for own in frame["kind"]]
    columns: dict[str, Any] = {
        "name": frame["name"],
        "kind": pd.Series(words, frame.index, dtype=object),
        "evidence_class": pd.Series("ground_shape", frame.index, dtype=object),
        "target_height_m": np.zeros(len(frame)),
        "source": pd.Series(f"landforms, {layer}", frame.index, dtype=object),
        "landform": frame["landform"],
        "description": frame["description"],
    }
    flat = shapely.force_2d(np.asarray(frame.geometry))
    return geopandas.GeoDataFrame(columns, geometry=flat, crs=frame.crs)


def _not_on_the_map(
    frame: geopandas.GeoDataFrame, features: geopandas.GeoDataFrame
) -> geopandas.GeoDataFrame:
    """Landforms that no map feature of their name stands for; such features get their identifiers."""
    by_name: dict[str, list[int]] = {}
    points = np.flatnonzero(shapely.get_dimensions(np.asarray(features.geometry)) == 0)
    for row in points:
        if features["name"].iloc[row] is not None:
            by_name.setdefault(features["name"].iloc[row], []).append(int(row))
    listed = np.zeros(len(frame), bool)
    for k, landform in enumerate(frame.itertuples(index=False)):
        same = by_name.get(landform.name, [])
        if same:
            away_m = shapely.distance(np.asarray(features.geometry.iloc[same]), landform.geometry)
            if away_m.min() <= _BESIDE_M:
                nearest = same[int(np.argmin(away_m))]
                features.loc[features.index[nearest], list(_OWN)] = [landform.landform, landform.description]
                listed[k] = True
    return frame[~listed]
