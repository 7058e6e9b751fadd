"""Runs the command line inside the test's process, and a small world for it to run on."""

from __future__ import annotations

import hashlib
import io
import os
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import geopandas
import shapely

from hillsight import plugins
from hillsight.scripts.main import main
from terrains import fractal, write_geotiff

#: Every script that does work of its own, by the words it is called with.
SCRIPTS = tuple(plugins.runnable())

WEST, NORTH, SPACING, POSTS = 300_000.0, 700_000.0, 10.0, 60
AT = "300297,699704,Cairn"
REACH = "200"


@dataclass(frozen=True)
class Ended:
    """How a run ended: exit code and the two streams."""

    code: int
    out: str
    err: str

    @property
    def notes(self) -> list[str]:
        return [line.removeprefix("note: ") for line in self.err.splitlines() if line.startswith("note: ")]


def command_of(name: str) -> click.Command:
    """The command that the words of a script call."""
    command: click.Command | None = main
    for word in name.split():
        assert isinstance(command, click.Group), name
        command = command.get_command(click.Context(command), word)
    assert command is not None, name
    return command


def function_name(name: str) -> str:
    """What a script is called in Python."""
    return name.replace("-", "_").replace(" ", "_")


def run(*words: str | Path) -> Ended:
    """``hillsight WORDS`` in this process, as the console script would run it."""
    out, err = io.StringIO(), io.StringIO()
    code: Any = None
    with redirect_stdout(out), redirect_stderr(err):
        try:
            main.main([str(word) for word in words], prog_name="hillsight")
        except SystemExit as ended:
            code = ended.code
    assert isinstance(code, int), "the command returned instead of ending the process"
    return Ended(code, out.getvalue(), err.getvalue())


def done(*words: str | Path) -> Ended:
    """A run that must end well."""
    ended = run(*words)
    assert ended.code == 0, ended.err
    assert "Traceback" not in ended.err
    return ended


def assert_refused(folder: Path, *words: str | Path, says: tuple[str, ...]) -> str:
    """A run that must end with exit code 2, one message and the folder as it was; returns the message."""
    before = contents(folder)
    ended = run(*words)
    message = one_message(ended, 2)
    assert contents(folder) == before, "the folder has changed"
    for word in says:
        assert word in message, message
    return message


def one_message(ended: Ended, code: int) -> str:
    """The single message of a run that failed; anything else on the error stream may only be a note."""
    lines = ended.err.splitlines()
    messages = [line for line in lines if not line.startswith("note: ")]
    assert ended.code == code, ended.err
    assert len(messages) == 1, ended.err
    assert messages[0].startswith("hillsight: "), ended.err
    assert messages[0] == lines[-1]
    assert "wrote" not in ended.out
    return messages[0]


def contents(folder: Path) -> dict[str, str]:
    """Every file and folder below, hidden ones too, with the checksum of what it holds."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
        for path in sorted(folder.rglob("*"))
    }


def process(*words: str | Path) -> list[str]:
    """Command line of ``hillsight WORDS`` as a process of its own."""
    return [sys.executable, "-m", "hillsight.scripts", *(str(word) for word in words)]


def run_process(
    *words: str | Path, folder: Path | None = None, environment: dict[str, str] | None = None
) -> Ended:
    """``hillsight WORDS`` as a process of its own, with additions to the environment."""
    ended = subprocess.run(
        process(*words),
        capture_output=True,
        cwd=folder,
        env={**os.environ, **(environment or {})},
        timeout=600,
        check=False,
        encoding="utf-8",
    )
    return Ended(ended.returncode, ended.stdout, ended.stderr)


def terrain(folder: Path, **changes: Any) -> Path:
    """Rough ground of 60 x 60 posts 10 m apart on the British grid, heights in metres."""
    ground = fractal(POSTS, POSTS, seed=1, relief_m=80, lowest_m=100)
    return write_geotiff(folder / "terrain.tif", ground, unit="m", **changes)


def features(folder: Path, *, crs: str = "EPSG:27700", name: str = "features.gpkg") -> Path:
    """A top, a stream and a wood around the station."""
    frame = geopandas.GeoDataFrame(
        {"name": ["High Top", "Long Beck", "Square Wood"], "kind": ["summit", "stream", "wood"]},
        geometry=[
            shapely.Point(300_350, 699_800),
            shapely.LineString([(300_150, 699_850), (300_450, 699_550)]),
            shapely.box(300_200, 699_600, 300_260, 699_660),
        ],
        crs="EPSG:27700",
    )
    path = folder / name
    frame.to_crs(crs).to_file(path, layer="things")
    return path
