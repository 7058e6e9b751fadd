"""Reads the demo's photograph: skyline, camera, ground picked on it, where it was taken, and the views."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.jobs.demo_place import DAY, photograph
from hillsight.jobs.find_skyline import find_skyline
from hillsight.jobs.mark import mark
from hillsight.jobs.panorama import panorama
from hillsight.jobs.relocate import relocate
from hillsight.jobs.resect import resect

if TYPE_CHECKING:
    from hillsight.jobs.listener import Listener
    from hillsight.jobs.relocate import Relocated
    from hillsight.jobs.resect import Resected
    from hillsight.jobs.results import Result

#: What is told of the photograph's lens: how wide the picture is, degrees.
WIDTH_DEG = 65.0
#: A pixel of the far hillside left of the middle, whose ground is asked for.
PICKED_PX = "500,540"


@dataclass(frozen=True, eq=False)
class ReadPhotograph:
    """What is told of the demo's photograph.

    cameras : how its camera was turned at each station, and the ground picked
    verdict : which station it was taken from
    views : what each station's camera sees
    """

    cameras: Resected
    verdict: Relocated
    views: Result


def read_photograph(
    folder: Path, inputs: Mapping[str, Any], drawn: bool, listener: Listener
) -> ReadPhotograph:
    """Put the photograph into the demo's folder, and do with it all that hillsight does with one.

    Parameters
    ----------
    folder : of the demo
    inputs : terrain, stations, features and reach, as the jobs take them
    drawn : whether to draw pictures, and the verdict as a page
    listener : hears of each job that begins and ends, and of all that they say
    """
    photo, marks = photograph(folder)
    _run("find-skyline", find_skyline, listener, photo=photo, out=photo.with_name("found_skyline.json"))
    _run(
        "mark",
        mark,
        listener,
        photo=photo,
        features=inputs["features"],
        marks=marks,
        out=photo.with_name("mark_view.html"),
    )
    marked = {"marks": marks, "photo": photo, "width": WIDTH_DEG}
    ground = {name: inputs[name] for name in ("terrain", "stations", "features")}
    cameras = _run(
        "resect",
        resect,
        listener,
        **ground,
        **marked,
        date=DAY,
        pick=(PICKED_PX,),
        pick_line=("skyline",),
        **({"overlay": folder / "laid_over.png"} if drawn else {}),
        out=folder / "camera.gpkg",
    )
    verdict = _run(
        "relocate",
        relocate,
        listener,
        **inputs,
        **marked,
        out=folder / "verdict_photograph.gpkg",
        report=folder / f"verdict_photograph.{'html' if drawn else 'md'}",
    )
    views = _run(
        "panorama",
        panorama,
        listener,
        **ground,
        camera=folder / "camera.gpkg",
        **({"style": "relief", "bare": True, "pictures": folder / "from_each_place"} if drawn else {}),
        out=folder / "views.gpkg",
    )
    return ReadPhotograph(cameras, verdict, views)


def _run(name: str, job: Callable[..., Any], listener: Listener, **asked: Any) -> Any:
    """Run a job as a part of the demo: the listener hears what it is asked and what it found."""
    listener.begins(name, asked)
    found = job(**asked, listener=listener)
    listener.ended(name, found)
    return found
