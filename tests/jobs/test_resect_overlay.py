"""Overlays and picks of a photograph by the command: the same ground whatever the file, and nothing private.

The photograph is a plain picture; what is marked on it is worked out from the made ground by a camera.
"""

from __future__ import annotations

import base64
import json
import math
from pathlib import Path

import geopandas
import numpy as np
import pytest
from PIL import Image

import hillsight
from hillsight.ground.geodesy import grid_bearing_deg
from hillsight.plan.picture.camera import Camera, Lens
from hillsight.plan.picture.marks import Landmark, MarkedPhotograph, Marks, Trace
from hillsight.plan.picture.photograph import Photograph
from jobs.private_pictures import (
    MAKER_NOTE,
    OWNER,
    SERIAL,
    opened_up,
    png_chunks,
    private_photograph,
    secrets,
)
from jobs.worlds import KNOLL, NEAR, NORTH, SPACING, WEST, heights, world
from scripts.commands import assert_refused, run

WIDTH, HEIGHT = 1200, 800
CAMERA = Camera(Lens(WIDTH, HEIGHT, 900.0), 2.0, 3.0, -4.0)
EYE = (300_800.0, 699_200.0)

#: Places on the near side of the knoll and beside it, all in view from 300 m south of it.
PLACES = [
    (300_800.0, 699_480.0),
    (300_765.0, 699_455.0),
    (300_835.0, 699_450.0),
    (300_790.0, 699_430.0),
    (300_740.0, 699_330.0),
    (300_865.0, 699_320.0),
    (300_765.0, 699_290.0),
    (300_840.0, 699_280.0),
]


def ground_m(east: float, north: float) -> float:
    """Bilinear, as docs/method.md has it; the first post stands at WEST, NORTH."""
    height = heights()
    row, column = (NORTH - north) / SPACING, (east - WEST) / SPACING
    top, left = int(row), int(column)
    down, right = row - top, column - left
    upper = height[top, left] * (1 - right) + height[top, left + 1] * right
    lower = height[top + 1, left] * (1 - right) + height[top + 1, left + 1] * right
    return float(upper * (1 - down) + lower * down)


def pixel(east: float, north: float, camera: Camera = CAMERA) -> tuple[float, float]:
    """Where a place on the ground shows; curvature and refraction are centimetres here."""
    away = math.hypot(east - EYE[0], north - EYE[1])
    drop = 0.87 / (2.0 * 6_371_000.0) * away**2
    angle = math.degrees(math.atan((ground_m(east, north) - drop - ground_m(*EYE) - 1.6) / away))
    x, y = camera.pixels(grid_bearing_deg(*EYE, east, north), angle)
    return float(x), float(y)


def picture(width: int = WIDTH, height: int = HEIGHT) -> Image.Image:
    y, x = np.mgrid[:height, :width]
    sky = np.stack((150 + y / 20, 170 + y / 20, 200 + x / 40), axis=-1)
    rows = (y > height * 0.55)[..., None]
    return Image.fromarray(np.where(rows, 70 + (x % 40)[..., None], sky).astype(np.uint8))


def marked(
    photo: Path, folder: Path, shift: tuple[float, float] = (0.0, 0.0), name: str = "marks.json"
) -> Path:
    """The file of marks that belongs to a photograph, cut off at the left and the top by so many pixels."""
    opened = Photograph.open(photo)
    landmarks = tuple(
        Landmark(x - shift[0], y - shift[1], "", east, north, None, "", 0.5)
        for east, north in PLACES
        for x, y in (pixel(east, north),)
    )
    bearings = np.linspace(-8.0, 12.0, 30)
    top_x, top_y = zip(
        *(pixel(EYE[0] + 300.0 * math.tan(math.radians(b)), 699_500.0) for b in bearings), strict=True
    )
    trace = Trace(np.array(top_x) - shift[0], np.array(top_y) - shift[1], "traced", 3.0)
    of = MarkedPhotograph(photo.name, opened.width_px, opened.height_px, opened.sha256)
    marks = Marks(of, landmarks, (trace,), (trace,))
    marks.write(folder / name)
    return folder / name


def asked(folder: Path, photo: Path, marks: Path, **more: object) -> dict[str, object]:
    return {
        "terrain": folder / "ground.tif",
        "at": (NEAR,),
        "marks": marks,
        "photo": photo,
        "width": CAMERA.lens.width_deg,
        "terrain_error": 0.5,
        "between_posts": "straight",
        "feature_error": 0.5,
        "station_error": 0.5,
        "features": folder / "features.gpkg",
        **more,
    }


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return world(tmp_path_factory.mktemp("overlay"))


