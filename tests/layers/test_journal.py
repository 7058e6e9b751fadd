"""All files of a run take their names together, or none: killed at any step, disk full, beside rivals."""

from __future__ import annotations

import errno
import json
import os
import shutil
import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from hillsight.errors import OutputError
from hillsight.kernels.threads import limited_to, workers
from hillsight.layers.atomic import made_folder, replacing, together, where_written
from hillsight.layers.journal import settle, settle_beside
from hillsight.layers.locks import MARK, mark_of

POSIX = pytest.mark.skipif(os.name == "nt", reason="POSIX processes and links")

#: Outputs of a run; the last one has no older file.
OUTPUTS = ("map.gpkg", "rasters/one.tif", "rasters/two.tif", "elsewhere/list.csv")
#: What a step of putting files in place is made of.
STEPS = ("link", "replace", "unlink", "fsync", "open")


@pytest.fixture(autouse=True, scope="module")
def no_waiting_for_the_disk() -> Iterator[None]:
    """Processes die here, not machines: what the disk has of it makes no difference."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda _: None)
        yield


def older(folder: Path) -> None:
    for there in folder.iterdir() if folder.exists() else ():
        shutil.rmtree(there) if there.is_dir() else there.unlink()
    for name in OUTPUTS:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        if name != OUTPUTS[-1]:
            (folder / name).write_text("old")


def write(path: Path, text: str) -> None:
    with replacing(path) as temporary:
        temporary.write_text(text)


def run(folder: Path, text: str = "new") -> None:
    with together():
        for name in OUTPUTS:
            write(folder / name, text)


def state(folder: Path) -> tuple[str | None, ...]:
    return tuple((folder / n).read_text() if (folder / n).exists() else None for n in OUTPUTS)


ALL_OLD, ALL_NEW = ("old", "old", "old", None), ("new",) * 4


def left(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.rglob(f"{MARK}*"))


def killed_at(step: int, work: Callable[[], None], *, after: bool) -> bool:
    """Do the work in a process that kills itself before or after one of its steps; whether it came so far."""
    child = os.fork()
    if child == 0:
        done = 0

        def counted(function: Callable[..., object]) -> Callable[..., object]:
            def step_of_it(*args: object, **kwargs: object) -> object:
                nonlocal done
                done += 1
                if done == step and not after:
                    os.kill(os.getpid(), signal.SIGKILL)
                try:
                    return function(*args, **kwargs)
                finally:
                    if done == step:
                        os.kill(os.getpid(), signal.SIGKILL)

            return step_of_it

        try:
            for name in STEPS:
                setattr(os, name, counted(getattr(os, name)))
            work()
        except BaseException:
            os._exit(1)
        os._exit(0)
    status = os.waitpid(child, 0)[1]
    assert status in (0, signal.SIGKILL), status
    return status != 0


def every_kill(folder: Path, *, after: bool) -> Iterator[int]:
    for step in range(1, 500):
        older(folder)
        if not killed_at(step, lambda: run(folder), after=after):
            assert state(folder) == ALL_NEW
            assert left(folder) == []
            return
        yield step


@pytest.fixture(scope="module")
def mixed_steps(tmp_path_factory: pytest.TempPathFactory) -> list[int]:
    """Steps after which a kill leaves newer files beside older ones."""
    folder = tmp_path_factory.mktemp("steps") / "work"
    steps = [step for step in every_kill(folder, after=True) if ALL_NEW != state(folder) != ALL_OLD]
    assert len(steps) >= 3
    return steps


def next_run_fails(folder: Path) -> None:
    """A run that writes to every output, and fails before any of them has its name."""
    with pytest.raises(KeyError), together():
        for name in OUTPUTS:
            write(folder / name, "later")
        raise KeyError


@pytest.mark.slow
@POSIX
@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
def test_killed_at_every_step(tmp_path: Path, after: bool) -> None:
    folder = tmp_path / "work"
    mixed, outcomes = 0, set()
    for step in every_kill(folder, after=after):
        before = state(folder)
        journals = [name for name in left(folder) if name.endswith(".json")]
        if len(journals) == 3 and ALL_NEW != before != ALL_OLD:
            mixed += 1
        if len(journals) < 3:
            assert before in (ALL_OLD, ALL_NEW), step
        next_run_fails(folder)
        assert state(folder) == (ALL_OLD if before == ALL_OLD and len(journals) < 3 else ALL_NEW), step
        assert left(folder) == [], step
        outcomes.add(state(folder))
    assert mixed >= 3, "no run was killed between the renames: this shows nothing"
    assert outcomes == {ALL_OLD, ALL_NEW}


@POSIX
@pytest.mark.parametrize("name", OUTPUTS)
def test_found_from_each_output_and_by_whoever_reads_there(
    tmp_path: Path, mixed_steps: list[int], name: str
) -> None:
    for step in mixed_steps:
        older(tmp_path)
        assert killed_at(step, lambda: run(tmp_path), after=True)
        settle_beside([str(tmp_path / name)])
        assert state(tmp_path) == ALL_NEW, step
        assert left(tmp_path) == [], step


@POSIX
def test_killed_again_while_it_is_settled(tmp_path: Path, mixed_steps: list[int]) -> None:
    for step in range(1, 200):
        older(tmp_path)
        assert killed_at(mixed_steps[0], lambda: run(tmp_path), after=True)
        assert ALL_NEW != state(tmp_path) != ALL_OLD
        if not killed_at(step, lambda: settle(tmp_path / "rasters"), after=step % 2 == 0):
            break
        next_run_fails(tmp_path)
        assert state(tmp_path) == ALL_NEW, step
        assert left(tmp_path) == [], step
    assert step > 10


@POSIX
@pytest.mark.parametrize("change", ["lost", "cut"])
def test_taken_back_where_a_finished_file_is_not_as_it_was(
    tmp_path: Path, mixed_steps: list[int], change: str
) -> None:
    """And killed once more on the way back."""
    taken_back = 0
    for step in range(1, 40):
        older(tmp_path)
        assert killed_at(mixed_steps[1], lambda: run(tmp_path), after=True)
        waiting = next((tmp_path / "elsewhere").glob(f"{MARK}*.csv"))
        if change == "lost":
            waiting.unlink()
        else:
            waiting.write_text("cut")
        again = killed_at(step, lambda: settle(tmp_path), after=True)
        next_run_fails(tmp_path)
        assert state(tmp_path) == ALL_OLD, step
        assert left(tmp_path) == [], step
        taken_back += 1
        if not again:
            break
    assert taken_back > 5


@POSIX
def test_a_file_changed_meanwhile_is_the_users(tmp_path: Path, mixed_steps: list[int]) -> None:
    older(tmp_path)
    assert killed_at(mixed_steps[0], lambda: run(tmp_path), after=True)
    assert state(tmp_path) == ("new", "old", "old", None)
    (tmp_path / "rasters" / "two.tif").write_text("my own")
    settle(tmp_path)
    assert state(tmp_path) == ("old", "old", "my own", None)
    assert left(tmp_path) == []


@POSIX
def test_a_rename_that_fails_leaves_all_older_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on Windows, where another program holds a file open."""
    older(tmp_path)
    replace = os.replace

    def refuse(source: str, target: str) -> None:
        if str(target).endswith("two.tif") and "before" not in str(source):
            raise PermissionError(errno.EACCES, "in use")
        replace(source, target)

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(OutputError, match=r"two\.tif: the file cannot be replaced; another program"):
        run(tmp_path)
    assert state(tmp_path) == ALL_OLD
    assert left(tmp_path) == []


