"""The assisted line and its corrections, in a real browser, against edges that are known."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sheets.mark_pages import (
    HEIGHT,
    WIDTH,
    Marking,
    browser,
    near_edge_px,
    opened,
    photograph,
    save_photograph,
    sky_edge_px,
)

__all__ = ["browser"]


def edge_at(x_px: float, off_px: float = 0.0) -> tuple[float, float]:
    return x_px, float(sky_edge_px(np.array(x_px))) + off_px


def line(marking: Marking, of: str = "skyline", piece: int = 0) -> np.ndarray:
    """(n, 2) points of a line as the file would have it."""
    return np.array(marking.file()[of][piece]["points_px"])


def away_px(points: np.ndarray, left_px: float, right_px: float) -> np.ndarray:
    """How far a line lies from the sky's edge, up or down, column by column."""
    across = np.arange(left_px, right_px) + 0.5
    return np.abs(np.interp(across, points[:, 0], points[:, 1]) - sky_edge_px(across))


@pytest.fixture
def marking(browser: Any, tmp_path: Path) -> Marking:
    return opened(browser, save_photograph(tmp_path / "ridge.jpg", photograph()), "desktop")


@pytest.mark.parametrize("haze", [0.0, 0.6, 0.85])
def test_the_line_lies_on_the_skys_edge(browser: Any, tmp_path: Path, haze: float) -> None:
    """Through haze too, where the edge of the near ground is many times as strong as the skyline."""
    photo = save_photograph(tmp_path / "ridge.jpg", photograph(haze=haze, seed=11))
    marking = opened(browser, photo, "desktop")
    marking.trace("skyline", [edge_at(x, 5) for x in (12, 500, 1000, 1488)])
    away = away_px(line(marking), 30, 1470)
    assert np.median(away) < 1 and np.percentile(away, 95) < 2.5


def test_a_picture_without_grain_is_traced_to_a_tenth(browser: Any, tmp_path: Path) -> None:
    across, down = np.meshgrid(np.arange(WIDTH) + 0.5, np.arange(HEIGHT) + 0.5)
    ground = np.clip(down - sky_edge_px(across) + 0.5, 0, 1)[..., None]
    plain = (np.array([200, 215, 240]) * (1 - ground) + np.array([70, 90, 60]) * ground).astype(np.uint8)
    marking = opened(browser, save_photograph(tmp_path / "plain.png", plain), "desktop")
    marking.trace("skyline", [edge_at(x, -6) for x in (12, 700, 1488)])
    away = away_px(line(marking), 30, 1470)
    assert np.median(away) < 0.1 and away.max() < 1


def test_a_shrunk_photograph_is_traced_in_its_own_pixels(browser: Any, tmp_path: Path) -> None:
    photo = save_photograph(tmp_path / "ridge.jpg", photograph())
    marking = opened(browser, photo, "desktop", page_megapixels=0.31)  # about 0.45 times as wide
    marking.trace("skyline", [edge_at(x) for x in (12, 500, 1000, 1488)])
    assert np.median(away_px(line(marking), 30, 1470)) < 1


def test_a_straight_piece_looks_for_no_edge(marking: Marking) -> None:
    marking.choose("skyline")
    marking.tap(*marking.whole(*edge_at(200)))
    marking.page.locator("#stage").focus()
    marking.page.keyboard.down("s")
    marking.tap(*marking.whole(700, 200))
    marking.page.keyboard.up("s")
    marking.tap(*marking.whole(*edge_at(1200)))
    marking.press("End line")
    points = line(marking)
    scale = marking.box()[3] / HEIGHT
    corner = int(np.argmin(np.hypot(points[:, 0] - 700, points[:, 1] - 200)))
    assert corner == 1, "one straight piece leads to the point in the sky"
    assert np.hypot(*(points[1] - (700, 200))) < 1 / scale
    assert np.median(away_px(points[2:], 900, 1190)) < 1


