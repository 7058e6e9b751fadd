"""A photograph measured and brought into a verdict, from the files to the report."""

from __future__ import annotations

import base64
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from PIL import Image
from scipy.spatial.transform import Rotation

from hillsight.errors import CallError, MarksError
from hillsight.jobs.relocate import relocate
from hillsight.plan.picture.marks import Landmark, MarkedPhotograph, Marks, Trace
from hillsight.plan.picture.photograph import Photograph
from jobs.private_pictures import opened_up, private_photograph, secrets
from terrains import write_geotiff

WEST, NORTH, SPACING, POSTS = 300_000.0, 700_000.0, 20.0, 201
PLACES = {"A": (302_000.0, 698_600.0), "B": (301_500.0, 698_500.0), "C": (302_500.0, 698_700.0)}
WIDTH, HEIGHT, WIDTH_DEG = 1_600, 1_000, 60.0


def heights() -> np.ndarray:
    """A plain that rises to a rugged ridge 1 to 2 km north of the candidates."""
    random = np.random.default_rng(4)
    column, row = np.meshgrid(np.arange(POSTS), np.arange(POSTS))
    north = NORTH - SPACING * (row + 0.5)
    wavy = sum(
        random.normal(0, 60 / k) * np.cos(2 * np.pi * k * column / POSTS + random.uniform(0, 6.28))
        for k in range(2, 16)
    )
    rise = np.exp(-(((north - 699_500.0) / 350.0) ** 2))
    return (100.0 + (200.0 + wavy) * rise).astype(np.float32)


def height_at(height: np.ndarray, east: np.ndarray, north: np.ndarray) -> np.ndarray:
    from scipy import ndimage

    row, column = (NORTH - north) / SPACING - 0.5, (east - WEST) / SPACING - 0.5
    return ndimage.map_coordinates(height, [row, column], order=1, mode="nearest")


def skyline(height: np.ndarray, east: float, north: float, bearing: np.ndarray) -> np.ndarray:
    """Vertical angle of the highest of close samples on each bearing, flat earth, degrees."""
    level = height_at(height, np.array([east]), np.array([north]))[0] + 1.6
    away = np.arange(20.0, 1_900.0, 5.0)
    turn = np.radians(bearing)[:, None]
    ground = height_at(height, east + away * np.sin(turn), north + away * np.cos(turn))
    return np.degrees(np.arctan(((ground - level) / away).max(axis=1)))