FORMATS = {"jpg": "JPEG", "png": "PNG", "tif": "TIFF", "webp": "WEBP", "heic": "HEIF"}


def saved(folder: Path, ending: str) -> Path:
    if ending == "heic":
        heif = pytest.importorskip("pillow_heif", reason="HEIC needs pillow-heif")
        heif.register_heif_opener()
    path = folder / f"ridge.{ending}"
    picture().save(path, FORMATS[ending])
    return path


@pytest.mark.slow
@pytest.mark.parametrize("ending", FORMATS)
def test_landmark_to_pixel_to_ground_and_back(place: Path, tmp_path: Path, ending: str) -> None:
    """The marked landmarks are picked where they were marked: the ground is within half a pixel of them."""
    photo = saved(tmp_path, ending)
    pixels = [pixel(*one) for one in PLACES]
    result = hillsight.resect(**asked(place, photo, marked(photo, tmp_path), pick=pixels))
    found = result.frames["picked_points"]
    assert list(found["pick"]) == list(range(1, len(PLACES) + 1))
    camera = result.cameras[0].camera
    assert camera is not None
    for (x, y), row in zip(pixels, found.itertuples(), strict=True):
        back = pixel(row.easting_m, row.northing_m, camera)
        assert math.hypot(back[0] - x, back[1] - y) < 0.5
        assert row.height_m == pytest.approx(ground_m(row.easting_m, row.northing_m), abs=0.01)
        assert row.same_share > 0.5
    # Ground that faces the eye comes back within metres; the plain is grazed.
    face = found.iloc[:4]
    off = np.hypot(
        face["easting_m"] - [p[0] for p in PLACES[:4]], face["northing_m"] - [p[1] for p in PLACES[:4]]
    )
    assert off.max() < 3.0
    held = result.frames["picked_ellipses"]
    own = held[held["ground"] == "same"].set_index("pick")
    inside = [
        own.geometry[k].contains(geopandas.points_from_xy([e], [n])[0]) for k, (e, n) in enumerate(PLACES, 1)
    ]
    assert sum(inside) >= 7


def test_a_crop_shows_the_same_ground(place: Path, tmp_path: Path) -> None:
    left, top = 100, 90
    whole, crop = tmp_path / "whole.png", tmp_path / "crop.png"
    picture().save(whole)
    picture().crop((left, top, WIDTH - 50, HEIGHT - 10)).save(crop)
    x, y = pixel(300_790.0, 699_440.0)
    found = []
    for photo, shift, more in ((whole, (0, 0), {}), (crop, (left, top), {"cropped": True, "width": None})):
        marks = marked(photo, tmp_path, shift, f"{photo.stem}.json")
        given = asked(place, photo, marks, pick=((x - shift[0], y - shift[1]),)) | more
        found.append(hillsight.resect(**given).frames["picked_points"].iloc[0])
    assert found[0]["easting_m"] == pytest.approx(found[1]["easting_m"], abs=1.0)
    assert found[0]["northing_m"] == pytest.approx(found[1]["northing_m"], abs=3.0)


def test_sky_is_told_and_lines_come_back(place: Path, tmp_path: Path) -> None:
    photo = saved(tmp_path, "png")
    marks = marked(photo, tmp_path)
    result = hillsight.resect(
        **asked(place, photo, marks, pick="600,20", pick_line=("skyline", "500,600 700,600 700,640"))
    )
    assert any("pick 1 (600,20) shows the sky" in note for note in result.notes)
    assert len(result.frames["picked_points"]) == 0
    lines = result.frames["picked_lines"]
    assert set(lines["of"]) == {"skyline", "ground"}
    skyline = lines[lines["of"] == "skyline"]
    assert skyline["found_share"].max() > 0.5
    # The knoll's own skyline passes its top.
    assert (
        min(shape.distance(geopandas.points_from_xy([KNOLL[0]], [KNOLL[1]])[0]) for shape in skyline.geometry)
        < 15
    )


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--pick", "5000,3"), ("outside the picture of 1200 x 800", "--pick")),
        (("--pick", "here"), ("no pixel", "--pick")),
        (("--pick", "3;4"), ("no pixel",)),
        (("--pick", "nan,4"), ("no pixel",)),
        (("--pick-line", "4,5"), ("no line", "--pick-line")),
        (("--pick-line", "ridge"), ("no pixel",)),
        (("--pick", "4,5", "--camera-of", "Nowhere"), ("no station is called", "--camera-of")),
        (("--overlay", "over.bmp"), ("must end in", "--overlay")),
        (("--overlay", "ridge.png"), ("one of the inputs",)),
    ],
)
def test_bad_picks_and_overlays_are_refused(
    place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: tuple[str, ...], says: tuple[str, ...]
) -> None:
    photo = saved(tmp_path, "png")
    marked(photo, tmp_path)
    monkeypatch.chdir(tmp_path)
    assert_refused(
        tmp_path, "resect", "--terrain", place / "ground.tif", "--at", NEAR, "--marks", "marks.json",
        "--photo", "ridge.png", "--width", f"{CAMERA.lens.width_deg}", *more, says=says,
    )  # fmt: skip


