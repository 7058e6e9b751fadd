"""Whose fault a failed job is: the request's, the server's, or that of too many at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from hillsight.errors import CallError

pytest.importorskip("pygeoapi", reason="pygeoapi is not installed: the dependency group serve brings it")

from hillsight.serving import child, processor  # isort: skip


@pytest.fixture
def one(tmp_path: Path) -> processor.ScriptProcessor:
    for name in ("inputs", "outputs"):
        (tmp_path / name).mkdir()
    told = {name: str(tmp_path / name) for name in ("inputs", "outputs")}
    made = processor.ScriptProcessor(
        {"name": "viewshed", "script": "viewshed", "settings": told | {"seconds": 0.1, "at_once": 1}}
    )
    (tmp_path / "inputs" / "ground.tif").touch()
    return made


@pytest.mark.parametrize(
    ("error", "status", "says"),
    [
        (CallError("the reach is too short"), 400, "the reach is too short"),
        (child.JobError("the job took longer than 1 s"), 400, "took longer"),
        (child.FaultError("the job was ended by SIGSEGV"), 500, "SIGSEGV"),
        (OSError("/srv/outputs: no space left"), 500, "finds the cause in its log"),
    ],
)
def test_each_error_has_its_status(
    one: processor.ScriptProcessor,
    monkeypatch: pytest.MonkeyPatch,
    error: Exception,
    status: int,
    says: str,
) -> None:
    def broken(*_: object) -> str:
        raise error

    monkeypatch.setattr(processor, "run_script", broken)
    with pytest.raises(processor.ProcessorExecuteError) as told:
        one.execute({"terrain": "ground.tif"})
    assert told.value.http_status_code == status
    assert says in told.value.message
    assert "/srv" not in told.value.message
    assert (one.fault is told.value) == (status >= 500)


def test_who_waits_too_long_for_a_turn_is_told_to_come_again(one: processor.ScriptProcessor) -> None:
    with child._turn(one.settings), pytest.raises(processor.BusyServerError) as told:
        one.execute({"terrain": "ground.tif"})
    assert told.value.http_status_code == 503
    assert "Ask again later" in told.value.message
