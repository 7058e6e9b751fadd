"""Places that cannot be written to: found before the work, one message, and nothing changed."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from scripts.commands import AT, REACH, contents, done, features, one_message, assert_refused, run, terrain  # isort: skip
from scripts.commands import Ended  # isort: skip

POSIX = pytest.mark.skipif(os.name == "nt", reason="POSIX links, limits and read-only folders")


def writing(folder: Path, out: str | Path, *more: str | Path) -> list[str | Path]:
    ground = folder / "terrain.tif"
    if not ground.exists():
        terrain(folder)
    return ["outlook", "--terrain", ground, "--at", AT, "--reach", REACH, "--out", out, *more]


def test_no_output_named(tmp_path: Path) -> None:
    words = writing(tmp_path, tmp_path / "out.gpkg")
    assert_refused(tmp_path, *words[:-2], says=("--out",))
    assert_refused(tmp_path, *words[:-1], "", says=("--out", "empty"))


def test_missing_folder(tmp_path: Path) -> None:
    out = tmp_path / "none" / "out.gpkg"
    assert_refused(tmp_path, *writing(tmp_path, out), says=("none", "folder does not exist", "Make it"))


def test_a_file_as_folder(tmp_path: Path) -> None:
    words = writing(tmp_path, tmp_path / "terrain.tif" / "out.gpkg")
    assert_refused(tmp_path, *words, says=("terrain.tif", "folder is needed"))


@POSIX
def test_folder_that_takes_no_files(tmp_path: Path) -> None:
    """/proc takes no new file from anybody, the superuser included."""
    if not Path("/proc/self").is_dir():
        pytest.skip("no /proc on this system")
    assert_refused(tmp_path, *writing(tmp_path, "/proc/out.gpkg"), says=("/proc", "nothing can be written"))


@POSIX
@pytest.mark.skipif(
    hasattr(os, "geteuid") and os.geteuid() == 0, reason="permission bits do not bind the superuser"
)
def test_read_only_folder(tmp_path: Path) -> None:
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o500)
    words = writing(tmp_path, closed / "out.gpkg")
    assert_refused(tmp_path, *words, says=("closed", "nothing can be written", "another folder"))


def test_the_output_is_a_folder(tmp_path: Path) -> None:
    (tmp_path / "out.gpkg").mkdir()
    assert_refused(
        tmp_path, *writing(tmp_path, tmp_path / "out.gpkg"), says=("out.gpkg", "folder", "name of a file")
    )


@pytest.mark.parametrize("name", ["out", "out.tif", "out.gpkg.zip"])
def test_wrong_suffix(tmp_path: Path, name: str) -> None:
    assert_refused(
        tmp_path, *writing(tmp_path, tmp_path / name), says=(name, "must end in .gpkg", "Name it out.gpkg")
    )


def test_the_output_is_an_input(tmp_path: Path) -> None:
    path = features(tmp_path)
    words = writing(tmp_path, path, "--features", path)
    assert_refused(tmp_path, *words, says=("features.gpkg", "output is one of the inputs", "another file"))


@POSIX
@pytest.mark.parametrize("kind", ["symbolic", "hard"])
def test_the_output_is_an_input_by_a_link(tmp_path: Path, kind: str) -> None:
    path = features(tmp_path)
    link = tmp_path / "link.gpkg"
    if kind == "symbolic":
        link.symlink_to(path)
    else:
        link.hardlink_to(path)
    words = writing(tmp_path, link, "--features", path)
    assert_refused(tmp_path, *words, says=("link.gpkg", "output is one of the inputs"))
    assert_refused(
        tmp_path, *writing(tmp_path, path, "--features", link), says=("output is one of the inputs",)
    )


def test_the_terrain_as_output(tmp_path: Path) -> None:
    """A GeoPackage may hold the terrain too."""
    from terrains import fractal, write_geotiff

    ground = write_geotiff(tmp_path / "ground.gpkg", fractal(60, 60, seed=1), driver="GPKG")
    words = ["outlook", "--terrain", ground, "--at", AT, "--reach", REACH]
    assert_refused(tmp_path, *words, "--out", ground, says=("ground.gpkg", "output is one of the inputs"))
    done(*words, "--out", tmp_path / "out.gpkg")


def test_the_csv_is_an_input_or_the_output(tmp_path: Path) -> None:
    out = tmp_path / "out.gpkg"
    places = tmp_path / "places.csv"
    places.write_text("name,kind,E,N\nTop,summit,300350,699800\n")
    words = writing(tmp_path, out, "--features", places)
    assert_refused(tmp_path, *words, "--csv", places, says=("places.csv", "output is one of the inputs"))
    assert_refused(tmp_path, *words, "--csv", out, says=("out.gpkg", "--csv"))
    assert_refused(
        tmp_path, *words, "--csv", tmp_path / "none" / "a.csv", says=("none", "folder does not exist")
    )
    assert_refused(tmp_path, *words, "--csv", tmp_path, says=("folder",))


def test_rasters_need_a_folder(tmp_path: Path) -> None:
    words = writing(tmp_path, tmp_path / "out.gpkg", "--rasters")
    assert_refused(tmp_path, *words, tmp_path / "terrain.tif", says=("terrain.tif", "folder is needed"))
    assert_refused(
        tmp_path, *words, tmp_path / "terrain.tif" / "deep", says=("terrain.tif", "folder is needed")
    )


def test_styles_need_a_folder(tmp_path: Path) -> None:
    (tmp_path / "out_styles").write_text("in the way")
    assert_refused(
        tmp_path, *writing(tmp_path, tmp_path / "out.gpkg"), says=("out_styles", "folder is needed")
    )


def test_an_older_file_is_replaced_and_survives_a_failure(tmp_path: Path) -> None:
    words = writing(tmp_path, tmp_path / "out.gpkg")
    done(*words)
    first = contents(tmp_path)
    assert_refused(tmp_path, *words, "--eye-height", "600", says=("--eye-height",))
    done(*words, "--eye-height", "20")
    assert contents(tmp_path)["out.gpkg"] != first["out.gpkg"]
    assert set(contents(tmp_path)) == set(first)


def test_an_older_file_survives_a_failure_half_way(tmp_path: Path) -> None:
    """The second station stands on a void, which shows only when the first is done and the file is begun."""
    from terrains import plane, with_hole, write_geotiff

    ground = write_geotiff(tmp_path / "holed.tif", with_hole(plane(60, 60), 8, 8, 4, 4))
    out = tmp_path / "out.gpkg"
    out.write_text("the older file")
    words = ["outlook", "--terrain", ground, "--reach", REACH, "--out", out, "--at", AT]
    assert_refused(tmp_path, *words, "--at", "300095,699905,Hole", says=("'Hole'", "void", "Move it"))


@pytest.mark.slow
@POSIX
@pytest.mark.parametrize("most_bytes", [0, 100_000, 600_000])
def test_a_disk_that_is_full(tmp_path: Path, most_bytes: int) -> None:
    """A limit on the size of files stands for a full disk: writing fails in the same way, half through."""
    out = tmp_path / "out.gpkg"
    words = writing(tmp_path, out)
    out.write_text("the older file")
    before = contents(tmp_path)
    program = (
        "import resource, signal, sys\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "from hillsight.scripts.main import main\n"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({most_bytes}, {most_bytes}))\n"
        "main.main(sys.argv[1:], prog_name='hillsight')\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", program, *(str(word) for word in words)],
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    message = one_message(Ended(ended.returncode, ended.stdout, ended.stderr), 2)
    assert "out.gpkg" in message
    assert "disk" in message or "beyond the size allowed" in message, message
    assert contents(tmp_path) == before


@pytest.mark.parametrize(
    "name", ['o\'ut "x".gpkg', "höhe ⛰.gpkg", "a;b! %s $HOME.gpkg", "-out.gpkg", "UPPER.GPKG"]
)
def test_odd_file_names(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    words = writing(tmp_path, f"./{name}")
    monkeypatch.chdir(tmp_path)
    done(*words)
    with sqlite3.connect(tmp_path / name) as database:
        assert database.execute("SELECT count(*) FROM stations").fetchone() == (1,)
    style_folder = f"{Path(name).stem}_styles"
    assert {path.name for path in tmp_path.iterdir()} == {"terrain.tif", name, style_folder}


def test_a_name_that_no_file_can_have(tmp_path: Path) -> None:
    assert_refused(tmp_path, *writing(tmp_path, tmp_path / ("x" * 300 + ".gpkg")), says=("name", "too long"))


def test_a_line_break_in_a_path_keeps_the_message_on_one_line(tmp_path: Path) -> None:
    ended = run(*writing(tmp_path, tmp_path / "two\nlines" / "out.gpkg"))
    assert "folder does not exist" in one_message(ended, 2)


@pytest.mark.parametrize("sign", ["!", ";"])
def test_signs_that_the_vector_library_would_misread(tmp_path: Path, sign: str) -> None:
    """pyogrio reads "hi!ll.gpkg" as the file "ll.gpkg" in an archive "hi": another file, if there is one."""
    folder = tmp_path / f"hi{sign}ll"
    folder.mkdir()
    (tmp_path / "ll").mkdir()
    assert_refused(
        tmp_path, *writing(tmp_path, folder / "out.gpkg"), says=(f"hi{sign}ll", "! or ;", "another folder")
    )
    path = features(tmp_path).rename(tmp_path / f"a{sign}b.gpkg")
    words = writing(tmp_path, tmp_path / "out.gpkg", "--features", path)
    assert_refused(tmp_path, *words, says=(f"a{sign}b.gpkg", "! or ;", "Rename it"))
