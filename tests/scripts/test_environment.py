"""Other installations' settings, no home, another folder, a reader that leaves: none of it breaks a run."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from pathlib import Path

import geopandas
import pytest

from scripts.commands import AT, REACH, Ended, contents, features, process, run_process, terrain  # isort: skip

POSIX = pytest.mark.skipif(os.name == "nt", reason="POSIX pipes")


def words(folder: Path) -> list[str | Path]:
    ground = terrain(folder)
    return [
        "outlook",
        "--terrain",
        ground,
        "--at",
        AT,
        "--reach",
        REACH,
        "--features",
        features(folder),
        "--out",
        folder / "out.gpkg",
    ]


def check(folder: Path, ended: Ended) -> None:
    assert ended.code == 0, ended.err
    assert "Traceback" not in ended.err
    assert geopandas.read_file(folder / "out.gpkg", layer="stations").crs == "EPSG:27700"


def test_garbage_for_proj_and_gdal(tmp_path: Path) -> None:
    garbage = tmp_path / "garbage"
    garbage.mkdir()
    (garbage / "proj.db").write_text("of another installation")
    names = ("PROJ_DATA", "PROJ_LIB", "GDAL_DATA", "GDAL_DRIVER_PATH")
    environment = dict.fromkeys(names, str(garbage))
    ended = run_process(*words(tmp_path), "--out-crs", "EPSG:27700", environment=environment)
    check(tmp_path, ended)
    # The switch that keeps them shows that the garbage would have done harm.
    kept = run_process(*words(tmp_path), environment={**environment, "HILLSIGHT_KEEP_PROJ": "1"})
    assert kept.code != 0


@pytest.mark.slow
def test_no_home_and_no_cache(tmp_path: Path) -> None:
    """A home that is not there, and folders for caches that cannot be made."""
    file = tmp_path / "a_file"
    file.touch()
    environment = {
        "HOME": "/nonexistent",
        "XDG_CACHE_HOME": str(file / "cache"),
        "XDG_CONFIG_HOME": str(file / "config"),
        "NUMBA_CACHE_DIR": str(file / "numba"),
        "MPLCONFIGDIR": str(file / "matplotlib"),
    }
    check(tmp_path, run_process(*words(tmp_path), environment=environment))
    assert not Path("/nonexistent").exists()


def test_from_another_folder(tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    terrain(tmp_path)
    features(tmp_path)
    given = ["--terrain", "../terrain.tif", "--features", "../features.gpkg", "--out", "out.gpkg"]
    ended = run_process("outlook", *given, "--at", AT, "--reach", REACH, folder=elsewhere)
    check(elsewhere, ended)
    assert {name.split("/")[0] for name in contents(elsewhere)} == {"out.gpkg", "out_styles"}


@POSIX
@pytest.mark.parametrize("streams", ["out", "both"])
def test_a_reader_that_leaves_early(tmp_path: Path, streams: str) -> None:
    """`hillsight ... | head -1`: the files are whole, nothing is complained of, exit code 0."""
    listed = words(tmp_path)
    errors = tmp_path / "errors.txt"
    reading, writing = os.pipe()
    with errors.open("w") as err:
        run = subprocess.Popen(process(*listed), stdout=writing, stderr=writing if streams == "both" else err)
    os.close(writing)
    os.close(reading)  # before the first line is printed: every write fails
    code = run.wait(timeout=900)
    check(tmp_path, Ended(code, "", errors.read_text()))
    assert "Broken" not in errors.read_text()


@POSIX
@pytest.mark.parametrize(
    "what", [["--help"], ["outlook", "--help"], ["outlook", "--describe"], ["--version"]]
)
def test_help_into_a_closed_pipe(what: list[str]) -> None:
    reading, writing = os.pipe()
    run = subprocess.Popen(process(*what), stdout=writing, stderr=subprocess.PIPE, encoding="utf-8")
    os.close(writing)
    os.close(reading)
    _, err = run.communicate(timeout=900)
    assert (run.returncode, err) == (0, "")


def test_utf_8_names_in_a_plain_locale(tmp_path: Path) -> None:
    """A terminal that knows ASCII only gets something printable, and the files the true name."""
    listed = words(tmp_path)
    listed[listed.index(AT)] = "300297,699704,Cîme ⛰"
    ended = run_process(*listed, environment={"LC_ALL": "C", "LANG": "C", "PYTHONIOENCODING": "ascii"})
    check(tmp_path, ended)
    assert list(geopandas.read_file(tmp_path / "out.gpkg", layer="stations")["name"]) == ["Cîme ⛰"]


@pytest.mark.parametrize(
    ("name", "value", "code", "says"),
    [
        ("SOURCE_DATE_EPOCH", "abc", 2, "'abc' is no number of seconds since 1970"),
        ("NUMBA_NUM_THREADS", "0", 0, ""),
        ("NUMBA_NUM_THREADS", "many", 0, ""),
        ("MPLBACKEND", "nonsense", 0, ""),
    ],
)
def test_nonsense_in_the_environment(tmp_path: Path, name: str, value: str, code: int, says: str) -> None:
    pictures = ("--pictures", tmp_path / "pictures") if name == "MPLBACKEND" else ()
    ended = run_process(*words(tmp_path), *pictures, environment={name: value})
    assert ended.code == code, ended.err
    assert "Traceback" not in ended.err
    assert says in ended.err
    assert (tmp_path / "out.gpkg").exists() == (code == 0)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("asked", [(), ("--help",), ("--describe",)], ids=["work", "help", "describe"])
def test_standard_output_on_a_full_disk(tmp_path: Path, asked: tuple[str, ...]) -> None:
    listed = ["outlook", *asked] if asked else words(tmp_path)
    with Path("/dev/full").open("w") as full:
        run = subprocess.run(
            process(*listed), stdout=full, stderr=subprocess.PIPE, encoding="utf-8", check=False, timeout=300
        )
    assert run.returncode == 2, run.stderr
    assert "Traceback" not in run.stderr and "ignored" not in run.stderr
    assert "what is to be printed cannot be written (No space left on device)" in run.stderr
    assert asked or geopandas.read_file(tmp_path / "out.gpkg", layer="stations").crs == "EPSG:27700"


#: Whole runs of other commands, by what they print and what they write.
OTHERS = {
    "viewshed": ("--at", AT, "--reach", REACH, "--out", "out.gpkg"),
    "compare": (
        "--at",
        AT,
        "--at",
        "300400,699600,Far",
        "--looks",
        "N",
        "--reach",
        REACH,
        "--json",
        "out.json",
    ),
    "describe": ("--at", AT, "--looks", "N", "--reach", REACH),
}


@pytest.mark.slow
@POSIX
@pytest.mark.parametrize("stream", ["full", "closed", "unread"])
@pytest.mark.parametrize("name", OTHERS)
def test_standard_output_of_other_commands(tmp_path: Path, name: str, stream: str) -> None:
    """On a full disk, closed, and into a pipe whose reader has gone: one message or none, and whole files."""
    if stream == "full" and not Path("/dev/full").exists():
        pytest.skip("no device that is always full")
    line = shlex.join(process(name, "--terrain", terrain(tmp_path), *OTHERS[name]))
    if stream == "unread":
        line = f"{{ {line}; echo $? >code; }} | true"
    else:
        line += " >/dev/full" if stream == "full" else " >&-"
    run = subprocess.run(
        line, shell=True, cwd=tmp_path, capture_output=True, encoding="utf-8", check=False, timeout=600
    )
    code = int((tmp_path / "code").read_text()) if stream == "unread" else run.returncode
    assert code == (2 if stream == "full" else 0), run.stderr
    complaints = [one for one in run.stderr.splitlines() if not one.startswith("note: ")]
    if stream == "full":
        (complaint,) = complaints
        assert "what is to be printed cannot be written (No space left on device)" in complaint
    else:
        assert complaints == []
    if "out.gpkg" in OTHERS[name]:
        assert geopandas.read_file(tmp_path / "out.gpkg", layer="stations").crs == "EPSG:27700"
    if "out.json" in OTHERS[name]:
        assert json.loads((tmp_path / "out.json").read_text())
    assert not list(tmp_path.rglob(".hillsight-*"))


@POSIX
@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-"])
def test_closed_streams(tmp_path: Path, closed: str) -> None:
    line = " ".join(f"'{word}'" for word in process(*words(tmp_path)))
    run = subprocess.run(
        f"{line} {closed}", shell=True, capture_output=True, encoding="utf-8", check=False, timeout=300
    )
    check(tmp_path, Ended(run.returncode, run.stdout, run.stderr))


def test_letters_that_the_terminal_lacks(tmp_path: Path) -> None:
    listed = words(tmp_path)
    listed[listed.index(AT)] = "300297,699704,Fell \U0001f600"
    ended = subprocess.run(
        process(*listed),
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "latin-1"},
        check=False,
        timeout=300,
    )
    check(tmp_path, Ended(ended.returncode, "", ended.stderr.decode("latin-1")))
    assert b"Fell \\U0001f600" in ended.stdout


@POSIX
@pytest.mark.parametrize("signal_name", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_a_stop_in_the_last_moment(signal_name: str) -> None:
    """As the interpreter goes down, after the work: the work's own code, and no death by the signal."""
    late = (
        "import atexit, os, signal\n"
        f"atexit.register(lambda: os.kill(os.getpid(), signal.{signal_name}))\n"
        "from hillsight.scripts.main import main\nmain()"
    )
    ended = subprocess.run(
        [sys.executable, "-c", late, "outlook", "--help"],
        capture_output=True,
        encoding="utf-8",
        check=False,
        timeout=60,
    )
    assert (ended.returncode, ended.stderr) == (0, "")


@POSIX
def test_a_stop_before_the_work() -> None:
    early = (
        "import os, signal\nfrom hillsight.scripts import main, running\n"
        "running._settle_streams = lambda: os.kill(os.getpid(), signal.SIGTERM)\nmain.main()"
    )
    ended = subprocess.run(
        [sys.executable, "-c", early, "outlook", "--help"],
        capture_output=True,
        encoding="utf-8",
        check=False,
        timeout=60,
    )
    assert ended.returncode == 130
    assert "stopped" in ended.stderr and "Traceback" not in ended.stderr
