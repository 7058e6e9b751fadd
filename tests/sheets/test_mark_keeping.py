"""Marks are not lost: undo, reload, save and load again; another photograph's are refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from hillsight.plan.picture.marks import Landmark, MarkedPhotograph, Marks, Trace
from sheets.mark_pages import (
    HEIGHT,
    NAMES,
    SPOTS,
    WIDTH,
    Marking,
    browser,
    map_file,
    opened,
    photograph,
    save_photograph,
    sha256,
    sky_edge_px,
)

__all__ = ["browser"]


FAR = {"easting_m": 300_000.0, "northing_m": 700_000.0, "x_px": 10.0, "y_px": 20.0}


@pytest.fixture
def marking(browser: Any, tmp_path: Path) -> Marking:
    photo = save_photograph(tmp_path / "ridge.jpg", photograph())
    return opened(browser, photo, "desktop", features=map_file(tmp_path))


def mark_some(marking: Marking) -> None:
    marking.choose("landmark")
    for spot, name in zip(SPOTS[:3], NAMES, strict=False):
        marking.tap(*marking.whole(*spot))
        marking.name(name)
    marking.trace("skyline", [(x, float(sky_edge_px(np.array(x)))) for x in (100.0, 500.0, 900.0)])


def load(marking: Marking, path: Path) -> str:
    """Choose a file to load; returns what the page says against it."""
    marking.page.locator("#load").set_input_files(str(path))
    marking.page.wait_for_timeout(150)
    text: str = marking.page.locator("#load-trouble").inner_text()
    return text


def test_each_step_is_taken_back_and_done_again(marking: Marking) -> None:
    states = [marking.file()]
    mark_some(marking)
    states.append(marking.file())
    marking.page.get_by_role("button", name=f"Delete {NAMES[1]}").click()
    states.append(marking.file())
    assert [one["feature"] for one in states[2]["landmarks"]] == [NAMES[0], NAMES[2]]
    marking.page.get_by_label(f"Give or take of {NAMES[0]}, pixels").fill("7.5")
    marking.page.get_by_label(f"Give or take of {NAMES[0]}, pixels").press("Enter")
    assert marking.file()["landmarks"][0]["give_or_take_px"] == 7.5
    marking.press("Undo")
    assert marking.file() == states[2]
    marking.page.keyboard.press("Control+z")
    assert marking.file() == states[1]
    for _ in range(6):
        marking.press("Undo")
    assert marking.file() == states[0]
    assert marking.page.locator("#undo").is_disabled()
    for _ in range(6):
        marking.press("Redo")
    assert marking.file() == states[1]
    marking.page.keyboard.press("Control+y")
    assert marking.file() == states[2]


def test_a_page_opened_again_has_its_marks(marking: Marking) -> None:
    mark_some(marking)
    marking.choose("skyline")
    x = 1000.0
    marking.tap(*marking.whole(x, float(sky_edge_px(np.array(x)))))
    marking.tap(*marking.whole(x + 200, float(sky_edge_px(np.array(x + 200)))))
    before = marking.file()
    assert len(before["skyline"]) == 2, "the line in hand is among them"
    marking.page.reload()
    marking.page.wait_for_selector("body[data-ready]")
    assert marking.file() == before
    assert "here again" in marking.says()
    # Anchors are kept, not points alone: the line can be corrected as before.
    assert "3 anchors" in marking.page.locator("#list-skyline").inner_text()
    # Another photograph of the same name and size has none of them.
    other = save_photograph(marking.photo.with_name("other.jpg"), photograph(seed=8))
    second = opened(marking.page.context.browser, other, "desktop")
    assert second.file()["landmarks"] == []


def test_a_saved_file_is_loaded_again(marking: Marking) -> None:
    mark_some(marking)
    saved = marking.save()
    before = json.loads(saved.read_text(encoding="utf-8"))
    assert saved.name == "ridge.marks.json"
    marking.press("Begin again")
    assert marking.file()["landmarks"] == marking.file()["skyline"] == []
    assert load(marking, saved) == ""
    assert marking.file() == before
    # An anchor of the loaded line can be moved, and the rest of it stays.
    page = marking.page
    marking.choose("skyline")
    x, y = before["skyline"][0]["points_px"][-1]
    page.mouse.move(*marking.whole(x, y))
    page.mouse.down()
    page.mouse.move(*marking.whole(x + 120, y + 10), steps=4)
    page.mouse.up()
    after = np.array(marking.file()["skyline"][0]["points_px"])
    assert after[-1, 0] > x + 60
    away = np.abs(np.interp(np.arange(120, 900), *after.T) - sky_edge_px(np.arange(120, 900)))
    assert np.median(away) < 1


def test_what_does_not_belong_is_refused(marking: Marking, tmp_path: Path) -> None:
    mark_some(marking)
    before = marking.file()

    def changed(**more: Any) -> Path:
        path = tmp_path / f"changed {len(list(tmp_path.iterdir()))}.json"
        path.write_text(json.dumps({**before, **more}), encoding="utf-8")
        return path

    of = before["photograph"]
    for path, says in (
        (changed(photograph={**of, "sha256": "0" * 64, "name": "scar.jpg"}), "another photograph (scar.jpg)"),
        (changed(photograph={**of, "width_px": 999}), "999"),
        (changed(version=2), "version 2"),
        (changed(format="other"), "not a marks file"),
        (changed(landmarks=[{"feature": "A", "x_px": "left", "y_px": 1}]), "x_px is no number"),
        (changed(skyline=[{"points_px": [[1, 2]]}]), "less than two points"),
        (changed(landmarks=[None]), "landmarks, number 1, holds nothing"),
        (changed(skyline=[{"points_px": [[1, 2], None]}]), "points_px, number 2, holds nothing"),
        (changed(landmarks=[{**FAR, "easting_m": 1e9}]), "landmark 1, easting_m is beyond 100000000"),
        (changed(landmarks=[{**FAR, "northing_m": None}]), "landmark 1, northing_m is no number"),
        (marking.photo, "JSON"),
    ):
        assert says in load(marking, path)
        assert marking.file() == before
    assert load(marking, changed(landmarks=[{**FAR, "height_m": None, "feature": None}])) == ""
    assert marking.file()["landmarks"][0]["easting_m"] == FAR["easting_m"]
    assert load(marking, changed()) == ""


def test_a_place_of_its_own_needs_no_height(marking: Marking) -> None:
    """What is saved without one is read by the commands, which take the ground's."""
    page = marking.page
    marking.choose("landmark")
    marking.tap(*marking.whole(*SPOTS[0]))
    page.wait_for_selector("#chooser[open]")
    page.locator("#by-place summary").click()
    page.locator("#easting_m").fill("9" * 300)
    page.locator("#northing_m").fill("700100")
    page.locator("#place-take").click()
    assert "The easting is not a number of metres from" in page.locator("#place-trouble").inner_text()
    page.locator("#easting_m").fill("300100.5")
    page.locator("#place-take").click()
    page.wait_for_selector("#chooser", state="hidden")
    (mark,) = Marks.read(marking.save()).landmarks
    assert (mark.easting_m, mark.northing_m, mark.height_m) == (300_100.5, 700_100.0, None)


