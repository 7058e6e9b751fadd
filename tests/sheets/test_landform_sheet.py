"""Maps of landforms: what stands on them, where, and told apart; nothing runs into anything else."""

from __future__ import annotations

import itertools
import re
import warnings
from pathlib import Path

import geopandas
import matplotlib
import numpy as np
import pyproj
import pytest
import shapely
from matplotlib.colors import to_hex, to_rgb
from PIL import Image

import terrains
from hillsight.errors import OutputError
from hillsight.ground.grid import Grid, Surface
from hillsight.schema.layers import LAYERS
from hillsight.sheets.landforms.landform_marks import order_width, steep_colours
from hillsight.sheets.landforms.landform_sheet import at_scale, draw_landforms, landform_page
from hillsight.sheets.paper import palette
from hillsight.sheets.paper.drawn_signs import texture_at
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.relief import mixed
from hillsight.sheets.paper.signs import LEVEL_GROUND, UNKNOWN_GROUND

CRS = pyproj.CRS("EPSG:27700")
WEST, SOUTH, SIDE = 300_000.0, 700_000.0, 4000.0  # of a terrain of 201 x 201 posts, 20 m apart


def surface(height_m: np.ndarray | None = None) -> Surface:
    heights = terrains.plane(201, 201) if height_m is None else height_m
    rows, columns = heights.shape
    return Surface(Grid(CRS, WEST, SOUTH + 20.0 * (rows - 1), 20.0, 20.0, rows, columns), heights)


def frame(layer: str, *rows: dict[str, object], scale_m: float = 300.0) -> geopandas.GeoDataFrame:
    """A layer whose rows give what matters to a map; ``at`` holds coordinates from the terrain's corner."""
    columns = {
        c.name: [row.get(c.name, 1.0 if c.type == "real" else None) for row in rows]
        for c in LAYERS[layer].columns
    }
    columns["scale_m"] = [row.get("scale_m", scale_m) for row in rows]
    columns["landform"] = [f"{layer} {i}" for i in range(len(rows))]
    made = {"Point Z": shapely.Point, "LineString Z": shapely.LineString, "Polygon": shapely.Polygon}
    shapes = [
        shapely.transform(made[LAYERS[layer].geometry](row["at"]), lambda xy: xy + np.array([WEST, SOUTH]))
        for row in rows
    ]
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs=CRS)


def square(east: float, north: float, side: float = 600.0) -> list[tuple[float, float]]:
    return [(east, north), (east + side, north), (east + side, north + side), (east, north + side)]


def everything() -> dict[str, geopandas.GeoDataFrame]:
    """One of each kind, well apart."""
    return {
        "tops": frame(
            "tops",
            {"at": (500, 3500), "kind": "summit", "height_m": 512.4, "name": "Made Top", "scale_m": 1000.0},
            {"at": (1500, 3500), "kind": "knoll", "height_m": 430.0},
        ),
        "saddles": frame("saddles", {"at": (1000, 3500), "height_m": 401.0}),
        "ridges": frame(
            "ridges",
            {"at": [(2000, 3700), (3600, 3700)], "order": 1},
            {"at": [(2000, 3500), (3600, 3500)], "order": 4},
        ),
        "valley_lines": frame(
            "valley_lines", {"at": [(2000, 3200), (3600, 3200)], "order": 2, "name": "Made Water"}
        ),
        "spurs": frame("spurs", {"at": [(500, 3000), (1700, 3000)], "falls_towards": "E"}),
        "re_entrants": frame("re_entrants", {"at": [(500, 2700), (1700, 2700)]}),
        "breaks_of_slope": frame(
            "breaks_of_slope",
            {"at": [(500, 2400), (1700, 2400)], "kind": "convex_edge"},
            {"at": [(500, 2100), (1700, 2100)], "kind": "concave_foot"},
        ),
        "level_ground": frame(
            "level_ground",
            {"at": square(500, 1000), "kind": "flat_top"},
            {"at": square(1300, 1000), "kind": "shelf"},
            {"at": square(2100, 1000), "kind": "floor"},
        ),
        "steep_ground": frame(
            "steep_ground",
            {"at": square(2100, 2000), "slope_from_deg": 20.0, "slope_to_deg": 30.0},
            {"at": square(2900, 2000), "slope_from_deg": 30.0, "slope_to_deg": np.nan},
        ),
        "hollows": frame("hollows", {"at": square(2900, 1000)}),
    }


