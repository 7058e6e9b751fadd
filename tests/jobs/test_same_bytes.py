"""By command and from Python: the same inputs give the same bytes, file for file.

The time that files tell of is fixed by SOURCE_DATE_EPOCH (reproducible-builds.org).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import geopandas
import pytest
import shapely

import hillsight
from hillsight.jobs import demo as demo_job
from hillsight.jobs import demo_photograph as photograph_job
from hillsight.plan.picture.marks import MarkedPhotograph, Trace
from hillsight.plan.picture.photograph import Photograph
from jobs.worlds import FAR, NEAR, marks, trace, world

from scripts.commands import SCRIPTS, command_of, contents, function_name, run  # isort: skip

LOOKING: dict[str, Any] = {"reach": 400.0, "at": (NEAR, FAR)}
LISTED: dict[str, Any] = {"features": ("features.gpkg",), "date": "2026-06-01"}
TOLD: dict[str, Any] = {"features": ("features.gpkg",), "reach": 1_500.0, "terrain_error": 1.0}

#: For each script what it is asked, and the files that it writes: every kind that it can.
CASES: dict[str, tuple[dict[str, Any], dict[str, str]]] = {
    "outlook": (
        {**LOOKING, **LISTED, "sector_width": 30.0, "stations": "stations.gpkg"},
        {"out": "a.gpkg", "csv": "a.csv", "rasters": "rasters", "pictures": "pictures"},
    ),
    "viewshed": (
        {**LOOKING, "target_height": (0.0, 2.0), "to_bearing": 200.0, "inner_distance": 50.0},
        {"out": "a.gpkg", "rasters": "rasters"},
    ),
    "dead-ground": ({**LOOKING, "cells": True, "least_pocket": 0.01}, {"out": "a.gpkg"}),
    "bearings": (
        {**LOOKING, **LISTED, "landforms": True, "scales": (100.0,)},
        {"out": "a.gpkg", "csv": "a.csv"},
    ),
    "panorama": (
        {"at": (NEAR,), "features": ("features.gpkg",), "date": "2026-06-01", "north": "magnetic"},
        {"out": "a.gpkg", "drawing": "a.svg", "pictures": "pictures"},
    ),
    "profile": (
        {"at": (NEAR,), "to_feature": ("Lone Knoll",), "features": ("features.gpkg",)},
        {"out": "a.gpkg", "csv": "a.csv", "drawing": "a.svg", "pictures": "pictures"},
    ),
    "sheet": (
        {
            "at": (NEAR,),
            "features": ("features.gpkg",),
            "scale": 10_000.0,
            "inset": 2_500.0,
            "date": "2026-06-01",
            "title": "About the knoll",
            "credit": ("Made for tests",),
        },
        {"out": "a.pdf"},
    ),
    "landforms": (
        {"scales": (100.0,), "features": ("features.gpkg",), "steep_from": (20.0,)},
        {"out": "a.gpkg", "pictures": "pictures"},
    ),
    "relocate": (
        {
            **TOLD,
            "at": (NEAR, FAR),
            "sighting": "sighting.toml",
            "elsewhere": 20,
            "elsewhere_within": 400.0,
            "everywhere": 400.0,
            "everywhere_within": 400.0,
            "priors": (2.0, 1.0),
        },
        {"out": "a.gpkg", "report": "a.html", "json_file": "a.json", "pictures": "pictures"},
    ),
    "resect": (
        {
            "at": (NEAR, FAR),
            "marks": "marks.json",
            "photo": "knoll.png",
            "width": 55.0,
            "pick": ("200,130", "60,290"),
            "pick_line": ("100,200 300,210",),
            "features": ("features.gpkg",),
            "date": "2026-06-01",
            "terrain_error": 1.0,
        },
        {"out": "a.gpkg", "overlay": "a.svg", "pictures": "pictures"},
    ),
    "search": (
        {"marks": "trace.json", "width": 60.0, "at": (NEAR,), "within": 200.0, "apart": 40.0},
        {"out": "a.gpkg", "rasters": "rasters"},
    ),
    "posts": ({"plan": "plan.toml"}, {"out": "a.gpkg", "gpx": "a.gpx"}),
    "batch": ({"job": "batch.toml", "workers": 1}, {"out": "batch"}),
    "exercise check": (
        {"exercise": "exercise.toml", "draws": 16, "learners": 50, "reach": 800.0},
        {"report": "a.md", "json_file": "a.json"},
    ),
    "exercise page": (
        {"exercise": "exercise.toml", "draws": 16, "learners": 50, "reach": 800.0},
        {"out": "a.html"},
    ),
    "exercise print": (
        {"exercise": "exercise.toml", "draws": 16, "learners": 50, "reach": 800.0, "unsound": True},
        {"out": "a.pdf"},
    ),
    "compare": ({**TOLD, "at": (NEAR, FAR), "looks": "N"}, {"json_file": "a.json"}),
    "mark": (
        {"photo": "photo.jpg", "features": ("features.gpkg",), "panoramas": ("panorama.png",)},
        {"out": "a.html"},
    ),
    "describe": ({**TOLD, "at": (NEAR,), "looks": "N", "width": 80.0}, {"out": "a.toml"}),
    "exercise find": (
        {
            "terrain": "hills.tif",
            "true": "302000,698000",
            "looks": "E",
            "wrong": 1,
            "within": 1_000.0,
            "reach": 1_500.0,
            "terrain_error": 0.5,
            "error_correlation": 500.0,
            "between_posts": "straight",
        },
        {"out": "exercises"},
    ),
    "find-skyline": ({"photo": "photo.jpg"}, {"out": "a.json"}),
}


def typed(name: str, asked: Mapping[str, Any]) -> list[str]:
    """Parameters as the options of a command are typed."""
    options = {option.name: option for option in command_of(name).params}
    words = name.split()
    for key, value in asked.items():
        given_by = [options[key].opts[-1]] if isinstance(options[key], click.Option) else []
        for one in value if isinstance(value, tuple) else (value,):
            words += [*given_by, *([] if one is True else [str(one)])]
    return words


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return world(tmp_path_factory.mktemp("inputs"))


def test_every_script_is_compared() -> None:
    compared = {*CASES, "doctor", "demo"}
    assert compared == set(SCRIPTS)


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_files_are_the_same(name: str, inputs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000000")
    monkeypatch.chdir(inputs)
    asked, files = CASES[name]
    asked = {**({} if name in ("batch", "mark", "find-skyline") else {"terrain": "ground.tif"}), **asked}
    by_command, from_python = tmp_path / "command", tmp_path / "python"
    for folder in (by_command, from_python):
        folder.mkdir()
    written = {key: str(by_command / file) for key, file in files.items()}
    ended = run(*typed(name, {**asked, **written}))
    assert ended.code in (0, 3), ended.err
    function = getattr(hillsight, function_name(name))
    result = function(**asked, **{key: from_python / file for key, file in files.items()})
    made = contents(by_command)
    assert made == contents(from_python)
    for file in files.values():
        assert file in made
    assert set(result.files) == set(files)
    for places in result.files.values():
        assert all(place.exists() for place in places)


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["outlook", "bearings", "relocate", "resect", "landforms", "profile", "panorama", "posts"]
)
def test_frames_are_those_of_the_file(name: str, inputs: Path, tmp_path: Path) -> None:
    """In memory there is what the file holds: layers, columns, values, places, CRS."""
    asked, _ = CASES[name]
    paths = {
        key: inputs / asked[key] for key in ("sighting", "marks", "photo", "stations", "plan") if key in asked
    }
    asked = {**asked, "terrain": inputs / "ground.tif", "features": inputs / "features.gpkg", **paths}
    function = getattr(hillsight, name)
    written, held = function(**asked, out=tmp_path / "a.gpkg"), function(**asked)
    assert not held.files
    assert list(held.frames) == list(written.frames)
    for layer, frame in held.frames.items():
        there = written.frames[layer]
        assert list(frame.columns) == list(there.columns), layer
        assert frame.crs == there.crs, layer
        assert len(frame) == len(there), layer
        # A file holds XY points of a polygon in whichever order its program writes them.
        assert shapely.equals(frame.geometry, there.geometry).all() or name == "landforms", layer
        for column in frame.columns.drop(frame.geometry.name):
            absent = frame[column].isna()
            assert list(absent) == list(there[column].isna()), column
            assert list(frame.loc[~absent, column]) == list(there.loc[~absent, column]), column
    assert sum(len(frame) for frame in held.frames.values()) > 2
    assert set(held.rasters) == set(written.rasters)


def test_the_doctors_report_is_the_same() -> None:
    def lines(text: str) -> list[str]:
        """The report, but for how long the kernels' first call took."""
        return [re.sub(r"first call [\d.]+ s", "", line) for line in text.splitlines()]

    told = lines("\n".join(hillsight.doctor().lines))
    assert told == lines(run("doctor").out)
    assert told[-1] == "All is well."


