"""What comparing and describing share: the view that is asked for, and the places looked from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from hillsight.errors import CallError
from hillsight.jobs.listener import say_if_compiling
from hillsight.jobs.scene import direction_deg, scene_of
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.things import Things
from hillsight.plan.observer import Observer
from hillsight.plan.relocation.summary import cut_short
from hillsight.plan.weighing.statements import Weighing

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.listener import Listener
    from hillsight.jobs.requests import CompareRequest, DescribeRequest, OneView
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.looking import Looker

#: How well the direction of a view asked for is known, degrees: it is as told.
SPREAD_DEG = 0.5


@dataclass(frozen=True, eq=False)
class Looked:
    """What is seen from each station, and what statements about it are weighed with; and who looked."""

    glances: list[Glance]
    weighing: Weighing
    looker: Looker


def framing_of(request: OneView, observer: Observer) -> Framing:
    """The view that a request asks for.

    Raises
    ------
    CallError : no direction or no width
    """
    if not 5 <= request.width <= 360:
        raise CallError(
            f"the width is {request.width:g} degrees",
            remedy="Give degrees from 5 to 360",
            parameters=("width",),
        )
    return Framing.of(direction_deg(request.looks), SPREAD_DEG, request.width, observer.picture_edge)


def looking_words(degrees: float | None) -> str:
    """Which way a view looks, in words."""
    return "all round" if degrees is None else f"looking {round(degrees) % 360} degrees true"


def look(
    request: CompareRequest | DescribeRequest,
    inputs: Inputs,
    listener: Listener,
    tell: Callable[[str], None],
    margin_m: float = 0.0,
) -> Looked:
    """Look from every station.

    tell : hears the notes; margin_m : how far about the stations others may be looked from

    Raises
    ------
    HillsightError : anything that makes no sense
    """
    observer = Observer()
    framing = framing_of(request, observer)
    say_if_compiling(listener)
    scene = scene_of(request, inputs, observer, margin_m=margin_m)
    for text in scene.notes:
        tell(text)
    spacing_m = 2 * min(inputs.terrain.spacing_x_m, inputs.terrain.spacing_y_m)
    things = Things.of(scene.things, spacing_m)
    with listener.work("looking") as advance:
        glances = scene.looker.look_all(inputs.stations, things, advance)
    for text in cut_short(glances, framing):
        tell(text)
    return Looked(glances, Weighing(things, framing, observer), scene.looker)