LEGEND = {
    "summit", "knoll: a lesser top", "saddle", "ridge, by order", "valley line", "spur, its nose a bead",
    "re-entrant", "edge: steeper below", "foot: gentler below", "steep ground: 20° to 30°",
    "steep ground: 30° or more", "flat top: falls all round", "shelf: falls to one side",
    "floor: rises all round", "hollow: no way out for water",
}  # fmt: skip


@pytest.fixture(scope="module")
def page():
    return landform_page(surface(), at_scale(everything(), 300.0), 300.0)


def texts(page) -> list[str]:
    return [text for text, _ in page.texts]


class Reader:
    """Pixels of places, as a reader of the printed map finds them: by the figures along its edges."""

    def __init__(self, page) -> None:
        self.pixels = page.pixels().astype(int)
        figures = [(float(t.replace(",", "")), b) for t, b in page.texts if re.fullmatch(r"\d{3},\d{3}", t)]
        east = {n: (b.left + b.right) / 2 for n, b in figures if n < 650_000}
        north = {n: (b.bottom + b.top) / 2 for n, b in figures if n > 650_000}
        self.across = np.polyfit(list(east), list(east.values()), 1)
        self.up = np.polyfit(list(north), list(north.values()), 1)

    def window(self, east: float, north: float, half: int = 0) -> np.ndarray:
        """The (2 half + 1)^2 pixels about a place from the terrain's corner."""
        column = round(float(np.polyval(self.across, WEST + east)))
        row = round(len(self.pixels) - float(np.polyval(self.up, SOUTH + north)))
        return self.pixels[row - half : row + half + 1, column - half : column + half + 1]

    def along(self, east: float, to_east: float, north: float) -> np.ndarray:
        """Darkest of the three pixels across an eastward line, at each pixel of it."""
        places = np.arange(east, to_east, SIDE / 1100)
        return np.array([self.window(place, north, 1)[:, 1].sum(axis=-1).min() for place in places])


@pytest.fixture(scope="module")
def reader(page) -> Reader:
    return Reader(page)


def near(pixels: np.ndarray, colour: str, within: int = 12) -> np.ndarray:
    return np.abs(pixels - np.array(to_rgb(colour)) * 255).max(axis=-1) <= within


def test_a_page_for_each_scale(tmp_path: Path) -> None:
    frames = everything()
    frames["spurs"] = frame("spurs", {"at": [(500, 3000), (1700, 3000)], "falls_towards": "E"}, scale_m=62.5)
    written = draw_landforms(surface(), frames, tmp_path / "made" / "here")
    names = ["landforms_62.5m.png", "landforms_300m.png", "landforms_1000m.png"]
    assert [path.name for path in written] == names
    for path in written:
        with Image.open(path) as picture:
            # A4 is 210 x 297 mm (ISO 216); at 150 dots an inch 1240.2 x 1753.9 pixels.
            assert picture.format == "PNG" and picture.size == (1240, 1754)
            assert "Software" not in picture.info


def test_tops_and_saddles_stand_on_the_maps_of_smaller_scales_too() -> None:
    frames = everything()
    assert {layer: len(rows) for layer, rows in at_scale(frames, 1000.0).items()} == {"tops": 1}
    assert {layer: len(rows) for layer, rows in at_scale(frames, 100.0).items()} == {"tops": 2, "saddles": 1}
    assert set(at_scale(frames, 300.0)) == set(frames)
    page = landform_page(surface(), at_scale(frames, 1000.0), 1000.0)
    assert "Made Top 512" in texts(page) and "430" not in texts(page)


