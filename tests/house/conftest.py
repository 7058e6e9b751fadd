"""The invented upland, made once for all checks of the house."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

GENERATOR = Path(__file__).resolve().parents[2] / "demo_project" / "generate.py"


@pytest.fixture(scope="session")
def upland(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with the demo's terrain, stations, features, course and plan, made as a person would."""
    folder = tmp_path_factory.mktemp("upland")
    subprocess.run([sys.executable, str(GENERATOR), str(folder)], check=True, timeout=600)
    shutil.copytree(GENERATOR.parent / "posts", folder / "posts")
    return folder
