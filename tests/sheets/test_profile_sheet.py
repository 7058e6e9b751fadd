"""The drawing of a section: honest scales, readable names, the same bytes again, SVG and PNG alike."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import matplotlib
import numpy as np
import pytest
import shapely
from lxml import etree
from matplotlib.colors import to_rgb
from PIL import Image

from hillsight.errors import OutputError
from hillsight.reading.section.features import features_along
from hillsight.sheets.paper import palette
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.section.section_scale import lay_scale
from hillsight.sheets.section.section_sheet import draw_profile, save_profile
from sections import features_of, section_of
from terrains import fractal, plane, with_hole


def busy_section(seed: int = 3, *, hole: bool = False):
    """A section over rough ground with sixty features along it."""
    ground = fractal(120, 160, seed=seed, relief_m=180)
    if hole:
        ground = with_hole(ground, 55, 70, 12, 12)
    section = section_of(ground, (100.3, 5.2), (20.7, 150.4), target_m=4.0, drop_per_m=6.8e-8)
    course = section.course
    shapes = []
    for i in range(60):
        x, y = section.place(section.length_grid_m * (i + 0.5) / 60)
        shape = (shapely.Point(x, y + 7), shapely.LineString([(x, y - 30), (x, y + 30)]),
                 shapely.box(x - 20, y - 20, x + 20, y + 20))[i % 3]  # fmt: skip
        shapes.append((f"Made Name {i}" if i % 4 else None, np.nan, shape))
    assert course.target is not None
    return section, features_along(section, features_of(*shapes), 20.0)


@pytest.fixture(scope="module")
def busy():
    section, along = busy_section()
    return section, along, draw_profile(section, along, "made.tif")


def texts(page) -> str:
    return " ".join(text for text, _ in page.texts)


def assert_texts_keep_apart(page) -> None:
    sheet = Box(0, 0, page.width, page.height)
    for text, box in page.texts:
        assert box.within(sheet), text
    for (a, box_a), (b, box_b) in itertools.combinations(page.texts, 2):
        # Boxes are a whole line high; lines of one paragraph may touch.
        assert not box_a.overlaps(box_b, -1.5), (a, b)


def test_no_text_overlaps_another_or_leaves_the_page(busy):
    assert len(busy[2].texts) > 30
    assert_texts_keep_apart(busy[2])
    for seed in (4, 5, 6):
        assert_texts_keep_apart(draw_profile(*busy_section(seed, hole=True), "made.tif"))


def test_what_was_asked_for_is_said(busy):
    section, _, page = busy
    said = texts(page)
    assert "From A to Cairn" in said
    assert "Vertical exaggeration" in said and "height, m" in said and "over the ground, m" in said
    assert "lowered for curvature and refraction" in said and "Check on the ground" in said
    assert "Terrain made.tif, posts 10 m apart" in said and "grid; eye at" in said
    for crest in section.crests[:1]:
        assert f"{crest.role} {section.samples.distance_m[crest.sample]:.0f} m" in said
    assert "a flat earth" in texts(draw_profile(section_of(plane(1, 60), (0, 0), (0, 59)), (), "made.tif"))


def printed_scales(page) -> tuple[float, float]:
    """Pixels a metre across and up, as a reader takes them from the printed figures of the axes."""
    height = next(box for text, box in page.texts if text == "height, m")
    figures = [(text, box) for text, box in page.texts if re.fullmatch(r"[−\d,.]+", text)]
    ups = [
        (float(t.replace("−", "-")), (b.bottom + b.top) / 2)
        for t, b in figures
        if b.right <= height.right + 2
    ]
    across = [
        (float(t.replace(",", "")), (b.left + b.right) / 2) for t, b in figures if b.right > height.right + 2
    ]
    (low, y0), (high, y1) = min(ups), max(ups)
    (near, x0), (far, x1) = min(across), max(across)
    unit_m = 1000 if any(text.endswith("over the ground, km") for text, _ in page.texts) else 1
    return (x1 - x0) / (far - near) / unit_m, (y1 - y0) / (high - low)


@pytest.mark.slow
@pytest.mark.parametrize("asked", [None, 1.0, 2.5, 7.0, 40.0])
def test_the_exaggeration_stated_is_the_one_drawn(asked):
    section, along = busy_section()
    page = draw_profile(section, along, "made.tif", exaggeration=asked)
    said = texts(page)
    assert_texts_keep_apart(page)
    if asked == 1.0:
        stated = 1.0
        assert "without exaggeration" in said
    else:
        stated = float(re.search(r"Vertical exaggeration ([\d.]+):", said)[1])
        assert asked in (None, stated)
    across, up = printed_scales(page)
    assert up / across == pytest.approx(stated, rel=0.01)
    # The fraction on A4: 25.4 mm an inch, 150 pixels an inch.
    fraction = float(re.search(r"about 1:([\d,]+) across", said)[1].replace(",", ""))
    assert fraction == pytest.approx(1000 * across**-1 / (25.4 / 150), rel=0.06)


def test_heights_always_fit():
    room = Box(100, 300, 1500, 900)
    for relief_m, length, asked in (
        (1, 400, None),
        (3000, 100, None),
        (3000, 100, 5.0),
        (0, 50, None),
        (40, 9, 100),
    ):
        ground = plane(1, length + 1, height_m=0.0)
        ground[0, length // 2] = relief_m
        section = section_of(ground, (0, 0), (0, length))
        scale = lay_scale(section, room, asked)
        assert scale.up(float(section.samples.lowered_m.min())) >= room.bottom
        assert scale.up(max(section.eye.level_m, float(relief_m))) <= room.top
        assert scale.across(section.length_grid_m) <= room.right + 1e-6
        assert asked in (None, scale.exaggeration)
        assert scale.exaggeration <= 10 or asked


def near(pixels, colour) -> np.ndarray:
    wanted = np.rint(np.array(to_rgb(colour)) * 255)
    return np.abs(pixels.astype(int) - wanted).max(axis=-1) <= 1


def test_ground_and_bar_are_where_the_figures_say():
    ground = plane(1, 201, height_m=100.0)
    ground[0, 60] = 140.0
    section = section_of(ground, (0, 0), (0, 200), eye_m=60.0)
    pixels = draw_profile(section, (), "made.tif").pixels()
    straw, blue = near(pixels, palette.VISIBLE), near(pixels, palette.HIDDEN)
    row = int(np.argmax((straw | blue).sum(axis=1)))  # the bar under the section
    shares = straw[row].sum() / (straw[row].sum() + blue[row].sum())
    seen_m = sum(s.to_grid_m - s.from_grid_m for s in section.stretches if s.state == "visible")
    assert shares == pytest.approx(seen_m / section.length_grid_m, abs=0.01)
    assert 0.2 < shares < 0.8
    # The wall: the highest column of ground stands at 600 m of 2,000.
    land = near(pixels, palette.LAND)
    columns = np.flatnonzero(land.any(axis=0))
    tops = np.array([np.argmax(land[:, c]) for c in columns])
    at = (columns[np.argmin(tops)] - columns[0]) / (columns[-1] - columns[0])
    assert at == pytest.approx(0.3, abs=0.01)
    assert land[row - 30].sum() > 0.9 * (columns[-1] - columns[0]), "ground is filled down to the frame"


def test_same_bytes_again_whatever_the_users_settings(busy, tmp_path: Path):
    section, along, _ = busy
    before = dict(matplotlib.rcParams)

    def draw(name: str) -> list[bytes]:
        page = draw_profile(section, along, "made.tif")
        return [save_profile(page, tmp_path / f"{name}.{end}").read_bytes() for end in ("svg", "png", "SVG")]

    first = draw("one")
    assert dict(matplotlib.rcParams) == before
    odd = {
        "font.size": 30,
        "font.family": "serif",
        "lines.linewidth": 9,
        "axes.facecolor": "black",
        "savefig.bbox": "tight",
        "savefig.dpi": 33,
        "hatch.linewidth": 4,
        "hatch.color": "red",
        "svg.fonttype": "none",
        "lines.markersize": 40,
    }
    with matplotlib.rc_context(odd):
        assert draw("two") == first
    assert first[0] == first[2]


def test_svg_and_png_have_the_size_of_a4(busy, tmp_path: Path):
    page = busy[2]
    root = etree.parse(save_profile(page, tmp_path / "a.svg")).getroot()
    # A4 is 297 x 210 mm (ISO 216), 72 points an inch.
    assert float(root.get("width").removesuffix("pt")) == pytest.approx(297 / 25.4 * 72, abs=0.5)
    assert float(root.get("height").removesuffix("pt")) == pytest.approx(210 / 25.4 * 72, abs=0.5)
    assert not root.findall(".//{http://www.w3.org/2000/svg}image"), "all of it is drawn, nothing is pixels"
    assert len(root.findall(".//{http://www.w3.org/2000/svg}path")) > 100
    with Image.open(save_profile(page, tmp_path / "a.png")) as image:
        assert image.size == (1754, 1240)
    with pytest.raises(OutputError, match="folder does not exist"):
        save_profile(page, tmp_path / "no" / "a.svg")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.png", "a.svg"]


def test_hostile_names_are_drawn_as_letters():
    section, _ = busy_section()
    x, y = section.place(500.0)
    names = ('$\\frac{a}{b}$ <svg> & "q"\n\t', "🏔️" * 40, "x" * 300)
    features = features_of(*((name, np.nan, shapely.Point(x + 90 * i, y)) for i, name in enumerate(names)))
    page = draw_profile(section, features_along(section, features, 500.0), "a\nb$c$.tif")
    assert_texts_keep_apart(page)
    assert any("$\\frac{a}{b}$ <svg>" in text for text, _ in page.texts)
