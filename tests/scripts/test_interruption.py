"""Ctrl-C, SIGTERM and rival runs: old file or new file, never a part of one, and one message."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import time
from pathlib import Path

import geopandas
import pytest

from scripts.commands import REACH, Ended, contents, one_message, process, terrain  # isort: skip

pytestmark = pytest.mark.skipif(os.name == "nt", reason="POSIX signals")

STATIONS = 6


def words(folder: Path) -> list[str | Path]:
    ground = folder / "terrain.tif"
    if not ground.exists():
        terrain(folder)
    places = [word for i in range(STATIONS) for word in ("--at", f"{300_100 + 50 * i},699700,S{i}")]
    return ["outlook", "--terrain", ground, "--reach", REACH, "--out", folder / "out.gpkg", *places]


def start(folder: Path, **more: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        process(*words(folder)),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        start_new_session=True,
        # A shell that runs the tests in the background makes its children ignore Ctrl-C.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        env={**os.environ, **more},
    )


def end(run: subprocess.Popen[str]) -> Ended:
    out, err = run.communicate(timeout=120)
    return Ended(run.returncode, out, err)


def group_is_gone(leader: int) -> bool:
    """Whether no process of the run's own session is left."""
    try:
        os.killpg(leader, 0)
    except ProcessLookupError:
        return True
    return False


def is_whole(path: Path) -> bool:
    return len(geopandas.read_file(path, layer="stations")) == STATIONS


def seconds_of_a_run(folder: Path) -> float:
    begun = time.monotonic()
    ended = end(start(folder))
    assert ended.code == 0, ended.err
    return time.monotonic() - begun


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["SIGINT", "SIGTERM"])
def test_stopped_at_any_moment(tmp_path: Path, number: signal.Signals) -> None:
    """From 0.3 s, when the interpreter has surely started, to past the end: old file or new file."""
    length_s = seconds_of_a_run(tmp_path)
    (tmp_path / "out.gpkg").write_text("the older file")
    before = contents(tmp_path)
    chance = random.Random(int(number))
    stopped = 0
    for moment_s in [0.3 + (length_s - 0.2) * (i + chance.random()) / 5 for i in range(5)]:
        (tmp_path / "out.gpkg").write_text("the older file")
        run = start(tmp_path)
        time.sleep(moment_s)
        run.send_signal(number)
        ended = end(run)
        assert "Traceback" not in ended.err, f"{moment_s} s: {ended.err}"
        assert "ignored" not in ended.err, f"{moment_s} s: {ended.err}"
        assert group_is_gone(run.pid)
        # CPython ends itself by SIGINT if Ctrl-C fell into an exec() (as in dataclasses), though it was
        # caught: a shell calls that 130 too.
        if ended.code in (130, -signal.SIGINT):
            stopped += 1
            assert "stopped" in one_message(ended, ended.code)
        else:
            assert ended.code in (0, -signal.SIGTERM), f"{moment_s} s: {ended}"
        after = contents(tmp_path)
        assert set(after) == set(before), f"{moment_s} s"
        if after["out.gpkg"] != before["out.gpkg"]:
            assert is_whole(tmp_path / "out.gpkg")
        else:
            assert ended.code != 0
    assert stopped >= 2, "too few moments fell into the work for this to show anything"


def test_two_runs_to_one_output(tmp_path: Path) -> None:
    words(tmp_path)
    runs = [start(tmp_path), start(tmp_path)]
    both = [end(run) for run in runs]
    assert min(ended.code for ended in both) == 0, both
    assert is_whole(tmp_path / "out.gpkg")
    assert set(contents(tmp_path)) >= {"terrain.tif", "out.gpkg"}
    assert not [name for name in contents(tmp_path) if name.startswith(".")]
    losers = [ended for ended in both if ended.code != 0]
    for loser in losers:
        message = one_message(loser, 2)
        assert "another run is writing it" in message
        assert "Wait for it" in message


def test_a_run_while_another_holds_the_output(tmp_path: Path) -> None:
    """As above, but with the first run surely in the middle of its work."""
    from hillsight.layers.atomic import replacing

    words(tmp_path)

    with replacing(tmp_path / "out.gpkg") as temporary:
        message = one_message(end(start(tmp_path)), 2)
        temporary.write_text("the first run's file")
    assert "out.gpkg" in message
    assert "another run is writing it" in message
    assert (tmp_path / "out.gpkg").read_text() == "the first run's file"
    assert set(contents(tmp_path)) == {"terrain.tif", "out.gpkg"}


def test_a_stop_that_a_library_answers_with_its_own_error(capsys: pytest.CaptureFixture[str]) -> None:
    """As when a compiled module is being imported: the import fails, and the stop is forgotten."""
    import click

    from hillsight.scripts.running import STOPPED, _run

    def work() -> None:
        try:
            os.kill(os.getpid(), signal.SIGTERM)
            time.sleep(5)
        except KeyboardInterrupt:
            pass
        raise ImportError("a compiled module failed to import")

    with click.Context(click.Command("work")), pytest.raises(SystemExit) as ended:
        _run(work, {})
    assert ended.value.code == STOPPED
    told = capsys.readouterr().err
    assert told.startswith("hillsight: stopped") and "Traceback" not in told
