"""A few runs killed at random moments leave the files of one run; `kills.py` does many."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from fuzzing.kills import Kills

pytestmark = [pytest.mark.slow, pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")]


def test_after_the_next_run_files_are_those_of_one_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1780000000")
    kills = Kills(tmp_path, seed=7)
    for number in range(30):
        kills.kill(number)
        if kills.before.total() == 6:
            break
    assert kills.after.total() == 6
    assert set(kills.after) <= {"older", "newer"}
    assert kills.left == 0