def test_without_hard_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: object) -> None:
        raise OSError(errno.EPERM, "no links here")

    monkeypatch.setattr(os, "link", none)
    test_a_rename_that_fails_leaves_all_older_files(tmp_path, monkeypatch)
    monkeypatch.undo()
    run(tmp_path)
    assert state(tmp_path) == ALL_NEW


@pytest.mark.parametrize("name", ["link", "replace", "fsync"])
def test_a_disk_that_fills_at_any_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    true = getattr(os, name)
    for step in range(1, 200):
        older(tmp_path / "work")
        done = 0

        def full(*args: object, true: Any = true, step: int = step) -> object:
            nonlocal done
            done += 1
            if done == step:
                raise OSError(errno.ENOSPC, "No space left on device")
            return true(*args)

        monkeypatch.setattr(os, name, full)
        if name == "link":  # then it would be a copy
            monkeypatch.setattr(shutil, "copy2", full)
        try:
            run(tmp_path / "work")
        except OutputError as error:
            assert "the disk is full" in str(error)
            assert state(tmp_path / "work") == ALL_OLD, step
        else:
            assert state(tmp_path / "work") == ALL_NEW
        monkeypatch.undo()
        assert left(tmp_path / "work") == [], step
        if done < step:
            break
    assert step > 2


