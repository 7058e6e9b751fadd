"""Map features from any vector files as one table in the working system, each with its class of evidence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import Faults, FeatureError, HillsightError
from hillsight.frozen import FrozenMapping
from hillsight.ground import vector
from hillsight.ground.evidence import EvidenceTable
from hillsight.ground.labels import plain_label
from hillsight.ground.transform import Operation, operation_between
from hillsight.words.marks import marks_shown

if TYPE_CHECKING:
    from pyproj import CRS

    from hillsight.arrays import AnyArray, Flags, Floats

_Rows = dict[str, Any]  # columns of equal length by name

COLUMNS = ("name", "kind", "evidence_class", "target_height_m", "source", "geometry")

NAME_COLUMNS = ("name", "label", "title")
"""Columns a feature's name is looked for in, whatever their case; the first that exists is taken."""

KIND_COLUMNS = (
    *("kind", "type", "class", "category", "feature", "feature_type"),
    *("natural", "waterway", "water", "man_made", "barrier", "highway", "railway", "building"),
    *("historic", "tourism", "landuse", "sym", "symbol"),
)
"""Columns a feature's kind is looked for in, whatever their case; each row takes its first that is not blank.

A bare "yes" stands for the column's own name (building = yes). Where none holds anything, the layer's name is
the kind of all its rows.
"""

HEIGHT_COLUMNS = ("target_height_m", "height_above_ground_m")
"""Columns that say how tall the thing stands above the ground, metres."""

_TALLEST_M = 1_000.0

#: No CRS of a map has coordinates so far out, whatever its unit.
_FARTHEST = 1e9

_POINT_TWINS = ("route_points", "track_points")  # GPX: vertices again as points


def read_features(
    paths: Sequence[Any],
    layers: Sequence[str],
    target_crs: CRS,
    *,
    default_crs: CRS | None,
    table: EvidenceTable,
    near: tuple[float, float],
    measures: Mapping[str, Sequence[str]] = FrozenMapping({"target_height_m": HEIGHT_COLUMNS}),
) -> tuple[Any, list[str], list[Operation]]:
    """Features of all files in one table.

    Parameters
    ----------
    paths : vector files, anything GDAL opens; or GeoDataFrames
    layers : names of the layers wanted, looked for in every file; empty for all layers of each file
    target_crs : the working system
    default_crs : reference system of layers that do not state one; None refuses them
    table : which kind belongs to which evidence class
    near : longitude and latitude of the work, as the terrain's ``near``: the ways between systems are chosen
        there
    measures : columns of metres wanted, from 0 to 1,000, and the names each is looked for by; the first that
        exists is taken

    Returns
    -------
    (features, notes, the distinct operations PROJ used). ``features`` is a GeoDataFrame in ``target_crs``
    with the columns name (text or None), kind (text or None), evidence_class, target_height_m (float, NaN
    where absent), source ("file, layer") and geometry (2D point, line or polygon, single or multi, valid),
    indexed from 0 in the order of the files. Notes say what was left out, repaired or assumed, how often.

    Raises
    ------
    FeatureError : a file or layer that is not there or cannot be read, numbers that are none, no usable
        feature
    """
    import geopandas
    import pandas

    notes: list[str] = []
    changes: dict[Operation, None] = {}
    frames: list[_Rows] = []
    for path, layer in _wanted(paths, layers, notes):
        where = f"{vector.display_name(path)}, layer {layer}"
        try:
            frame, read_notes = vector.read_layer(path, layer, default_crs, listed=True)
        except vector.NoGeometryError:
            if layers or len(vector.list_layers(path)) == 1:
                raise
            notes.append(f"{where}: a table without geometry; left out")
            continue
        notes.extend(read_notes)
        if len(frame) == 0:
            notes.append(f"{where}: the layer is empty")
            continue
        try:
            change = operation_between(frame.crs, target_crs, near)
        except HillsightError as error:
            raise FeatureError(error.what, where=where, remedy=error.remedy) from error
        changes[change] = None
        prepared = _prepare(frame, path, layer, change, table, measures, notes)
        if len(prepared["geometry"]):
            frames.append(prepared)
    if not frames:
        raise FeatureError(
            "no usable features",
            where=", ".join(vector.display_name(path) for path in paths),
            remedy="; ".join(notes) or "Give at least one vector file with features",
        )
    columns = {name: np.concatenate([rows[name] for rows in frames]) for name in frames[0]}
    text = {
        name: pandas.Series(columns[name], dtype=object)
        for name in ("name", "kind", "evidence_class", "source")
    }
    features = geopandas.GeoDataFrame(
        {
            "name": text["name"],
            "kind": text["kind"],
            "evidence_class": text["evidence_class"],
            **{name: columns[name].astype(np.float64) for name in measures},
            "source": text["source"],
        },
        geometry=geopandas.array.from_shapely(columns["geometry"]),
        crs=target_crs,
    )
    notes += [change.note for change in changes if change.note]
    return features, notes, list(changes)


