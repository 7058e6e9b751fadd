"""What is seen from where on hill ground: one function a script, named like it and with its options' names.

``import hillsight`` loads nothing heavy; each name is looked up when it is first used. docs/python.md shows
how to use it, DEVELOPERS.md what stands where.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from hillsight.errors import HillsightError as HillsightError
    from hillsight.jobs.batch.run import batch as batch
    from hillsight.jobs.bearings import bearings as bearings
    from hillsight.jobs.compare import compare as compare
    from hillsight.jobs.dead_ground import dead_ground as dead_ground
    from hillsight.jobs.demo import demo as demo
    from hillsight.jobs.describe import describe as describe
    from hillsight.jobs.doctor import doctor as doctor
    from hillsight.jobs.exercise.check import exercise_check as exercise_check
    from hillsight.jobs.exercise.find import exercise_find as exercise_find
    from hillsight.jobs.exercise.page import exercise_page as exercise_page
    from hillsight.jobs.exercise.print import exercise_print as exercise_print
    from hillsight.jobs.find_skyline import find_skyline as find_skyline
    from hillsight.jobs.landforms import landforms as landforms
    from hillsight.jobs.listener import Listener as Listener
    from hillsight.jobs.mark import mark as mark
    from hillsight.jobs.memory import Raster as Raster
    from hillsight.jobs.open_terrain import open_terrain as open_terrain
    from hillsight.jobs.outlook import outlook as outlook
    from hillsight.jobs.panorama import panorama as panorama
    from hillsight.jobs.posts.run import posts as posts
    from hillsight.jobs.profile import profile as profile
    from hillsight.jobs.relocate import relocate as relocate
    from hillsight.jobs.resect import resect as resect
    from hillsight.jobs.search import search as search
    from hillsight.jobs.sheet import sheet as sheet
    from hillsight.jobs.viewshed import viewshed as viewshed

__version__ = "0.1.0"

#: Where each public name is defined.
_HOMES = {
    "HillsightError": "errors",
    "Listener": "jobs.listener",
    "Raster": "jobs.memory",
    "batch": "jobs.batch.run",
    "bearings": "jobs.bearings",
    "compare": "jobs.compare",
    "dead_ground": "jobs.dead_ground",
    "demo": "jobs.demo",
    "describe": "jobs.describe",
    "doctor": "jobs.doctor",
    "exercise_check": "jobs.exercise.check",
    "exercise_page": "jobs.exercise.page",
    "exercise_find": "jobs.exercise.find",
    "exercise_print": "jobs.exercise.print",
    "find_skyline": "jobs.find_skyline",
    "landforms": "jobs.landforms",
    "mark": "jobs.mark",
    "open_terrain": "jobs.open_terrain",
    "outlook": "jobs.outlook",
    "panorama": "jobs.panorama",
    "posts": "jobs.posts.run",
    "profile": "jobs.profile",
    "relocate": "jobs.relocate",
    "resect": "jobs.resect",
    "search": "jobs.search",
    "sheet": "jobs.sheet",
    "viewshed": "jobs.viewshed",
}

__all__ = ["__version__", *_HOMES]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
