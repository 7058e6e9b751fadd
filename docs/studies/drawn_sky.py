"""The sky, the clouds and the light of drawn photographs, in linear light."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from drawn_ground import Noise

    Floats = NDArray[np.float64]
    Colours = NDArray[np.float32]  # (..., 3), linear red, green, blue


@dataclass(frozen=True)
class Weather:
    """What hangs over the ground. All of it is made up to look right, none of it measured.

    sun_bearing_deg, sun_up_deg : where the light comes from
    visibility_m : distance at which a third of a thing's own light is left (1/e)
    cover : share of the sky under broken cloud, 0 to 1; overcast : how far the sky is one grey sheet, 0 to 1
    cloud_base_m : height from which cloud covers the ground; inf where it does not
    snow_line_m : height above which snow lies; inf where none does
    exposure : 1 is right; 2 clips a bright sky
    night : no light but a little
    """

    sun_bearing_deg: float = 225.0
    sun_up_deg: float = 38.0
    visibility_m: float = 30_000.0
    cover: float = 0.3
    overcast: float = 0.0
    cloud_base_m: float = np.inf
    snow_line_m: float = np.inf
    exposure: float = 1.0
    night: bool = False

    @property
    def sun(self) -> Floats:
        """Direction of the sun: east, north, up."""
        bearing, up = np.radians([self.sun_bearing_deg, self.sun_up_deg])
        return np.array([np.sin(bearing) * np.cos(up), np.cos(bearing) * np.cos(up), np.sin(up)])

    @property
    def airlight(self) -> Floats:
        """Colour of haze, and of the sky low down."""
        clear, grey = np.array([0.50, 0.60, 0.72]), np.array([0.60, 0.63, 0.66])
        return clear + (grey - clear) * max(self.overcast, float(np.exp(-self.visibility_m / 15_000)))


def _ease(value: NDArray[np.float32], low: float, high: float) -> NDArray[np.float32]:
    share = np.clip((value - low) / (high - low), 0, 1)
    return share * share * (3 - 2 * share)


def sky_colour(weather: Weather, noise: Noise, bearing: Floats, tangent: Floats) -> Colours:
    """Colours of sky, (n, 3), on bearings (radians) and tangents of vertical angles."""
    up = np.arctan(np.maximum(tangent, -0.05))
    high = (
        np.array([0.10, 0.22, 0.50]) * (1 - weather.overcast)
        + np.array([0.42, 0.45, 0.50]) * weather.overcast
    )
    low = weather.airlight
    share = (1 - np.exp(-np.maximum(up, 0) / 0.28))[:, None]
    colour = (low + (high - low) * share).astype(np.float32)
    # glow towards the sun
    sun = np.radians(weather.sun_bearing_deg)
    glow = np.exp(-(((bearing - sun + np.pi) % (2 * np.pi) - np.pi) ** 2) / 0.6) * np.exp(-np.abs(up) / 0.5)
    colour += (0.16 * (1 - 0.7 * weather.overcast) * glow)[:, None].astype(np.float32)
    # clouds lie on a sheet overhead, so they crowd towards the horizon
    far = 1.0 / (np.sin(np.maximum(up, 0)) + 0.045)
    x, y = np.sin(bearing) * far, np.cos(bearing) * far
    if weather.cover > 0:
        lump = noise.heap(x, y, 3.2, 6, 0.55)
        edge = 1.15 * (0.5 - weather.cover) * 1.6
        body = _ease(lump, edge - 0.12, edge + 0.45)
        lit = noise.heap(x + 0.25 * np.sin(sun), y + 0.25 * np.cos(sun), 3.2, 4, 0.55)
        bright = np.clip(0.86 - 0.22 * body + 0.30 * (lump - lit), 0.42, 1.0)
        white = bright[:, None] * np.array([0.98, 0.98, 1.0], np.float32)
        body = (
            body * np.exp(-0.06 * far * 20_000 / max(weather.visibility_m, 5_000)) * _ease(-far, -19.0, -11.0)
        )
        colour += (white - colour) * body[:, None].astype(np.float32)
    if weather.overcast > 0:
        sheet = noise.heap(x, y, 5.0, 5, 0.5) * np.exp(-0.08 * far)
        colour *= (1 + 0.16 * weather.overcast * sheet)[:, None]
    if weather.night:
        colour *= 0.0003
    return colour


def _tufts(noise: Noise, bearing: Floats, far_m: Floats, grain: Floats) -> NDArray[np.float32]:
    """Grass near by, in rows of blades that stand some 10 cm tall; dark at the foot; about -1 to 1."""
    total = np.zeros(far_m.shape, np.float32)
    for wide_m, tall_m in ((0.025, 0.10), (0.07, 0.22)):
        close = np.flatnonzero(grain < wide_m)
        if not close.size:
            continue
        step = tall_m / 1.6  # of log distance: what an eye 1.6 m up sees under that height
        for shift in (0.0, 0.5):
            run = np.log(far_m[close]) / step + shift
            row = np.floor(run)
            foot = run - row
            across = bearing[close] * np.exp((row - shift) * step) / wide_m
            value = noise.at(across + 0.5 * np.sin(row) * foot, row * 7.31, 1.0, wide_m)
            fade = np.clip(1.5 - 1.5 * grain[close] / wide_m, 0, 1)
            total[close] += (0.7 * fade * value * np.sin(np.pi * foot) + 0.12 * fade * (foot - 0.5)).astype(
                np.float32
            )
    return total


def ground_colour(
    weather: Weather,
    noise: Noise,
    place: tuple[Floats, Floats, Floats],
    normal: Floats,
    bearing: Floats,
    far_m: Floats,
    pixel: float,
) -> Colours:
    """Colours of ground before haze, (n, 3).

    place : easting, northing, height; normal : (3, n) of the smooth ground
    bearing, far_m : from the eye, radians and metres
    pixel : angle of a pixel, radians, so that texture finer than one is left out
    """
    east, north, height = place
    grain = far_m * pixel
    steep = np.sqrt(np.maximum(0, 1 / np.maximum(normal[2], 0.05) ** 2 - 1))
    texture = np.zeros(east.shape, np.float32)
    relief = np.zeros(east.shape, np.float32)
    for number, size in enumerate((0.12, 0.4, 1.3, 4.5, 16.0, 55.0)):
        fine = np.flatnonzero(grain < size)
        if fine.size:
            fade = np.clip(1.6 - 1.6 * grain[fine] / size, 0, 1)
            value = noise.at(east[fine] + 0.3 * height[fine], north[fine], size, number + 3.0)
            texture[fine] += (0.24 * fade * value).astype(np.float32)
            relief[fine] += (0.30 * fade * np.abs(value)).astype(np.float32)
    broad = noise.heap(east, north, 420.0, 4, 0.6)
    moor = noise.heap(east + 900, north, 150.0, 4, 0.6)
    kinds = {
        "pasture": (0.130, 0.150, 0.048), "bent": (0.235, 0.200, 0.098), "heather": (0.120, 0.088, 0.062),
        "bracken": (0.185, 0.115, 0.052), "rock": (0.200, 0.196, 0.188), "snow": (0.86, 0.88, 0.92),
    }  # fmt: skip
    tone = {name: np.array(value, np.float32) for name, value in kinds.items()}

    def mix(colour: Colours, name: str, share: NDArray[np.float32]) -> Colours:
        return colour + (tone[name] - colour) * share[:, None].astype(np.float32)

    rise = np.clip((height - 250) / 400, 0, 1)
    colour = np.broadcast_to(tone["pasture"], (*east.shape, 3))
    colour = mix(colour, "bent", _ease(rise + 0.45 * broad + 0.30 * texture, 0.15, 0.75))
    colour = mix(colour, "bracken", 0.7 * _ease(moor - 1.1 * np.abs(rise - 0.3), 0.05, 0.50))
    colour = mix(
        colour, "heather", 0.8 * _ease(0.9 * moor + 0.5 * broad + 0.5 * rise + 0.3 * texture, 0.45, 1.0)
    )
    colour = mix(colour, "rock", _ease(steep + 0.55 * broad * steep + 0.5 * texture, 0.62, 1.05))
    blades = _tufts(noise, bearing, far_m, grain)
    colour = (
        colour * np.clip(1 + 0.9 * texture - 0.35 * relief + 0.10 * moor + 0.55 * blades, 0.35, 1.9)[:, None]
    )
    if np.isfinite(weather.snow_line_m):
        lies = _ease(
            (height - weather.snow_line_m) / 130 + 0.55 * broad + 0.35 * texture - 0.55 * steep, -0.2, 0.35
        )
        colour = mix(colour, "snow", lies)
    sun = weather.sun
    shade = np.clip(np.einsum("kn,k->n", normal, sun) * (1 + 0.5 * texture), 0, None)
    patches = _ease(
        noise.heap(east + 5_000, north, 2_600.0, 4, 0.5), -0.35 + weather.cover, 0.15 + weather.cover
    )
    direct = 1.25 * shade * (0.30 + 0.70 * patches) * (1 - 0.92 * weather.overcast)
    ambient = 0.52 + 0.22 * weather.overcast + 0.12 * normal[2]
    light = direct[:, None] * np.array([1.0, 0.95, 0.86]) + ambient[:, None] * np.array([0.86, 0.95, 1.08])
    return (colour * light * (0.0005 if weather.night else 1.0)).astype(np.float32)


def through_air(
    weather: Weather,
    noise: Noise,
    colour: Colours,
    place: tuple[Floats, Floats, Floats],
    far_m: Floats,
    bearing: Floats,
) -> tuple[Colours, NDArray[np.float32]]:
    """Colours of things behind haze and cloud, (n, 3), and the share of their own light that is left,
    (n,)."""
    east, north, height = place
    left = np.exp(-far_m / weather.visibility_m)
    if np.isfinite(weather.cloud_base_m):
        ragged = 45.0 * noise.heap(east, north, 500.0, 4, 0.6)
        into = np.clip((height - weather.cloud_base_m + ragged) / 40.0, 0, 6)
        left = left * np.exp(-(into**1.5))
    veil = (
        sky_colour(weather, noise, bearing, np.full(bearing.shape, 0.02))
        if weather.cover == 0
        else (np.broadcast_to(weather.airlight * (0.0003 if weather.night else 1.0), colour.shape))
    )
    left = left.astype(np.float32)
    return (colour * left[:, None] + veil * (1 - left)[:, None]).astype(np.float32), left
