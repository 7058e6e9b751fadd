"""Maps of candidates: what stands on them, where, in which colour; nothing runs into anything else."""

from __future__ import annotations

import io
import itertools
import re
import warnings
from dataclasses import replace

import geopandas
import matplotlib
import numpy as np
import pytest
import shapely
from matplotlib.colors import to_rgb
from PIL import Image

import terrains
import verdicts
from hillsight.ground.grid import Grid, Surface
from hillsight.plan.verdict import Fact, Verdict
from hillsight.sheets.paper import palette
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.page import Page
from hillsight.sheets.verdict.candidate_sheet import draw_candidate, picture_name
from verdicts import CRS, EAST, NORTH, line, point

POSTS, SPACING = 301, 20.0  # 6 km square about the middle


def surface(height_m: np.ndarray | None = None) -> Surface:
    heights = terrains.plane(POSTS, POSTS) if height_m is None else height_m
    half = SPACING * (POSTS - 1) / 2
    return Surface(Grid(CRS, EAST - half, NORTH + half, SPACING, SPACING, POSTS, POSTS), heights)


def things(*rows: tuple[object, str, str, shapely.Geometry]) -> geopandas.GeoDataFrame:
    name, kind, evidence, shapes = zip(*rows, strict=True) if rows else ((), (), (), ())
    return geopandas.GeoDataFrame(
        {"name": list(name), "kind": list(kind), "evidence_class": list(evidence)},
        geometry=list(shapes),
        crs=CRS,
        dtype=object,
    ).assign(target_height_m=0.0)


NAMED = things(
    ("Far Top", "summit", "ground_shape", point(1_500, 100)),
    ("Made Tarn", "tarn", "water", point(1_000, 300).buffer(60)),
    ("Made Wall", "wall", "man_made", line((900, -500), (900, 500))),
    (None, "spur", "ground_shape", line((0, -900), (0, -300))),
    (np.nan, "cairn", "man_made", point(200, -200)),
)


def draw(of: Verdict | None = None, station: str = "Aye", reach_m: float = 3_000.0, **given: object) -> Page:
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # a glyph that the font lacks would warn
        page = draw_candidate(
            of or verdicts.verdict(),
            station,
            given.get("ground") or surface(),  # type: ignore[arg-type]
            given.get("things", NAMED),  # type: ignore[arg-type]
            float(given.get("turn", 0.0)),  # type: ignore[arg-type]
            reach_m,
        )
        page.pixels()
    return page


def assert_texts_keep_apart(page: Page) -> None:
    sheet = Box(0, 0, page.width, page.height)
    for text, box in page.texts:
        assert box.within(sheet), text
        assert "\n" not in text
    for (a, box_a), (b, box_b) in itertools.combinations(page.texts, 2):
        # Boxes are a whole line high; lines of one paragraph may touch.
        assert not box_a.overlaps(box_b, -1.5), (a, b)


def texts(page: Page) -> list[str]:
    return [text for text, _ in page.texts]


class Reader:
    """Pixels of places, as a reader of the printed map finds them: by the figures along its edges."""

    def __init__(self, page: Page) -> None:
        self.pixels = page.pixels().astype(int)
        figures = [(float(t.replace(",", "")), b) for t, b in page.texts if re.fullmatch(r"\d{3},\d{3}", t)]
        east = {n: (b.left + b.right) / 2 for n, b in figures if n < 450_000}
        north = {n: (b.bottom + b.top) / 2 for n, b in figures if n > 450_000}
        self.across = np.polyfit(list(east), list(east.values()), 1)
        self.up = np.polyfit(list(north), list(north.values()), 1)

    def at(self, east: float, north: float, half: int = 0) -> np.ndarray:
        """The (2 half + 1)^2 pixels about a place from the middle of the ground."""
        column = round(float(np.polyval(self.across, EAST + east)))
        row = round(len(self.pixels) - float(np.polyval(self.up, NORTH + north)))
        return self.pixels[row - half : row + half + 1, column - half : column + half + 1]


def near(pixels: np.ndarray, colour: object, within: int = 12) -> np.ndarray:
    wanted = to_rgb(colour) if isinstance(colour, str) else colour
    return np.abs(pixels - np.array(wanted) * 255).max(axis=-1) <= within


@pytest.fixture(scope="module")
def page() -> Page:
    return draw()