def test_legend_says_what_is_on_the_map_and_no_more(page) -> None:
    assert set(texts(page)) >= LEGEND
    assert not {"void or off the terrain", "contour"} & set(texts(page))  # flat ground without voids
    for layer, words in (("tops", 2), ("saddles", 1), ("breaks_of_slope", 2), ("steep_ground", 2)):
        alone = landform_page(surface(), {layer: everything()[layer]}, 300.0)
        assert len(LEGEND & set(texts(alone))) == words, layer


def test_names_heights_and_directions_are_written(page) -> None:
    found = texts(page)
    for text in ("Made Top 512", "430", "401", "Made Water", "E", "2 tops, 1 saddle, 1 spur, 1 re-entrant, "):
        assert any(t == text or (len(text) > 20 and t.startswith(text)) for t in found), text
    assert "Landforms at a scale of 300 m" in found
    assert sum("wrong by metres" in text for text in found) == 1  # the caution
    assert any("posts 20 m apart" in text for text in found)
    # Convergence of the British grid at E 302 000 N 702 000, about 3.57 W 56.2 N: (2 W - 3.57 W) x sin(56.2).
    turn = next(text for text in found if text.startswith("Up is grid north"))
    degrees = float(re.search(r"lies (\d\.\d)° to the right", turn).group(1))  # type: ignore[union-attr]
    assert degrees == pytest.approx(1.57 * np.sin(np.radians(56.2)), abs=0.1)


def test_marks_and_lines_are_where_they_belong(reader: Reader) -> None:
    assert near(reader.window(500, 3500, 1), palette.INK).all()  # a filled triangle
    knoll = reader.window(1500, 3500, 6)
    summit = reader.window(500, 3500, 14)
    dark = [near(mark, palette.INK, 40).sum() for mark in (knoll, summit)]
    assert dark[0] > 10 and dark[1] > 2 * dark[0]  # a small triangle and a large one
    saddle = near(reader.window(1000, 3500, 4), palette.INK, 60)
    assert saddle[4, 4] and saddle[1, 1] and saddle[1, 7] and not saddle[4, 0] and not saddle[0, 4]
    assert near(reader.window(2800, 3500), palette.GROUND_SHAPE).all()
    assert near(reader.window(1000, 3000), palette.PAPER, 4).all()  # the hollow of the spur
    assert near(reader.window(1000, 3000, 4), palette.SPUR).any()
    assert near(reader.window(1700, 3000, 2), palette.SPUR).all()  # its bead


def test_lines_differ_without_colour(reader: Reader) -> None:
    """Length of the dark pieces of each line, in pixels: no two kinds have the same."""

    def pieces(east: float, north: float) -> np.ndarray:
        dark = reader.along(east, east + 500, north)
        edges = np.diff((dark < (dark.max() + dark.min()) / 2).astype(int))
        starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
        return ends[ends > starts[0]] - starts[: (ends > starts[0]).sum()]

    assert reader.along(2050, 2650, 3500).max() < 250  # the ridge is unbroken and dark
    edge, foot, valley, dots = (
        pieces(e, n) for e, n in ((520, 2400), (520, 2100), (2020, 3200), (520, 2700))
    )
    assert edge.min() > 1.4 * foot.max()
    assert foot.max() > 1.2 * valley.max() > 1.4 * dots.max()
    assert foot.min() < foot.max() / 2  # dashes and dots
    assert np.ptp(edge) <= 2 and np.ptp(valley) <= 2 and np.ptp(dots) <= 2  # all alike
    thin, thick = (near(reader.window(2800, n, 8), palette.GROUND_SHAPE, 60).sum() for n in (3700, 3500))
    assert thick > 2.5 * thin  # order 4 and order 1


def test_areas_have_their_colours_and_patterns(reader: Reader) -> None:
    lightness = {
        name: np.median(reader.window(east + 300, north + 300, 60).mean(axis=-1))
        for name, (east, north) in {
            "gentler": (2100, 2000), "steeper": (2900, 2000), "flat_top": (500, 1000), "bare": (3300, 300),
        }.items()
    }  # fmt: skip
    assert lightness["steeper"] < lightness["gentler"] - 25 < lightness["bare"] - 60
    assert lightness["flat_top"] > lightness["gentler"] + 8
    water = np.median(reader.window(3200, 1300, 60), axis=(0, 1))
    assert water[2] > water[0] + 15  # the hollow is bluish