def test_a_disk_that_fills_at_the_second_file(tmp_path: Path) -> None:
    older(tmp_path)
    with pytest.raises(OutputError, match="the disk is full"), together():
        write(tmp_path / OUTPUTS[0], "new")
        made_folder(tmp_path / "more" / "below")
        with replacing(tmp_path / OUTPUTS[1]) as temporary:
            temporary.write_text("half")
            raise OSError(errno.ENOSPC, "No space left on device")
    assert state(tmp_path) == ALL_OLD
    assert left(tmp_path) == []
    assert not (tmp_path / "more").exists()


def test_finished_files_wait_and_can_be_read(tmp_path: Path) -> None:
    older(tmp_path)
    first = tmp_path / OUTPUTS[0]
    with together():
        for text in ("once", "twice"):
            write(first, text)
            with together():
                write(tmp_path / "rasters" / "three.tif", text)
            assert where_written(first).read_text() == text
        assert state(tmp_path) == ALL_OLD
        assert where_written(tmp_path / OUTPUTS[1]) == tmp_path / OUTPUTS[1]
    assert first.read_text() == "twice"
    assert (tmp_path / "rasters" / "three.tif").read_text() == "twice"
    assert where_written(first) == first
    assert left(tmp_path) == []


def test_threads_of_a_pool_take_part(tmp_path: Path) -> None:
    def write_one(number: int) -> None:
        write(tmp_path / f"{number}.txt", "new")

    with pytest.raises(KeyError), together(), limited_to(4):
        with workers(4) as pool:
            list(pool.map(write_one, range(20)))
        raise KeyError
    assert list(tmp_path.iterdir()) == []
    with together(), limited_to(4), workers(4) as pool:
        list(pool.map(write_one, range(20)))
    assert len(list(tmp_path.iterdir())) == 20


@POSIX
def test_links_and_rights_are_kept(tmp_path: Path) -> None:
    older(tmp_path)
    (tmp_path / "link.gpkg").symlink_to(tmp_path / "map.gpkg")
    (tmp_path / "map.gpkg").chmod(0o640)
    with together():
        write(tmp_path / "link.gpkg", "new")
        write(tmp_path / OUTPUTS[1], "new")
    assert (tmp_path / "link.gpkg").is_symlink()
    assert (tmp_path / "map.gpkg").read_text() == "new"
    assert (tmp_path / "map.gpkg").stat().st_mode & 0o777 == 0o640


@POSIX
def test_a_stop_while_files_take_their_names_comes_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from hillsight.layers.stops import stop_signals

    older(tmp_path)
    replace = os.replace

    def stopped(source: str, target: str) -> None:
        replace(source, target)
        os.kill(os.getpid(), signal.SIGTERM)

    monkeypatch.setattr(os, "replace", stopped)
    with stop_signals(), pytest.raises(KeyboardInterrupt):
        run(tmp_path)
    assert state(tmp_path) == ALL_NEW
    assert left(tmp_path) == []


def test_a_rival_is_refused_while_a_finished_file_waits(tmp_path: Path) -> None:
    older(tmp_path)
    with together():
        write(tmp_path / OUTPUTS[1], "first")
        token = rival(tmp_path / OUTPUTS[1])
        assert "another run is writing it" in token
        assert rival(tmp_path / OUTPUTS[2]) == "written"
    assert (tmp_path / OUTPUTS[1]).read_text() == "first"
    assert (tmp_path / OUTPUTS[2]).read_text() == "rival"
    assert rival(tmp_path / OUTPUTS[1]) == "written"
    assert left(tmp_path) == []


def rival(path: Path) -> str:
    """What another run hears that writes there; a thread of its own has none of this one's files."""
    import threading

    heard = ["written"]

    def at_work() -> None:
        try:
            with together():
                write(path, "rival")
        except OutputError as error:
            heard[0] = str(error)

    thread = threading.Thread(target=at_work)
    thread.start()
    thread.join()
    return heard[0]


