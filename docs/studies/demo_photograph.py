"""Draws the demo's photograph, and the marks that somebody careful but human put on it.

    python docs/studies/demo_photograph.py UPLAND demo_project/photograph

UPLAND holds the demo's terrain, features and stations. The camera stands some metres beside the ridge end.
The
clicks are out by a pixel or two, and the traced line follows the true edge with errors alike from one
point to the
next. It shares no code with what orients the camera: see ``drawn_photograph``.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from pathlib import Path

import geopandas
import numpy as np
import rasterio

from drawn_camera import DrawnCamera
from drawn_ground import DROP_PER_M, DrawnGround
from drawn_photograph import Drawn, Film, draw_photograph
from drawn_sky import Weather
from drawn_things import Thing

#: Where it was taken, metres on the upland's grid: 7 m from the station, and how the camera was held.
PLACE_M = (246_939.0, 316_209.0)
CAMERA = DrawnCamera(1_500, 900, heading_deg=166.0, tilt_deg=0.4, roll_deg=0.8, width_deg=66.0, radial=-0.02)
EYE_ABOVE_M = 1.6

WEATHER = Weather(sun_bearing_deg=248.0, sun_up_deg=34.0, visibility_m=19_000.0, cover=0.42)
FILM = Film(blur_px=0.55, grain=1.3, sharpened=0.3, quality=80)

#: What the map has there and the picture shows; a mark is out by so many pixels, one standard deviation.
MARKED = ("Ommer Top", "Ommer Hause", "Thornavel", "Thornavel Hause", "Pellin Rigg Cairn")
CLICK_PX = 1.6
TRACE_PX, ALIKE_PX = 1.5, 90.0
_SEED = 20


def things() -> tuple[Thing, ...]:
    """Some wind-bent trees, two walkers and the posts of a fence."""
    at = np.radians(CAMERA.heading_deg)
    trees = ((17.6, 74, 5.6, 3), (19.6, 82, 6.8, 4), (21.0, 88, 5.2, 8))
    conifers = ((-29.5, 88, 7.5, 1), (-28.1, 97, 6.4, 2), (-31.2, 80, 8.2, 6))
    posts = [Thing("post", at + np.radians(-33 + 2.2 * k), 13 + 1.9 * k, 1.2, k) for k in range(11)]
    return (
        *(Thing("broadleaf", at + np.radians(a), far, tall, seed) for a, far, tall, seed in trees),
        *(Thing("conifer", at + np.radians(a), far, tall, seed) for a, far, tall, seed in conifers),
        Thing("person", at + np.radians(9.5), 31.0, 1.78, 0),
        Thing("person", at + np.radians(11.2), 33.0, 1.70, 1),
        *posts,
    )


def draw(upland: Path) -> Drawn:
    """The photograph."""
    with rasterio.open(upland / "terrain.tif") as file:
        half = file.transform.a / 2
        ground = DrawnGround(
            file.read(1).astype(np.float64),
            file.transform.a,
            file.transform.c + half,
            file.transform.f - half,
            0.22,
            _SEED,
        )
    return draw_photograph(
        ground,
        PLACE_M,
        CAMERA,
        WEATHER,
        things=things(),
        film=FILM,
        eye_above_m=EYE_ABOVE_M,
        reach_m=14_000.0,
        seed=_SEED,
    )


def marks(drawn: Drawn, upland: Path) -> dict[str, object]:
    """The file of marks of the photograph."""
    rng = np.random.default_rng(_SEED)
    layers = [
        geopandas.read_file(upland / "features.gpkg", layer=name) for name in ("tops", "saddles", "buildings")
    ]
    landmarks = []
    with rasterio.open(upland / "terrain.tif") as file:
        heights, inverse = file.read(1).astype(np.float64), ~file.transform
    for name in MARKED:
        row = next(rows[rows["name"] == name].iloc[0] for rows in layers if (rows["name"] == name).any())
        east, north = row.geometry.centroid.coords[0]
        column, line = inverse * (east, north)
        tall = row.get("target_height_m", 0.0)
        height = heights[int(line), int(column)] + (0.0 if tall is None or np.isnan(tall) else tall)
        far = np.hypot(east - PLACE_M[0], north - PLACE_M[1])
        tangent = (height - DROP_PER_M * far**2 - drawn.fan.eye[2]) / far
        x, y = CAMERA.pixels(np.arctan2(east - PLACE_M[0], north - PLACE_M[1]), tangent)
        if (
            np.nanmin(
                drawn.fan.hits(
                    np.array([np.arctan2(east - PLACE_M[0], north - PLACE_M[1]) % (2 * np.pi)]),
                    np.array([tangent - 2 / far]),
                )
            )
            < 0.9 * far
        ):
            raise ValueError(f"{name} does not show in the picture")
        x, y = float(x) + rng.normal(0, CLICK_PX), float(y) + rng.normal(0, CLICK_PX)
        landmarks.append({"feature": name, "x_px": round(x, 1), "y_px": round(y, 1), "give_or_take_px": 2.0})
    return {
        "format": "hillsight marks",
        "version": 1,
        "photograph": {
            "name": "view.jpg",
            "width_px": CAMERA.width_px,
            "height_px": CAMERA.height_px,
            "sha256": hashlib.sha256(drawn.jpeg).hexdigest(),
        },
        "pixel_frame": "x right, y down, pixels; 0,0 is the upper left corner of the picture as shown",
        "landmarks": landmarks,
        "skyline": _traced(drawn, rng),
        "brow": [],
    }


def _traced(drawn: Drawn, rng: np.random.Generator) -> list[dict[str, object]]:
    """The sky's edge as a person traces it, a point every 15 to 30 pixels, in pieces between the trees."""
    shown = np.isfinite(drawn.edge_y_px) & ~drawn.hidden
    pieces = []
    for run in np.split(np.arange(shown.size), np.flatnonzero(np.diff(shown.astype(int))) + 1):
        if not shown[run[0]] or run.size < 120:
            continue
        at = np.cumsum(rng.uniform(15, 30, run.size // 12))
        x = run[0] + 8 + at[at < run.size - 16]
        alike = np.exp(-np.abs(x[:, None] - x) / ALIKE_PX) + 0.5 * np.eye(x.size)
        error = np.linalg.cholesky(alike) @ rng.normal(0, TRACE_PX / 1.5**0.5, x.size)
        y = np.interp(x, np.arange(shown.size) + 0.5, np.nan_to_num(drawn.edge_y_px)) + error
        points = [[round(float(a), 1), round(float(b), 1)] for a, b in zip(x, y, strict=True)]
        pieces.append({"points_px": points, "how": "traced", "give_or_take_px": 2.0})
    return pieces


def main() -> None:
    """Write view.jpg and view.json."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("upland", type=Path)
    parser.add_argument("folder", type=Path)
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    drawn = draw(given.upland)
    (given.folder / "view.jpg").write_bytes(drawn.jpeg)
    text = json.dumps(marks(drawn, given.upland), indent=1, ensure_ascii=False) + "\n"
    (given.folder / "view.json").write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
