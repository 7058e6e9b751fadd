"""Jobs that run one after the other, told of at a terminal."""

from __future__ import annotations

import sys

import pytest
from rich.live import Live

from hillsight.scripts.steps import Steps


def test_a_job_that_fails_leaves_no_bar_running(monkeypatch):
    """rich lets one live display run on a console at a time, and tells whether it is started."""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    lives: list[Live] = []
    start = Live.start

    def started(live: Live, refresh: bool = False) -> None:
        lives.append(live)
        start(live, refresh)

    monkeypatch.setattr(Live, "start", started)
    with pytest.raises(RuntimeError, match="no ground"), Steps() as steps:
        steps.begins("outlook", {})
        steps.progress("Cairn", 0.5)
        assert [live.is_started for live in lives] == [True]
        raise RuntimeError("no ground")
    assert [live.is_started for live in lives] == [False]
