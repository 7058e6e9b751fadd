"""The page of an exercise from end to end, on made ground, and what is refused before any work."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

import hillsight
from hillsight.jobs.exercise.landmarks import pointed_at, seen_words, unseen_words
from hillsight.jobs.exercise.request import ExercisePageRequest
from hillsight.jobs.exercise.scene import opened_exercise
from hillsight.jobs.exercise.views import DEAD, NOT_KNOWN, SEEN, ground_codes, map_limits, place_views
from hillsight.jobs.listener import SILENT
from hillsight.sheets.exercise.packing import unpacked
from hillsight.words.angles import signed_deg
from jobs.worlds import world
from scripts.commands import assert_refused, run

SMALL = {"reach": 800.0, "draws": 16, "learners": 50}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return world(tmp_path_factory.mktemp("exercise page"))


@pytest.fixture(scope="module")
def made(folder: Path) -> tuple[str, dict]:
    found = hillsight.exercise_page(
        folder / "exercise.toml",
        terrain=folder / "ground.tif",
        features=folder / "features.gpkg",
        out=folder / "page.html",
        **SMALL,
    )
    assert found.html == (folder / "page.html").read_text(encoding="utf-8")
    letters = re.search(r'id="packed">([^<]+)<', found.html)
    assert letters is not None
    return found.html, json.loads(unpacked(letters[1]))


def test_the_answer_is_packed_and_right(folder: Path, made: tuple[str, dict]) -> None:
    html, answer = made
    assert answer["name"] == "by the knoll" and "by the knoll" not in html
    # The first letter is that of the place drawn first; both stand in the question.
    assert answer["truth"] in ("A", "B") and set(answer["against"]) == {"A", "B"}
    assert answer["against"][answer["truth"]] == []
    assert 'name="place" value="A"' in html and 'name="place" value="B"' in html
    reasons = answer["pieces"]["answer"]
    assert "in order of trust" in reasons and '"script": "exercise page"' in reasons
    assert len(html.encode()) < 2_000_000
    # True reasons alone are worth anything, and all of them together the most.
    worth = list(answer["worth"].values())
    assert sum(one for one in worth if one > 0) == answer["most"]


def test_views_share_one_frame_and_the_map_holds_all_places(folder: Path) -> None:
    request = ExercisePageRequest.of(
        {
            **dict.fromkeys(("terrain_crs", "band", "vertical_unit", "nodata", "grid_crs")),
            **dict.fromkeys(("feature_layer", "evidence", "landforms", "scales", "terrain_product")),
            **dict.fromkeys(("terrain_error", "error_correlation", "out")),
            **dict.fromkeys(("surface", "cover_heights")),
            "cover": (),
            "cover_layer": (),
            "leaf": "on",
            "exercise": folder / "exercise.toml",
            "terrain": folder / "ground.tif",
            "features": folder / "features.gpkg",
            "feature_layer": (),
            "scales": (),
            "refraction": 0.13,
            "between_posts": "unknown",
            **SMALL,
        }
    )
    with opened_exercise(request, SILENT) as scene:
        inputs = scene.scene.inputs
        views = place_views(inputs, scene.exercise.picture, scene.looks_true_deg, 0.13)
        assert len(views) == 2
        for one in views:
            middle, level = one.cylinder.directions(one.cylinder.width_px / 2, one.cylinder.horizon_y_px)
            assert abs(signed_deg(float(middle) + one.view.convergence_deg)) < 0.05, "north, as told"
            assert float(level) == pytest.approx(0.0, abs=1e-9)
            assert one.cylinder.exaggeration == pytest.approx(1.0)
        assert len({(one.cylinder.height_px, one.cylinder.horizon_y_px) for one in views}) == 1
        shape = (90, 120)
        limits = map_limits(views, 500.0, shape, inputs.terrain.bounds_m)
        assert limits.width / limits.height == pytest.approx(120 / 90)
        codes = [ground_codes(one, inputs, limits, shape) for one in views]
        for one, code in zip(views, codes, strict=True):
            assert set(np.unique(code)) <= {SEEN, DEAD, NOT_KNOWN}
            assert limits.left < one.lines.easting_m < limits.right
            # By single sight lines, which share nothing with the sweep over posts but the ground.
            step = limits.width / shape[1]
            rows, columns = np.mgrid[5 : shape[0] : 9, 5 : shape[1] : 9]
            east = limits.left + (columns.ravel() + 0.5) * step
            north = limits.top - (rows.ravel() + 0.5) * step
            clear = one.lines.at(east, north, 0.0).clearance_m
            far = np.abs(clear) > 2.0
            told = code[rows.ravel(), columns.ravel()]
            assert np.mean((told[far] == SEEN) == (clear[far] > 0)) > 0.97
        pointed = pointed_at(views, scene.exercise.truth())
        assert [one.number for one in pointed] == list(range(1, len(pointed) + 1))
        for one in views:
            for landmark in one.landmarks:
                assert re.match(r"\d{3}° true, [\d,.]+ k?m", seen_words(landmark))
        if pointed:
            assert re.match(r"\d{3}° true|not in view", unseen_words(views[1], pointed[0].place))


def test_what_cannot_be_done_is_refused_before_the_work(folder: Path) -> None:
    exercise, terrain = folder / "exercise.toml", folder / "ground.tif"
    asked = ("exercise", "page", exercise, "--terrain", terrain)
    assert_refused(folder, *asked, "--out", folder / "page.pdf", says=(".html", "--out"))
    assert_refused(folder, *asked, "--out", folder / "none" / "page.html", says=("none",))
    assert_refused(folder, *asked, "--out", exercise, says=("one of the inputs",))
    assert run("exercise", "page", exercise).code == 2, "nowhere to write to"
    text = exercise.read_text(encoding="utf-8")
    other = folder / "photo.toml"
    other.write_text(text.replace('looks = "N"', 'looks = "N"\nphoto = "none.jpg"'), encoding="utf-8")
    lost = ("exercise", "page", other, "--terrain", terrain, "--out", folder / "b.html")
    assert_refused(folder, *lost, says=("none.jpg", "is not there"))


def test_without_a_map_there_are_no_landmarks(folder: Path) -> None:
    made = hillsight.exercise_page(folder / "exercise.toml", terrain=folder / "ground.tif", **SMALL)
    letters = re.search(r'id="packed">([^<]+)<', made.html)
    assert letters is not None and made.files == {}
    pieces = json.loads(unpacked(letters[1]))["pieces"]
    assert pieces["list"].strip() == "" and 'class="spot"' not in pieces["over_map"]
    assert "in order of trust" in pieces["answer"]


@pytest.mark.parametrize("count", [5, 1])
def test_a_marked_photograph_shows_its_landmarks(folder: Path, count: int) -> None:
    """Enough marks fix the camera; one is shown where it was marked."""
    marks = json.loads((folder / "marks.json").read_text(encoding="utf-8"))
    marks["landmarks"] = marks["landmarks"][:count]
    (folder / f"marks_{count}.json").write_text(json.dumps(marks), encoding="utf-8")
    text = (folder / "exercise.toml").read_text(encoding="utf-8")
    told = f'looks = "N"\nwidth_deg = 55\nphoto = "knoll.png"\nmarks = "marks_{count}.json"'
    (folder / f"photo_{count}.toml").write_text(text.replace('looks = "N"', told), encoding="utf-8")
    made = hillsight.exercise_page(
        folder / f"photo_{count}.toml",
        terrain=folder / "ground.tif",
        features=folder / "features.gpkg",
        **SMALL,
    )
    assert "Photograph, looking 000° true, 55° wide" in made.html
    assert "knoll.png" not in made.html, "a file's name may tell"
    letters = re.search(r'id="packed">([^<]+)<', made.html)
    assert letters is not None
    pieces = json.loads(unpacked(letters[1]))["pieces"]
    spots = re.findall(
        r'data-landmark="(\d+)".*?aria-label="\d+: ([^,"]+).*?translate\(([\d.]+) ([\d.]+)\)',
        pieces["over_picture"],
    )
    by_name = {name: (float(x), float(y)) for _, name, x, y in spots}
    assert "Lone Knoll" in by_name
    # It was marked at 200, 120 of a picture 400 wide, and the camera was solved by it.
    assert np.hypot(by_name["Lone Knoll"][0] - 200, by_name["Lone Knoll"][1] - 120) < (
        0.1 if count == 1 else 25
    )
    assert any("fix no camera" in note for note in made.notes) == (count == 1)


def test_an_exercise_that_is_not_sound_says_so_with_the_answer(folder: Path) -> None:
    text = (folder / "exercise.toml").read_text(encoding="utf-8")
    alike = text.replace("easting_m = 300800", "easting_m = 300260").replace("699200", "699380")
    (folder / "alike.toml").write_text(alike, encoding="utf-8")
    page = folder / "alike.html"
    small = ("--reach", "800", "--draws", "16", "--learners", "50", "--quiet")
    ended = run(
        "exercise", "page", folder / "alike.toml", "--terrain", folder / "ground.tif", "--out", page, *small
    )
    assert ended.code == 3, ended.err
    assert any("is not sound" in note for note in ended.notes)
    html = page.read_text(encoding="utf-8")
    letters = re.search(r'id="packed">([^<]+)<', html)
    assert letters is not None
    assert "Not sound: " in unpacked(letters[1]) and "Not sound" not in html
