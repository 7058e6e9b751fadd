"""Sheets of posts and their map, drawn from a plan on a small made place: what they tell is so."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import rasterio
import shapely

import hillsight
import oracle
from hillsight.jobs.posts import drawings as posts_drawings
from hillsight.jobs.posts.sheet_views import view_over
from jobs.test_posts import plan_of
from jobs.worlds import world

from scripts.commands import run  # isort: skip


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return world(tmp_path_factory.mktemp("inputs"))


@pytest.fixture(scope="module")
def drawn(inputs: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The result, the sheets' data, and the folder that was written to."""
    folder = tmp_path_factory.mktemp("drawn")
    got: dict[str, Any] = {"folder": folder}
    write = posts_drawings.write_post_sheets

    def caught(data: Any, to: Path) -> tuple[Path, ...]:
        got["data"] = data
        return write(data, to)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(posts_drawings, "write_post_sheets", caught)
        got["result"] = hillsight.posts(
            plan_of(folder, inputs),
            terrain=inputs / "ground.tif",
            sheets=folder / "sheets",
            map_file=folder / "map.svg",
        )
    return got


def test_each_post_has_a_file_and_all_are_in_one(drawn: dict[str, Any]) -> None:
    names = sorted(path.name for path in (drawn["folder"] / "sheets").iterdir())
    assert names == ["all-posts.pdf", "post-1.pdf", "post-2.pdf", "post-3.pdf"]
    assert {path.name for path in drawn["result"].files["sheets"]} == set(names)
    for name in names:
        assert (drawn["folder"] / "sheets" / name).read_bytes().startswith(b"%PDF")


def test_the_map_names_posts_and_shows_what_nobody_sees(drawn: dict[str, Any]) -> None:
    text = (drawn["folder"] / "map.svg").read_text(encoding="utf-8")
    for words in ("the bend", "course that no post sees", "course that a post sees", "marshal post", "gate",
                  "look from each post before the event", "1:10,000"):  # fmt: skip
        assert words in re.sub(r"\s+", " ", text), words


def test_what_is_to_be_watched_lies_on_its_bearings(drawn: dict[str, Any]) -> None:
    outcome, data = drawn["result"].outcome, drawn["data"]
    assert len(data.posts) == len(outcome.posts) == 3
    for k, sheet in enumerate(data.posts):
        rows = sheet.tables[0].rows
        seen_m = 0.0
        for row in rows:
            from_km, to_km = (float(v) for v in re.findall(r"\d+\.\d+", row[0]))
            seen_m += (to_km - from_km) * 1000
            for along_km, said in ((from_km, row[1]), (to_km, row[2])):
                east, north = (float(v[0]) for v in outcome.course.at(np.array([along_km * 1000])))
                away = east - outcome.posts.easting_m[k], north - outcome.posts.northing_m[k]
                bearing, distance = (float(v) for v in re.findall(r"[\d.]+", said.replace(",", ""))[:2])
                assert distance == pytest.approx(np.hypot(*away), abs=12.0)
                # Told from magnetic north of the day; hundredths of a km and near posts blur it.
                magnetic = np.degrees(np.arctan2(*away)) - sheet.north.to_grid_deg
                off = (bearing - magnetic + 180) % 360 - 180
                assert abs(off) < 1.0 + np.degrees(8.0 / max(np.hypot(*away), 8.0))
        layer = drawn["result"].frames["posts"]
        assert seen_m == pytest.approx(layer["seen_m"].iloc[k], abs=12.0 * len(rows))
        assert sheet.north.word == "magnetic"
        # The world lies about 301 km east and 699 km north on the National Grid: square NT.
        east, north = outcome.posts.easting_m[k], outcome.posts.northing_m[k]
        square = "NT" if north < 7e5 else "NO"
        assert sheet.where[0] == f"{square} {int(east) - 300_000:05d} {int(north) % 100_000:05d}"