def pixels(bearing: np.ndarray, up_deg: np.ndarray, heading: float, tilt: float, roll: float) -> tuple:
    """By rotations of scipy."""
    turn, up = np.radians(bearing), np.radians(up_deg)
    world = np.column_stack((np.sin(turn) * np.cos(up), np.cos(turn) * np.cos(up), np.sin(up)))
    turned = (
        Rotation.from_euler("y", -roll, degrees=True)
        * Rotation.from_euler("x", -tilt, degrees=True)
        * Rotation.from_euler("z", heading, degrees=True)
    ).apply(world)
    focal = WIDTH / 2 / np.tan(np.radians(WIDTH_DEG / 2))
    return WIDTH / 2 + focal * turned[:, 0] / turned[:, 1], HEIGHT / 2 - focal * turned[:, 2] / turned[:, 1]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Terrain, features, a photograph taken from A, and its marks."""
    folder = tmp_path_factory.mktemp("photograph")
    height = heights()
    terrain = write_geotiff(folder / "ground.tif", height, spacing=SPACING)
    photo = folder / "ridge.png"
    Image.new("RGB", (WIDTH, HEIGHT), (120, 140, 170)).save(photo)
    Image.new("RGB", (WIDTH, HEIGHT), (121, 140, 170)).save(folder / "other.png")
    bearing = np.arange(-27.0, 37.0, 0.4)
    east, north = PLACES["A"]
    random = np.random.default_rng(6)
    x, y = pixels(bearing, skyline(height, east + 8, north - 6, bearing), 5.0, 3.0, -1.0)
    kept = (x > 5) & (x < WIDTH - 5)
    x, y = x[kept], y[kept] + random.normal(0.0, 2.0, int(kept.sum()))
    opened = Photograph.open(photo)
    taken = MarkedPhotograph("ridge.png", WIDTH, HEIGHT, opened.sha256)
    marks = Marks(taken, skyline=(Trace(x, y),))
    marks.write(folder / "marks.json")
    tops = np.array([(301_700.0, 699_500.0), (302_150.0, 699_500.0), (302_500.0, 699_500.0)])
    away = np.hypot(tops[:, 0] - east, tops[:, 1] - north)
    level = height_at(height, np.array([east]), np.array([north]))[0] + 1.6
    up = np.degrees(np.arctan((height_at(height, tops[:, 0], tops[:, 1]) - level) / away))
    turn = np.degrees(np.arctan2(tops[:, 0] - east, tops[:, 1] - north))
    mark_x, mark_y = pixels(turn, up, 5.0, 3.0, -1.0)
    names = ("West Tor", "Mid Tor", "East Tor")
    landmarks = tuple(Landmark(float(u), float(v), n) for u, v, n in zip(mark_x, mark_y, names, strict=True))
    Marks(taken, landmarks=landmarks).write(folder / "landmarks.json")
    features = folder / "features.gpkg"
    geopandas.GeoDataFrame(
        {"name": names, "kind": ["summit"] * 3}, geometry=shapely.points(tops), crs=27700
    ).to_file(features)
    return {
        "terrain": terrain,
        "photo": photo,
        "other": folder / "other.png",
        "marks": folder / "marks.json",
        "landmarks": folder / "landmarks.json",
        "features": features,
        "folder": folder,
    }


def weighed(made: dict[str, Path], marks: str = "marks", **more: object):
    at = [(e, n, label) for label, (e, n) in PLACES.items()]
    asked = {
        "marks": str(made[marks]),
        "photo": str(made["photo"]),
        "width": WIDTH_DEG,
        "features": [str(made["features"])],
        "at": at,
        "elsewhere": 40,
        "elsewhere_within": 400.0,
        "reach": 3_000.0,
        "terrain_error": 1.0,
        "error_correlation": 100.0,
    }
    return relocate(str(made["terrain"]), **(asked | more))


def test_a_trace_alone_decides_and_is_told_of(made: dict[str, Path]) -> None:
    page, text = made["folder"] / "verdict.html", made["folder"] / "verdict.json"
    found = weighed(made, report=page, json_file=text)
    assert found.verdict.best.station == "A"
    assert found.verdict.best.probability > 0.95
    told = {fit.station: fit for fit in found.verdict.measured.fits}
    assert told["A"].tilt_deg == pytest.approx(3.0, abs=0.5)
    assert told["A"].roll_deg == pytest.approx(-1.0, abs=0.7)
    assert told["A"].misfit_deg < 0.3 < told["B"].misfit_deg + told["B"].hidden_share
    written = json.loads(text.read_text(encoding="utf-8"))
    assert [fit["station"] for fit in written["measured"]["fits"]] == ["A", "B", "C"]
    html = page.read_text(encoding="utf-8")
    assert "What was measured on the photograph" in html
    assert told["A"].sentence.split("degrees")[0] in html.replace("\u00a0", " ")
    # The photograph laid over each candidate, the likeliest first, pixels alone.
    laid = re.findall(r"The photograph laid over what is seen from (\w)", html)
    assert (laid[0], set(laid)) == ("A", {"A", "B", "C"})
    pictures = [
        base64.b64decode(one) for one in re.findall(r"data:image/jpeg;base64,([A-Za-z0-9+/=]+)", html)
    ]
    assert len(pictures) == 3
    with Image.open(io.BytesIO(pictures[0])) as picture:
        assert picture.width > 1_200
        assert not picture.getexif()


def test_marks_alone_like_the_true_place_best(made: dict[str, Path]) -> None:
    found = weighed(made, "landmarks")
    assert found.verdict.best.station == "A"
    assert found.verdict.measured.says == "3 marked landmarks"


def test_a_mark_is_of_the_top_of_what_stands_on_the_ground(made: dict[str, Path]) -> None:
    """Masts of 80 m, marked at their tops by plain trigonometry: the camera comes out tilted as it was.

    Were their heights left out, the tilt would come out some 5 degrees too low.
    """
    own = Marks.read(made["landmarks"])
    known = geopandas.read_file(made["features"]).assign(height_above_ground_m=80.0)
    masts = made["folder"] / "masts.gpkg"
    known.to_file(masts)
    east, north = PLACES["A"]
    height = heights()
    tops = np.column_stack((known.geometry.x, known.geometry.y))
    level = height_at(height, np.array([east]), np.array([north]))[0] + 1.6
    away = np.hypot(tops[:, 0] - east, tops[:, 1] - north)
    up = np.degrees(np.arctan((height_at(height, tops[:, 0], tops[:, 1]) + 80.0 - level) / away))
    turn = np.degrees(np.arctan2(tops[:, 0] - east, tops[:, 1] - north))
    x, y = pixels(turn, up, 5.0, 3.0, -1.0)
    marked = [
        Landmark(float(u), float(v), one.feature) for u, v, one in zip(x, y, own.landmarks, strict=True)
    ]
    file = made["folder"] / "masts.json"
    Marks(own.photograph, landmarks=tuple(marked)).write(file)
    found = weighed(made | {"masts": file}, "masts", features=[str(masts)])
    told = {fit.station: fit for fit in found.verdict.measured.fits}
    assert told["A"].tilt_deg == pytest.approx(3.0, abs=1.0)


def test_a_landmark_that_cannot_be_placed_is_refused(made: dict[str, Path]) -> None:
    own, file = Marks.read(made["landmarks"]).photograph, made["folder"] / "unplaced.json"
    for landmark, says in (
        (Landmark(10.0, 10.0, "Nowhere Tor"), "no feature is called"),
        (Landmark(10.0, 10.0, easting_m=310_000.0, northing_m=699_000.0), "off the terrain"),
    ):
        Marks(own, landmarks=(landmark,)).write(file)
        with pytest.raises(MarksError, match=says):
            weighed(made | {"unplaced": file}, "unplaced")


def sighting(made: dict[str, Path], name: str, *statements: str) -> str:
    path = made["folder"] / f"{name}.toml"
    parts = ['format = "hillsight sighting 1"', *(f"[[statement]]\n{one}" for one in statements)]
    path.write_text("\n\n".join(parts) + "\n", encoding="utf-8")
    return str(path)


SEEN = 'kind = "seen"\nwhat = "Mid Tor"'
SHAPES = ('kind = "skyline"\nshape = "pointed"', 'kind = "humps"\ncount = 3')
PLACED = ('kind = "order"\nthings = ["West Tor", "Mid Tor", "East Tor"]',)


@pytest.mark.slow
@pytest.mark.parametrize(("marks", "more"), [("marks", SHAPES), ("landmarks", PLACED)])
def test_what_was_measured_is_not_counted_again(
    made: dict[str, Path], marks: str, more: tuple[str, ...]
) -> None:
    without = weighed(made, marks, sighting=sighting(made, f"{marks}_less", SEEN)).verdict
    again = weighed(made, marks, sighting=sighting(made, f"{marks}_more", SEEN, *more)).verdict
    assert [one.probability for one in again.candidates] == [one.probability for one in without.candidates]
    assert len(again.measured.set_aside) == len(more)
    assert not without.measured.set_aside


def test_another_photograph_is_refused(made: dict[str, Path]) -> None:
    with pytest.raises(MarksError, match="another photograph"):
        weighed(made, photo=str(made["other"]))


def test_marks_without_the_photograph_or_its_width_are_refused(made: dict[str, Path]) -> None:
    with pytest.raises(CallError, match="go together"):
        weighed(made, photo=None)
    with pytest.raises(CallError, match="how wide the photograph is"):
        weighed(made, width=None)
    with pytest.raises(CallError, match="nothing is told of the picture"):
        relocate(str(made["terrain"]), at=[(e, n, k) for k, (e, n) in PLACES.items()])


def test_every_place_is_weighed_by_the_photograph_too(made: dict[str, Path]) -> None:
    """The likeliest place of the lattice is that next to where the photograph was taken."""
    found = weighed(made, everywhere=150.0, everywhere_within=200.0)
    share = found.rasters["probability_of_place"]
    row, column = np.unravel_index(int(np.nanargmax(share.array)), share.array.shape)
    step_east, _, west, _, step_north, top = share.transform[:6]
    east, north = west + step_east * (column + 0.5), top + step_north * (row + 0.5)
    assert np.hypot(east - PLACES["A"][0], north - PLACES["A"][1]) < 150.0


def turned_marks(own: Marks) -> tuple[Landmark, ...]:
    """The marks of the same picture turned a quarter to the left, within a square of its width."""
    return tuple(replace(one, x_px=one.y_px, y_px=WIDTH - one.x_px) for one in own.landmarks)


def test_landmarks_of_a_photograph_on_its_side_are_refused(made: dict[str, Path]) -> None:
    own = Marks.read(made["landmarks"])
    photo, file = made["folder"] / "side.png", made["folder"] / "side.json"
    Image.new("RGB", (HEIGHT, WIDTH), (120, 140, 170)).save(photo)
    taken = MarkedPhotograph("side.png", HEIGHT, WIDTH, Photograph.open(photo).sha256)
    Marks(taken, landmarks=turned_marks(own)).write(file)
    with pytest.raises(MarksError, match=r"side\.png.*turned by.*lie on its side.*upright"):
        weighed(made | {"side": file}, "side", photo=str(photo), width=40.0)


@pytest.mark.slow
def test_a_sightings_width_that_does_not_count_is_told(made: dict[str, Path]) -> None:
    file = made["folder"] / "wide.toml"
    file.write_text(
        'format = "hillsight sighting 1"\n\n[picture]\nwidth_deg = 30\n\n[[statement]]\n' + SEEN + "\n",
        encoding="utf-8",
    )
    notes = weighed(made, sighting=str(file)).notes
    assert any("60.0 degrees wide" in one and "the 30 degrees of the sighting" in one for one in notes)
    assert not any("of the sighting" in one for one in weighed(made).notes)


def test_a_width_fitted_stays_near_that_told(made: dict[str, Path]) -> None:
    """A picture told to be 140 degrees wide is 60: the fit strains, but to no more than 4 spreads of 5 %."""
    for fit in weighed(made, width=140.0).verdict.measured.fits:
        half = np.degrees(np.arctan(np.tan(np.radians(70.0)) * np.exp(0.2)))
        assert fit.width_deg <= 2 * half + 1e-6


def test_nothing_private_of_the_photograph_is_in_the_report(made: dict[str, Path]) -> None:
    """Position, owner and thumbnail of the photograph's file are in no byte of what is written."""
    photo, marks = made["folder"] / "private.jpg", made["folder"] / "private.json"
    private_photograph(photo, Image.new("RGB", (WIDTH, HEIGHT), (120, 140, 170)))
    taken = MarkedPhotograph("private.jpg", WIDTH, HEIGHT, Photograph.open(photo).sha256)
    Marks(taken, skyline=Marks.read(made["marks"]).skyline).write(marks)
    out, page, text = (made["folder"] / f"private_out.{end}" for end in ("gpkg", "html", "out.json"))
    weighed(made | {"private": marks}, "private", photo=str(photo), out=out, report=page, json_file=text)
    parts = [part for file in (out, page, text) for part in opened_up(file.read_bytes())]
    assert len(parts) > 5, "the page's pictures are looked into"
    for part in parts:
        assert not [secret for secret in secrets() if secret in part]
