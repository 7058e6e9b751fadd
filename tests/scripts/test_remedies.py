"""What messages advise can be done by the command that says it."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import click
import numpy as np
import pytest

import hillsight
from hillsight.errors import HillsightError
from hillsight.ground.small_files import MOST_BYTES
from hillsight.scripts.running import with_options
from jobs.worlds import FAR, NEAR, SIGHTING, SPACING, heights, world
from terrains import write_geotiff

from scripts.commands import SCRIPTS, command_of, run  # isort: skip

ROOM = Path(hillsight.__file__).parent
_OPTION = re.compile(r"(?<![\w-])--[a-z][a-z-]*")


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return world(tmp_path_factory.mktemp("inputs"))


def options_of(command: click.Command) -> set[str]:
    return {word for param in command.params for word in param.opts}


@cache
def parameters_named() -> dict[str, set[str]]:
    """Parameters that errors are about, named in a tuple or by a constant of the module, and where."""
    found: dict[str, set[str]] = {}
    for path in ROOM.rglob("*.py"):
        module = ast.parse(path.read_text(encoding="utf-8"))
        constants = {
            target.id: item.value
            for item in module.body
            if isinstance(item, ast.Assign)
            for target in item.targets
            if isinstance(target, ast.Name)
        }
        for call in (item for item in ast.walk(module) if isinstance(item, ast.Call)):
            for values in (k.value for k in call.keywords if k.arg == "parameters"):
                whole = constants.get(values.id) if isinstance(values, ast.Name) else values
                for item in whole.elts if isinstance(whole, ast.Tuple) else ():
                    if isinstance(item, ast.Constant):
                        found.setdefault(item.value, set()).add(path.name)
    return found


@pytest.mark.parametrize("name", SCRIPTS)
def test_help_names_no_option_of_another_command(name):
    command = command_of(name)
    texts = [command.help or "", *(getattr(param, "help", None) or "" for param in command.params)]
    assert set(_OPTION.findall(" ".join(texts))) <= options_of(command)


@pytest.mark.parametrize("name", [name for name in SCRIPTS if " " not in name])
def test_a_script_says_only_its_own_options(name):
    """In whatever text of its module; options that it takes from elsewhere are declared there."""
    command = command_of(name)
    module = ROOM / "scripts" / f"{name.replace('-', '_')}.py"
    strings = [
        item.value
        for item in ast.walk(ast.parse(module.read_text(encoding="utf-8")))
        if isinstance(item, ast.Constant) and isinstance(item.value, str)
    ]
    said = {word for text in strings if " " in text for word in _OPTION.findall(text)}
    # The demo says what to run next: that is another command, with that one's options.
    others = options_of(command_of("exercise print")) if name == "demo" else set()
    assert said <= options_of(command) | others


def test_every_parameter_that_an_error_is_about_is_an_option_of_some_command():
    """A misspelt one would be left out of all messages, and nobody would see it."""
    known = {str(param.name) for name in SCRIPTS for param in command_of(name).params}
    named = parameters_named()
    assert {"reach", "terrain_crs", "surface", "at"} <= set(named)
    assert {name: where for name, where in named.items() if name not in known} == {}


@pytest.mark.parametrize("name", SCRIPTS)
def test_an_error_names_the_options_that_the_command_has_and_no_others(name):
    command = command_of(name)
    named = sorted(parameters_named())
    told = with_options(HillsightError("is wrong", parameters=named), command)
    has = {param.name: param for param in command.params if isinstance(param, click.Option)}
    assert set(_OPTION.findall(told)) == {has[word].opts[-1] for word in named if word in has}


def test_a_day_beyond_the_magnetic_models_is_told_where_it_was_given(inputs, tmp_path):
    """``relocate`` has no option for a day: it stands in the sighting."""
    path = tmp_path / "a.toml"
    path.write_text(SIGHTING.replace("width_deg = 60", "width_deg = 60\ntaken = 2051-06-01"))
    words = ("relocate", "--terrain", inputs / "ground.tif", "--at", NEAR, "--at", FAR)
    ended = run(*words, "--features", inputs / "features.gpkg", "--sighting", path)
    assert ended.code == 2, ended.err
    (told,) = [line for line in ended.err.splitlines() if line.startswith("hillsight: ")]
    assert "[picture], taken: the day for magnetic bearings lies in 2051" in told
    assert "Correct the day it was taken on" in told
    assert _OPTION.findall(told) == []


LARGE = {
    "relocate": ("--terrain", "ground.tif", "--at", NEAR, "--at", FAR, "--sighting", "large"),
    "exercise check": ("large",),
    "posts": ("large", "--terrain", "ground.tif"),
    "batch": ("large", "--out", "out"),
    "bearings": (
        *("--terrain", "ground.tif", "--at", NEAR, "--features", "features.gpkg"),
        *("--evidence", "large", "--out", "a.gpkg"),
    ),
    "viewshed": (
        *("--terrain", "ground.tif", "--at", NEAR, "--cover", "features.gpkg"),
        *("--cover-heights", "large", "--out", "a.gpkg"),
    ),
    "resect": ("--terrain", "ground.tif", "--at", NEAR, "--photo", "knoll.png", "--marks", "large"),
}


@pytest.mark.parametrize("command", LARGE)
def test_a_wrong_file_is_not_read_till_memory_ends(command, inputs, monkeypatch):
    """As a raster that was given for it: the message is about the file, and not about the reach."""
    monkeypatch.chdir(inputs)
    with (inputs / "large").open("wb") as file:
        file.truncate(MOST_BYTES + 1)
    ended = run(*command.split(), *LARGE[command])
    assert ended.code == 2, ended.err
    (told,) = [line for line in ended.err.splitlines() if line.startswith("hillsight: ")]
    assert "large" in told and "it holds more than 16 MB" in told
    assert "reach" not in told
    assert not (inputs / "out").exists() and not (inputs / "a.gpkg").exists()


@pytest.mark.parametrize("value", [np.inf, 1e30])
def test_a_cell_of_the_surface_model_is_not_mended_by_the_terrains_options(value, inputs, tmp_path):
    top_m = heights() + 1.0
    top_m[80, 80] = value
    write_geotiff(tmp_path / "surface.tif", top_m, spacing=SPACING)
    words = ("viewshed", "--terrain", inputs / "ground.tif", "--at", NEAR, "--reach", "400")
    ended = run(*words, "--surface", tmp_path / "surface.tif", "--out", tmp_path / "a.gpkg")
    assert ended.code == 2, ended.err
    (told,) = [line for line in ended.err.splitlines() if line.startswith("hillsight: ")]
    assert "surface.tif" in told and "in the surface model's file itself" in told
    assert _OPTION.findall(told) == ["--surface", "--nodata"]
    # --nodata is for both files, as the message says: then the cell is void.
    ended = run(
        *words, "--surface", tmp_path / "surface.tif", "--nodata", str(value), "--out", tmp_path / "a.gpkg"
    )
    assert ended.code == 0, ended.err


def test_quiet_leaves_out_the_note_of_errors_and_keeps_what_warns(inputs, tmp_path):
    words = ("bearings", "--terrain", inputs / "ground.tif", "--at", NEAR, "--reach", "2000")
    words += ("--features", inputs / "features.gpkg")
    loud = run(*words, "--out", tmp_path / "a.gpkg")
    assert loud.code == 0, loud.err
    assert "note: errors of the terrain model" in loud.err
    assert "is unknown" in loud.err
    quiet = run(*words, "--out", tmp_path / "a.gpkg", "--quiet")
    assert quiet.code == 0
    assert quiet.out == ""
    assert "errors of the terrain model" not in quiet.err
    assert "is unknown" in quiet.err
