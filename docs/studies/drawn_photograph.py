"""Photographs drawn from terrain, with all that makes the sky's edge hard to find; and where the edge
truly is.

A renderer for checks, the studies and the demo. It shares no code with hillsight: splines between posts, a
fan
of profiles, rotation matrices. Light, haze, clouds, snow, trees and people are made to look right and are no
measurement of anything. One seed gives one picture.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image
from scipy import ndimage

from drawn_camera import DrawnCamera
from drawn_ground import DROP_PER_M, DrawnGround, Fan, Noise, fan_from
from drawn_sky import Weather, ground_colour, sky_colour, through_air
from drawn_things import Thing, shape

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

#: Points of a pixel, along each side.
_FINE = 2


@dataclass(frozen=True)
class Film:
    """How the picture is taken and kept.

    blur_px : of the lens; grain : noise of mid-grey, in levels of 255; sharpened : as cameras do, 0 to 1
    quality : of the JPEG; 0 keeps the picture as it is
    """

    blur_px: float = 0.6
    grain: float = 1.6
    sharpened: float = 0.35
    quality: int = 88


@dataclass(frozen=True)
class Drawn:
    """A photograph and its truth.

    rgb : (rows, columns, 3) uint8
    edge_y_px : (columns,) where ground and sky meet at the middle of each column, NaN where outside the
        picture
    hidden : (columns,) whether that is hidden by a thing or in cloud
    fan : the profiles it was drawn from; camera : that drew it; jpeg : its bytes, as kept
    """

    rgb: NDArray[np.uint8]
    edge_y_px: Floats
    hidden: NDArray[np.bool_]
    fan: Fan = field(repr=False)
    camera: DrawnCamera
    jpeg: bytes = field(repr=False, default=b"")


def draw_photograph(
    ground: DrawnGround,
    place_m: tuple[float, float],
    camera: DrawnCamera,
    weather: Weather,
    *,
    things: tuple[Thing, ...] = (),
    film: Film | None = None,
    eye_above_m: float = 1.6,
    reach_m: float = 25_000.0,
    seed: int = 0,
) -> Drawn:
    """Draw what the camera sees from a place, (easting, northing) in metres."""
    film = film or Film()
    noise = Noise(seed + 1)
    fine_x = (np.arange(camera.width_px * _FINE) + 0.5) / _FINE
    fine_y = (np.arange(camera.height_px * _FINE) + 0.5) / _FINE
    bearing, tangent = camera.rays(fine_x[None, :], fine_y[:, None])
    pixel = 1 / camera.focal_px
    spread = np.arange(bearing.min() - pixel, bearing.max() + pixel, pixel / _FINE)
    fan = fan_from(ground, place_m, eye_above_m, spread, reach_m)
    far_m = fan.hits(bearing.ravel(), tangent.ravel())
    light = np.empty((bearing.size, 3), np.float32)
    sky = np.isnan(far_m)
    flat_bearing, flat_tangent = bearing.ravel(), tangent.ravel()
    light[sky] = sky_colour(weather, noise, flat_bearing[sky], flat_tangent[sky])
    light[~sky], _ = _lit_ground(
        ground, fan, weather, noise, flat_bearing[~sky], far_m[~sky], flat_tangent[~sky], pixel
    )
    light = light.reshape(*bearing.shape, 3)
    far_m = np.where(sky, np.inf, far_m).reshape(bearing.shape)
    before = np.zeros(bearing.shape, bool)
    for thing in sorted(things, key=lambda one: -one.far_m):
        _stand(thing, ground, fan, camera, weather, noise, (bearing, tangent), far_m, light, before)
    light = light.reshape(camera.height_px, _FINE, camera.width_px, _FINE, 3).mean(axis=(1, 3))
    edge = _edge_of_sky(camera, fan)
    hidden = _hidden_columns(ground, fan, weather, noise, camera, edge, before)
    rgb, jpeg = _developed(light, weather, film, np.random.default_rng(seed))
    return Drawn(rgb, edge, hidden, fan, camera, jpeg)


def _places(
    ground_m: tuple[float, float, float], bearing: Floats, far_m: Floats, tangent: Floats
) -> tuple[Floats, Floats, Floats]:
    east, north, eye = ground_m
    return (
        east + far_m * np.sin(bearing),
        north + far_m * np.cos(bearing),
        eye + far_m * tangent + DROP_PER_M * far_m**2,
    )


def _lit_ground(
    ground: DrawnGround,
    fan: Fan,
    weather: Weather,
    noise: Noise,
    bearing: Floats,
    far_m: Floats,
    tangent: Floats,
    pixel: float,
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Colours of ground as seen from the eye, (n, 3), and the share of its own light left, (n,)."""
    place = _places(fan.eye, bearing, far_m, tangent)
    to_east, to_north = ground.slopes(place[0], place[1])
    # gullies and knobs that the posts do not hold
    bump = 0.30 * (1 + 2 * np.hypot(to_east, to_north))
    rough = np.clip(60 / (far_m * pixel * 8 + 1e-9), 0, 1)
    gully = noise.heap(place[0], place[1], 90.0, 3, 0.55), noise.heap(place[0] + 777, place[1], 90.0, 3, 0.55)
    to_east, to_north = to_east + bump * rough * gully[0] * 0.6, to_north + bump * rough * gully[1] * 0.6
    normal = np.stack([-to_east, -to_north, np.ones_like(to_east)])
    normal /= np.sqrt((normal**2).sum(axis=0))
    colour = ground_colour(weather, noise, place, normal, bearing, far_m, pixel)
    return through_air(weather, noise, colour, place, far_m, bearing)


