"""Finds the generator of the demo's invented upland and runs it."""

from __future__ import annotations

import importlib.util
import shutil
import sys
from importlib import resources
from pathlib import Path

from hillsight.errors import HillsightError, OutputError

#: The demo's day for magnetic bearings: fixed, so that every run gives the same figures.
DAY = "2026-06-01"


def generator_folder() -> Path:
    """Folder of the generator: inside an installed package, or in the checkout.

    Raises
    ------
    HillsightError : it is in neither
    """
    packed = Path(str(resources.files("hillsight") / "demo_project"))
    checkout = Path(__file__).parents[3] / "demo_project"
    for folder in (packed, checkout):
        if (folder / "generate.py").is_file():
            return folder
    raise HillsightError("the demo project is not installed", remedy="Install hillsight anew")


def generate(folder: Path) -> None:
    """Write the demo's inputs into a folder, which is made if need be.

    Raises
    ------
    OutputError : the folder cannot be made or written to
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"the folder cannot be made ({error.strerror})", where=str(folder)) from error
    source = generator_folder()
    sys.path.insert(0, str(source))  # its modules import one another by name
    try:
        spec = importlib.util.spec_from_file_location("hillsight_demo_generate", source / "generate.py")
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        module.generate(folder)
    except OSError as error:
        raise OutputError(f"cannot be written ({error.strerror or error})", where=str(folder)) from error
    finally:
        sys.path.remove(str(source))


def sightings(folder: Path) -> list[Path]:
    """Put the demo's sightings beside its other inputs, and name them, in order of their names.

    Raises
    ------
    HillsightError : the demo is not installed
    OutputError : the folder cannot be written to
    """
    return _put(folder, "sightings")


def exercises(folder: Path) -> list[Path]:
    """Put the demo's exercises beside its other inputs, and name them, in order of their names.

    Raises
    ------
    HillsightError : the demo is not installed
    OutputError : the folder cannot be written to
    """
    return _put(folder, "exercises")


def posts_plans(folder: Path) -> list[Path]:
    """Put the demo's plans of posts beside its other inputs, and name them, in order of their names.

    Raises
    ------
    HillsightError : the demo is not installed
    OutputError : the folder cannot be written to
    """
    return _put(folder, "posts")


def _put(folder: Path, name: str) -> list[Path]:
    source, place = generator_folder() / name, folder / name
    try:
        place.mkdir(parents=True, exist_ok=True)
        found = sorted(source.glob("*.toml"))
        return [Path(shutil.copyfile(file, place / file.name)) for file in found]
    except OSError as error:
        raise OutputError(f"cannot be written ({error.strerror or error})", where=str(place)) from error


def photograph(folder: Path) -> tuple[Path, Path]:
    """Put the demo's photograph and its marks beside its other inputs; both their places.

    Raises
    ------
    HillsightError : the demo is not installed
    OutputError : the folder cannot be written to
    """
    source, place = generator_folder() / "photograph", folder / "photograph"
    try:
        place.mkdir(parents=True, exist_ok=True)
        photo, marks = (
            Path(shutil.copyfile(source / name, place / name)) for name in ("view.jpg", "view.json")
        )
    except OSError as error:
        raise OutputError(f"cannot be written ({error.strerror})", where=str(place)) from error
    return photo, marks
