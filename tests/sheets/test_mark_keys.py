"""The page of ``hillsight mark`` by keyboard alone, by its labels, by day and by night."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sheets.mark_pages import (
    NAMES,
    SCREENS,
    SPOTS,
    WIDTH,
    Marking,
    browser,
    map_file,
    opened,
    photograph,
    save_photograph,
    sky_edge_px,
)

__all__ = ["browser"]


@pytest.fixture
def marking(browser: Any, tmp_path: Path) -> Marking:
    photo = save_photograph(tmp_path / "ridge.jpg", photograph())
    return opened(browser, photo, "desktop", features=map_file(tmp_path))


def cross_px(marking: Marking) -> np.ndarray:
    """Where the cross is on the photograph, as the page says."""
    found = re.search(r"x (-?[\d.]+), y (-?[\d.]+) px", marking.says())
    assert found, marking.says()
    return np.array([float(found[1]), float(found[2])])


def go(marking: Marking, x_px: float, y_px: float) -> None:
    """Bring the cross to a place by arrow keys: in strides, then in pixels of the window."""
    keys = marking.page.keyboard
    keys.press("ArrowLeft")
    a = cross_px(marking)
    keys.press("ArrowRight")
    stride = cross_px(marking)[0] - a[0]
    for axis, (less, more), wanted in (
        (0, ("ArrowLeft", "ArrowRight"), x_px),
        (1, ("ArrowUp", "ArrowDown"), y_px),
    ):
        for step, shift in ((stride, ""), (stride / 16, "Shift+")):
            count = round((wanted - cross_px(marking)[axis]) / step)
            for _ in range(abs(count)):
                keys.press(shift + (more if count > 0 else less))


def test_all_of_it_by_keyboard(marking: Marking) -> None:
    keys = marking.page.keyboard
    for _ in range(12):
        keys.press("Tab")
        if marking.page.evaluate("document.activeElement.id") == "stage":
            break
    else:
        pytest.fail("the photograph is not reached by Tab")
    keys.press("2")
    scale = marking.box()[2] / WIDTH
    for spot, name in list(zip(SPOTS, NAMES, strict=True))[1:3]:
        go(marking, *spot)
        keys.press("Enter")
        keys.type(name[:3])
        keys.press("Enter")
    landmarks = marking.file()["landmarks"]
    assert [one["feature"] for one in landmarks] == list(NAMES[1:3])
    for one, spot in zip(landmarks, SPOTS[1:3], strict=True):
        assert np.hypot(one["x_px"] - spot[0], one["y_px"] - spot[1]) < 1.5 / scale
    # A mark is picked up, carried and put down.
    keys.press("n")
    before = marking.file()["landmarks"][0]
    keys.press("Enter")
    for _ in range(3):
        keys.press("Shift+ArrowRight")
    keys.press("Enter")
    after = marking.file()["landmarks"][0]
    assert after["x_px"] - before["x_px"] == pytest.approx(3 / scale, rel=0.1)
    # A line along the edge, ended by Escape; its last anchor taken back before.
    keys.press("3")
    for x in (400.0, 700.0, 1000.0, 1100.0):
        go(marking, x, float(sky_edge_px(np.array(x))))
        keys.press("Enter")
    keys.press("Backspace")
    keys.press("Escape")
    points = np.array(marking.file()["skyline"][0]["points_px"])
    assert 980 < points[:, 0].max() < 1020
    across = np.arange(420, 980) + 0.5
    assert np.median(np.abs(np.interp(across, *points.T) - sky_edge_px(across))) < 1
    # Larger, and the cross still marks where it says.
    keys.press("1")
    for _ in range(4):
        keys.press("+")
    keys.press("2")
    go(marking, *SPOTS[3])
    keys.press("Enter")
    keys.type("dun")
    keys.press("Enter")
    one = marking.file()["landmarks"][-1]
    assert np.hypot(one["x_px"] - SPOTS[3][0], one["y_px"] - SPOTS[3][1]) < 1.5
    keys.press("Control+z")
    assert len(marking.file()["landmarks"]) == 2


def test_a_name_is_found_by_letters_and_never_given_twice(marking: Marking) -> None:
    marking.choose("landmark")
    marking.tap(*marking.whole(*SPOTS[0]))
    page = marking.page
    options = page.locator("#names li")
    assert options.count() == len(NAMES)
    page.locator("#name").fill("knott")
    assert options.first.inner_text().startswith("Brock Knott")
    assert options.count() == 2 and "as it is written" in options.last.inner_text()
    page.keyboard.press("Enter")
    assert marking.file()["landmarks"][0]["feature"] == "Brock Knott"
    marking.tap(*marking.whole(*SPOTS[1]))
    page.locator("#name").fill("brock")
    assert "marked already" in options.first.inner_text()
    options.first.click(force=True)
    assert page.locator("#chooser").is_visible(), "it cannot be taken again"
    # Coordinates instead; what is no number is refused in place.
    page.get_by_text("By its coordinates instead").click()
    for label, value in (("Easting, m", "300100,5"), ("Northing, m", "here"), ("Height, m", "512")):
        page.get_by_label(label).fill(value)
    page.get_by_label("CRS, such as EPSG:27700").fill("EPSG:27700")
    marking.press("Take these coordinates")
    assert "northing is not a number" in page.locator("#place-trouble").inner_text()
    page.get_by_label("Northing, m").fill("700000")
    marking.press("Take these coordinates")
    one = marking.file()["landmarks"][1]
    assert (one["easting_m"], one["northing_m"], one["height_m"], one["crs"]) == (
        *(300100.5, 700000, 512),
        "EPSG:27700",
    )
    assert "feature" not in one
    marking.tap(*marking.whole(*SPOTS[2]))
    page.keyboard.press("Escape")
    assert len(marking.file()["landmarks"]) == 2, "left without a name it is no landmark"


def luminance(colour: str) -> float:
    parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("screen", SCREENS)
def test_it_can_be_read_reached_and_named(browser: Any, tmp_path: Path, screen: str, scheme: str) -> None:
    """WCAG 2.1 (from memory): contrast 4.5:1 (1.4.3), names (4.1.2), focus to be seen (2.4.7), and no
    sideways scrolling at 390 pixels (1.4.10)."""
    photo = save_photograph(tmp_path / "ridge.jpg", photograph())
    panorama = save_photograph(tmp_path / "Ridge end.png", photograph(seed=5)[300:600])
    marking = opened(browser, photo, screen, features=map_file(tmp_path), panoramas=panorama)
    page = marking.page
    page.emulate_media(color_scheme=scheme)
    marking.choose("landmark")
    marking.tap(*marking.whole(*SPOTS[0]))
    marking.name("Alder")
    marking.trace("skyline", [(x, float(sky_edge_px(np.array(x)))) for x in (100.0, 500.0)])
    colours = page.evaluate(
        """() => [...document.querySelectorAll(
          'button, .modes span, summary, h1, h2, p, strong, .quiet, figcaption'
        )].filter((e) => e.offsetParent && e.textContent.trim() && !e.disabled).map((e) => {
          let ground = e;
          const behind = () => getComputedStyle(ground).backgroundColor;
          while (behind() === 'rgba(0, 0, 0, 0)') ground = ground.parentElement;
          return [e.textContent.trim(), getComputedStyle(e).color, behind()];
        })"""
    )
    assert len(colours) > 20
    for words, letters, ground in colours:
        low, high = sorted((luminance(letters), luminance(ground)))
        assert (high + 0.05) / (low + 0.05) >= 4.5, (words, letters, ground)
    paper = luminance(page.evaluate("getComputedStyle(document.body).backgroundColor"))
    assert paper > 0.8 if scheme == "light" else paper < 0.05
    unnamed = page.evaluate(
        """() => [...document.querySelectorAll('button, input, textarea, [tabindex]')].filter((e) => {
          const labels = e.labels ? [...e.labels].map((l) => l.textContent).join('') : '';
          return !(e.getAttribute('aria-label') || labels || e.textContent).trim();
        }).map((e) => e.outerHTML)"""
    )
    assert unnamed == []
    for place in ("#stage", "#undo", "input[name=mode]:checked", "figure .frame"):
        page.locator(place).first.focus()
        page.keyboard.press("Shift")  # tells the browser that keys are in use
        ringed = "input:checked + span" if "mode" in place else place
        outline = page.locator(ringed).first.evaluate("e => getComputedStyle(e).outlineStyle")
        assert outline == "solid", place
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, .modes span')].filter((e) => e.offsetParent)
        .map((e) => e.getBoundingClientRect()).filter((b) => Math.min(b.width, b.height) < 24).length"""
    )
    assert small == 0, "targets of 24 pixels at least (WCAG 2.2, 2.5.8; from memory)"


def test_a_panorama_is_zoomed_by_keys_and_buttons(browser: Any, tmp_path: Path) -> None:
    photo = save_photograph(tmp_path / "ridge.jpg", photograph())
    panorama = save_photograph(tmp_path / "Ridge end.png", photograph(seed=5)[540:840])
    marking = opened(browser, photo, "desktop", panoramas=panorama)
    assert marking.page.locator("figcaption").inner_text() == "Ridge end"
    frame = marking.page.locator("figure .frame")
    frame.scroll_into_view_if_needed()

    def spots_inside() -> int:
        box = frame.bounding_box()
        return sum(box["y"] < y < box["y"] + box["height"] for _, y in marking.spots())

    assert spots_inside() == len(SPOTS)
    marking.press("Ridge end larger")
    marking.press("Ridge end larger")
    marking.press("Ridge end larger")
    assert spots_inside() < len(SPOTS)
    frame.focus()
    marking.page.keyboard.press("0")
    assert spots_inside() == len(SPOTS)
    assert marking.faults == []
