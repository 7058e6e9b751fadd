"""How much of areas and of paths is seen: counted cell by cell from the tiles' counts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
import shapely.ops

from hillsight.errors import FeatureError
from hillsight.ground import vector
from hillsight.ground.stations import NAME_COLUMNS
from hillsight.ground.transform import operation_between
from hillsight.jobs.batch.planning import Tile, tile_window
from hillsight.schema.batch import NOTHING_32
from hillsight.schema.frames import frame_of_rows

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas
    from pyproj import CRS

    from hillsight.arrays import AnyArray, Floats
    from hillsight.ground.grid import Grid
    from hillsight.jobs.batch.parts import Setting

#: Tiles of counts that are held at a time.
_TILES_HELD = 8
#: Share of the spacing by which middles of cells are moved north and east, so that none lies on an edge.
_NUDGE = 1e-6


class TileCounts:
    """Counts of any cell, from the rasters of the tiles; the greatest number where nothing was asked."""

    def __init__(self, setting: Setting, grid: Grid, tiles: Sequence[Tile]) -> None:
        self._setting, self.grid = setting, grid
        self._tiles = {(tile.row, tile.column): tile for tile in tiles}
        self._held: dict[tuple[int, int], AnyArray | None] = {}

    def tile(self, row: int, column: int) -> AnyArray | None:
        """The counts of a tile, uint32; None where no station looked at it."""
        import rasterio

        if (row, column) not in self._tiles:
            return None
        if (row, column) not in self._held:
            if len(self._held) >= _TILES_HELD:
                del self._held[next(iter(self._held))]
            name = f"visible_count_{self._tiles[row, column].name}.tif"
            path = Path(self._setting.folder) / "visible_count" / name
            counts = None
            if path.exists():  # not written where all that was asked is void
                with rasterio.open(path) as file:
                    raw = file.read(1)
                    counts = np.where(raw == file.nodata, NOTHING_32, raw.astype(np.uint32))
            self._held[row, column] = counts
        return self._held[row, column]

    def at(self, row: AnyArray, column: AnyArray) -> AnyArray:
        """Counts of cells, (n,) uint32; off the lattice nothing is asked."""
        found = np.full(row.shape, NOTHING_32, np.uint32)
        side = self._setting.tile_posts
        on = (row >= 0) & (row < self.grid.rows) & (column >= 0) & (column < self.grid.columns)
        tile_row, tile_column = row // side, column // side
        for i, j in sorted(set(zip(tile_row[on].tolist(), tile_column[on].tolist(), strict=True))):
            counts = self.tile(i, j)
            if counts is not None:
                here = on & (tile_row == i) & (tile_column == j)
                found[here] = counts[row[here] - i * side, column[here] - j * side]
        return found


def shapes_on_grid(
    path: str, layer: str | None, kind: str, grid: Grid, default_crs: CRS, near: tuple[float, float]
) -> tuple[list[str | None], list[Any]]:
    """Names and shapes of a layer on the working grid, in its order.

    kind : Polygon or LineString; others, and shapes without a place, are refused

    Raises
    ------
    FeatureError : the layer cannot be read, or holds something else
    """
    frame, _ = vector.read_layer(path, layer, default_crs)
    operation = operation_between(frame.crs, grid.crs, near)
    column = vector.find_column(frame, NAME_COLUMNS)
    cells = frame[column] if column else [None] * len(frame)
    names = [vector.text_or_none(cell) for cell in cells]
    shapes = []
    for row, shape in enumerate(frame.geometry, 1):
        if shape is None or shape.is_empty or shape.geom_type.removeprefix("Multi") != kind:
            told = "nothing" if shape is None or shape.is_empty else f"a {shape.geom_type}"
            raise FeatureError(
                f"row {row} holds {told}, and a {kind} is needed",
                where=path,
                remedy="Name a layer of the right kind, or drop the row",
            )
        placed = shapely.transform(shape, lambda xy: np.column_stack(operation.forward(xy[:, 0], xy[:, 1])))
        if not np.isfinite(shapely.get_coordinates(placed)).all():
            raise FeatureError(f"row {row} has no place in {grid.crs.name}", where=path)
        shapes.append(placed)
    return names, shapes


def area_shares(
    names: Sequence[str | None], areas: Sequence[Any], counts: TileCounts, tile_posts: int
) -> geopandas.GeoDataFrame:
    """The layer ``area_shares``: cells whose middle lies in an area, counted tile by tile.

    A middle on an edge belongs to what lies east of it, on an edge along the grid to what lies north: areas
    beside one another share no cell and lose none.
    """
    from rasterio.features import geometry_mask
    from rasterio.transform import from_origin

    grid = counts.grid
    cell_ha = grid.spacing_x_m * grid.spacing_y_m / 10_000
    rows = []
    for number, (name, area) in enumerate(zip(names, areas, strict=True), 1):
        inside_cells = asked_cells = seen_cells = 0
        west, south, east, north = area.bounds
        (top, left), (bottom, right) = (grid.to_array(west, north), grid.to_array(east, south))
        for row in _tiles_between(top, bottom, grid.rows, tile_posts):
            for column in _tiles_between(left, right, grid.columns, tile_posts):
                window = tile_window(grid, row, column, tile_posts)
                part = grid.part(*window)
                nudge_x, nudge_y = _NUDGE * grid.spacing_x_m, _NUDGE * grid.spacing_y_m
                corner = (part.cell_edges_m[0] + nudge_x, part.cell_edges_m[3] + nudge_y)
                transform = from_origin(*corner, grid.spacing_x_m, grid.spacing_y_m)
                inside = geometry_mask([area], (window.rows, window.columns), transform, invert=True)
                inside_cells += int(inside.sum())
                told = counts.tile(row, column)
                if told is not None:
                    asked = inside & (told != NOTHING_32)
                    asked_cells += int(asked.sum())
                    seen_cells += int((asked & (told > 0)).sum())
        rows.append(
            {
                "area": number,
                "name": name,
                "area_ha": inside_cells * cell_ha,
                "asked_ha": asked_cells * cell_ha,
                "seen_ha": seen_cells * cell_ha,
                "seen_share": seen_cells / asked_cells if asked_cells else None,
            }
        )
    shapes = [area if area.geom_type == "MultiPolygon" else shapely.MultiPolygon([area]) for area in areas]
    return frame_of_rows("area_shares", rows, shapes, grid.crs)


def _tiles_between(first: Any, last: Any, posts: int, tile_posts: int) -> range:
    """Tiles along one axis that hold posts from one place to another."""
    least, most = max(int(np.floor(first)), 0), min(int(np.ceil(last)), posts - 1)
    return range(least // tile_posts, most // tile_posts + 1) if least <= most else range(0)


def path_stretches(
    names: Sequence[str | None], paths: Sequence[Any], counts: TileCounts, stretch_m: float
) -> geopandas.GeoDataFrame:
    """The layer ``path_stretches``: by places along each stretch, a cell apart at most."""
    grid = counts.grid
    step_m = min(grid.spacing_x_m, grid.spacing_y_m)
    rows: list[dict[str, Any]] = []
    shapes: list[Any] = []
    for number, (name, path) in enumerate(zip(names, paths, strict=True), 1):
        along_m = 0.0
        for line in shapely.get_parts(path):
            for from_m, to_m in _stretches(line.length, stretch_m):
                places = max(int(np.ceil((to_m - from_m) / step_m)), 1)
                middles = from_m + (np.arange(places) + 0.5) * (to_m - from_m) / places
                xy = shapely.get_coordinates(shapely.line_interpolate_point(line, middles))
                row, column = (np.floor(v + 0.5).astype(np.int64) for v in grid.to_array(xy[:, 0], xy[:, 1]))
                told = counts.at(row, column)
                asked = told != NOTHING_32
                rows.append(
                    {
                        "path": number,
                        "name": name,
                        "from_m": along_m + from_m,
                        "to_m": along_m + to_m,
                        "asked_share": float(asked.mean()),
                        "seen_share": float((told[asked] > 0).mean()) if asked.any() else None,
                        "most_stations": int(told[asked].max()) if asked.any() else None,
                    }
                )
                shapes.append(shapely.ops.substring(line, from_m, to_m))
            along_m += line.length
    return frame_of_rows("path_stretches", rows, shapes, grid.crs)


def _stretches(length_m: float, stretch_m: float) -> list[tuple[float, float]]:
    """Where the stretches of a line begin and end: equal ones, none longer than asked."""
    number = max(int(np.ceil(length_m / stretch_m - 1e-9)), 1)
    edges: Floats = np.linspace(0.0, length_m, number + 1)
    return list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True))