def test_anchors_are_moved_inserted_and_deleted(marking: Marking) -> None:
    page = marking.page
    marking.choose("skyline")
    marking.press("Straight")
    marking.tap(*marking.whole(300, 150))
    marking.press("Straight")
    for x in (700, 1100):
        marking.tap(*marking.whole(*edge_at(x)))
    marking.press("End line")
    assert line(marking)[0, 1] < 160, "the first anchor is in the sky, where it was put"
    # Moved to the edge, it takes its piece along.
    page.mouse.move(*marking.whole(300, 150))
    page.mouse.down()
    page.mouse.move(*marking.whole(*edge_at(320, 12)), steps=5)
    page.mouse.up()
    points = line(marking)
    assert abs(points[0, 0] - 320) < 12 and np.median(away_px(points, 330, 1090)) < 1
    assert page.locator("#list-skyline li").inner_text().count("3 anchors") == 1
    # A tap on the line puts an anchor there and leaves the line as it was.
    marking.tap(*marking.whole(*edge_at(520)))
    assert "4 anchors" in page.locator("#list-skyline").inner_text()
    assert np.abs(np.interp(600.0, *line(marking).T) - np.interp(600.0, *points.T)) < 1e-9
    assert "anchor 2 of 4" in marking.says()
    marking.press("Delete")
    assert "3 anchors" in page.locator("#list-skyline").inner_text()
    assert np.median(away_px(line(marking), 330, 1090)) < 1
    # An end that is deleted takes its piece along.
    marking.tap(*marking.whole(*line(marking)[-1]))
    page.keyboard.press("Delete")
    assert line(marking)[-1, 0] < 720


def test_a_piece_is_rubbed_out(marking: Marking) -> None:
    marking.trace("skyline", [edge_at(x) for x in (100, 700, 1400)])
    whole = line(marking)
    marking.choose("erase")
    page = marking.page
    page.mouse.move(*marking.whole(*edge_at(600)))
    page.mouse.down()
    for x in range(610, 810, 20):
        page.mouse.move(*marking.whole(*edge_at(x)))
    page.mouse.up()
    assert len(marking.file()["skyline"]) == 2
    left, right = line(marking, piece=0), line(marking, piece=1)
    radius = 24 * HEIGHT / marking.box()[3]
    assert left[-1, 0] == pytest.approx(600 - radius, abs=radius / 2)
    assert right[0, 0] == pytest.approx(790 + radius, abs=radius / 2)
    for points in (left, right):
        inside = points[2:-2]
        assert np.isin(np.round(inside, 2), np.round(whole, 2)).all(), "what is left is as it was"
    marking.press("Undo")
    assert np.array_equal(line(marking), whole)
    marking.press("Redo")
    assert len(marking.file()["skyline"]) == 2


def test_a_line_is_traced_on_from_either_end(marking: Marking) -> None:
    marking.trace("skyline", [edge_at(x) for x in (500, 900)])
    marking.tap(*marking.whole(*line(marking)[0]))
    marking.press("Trace on")
    marking.tap(*marking.whole(*edge_at(150)))
    marking.press("End line")
    assert len(marking.file()["skyline"]) == 1
    points = line(marking)
    assert points[:, 0].min() < 175 and points[:, 0].max() > 880
    marking.page.get_by_role("button", name="Trace on from the end of skyline, piece 1").click()
    marking.tap(*marking.whole(*edge_at(40)))
    marking.press("End line")
    assert line(marking)[:, 0].min() < 60


def test_the_line_follows_the_pointer_before_it_is_set(marking: Marking) -> None:
    marking.choose("skyline")
    marking.tap(*marking.whole(*edge_at(300)))
    marking.page.mouse.move(*marking.whole(*edge_at(900)), steps=3)
    marking.page.wait_for_timeout(300)
    marking.page.screenshot(path=str(marking.photo.with_name("follows.png")))
    from PIL import Image

    window = np.asarray(Image.open(marking.photo.with_name("follows.png")).convert("RGB")).astype(int)
    straw = np.abs(window - np.array([0xF3, 0xDF, 0x9B])).sum(axis=-1) < 40
    on = [marking.whole(*edge_at(x)) for x in range(330, 880, 10)]
    hit = [straw[int(y) - 3 : int(y) + 4, int(x) - 3 : int(x) + 4].any() for x, y in on]
    assert np.mean(hit) > 0.6, "dashed, it is drawn along the edge"
    assert marking.file()["skyline"] == []


def test_the_near_brow_is_a_line_of_its_own(marking: Marking) -> None:
    marking.trace("brow", [(x, float(near_edge_px(np.array(x)))) for x in (60.0, 800.0, 1440.0)])
    assert marking.file()["skyline"] == []
    points = line(marking, "brow")
    across = np.arange(80, 1420) + 0.5
    assert np.median(np.abs(np.interp(across, *points.T) - near_edge_px(across))) < 1