def test_an_overlay_needs_the_photograph(
    place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    marked(saved(tmp_path, "png"), tmp_path)
    monkeypatch.chdir(tmp_path)
    assert_refused(
        tmp_path, "resect", "--terrain", place / "ground.tif", "--at", NEAR, "--marks", "marks.json",
        "--overlay", "o.png", says=("needs the photograph", "--photo"),
    )  # fmt: skip


# --- nothing private travels --------------------------------------------------------------------------------


def test_the_search_finds_what_is_hidden(tmp_path: Path) -> None:
    private_photograph(tmp_path / "p.jpg", picture())
    content = (tmp_path / "p.jpg").read_bytes()
    assert all(word.encode() in content for word in (OWNER, SERIAL, MAKER_NOTE))
    assert sum(secret in content for secret in secrets()) >= 5
    assert Photograph.open(tmp_path / "p.jpg").width_px == WIDTH
    page = b"<img src='data:image/jpeg;base64," + base64.b64encode(content) + b"'>"
    assert any(OWNER.encode() in part for part in opened_up(page))


@pytest.mark.slow
def test_position_owner_serial_and_thumbnail_reach_no_output(place: Path, tmp_path: Path) -> None:
    photo = tmp_path / "in" / "ridge.jpg"
    photo.parent.mkdir()
    private_photograph(photo, picture())
    marks = marked(photo, photo.parent)
    out = tmp_path / "out"
    out.mkdir()
    for ending in ("png", "svg", "pdf"):
        result = hillsight.resect(
            **asked(
                place, photo, marks, pick=(pixel(*PLACES[0]),), pick_line="skyline",
                out=out / f"{ending}.gpkg", overlay=out / f"over.{ending}", pictures=out / "all",
            )
        )  # fmt: skip
        assert set(result.files) == {"out", "overlay", "pictures"}
    hillsight.mark(photo=photo, marks=marks, out=out / "page.html")
    ended = run("resect", "--terrain", place / "ground.tif", "--at", NEAR, "--marks", marks, "--photo", photo)
    (out / "terminal.txt").write_text(ended.out + ended.err)
    files = [path for path in out.rglob("*") if path.is_file()]
    assert len(files) > 8
    for path in [*files, marks]:
        for part in opened_up(path.read_bytes()):
            for secret in secrets():
                assert secret not in part, (path.name, secret)
    for path in out.rglob("*.png"):
        kinds = {kind for kind, _ in png_chunks(path.read_bytes())}
        assert kinds <= {b"IHDR", b"pHYs", b"PLTE", b"tRNS", b"IDAT", b"IEND"}, path.name
    # What does travel is the file's name, without its folders, and its checksum: they say which picture.
    told = json.loads(result.provenance.as_json())
    assert told["parameters"]["photo"] == "ridge.jpg"
    assert str(tmp_path) not in json.dumps(told)


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_an_overlay_is_the_same_every_time_and_shows_the_photograph(
    place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000000")
    photo = saved(tmp_path, "png")
    marks = marked(photo, tmp_path)
    files = [tmp_path / f"{n}.{ending}" for n in (1, 2)]
    for file in files:
        hillsight.resect(**asked(place, photo, marks, overlay=file, pick=(pixel(*PLACES[0]),)))
    assert files[0].read_bytes() == files[1].read_bytes()
    if ending == "png":
        with Image.open(files[0]) as page:
            shown = np.asarray(page.convert("RGB")).astype(int)
        # The sky's colours of the photograph are on the page, in many pixels.
        wanted = np.asarray(picture())[20, 600].astype(int)
        assert (np.abs(shown - wanted).max(axis=-1) <= 2).sum() > 1_000
