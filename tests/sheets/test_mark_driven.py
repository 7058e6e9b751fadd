"""The page of ``hillsight mark`` in a real browser, at a desk and on a telephone: from photograph to file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from PIL import Image

from hillsight.plan.picture.marks import Marks
from hillsight.plan.picture.marks_schema import marks_schema
from hillsight.plan.picture.photograph import Photograph
from sheets.mark_pages import (
    HEIGHT,
    NAMES,
    SCREENS,
    SPOTS,
    WIDTH,
    Marking,
    browser,
    map_file,
    near_edge_px,
    opened,
    photograph,
    save_photograph,
    sha256,
    sky_edge_px,
)

__all__ = ["browser"]


def read_back(marking: Marking) -> Marks:
    """The saved file: by its schema, of this photograph, and as the other commands read it."""
    path = marking.save()
    jsonschema.Draft202012Validator(marks_schema()).validate(json.loads(path.read_text(encoding="utf-8")))
    marks = Marks.read(path)
    assert marks.photograph.sha256 == sha256(marking.photo)
    marks.check(Photograph.open(marking.photo))
    return marks


def assert_only_itself(marking: Marking) -> None:
    """The page asked for nothing but its own file, its pictures inside it and the file that it saved."""
    assert marking.asked[0].startswith("file:")
    assert all(url.startswith(("data:", "blob:")) for url in marking.asked[1:])
    assert marking.faults == []


def mark_spots(marking: Marking) -> None:
    """Mark each spot where it is seen in the window."""
    marking.choose("landmark")
    seen = marking.spots()
    assert len(seen) == len(SPOTS)
    for (x, y), name in zip(seen, NAMES, strict=True):
        marking.tap(x, y)
        marking.name(name[:4].lower())


@pytest.mark.parametrize("screen", SCREENS)
def test_six_landmarks_and_both_lines_become_a_file(browser: Any, tmp_path: Path, screen: str) -> None:
    photo = save_photograph(tmp_path / "ridge.jpg", photograph())
    marking = opened(browser, photo, screen, features=map_file(tmp_path))
    scale = marking.box()[2] / WIDTH
    mark_spots(marking)
    marking.trace("skyline", [(x, float(sky_edge_px(np.array(x))) + 6) for x in (15, 350, 700, 1100, 1485)])
    marking.trace("brow", [(x, float(near_edge_px(np.array(x))) - 5) for x in (20, 700, 1480)])
    marks = read_back(marking)
    assert (marks.photograph.width_px, marks.photograph.height_px) == (WIDTH, HEIGHT)
    assert [one.feature for one in marks.landmarks] == list(NAMES)
    for mark, spot in zip(marks.landmarks, SPOTS, strict=True):
        # A tap is as good as one pixel of the window; a spot is found there to about half of one.
        assert np.hypot(mark.x_px - spot[0], mark.y_px - spot[1]) < 1.5 / scale
        assert mark.give_or_take_px >= 0.9 / scale
    (line,), (brow,) = marks.skyline, marks.brow
    assert line.how == brow.how == "traced"
    for trace, edge in ((line, sky_edge_px), (brow, near_edge_px)):
        across = np.arange(40, 1460) + 0.5
        assert np.all(np.diff(trace.x_px) > -2)
        away = np.abs(np.interp(across, trace.x_px, trace.y_px) - edge(across))
        assert np.median(away) < 1 and np.percentile(away, 95) < 4
    assert_only_itself(marking)


@pytest.mark.parametrize("screen", SCREENS)
def test_a_photograph_that_is_turned_is_marked_as_shown(browser: Any, tmp_path: Path, screen: str) -> None:
    """Orientation 6: the first row stored is the right side, the first column the top (Exif 2.32, 4.6.4)."""
    exif = Image.Exif()
    exif[0x0112] = 6
    photo = save_photograph(tmp_path / "turned.jpg", np.rot90(photograph()).copy(), exif=exif)
    with Image.open(photo) as stored:
        assert stored.size == (HEIGHT, WIDTH)
    marking = opened(browser, photo, screen, features=map_file(tmp_path))
    mark_spots(marking)
    marks = read_back(marking)
    assert (marks.photograph.width_px, marks.photograph.height_px) == (WIDTH, HEIGHT)
    for mark, spot in zip(marks.landmarks, SPOTS, strict=True):
        assert np.hypot(mark.x_px - spot[0], mark.y_px - spot[1]) < 1.5 * WIDTH / marking.box()[2]


@pytest.mark.parametrize("pixels", ["all", "shrunk"])
def test_marks_are_in_the_files_pixels_however_the_page_is_zoomed(
    browser: Any, tmp_path: Path, pixels: str
) -> None:
    photo = save_photograph(tmp_path / "ridge.png", photograph())
    less = {"page_megapixels": 0.31} if pixels == "shrunk" else {}
    marking = opened(browser, photo, "desktop", features=map_file(tmp_path), **less)
    marking.choose("landmark")
    for (x_px, y_px), name in zip(SPOTS, NAMES, strict=True):
        marking.press("Whole photograph")
        x, y = marking.whole(x_px, y_px)
        marking.page.mouse.move(x, y)
        for _ in range(4):
            marking.page.mouse.wheel(0, -200)
        marking.page.mouse.down()
        marking.page.mouse.move(x + (60 if x_px < WIDTH / 2 else -60), y - 35, steps=4)
        marking.page.mouse.up()
        left, top, wide, high = marking.box()
        near = [p for p in marking.spots() if left < p[0] < left + wide and top < p[1] < top + high]
        assert len(near) == 1, "the spot has left the frame, or not come nearer"
        marking.tap(*near[0])
        marking.name(name)
    marks = read_back(marking)
    for mark, spot in zip(marks.landmarks, SPOTS, strict=True):
        assert np.hypot(mark.x_px - spot[0], mark.y_px - spot[1]) < 0.8
        assert mark.give_or_take_px == 2


def test_two_fingers_move_and_enlarge(browser: Any, tmp_path: Path) -> None:
    photo = save_photograph(tmp_path / "ridge.png", photograph())
    marking = opened(browser, photo, "phone", features=map_file(tmp_path))
    x, y = marking.whole(*SPOTS[2])
    session = marking.page.context.new_cdp_session(marking.page)

    def fingers(kind: str, apart: float, down: float = 0.0) -> None:
        points = [{"x": x - apart, "y": y + down, "id": 0}, {"x": x + apart, "y": y + down, "id": 1}]
        session.send(
            "Input.dispatchTouchEvent", {"type": kind, "touchPoints": [] if kind == "touchEnd" else points}
        )

    before = marking.spots()
    fingers("touchStart", 25)
    for apart in (40, 60, 80, 100):
        fingers("touchMove", apart)
    fingers("touchMove", 100, 30)
    fingers("touchEnd", 0)
    after = marking.spots()
    assert len(before) == 6 and 1 <= len(after) < 6
    # What was between the fingers still is, four times as large.
    nearest = min(after, key=lambda p: np.hypot(p[0] - x, p[1] - y - 30))
    assert np.hypot(nearest[0] - x, nearest[1] - y - 30) < 3
    marking.choose("landmark")
    marking.tap(*nearest)
    marking.name("Cold")
    (mark,) = marking.file()["landmarks"]
    scale = 4 * marking.box()[2] / WIDTH
    assert np.hypot(mark["x_px"] - SPOTS[2][0], mark["y_px"] - SPOTS[2][1]) < 1.5 / scale


def test_a_finger_that_rests_aims_under_a_magnifier(browser: Any, tmp_path: Path) -> None:
    photo = save_photograph(tmp_path / "ridge.png", photograph())
    marking = opened(browser, photo, "phone", features=map_file(tmp_path))
    marking.choose("landmark")
    x, y = marking.whole(*SPOTS[3])
    session = marking.page.context.new_cdp_session(marking.page)

    def finger(kind: str, dx: float) -> None:
        points = [] if kind == "touchEnd" else [{"x": x + dx, "y": y, "id": 0}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    finger("touchStart", 8)
    marking.page.wait_for_timeout(600)
    assert len(marking.spots()) == 7, "the spot shows in the magnifier too, or six spots and it beside them"
    finger("touchMove", 30)
    finger("touchMove", 0)
    finger("touchEnd", 0)
    marking.name("Dun")
    (mark,) = marking.file()["landmarks"]
    assert np.hypot(mark["x_px"] - SPOTS[3][0], mark["y_px"] - SPOTS[3][1]) < 1.5 * WIDTH / marking.box()[2]
