"""What the first run says of the kernels that it compiles, and that later runs say nothing."""

from __future__ import annotations

from pathlib import Path

import numba
import pytest

from hillsight.kernels import readiness

from scripts.commands import AT, Ended, done, run_process, terrain  # isort: skip


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return terrain(tmp_path_factory.mktemp("ground"))


def about_kernels(ended: Ended) -> list[str]:
    """What a run says besides that no cover was given."""
    return [note for note in ended.notes if not note.startswith("No cover is given")]


def viewshed(folder: Path, ground: Path, *more: str) -> Ended:
    given = ("viewshed", "--terrain", ground, "--at", AT, "--reach", "100", "--out", folder / "out.gpkg")
    return done(*given, *more)


def plus_one(number: float) -> float:
    return number + 1.0


def test_a_kernel_without_a_cache_is_compiled_in_each_run() -> None:
    kernel = numba.njit(plus_one)
    assert readiness.readiness(kernel) == "always"
    assert kernel(1.0) == 2.0
    assert readiness.readiness(kernel) == "ready"


def test_a_kernel_is_ready_once_the_cache_holds_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    source = tmp_path / "kernels.py"
    source.write_text("def half(number):\n    return number / 2.0\n")
    monkeypatch.syspath_prepend(tmp_path)
    import kernels  # type: ignore[import-not-found]

    def another() -> object:  # as another process would
        return numba.njit(cache=True)(kernels.half)

    kernel = another()
    assert readiness.readiness(kernel) == "once"
    assert kernel(3.0) == 1.5  # type: ignore[operator]
    assert readiness.readiness(another()) == "ready"
    source.write_text(source.read_text() + "# changed\n")
    assert readiness.readiness(another()) == "once"
    (index,) = (tmp_path / "__pycache__").glob("*.nbi")
    index.write_bytes(b"no index")
    assert readiness.readiness(another()) == "not known"


def test_what_is_no_kernel_is_not_known() -> None:
    assert readiness.readiness(plus_one) == "not known"


@pytest.mark.slow
def test_the_first_run_says_that_it_compiles(ground: Path, tmp_path: Path) -> None:
    given = ("viewshed", "--terrain", ground, "--at", AT, "--reach", "100", "--only-states")
    environment = {"NUMBA_CACHE_DIR": str(tmp_path / "cache")}
    first, second = (
        run_process(*given, "--out", tmp_path / name, environment=environment)
        for name in ("first.gpkg", "second.gpkg")
    )
    assert (first.code, second.code) == (0, 0), first.err + second.err
    told = "compiling the sight kernels for this machine, once: some twenty seconds"
    assert about_kernels(first) == [told]
    assert about_kernels(second) == []
    assert any((tmp_path / "cache").rglob("*.nbi"))


def test_a_quiet_first_run_says_nothing(
    monkeypatch: pytest.MonkeyPatch, ground: Path, tmp_path: Path
) -> None:
    from hillsight.kernels import readiness

    said = {"once": ["compiling the sight kernels for this machine, once: some twenty seconds"], "ready": []}
    for state, notes in said.items():
        monkeypatch.setattr(readiness, "readiness", lambda _, state=state: state)
        assert about_kernels(viewshed(tmp_path, ground)) == notes
        assert about_kernels(viewshed(tmp_path, ground, "--quiet")) == []
    monkeypatch.setattr(readiness, "readiness", lambda _: "always")
    (note,) = about_kernels(viewshed(tmp_path, ground))
    assert "as in each run" in note and "hillsight doctor" in note
