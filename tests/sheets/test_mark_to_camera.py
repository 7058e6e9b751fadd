"""From a photograph in a browser to its camera and its place: drawn, marked, saved, resected, weighed.

The view is drawn here with plane trigonometry, apart from the package.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely

import hillsight
from hillsight.plan.picture.marks import Marks
from jobs.worlds import NORTH, SPACING, WEST, heights, world
from sheets.mark_pages import (
    HEIGHT,
    NAMES,
    SCREENS,
    SPOT_COLOUR,
    WIDTH,
    browser,
    opened,
    save_photograph,
)

__all__ = ["browser"]

HEADING_DEG, TILT_DEG, ROLL_DEG, WIDTH_DEG = 8.0, 1.5, -2.0, 60.0
FOCAL_PX = WIDTH / 2 / np.tan(np.radians(WIDTH_DEG / 2))
#: Row and column of the post that the camera stands on, and of those that are marked, left to right.
STANDS, EYE_M = (80, 80), 1.6
#: Posts south and east of it where other candidates stand.
OTHERS = {"There": (14, -6), "Yonder": (-9, 13)}
MARKED = ((35, 64), (21, 69), (48, 83), (30, 92), (24, 103), (45, 101))


def place(row: float, column: float) -> tuple[float, float]:
    return WEST + SPACING * (column + 0.5), NORTH - SPACING * (row + 0.5)


def pixels(bearing_deg: np.ndarray, angle_deg: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where a pinhole camera shows directions: the forward, right and up axes turned one after the other."""
    heading, tilt, roll = np.radians([HEADING_DEG, TILT_DEG, ROLL_DEG])
    forward = np.array([np.sin(heading) * np.cos(tilt), np.cos(heading) * np.cos(tilt), np.sin(tilt)])
    level = np.array([np.cos(heading), -np.sin(heading), 0.0])
    upright = np.cross(level, forward)
    right = np.cos(roll) * level - np.sin(roll) * upright
    up = np.sin(roll) * level + np.cos(roll) * upright
    b, v = np.radians(bearing_deg), np.radians(angle_deg)
    ray = np.stack([np.sin(b) * np.cos(v), np.cos(b) * np.cos(v), np.sin(v)], axis=-1)
    along = ray @ forward
    return WIDTH / 2 + FOCAL_PX * (ray @ right) / along, HEIGHT / 2 - FOCAL_PX * (ray @ up) / along


