"""Cover from map files: woods, buildings, walls, hedges and single trees, on the working grid.

Areas wide enough to hold a post cover the posts inside them. What is narrower, lines, and the outlines of
single things given as points stand as upright screens.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.errors import FeatureError
from hillsight.ground.cover_table import TALLEST_WOOD_M, CoverTable
from hillsight.ground.evidence import EvidenceTable
from hillsight.ground.features import HEIGHT_COLUMNS, read_features
from hillsight.ground.labels import plain_label
from hillsight.ground.vector import display_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pyproj import CRS

    from hillsight.arrays import Bytes, Flags, Floats, Objects
    from hillsight.ground.grid import Grid
    from hillsight.ground.transform import Operation

#: The column that says how tall a thing stands that hides, m above the ground; it decides for every kind.
COVER_HEIGHT_COLUMNS = ("cover_height_m",)
#: Columns that say how tall a thing stands, and count where the table of kinds does not say that it hides
#: nothing: a wire fence is 1.1 m tall and hides nothing.
TALL_COLUMNS = (*HEIGHT_COLUMNS, "height_m", "height")
#: Columns that say how wide a single thing is that is given as a point, m.
COVER_WIDTH_COLUMNS = ("width_m", "crown_m", "diameter_crown")

_MEASURES = {"cover_m": COVER_HEIGHT_COLUMNS, "tall_m": TALL_COLUMNS, "width_m": COVER_WIDTH_COLUMNS}
#: A kind is one byte; 0 is bare ground and the last of them stands for all others.
_MOST_KINDS = 250
_OTHERS = "other cover"
_CORNERS = 6  # of the outline of a single thing
_ABOUT = ("cover",)

# How far heights err: of those that a file gives, and of those taken by kind. Common practice, no source.
_ERROR_GIVEN, _ERROR_BY_KIND = 0.15, 0.3


@dataclass(frozen=True, eq=False)
class CoverShapes:
    """Cover of map files, in the CRS of the working grid.

    Parameters
    ----------
    areas : (n,) polygons that hold a post, each, from the lowest to the tallest
    area_height_m, area_kind, area_passes : (n,) height above the ground; index into ``kinds``; whether some
        sight passes
    ends_m : (m, 4) easting and northing of each screen's ends
    screen_height_m, screen_kind : (m,) likewise
    kinds : names of kinds; the first, empty, is bare ground
    height_sigma_m, screen_sigma_m : how far heights of areas and of screens err, one standard deviation
    """

    areas: Objects
    area_height_m: Floats
    area_kind: Bytes
    area_passes: Flags
    ends_m: Floats
    screen_height_m: Floats
    screen_kind: Bytes
    kinds: tuple[str, ...]
    height_sigma_m: float
    screen_sigma_m: float

    @cached_property
    def area_bounds_m(self) -> Floats:
        """(n, 4) west, south, east, north of each area."""
        return np.asarray(shapely.bounds(self.areas), np.float64).reshape(-1, 4)

    @cached_property
    def screen_bounds_m(self) -> Floats:
        """(m, 4) west, south, east, north of each screen."""
        x, y = self.ends_m[:, [0, 2]], self.ends_m[:, [1, 3]]
        return np.column_stack([x.min(axis=1), y.min(axis=1), x.max(axis=1), y.max(axis=1)])

    def touching(self, west: float, south: float, east: float, north: float) -> CoverShapes:
        """Those that reach into a box; kinds and errors are those of all."""
        areas = touching(self.area_bounds_m, west, south, east, north)
        screens = touching(self.screen_bounds_m, west, south, east, north)
        return replace(
            self,
            areas=self.areas[areas],
            area_height_m=self.area_height_m[areas],
            area_kind=self.area_kind[areas],
            area_passes=self.area_passes[areas],
            ends_m=self.ends_m[screens],
            screen_height_m=self.screen_height_m[screens],
            screen_kind=self.screen_kind[screens],
        )


def touching(bounds_m: Floats, west: float, south: float, east: float, north: float) -> Flags:
    """Which of some bounds, (n, 4), reach into a box."""
    inside: Flags = (bounds_m[:, 0] <= east) & (bounds_m[:, 2] >= west)
    inside &= (bounds_m[:, 1] <= north) & (bounds_m[:, 3] >= south)
    return inside


def read_cover(
    paths: Sequence[Any],
    layers: Sequence[str],
    table: CoverTable,
    grid: Grid,
    *,
    default_crs: CRS | None,
    near: tuple[float, float],
) -> tuple[CoverShapes, list[str], list[Operation]]:
    """Cover of all files, what there is to say of it, and the coordinate operations used.

    Parameters
    ----------
    paths, layers, default_crs, near : as of ``ground.features.read_features``
    table : heights by kind, where a file gives none
    grid : the terrain's posts

    Raises
    ------
    FeatureError : a file that cannot be read; a height that is none; a kind without one; nothing that stands
        on the terrain
    """
    found, notes, operations = read_features(
        paths,
        layers,
        grid.crs,
        default_crs=default_crs,
        table=EvidenceTable.load(None),
        near=near,
        measures=_MEASURES,
    )
    where = ", ".join(display_name(path) for path in paths)
    names = [_plain(kind) for kind in found["kind"]]
    told_m, tall_m = (found[name].to_numpy(float) for name in ("cover_m", "tall_m"))
    height_m, passes, by_kind = _settled(names, told_m, tall_m, table, where)
    notes += _height_notes(names, height_m, by_kind, table)
    stands = height_m > 0
    shapes: Objects = np.array(found.geometry, dtype=object)
    shapes[~stands] = None
    points = stands & np.isin(shapely.get_type_id(shapes), (0, 4))
    if points.any():
        width_m = _widths(names, height_m, found["width_m"].to_numpy(float), table)
        shapes[points] = [
            _round(point, wide_m / 2)
            for point, wide_m in zip(shapes[points], width_m[points].tolist(), strict=True)
        ]
    _check_place(shapes, stands, grid, where)
    kinds, kind = _numbered(names, stands)
    parts, of = shapely.get_parts(shapes[stands], return_index=True)
    rows = np.flatnonzero(stands)[of]
    areas = shapely.get_dimensions(parts) == 2
    # Whatever holds a circle through the corners of a cell has a post inside.
    radius_m = float(np.hypot(grid.spacing_x_m, grid.spacing_y_m)) / 2
    wide = areas.copy()
    wide[areas] = ~shapely.is_empty(shapely.buffer(parts[areas], -radius_m))
    narrow = areas & ~wide
    if narrow.any():
        woods = " (woods among them let no sight pass)" if passes[rows[narrow]].any() else ""
        notes.append(
            f"Cover: {_many(int(narrow.sum()), 'area')} too narrow to hold a post of the terrain, less than "
            f"{2 * radius_m:.3g} m across, taken as upright screens along the outline{woods}."
        )
    ends_m, screen = _edges(parts[~wide])
    screen_rows = rows[~wide][screen]
    order = np.argsort(height_m[rows[wide]], kind="stable")
    area_rows = rows[wide][order]
    errors = np.where(by_kind, _ERROR_BY_KIND, _ERROR_GIVEN) * height_m
    return (
        CoverShapes(
            parts[wide][order],
            height_m[area_rows],
            kind[area_rows],
            passes[area_rows],
            ends_m,
            height_m[screen_rows],
            kind[screen_rows],
            kinds,
            _mean(errors[area_rows], shapely.area(parts[wide][order])),
            _mean(errors[screen_rows], np.hypot(*(ends_m[:, 2:] - ends_m[:, :2]).T)),
        ),
        notes,
        operations,
    )


def _mean(errors_m: Floats, sizes: Floats) -> float:
    """Mean error of things of unlike size; 0 without any."""
    return float(np.average(errors_m, weights=sizes)) if sizes.any() else 0.0


def _plain(kind: Any) -> str:
    return " ".join(plain_label(str(kind)).replace("_", " ").casefold().split()) if kind else "thing"


def _many(count: int, what: str) -> str:
    return f"{count:,} {what}{'s' if count != 1 else ''}"


def _settled(
    names: list[str], told_m: Floats, tall_m: Floats, table: CoverTable, where: str
) -> tuple[Floats, Flags, Flags]:
    """Height, whether some sight passes, and whether the height is the table's; each (n,)."""
    known = {name: table.of(name) for name in dict.fromkeys(names)}
    flat = np.array([entry is not None and entry.height_m == 0 for entry in map(known.get, names)], bool)
    told_m = np.where(np.isnan(told_m) & ~flat, tall_m, told_m)
    by_kind = np.isnan(told_m)
    lacking = Counter(
        name for name, missing in zip(names, by_kind, strict=True) if missing and not known[name]
    )
    if lacking:
        listed = ", ".join(f"{name!r} ({count:,})" for name, count in lacking.most_common(6))
        more = f" and {len(lacking) - 6} more" if len(lacking) > 6 else ""
        raise FeatureError(
            f"cover without a height, of kinds that {table.source} does not know: {listed}{more}",
            where=where,
            remedy="Name the layers that are cover, give heights in a column such as cover_height_m, "
            "or a table of heights that knows these kinds",
            parameters=("cover_layer", "cover_heights"),
        )
    entries = [known[name] for name in names]
    table_m = np.array([np.nan if entry is None else entry.height_m for entry in entries])
    passes = np.array([entry is not None and entry.passes for entry in entries], dtype=bool)
    height_m = np.where(by_kind, table_m, told_m)
    tall = np.flatnonzero(passes & (height_m > TALLEST_WOOD_M))
    if tall.size:
        raise FeatureError(
            f"{names[tall[0]]} {height_m[tall[0]]:,.0f} m tall: no trees stand above {TALLEST_WOOD_M:.0f} m",
            where=where,
            remedy="Heights are metres above the ground, not above sea level; columns are looked for in the "
            f"order {', '.join((*COVER_HEIGHT_COLUMNS, *TALL_COLUMNS))}",
            parameters=_ABOUT,
        )
    return height_m, passes, by_kind