def test_the_picture_is_a_sheet_of_paper(page: Page) -> None:
    data = page.small_png()
    with Image.open(io.BytesIO(data)) as picture:
        # A4 is 210 x 297 mm (ISO 216); at 150 dots an inch 1240.2 x 1753.9 pixels.
        assert picture.format == "PNG" and picture.size == (1240, 1754)
        assert "Software" not in picture.info
        light = np.asarray(picture.convert("RGB")).astype(int)
    whole = page.pixels().astype(int)
    off = np.abs(light - whole).max(axis=-1)
    assert np.median(off) <= 3 and np.quantile(off, 0.99) <= 16
    for colour in (palette.INK, palette.BROW, palette.MAN_MADE, palette.WATER):  # signs keep their colours
        sign = (whole == np.rint(np.array(to_rgb(colour)) * 255)).all(axis=-1)
        assert off[sign].max(initial=0) == 0, colour
    file = io.BytesIO()
    Image.fromarray(whole.astype(np.uint8)).save(file, "PNG")
    assert len(data) < 0.6 * len(file.getvalue())


def test_it_says_what_the_candidate_would_show(page: Page) -> None:
    found = texts(page)
    assert found[0] == "Aye: 80 %"
    assert "Decided: taken from Aye with 80 %" in found
    assert any("60° wide: 90° true ± 4°" in text for text in found)
    whole = " ".join(found)
    for words in (
        "Thing 2 is told. From here the ground turns out of view at about 100 m: this fits.",
        "Thing 1 is told. From here one stands left of the other: this fits.",
        "Thing 5 is told. From here Made Wall shows: this fits in part.",
        "Thing 3 is told. From here Far Top stands below us: this does not fit.",
    ):
        assert words in whole
    assert "Thing 4" not in whole  # it tells them apart little
    other = " ".join(texts(draw(station="Bee")))
    assert "From here the ground stays in view for 600 m or more: this does not fit." in other


def test_numbers_names_and_marks_stand_on_it(page: Page) -> None:
    found = texts(page)
    # Each beside the sentence and on a map: the relation has two places.
    assert [found.count(number) for number in ("1", "2", "3", "5", "4")] == [3, 2, 2, 2, 0]
    for name in ("Aye", "Bee", "Far Top", "Made Tarn", "Made Wall"):
        assert name in found
    assert "Cee" not in found  # beyond the map
    legend = {
        "this candidate", "another candidate", "within the picture", "argument that fits here",
        "argument that fits in part", "argument that does not fit", "sight line of an argument",
        "ground argued about", "top", "water", "wall",
    }  # fmt: skip
    assert legend <= set(found)
    assert not {"contour", "void or off the terrain", "building or other work"} & set(found)
    assert_texts_keep_apart(page)


def test_the_legend_says_no_more_than_is_there() -> None:
    found = texts(draw(replace(verdicts.verdict(), arguments=()), things=things()))
    assert "No statement tells the candidates apart." in found
    assert not [t for t in found if t.startswith(("argument", "sight line", "ground argued", "shape of"))]


@pytest.mark.parametrize("turn", [0.0, 20.0])
def test_the_wedge_is_where_the_picture_looks(turn: float) -> None:
    """True bearing 90, 60 wide, from Aye: on a grid turned by 20 degrees it looks along grid 70."""
    bare = replace(verdicts.verdict(), arguments=())
    reader = Reader(draw(bare, things=things(), turn=turn))
    inside, outside = (
        [reader.at(400 * np.sin(np.radians(b)), 400 * np.cos(np.radians(b)))[0, 0] for b in bearings]
        for bearings in (np.array([66, 80, 99, 114]) - turn, np.array([50, 130, 270]) - turn)
    )
    wash = 0.5 * np.array(to_rgb(palette.VISIBLE)) + 0.5 * np.array(to_rgb(palette.PAPER))
    # Level ground is a little shaded, all alike: the hue tells.
    for pixel in inside:
        assert pixel[0] - pixel[2] > 0.6 * 255 * (wash[0] - wash[2])
    for pixel in outside:
        assert pixel[0] - pixel[2] < 20


