"""Pages as files for print: finer, on white paper, as SVG and PDF."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from hillsight.errors import CallError
from hillsight.jobs.printing import printing_of
from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.drawn_signs import draw_mark
from hillsight.sheets.paper.page import Page
from hillsight.sheets.paper.saving import Printing, save_page


def made() -> Page:
    page = Page(300, 200)
    painted = np.zeros((40, 60, 3), np.uint8)
    painted[:] = [int(palette.PAPER[i : i + 2], 16) for i in (1, 3, 5)]
    painted[:20] = 120
    page.image(painted, 200, 100)
    draw_mark(page, 100, 100, signs.BUILDING, "hidden")
    page.text(20, 30, "Name", 9, halo=True)
    return page


def pixels(path: Path) -> np.ndarray:
    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB")).astype(int)


def test_a_finer_picture_shows_the_same_on_more_pixels(tmp_path: Path) -> None:
    coarse = pixels(save_page(made(), tmp_path / "a.png"))
    fine = pixels(save_page(made(), tmp_path / "b.png", printing=Printing(dots_per_inch=300)))
    assert fine.shape == (400, 600, 3)
    mean = fine.reshape(200, 2, 300, 2, 3).mean(axis=(1, 3))
    assert np.abs(mean - coarse).mean() < 2.0
    assert np.abs(mean[63:77, 205:255] - 120).max() <= 3  # painted ground stays in its place


def test_the_page_is_as_before_after_a_finer_picture(tmp_path: Path) -> None:
    page = made()
    first = save_page(page, tmp_path / "a.png").read_bytes()
    save_page(page, tmp_path / "b.png", printing=Printing(dots_per_inch=300))
    assert save_page(page, tmp_path / "c.png").read_bytes() == first


def test_white_paper_is_white_and_signs_keep_their_colours(tmp_path: Path) -> None:
    white = pixels(save_page(made(), tmp_path / "a.png", printing=Printing(white_paper=True)))
    assert (white[0, 0] == 255).all() and (white[90, 230] == 255).all()  # page, painted paper
    assert (white[99, 100] == 255).all()  # the hollow of the mark
    paper = [int(palette.PAPER[i : i + 2], 16) for i in (1, 3, 5)]
    assert not (white == paper).all(axis=-1).any()
    brick = [int(palette.MAN_MADE[i : i + 2], 16) for i in (1, 3, 5)]
    assert (np.abs(white - brick).max(axis=-1) <= 2).any()


@pytest.mark.parametrize("kind", ["svg", "pdf"])
def test_drawings_hold_no_tint_on_white_paper(kind: str, tmp_path: Path) -> None:
    printing = Printing(kind=kind, white_paper=True)
    out = save_page(made(), printing.named(tmp_path, "page"), printing=printing)
    assert out.name == f"page.{kind}"
    content = out.read_bytes()
    assert content.startswith(b"%PDF" if kind == "pdf" else b"<?xml")
    if kind == "svg":
        assert palette.PAPER.lower().encode() not in content.lower()


class Asked:
    pictures = None
    picture_format = "png"
    dots_per_inch = 150
    white_paper = False


@pytest.mark.parametrize(
    ("name", "value"), [("picture_format", "bmp"), ("dots_per_inch", 71), ("dots_per_inch", 601)]
)
def test_what_cannot_be_printed_is_refused(name: str, value: object) -> None:
    asked = Asked()
    assert printing_of(asked) == Printing()  # type: ignore[arg-type]
    setattr(asked, name, value)
    with pytest.raises(CallError, match=str(value)):
        printing_of(asked)  # type: ignore[arg-type]