def _stand(
    thing: Thing,
    ground: DrawnGround,
    fan: Fan,
    camera: DrawnCamera,
    weather: Weather,
    noise: Noise,
    rays: tuple[Floats, Floats],
    far_m: Floats,
    light: NDArray[np.float32],
    before: NDArray[np.bool_],
) -> None:
    """Draw one thing over what lies behind it."""
    east, north, eye = fan.eye
    foot_e, foot_n = east + thing.far_m * np.sin(thing.bearing), north + thing.far_m * np.cos(thing.bearing)
    foot = (
        float(ground.heights(np.array([foot_e]), np.array([foot_n]))[0]) - DROP_PER_M * thing.far_m**2 - eye
    )
    x, y = camera.pixels(np.array([thing.bearing] * 2), np.array([foot, foot + thing.tall_m]) / thing.far_m)
    if not np.isfinite([*x, *y]).all():
        return
    reach = 0.75 * np.hypot(x[1] - x[0], y[1] - y[0]) + 3
    rows = slice(
        *np.clip(
            [_FINE * (min(y) - 4 - 0.2 * reach), _FINE * (max(y) + 4 + 0.2 * reach)], 0, far_m.shape[0]
        ).astype(int)
    )
    columns = slice(
        *np.clip([_FINE * (min(x) - reach), _FINE * (max(x) + reach)], 0, far_m.shape[1]).astype(int)
    )
    bearing, tangent = rays[0][rows, columns], rays[1][rows, columns]
    if not bearing.size:
        return
    across = thing.far_m * np.tan(bearing - thing.bearing)
    up = tangent * thing.far_m - foot
    inside, colour = shape(thing, noise, across.ravel(), up.ravel())
    inside = inside.reshape(bearing.shape) & (far_m[rows, columns] > thing.far_m)
    lit = colour * (1.35 if weather.overcast < 0.5 else 0.95) * (0.0005 if weather.night else 1.0)
    distance = np.full(across.size, thing.far_m)
    place = _places(fan.eye, bearing.ravel(), distance, tangent.ravel())
    seen, _ = through_air(weather, noise, lit.astype(np.float32), place, distance, bearing.ravel())
    light[rows, columns][inside] = seen.reshape(*bearing.shape, 3)[inside]
    far_m[rows, columns][inside] = thing.far_m
    before[rows, columns] |= inside


def _edge_of_sky(camera: DrawnCamera, fan: Fan) -> Floats:
    """Row at which the ground's edge crosses the middle of each column, by halving; NaN outside the
    picture."""
    x = np.arange(camera.width_px) + 0.5
    low, high = np.zeros(x.size), np.full(x.size, float(camera.height_px))

    def above(y: Floats) -> NDArray[np.bool_]:
        bearing, tangent = camera.rays(x, y)
        return tangent > fan.sky_at(bearing)

    inside = above(low) & ~above(high)
    for _ in range(40):
        middle = (low + high) / 2
        sky = above(middle)
        low, high = np.where(sky, middle, low), np.where(sky, high, middle)
    return np.where(inside, (low + high) / 2, np.nan)


def _hidden_columns(
    ground: DrawnGround,
    fan: Fan,
    weather: Weather,
    noise: Noise,
    camera: DrawnCamera,
    edge: Floats,
    before: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Whether something stands before the ground's edge of each column, or it is lost in cloud or haze."""
    columns = np.arange(camera.width_px)
    rows = np.clip(np.nan_to_num(edge) * _FINE, 1, before.shape[0] - 2).astype(int)
    hidden = np.zeros(columns.size, bool)
    for step in (-1, 0):
        for side in range(_FINE):
            hidden |= before[rows + step, columns * _FINE + side]
    bearing, tangent = camera.rays(columns + 0.5, np.nan_to_num(edge))
    far_m = np.interp(bearing, fan.bearing, fan.sky_distance_m)
    _, left = through_air(
        weather,
        noise,
        np.zeros((columns.size, 3), np.float32),
        _places(fan.eye, bearing, far_m, tangent),
        far_m,
        bearing,
    )
    return hidden | (left < 0.04)


def _developed(
    light: NDArray[np.float32], weather: Weather, film: Film, rng: np.random.Generator
) -> tuple[NDArray[np.uint8], bytes]:
    """From linear light to a kept picture: lens, exposure, tone, grain, sharpening, JPEG."""
    rows, columns = light.shape[:2]
    if film.blur_px:
        light = ndimage.gaussian_filter(light, (film.blur_px, film.blur_px, 0), mode="nearest")
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j]
    light = light * (1 - 0.10 * (x**2 + (rows / columns * y) ** 2))[..., None]
    gain = 1.18 * weather.exposure * (8.0 if weather.night else 1.0)
    tone = np.clip(light * gain, 0, 1) ** (1 / 2.2)
    tone = tone + 0.10 * np.sin(2 * np.pi * (tone - 0.5)) * 0.5  # a little contrast
    levels = 255 * tone
    grain = film.grain * (4.0 if weather.night else 1.0)
    levels += rng.normal(0, grain, levels.shape) * 0.7 + rng.normal(0, grain, (rows, columns, 1)) * 0.7
    if film.sharpened:
        levels += film.sharpened * (levels - ndimage.gaussian_filter(levels, (1.2, 1.2, 0), mode="nearest"))
    rgb = np.clip(np.rint(levels), 0, 255).astype(np.uint8)
    if not film.quality:
        return rgb, b""
    kept = io.BytesIO()
    Image.fromarray(rgb).save(kept, "JPEG", quality=film.quality, optimize=True)
    return np.asarray(Image.open(io.BytesIO(kept.getvalue())).convert("RGB")), kept.getvalue()
