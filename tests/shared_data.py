"""Where the real terrain lies that some checks need; it is no part of the repository."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

VARIABLE = "HILLSIGHT_SHARED_DATA"


def shared_file(name: str) -> Path:
    """A file of the shared data folder; skips the test where it is missing.

    Looked for in the folder that HILLSIGHT_SHARED_DATA names, else in ``shared/data`` beside the repository.
    """
    given = os.environ.get(VARIABLE)
    folder = Path(given) if given else Path(__file__).resolve().parents[2] / "shared" / "data"
    path = folder / name
    if not path.is_file():
        pytest.skip(f"real terrain {name} is not in {folder} (set {VARIABLE})")
    return path
