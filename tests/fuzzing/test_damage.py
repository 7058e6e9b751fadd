"""A few damaged files of each format; `damage.py` runs thousands."""

from __future__ import annotations

from pathlib import Path

import pytest

from fuzzing.damage import FORMATS, Format, attack


@pytest.mark.parametrize("kind", FORMATS, ids=lambda kind: kind.name)
def test_damaged_files_are_refused_or_answered(tmp_path: Path, kind: Format) -> None:
    ended, faults = attack(kind, seed=0, count=5, folder=tmp_path)
    assert faults == []
    assert ended.total() == 5