@pytest.mark.slow
def test_the_demo_is_the_same(inputs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a small made place instead of the upland, which takes a minute to make."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000000")

    def generate(folder: Path) -> None:
        folder.mkdir()
        (folder / "terrain.tif").write_bytes((inputs / "ground.tif").read_bytes())
        for name in ("features.gpkg", "stations.gpkg"):
            (folder / name).write_bytes((inputs / name).read_bytes())

    def photograph(folder: Path) -> tuple[Path, Path]:
        place = folder / "photograph"
        place.mkdir()
        photo, made = place / "photo.jpg", place / "marks.json"
        photo.write_bytes((inputs / "photo.jpg").read_bytes())
        shown = Photograph.open(photo)
        marked = MarkedPhotograph(shown.name, shown.width_px, shown.height_px, shown.sha256)
        (edge,) = trace().skyline
        inside = edge.x_px < shown.width_px
        traced = Trace(edge.x_px[inside], edge.y_px[inside])
        replace(marks(), photograph=marked, skyline=(traced,)).write(made)
        return photo, made

    monkeypatch.setattr(demo_job, "generate", generate)
    monkeypatch.setattr(demo_job, "sightings", lambda _: [inputs / "sighting.toml"])
    monkeypatch.setattr(photograph_job, "photograph", photograph)
    monkeypatch.setattr(photograph_job, "PICKED_PX", "60,140")
    monkeypatch.setattr(demo_job, "REACH_M", 400.0)
    made = []
    for way in ("command", "python"):
        folder = tmp_path / way
        if way == "command":
            ended = run("demo", "--folder", folder, "--no-pictures")
            assert ended.code == 0, ended.err
            assert ended.out.count("\n$ ") == 7
            assert (
                f"relocate --sighting {inputs / 'sighting.toml'} --terrain {folder}/terrain.tif" in ended.out
            )
            assert f"Open {folder}/outlook.gpkg in a desktop GIS." in ended.out
        else:
            result = hillsight.demo(folder=folder, no_pictures=True)
            assert set(result.verdicts) == {"sighting"}
            assert isinstance(result.outlook.frames["stations"], geopandas.GeoDataFrame)
        made.append(contents(folder))
    assert made[0] == made[1]
    assert {"outlook.gpkg", "bearing_list.csv", "verdict_sighting.gpkg", "verdict_sighting.md"} <= set(
        made[0]
    )
    assert {"camera.gpkg", "verdict_photograph.gpkg", "verdict_photograph.md", "views.gpkg"} <= set(made[0])