def test_marks_may_come_with_the_page(browser: Any, tmp_path: Path) -> None:
    photo = save_photograph(tmp_path / "ridge.jpg", photograph())
    across = np.arange(50, 1450, 5) + 0.5
    placed = Landmark(30.0, 40.0, easting_m=1.5, northing_m=2.5, height_m=3.5, crs="EPSG:27700")
    given = Marks(
        MarkedPhotograph(photo.name, WIDTH, HEIGHT, sha256(photo)),
        landmarks=(Landmark(10.25, 20.5, feature="Great Howe"), placed),
        skyline=(Trace(across, sky_edge_px(across), "found", 4.0),),
    )
    given.write(tmp_path / "given.json")
    marking = opened(browser, photo, "desktop", marks=tmp_path / "given.json")
    assert "found, not yet looked over" in marking.page.locator("#list-skyline").inner_text()
    file = marking.file()
    assert file["skyline"][0]["how"] == "found" and file["skyline"][0]["give_or_take_px"] == 4
    assert np.allclose(
        file["skyline"][0]["points_px"], np.stack([across, sky_edge_px(across)], -1), atol=0.006
    )
    names = ("feature", "easting_m", "northing_m", "height_m", "crs", "x_px", "y_px")
    assert [{k: v for k, v in one.items() if k in names} for one in file["landmarks"]] == [
        {"feature": "Great Howe", "x_px": 10.25, "y_px": 20.5},
        {
            "easting_m": 1.5,
            "northing_m": 2.5,
            "height_m": 3.5,
            "crs": "EPSG:27700",
            "x_px": 30,
            "y_px": 40,
        },
    ]
    marking.page.get_by_role("button", name="skyline, piece 1 is right as it is").click()
    assert marking.file()["skyline"][0]["how"] == "traced"
    marking.press("Undo")
    marking.choose("skyline")
    x, y = float(across[0]), float(sky_edge_px(across[:1])[0])
    marking.tap(*marking.whole(x, y))
    marking.press("Delete")
    assert marking.file()["skyline"][0]["how"] == "traced", "a line that a person has changed is theirs"
    # What the page came with is there again; what the browser keeps comes first on opening.
    marking.page.reload()
    marking.page.wait_for_selector("body[data-ready]")
    assert marking.file()["skyline"][0]["how"] == "traced"
    marking.press("Begin again")
    assert marking.file() == file


def test_without_a_store_the_page_works_and_says_so(browser: Any, tmp_path: Path) -> None:
    photo = save_photograph(tmp_path / "ridge.jpg", photograph())
    marking = opened(browser, photo, "desktop")
    assert not marking.page.locator("#unkept").is_visible()
    marking.page.add_init_script(
        "Object.defineProperty(window, 'localStorage', { get() { throw new Error('no'); } })"
    )
    marking.page.reload()
    marking.page.wait_for_selector("body[data-ready]")
    assert marking.page.locator("#unkept").is_visible()
    marking.trace("skyline", [(x, float(sky_edge_px(np.array(x)))) for x in (100.0, 500.0)])
    assert len(marking.file()["skyline"]) == 1
    assert marking.faults == []


def test_the_text_can_be_copied(marking: Marking) -> None:
    mark_some(marking)
    marking.page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    marking.page.get_by_text("As text, to copy").click()
    marking.press("Copy the text")
    marking.page.wait_for_timeout(100)
    copied = marking.page.evaluate("navigator.clipboard.readText()")
    assert json.loads(copied) == marking.file()
