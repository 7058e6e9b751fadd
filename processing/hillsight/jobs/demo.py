"""Makes the invented upland, reads it, and puts three sightings and a photograph to the test there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.jobs.demo_photograph import read_photograph
from hillsight.jobs.demo_place import DAY, exercises, generate, posts_plans, sightings
from hillsight.jobs.listener import SILENT, Listener
from hillsight.jobs.outlook import outlook
from hillsight.jobs.relocate import relocate
from hillsight.jobs.sheet import sheet

if TYPE_CHECKING:
    from hillsight.jobs.demo_photograph import ReadPhotograph
    from hillsight.jobs.relocate import Relocated
    from hillsight.jobs.results import Result

REACH_M = 6_000.0
_ON_SHEET = "A ridge end"


@dataclass(frozen=True, eq=False)
class Demo:
    """What the demo shows.

    folder : holds the inputs, what was written, and pictures
    outlook : what is seen from the three stations
    verdicts : what is said of each sighting, by its name
    photograph : how the photograph's camera was turned at each station, and the verdict on it
    """

    folder: Path
    outlook: Result
    verdicts: Mapping[str, Relocated]
    photograph: ReadPhotograph


def demo(
    *,
    folder: str | Path = Path("hillsight-demo"),
    no_pictures: bool = False,
    listener: Listener = SILENT,
) -> Demo:
    """Make an invented upland, read it from its three stations, and relocate sightings and a photograph
    there.

    One sighting is decided, one undecided, and one was taken from none of the stations. The photograph is
    drawn. Three exercises are laid beside them, to be checked and printed, and a course with a plan of
    marshal posts. The place, its names and its ground are made up.

    Parameters
    ----------
    folder : to fill; files of an earlier demo in it are replaced
    no_pictures : leave out the pictures
    listener : hears of each job that begins and ends, and of all that they say

    Raises
    ------
    HillsightError : the folder cannot be written to, or the demo is not installed
    """
    folder = Path(folder)
    generate(folder)
    exercises(folder)
    posts_plans(folder)
    inputs: dict[str, Any] = {
        "terrain": folder / "terrain.tif",
        "stations": folder / "stations.gpkg",
        "features": (folder / "features.gpkg",),
        "reach": REACH_M,
    }
    written = {name: folder / name for name in ("rasters", *(() if no_pictures else ("pictures",)))}
    asked = {
        **inputs,
        "date": DAY,
        "csv": folder / "bearing_list.csv",
        "out": folder / "outlook.gpkg",
        **written,
    }
    listener.begins("outlook", asked)
    seen = outlook(**asked, listener=listener)
    listener.ended("outlook", seen)
    if not no_pictures:
        _draw_sheet(folder, listener)
    verdicts = {}
    for sighting in sightings(folder):
        out = folder / f"verdict_{sighting.stem}"
        asked = {
            "sighting": sighting,
            **inputs,
            "landforms": True,
            "out": Path(f"{out}.gpkg"),
            "report": Path(f"{out}.md" if no_pictures else f"{out}.html"),
        }
        listener.begins("relocate", asked)
        verdicts[sighting.stem] = relocate(**asked, listener=listener)
        listener.ended("relocate", verdicts[sighting.stem])
    return Demo(folder, seen, verdicts, read_photograph(folder, inputs, not no_pictures, listener))


def _draw_sheet(folder: Path, listener: Listener) -> None:
    """The map sheet of a station: its ground, and what lies near it in an inset."""
    asked: dict[str, Any] = {
        "terrain": folder / "terrain.tif",
        "features": (folder / "features.gpkg",),
        "layers": (folder / "outlook.gpkg",),
        "station": _ON_SHEET,
        "inset": 5_000.0,
        "date": DAY,
        "title": f"What is seen from {_ON_SHEET}",
        "extent": "244700,313600,249200,318800",
        "out": folder / "sheet.pdf",
    }
    listener.begins("sheet", asked)
    drawn = sheet(**asked, listener=listener)
    listener.ended("sheet", drawn)
