"""A script that somebody else packs and installs is found, described and run as ours are."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from scripts.commands import Ended, one_message, run, run_process  # isort: skip

MODULE = '''
"""Height of the ground at the places given: a script of another package."""

import click

from hillsight.scripts import options
from hillsight.scripts.running import script


@script("spot-heights", title="Height of the ground at places", outputs={"stdout": "text/plain; Heights"})
@options.terrain
@click.option("--places", type=click.IntRange(1), default=3, show_default=True, help="How many places.")
def command(terrain, places, **_):
    """Print the height of the ground at some places."""
    from hillsight.errors import TerrainError

    if not terrain.endswith(".tif"):
        raise TerrainError("this is no GeoTIFF", where=terrain, remedy="Give one")
    click.echo(f"{places} places on {terrain}")
'''


def package(folder: Path, name: str, module: str, entry_points: str) -> Path:
    """The files of an installed package, as an installer lays them (PyPA: binary distribution format)."""
    (folder / f"{name}.py").write_text(module, encoding="utf-8")
    info = folder / f"{name}-1.0.dist-info"
    info.mkdir(parents=True)
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n", encoding="utf-8")
    (info / "entry_points.txt").write_text(f"[hillsight.scripts]\n{entry_points}\n", encoding="utf-8")
    return folder


def hillsight(folder: Path, *words: str) -> Ended:
    paths = [str(folder), *os.environ.get("PYTHONPATH", "").split(os.pathsep)]
    return run_process(*words, environment={"PYTHONPATH": os.pathsep.join(p for p in paths if p)})


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    return package(folder, "spot_heights", MODULE, "spot-heights = spot_heights:command")


def test_it_is_listed_with_ours(installed: Path) -> None:
    ended = hillsight(installed, "--help")
    assert (ended.code, ended.err) == (0, "")
    assert "\n  spot-heights  Print the height of the ground at some places." in ended.out
    assert "\n  outlook " in ended.out
    assert "spot-heights" not in run_process("--help").out


def test_it_describes_itself(installed: Path) -> None:
    ended = hillsight(installed, "spot-heights", "--describe")
    assert (ended.code, ended.err) == (0, "")
    description = json.loads(ended.out)
    assert description["id"] == "spot-heights"
    assert description["title"] == "Height of the ground at places"
    assert description["inputs"]["terrain"]["minOccurs"] == 1
    assert description["inputs"]["places"]["schema"] == {"type": "integer", "minimum": 1, "default": 3}
    assert set(description["outputs"]) == {"stdout"}


def test_it_runs_and_its_errors_are_one_line(installed: Path) -> None:
    ended = hillsight(installed, "spot-heights", "--terrain", "hill.tif", "--places", "2")
    assert (ended.code, ended.out, ended.err) == (0, "2 places on hill.tif\n", "")
    message = one_message(hillsight(installed, "spot-heights", "--terrain", "hill.asc"), 2)
    assert message == "hillsight: hill.asc: this is no GeoTIFF. Give one."


def test_it_cannot_take_the_name_of_one_of_ours(tmp_path: Path) -> None:
    folder = package(tmp_path, "spot_heights", MODULE, "outlook = spot_heights:command")
    ended = hillsight(folder, "outlook", "--help")
    assert ended.out == run_process("outlook", "--help").out


def test_the_doctor_names_it(installed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(installed))
    findings = json.loads(run("doctor", "--json").out)
    assert "spot-heights" in next(f["found"] for f in findings if f["subject"] == "scripts")


@pytest.mark.parametrize(
    ("module", "why"),
    [
        ("import no_such_library_at_all\n", "no_such_library_at_all"),
        ("def broken(:\n", "SyntaxError"),
        ("raise SystemExit('gone')\n", "gone"),
        ("command = None\n", "is not a command"),
    ],
    ids=["import", "syntax", "exit", "no command"],
)
def test_a_broken_one_costs_a_line_of_the_help(tmp_path: Path, module: str, why: str) -> None:
    folder = package(tmp_path, "broken_one", module, "broken-one = broken_one:command")
    ended = hillsight(folder, "--help")
    assert (ended.code, ended.err) == (0, "")
    lines = [line for line in ended.out.splitlines() if "broken" in line]
    assert len(lines) == 1
    assert "cannot be loaded" in lines[0]
    assert "\n  outlook " in ended.out
    message = one_message(hillsight(folder, "broken-one", "--terrain", "hill.tif"), 2)
    assert why in message
    assert "hillsight doctor" in message


def test_the_doctor_names_a_broken_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = package(tmp_path, "ill_one", "import not_there\n", "ill-one = ill_one:command")
    monkeypatch.syspath_prepend(str(folder))
    ended = run("doctor")
    assert ended.code == 3
    assert "FAIL  script ill-one: cannot be loaded: ModuleNotFoundError: " in ended.out


def test_an_installer_of_packages_installs_it(tmp_path: Path) -> None:
    """A wheel, which is a zip of the same files, put into a folder by pip without an index."""
    pytest.importorskip("pip")
    import zipfile

    source = package(tmp_path, "spot_heights", MODULE, "spot-heights = spot_heights:command")
    info = source / "spot_heights-1.0.dist-info"
    (info / "WHEEL").write_text(
        "Wheel-Version: 1.0\nGenerator: by hand\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
    )
    files = [source / "spot_heights.py", *sorted(info.iterdir())]
    names = [str(file.relative_to(source)) for file in files]
    wheel = tmp_path / "spot_heights-1.0-py3-none-any.whl"
    with zipfile.ZipFile(wheel, "w") as archive:
        for file, name in zip(files, names, strict=True):
            archive.write(file, name)
        record = f"{info.name}/RECORD"
        archive.writestr(record, "".join(f"{name},,\n" for name in [*names, record]))
    site = tmp_path / "site"
    subprocess.run(
        [
            sys.executable,
            "-m",
            "pip",
            "install",
            "--quiet",
            "--no-index",
            "--no-deps",
            "--target",
            site,
            wheel,
        ],
        check=True,
        timeout=120,
        env={**os.environ, "PIP_DISABLE_PIP_VERSION_CHECK": "1"},
    )
    assert hillsight(site, "spot-heights", "--terrain", "a.tif").out == "3 places on a.tif\n"
