"""Help is quick and complete, and one broken script costs one line of it."""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import EntryPoint, EntryPoints
from pathlib import Path

import click
import pytest

from hillsight import plugins

from scripts.commands import SCRIPTS as ALL_SCRIPTS  # isort: skip
from scripts.commands import command_of, function_name, one_message, run  # isort: skip

SCRIPTS = (
    "batch",
    "bearings",
    "compare",
    "dead-ground",
    "demo",
    "describe",
    "doctor",
    "exercise check",
    "exercise find",
    "exercise page",
    "exercise print",
    "find-skyline",
    "landforms",
    "mark",
    "outlook",
    "panorama",
    "posts",
    "profile",
    "relocate",
    "resect",
    "search",
    "sheet",
    "viewshed",
)
HEAVY = (
    "numba",
    "numpy",
    "pandas",
    "matplotlib",
    "geopandas",
    "rasterio",
    "scipy",
    "shapely",
    "pyproj",
    "pyogrio",
)

_LISTS_MODULES = """
import sys
from hillsight.scripts.main import main
try:
    main.main(sys.argv[1:], prog_name="hillsight")
except SystemExit as ended:
    assert not ended.code, ended.code
print("MODULES", *sorted({name.partition(".")[0] for name in sys.modules}))
"""


@pytest.mark.parametrize(
    "words",
    [
        ["--help"],
        ["-h"],
        ["--version"],
        *([*name.split(), "--help"] for name in SCRIPTS),
        ["exercise", "-h"],
        ["outlook", "--describe"],
    ],
)
def test_help_loads_nothing_heavy(words: list[str]) -> None:
    ended = subprocess.run(
        [sys.executable, "-c", _LISTS_MODULES, *words],
        capture_output=True,
        encoding="utf-8",
        timeout=60,
        check=True,
    )
    loaded = ended.stdout.splitlines()[-1].split()
    assert loaded[0] == "MODULES"
    assert "hillsight" in loaded
    assert not set(HEAVY) & set(loaded)


@pytest.mark.parametrize("name", SCRIPTS)
def test_each_script_runs_as_a_module(name: str) -> None:
    module = f"hillsight.scripts.{function_name(name)}"
    ended = subprocess.run(
        [sys.executable, "-W", "error", "-m", module, "--help"],
        capture_output=True,
        encoding="utf-8",
        timeout=60,
        check=True,
    )
    assert ended.stderr == ""
    assert "--describe" in ended.stdout
    assert run(*name.split(), "--help").out.partition("\n")[2] == ended.stdout.partition("\n")[2]


@pytest.mark.parametrize("name", SCRIPTS)
def test_every_option_has_help(name: str) -> None:
    command = command_of(name)
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, option.opts
        else:
            assert option.make_metavar(click.Context(command)) in str(command.help), "told in the text above"


@pytest.mark.parametrize("name", SCRIPTS)
def test_defaults_are_shown_as_they_are_typed(name: str) -> None:
    command = command_of(name)
    shown = " ".join(run(*name.split(), "--help").out.split())
    assert "[default: (" not in shown
    for option in command.params:
        if isinstance(option, click.Option) and isinstance(option.default, float | str | Path):
            assert f"[default: {option.default}]" in shown, option.name


def test_every_script_is_listed() -> None:
    assert set(SCRIPTS) == set(ALL_SCRIPTS)
    listed = run("--help").out + run("exercise", "--help").out
    for name in (*SCRIPTS, "exercise"):
        assert f"\n  {name.rpartition(' ')[2]} " in listed


def test_no_words_at_all_shows_the_help() -> None:
    ended = run()
    assert ended.code == 2
    assert "Commands:" in ended.err + ended.out
    assert "Traceback" not in ended.err


def test_an_unknown_script_lists_those_there_are() -> None:
    message = one_message(run("outlok"), 2)
    assert "'outlok'" in message
    for name in SCRIPTS:
        assert name.partition(" ")[0] in message


def test_an_unknown_option_says_which_is_meant() -> None:
    message = one_message(run("outlook", "--terain", "x.tif"), 2)
    assert "--terain" in message
    assert "--terrain" in message
    assert "outlook --help" in message


BROKEN = {
    "gone": EntryPoint("gone", "no_such_package_at_all:command", plugins.GROUP),
    "number": EntryPoint("number", "math:pi", plugins.GROUP),
    "nothing": EntryPoint("nothing", "math:no_such_name", plugins.GROUP),
}


@pytest.fixture
def with_broken_scripts(monkeypatch: pytest.MonkeyPatch) -> None:
    real = plugins.entry_points

    def patched(*, group: str) -> EntryPoints:
        return EntryPoints([*real(group=group), *BROKEN.values()])

    monkeypatch.setattr(plugins, "entry_points", patched)


@pytest.mark.usefixtures("with_broken_scripts")
def test_a_broken_script_costs_one_line() -> None:
    ended = run("--help")
    assert ended.code == 0
    assert "Traceback" not in ended.err
    for name in BROKEN:
        assert f"\n  {name} " in ended.out
        message = one_message(run(name), 2)
        assert name in message
        assert "hillsight doctor" in message
        assert "cannot be loaded" in one_message(run(name, "--terrain", "x.tif"), 2)
    assert ended.out.count("cannot be loaded") == len(BROKEN)
    assert run("outlook", "--help").code == 0