def test_dead_ground_of_a_sheet_is_out_of_view_by_brute_force(drawn: dict[str, Any], inputs: Path) -> None:
    """Posts of the terrain well inside it, walked line by line by ``tests/oracle.py``; and the others not."""
    outcome = drawn["result"].outcome
    with rasterio.open(inputs / "ground.tif") as file:
        height_m, place = file.read(1).astype(float), file.transform
    drop = (1 - 0.13) / (2 * 6_371_000.0)
    compared = 0
    for k, sheet in enumerate(drawn["data"].posts):
        east_m, north_m = float(outcome.posts.easting_m[k]), float(outcome.posts.northing_m[k])
        eye = (place.f - north_m) / place.a - 0.5, (east_m - place.c) / place.a - 0.5
        lowered = oracle.lowered_posts(height_m, place.a, place.a, *eye, drop)
        level_m = oracle.bilinear(height_m, *eye) + 1.6
        if "dead_ground" not in sheet.layers:
            continue
        dead = shapely.union_all(sheet.layers["dead_ground"].geometry)
        rim = dead.boundary
        left, span = sheet.view.left_grid_deg, sheet.view.span_deg
        reach_m = max(
            float(np.hypot(*(shapely.get_coordinates(dead) - (east_m, north_m)).T).max()) - place.a, 100.0
        )
        for row in range(0, height_m.shape[0], 3):
            for column in range(0, height_m.shape[1], 3):
                x, y = place.c + (column + 0.5) * place.a, place.f - (row + 0.5) * place.a
                away_m = float(np.hypot(x - east_m, y - north_m))
                turn = (np.degrees(np.arctan2(x - east_m, y - north_m)) - left) % 360.0
                point = shapely.Point(x, y)
                if not 20 < away_m < reach_m - 20 or not 2 < turn < span - 2 or rim.distance(point) < 8:
                    continue
                walked = oracle.way(lowered, *eye, level_m, float(row), float(column))
                over_m = oracle.clearance_over(walked, height_m[row, column] + 1.0 - drop * away_m**2)
                assert dead.contains(point) == (over_m < 0), (k, row, column, over_m)
                compared += 1
    assert compared > 200


def test_sheets_tell_and_draw_what_cover_hides(inputs: Path, tmp_path: Path) -> None:
    """A hall 20 m tall, 30 m west of the one post: it hides the course behind it."""
    hall = shapely.box(300_830, 699_086, 300_870, 699_116)
    frame = geopandas.GeoDataFrame({"kind": ["building"], "height_m": [20.0]}, geometry=[hall], crs=27700)
    frame.to_file(tmp_path / "hall.gpkg", layer="hall")
    got: dict[str, Any] = {}

    def caught(data: Any, to: Path) -> tuple[Path, ...]:
        got["data"] = data
        return ()

    plan = plan_of(tmp_path, inputs, ("posts = 3", "posts = 1"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(posts_drawings, "write_post_sheets", caught)
        found = hillsight.posts(
            plan, terrain=inputs / "ground.tif", cover=tmp_path / "hall.gpkg", sheets=tmp_path / "sheets"
        )
    outcome, data = found.outcome, got["data"]
    (sheet,) = data.posts
    here = float(outcome.posts.easting_m[0]), float(outcome.posts.northing_m[0])
    assert here == (300_900.0, 699_100.0)
    behind = [
        shapely.LineString([here, at]).intersection(hall).length > 25
        for at in zip(outcome.stretches.easting_m, outcome.stretches.northing_m, strict=True)
    ]
    assert sum(behind) > 5
    assert not outcome.along[0][behind].any()
    assert "behind the building" in sheet.tables[0].note
    ground = " ".join(next(fact for fact in sheet.facts if fact.heading == "The ground").sentences)
    assert "the building (" in ground
    assert "No cover is known" not in ground
    assert "cover hall.gpkg" in data.made_of
    assert "building" in set(data.features["kind"])
    assert not {"building"} & set(sheet.view.features["kind"])
    # The view is drawn over the hall: its top stands against the sky, by similar triangles from the nearest
    # covered post, 35 m off. The ground waves by 3 m.
    sky = sheet.view.lines.along(np.array([271.0]))
    assert sky.skyline_cover_m[0] > 10
    assert sky.skyline_slope[0] == pytest.approx((20.0 - 1.6) / 35.0, abs=0.1)


def test_without_cover_the_sheets_say_so(drawn: dict[str, Any]) -> None:
    for sheet in drawn["data"].posts:
        assert any("No cover is known" in one for fact in sheet.facts for one in fact.sentences)


@pytest.mark.parametrize(
    ("bearings", "left", "wide"),
    [
        ([10.0, 50.0], 0.0, 60.0),  # 40 degrees and less than ten beside: the narrowest view
        ([350.0, 20.0, 100.0], 342.0, 126.0),  # over north, with 8 degrees beside
        ([], 0.0, 360.0),
        (list(range(0, 360, 20)), 0.0, 360.0),
    ],
)
def test_a_view_holds_all_that_is_watched(bearings: list[float], left: float, wide: float) -> None:
    found = view_over(np.array(bearings, float))
    assert found == pytest.approx((left, wide))


def test_places_that_cannot_be_written_are_refused_before_the_work(inputs: Path, tmp_path: Path) -> None:
    plan = plan_of(tmp_path, inputs)
    out = tmp_path / "a.gpkg"
    common = ("posts", plan, "--terrain", inputs / "ground.tif", "--out", out)
    ended = run(*common, "--map", tmp_path / "map.doc")
    assert ended.code == 2
    assert "must end in .pdf, .svg or .png" in ended.err
    ended = run(*common, "--sheets", plan)
    assert ended.code == 2
    assert "a folder is needed" in ended.err
    assert not out.exists()
