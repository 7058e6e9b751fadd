"""A made photograph with a known sky's edge and known spots, and a real browser that marks it."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely
from PIL import Image
from scipy import ndimage

import hillsight

WIDTH, HEIGHT = 1500, 1000
NAMES = ("Aldermoss", "Brock Knott", "Cold Howe", "Dun Stone", "Eller Tarn", "Fox Rigg")
#: Spots to mark, painted in a colour that is nowhere else: x right, y down, 0,0 the upper left corner.
SPOTS = ((150.5, 620.5), (420.5, 700.5), (700.5, 560.5), (930.5, 760.5), (1180.5, 600.5), (1400.5, 680.5))
SPOT_COLOUR = (255, 0, 255)
SCREENS: dict[str, dict[str, Any]] = {
    "desktop": {"viewport": {"width": 1280, "height": 800}},
    "phone": {
        "viewport": {"width": 390, "height": 844},
        "has_touch": True,
        "is_mobile": True,
        "device_scale_factor": 2,
    },
}


def sky_edge_px(x_px: np.ndarray) -> np.ndarray:
    """How far down the sky's edge is at places across the picture."""
    return 390 + 70 * np.sin(x_px / 205) + 30 * np.sin(x_px / 65 + 1) + 12 * np.sin(x_px / 18)


def near_edge_px(x_px: np.ndarray) -> np.ndarray:
    """The same of the near ground's edge, which is far stronger than a hazy skyline."""
    return 830 + 45 * np.sin(x_px / 300 + 2)