def test_signs_on_level_ground_are_three_shapes() -> None:
    covered = {kind: texture_at(sign.texture, (180, 180)) for kind, sign in LEVEL_GROUND.items()}
    assert set(covered) == {"flat_top", "shelf", "floor"}
    for kind, pixels in covered.items():
        assert 0.02 < pixels.mean() < 0.12, kind
    for one, other in itertools.combinations(covered.values(), 2):
        assert (one & other).sum() < 0.75 * min(one.sum(), other.sum())


def test_widths_and_tints_follow_order_and_slope() -> None:
    for layer in ("ridges", "valley_lines"):
        widths = [order_width(layer, order) for order in (1, 2, 3, 4)]
        assert widths == sorted(set(widths))
        assert order_width(layer, 9) == widths[-1]
    for bands in (
        [30.0],
        [20.0, 30.0, 40.0],
        [15.0, 25.0, 35.0, 45.0],
        [float(b) for b in range(10, 80, 10)],
    ):
        tints = steep_colours(bands)
        assert list(tints) == bands
        places = [palette.STEEP.index(colour) for colour in tints.values()]
        assert places == sorted(places)
        assert len(set(places)) == min(len(bands), 4)


def assert_texts_keep_apart(page) -> None:
    sheet = Box(0, 0, page.width, page.height)
    for text, box in page.texts:
        assert box.within(sheet), text
        assert "\n" not in text
    for (a, box_a), (b, box_b) in itertools.combinations(page.texts, 2):
        # Boxes are a whole line high; lines of one paragraph may touch.
        assert not box_a.overlaps(box_b, -1.5), (a, b)


def crowd(count: int, scale_m: float = 100.0) -> dict[str, geopandas.GeoDataFrame]:
    """Tops, saddles and short spurs strewn over the terrain, with difficult names."""
    random = np.random.default_rng(5)
    names = [
        "Knott\nof $x^2$",
        "🏔️ Bèinn Ämne 山",
        "A name that goes on and on without any end at all",
        "",
        None,
    ]
    at = random.uniform(20, SIDE - 20, (3, count, 2))
    return {
        "tops": frame("tops", *(
            {"at": xy, "kind": ("summit", "knoll")[i % 2], "height_m": np.nan if i % 9 == 3 else 100.0 + i,
             "prominence_m": float(i), "name": names[i % 5]} for i, xy in enumerate(at[0])
        ), scale_m=scale_m),
        "saddles": frame("saddles", *(
            {"at": xy, "height_m": -5.0 - i, "climb_m": float(i)} for i, xy in enumerate(at[1])
        ), scale_m=scale_m),
        "spurs": frame("spurs", *(
            {"at": [xy, xy + np.array([4 * i, 3 * i + 1])], "length_m": 5.0 * i, "falls_towards": "NE",
             "name": names[i % 5]} for i, xy in enumerate(at[2])
        ), scale_m=scale_m),
    }  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(("count", "scale_m"), [(40, 100.0), (250, 50.0)])
def test_nothing_overlaps_or_leaves_a_crowded_page(count: int, scale_m: float) -> None:
    ground = surface(terrains.fractal(201, 201, seed=4, relief_m=300.0, roughness=2.2).astype(np.float32))
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # a glyph that the font lacks would warn
        page = landform_page(ground, crowd(count, scale_m), scale_m)
        page.pixels()
    assert_texts_keep_apart(page)
    assert not any("nan" in text for text in texts(page))
    assert any(text.startswith("−") for text in texts(page))
    assert "contour" in texts(page)
    words = " ".join(texts(page))
    if count == 250:
        for told in ("lines", "tops and saddles", "names or heights"):
            assert int(re.search(rf"space: .*?(\d+) {told}", words).group(1)) > 0  # type: ignore[union-attr]
    else:
        assert "left off" in words and not re.search("space: .*?[0-9] tops and saddles", words)


