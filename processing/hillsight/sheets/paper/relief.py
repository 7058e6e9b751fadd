"""The ground as a picture: shade, contours and the states of ground, pixel by pixel."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.colors import to_rgb

from hillsight.layers.contents import sampled
from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.drawn_signs import paint
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Iterable

    from hillsight.arrays import AnyArray, Bytes, Flags, Floats
    from hillsight.ground.grid import Surface
    from hillsight.layers.contents import Content, Raster
    from hillsight.sheets.paper.labels import Box

NOT_TOLD = 9  # within the reach, but no layer says what the ground there is
# Limits of the depth classes, metres: 2 m is a person standing; the coarser sets are for ground where
# nearly all that is hidden lies deeper. Common practice, no source.
_DEPTH_LIMITS = ((2.0, 5.0, 20.0), (2.0, 10.0, 50.0), (2.0, 20.0, 200.0))
_INTERVALS_M = (1, 2, 5, 10, 20, 50, 100, 200, 500)
_MOST_CONTOURS = 28
_CONTOUR_PITCH = 7  # pixels between contours on steep ground
# How far the relief darkens ground: less where it is hidden, so that washes and contours stay apart.
_SHADE, _SHADE_HIDDEN, _SHADE_BEYOND = 0.32, 0.16, 0.10


@dataclass(frozen=True)
class Raised:
    """The terrain about a map, on posts no finer than its pixels.

    easting_m, northing_m : of the columns and rows; height_m, shade : (rows, columns), NaN on voids
    """

    easting_m: Floats
    northing_m: Floats
    height_m: Floats
    shade: Floats


def raised(surface: Surface, limits: Box, pixel_m: float) -> Raised | None:
    """Cut the terrain out about a map, thin it to the pixels and shade it; None if it is not there at all.

    Shade is 0 to 1: the cosine between the ground's normal and a light in the north-west, 45 degrees up
    (the common drawing convention), with slopes steepened where the relief is low. It is not stretched to its
    range, as matplotlib's light source does, so that neighbouring maps are shaded alike and voids do no harm.
    """
    grid = surface.grid
    top, left = (float(v) for v in grid.to_array(limits.left, limits.top))
    bottom, right = (float(v) for v in grid.to_array(limits.right, limits.bottom))
    first_row, last_row = max(int(top) - 2, 0), min(int(bottom) + 4, grid.rows)
    first_column, last_column = max(int(left) - 2, 0), min(int(right) + 4, grid.columns)
    if last_row - first_row < 2 or last_column - first_column < 2:
        return None
    height = surface.height_m[first_row:last_row, first_column:last_column].astype(np.float64)
    step = max(1, int(pixel_m / max(grid.spacing_x_m, grid.spacing_y_m)))
    rows = np.arange(first_row, last_row, dtype=np.float64)
    columns = np.arange(first_column, last_column, dtype=np.float64)
    if step > 1:
        height, rows, columns = _thinned(height, step), _middles(rows, step), _middles(columns, step)
    easting, northing = grid.to_map(rows, columns)
    return Raised(easting, northing, height, _shade(height, grid.spacing_x_m * step, grid.spacing_y_m * step))


def _thinned(height: Floats, step: int) -> Floats:
    """Means of blocks; a block with a void is void."""
    rows, columns = (n // step * step for n in height.shape)
    blocks = height[:rows, :columns].reshape(rows // step, step, columns // step, step)
    return np.asarray(blocks.mean(axis=(1, 3)))


def _middles(numbers: Floats, step: int) -> Floats:
    whole = numbers.size // step * step
    return np.asarray(numbers[:whole].reshape(-1, step).mean(axis=1))


def _shade(height: Floats, dx_m: float, dy_m: float) -> Floats:
    if min(height.shape) < 2:
        return np.ones(height.shape)
    southward, eastward = np.gradient(height, dy_m, dx_m)
    slope = np.hypot(southward, eastward)
    known = slope[np.isfinite(slope)]
    typical = float(np.quantile(known, 0.9)) if known.size else 0.0
    steepened = float(np.clip(0.7 / typical, 1.0, 6.0)) if typical > 0.005 else 1.0
    east, north = eastward * steepened, -southward * steepened
    # normal (-east, -north, 1); light from the north-west, 45 degrees up
    light = (east * 0.5 - north * 0.5 + 0.7071) / np.sqrt(1 + east**2 + north**2)
    return np.asarray(np.clip(light, 0.0, 1.0))


def contour_interval_m(terrain: Raised, pixel_m: float) -> float | None:
    """Interval that draws the relief with at most 28 contours, on steep ground some pixels apart.

    None where there is no relief.
    """
    known = terrain.height_m[np.isfinite(terrain.height_m)]
    relief = float(known.max() - known.min()) if known.size else 0.0
    if relief < _INTERVALS_M[0]:
        return None
    slope = np.hypot(*np.gradient(terrain.height_m, terrain.northing_m, terrain.easting_m))
    steep = float(np.nanquantile(slope, 0.75)) if np.isfinite(slope).any() else 0.0
    least = max(relief / _MOST_CONTOURS, steep * pixel_m * _CONTOUR_PITCH)
    return float(next((i for i in _INTERVALS_M if i >= least), _INTERVALS_M[-1]))


def depth_limits_m(depth_m: AnyArray) -> tuple[float, float, float]:
    """Limits between the four depth classes: the finest that half of what is hidden does not exceed."""
    hidden = depth_m[np.isfinite(depth_m) & (depth_m > 0)]
    for limits in _DEPTH_LIMITS[:-1]:
        if hidden.size == 0 or np.mean(hidden >= limits[-1]) <= 0.5:
            return limits
    return _DEPTH_LIMITS[-1]


@dataclass(frozen=True)
class Ground:
    """States and depths at the pixels of a map: (rows, columns), top row first.

    state : codes of GroundState, or NOT_TOLD; depth_m : NaN where not known
    """

    state: Bytes
    depth_m: Floats


def ground(content: Content, surface: Surface, limits: Box, rows: int, columns: int) -> Ground:
    """What the layers, or else the rasters, say of each pixel of a map.

    Parameters
    ----------
    content : layers in the surface's CRS
    limits : the map's edges, metres
    rows, columns : pixels
    """
    crs = surface.grid.crs
    x = limits.left + (np.arange(columns) + 0.5) / columns * limits.width
    y = limits.top - (np.arange(rows) + 0.5) / rows * limits.height
    easting, northing = np.meshgrid(x, y)
    at, reach_m = content.station.geometry, float(content.station["reach_m"])
    within = np.hypot(easting - at.x, northing - at.y) <= reach_m
    state = np.where(within, NOT_TOLD, int(GroundState.BEYOND)).astype(np.uint8)
    if "viewshed" in content.rasters:
        raster = content.rasters["viewshed"]
        codes = sampled(raster, easting, northing, crs, smooth=False)
        off = (
            sampled(replace(raster, array=np.ones_like(raster.array)), easting, northing, crs, smooth=False)
            == 0
        )
        state = np.where(within & off, int(GroundState.UNKNOWN), codes).astype(np.uint8)
    if "visible_ground" in content.frames:
        # The layers' edges run between posts; they tile the reach: what none names is dead ground.
        state = np.where(within, int(GroundState.HIDDEN), int(GroundState.BEYOND)).astype(np.uint8)
        for layer, code in (
            ("visible_ground", GroundState.VISIBLE),
            ("uncertain_ground", GroundState.UNCERTAIN),
            ("unknown_ground", GroundState.UNKNOWN),
        ):
            state[within & burnt(_shapes(content, layer), limits, rows, columns)] = int(code)
    elif "dead_ground" in content.frames:
        state[within & burnt(_shapes(content, "dead_ground"), limits, rows, columns)] = int(
            GroundState.HIDDEN
        )
    depth = np.full(state.shape, np.nan)
    hidden = state == GroundState.HIDDEN
    if "depth" in content.rasters:
        depth = sampled(_edged(content.rasters["depth"]), easting, northing, crs, smooth=True)
    elif (pockets := content.rows("dead_ground")) is not None:
        # Without the raster, each pocket takes its mean depth.
        for shape, mean_m in zip(pockets.geometry, pockets["depth_mean_m"], strict=True):
            depth[burnt([shape], limits, rows, columns)] = mean_m
    return Ground(state, np.where(hidden, depth, np.nan))


def _edged(raster: Raster) -> Raster:
    """The depths with the nearest one set on posts beside those that have one.

    The layers' edges lie up to a post beyond the last post of the raster that has a depth.
    """
    from scipy.ndimage import distance_transform_edt

    bare = np.isnan(raster.array)
    if bare.all() or not bare.any():
        return raster
    away, nearest = distance_transform_edt(bare, return_indices=True)
    filled = np.where(away < 2.3, raster.array[tuple(nearest)], raster.array)
    return replace(raster, array=filled)


def _shapes(content: Content, layer: str) -> list[Any]:
    frame = content.rows(layer)
    return [] if frame is None else list(frame.geometry)


def burnt(shapes: Iterable[Any], limits: Box, rows: int, columns: int) -> Flags:
    """Pixels whose centres lie in any of the shapes."""
    from rasterio.features import rasterize
    from rasterio.transform import from_bounds

    whole = [shape for shape in shapes if shape is not None and not shape.is_empty]
    if not whole:
        return np.zeros((rows, columns), bool)
    place = from_bounds(limits.left, limits.bottom, limits.right, limits.top, columns, rows)
    return np.asarray(rasterize(whole, (rows, columns), transform=place), bool)


def colours(of: Ground, limits_m: tuple[float, float, float], *, flat: bool = False) -> Floats:
    """Colour of each pixel, 0 to 1: (rows, columns, 3).

    Parameters
    ----------
    limits_m : between the depth classes
    flat : dead ground in one wash, for a picture of the states alone
    """
    picture = np.empty((*of.state.shape, 3))
    picture[:] = to_rgb(palette.PAPER)
    picture[of.state == NOT_TOLD] = to_rgb(palette.BLANK)
    for code, sign in (
        (GroundState.VISIBLE, signs.SEEN),
        (GroundState.UNKNOWN, signs.UNKNOWN_GROUND),
        (GroundState.UNCERTAIN, signs.UNCERTAIN_GROUND),
    ):
        paint(picture, of.state == code, sign)
    hidden = of.state == GroundState.HIDDEN
    untold = hidden if flat else hidden & ~np.isfinite(of.depth_m)
    paint(picture, untold, signs.DEAD_GROUND)
    if not flat:
        depth_class = np.digitize(np.nan_to_num(of.depth_m), limits_m)
        for number, sign in enumerate(signs.DEAD_GROUND_BY_DEPTH):
            paint(picture, hidden & ~untold & (depth_class == number), sign)
    picture[_edge_pixels(hidden)] = to_rgb(signs.DEAD_GROUND_EDGE.colour)
    return picture


def _edge_pixels(where: Flags) -> Flags:
    """Pixels of an area that lie beside others; the picture's own edge is none of the area's."""
    from scipy.ndimage import binary_erosion

    return np.asarray(where & ~binary_erosion(where, border_value=1))


def depth_words(limits_m: tuple[float, float, float]) -> list[str]:
    """The four depth classes in words."""
    first, second, third = (f"{limit:g}" for limit in limits_m)
    return [
        f"under {first} m deep",
        f"{first} to {second} m",
        f"{second} to {third} m",
        f"{third} m and more",
    ]


def shaded(picture: Floats, shade: Floats, beyond: Flags, hidden: Flags | None = None) -> Bytes:
    """Darken a picture by the relief; dead ground less, and ground beyond the reach by a breath."""
    depth = np.where(beyond, _SHADE_BEYOND, _SHADE)
    if hidden is not None:
        depth = np.where(hidden, _SHADE_HIDDEN, depth)
    level = np.where(np.isfinite(shade), np.clip((shade - 0.25) / 0.6, 0.0, 1.0), 1.0)
    factor = 1.0 - depth * (1.0 - level)
    return as_bytes(picture * factor[..., None])


def shade_at_pixels(terrain: Raised, limits: Box, rows: int, columns: int) -> Floats:
    """The shade at each pixel; NaN off the terrain and beside voids."""
    x = limits.left + (np.arange(columns) + 0.5) / columns * limits.width
    y = limits.top - (np.arange(rows) + 0.5) / rows * limits.height
    east, north = terrain.easting_m, terrain.northing_m
    if east.size < 2 or north.size < 2:
        return np.full((rows, columns), np.nan)
    at_column = (x - east[0]) / (east[1] - east[0])
    at_row = (y - north[0]) / (north[1] - north[0])
    # Bilinear, one way after the other.
    return _between(_between(terrain.shade, at_row).T, at_column).T


def _between(values: Floats, at: Floats) -> Floats:
    """Rows at fractional places among rows, NaN outside them."""
    low = np.clip(np.floor(at).astype(np.intp), 0, len(values) - 2)
    share = np.where((at >= 0) & (at <= len(values) - 1), at - low, np.nan)[:, None]
    return np.asarray((1 - share) * values[low] + share * values[low + 1])


def mixed(colour: str, strength: float, ground: str = palette.PAPER) -> tuple[float, float, float]:
    """A colour that lets some of the ground below it show through."""
    red, green, blue = strength * np.array(to_rgb(colour)) + (1 - strength) * np.array(to_rgb(ground))
    return float(red), float(green), float(blue)


def as_bytes(picture: Floats) -> Bytes:
    """Shares 0 to 1 as bytes."""
    return np.rint(np.clip(picture, 0.0, 1.0) * 255).astype(np.uint8)
