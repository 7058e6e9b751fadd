"""Pictures of a verdict's page: all of them, as large as leaves the page small; and what it prints on."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

import verdicts
from hillsight.jobs.verdict_pictures import Shot, fitted
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.page import Page
from hillsight.sheets.verdict.verdict_page import verdict_html
from sheets.mark_pages import browser

__all__ = ["browser"]

#: Bytes of a whole page.
MOST = 1_500_000


def scene(wide: int, high: int, seed: int) -> np.ndarray:
    """(high, wide, 3) uint8: smooth shades with the grain of a photograph."""
    rng = np.random.default_rng(seed)
    row, column = np.mgrid[0:high, 0:wide]
    smooth = 130 + 50 * np.sin(row / 97 + seed) + 50 * np.cos(column / 143)
    return np.clip(smooth[..., None] + rng.normal(0, 7, (high, wide, 3)), 0, 255).astype(np.uint8)


def page(wide: int, high: int, seed: int) -> Page:
    made = Page(wide, high)
    made.image(scene(wide - 200, high - 400, seed), 100, 200)
    made.box(Box(100, 200, wide - 100, high - 200))
    made.text(120, high - 80, f"A page {seed}", 12)
    return made


@pytest.mark.slow
@pytest.mark.parametrize(("maps", "photographs"), [(0, 0), (3, 0), (3, 3), (6, 4)])
def test_all_pictures_are_there_and_the_page_is_small(maps: int, photographs: int) -> None:
    shots = {f"Place {k}": Shot.of(page(1_240, 1_754, k)) for k in range(maps)}
    laid = {f"Place {k}": page(1_632, 1_424, 10 + k) for k in range(photographs)}
    drawn, photos = fitted(shots, laid)
    assert list(drawn) == list(shots) and list(photos) == list(laid)
    html = verdict_html(verdicts.verdict(), dict(zip("ABCDEF", drawn.values(), strict=False)), photos, "")
    most = len(html) + sum(len(one) for one in drawn.values()) * 4 / 3  # those of no candidate are left out
    assert most <= MOST
    for content in (*drawn.values(), *photos.values()):
        with Image.open(io.BytesIO(content)) as picture:
            picture.load()
            assert picture.width >= 400 and not picture.getexif()


def test_few_pictures_stay_as_they_are() -> None:
    made = Page(1_240, 1_754)
    made.text(120, 900, "A page without shades", 12)
    drawn, photos = fitted({"Aye": Shot.of(made)}, {})
    assert photos == {} and drawn["Aye"] == made.small_png()


def test_a_verdict_prints_on_three_sheets(browser: Any, tmp_path: Path) -> None:
    shots = {name: Shot.of(page(1_240, 1_754, k)) for k, name in enumerate(("Aye", "Bee", "Cee"))}
    laid = {name: page(1_632, 1_424, k) for k, name in enumerate(("Aye", "Bee", "Cee"))}
    file = tmp_path / "verdict.html"
    html = verdict_html(verdicts.verdict(), *fitted(shots, laid), "made of terrain.tif")
    file.write_text(html, encoding="utf-8")
    window = browser.new_page()
    window.goto(file.as_uri())
    content = window.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", content)) <= 3
