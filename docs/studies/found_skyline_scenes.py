"""Scenes for the study of skylines found in photographs: ground by seed, weather by name, and pictures
without a
skyline. Settled on some grounds and reported on others; nothing here knows of the finder."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import rasterio
from scipy import ndimage

from drawn_camera import DrawnCamera
from drawn_ground import DrawnGround, Noise, fan_from
from drawn_photograph import Drawn, Film, draw_photograph
from drawn_sky import Weather
from drawn_things import Thing

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

#: Where figures are settled, and where they are reported.
TUNING = ("made", "west")
REPORTING = ("tujunga", "east", "jacksboro")

WEATHERS = ("clear", "hazy", "cloudy", "overcast", "snowy", "clipped", "capped")
#: Pictures whose skyline nobody can trace.
HOPELESS = ("fog", "night", "no sky", "cut", "indoors", "sky alone")

_WIDE, _HIGH = 900, 600


@dataclass(frozen=True)
class Scene:
    """A picture to find the skyline in.

    edge_y_px : (columns,), NaN where the skyline is outside; hidden : (columns,)
    hopeless : it has no skyline that could be traced
    """

    name: str
    rgb: NDArray[np.uint8]
    edge_y_px: Floats
    hidden: NDArray[np.bool_]
    hopeless: bool


@lru_cache(maxsize=2)
def _posts(shared: Path, case: str) -> tuple[Floats, float]:
    """Heights of a whole model and the spacing of its posts, metres."""
    if case == "jacksboro":
        import matplotlib.cbook

        with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as file:
            return file["elevation"].astype(np.float64), 80.0
    name = "srtm30_big_tujunga.tif" if case == "tujunga" else "osterrain50_highlands.tif"
    with rasterio.open(shared / name) as file:
        heights = file.read(1)
        scale, west, step = file.scales[0], file.transform.c, file.transform.a
        values = np.where(heights == file.nodata, 0, heights * scale)
    if case in ("west", "east"):
        east_m = west + step * np.arange(values.shape[1])
        values = values[:, east_m < 240_000] if case == "west" else values[:, east_m > 270_000]
    return values, step


def made_ground(seed: int, posts: int = 400, spacing_m: float = 25.0) -> DrawnGround:
    """Ridged hills from noise alone, 10 km across."""
    noise = Noise(seed)
    x, y = np.meshgrid(np.arange(posts) * spacing_m, np.arange(posts) * spacing_m)
    total, strength = np.zeros((posts, posts)), 260.0
    bend = noise.heap(x, y, 2_500.0, 3) * 600
    for octave in range(6):
        value = noise.at(x + bend, y - bend, 4_200.0 / 2**octave, 11.0 + octave)
        total += strength * (1 - 2 * np.abs(value) if octave < 3 else value)
        strength *= 0.46
    return DrawnGround(
        ndimage.gaussian_filter(total, 0.8) + 400, spacing_m, 0.0, posts * spacing_m, 0.25, seed
    )


def ground_of(shared: Path, case: str, seed: int) -> DrawnGround:
    """A window of some 12 km that has 200 m of relief, by seed."""
    if case == "made":
        return made_ground(seed)
    values, step = _posts(shared, case)
    rng = np.random.default_rng([seed, 77])
    side = int(12_000 / step)
    while True:
        row, column = (int(rng.integers(0, max(1, n - side))) for n in values.shape)
        window = values[row : row + side, column : column + side]
        if np.ptp(window) > 200 and (window > 2).mean() > 0.9:
            return DrawnGround(window, step, 0.0, step * (window.shape[0] - 1), 0.3, seed)


def _standing(
    ground: DrawnGround, rng: np.random.Generator, camera: DrawnCamera
) -> tuple[tuple[float, float], float, Floats]:
    """A place, a heading whose skyline is not all at the feet, and tangents of its skyline across the
    picture."""
    rows, columns = ground.height_m.shape
    wide, high = columns * ground.spacing_m, rows * ground.spacing_m
    while True:
        east = ground.west_m + wide * rng.uniform(0.25, 0.75)
        north = ground.north_m - high * rng.uniform(0.25, 0.75)
        heading = rng.uniform(0, 360)
        half = np.radians(camera.width_deg) / 2
        bearing = np.radians(heading) + np.linspace(-half, half, 61)
        fan = fan_from(ground, (east, north), 1.6, bearing, 20_000.0)
        if (fan.sky_distance_m > 250).mean() > 0.6:
            return (east, north), heading, fan.sky_tangent


def weather_of(name: str, rng: np.random.Generator, ground: DrawnGround) -> Weather:
    """Weather of a name, drawn."""
    sun = {"sun_bearing_deg": rng.uniform(60, 300), "sun_up_deg": rng.uniform(12, 55)}
    low, high = np.percentile(ground.height_m, [30, 97])
    return {
        "clear": Weather(**sun, visibility_m=rng.uniform(25e3, 60e3), cover=rng.uniform(0, 0.15)),
        "hazy": Weather(**sun, visibility_m=rng.uniform(2.5e3, 7e3), cover=rng.uniform(0, 0.3),
        overcast=rng.uniform(0, 0.7)),
        "cloudy": Weather(**sun, visibility_m=rng.uniform(15e3, 40e3), cover=rng.uniform(0.35, 0.7)),
        "overcast": Weather(**sun, visibility_m=rng.uniform(8e3, 25e3), cover=0.0, overcast=1.0),
        "snowy": Weather(
            **sun, visibility_m=rng.uniform(12e3, 30e3), cover=0.0, overcast=rng.uniform(0.8, 1.0),
            snow_line_m=rng.uniform(low - 100, high - 60), exposure=rng.uniform(0.9, 1.4),
        ),
        "clipped": Weather(**sun, visibility_m=rng.uniform(8e3, 30e3), cover=rng.uniform(0, 0.5),
        exposure=rng.uniform(1.8, 3.0)),
        "capped": Weather(
            **sun, visibility_m=rng.uniform(10e3, 25e3), cover=0.0, overcast=rng.uniform(0.7, 1.0),
            cloud_base_m=high - rng.uniform(0, 60)
        ),
    }[name]  # fmt: skip


def _things(rng: np.random.Generator, heading: float, width_deg: float) -> tuple[Thing, ...]:
    """Trees, people and a fence, where chance puts them; none in a third of the pictures."""
    found: list[Thing] = []
    half = width_deg / 2
    if rng.random() < 0.33:
        return ()
    for _ in range(int(rng.integers(0, 7))):
        kind = "conifer" if rng.random() < 0.5 else "broadleaf"
        far = rng.uniform(25, 160)
        found.append(
            Thing(
                kind,
                np.radians(heading + rng.uniform(-half, half)),
                far,
                rng.uniform(4, 14),
                int(rng.integers(99)),
            )
        )
    found += [
        Thing(
            "person",
            np.radians(heading + rng.uniform(-half, half)),
            rng.uniform(5, 40),
            rng.uniform(1.6, 1.9),
            int(rng.integers(99)),
        )
        for _ in range(int(rng.integers(0, 3)))
    ]
    if rng.random() < 0.3:
        start, turn, far = rng.uniform(-half, half), rng.uniform(1, 3), rng.uniform(6, 20)
        found += [
            Thing("post", np.radians(heading + start + turn * k), far + 1.2 * k, 1.25, k) for k in range(10)
        ]
    return tuple(found)


def film_of(rng: np.random.Generator) -> Film:
    """A lens and a file, drawn."""
    return Film(rng.uniform(0.4, 1.0), rng.uniform(0.8, 3.0), rng.uniform(0, 0.6), int(rng.integers(65, 95)))


def scene(shared: Path, case: str, name: str, seed: int) -> Scene:
    """One scene, by ground, weather (or a hopeless kind) and seed."""
    rng = np.random.default_rng([seed, (WEATHERS + HOPELESS).index(name)])
    if name == "indoors":
        return _room(rng)
    ground = ground_of(shared, case, seed)
    camera = DrawnCamera(
        _WIDE, _HIGH, 0.0, 0.0, rng.normal(0, 1.5), rng.uniform(35, 70), rng.uniform(-0.06, 0.03)
    )
    place, heading, sky = _standing(ground, rng, camera)
    # the skyline's middle stands between a quarter and a good half of the way down
    at = rng.uniform(0.28, 0.58)
    tilt = np.degrees(np.arctan(np.median(sky)) - np.arctan((0.5 - at) * _HIGH / camera.focal_px))
    weather = weather_of(name if name in WEATHERS else "clear", rng, ground)
    lowest, highest = np.degrees(np.arctan([sky.min(), sky.max()]))
    half = np.degrees(np.arctan(_HIGH / 2 / camera.focal_px))
    if name == "fog":
        weather = replace(weather, visibility_m=rng.uniform(15, 60), overcast=1.0, cover=0.0)
    elif name == "night":
        weather = replace(weather, night=True)
    elif name == "no sky":
        tilt = lowest - half - 8.0
    elif name == "cut":
        tilt = lowest + 0.25 * (highest - lowest) - half - 1.0
    elif name == "sky alone":
        tilt = highest + half + 6.0
    camera = replace(camera, heading_deg=heading, tilt_deg=float(tilt))
    things = () if name in HOPELESS else _things(rng, heading, camera.width_deg)
    drawn = draw_photograph(ground, place, camera, weather, things=things, film=film_of(rng), seed=seed)
    return _as_scene(name, drawn, name in HOPELESS)


def _as_scene(name: str, drawn: Drawn, hopeless: bool) -> Scene:
    return Scene(name, drawn.rgb, drawn.edge_y_px, drawn.hidden, hopeless)


def _room(rng: np.random.Generator) -> Scene:
    """A room: walls, ceiling, a lamp and furniture, flatly lit."""
    y, x = np.mgrid[0:_HIGH, 0:_WIDE].astype(np.float64)
    corner = rng.uniform(0.3, 0.7) * _WIDE
    slope = rng.uniform(0.1, 0.35)
    ceiling = y < 0.25 * _HIGH - slope * np.abs(x - corner) * 0.6 + 20
    light = np.where(ceiling, 195, np.where(x < corner, 150, 172)) - 0.05 * np.abs(x - corner) - 0.03 * y
    rgb = np.stack([light, light * 0.95, light * 0.84], axis=-1)
    for _ in range(int(rng.integers(5, 12))):
        wide, high = rng.uniform(40, 300), rng.uniform(40, 260)
        left, top = rng.uniform(-50, _WIDE - 40), rng.uniform(0.2, 0.95) * _HIGH
        box = (x > left) & (x < left + wide) & (y > top) & (y < top + high)
        rgb[box] = rng.uniform(20, 210, 3) + rng.uniform(-0.06, 0.06) * (x[box] - left)[:, None]
    rgb = ndimage.gaussian_filter(rgb, (0.8, 0.8, 0)) + rng.normal(0, 2.0, rgb.shape)
    nothing = np.full(_WIDE, np.nan)
    return Scene("indoors", np.clip(rgb, 0, 255).astype(np.uint8), nothing, np.zeros(_WIDE, bool), True)