def named_kinds(paths: Sequence[Any], layers: Sequence[str]) -> dict[str, list[tuple[str, float]]]:
    """Kind and height above the ground of all features by name; those without a name are left out.

    Parameters
    ----------
    paths, layers : as of :func:`read_features`; where the features lie is not asked

    Returns
    -------
    For each name, without line breaks and the like, (kind, height in metres or NaN) of each feature that has
    it, in the order of the files

    Raises
    ------
    FeatureError : a file or layer that is not there or cannot be read
    """
    from pyproj import CRS

    anywhere = CRS("EPSG:4326")  # so that layers which do not state one are read too
    kinds: dict[str, list[tuple[str, float]]] = {}
    for path, layer in _wanted(paths, layers, []):
        try:
            frame, _ = vector.read_layer(path, layer, anywhere, listed=True)
        except vector.NoGeometryError:
            continue
        where = f"{vector.display_name(path)}, layer {layer}"
        heights_m = _metres(frame, HEIGHT_COLUMNS, where).tolist()
        for name, kind, height_m in zip(_names(frame), _kinds(frame, layer), heights_m, strict=True):
            if name is not None:
                kinds.setdefault(plain_label(name), []).append((kind or "", height_m))
    return kinds


def _wanted(paths: Sequence[Any], layers: Sequence[str], notes: list[str]) -> list[tuple[Any, str]]:
    """Pairs of file and layer to read, in the order of the files; every named layer must be somewhere."""
    wanted: list[tuple[Any, str]] = []
    offered: list[str] = []
    for path in paths:
        names = vector.list_layers(path)
        offered.extend(f"{name} ({vector.display_name(path)})" for name in names)
        if layers:
            chosen = [name for name in names if name in layers]
            if not chosen:
                notes.append(
                    f"{vector.display_name(path)}: has none of the layers {', '.join(layers)}; left out"
                )
        else:
            chosen = [name for name in names if not ("waypoints" in names and name in _POINT_TWINS)]
        wanted.extend((path, name) for name in chosen)
    found = {name for _, name in wanted}
    for layer in layers:
        if layer not in found:
            raise FeatureError(
                f"there is no layer {layer!r}",
                where=", ".join(vector.display_name(path) for path in paths),
                remedy=f"The layers are: {', '.join(offered) or 'none'}",
            )
    return wanted


def _prepare(
    frame: Any,
    path: Any,
    layer: str,
    change: Operation,
    table: EvidenceTable,
    measures: Mapping[str, Sequence[str]],
    notes: list[str],
) -> _Rows:
    """Columns of one layer, rows without usable geometry left out with a note."""
    where = f"{vector.display_name(path)}, layer {layer}"
    kinds = _kinds(frame, layer)
    names = _names(frame)
    metres = {name: _metres(frame, columns, where) for name, columns in measures.items()}
    geometry, kept = _usable_geometry(np.asarray(frame.geometry, dtype=object), where, change, notes)
    classes = [table.class_of(kind) for kind in kinds]
    return {
        "name": _objects(names)[kept],
        "kind": _objects(kinds)[kept],
        "evidence_class": _objects(classes)[kept],
        **{name: values[kept] for name, values in metres.items()},
        "source": _objects([f"{vector.display_name(path)}, {layer}"] * len(kept))[kept],
        "geometry": geometry[kept],
    }


def _objects(values: list[Any]) -> AnyArray:
    array = np.empty(len(values), dtype=object)
    array[:] = values
    return array


def _names(frame: Any) -> list[str | None]:
    column = vector.find_column(frame, NAME_COLUMNS)
    if column is None:
        return [None] * len(frame)
    return [marks_shown(vector.text_or_none(value)) for value in frame[column]]


def _kinds(frame: Any, layer: str) -> list[str | None]:
    kinds: list[str | None] = [None] * len(frame)
    for column_name in KIND_COLUMNS:
        column = vector.find_column(frame, (column_name,))
        if column is None:
            continue
        for row, value in enumerate(frame[column]):
            text = marks_shown(vector.text_or_none(value))
            if kinds[row] is None and text is not None and text.strip().casefold() not in ("no", "false"):
                kinds[row] = column_name if text.strip().casefold() in ("yes", "true") else text
    if all(kind is None for kind in kinds):
        return [layer] * len(frame)
    return kinds