def _height_notes(names: list[str], height_m: Floats, by_kind: Flags, table: CoverTable) -> list[str]:
    notes = []
    taken = Counter(
        (name, float(tall_m))
        for name, tall_m, missing in zip(names, height_m, by_kind, strict=True)
        if missing and tall_m > 0
    )
    if taken:
        listed = ", ".join(f"{name} {tall_m:g} m" for (name, tall_m), _ in taken.most_common(8))
        more = f" and {len(taken) - 8} more kinds" if len(taken) > 8 else ""
        notes.append(
            f"Cover: {_many(sum(taken.values()), 'height')} taken by kind from {display_name(table.source)}: "
            f"{listed}{more}."
        )
    flat = Counter(name for name, tall_m in zip(names, height_m, strict=True) if tall_m == 0)
    if flat:
        listed = ", ".join(name for name, _ in flat.most_common(6))
        notes.append(
            f"Cover: left out, as of height 0 and hiding nothing: {_many(sum(flat.values()), 'feature')} "
            f"({listed}{', ...' if len(flat) > 6 else ''})."
        )
    return notes


def _widths(names: list[str], height_m: Floats, told_m: Floats, table: CoverTable) -> Floats:
    """How wide single things are: as told, else by kind, else half their height."""
    by_kind = [table.of(name) for name in names]
    table_m = np.array([np.nan if e is None or e.width_m is None else e.width_m for e in by_kind])
    width_m = np.where(told_m > 0, told_m, table_m)
    return np.where(np.isnan(width_m), height_m / 2, width_m)


