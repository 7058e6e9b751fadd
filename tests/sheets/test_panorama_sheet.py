"""The drawing of a view: nothing overlaps, what it says is so, text stays text, the same bytes again."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
from lxml import etree
from PIL import Image

from drawn import busy_view
from hillsight.plan.picture.camera import Camera, Lens
from hillsight.reading.drawn.landmarks import landmarks
from hillsight.sheets.panorama.key import height_words, lay_key
from hillsight.sheets.panorama.numbers import NumberPlacer
from hillsight.sheets.panorama.panorama_sheet import Drawn, Place, draw_bare, draw_camera_view, draw_panorama
from hillsight.sheets.panorama.picture import Ground, North, Picture
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.page import Page
from hillsight.sheets.paper.saving import save_page
from hillsight.sight.cylinder import Cylinder

PLACE = Place("Made Station", "a made grid", -2.0, 52.6, "made.tif", "all round")
TRUE = North("true", 0.0)
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def view():
    return busy_view()


@pytest.fixture(scope="module")
def drawn(view) -> Drawn:
    return draw_panorama(view, PLACE, TRUE)


def said(page) -> str:
    return " ".join(text for text, _ in page.texts)


def assert_texts_keep_apart(page) -> None:
    sheet = Box(0, 0, page.width, page.height)
    for text, box in page.texts:
        assert box.within(sheet), (text, box)
    for (a, box_a), (b, box_b) in itertools.combinations(page.texts, 2):
        # Boxes are a whole line high; lines of one paragraph may touch.
        assert not box_a.overlaps(box_b, -1.5), (a, b)


def assert_drawn_texts_keep_apart(page) -> None:
    """As the renderer has them: the boxes of the letters themselves."""
    page.figure.canvas.draw()
    boxes = [
        (text.get_text(), text.get_window_extent())
        for text in page.sheet.texts
        if text.get_text().strip() and not text.get_path_effects()
    ]
    assert len(boxes) > 30
    for (a, box_a), (b, box_b) in itertools.combinations(boxes, 2):
        shared = min(box_a.x1, box_b.x1) - max(box_a.x0, box_b.x0)
        high = min(box_a.y1, box_b.y1) - max(box_a.y0, box_b.y0)
        assert shared < 0.5 or high < 0.5, (a, b)


def test_no_text_overlaps_another_or_leaves_the_page(drawn) -> None:
    assert_texts_keep_apart(drawn.page)
    assert_drawn_texts_keep_apart(drawn.page)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [11, 12])
def test_none_does_on_other_ground_and_paper(seed: int) -> None:
    view = busy_view(seed, 40.0 * seed, 95.0, 0.2)
    for paper in ("A4", "A3"):
        page = draw_panorama(view, PLACE, North("grid", 0.0), paper=paper).page
        assert_texts_keep_apart(page)
        assert_drawn_texts_keep_apart(page)


def test_every_number_of_the_key_stands_on_a_picture_once(drawn) -> None:
    numbers = [str(one.number) for one in drawn.landmarks if one.number]
    assert len(numbers) > 10
    # The key lies below the last picture's scale of bearings.
    lowest = drawn.page.height - max(y + projection.height_px for projection, _, y in drawn.pictures) - 30
    on_pictures: list[str] = []
    in_key: list[str] = []
    for text, box in drawn.page.texts:
        if re.fullmatch(r"\d+(, \d+)*", text):
            (on_pictures if box.bottom > lowest else in_key).extend(text.split(", "))
    scale = {f"{n:03d}" for n in range(360)}
    assert in_key == numbers
    assert sorted(number for number in on_pictures if number not in scale) == sorted(numbers)


def test_a_number_stands_over_its_landmark(view, drawn) -> None:
    numbers = re.compile(r"\d{1,2}(, \d+)*")
    boxes = [(text.split(", "), box) for text, box in drawn.page.texts if numbers.fullmatch(text)]
    checked = 0
    for one in drawn.landmarks:
        if not one.number:
            continue
        for projection, left, top in drawn.pictures:
            x, y = projection.pixels(one.bearing_grid_deg, one.angle_deg)
            if 0 <= x <= projection.width_px and 0 <= y <= projection.height_px:
                at = left + float(x), drawn.page.height - top - float(y)
                box = next(box for text, box in boxes if str(one.number) in text and box.bottom > 400)
                assert abs((box.left + box.right) / 2 - at[0]) < 60
                checked += 1
    assert checked > 10


@pytest.mark.slow
def test_what_is_said_is_what_is_drawn(view, drawn) -> None:
    words = said(drawn.page)
    assert "The view from Made Station" in words
    for one in drawn.landmarks:
        if one.number:
            assert height_words(one.above_eye_m) in words
            assert f"{one.bearing_true_deg:05.1f}°" in words
    exaggeration = drawn.pictures[0][0].exaggeration
    assert f"Vertical exaggeration {exaggeration:g}:" in words or exaggeration == pytest.approx(1)
    assert "Check on the ground" in words and "Terrain made.tif, posts 10 m apart" in words
    assert "true" in words
    twice = draw_panorama(view, PLACE, TRUE, exaggeration=2.0)
    assert twice.pictures[0][0].exaggeration == pytest.approx(2.0)
    assert "Vertical exaggeration 2: vertical angles are drawn 2 times" in said(twice.page)
    assert "no exaggeration" in said(draw_panorama(view, PLACE, TRUE, exaggeration=1.0).page)


def test_the_scale_counts_from_the_north_that_is_asked_for(view) -> None:
    # Magnetic north 5 degrees east of grid north: grid 90 is magnetic 85.
    page = draw_panorama(view, PLACE, North("magnetic", 5.0)).page
    true = draw_panorama(view, PLACE, TRUE).page
    assert "magnetic" in said(page)

    def place_of(sheet, figure: str) -> float:
        (box,) = [box for text, box in sheet.texts if text.split()[0] == figure and box.bottom > 300][:1]
        return (box.left + box.right) / 2

    projection, left, _ = draw_panorama(view, PLACE, TRUE).pictures[0]
    assert place_of(true, "090") == pytest.approx(left + float(projection.pixels(90.0, 0.0)[0]), abs=0.6)
    assert place_of(page, "090") == pytest.approx(left + float(projection.pixels(95.0, 0.0)[0]), abs=0.6)


def test_an_svg_keeps_its_text_and_a_pdf_is_one(drawn, tmp_path) -> None:
    svg = save_page(drawn.page, tmp_path / "view.svg")
    root = etree.parse(str(svg)).getroot()
    # Else a reader of SVG 1.1 draws several spaces as one (section 10.15, from memory).
    kept = {node.get("{http://www.w3.org/XML/1998/namespace}space") for node in root.iter(f"{SVG}text")}
    assert kept == {"preserve"}
    found = ["".join(node.itertext()) for node in root.iter(f"{SVG}text")]
    for text, _ in drawn.page.texts:
        assert text in found, text
    # ISO 32000: a file starts with %PDF- and ends with %%EOF.
    pdf = save_page(drawn.page, tmp_path / "view.pdf").read_bytes()
    assert pdf.startswith(b"%PDF-") and pdf.rstrip().endswith(b"%%EOF")
    png = save_page(drawn.page, tmp_path / "view.png")
    assert Image.open(png).size == (drawn.page.width, drawn.page.height)


@pytest.mark.slow
def test_the_same_view_gives_the_same_bytes(view, tmp_path) -> None:
    for kind in ("png", "svg", "pdf"):
        pages = [draw_panorama(view, PLACE, TRUE).page for _ in range(2)]
        first, second = (save_page(page, tmp_path / f"a.{kind}").read_bytes() for page in pages)
        assert first == second, kind


def test_a_camera_view_keeps_its_picture_s_proportions(view) -> None:
    camera = Camera(Lens.of_width(3000, 2000, 60.0), 120.0, -3.0, 4.0)
    drawn = draw_camera_view(view, PLACE, TRUE, camera)
    assert_texts_keep_apart(drawn.page)
    assert drawn.pictures[0][0] is camera
    frames = [patch for patch in drawn.page.sheet.patches if patch.get_width() > 500]
    assert frames[0].get_width() / frames[0].get_height() == pytest.approx(1.5, rel=0.005)
    assert "3000 x 2000" in said(drawn.page)
    assert all(one.is_on(camera) for one in drawn.landmarks)


def test_a_bare_view_has_the_size_of_the_picture_and_its_skyline_where_the_camera_puts_it(view) -> None:
    camera = Camera(Lens.of_width(900, 600, 50.0), 200.0, 2.0, -6.0)
    page = draw_bare(view, camera).page
    assert page.texts == []
    pixels = page.pixels().astype(int)
    assert pixels.shape == (600, 900, 3)
    dark = pixels.sum(axis=2) < 250
    fan = view.fan
    x, y = camera.pixels(fan.bearing_grid_deg, fan.sky_deg)
    on_it = (x > 5) & (x < 895) & (y > 5) & (y < 595) & fan.sky_is_ground
    assert on_it.sum() > 30
    places = zip(x[on_it].astype(int), y[on_it].astype(int), strict=True)
    near = [dark[v - 3 : v + 4, u - 3 : u + 4].any() for u, v in places]
    assert np.mean(near) > 0.97


@pytest.mark.slow
def test_a_relief_lies_under_the_same_lines(view) -> None:
    drawn = draw_panorama(view, PLACE, TRUE, ground=Ground(relief=True))
    assert_texts_keep_apart(drawn.page)
    assert "half of the contrast" in said(drawn.page)
    assert not any("equally far off" in text for text, _ in drawn.page.texts)
    plain = draw_panorama(view, PLACE, TRUE)
    assert [p[0] for p in drawn.pictures] == [p[0] for p in plain.pictures]
    cylinder, left, top = drawn.pictures[0]
    bottom = int(top) + cylinder.height_px
    shaded = drawn.page.pixels()[bottom - 120 : bottom - 4, int(left) + 5 : int(left) + 900]
    assert len(np.unique(shaded.reshape(-1, 3), axis=0)) > 1_000


def test_numbers_keep_off_each_other_and_inside() -> None:
    placer = NumberPlacer(Box(0, 0, 300, 200))
    marks = [(150 + 12 * (i % 5), 60 + 3 * i) for i in range(15)]
    for x, y in marks:
        placer.keep_off(x, y, 5)
    found = [placer.place(x, y, 14, 11) for x, y in marks]
    boxes = [one.box for one in found if one is not None]
    assert len(boxes) >= 10
    for a, b in itertools.combinations(boxes, 2):
        assert not a.overlaps(b)
    assert all(box.within(placer.bounds) for box in boxes)
    assert NumberPlacer(Box(0, 0, 10, 10)).place(5, 5, 30, 11) is None


def test_a_view_of_nothing_to_name_is_drawn_too() -> None:
    view = busy_view(3, 10.0, 60.0)
    plain = draw_panorama(
        type(view)(view.lines, view.fan, view.sky, view.crests, None, None, (), None), PLACE, TRUE
    )
    assert landmarks(view, 0) is not None
    assert "bearing" not in {text for text, _ in plain.page.texts}
    assert_texts_keep_apart(plain.page)


def test_ground_that_rises_above_a_picture_is_told_of(view) -> None:
    """A frame laid wholly below the skyline tells of it, one that holds all of it does not."""
    width = 1_200
    across = view.span_deg / width
    lowest = float(np.nanmin(view.fan.sky_deg))
    for top_deg, tells in ((lowest - 1.0, True), (float(np.nanmax(view.fan.sky_deg)) + 1.0, False)):
        page = Page(width + 100, 400)
        cylinder = Cylinder(view.left_grid_deg, width, 300, across, 0.02, top_deg / 0.02)
        picture = Picture(page, Box(50, 50, width + 50, 350), view, cylinder)
        picture.draw_landmarks([])
        highest = float(np.nanmax(view.fan.sky_deg))
        said_of_it = [text for text, _ in page.texts if "above this picture" in text]
        assert said_of_it == ([f"ground rises to {highest:+.0f}°, above this picture"] if tells else [])


def test_the_key_says_which_landmark_is_uncertain_and_how_high_it_stands(view) -> None:
    """The word is that of the states of the bearing list."""
    one = replace(landmarks(view, 5)[0], number=1, name="Knoll", state="uncertain", above_eye_m=-12.4)
    key = lay_key(Page(1_000, 400), [one], TRUE, 0.0, 900.0)
    assert key.cells[0][1] == "Knoll (uncertain)"
    assert key.cells[0][4] == "12 m below"
