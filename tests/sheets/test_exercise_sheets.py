"""Printed sheets of an exercise: what gives nothing away, exact scale, one scale of views, booklets."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from hillsight.sheets.exercise.answer_sheet import answer_pages
from hillsight.sheets.exercise.booklet import booklet_pages, numbered
from hillsight.sheets.exercise.question_sheet import FOR_THE_TABLE, question_pages
from hillsight.sheets.map.margin import draw_entries
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import line_entry
from hillsight.sheets.paper.page import PER_MM, Page
from hillsight.sheets.paper.saving import save_page, save_pages
from pdf_paths import paths_in, streams
from sheets.exercise_sheets import SECRETS, sheets


def texts(page: Page) -> str:
    return "\n".join(text for text, _ in page.texts)


def assert_tidy(page: Page) -> None:
    """Nothing written over anything else, nothing off the paper; maps place their own names."""
    for n, (text, box) in enumerate(page.texts):
        assert box.left >= 0 and box.right <= page.width + 1 and box.bottom >= 0, text
        for other, there in page.texts[:n]:
            assert not box.overlaps(there, -2.0), (text, other)


LEGEND = (
    "place", "dead ground", "in view, or beyond the reach", "contour, every 10 m",
    "index contour, every 50 m", "saddle", "top", "building or other work", "cairn or other small work",
    "crag, edge, line of the ground", "river", "stream", "path", "wall", "water",
    "brow: nearest crest, ground beyond", "skyline",
    "where the picture looks", "sight line to what decides", "ground that a reason is about", "knoll",
    "fence, hedge or boundary",
)  # fmt: skip


@pytest.mark.parametrize(("width_mm", "height_mm"), [(112, 27), (112, 20), (90, 20), (75, 90)])
def test_a_long_legend_is_not_written_over_itself(width_mm: int, height_mm: int) -> None:
    page = Page.of_mm(210.0, 297.0)
    place = Box(100.0, 100.0, 100.0 + width_mm * PER_MM, 100.0 + height_mm * PER_MM)
    draw_entries(page, [line_entry(text, linewidth=1.0) for text in LEGEND], place)
    assert len(page.texts) == len(LEGEND)
    for n, (text, box) in enumerate(page.texts):
        assert box.right <= place.right + 1 and box.bottom >= place.bottom - 4, text
        for other, there in page.texts[:n]:
            assert not box.overlaps(there, -2.0), (text, other)


@pytest.fixture(scope="module")
def question() -> list[Page]:
    return question_pages(sheets())


def test_another_true_place_with_the_same_picture_gives_the_same_bytes(
    question: list[Page], tmp_path: Path
) -> None:
    other = question_pages(sheets(truth=2))
    one, two = (save_pages(of, tmp_path / f"{n}.pdf") for n, of in enumerate((question, other)))
    assert one.read_bytes() == two.read_bytes()
    svgs = [save_page(of[1], tmp_path / f"{n}.svg") for n, of in enumerate((question, other))]
    assert svgs[0].read_bytes() == svgs[1].read_bytes()


def test_the_question_tells_neither_names_nor_reasons_nor_where_it_comes_from(
    question: list[Page], tmp_path: Path
) -> None:
    data = sheets()
    written = save_pages(question, tmp_path / "question.pdf").read_bytes()
    svg = "".join(save_page(page, tmp_path / "a.svg").read_text(encoding="utf-8") for page in question)
    said = "\n".join(texts(page) for page in question)
    for secret in (*SECRETS, *(one.words for one in data.reasons), "true)", data.provenance):
        assert secret not in said
        assert secret not in svg
    # PDF 1.7 (ISO 32000-1), 14.3.3: what a file says of itself is in its information dictionary, or in XMP.
    told = re.findall(rb"/(Title|Author|Subject|Keywords|Producer|CreationDate|Metadata)\b", written)
    assert not told
    assert "which of these places" in said
    assert "qualified leaders" in FOR_THE_TABLE
    assert all(FOR_THE_TABLE.split()[0] in texts(page) for page in question)
    for page in question:
        assert_tidy(page)


def test_extracts_print_at_the_scale_of_the_ground(question: list[Page], tmp_path: Path) -> None:
    """A kilometre of the grid is 1000 / 0.9996 m on the ellipsoid there: 40.016 mm at 1:25,000."""
    path = save_pages(question, tmp_path / "question.pdf")
    drawn = [one for one in streams(path) if re.match(rb"[ -~\s]{60}", one) and one.count(b" l\n") > 500]
    lines = [p for p in paths_in(drawn[-1]) if len(p) == 2 and abs(p[0, 0] - p[1, 0]) < 1e-6]
    upright = np.unique(np.round([float(p[0, 0]) for p in lines if abs(p[0, 1] - p[1, 1]) > 60.0], 4))
    apart = np.diff(upright)
    assert np.abs(apart - 40.0 / 0.9996).min() < 0.005
    assert np.abs(apart - 40.0).min() > 0.01


def test_the_answer_tells_the_place_and_what_reasons_are_worth() -> None:
    data = sheets()
    found = answer_pages(data)
    said = "\n".join(texts(page) for page in found)
    assert f"The picture was taken from B, {SECRETS[1]}." in said
    assert "are worth 8." in re.sub(r"\s+", " ", said)
    for words in ("[+6]", "[+2]", "[0]", "[−1]", "m below the eye", "grid", "true"):
        assert words in said
    # Order of trust: the ground before water, before works of man (common practice, no source).
    assert said.index("[+6]") < said.index("[+2]")
    for page in found:
        assert_tidy(page)


def test_views_of_an_answer_have_one_scale() -> None:
    first, *_ = answer_pages(sheets())
    views = [axes for axes in first.figure.axes if str(axes.get_gid()).startswith("view-")]
    widths = {round(axes.get_position().width * first.width / PER_MM, 6) for axes in views}
    assert len(views) == 4, "the picture, and three places"
    assert len(widths) == 1


@pytest.mark.parametrize(("places", "on_each"), [(2, 2), (6, 6), (7, 4)])
def test_many_places_go_on_further_pages(places: int, on_each: int) -> None:
    found = question_pages(sheets(places=places))
    letters = [re.findall(r"^[A-M]$", texts(page), re.M) for page in found[1:]]
    assert max(len(set(page)) for page in letters) <= on_each + 1
    assert {letter for page in letters for letter in page} == set("ABCDEFGHIJKLM"[:places])
    for page in found:
        assert_tidy(page)


def test_a_booklet_has_answers_at_the_back_where_its_cover_says() -> None:
    two = numbered([sheets(), sheets(truth=0)])
    pages = booklet_pages(two, "Winter evenings")
    heads = [page.texts[0][0] for page in pages]
    assert heads[0] == "Winter evenings"
    titles = [head.partition(":")[0] for head in heads[1:]]
    assert titles[:4] == ["Question 1", "Question 1", "Question 2", "Question 2"]
    assert set(titles[4:]) == {"Answer 1", "Answer 2"}
    assert titles[4:] == sorted(titles[4:])
    cover = [int(n) for n in re.findall(r"^page (\d+)$", texts(pages[0]), re.M)]
    assert [heads[n - 1].partition(":")[0] for n in cover] == [
        "Question 1",
        "Answer 1",
        "Question 2",
        "Answer 2",
    ]
    assert [page.texts[-1][0] for page in pages] == [f"{n} of {len(pages)}" for n in range(1, len(pages) + 1)]


def test_long_and_hostile_words_stay_on_the_page() -> None:
    words = "A name\nwith a line\x07 and half a surrogate \ud800, and 日本 " * 4
    data = sheets(title=words, question=words * 6)
    place = replace(data.places[0], name=words, ruled_out=(words * 30,))
    for page in (*question_pages(data), *answer_pages(replace(data, places=(place, *data.places[1:])))):
        assert_tidy(page)
        # What the font lacks stands as one sign, and is never asked of it.
        assert not any("日" in text for text, _ in page.texts)