def test_marks_are_where_they_belong(page: Page) -> None:
    reader = Reader(page)
    assert near(reader.at(0, 0), palette.INK, 60).all()  # the dot of the candidate's own mark
    ring = reader.at(0, 700, 8)
    assert near(ring[7:10, 7:10], palette.PAPER, 6).all() and near(ring, palette.INK, 60).any()
    assert near(reader.at(1_500, 100, 6), palette.GROUND_SHAPE, 30).any()
    # The sight line to the wall ends on it due east; it is dashed ink for most of the way.
    along = np.array([reader.at(east, 0, 1).min(axis=(0, 1)).sum() for east in np.arange(300, 880, 4.0)])
    assert 0.4 < (along < 250).mean() < 0.95


def test_near_ground_has_a_map_of_its_own(page: Page) -> None:
    """The rim 100 m off is too near to be told on a map of two kilometres: it goes on the small one."""
    assert any(t.startswith("The ground close by, 250 m across") for t in texts(page))
    rows, columns = np.nonzero(near(page.pixels().astype(int)[100:460, 880:], palette.BROW, 20))
    assert rows.size > 100
    # 120 m of 250 on 308 pixels: the rim's height on the page.
    assert np.ptp(rows) == pytest.approx(120 / 250 * 308, abs=5)
    assert np.ptp(columns) == pytest.approx(20 / 250 * 308, abs=6)


def test_a_fact_beyond_the_reach_has_its_number_at_the_edge() -> None:
    of = verdicts.verdict()
    far = tuple(replace(fact, geometry=point(2_600, 0)) for fact in of.arguments[4].facts)
    page = draw(replace(of, arguments=(replace(of.arguments[4], facts=far),)), reach_m=800.0)
    assert "numbers at the map's edge are of places beyond it" in " ".join(texts(page))
    boxes = [box for text, box in page.texts if text == "3"]
    assert len(boxes) == 2 and max(box.left for box in boxes) > 780  # of the map's 856
    assert_texts_keep_apart(page)


def test_a_rim_that_leaps_is_not_joined() -> None:
    of = verdicts.verdict()
    leaping = line((700, -300), (700, -100), (1_900, 100), (1_900, 500))
    fact = replace(of.arguments[0].facts[0], geometry=leaping)
    first = replace(of.arguments[0], facts=(fact,) * 3)
    reader = Reader(draw(replace(of, arguments=(first,)), things=things()))
    assert near(reader.at(700, -250, 3), palette.BROW, 40).any()
    assert near(reader.at(1_900, 400, 3), palette.BROW, 40).any()
    between = [reader.at(700 + 1_200 * s, -100 + 200 * s, 2) for s in (0.2, 0.3, 0.7, 0.8)]
    assert not any(near(pixels, palette.BROW, 40).any() for pixels in between)


@pytest.mark.slow
@pytest.mark.parametrize("station", range(3))
def test_hostile_texts_break_nothing(station: int) -> None:
    of = verdicts.hostile()
    ground = surface(terrains.fractal(POSTS, POSTS, seed=4, relief_m=300.0, roughness=2.2).astype(np.float32))
    named = things(*((text, text, "water", point(90 * k, 60 * k)) for k, text in enumerate(verdicts.HOSTILE)))
    page = draw(of, of.candidates[station].station, ground=ground, things=named)
    assert_texts_keep_apart(page)
    assert not any(re.search(r"\bnan\b|\binf\b", text) for text in texts(page))


def crowd(count: int) -> tuple[Verdict, geopandas.GeoDataFrame]:
    """Five arguments with long sentences about places that lie in a heap, amid many named things."""
    random = np.random.default_rng(8)
    of = verdicts.verdict()
    said = "a long sentence that goes on about what is seen on the left, and on the right, and between " * 3
    arguments = tuple(
        replace(
            one,
            number=90 + k,
            role="decides",
            says=said,
            facts=tuple(
                Fact(said, 1.0, "m", shapely.GeometryCollection([point(800 + k, 5 * j) for j in range(4)]))
                for _ in of.candidates
            ),
        )
        for k, one in enumerate(of.arguments)
    )
    rows = [
        (f"Some Name {k}", "knoll", "ground_shape", point(*random.uniform(-900, 1_500, 2)))
        for k in range(count)
    ]
    return replace(of, arguments=arguments), things(*rows)


@pytest.mark.slow
@pytest.mark.parametrize("count", [10, 300])
def test_nothing_overlaps_on_a_crowded_page(count: int) -> None:
    of, named = crowd(count)
    page = draw(of, things=named)
    assert_texts_keep_apart(page)
    found = texts(page)
    assert all(found.count(str(number)) >= 2 for number in range(90, 95))
    assert ("left off for lack of space" in " ".join(found)) == (count == 300)


