"""A drawn view in shaded relief: what is painted, in which colours, and how far it is seen."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.colors import to_rgb

from hillsight.kernels.threads import in_slices
from hillsight.sheets.paper import palette
from hillsight.sight.drawn_sector import DrawnSector, Scene
from hillsight.sight.painting import ACROSS, DOWN, MARGIN, paint_rows
from hillsight.sight.rays import see_rays
from hillsight.sight.smooth_slopes import SlopeLadder

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Bytes, Floats, Floats32
    from hillsight.ground.grid import Grid
    from hillsight.sight.cylinder import Projection
    from hillsight.sight.far_sky import FarGround
    from hillsight.sight.stretches import SeenStretches
    from hillsight.sight.viewing import Eye

#: Rows of pixels that a thread paints at a time.
_ROWS_AT_A_TIME = 24

#: Cover is laid out on nested lattices: half the side of the finest (m), how much larger each next one is,
#: cells along a side. So a cell is seen under 0.16 degrees at most, a few pixels.
_NEAREST_M, _WIDER, _CELLS = 250.0, 4.0, 3000

#: Strength of what is drawn, chosen by looking at pictures: least light, shade of what bends away, grain.
_AMBIENT, _ROUNDING, _GRAIN = 0.22, 0.26, 0.07


@dataclass(frozen=True)
class Light:
    """Where light comes from.

    azimuth_deg : clockwise from grid north; with ``turns`` from the direction of view, so that 225 is over
        the left shoulder and no part of a full circle looks into its own shade
    altitude_deg : above the level, above 0 and up to 90
    """

    azimuth_deg: float = 225.0
    altitude_deg: float = 40.0
    turns: bool = True


@dataclass(frozen=True)
class Cover:
    """Areas of the map that are tinted on the ground, shapely polygons in the terrain's grid.

    Later ones lie over earlier ones, and water over woods.
    """

    woods: Sequence[Any] = field(default=())
    water: Sequence[Any] = field(default=())


@dataclass(frozen=True)
class Painted:
    """A drawn view and what it was drawn from.

    picture : (rows, columns, 3) uint8
    scene : its haze and its light, to be stated beside it
    seen : to ask for the ground at any place of the picture, by ``distance_m`` or ``rays.see_rays``
    """

    picture: Bytes
    scene: Scene
    seen: SeenStretches
    projection: Projection

    def distance_m(self) -> Floats32:
        """Distances at the middles of the pixels, (rows, columns), as ``rays.see_rays`` gives them."""
        x = np.arange(self.projection.width_px) + 0.5
        y = np.arange(self.projection.height_px) + 0.5
        return see_rays(self.seen, *self.projection.directions(x[None, :], y[:, None]))


def paint(
    far: FarGround,
    eye: Eye,
    projection: Projection,
    *,
    light: Light | None = None,
    haze_half_m: float | None = None,
    cover: Cover | None = None,
    slopes: SlopeLadder | None = None,
) -> Painted:
    """Paint a view in shaded relief.

    Parameters
    ----------
    far : all ground that may stand against the sky
    eye : on the lattice of ``far.surface``
    projection : a cylinder or a camera
    light : over the left shoulder, 40 degrees up, where None
    haze_half_m : distance at which half of the contrast is left; by what is in view where None
    cover : water and woods to be tinted
    slopes : of ``far.surface``, where they are made already
    """
    light = light or Light()
    sector = DrawnSector.of(projection)
    seen = sector.look(far, eye)
    scene = Scene.of(far, eye, seen, projection)
    if haze_half_m is not None:
        scene = Scene(float(haze_half_m), scene.steepened)
    grid, ladder = far.surface.grid, slopes or SlopeLadder.of(far.surface.height_m)
    codes, lattices = _laid_out(cover or Cover(), grid, eye)
    lamp = np.array(
        [
            np.radians(light.azimuth_deg),
            np.radians(light.altitude_deg),
            float(light.turns),
            _AMBIENT,
            _ROUNDING,
            _GRAIN,
        ]
    )
    colours = np.array([to_rgb(colour) for colour in _COLOURS])
    picture = np.empty((projection.height_px, projection.width_px, 3), np.uint8)
    x = (np.arange(-MARGIN, projection.width_px * ACROSS + MARGIN) + 0.5) / ACROSS

    def some(first: int, last: int) -> None:
        y = (np.arange(first * DOWN - MARGIN, last * DOWN + MARGIN) + 0.5) / DOWN
        bearing, angle = projection.directions(x[None, :], y[:, None])
        shape = (y.size, x.size)
        paint_rows(
            seen.first_bearing_grid_deg,
            seen.step_deg,
            seen.stretches,
            seen.offsets,
            seen.void_slope,
            seen.open_slope,
            np.ascontiguousarray(np.broadcast_to(bearing, shape)),
            np.ascontiguousarray(np.broadcast_to(np.tan(np.radians(angle)), shape)),
            float(np.radians(sector.pixel_across_deg)),
            eye.row,
            eye.column,
            grid.spacing_x_m,
            grid.spacing_y_m,
            ladder.heights_m,
            ladder.sizes,
            codes,
            lattices,
            lamp,
            scene.haze_half_m,
            scene.steepened,
            colours,
            first,
            picture[first:last],
        )

    in_slices(some, projection.height_px, _ROWS_AT_A_TIME)
    return Painted(picture, scene, seen, projection)


#: In the order of ``sight.painting``: shade, level ground, full light, haze and low sky, high sky, ink,
#: unknown; then the tints of woods and of water.
_COLOURS = (
    palette.VIEW_SHADE,
    palette.VIEW_GROUND,
    palette.VIEW_LIGHT,
    palette.VIEW_HAZE,
    palette.VIEW_SKY,
    palette.INK,
    palette.UNKNOWN,
    palette.VIEW_WOODS,
    palette.VIEW_WATER,
)
_WOODS, _WATER = 1, 2


def _laid_out(cover: Cover, grid: Grid, eye: Eye) -> tuple[Bytes, Floats]:
    """Codes of what covers the ground and the lattices that they stand on, as ``paint_rows`` takes them."""
    from rasterio.features import rasterize
    from rasterio.transform import from_origin

    shapes = [(one, _WOODS) for one in cover.woods] + [(one, _WATER) for one in cover.water]
    shapes = [(one, code) for one, code in shapes if one is not None and not one.is_empty]
    if not shapes:
        return np.zeros(1, np.uint8), np.zeros((0, 7))
    easting_m, northing_m = (float(v) for v in grid.to_map(eye.row, eye.column))
    bounds = np.array([one.bounds for one, _ in shapes])
    farthest_m = max(
        easting_m - bounds[:, 0].min(),
        bounds[:, 2].max() - easting_m,
        northing_m - bounds[:, 1].min(),
        bounds[:, 3].max() - northing_m,
    )
    codes, lattices, start, half_m = [], [], 0, _NEAREST_M
    while True:
        cell_m = 2.0 * half_m / _CELLS
        west, north = easting_m - half_m, northing_m + half_m
        laid = rasterize(
            shapes, (_CELLS, _CELLS), transform=from_origin(west, north, cell_m, cell_m), dtype=np.uint8
        )
        codes.append(laid.ravel())
        row, column = grid.to_array(west, north)
        cells = grid.spacing_y_m / cell_m, grid.spacing_x_m / cell_m
        lattices.append([start, _CELLS, _CELLS, float(row), float(column), *cells])
        start += laid.size
        if half_m >= farthest_m:
            return np.concatenate(codes), np.array(lattices)
        half_m *= _WIDER