def _metres(frame: Any, columns: Sequence[str], where: str) -> Floats:
    """Heights or widths of the first of some columns that exists; NaN where there is none."""
    heights_m = np.full(len(frame), np.nan)
    column = vector.find_column(frame, tuple(columns))
    if column is None:
        return heights_m
    faults = Faults("cells")
    for row, value in enumerate(frame[column]):
        cell = f"{where}, row {row + 1}, column {column}"
        with faults.kept():
            height_m = vector.number_or_none(value, cell)
            if height_m is None:
                continue
            if not 0 <= height_m <= _TALLEST_M:
                raise FeatureError(
                    f"nothing is {height_m:.10g} m wide"
                    if "height" not in column.casefold()
                    else f"nothing stands {height_m:.10g} m above the ground",
                    where=cell,
                    remedy=f"Give metres from 0 to {_TALLEST_M:.0f}, or leave it blank",
                )
            heights_m[row] = height_m
    faults.tell()
    return heights_m


def _usable_geometry(
    geometry: AnyArray, where: str, change: Operation, notes: list[str]
) -> tuple[AnyArray, Flags]:
    """Geometry in the working system and which rows have any; each change to it is noted with its count."""
    import shapely

    def note(rows: Flags, what: str) -> None:
        count = int(rows.sum())
        if count:
            first = int(np.flatnonzero(rows)[0]) + 1
            notes.append(f"{where}: {count} feature{'s' if count > 1 else ''} {what} (first: row {first})")

    absent = shapely.is_missing(geometry) | shapely.is_empty(geometry)
    note(absent, "without geometry left out")
    kept = ~absent
    out = geometry.copy()
    rings = kept & (shapely.get_type_id(out) == 2)
    out[rings] = [shapely.LineString(ring.coords) for ring in out[rings]]

    mixed = kept & (shapely.get_type_id(out) == 7)
    if mixed.any():
        out[mixed] = _objects([_highest_dimension(item) for item in out[mixed]])
        note(mixed, "of mixed geometry reduced to the parts of highest dimension")

    _check_finite(out, kept, where)
    try:
        # Heights in the geometry are dropped here: they are in datums nobody states.
        out[kept] = shapely.transform(out[kept], change.attempt, include_z=False, interleaved=False)
    except HillsightError as error:
        raise FeatureError(error.what, where=where, remedy=error.remedy) from error
    outside = np.zeros(len(out), dtype=bool)
    coordinates, index = shapely.get_coordinates(out[kept], return_index=True)
    unreachable = np.unique(index[~np.isfinite(coordinates).all(axis=1)])
    outside[np.flatnonzero(kept)[unreachable]] = True
    note(outside, f"beyond what {change.to_crs.name} can show left out")
    kept &= ~outside

    broken = kept & ~shapely.is_valid(out)
    if broken.any():
        out[broken] = _objects([_repaired(item) for item in out[broken]])
        lost = broken & shapely.is_empty(out)
        note(broken & ~lost, "with broken geometry repaired")
        note(lost, "whose geometry shrinks to nothing left out")
        kept &= ~lost
    return out, kept


def _check_finite(geometry: AnyArray, kept: Flags, where: str) -> None:
    import shapely

    coordinates, index = shapely.get_coordinates(geometry[kept], return_index=True)
    # NaN is not within the bound either.
    bad = np.flatnonzero(~(np.abs(coordinates) <= _FARTHEST).all(axis=1))
    faults = Faults("features")
    _, firsts = np.unique(index[bad], return_index=True)  # one of each feature
    for place in bad[firsts]:
        row = int(np.flatnonzero(kept)[index[place]]) + 1
        x, y = coordinates[place]
        is_number = np.isfinite((x, y)).all()
        what = f"a coordinate lies on no map: {x:.6g}, {y:.6g}"
        faults.found.append(
            FeatureError(
                what if is_number else "a coordinate is not a finite number",
                where=f"{where}, row {row}",
                remedy="Correct or drop the feature",
            )
        )
    faults.tell()


def _highest_dimension(collection: Any) -> Any:
    """The parts of highest dimension of a (nested) collection, as one single or multi geometry."""
    import shapely

    parts = shapely.get_parts(collection)
    while (shapely.get_type_id(parts) == 7).any():
        parts = shapely.get_parts(parts)
    parts = shapely.get_parts(parts)  # multi geometries into their members
    parts = parts[~shapely.is_empty(parts)]
    dimensions = shapely.get_dimensions(parts)
    highest = parts[dimensions == dimensions.max()]
    if len(highest) == 1:
        return highest[0]
    multi = (shapely.multipoints, shapely.multilinestrings, shapely.multipolygons)
    return multi[int(dimensions.max())](highest)


def _repaired(geometry: Any) -> Any:
    """Valid geometry of the same dimension; empty where nothing of that dimension is left."""
    import shapely

    valid = shapely.make_valid(geometry, method="structure", keep_collapsed=False)
    dimension = int(shapely.get_dimensions(geometry))
    if shapely.get_type_id(valid) == 7:
        valid = _highest_dimension(valid)
    if int(shapely.get_dimensions(valid)) != dimension:
        return shapely.Polygon() if dimension == 2 else shapely.LineString()
    return valid