@pytest.mark.parametrize("place", [(2_990, 2_990), (-2_990, 0), (5_000, 0)])
def test_a_candidate_at_the_terrains_edge(place: tuple[float, float]) -> None:
    of = verdicts.verdict()
    moved = replace(of.candidates[0], easting_m=EAST + place[0], northing_m=NORTH + place[1])
    page = draw(replace(of, candidates=(moved, *of.candidates[1:])))
    assert_texts_keep_apart(page)
    assert "Aye" in texts(page)
    assert "void or off the terrain" in texts(page)


def test_the_map_keeps_to_the_terrain_where_it_can() -> None:
    """A candidate 360 m from the east edge that looks west: moved 20 m, the map shows nothing beyond it."""
    of = replace(verdicts.verdict(), arguments=())
    moved = replace(of.candidates[0], easting_m=EAST + 2_650, looks_true_deg=270.0)
    for place, shows in ((moved, False), (replace(moved, easting_m=EAST + 2_950), True)):
        found = texts(draw(replace(of, candidates=(place, of.candidates[1])), reach_m=1_200.0))
        assert ("void or off the terrain" in found) == shows


def test_voids_are_hatched() -> None:
    holed = surface(terrains.with_hole(terrains.plane(POSTS, POSTS), 130, 160, 160, 190))
    page = draw(replace(verdicts.verdict(), arguments=()), things=things(), ground=holed)
    assert "void or off the terrain" in texts(page)
    nothing = np.full((POSTS, POSTS), np.nan)
    assert "contour" not in texts(draw(ground=surface(nothing)))


def test_same_bytes_again_whatever_the_users_settings() -> None:
    before = dict(matplotlib.rcParams)
    first = draw().small_png()
    assert dict(matplotlib.rcParams) == before
    odd = {
        "font.size": 30, "lines.linewidth": 9, "lines.markersize": 40, "lines.dash_joinstyle": "miter",
        "axes.facecolor": "black", "savefig.dpi": 33, "image.origin": "lower", "path.simplify": False,
        "patch.linewidth": 7, "lines.solid_capstyle": "butt", "contour.linewidth": 5,
    }  # fmt: skip
    with matplotlib.rc_context(odd):
        assert draw().small_png() == first


def test_file_names_keep_apart() -> None:
    taken: set[str] = set()
    names = [picture_name(text, taken) for text in ("Aye", "Aye!", "Bèe", "", "../x", *verdicts.HOSTILE)]
    assert len(set(names)) == len(names)
    assert names[0] == "candidate_aye" and names[2] == "candidate_bee"
    assert all(re.fullmatch(r"[a-z0-9_]+", name) for name in names)


def test_an_unknown_candidate_is_a_fault() -> None:
    with pytest.raises(KeyError):
        draw(station="Nobody")


def test_a_map_shows_no_ground_finer_than_the_posts() -> None:
    """Of posts 50 m apart the ground close by is drawn ten posts across, and each post has its dot."""
    half = 5_000.0
    coarse = Surface(Grid(CRS, EAST - half, NORTH + half, 50.0, 50.0, 201, 201), terrains.plane(201, 201))
    page = draw(ground=coarse)
    told = " ".join(texts(page))
    assert "The ground close by, 500 m across" in told  # 250 m across on finer posts
    assert "dots: posts of the terrain, 50 m apart; nothing between them is surveyed" in told
    assert_texts_keep_apart(page)
    pixels = page.pixels().astype(int)
    # The small map is 308 pixels across; the eye stands on a post in its middle, so posts 50 m off lie 30.8
    # pixels away. North-west, where neither picture nor signs are.
    small = pixels[134:442, 892:1200]
    for posts in (2, 3, 4):
        at = round(154 - posts * 30.8)
        dot = small[at - 2 : at + 3, at - 2 : at + 3].sum(axis=-1)
        about = small[at - 12 : at + 13, at - 12 : at + 13].sum(axis=-1)
        assert dot.min() < np.median(about) - 100
    fine = Surface(
        Grid(CRS, EAST - half, NORTH + half, 10.0, 10.0, 1_001, 1_001), terrains.plane(1_001, 1_001)
    )
    assert not any("dots:" in text for text in texts(draw(ground=fine)))