def photograph(*, haze: float = 0.0, seed: int = 3) -> np.ndarray:
    """(HEIGHT, WIDTH, 3) uint8: sky, far ground, near ground, grain; pixels by their share of ground."""
    rng = np.random.default_rng(seed)
    across = np.arange(WIDTH) + 0.5
    down = (np.arange(HEIGHT) + 0.5)[:, None]
    far = np.clip(down - sky_edge_px(across) + 0.5, 0, 1)[..., None]
    near = np.clip(down - near_edge_px(across) + 0.5, 0, 1)[..., None]
    pattern = np.kron(rng.normal(0, 14, (HEIGHT // 4, WIDTH // 4)), np.ones((4, 4)))
    height = np.broadcast_to(down / HEIGHT, (HEIGHT, WIDTH))
    sky = np.stack([150 + 70 * height, 180 + 50 * height, 230 + 10 * height], -1)
    hill = np.stack([95 + pattern, 110 + pattern, 80 + 0.8 * pattern], -1)
    hill = hill * (1 - haze) + haze * np.array([190, 205, 225])
    turf = np.stack([60 + 1.5 * pattern, 80 + 1.5 * pattern, 40 + pattern], -1)
    picture = sky * (1 - far) + hill * far
    picture = picture * (1 - near) + turf * near + rng.normal(0, 3, (HEIGHT, WIDTH, 3))
    picture = np.clip(picture, 0, 255)
    for x_px, y_px in SPOTS:
        picture[np.hypot(down - y_px, across - x_px) < 7] = SPOT_COLOUR
    return picture.astype(np.uint8)


def map_file(folder: Path) -> Path:
    """Six named tops on a map, and a wall without a name."""
    path = folder / "map.gpkg"
    points = [shapely.Point(300_000 + 100 * i, 700_000) for i in range(6)]
    wall = shapely.LineString([(300_000, 700_100), (300_500, 700_100)])
    frame = geopandas.GeoDataFrame(
        {"name": [*NAMES, None], "kind": ["summit"] * 6 + ["wall"]}, geometry=[*points, wall], crs=27700
    )
    frame.to_file(path, layer="things")
    return path


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Chromium of the system, driven by playwright (the extra "peers")."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    names = ("chromium", "chromium-browser", "google-chrome")
    program = next((found for name in names if (found := shutil.which(name))), None)
    if program is None:
        pytest.skip("no chromium on this machine: apt install chromium")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield browser
        browser.close()


@dataclass
class Marking:
    """A page of ``hillsight mark`` in a browser, used as a person would."""

    page: Any
    photo: Path
    touch: bool
    asked: list[str]
    faults: list[str]

    def choose(self, mode: str) -> None:
        self.page.locator(f"label:has(input[value={mode}])").click()

    def press(self, name: str) -> None:
        """Press a button by its words."""
        self.page.get_by_role("button", name=name, exact=True).click()

    def box(self) -> tuple[float, float, float, float]:
        """Left, top, width, height of the photograph's frame in the window, without its rim."""
        box = self.page.locator("#stage").bounding_box()
        return box["x"] + 1, box["y"] + 1, box["width"] - 2, box["height"] - 2

    def whole(self, x_px: float, y_px: float) -> tuple[float, float]:
        """Where a point of the photograph is in the window while it is shown whole, in the frame's middle."""
        left, top, wide, high = self.box()
        scale = min(wide / WIDTH, high / HEIGHT)
        return (
            left + (wide - scale * WIDTH) / 2 + scale * x_px,
            top + (high - scale * HEIGHT) / 2 + scale * y_px,
        )

    def tap(self, x: float, y: float) -> None:
        if self.touch:
            self.page.touchscreen.tap(x, y)
        else:
            self.page.mouse.click(x, y)

    def name(self, words: str) -> None:
        self.page.wait_for_selector("#chooser[open]")
        self.page.locator("#name").fill(words)
        self.page.locator("#name").press("Enter")
        self.page.wait_for_selector("#chooser", state="hidden")

    def spots(self) -> list[tuple[float, float]]:
        """Middles of the painted spots that are in sight, found in a picture of the window; left to right."""
        self.page.wait_for_timeout(150)
        file = self.photo.with_name("window.png")
        self.page.screenshot(path=str(file))
        window = np.asarray(Image.open(file).convert("RGB")).astype(int)
        dense = window.shape[1] / self.page.viewport_size["width"]
        painted = (window[..., 0] > 190) & (window[..., 1] < 90) & (window[..., 2] > 190)
        marked, count = ndimage.label(ndimage.binary_closing(painted, np.ones((9, 9))))
        middles = ndimage.center_of_mass(painted, marked, range(1, count + 1))
        return sorted(((x + 0.5) / dense, (y + 0.5) / dense) for y, x in middles)

    def file(self) -> dict[str, Any]:
        """The marks as the page's text holds them."""
        text: dict[str, Any] = json.loads(self.page.locator("#text").input_value())
        return text

    def save(self) -> Path:
        """The marks as the browser saves them."""
        with self.page.expect_download() as wait:
            self.press("Save the marks")
        path = self.photo.with_name(wait.value.suggested_filename)
        wait.value.save_as(path)
        return path

    def trace(self, mode: str, points: list[tuple[float, float]]) -> None:
        """Tap along a line while the photograph is shown whole, and end it."""
        self.choose(mode)
        for x_px, y_px in points:
            self.tap(*self.whole(x_px, y_px))
        self.press("End line")

    def says(self) -> str:
        words: str = self.page.locator("#status").inner_text()
        return words


def save_photograph(path: Path, rgb: np.ndarray, **more: Any) -> Path:
    Image.fromarray(rgb).save(path, **({"quality": 92} if path.suffix == ".jpg" else {}), **more)
    return path


def opened(browser: Any, photo: Path, screen: str, **asked: Any) -> Marking:
    """The page of a photograph, made by the job and opened from its file; closed with the browser."""
    page_file = photo.with_suffix(".html")
    hillsight.mark(photo, out=page_file, **asked)
    context = browser.new_context(accept_downloads=True, **SCREENS[screen])
    page = context.new_page()
    marking = Marking(page, photo, screen == "phone", [], [])
    page.on("request", lambda request: marking.asked.append(request.url))
    page.on("pageerror", lambda error: marking.faults.append(str(error)))
    page.on(
        "console", lambda message: marking.faults.append(message.text) if message.type == "error" else None
    )
    page.goto(page_file.as_uri())
    page.wait_for_selector("body[data-ready]")
    return marking


def sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
