"""Map sheets from the command's function: exact on paper, divided, told of, refused."""

from __future__ import annotations

import itertools
import json
import re
from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from PIL import Image
from pyproj import CRS, Geod, Transformer

import terrains
from hillsight import outlook, sheet
from hillsight.errors import HillsightError
from hillsight.sheets.map.layout import PAPERS, divide, layout_of
from hillsight.sheets.paper.labels import Box
from pdf_paths import pages, streams

UTM = CRS.from_epsg(32632)
WEST, NORTH, SIDE, SPACING = 800_000.0, 5_212_000.0, 12_000.0, 40.0
MIDDLE = (806_000.0, 5_206_000.0)


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """12 by 12 km of hills, 300 km east of the zone's middle, where the grid is 0.7 per mille too long."""
    count = int(SIDE / SPACING) + 1
    heights = terrains.fractal(count, count, seed=4, relief_m=600.0, lowest_m=200.0)
    path = tmp_path_factory.mktemp("sheet") / "ground.tif"
    terrains.write_geotiff(path, heights, crs="EPSG:32632", west=WEST, north=NORTH, spacing=SPACING)
    return path


def on_ellipsoid_m(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Length of a geodesic, by PROJ (pyproj.Geod, after Karney 2013)."""
    degrees = Transformer.from_crs(UTM, 4326, always_xy=True)
    (x0, y0), (x1, y1) = degrees.transform(*a), degrees.transform(*b)
    return Geod(ellps="WGS84").inv(x0, y0, x1, y1)[2]


def long_lines(paths: list[np.ndarray], axis: int) -> list[float]:
    """Places, mm, of straight lines that run across a whole map: upright ones for axis 0."""
    other = 1 - axis
    return sorted(
        {
            round(float(p[0, axis]), 5)
            for p in paths
            if len(p) == 2 and p[0, axis] == p[1, axis] and abs(p[1, other] - p[0, other]) > 101
        }
    )


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "A3"])
@pytest.mark.parametrize("scale", [10_000, 25_000, 40_000, 50_000])
def test_a_hundred_millimetres_are_right_to_a_fiftieth(
    ground: Path, tmp_path: Path, paper: str, scale: int
) -> None:
    out = tmp_path / "sheet.pdf"
    found = sheet(ground, at=(MIDDLE,), scale=scale, paper=paper, show=("grid",), date="2026-06-01", out=out)
    assert len(found.sheets) == 1
    (paths,) = pages(out)
    step = 500.0 if scale <= 12_500 else 1_000.0
    for axis in (0, 1):
        lines = long_lines(paths, axis)
        assert len(lines) >= 2
        count = len(lines) - 1
        ends = [np.array(MIDDLE), np.array(MIDDLE)]
        ends[0][axis] -= count * step / 2
        ends[1][axis] += count * step / 2
        true_mm = on_ellipsoid_m(tuple(ends[0]), tuple(ends[1])) * 1000 / scale
        printed_mm = lines[-1] - lines[0]
        assert abs(printed_mm - true_mm) * 100 / true_mm < 0.02
    # The check bar, and the edges of the paper.
    bars = [p for p in paths if len(p) == 2 and abs(p[1, 0] - p[0, 0] - 100.0) < 0.02 and p[0, 1] == p[1, 1]]
    assert bars
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", out.read_bytes())
    assert box is not None
    size_mm = sorted(float(side) * 25.4 / 72 for side in box.groups())
    assert size_mm == pytest.approx(PAPERS[paper], abs=0.01)


def test_the_pdf_has_its_fonts_and_its_text(ground: Path, tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    sheet(ground, at=((*MIDDLE, "Stone Man"),), title="Hills", date="2026-06-01", out=out)
    raw = out.read_bytes()
    assert b"/FontFile2" in raw  # an embedded TrueType font: ISO 32000-1, 9.9, from memory
    assert b"/Subtype /Type0" in raw or b"/Subtype /TrueType" in raw
    assert b"/Type3" not in raw
    assert b"/ToUnicode" in raw  # so that text can be searched: ISO 32000-1, 9.10.3, from memory
    told = re.search(rb"/Title \((\w+)\)", raw)
    assert told is not None and told.group(1) == b"Hills"
    assert b"sha256" in raw or "sha256".encode("utf-16-be") in raw


def test_the_svg_can_be_gone_on_with(ground: Path, tmp_path: Path) -> None:
    from xml.etree import ElementTree

    out = tmp_path / "sheet.svg"
    sheet(ground, at=((*MIDDLE, "Stone Man"),), date="2026-06-01", credit=("Made here",), out=out)
    root = ElementTree.fromstring(out.read_text(encoding="utf-8"))
    space = "{http://www.w3.org/2000/svg}"
    assert {"contours", "index_contours", "grid", "places"} <= {g.get("id") for g in root.iter(f"{space}g")}
    texts = " ".join("".join(text.itertext()) for text in root.iter(f"{space}text"))
    assert "Stone Man" in texts
    assert "Made here." in texts
    assert root.get("width") == f"{210 / 25.4 * 72:.6f}".rstrip("0") + "pt" or root.get(
        "width", ""
    ).startswith("595.27")


def test_the_png_says_what_it_was_made_from(ground: Path, tmp_path: Path) -> None:
    out = tmp_path / "sheet.png"
    sheet(ground, at=(MIDDLE,), scale=50_000, date="2026-06-01", out=out)
    with Image.open(out) as picture:
        told = json.loads(picture.text["Description"])
    assert told["script"] == "sheet"
    assert told["parameters"]["scale"] == 50_000
    assert told["inputs"][0]["name"] == "ground.tif"


def test_an_area_too_large_becomes_numbered_sheets_with_an_index(ground: Path, tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    found = sheet(ground, overlap=20, date="2026-06-01", show=("grid", "places"), out=out)
    assert len(pages(out)) == len(found.sheets) + 1 > 4
    covered = shapely.union_all([shapely.box(*edges) for edges in found.sheets])
    assert covered.contains(shapely.box(WEST, NORTH - SIDE, WEST + SIDE, NORTH))
    first, second = (shapely.box(*edges) for edges in found.sheets[:2])
    shared = first.intersection(second).bounds
    assert (shared[2] - shared[0]) / 25 / found.grid_scale_factor >= 20.0
    assert covered.bounds == pytest.approx((WEST, NORTH - SIDE, WEST + SIDE, NORTH))


def test_several_pictures_are_numbered_files(ground: Path, tmp_path: Path) -> None:
    found = sheet(ground, scale=50_000, date="2026-06-01", show=("grid",), out=tmp_path / "a.svg")
    names = [place.name for place in found.files["out"]]
    assert names == ["a_index.svg", *(f"a_{n + 1}.svg" for n in range(len(found.sheets)))]
    assert all((tmp_path / name).exists() for name in names)


def test_an_extent_cuts_the_map(ground: Path, tmp_path: Path) -> None:
    edges = (805_000.0, 5_205_000.0, 807_500.0, 5_206_500.0)
    found = sheet(ground, extent=edges, date="2026-06-01", show=("grid",), out=tmp_path / "a.pdf")
    assert found.sheets == (edges,)
    (paths,) = pages(tmp_path / "a.pdf")
    true_mm = on_ellipsoid_m((805_000.0, 5_205_750.0), (807_500.0, 5_205_750.0)) / 25
    frames = [p for p in paths if len(p) >= 4 and abs(np.ptp(p[:, 0]) - true_mm) < 0.02]
    assert frames
    degrees = Transformer.from_crs(UTM, 4326, always_xy=True).transform_bounds(*edges)
    again = sheet(
        ground,
        extent=degrees,
        extent_crs="EPSG:4326",
        show=("grid",),
        date="2026-06-01",
        out=tmp_path / "b.pdf",
    )
    assert shapely.box(*again.sheets[0]).contains(shapely.box(*edges))


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"scale": 100}, r"1:100 is not drawn.*10000 to 50000"),
        ({"paper": "B5"}, r"no paper 'B5'.*A4, A3"),
        ({"orientation": "upside down"}, "portrait, landscape"),
        ({"one_sheet": True}, r"do not fit one sheet of A4 at 1:25,000.*fits at 1:\d\d,000 on A3"),
        ({"extent": "1,2,3,4"}, "is not on the terrain, which spans E 800000"),
        ({"extent": "5,2,3,4"}, "is no area"),
        ({"extent": "802000,5202000,802010,5202010"}, "10 by 10 m is a speck at 1:25,000.*251 m across"),
        ({"extent": "0,0,1e9,1e9"}, r"takes \d[\d,]+ sheets, and no more than 200"),
        ({"extent": (1, 2, 3)}, "which is no area"),
        ({"extent_crs": "EPSG:4326"}, "no extent"),
        ({"inset": 30_000, "at": (MIDDLE,)}, "shows no more than a map"),
        ({"inset": 5_000}, "no place to draw an inset about"),
        ({"contour_interval": -5}, "contours every -5 m"),
        ({"overlap": 500}, "cannot overlap"),
        ({"show": ("trees",)}, "no 'trees' to show.*hillshade, contours"),
        ({"hide": ("hillshade", "contours", "grid", "features", "places", "names")}, "nothing is left"),
        ({"layers": ("nothing.gpkg",)}, "no such file"),
        ({"station": "A"}, "no layers are given"),
        ({"out": "a.jpg"}, "must end in .pdf, .svg or .png"),
        ({"date": "1990-01-01", "at": (MIDDLE,)}, "magnetic models"),
        ({"at": ((5.0, 5.0),)}, "terrain"),
    ],
)
def test_bad_calls_are_refused(
    ground: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, given: dict[str, object], words: str
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(HillsightError, match=words):
        sheet(ground, **{"out": "a.pdf", **given})  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == []


def test_the_scale_that_is_said_to_fit_does(ground: Path, tmp_path: Path) -> None:
    edges = (802_000.0, 5_202_000.0, 808_500.0, 5_207_000.0)
    given = {"extent": edges, "one_sheet": True, "show": ("grid",), "date": "2026-06-01"}
    with pytest.raises(HillsightError) as refused:
        sheet(ground, **given, out=tmp_path / "a.pdf")  # type: ignore[arg-type]
    told = re.search(r"1:(\d+),000 on A4", str(refused.value))
    assert told is not None
    found = sheet(ground, **given, scale=int(told.group(1)) * 1000, out=tmp_path / "a.pdf")  # type: ignore[arg-type]
    assert found.sheets == (edges,)


def test_five_hundred_names_do_not_overlap_and_those_left_off_are_told(ground: Path, tmp_path: Path) -> None:
    random = np.random.default_rng(8)
    spots = np.array(MIDDLE) + random.uniform(-2_000, 2_000, (500, 2))
    features = geopandas.GeoDataFrame(
        {"name": [f"Long Name of Hill {n}" for n in range(500)], "kind": ["hill"] * 500},
        geometry=shapely.points(spots),
        crs=UTM,
    )
    found = sheet(
        ground,
        at=(MIDDLE,),
        features=features,
        hide=("hillshade",),
        date="2026-06-01",
        out=tmp_path / "a.pdf",
    )
    (told,) = [note for note in found.notes if "left off" in note]
    assert 100 < int(told.split()[0]) < 500


def test_texts_of_a_sheet_do_not_overlap(ground: Path) -> None:
    from itertools import combinations

    from hillsight.ground.terrain import open_terrain
    from hillsight.ground.terrain_options import TerrainOptions
    from hillsight.sheets.map.content import MapContent, MapPlace
    from hillsight.sheets.map.layout import Sheet
    from hillsight.sheets.map.margin import North
    from hillsight.sheets.map.sheet_page import SheetStyle, draw_sheet

    terrain = open_terrain(str(ground), TerrainOptions()).on_metric_grid(13.0, 46.9)
    surface = terrain.window(*MIDDLE, 4_000.0)
    random = np.random.default_rng(8)
    spots = np.array(MIDDLE) + random.uniform(-2_000, 2_000, (300, 2))
    features = geopandas.GeoDataFrame(
        {"name": [f"Hill {n}" for n in range(300)], "kind": "hill", "evidence_class": "ground_shape"},
        geometry=shapely.points(spots),
        crs=terrain.crs,
    )
    for orientation in ("portrait", "landscape"):
        layout = layout_of("A4", orientation)
        style = SheetStyle(
            "A map of hills", layout, 25_000, 1.0, 20.0, 1_000.0, None, North(2.0, 3.5, 0.4, "2026-06-01"),
            "UTM zone 32", "Credits of the data, told in a sentence. " * 3, 5_000.0, ("A remark on it.",),
        )  # fmt: skip
        half = layout.room.width * 25 / 2, layout.room.height * 25 / 2
        limits = Box(MIDDLE[0] - half[0], MIDDLE[1] - half[1], MIDDLE[0] + half[0], MIDDLE[1] + half[1])
        content = MapContent(surface, features, places=(MapPlace(*MIDDLE, "Stone Man"),))
        page, _ = draw_sheet(content, style, Sheet(1, 0, 0, limits), [Sheet(1, 0, 0, limits)])
        assert len(page.texts) > 100
        for (one, box), (other, beside) in combinations(page.texts, 2):
            assert not box.overlaps(beside, -1.0), (one, other)
        for text, box in page.texts:
            assert box.left > 0 and box.right < page.width and box.bottom > 0 and box.top < page.height, text


def test_letters_that_no_font_has_are_told(ground: Path, tmp_path: Path) -> None:
    found = sheet(
        ground, at=((*MIDDLE, "山 Hill"),), show=("places",), date="2026-06-01", out=tmp_path / "a.pdf"
    )
    assert "the font lacks '山' of '山 Hill': □ stands for them" in found.notes


def test_sheets_of_an_area_cover_it_and_overlap_alike() -> None:
    sheets = divide(Box(0, 0, 25_000, 9_000), 10_000, 10_000, 1_000)
    assert [s.number for s in sheets] == [1, 2, 3]
    overlaps = [a.limits.right - b.limits.left for a, b in itertools.pairwise(sheets)]
    assert overlaps == pytest.approx([2_500, 2_500])
    assert (sheets[0].limits.left, sheets[-1].limits.right) == (0, 25_000)
    assert divide(Box(0, 0, 10_000, 10_000), 10_000, 10_000, 1_000)[0].limits == Box(0, 0, 10_000, 10_000)


def test_all_sheets_have_the_interval_of_the_steepest_and_say_so(tmp_path: Path) -> None:
    x = np.arange(601) * 10.0
    steep = np.where(x > 4_500, 0.9 * (x - 4_500), 0.0) + 0.05 * x  # 42 degrees in the east
    heights = np.broadcast_to(steep, (301, 601)).astype(np.float32)
    place = tmp_path / "ground.tif"
    terrains.write_geotiff(place, heights, crs="EPSG:32632", west=WEST, north=NORTH, spacing=10.0)
    call = {"date": "2026-06-01", "show": ("contours",)}
    found = sheet(place, out=tmp_path / "a.svg", orientation="portrait", **call)
    assert len(found.sheets) == 2
    # 0.45 mm apart at 1:25,000 on a slope of 0.95: every 10.7 m or more, so 20 m.
    assert found.interval_m == 20.0
    (told,) = [note for note in found.notes if "steepest" in note]
    assert told.startswith("all sheets have contours every 20 m, as the steepest (2) needs")
    for number in (1, 2):
        drawn = (tmp_path / f"a_{number}.svg").read_text()
        assert "steepest (2)" in " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", drawn))
    west = (WEST, NORTH - 3_000.0, WEST + 4_000.0, NORTH)
    assert sheet(place, extent=west, out=tmp_path / "w.svg", **call).interval_m == 5.0


def test_contours_reach_the_paper_with_all_their_corners(ground: Path, tmp_path: Path) -> None:
    out = tmp_path / "a.pdf"
    edges = (805_000.0, 5_205_000.0, 806_000.0, 5_206_000.0)
    sheet(ground, extent=edges, show=("contours",), contour_interval=50, date="2026-06-01", out=out)
    assert any(b" l" in content for content in streams(out))
    (paths,) = pages(out)
    assert max(len(p) for p in paths) > 20


def test_the_layers_of_one_station_are_mapped_about_it(ground: Path, tmp_path: Path) -> None:
    places = ((MIDDLE[0] - 2_500.0, MIDDLE[1], "West"), (MIDDLE[0] + 2_500.0, MIDDLE[1], "East"))
    outlook(ground, at=places, reach=4_000.0, out=tmp_path / "seen.gpkg")
    found = sheet(
        ground,
        layers=(tmp_path / "seen.gpkg",),
        station="East",
        show=("dead_ground",),
        out=tmp_path / "e.svg",
    )
    ((west, south, east, north),) = found.sheets
    assert ((west + east) / 2, (south + north) / 2) == pytest.approx(places[1][:2], abs=SPACING)
    drawn = (tmp_path / "e.svg").read_text()
    assert "Map about East" in drawn
    assert "in view, or beyond the reach" in drawn


def test_layers_with_nothing_in_them_are_told(ground: Path, tmp_path: Path) -> None:
    nothing = geopandas.GeoDataFrame({"name": []}, geometry=[], crs=UTM)
    nothing.to_file(tmp_path / "nothing.gpkg", layer="gates")
    found = sheet(
        ground, at=(MIDDLE,), layers=(tmp_path / "nothing.gpkg",), show=("grid",), out=tmp_path / "n.svg"
    )
    assert any("nothing in the layer gates" in note for note in found.notes)


def test_a_long_name_stays_in_the_insets_strip(
    ground: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from hillsight.sheets.map import sheet_page
    from hillsight.sheets.paper.page import Page

    wide, insets = dict[str, float](), list[float]()
    text, draw = Page.text, sheet_page._draw_inset

    def noted(self: Page, x: float, y: float, words: str, *given: object, **style: object) -> Box:
        box = text(self, x, y, words, *given, **style)
        wide[words] = box.width
        return box

    def drawn(inset: object, *given: object) -> int:
        insets.append(inset.place.width)
        return draw(inset, *given)

    monkeypatch.setattr(Page, "text", noted)
    monkeypatch.setattr(sheet_page, "_draw_inset", drawn)
    for name in ("Cairn", "A place of a name that goes on and on " * 6):
        wide.clear()
        at = ((*MIDDLE, name),)
        sheet(ground, at=at, scale=50_000, inset=10_000, one_sheet=True, out=tmp_path / "a.png",
              extent="804000,5204000,808000,5208000")  # fmt: skip
        ((title, width),) = [one for one in wide.items() if one[0].startswith("Near ")]
        assert width < insets[-1]
        assert "1:10,000" in title
        assert name in title or "…" in title
