"""Gives landforms the names that a map has for them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from hillsight.ground.evidence import kind_forms
from hillsight.landform.describing import described

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas

    from hillsight.arrays import Objects

#: Words for kinds of map features by the layers of landforms that they may name, likeliest first.
_NAMED_BY = {
    "tops": (
        "summit top peak hill hilltop mountain fell knoll hillock hummock mound knott pike nab tor "
        "trigpoint trigpillar spotheight"
    ),
    "saddles": "saddle col hause pass bealach gap notch bwlch",
    "ridges": "ridge arete edge",
    "spurs": "spur shoulder nose ridge",
    "re_entrants": "reentrant combe corrie coire cirque cwm gully ravine clough cleft stream beck burn gill",
    "valley_lines": "valley dale glen river stream beck burn water brook gill gorge ravine",
    "breaks_of_slope": "edge escarpment scarp breakofslope",
    "level_ground": "plateau terrace bench shelf moor",
    "steep_ground": "crag cliff rockface scree buttress",
    "hollows": "hollow depression pit sinkhole shakehole doline tarn",
}

#: A name belongs to a landform within this share of the scale, or within this many metres if that is more.
_WITHIN_SHARE, _WITHIN_M = 0.25, 50.0

#: A line or area is named by one that lies along this share of it, or that it lies along itself.
_ALONG_SHARE = 0.5


def named(
    frames: dict[str, geopandas.GeoDataFrame], features: geopandas.GeoDataFrame
) -> dict[str, geopandas.GeoDataFrame]:
    """The frames with names from map features, and with descriptions that use them.

    A feature names at most one landform of a layer, and a landform takes the feature nearest to it (of lines
    and areas the one they share most with). Only kinds that mean such a landform name it: a farm names no
    valley.

    Parameters
    ----------
    frames : as ``survey`` gives them
    features : columns name, kind and geometry, in the same CRS
    """
    has_name = features["name"].notna().to_numpy() & features["kind"].notna().to_numpy()
    features = features[has_name]
    forms = [set(kind_forms(kind)) for kind in features["kind"]]
    out = {}
    for layer, frame in frames.items():
        words = set(_NAMED_BY[layer].split())
        suits = np.array([bool(words & form) for form in forms], bool)
        out[layer] = frame
        if len(frame) and suits.any():
            chosen = features[suits]
            names = _names(frame, np.asarray(chosen.geometry), list(chosen["name"]))
            out[layer] = frame.assign(name=pd.Series(names, dtype=object, index=frame.index))
    return described(out)


def _names(frame: geopandas.GeoDataFrame, shapes: Objects, names: Sequence[str]) -> list[str | None]:
    """A name or None for each landform: the best pairs first, each landform and feature once."""
    places = np.asarray(frame.geometry)
    within_m = np.maximum(_WITHIN_SHARE * frame["scale_m"].to_numpy(float), _WITHIN_M)
    tree = shapely.STRtree(shapes)
    which, feature = tree.query(places, predicate="dwithin", distance=within_m)
    about = _Buffers(places), _Buffers(shapes)
    worth = np.array(
        [
            _worth(about[0], int(i), about[1], int(j), within_m[i])
            for i, j in zip(which, feature, strict=True)
        ],
        float,
    )
    out: list[str | None] = [None] * len(frame)
    used: set[int] = set()
    for k in np.lexsort((feature, which, -worth)):
        if worth[k] > 0 and out[which[k]] is None and int(feature[k]) not in used:
            out[which[k]] = names[feature[k]]
            used.add(int(feature[k]))
    return out


class _Buffers:
    """Shapes with the ground about each, drawn once for each width."""

    def __init__(self, shapes: Objects) -> None:
        self.shapes = shapes
        self._drawn: dict[tuple[int, float], shapely.Geometry] = {}

    def about(self, which: int, within_m: float) -> shapely.Geometry:
        """The ground within a distance of one of the shapes."""
        key = which, within_m
        if key not in self._drawn:
            self._drawn[key] = shapely.buffer(self.shapes[which], within_m)
        return self._drawn[key]


def _worth(landforms: _Buffers, which: int, features: _Buffers, feature: int, within_m: float) -> float:
    """How well a feature fits a landform: 0 not at all; more for nearer, and for more in common."""
    landform, other = landforms.shapes[which], features.shapes[feature]
    nearness = 1.0 - shapely.distance(landform, other) / (2.0 * within_m)
    if shapely.get_dimensions(landform) == 0 or shapely.get_dimensions(other) == 0:
        return float(nearness)
    shared = [
        _size(shapely.intersection(one, about)) / _size(one)
        for one, about in (
            (landform, features.about(feature, within_m)),
            (other, landforms.about(which, within_m)),
        )
    ]
    return float(max(shared) * nearness) * _size(landform) if max(shared) >= _ALONG_SHARE else 0.0


def _size(shape: shapely.Geometry) -> float:
    """Length of a line; of an area that of its outline."""
    return max(float(shapely.length(shape)), 1e-9)