def test_small_lines_go_where_a_scale_is_a_few_pixels() -> None:
    frames = {layer: everything()[layer] for layer in ("ridges", "spurs", "valley_lines", "tops")}
    for scale_m, there in ((300.0, True), (25.0, False)):  # the map has 3.6 m to a pixel
        found = texts(landform_page(surface(), frames, scale_m))
        assert ("spur, its nose a bead" in found) == there
        assert ("ridge, by order" in found) == there and ("ridge" in found) != there
        assert ("left off for lack of space: 2 lines" in " ".join(found)) != there
        assert {"valley line", "summit"} <= set(found)


def test_the_page_of_everything_keeps_its_texts_apart(page) -> None:
    assert_texts_keep_apart(page)
    assert len(page.texts) > 30


@pytest.mark.parametrize("shape", [(20, 300), (300, 20), (2, 2), (1, 1), (120, 201)])
def test_terrain_of_any_shape_fits_the_page(shape: tuple[int, int]) -> None:
    tops = frame("tops", {"at": (0, 0), "kind": "summit", "height_m": 100.0})
    page = landform_page(surface(terrains.plane(*shape)), {"tops": tops}, 100.0)
    page.pixels()
    assert_texts_keep_apart(page)
    assert "100" in texts(page)


def test_voids_are_hatched() -> None:
    holed = terrains.with_hole(terrains.plane(201, 201), 40, 40, 60, 60)
    page = landform_page(surface(holed), {"saddles": everything()["saddles"]}, 300.0)
    assert "void or off the terrain" in texts(page)
    reader = Reader(page)
    inside = reader.window(20 * 70, SIDE - 20 * 70, 70)
    washed = to_hex(mixed(UNKNOWN_GROUND.fill, UNKNOWN_GROUND.strength))
    assert near(inside, washed, 3).mean() > 0.6
    assert 0.05 < near(inside, palette.INK, 40).mean() < 0.3
    assert not near(reader.window(3000, 1000, 70), washed, 3).any()


def test_frames_in_another_system_are_brought_in(tmp_path: Path) -> None:
    frames = {layer: everything()[layer] for layer in ("tops", "spurs")}
    far = {layer: rows.to_crs("EPSG:4326") for layer, rows in frames.items()}
    pictures = []
    for name, given in (("one", frames), ("two", far)):
        path = draw_landforms(surface(), given, tmp_path / name)[0]
        with Image.open(path) as picture:
            pictures.append(np.asarray(picture.convert("RGB")).astype(int))
    assert (np.abs(pictures[0] - pictures[1]).max(axis=-1) > 40).mean() < 1e-4


def test_same_bytes_again_whatever_the_users_settings(tmp_path: Path) -> None:
    before = dict(matplotlib.rcParams)
    first = [path.read_bytes() for path in draw_landforms(surface(), everything(), tmp_path / "one")]
    assert dict(matplotlib.rcParams) == before
    odd = {
        "font.size": 30, "lines.linewidth": 9, "lines.markersize": 40, "lines.dash_joinstyle": "miter",
        "axes.facecolor": "black", "savefig.dpi": 33, "image.origin": "lower", "path.simplify": False,
        "patch.linewidth": 7, "lines.solid_capstyle": "butt", "contour.linewidth": 5,
    }  # fmt: skip
    with matplotlib.rc_context(odd):
        second = [path.read_bytes() for path in draw_landforms(surface(), everything(), tmp_path / "two")]
    assert len(first) == 2 and first == second


def test_no_landforms_no_pages(tmp_path: Path) -> None:
    none = {layer: rows.iloc[:0] for layer, rows in everything().items()}
    assert draw_landforms(surface(), none, tmp_path / "new") == []
    assert list((tmp_path / "new").iterdir()) == []


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(OutputError, match="folder cannot be made"):
        draw_landforms(surface(), everything(), tmp_path / "file" / "pictures")