@POSIX
def test_rival_runs_leave_files_of_one_of_them(tmp_path: Path) -> None:
    """Several processes at the same outputs, some of them killed in between."""
    older(tmp_path)
    children = []
    for number in range(4):
        child = os.fork()
        if child == 0:
            for turn in range(40):
                try:
                    run(tmp_path, f"{number} {turn}")
                except OutputError as error:
                    if "another run" not in str(error):
                        os._exit(1)
                except BaseException:
                    os._exit(1)
            os._exit(0)
        children.append(child)
    for turn in range(30):
        killed_at(10 + 2 * turn, lambda: run_or_be_refused(tmp_path), after=True)
        if turn % 10 == 0:
            settle(tmp_path)
    assert [os.waitpid(child, 0)[1] for child in children] == [0] * 4
    next_run_fails(tmp_path)
    assert len(set(state(tmp_path))) == 1, state(tmp_path)
    assert left(tmp_path) == []


def run_or_be_refused(folder: Path) -> None:
    try:
        run(folder, "killed")
    except OutputError as error:
        assert "another run" in str(error)


@POSIX
@pytest.mark.parametrize(
    "change",
    [
        {"temporary": "victim.txt"},
        {"temporary": "../victim.txt"},
        {"final": "../victim.txt"},
        {"final": ""},
        {"final": ".."},
        {"folder": "."},
        {"folder": "/nowhere"},
        {"new": None},
        {"new": [1]},
        {"old": "text"},
        {"run": "x"},
        {"format": "another"},
        {"moves": 5},
        {"moves": [5]},
        {"foreign": True},
        {"link": True},
        {"empty": True},
    ],
    ids=lambda change: "-".join(change),
)
def test_no_journal_moves_what_is_not_of_its_run(tmp_path: Path, change: dict[str, object]) -> None:
    """Each change of a journal that would be believed; and one that names a folder without a journal."""
    folder, other = tmp_path / "work", tmp_path / "other"
    folder.mkdir()
    other.mkdir()
    for place in (folder, other, tmp_path):
        (place / "victim.txt").write_text("mine")

    def planted(name: str, place: Path = folder) -> dict[str, object]:
        temporary = place / f"{mark_of(name)}-0123-000001.txt"
        temporary.write_text("planted")
        there = temporary.stat()
        return {
            "folder": str(place),
            "temporary": temporary.name,
            "final": name,
            "new": [there.st_size, there.st_mtime_ns],
            "old": None,
        }

    moves = [planted("a.txt"), planted("b.txt")]
    content: dict[str, object] = {"format": "hillsight: renames of a run, 1", "run": "0123", "moves": moves}
    if not change.keys() - {"run", "format", "moves"}:
        content |= change
    elif "foreign" in change:
        moves.append(planted("c.txt", other))
    elif "link" in change:
        (folder / str(moves[0]["temporary"])).unlink()
        (folder / str(moves[0]["temporary"])).symlink_to(other / "victim.txt")
    elif "empty" not in change:
        moves[0] |= change
    text = "" if "empty" in change else json.dumps(content)
    (folder / f"{MARK}run-0123.json").write_text(text)
    settle(folder)
    settle(other)
    for place in (folder, other, tmp_path):
        assert (place / "victim.txt").read_text() == "mine"
    assert not (folder / "a.txt").exists()
    assert not (other / "c.txt").exists()


def test_the_journal_of_these_tests_is_believed_unchanged(tmp_path: Path) -> None:
    """Else the test above could not fail."""
    name = "a.txt"
    temporary = tmp_path / f"{mark_of(name)}-0123-000001.txt"
    temporary.write_text("planted")
    there = temporary.stat()
    move = {
        "folder": os.path.realpath(tmp_path),
        "temporary": temporary.name,
        "final": name,
        "new": [there.st_size, there.st_mtime_ns],
        "old": None,
    }
    content = {"format": "hillsight: renames of a run, 1", "run": "0123", "moves": [move]}
    (tmp_path / f"{MARK}run-0123.json").write_text(json.dumps(content))
    settle(tmp_path)
    assert (tmp_path / name).read_text() == "planted"
    assert left(tmp_path) == []