def angles_deg(ground: np.ndarray, row: np.ndarray, column: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Bearing and vertical angle of ground from the camera, degrees; heights between posts bilinear."""
    r, c = np.floor(row).astype(int), np.floor(column).astype(int)
    fr, fc = row - r, column - c
    height = (1 - fr) * ((1 - fc) * ground[r, c] + fc * ground[r, c + 1])
    height += fr * ((1 - fc) * ground[r + 1, c] + fc * ground[r + 1, c + 1])
    east, north = SPACING * (column - STANDS[1]), SPACING * (STANDS[0] - row)
    far = np.hypot(east, north)
    # Curvature and refraction: (1 - 0.13) d^2 / 2R, R 6,380 km (surveying handbooks; from memory).
    rise = height - 0.87 * far**2 / (2 * 6.38e6) - ground[STANDS] - EYE_M
    return np.degrees(np.arctan2(east, north)), np.degrees(np.arctan2(rise, far))


def view(ground: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The photograph, with the marked posts painted; and (n, 2) pixels of its skyline."""
    bearing = np.arange(HEADING_DEG - 36, HEADING_DEG + 36, 0.05)
    far = np.arange(2.0, 76.0, 0.2)[:, None]
    row = STANDS[0] - far * np.cos(np.radians(bearing))
    column = STANDS[1] + far * np.sin(np.radians(bearing))
    highest = angles_deg(ground, row, column)[1].max(axis=0)
    x, y = pixels(bearing, highest)
    across, down = np.meshgrid(np.arange(WIDTH) + 0.5, np.arange(HEIGHT) + 0.5)
    covered = np.clip(down - np.interp(across, x, y) + 0.5, 0, 1)[..., None]
    rng = np.random.default_rng(2)
    picture = np.array([190, 210, 240]) * (1 - covered) + np.array([90, 105, 70]) * covered
    picture += rng.normal(0, 4, picture.shape)
    for post in MARKED:
        b, v = angles_deg(ground, *(np.array([float(index)]) for index in post))
        px, py = pixels(b, v)
        picture[np.hypot(down - py[0], across - px[0]) < 7] = SPOT_COLOUR
    return np.clip(picture, 0, 255).astype(np.uint8), np.stack([x, y], axis=-1)


@pytest.mark.parametrize("screen", SCREENS)
def test_camera_and_place_are_found_from_what_was_marked(browser: Any, tmp_path: Path, screen: str) -> None:
    folder = world(tmp_path / "world")
    ground = heights().astype(float)
    things = geopandas.GeoDataFrame(
        {"name": list(NAMES), "kind": ["cairn"] * 6},
        geometry=[shapely.Point(place(*post)) for post in MARKED],
        crs=27700,
    )
    picture, skyline = view(ground)
    photo = save_photograph(tmp_path / "view.jpg", picture)
    marking = opened(browser, photo, screen, features=things)
    marking.choose("landmark")
    seen = marking.spots()
    assert len(seen) == 6
    for at, name in zip(seen, NAMES, strict=True):
        marking.tap(*at)
        marking.name(name)
    marking.trace("skyline", [(x, float(np.interp(x, *skyline.T))) for x in (15.0, 400, 750, 1100, 1485)])
    saved = marking.save()
    (trace,) = Marks.read(saved).skyline
    away = np.abs(np.interp(trace.x_px, *skyline.T) - trace.y_px)
    assert np.median(away) < 1
    east, north = place(*STANDS)
    found = hillsight.resect(
        folder / "ground.tif",
        marks=saved,
        photo=photo,
        at=[(east, north, "Here")],
        eye_height=EYE_M,
        features=things,
        station_error=0.5,
        feature_error=0.5,
        terrain_error=0.2,
    )
    (one,) = found.cameras
    assert one.state == "fits" and one.camera is not None
    row = found.frames["cameras"].iloc[0]
    got = {
        "heading": (row["heading_grid_deg"] - HEADING_DEG, row["heading_plus_minus_deg"], 0.15),
        "tilt": (row["tilt_deg"] - TILT_DEG, row["tilt_plus_minus_deg"], 0.2),
        "roll": (row["roll_deg"] - ROLL_DEG, row["roll_plus_minus_deg"], 0.5),
    }
    for name, (off, plus_minus, most) in got.items():
        assert abs(off) < most and abs(off) < 4 * plus_minus, (name, off, plus_minus)
    assert one.camera.lens.focal_px == pytest.approx(FOCAL_PX, rel=0.03)
    # The same marks and trace tell the place from others, at the width that resection gave.
    others = {name: place(STANDS[0] + row, STANDS[1] + column) for name, (row, column) in OTHERS.items()}
    page = tmp_path / "verdict.html"
    verdict = hillsight.relocate(
        folder / "ground.tif",
        marks=str(saved),
        photo=str(photo),
        width=float(row["width_deg"]),
        at=[(*spot, name) for name, spot in {"Here": (east, north), **others}.items()],
        eye_height=EYE_M,
        features=[things],
        terrain_error=0.2,
        error_correlation=100.0,
        elsewhere=40,
        elsewhere_within=400.0,
        reach=4_000.0,
        report=page,
    ).verdict
    assert (verdict.state, verdict.best.station) == ("decided", "Here")
    fit = next(fit for fit in verdict.measured.fits if fit.station == "Here")
    assert fit.heading_true_deg == pytest.approx(row["heading_true_deg"], abs=1.0)
    assert (fit.tilt_deg, fit.roll_deg) == pytest.approx((TILT_DEG, ROLL_DEG), abs=0.7)
    assert "The photograph laid over what is seen from Here" in page.read_text(encoding="utf-8")
