"""The invented upland, made once for all checks of the house."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

GENERATOR = Path(__file__).resolve().parents[2] / "demo_project" / "generate.py"


@pytest.fixture(scope="session")
def upland(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with the demo's terrain, stations and features, made as a person would make them."""
    folder = tmp_path_factory.mktemp("upland")
    subprocess.run([sys.executable, str(GENERATOR), str(folder)], check=True, timeout=600)
    return folder