def _round(points: Any, radius_m: float) -> Any:
    """A six-sided outline about each of some points."""
    turn = np.radians(30.0 + np.arange(_CORNERS) * 360.0 / _CORNERS)
    ring = radius_m * np.column_stack([np.cos(turn), np.sin(turn)])
    centres = shapely.get_coordinates(points)
    return shapely.multipolygons(shapely.polygons(centres[:, None, :] + ring[None]))


def _check_place(shapes: Objects, stands: Flags, grid: Grid, where: str) -> None:
    """Refuse cover of which nothing stands, or stands on the terrain."""
    if not stands.any():
        raise FeatureError(
            "nothing of it stands above the ground: all heights are 0",
            where=where,
            remedy="Give heights in a column such as cover_height_m, or a table of heights",
            parameters=("cover", "cover_heights"),
        )
    west, south, east, north = grid.cell_edges_m
    bounds = shapely.bounds(shapes[stands])
    on = (bounds[:, 0] <= east) & (bounds[:, 2] >= west) & (bounds[:, 1] <= north) & (bounds[:, 3] >= south)
    if on.any():
        return
    left, low = bounds[:, :2].min(axis=0)
    right, high = bounds[:, 2:].max(axis=0)
    degrees = abs(left) <= 180 and abs(right) <= 180 and abs(low) <= 90 and abs(high) <= 90
    remedy = (
        "These look like degrees: state the file's CRS, such as EPSG:4326, in the file itself"
        if degrees
        else "Check the coordinates and the CRS of the file"
    )
    raise FeatureError(
        f"nothing of the cover lies on the terrain: it spans {left:,.6g} to {right:,.6g} east and "
        f"{low:,.6g} to {high:,.6g} north in {grid.crs.name}",
        where=where,
        remedy=remedy,
        parameters=_ABOUT,
    )


def _numbered(names: list[str], stands: Flags) -> tuple[tuple[str, ...], Bytes]:
    """Names of kinds, bare ground first, and the number of each feature's."""
    common = [name for name, _ in Counter(n for n, s in zip(names, stands, strict=True) if s).most_common()]
    listed = common if len(common) <= _MOST_KINDS else [*common[: _MOST_KINDS - 1], _OTHERS]
    number = {name: i for i, name in enumerate(listed, 1)}
    return ("", *listed), np.array([number.get(name, len(listed)) for name in names], np.uint8)


def _edges(shapes: Objects) -> tuple[Floats, Any]:
    """(m, 4) ends of all straight edges of lines and outlines, and the index of the shape each is of."""
    areas = shapely.get_dimensions(shapes) == 2
    lines, of = shapes.copy(), np.arange(len(shapes))
    lines[areas] = shapely.boundary(shapes[areas])
    parts, index = shapely.get_parts(lines, return_index=True)
    of = of[index]
    xy, line = shapely.get_coordinates(parts, return_index=True)
    if len(xy) < 2:
        return np.empty((0, 4)), np.empty(0, np.int64)
    joined = (line[1:] == line[:-1]) & (xy[1:] != xy[:-1]).any(axis=1)
    ends = np.hstack([xy[:-1], xy[1:]])[joined]
    return ends, of[line[:-1][joined]]
