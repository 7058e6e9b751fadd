"""How a drawn view is laid on its page: in how many strips, at which scale, how far exaggerated."""

from __future__ import annotations

from dataclasses import dataclass

from hillsight.errors import CallError
from hillsight.sight.cylinder import Cylinder

#: Exaggerations that are chosen from where none is asked for.
_CHOICES = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0)

#: Strips that a view is cut into at most.
_MOST_STRIPS = 4

#: Pixels below a strip for its scale of bearings, and between strips.
BELOW, BETWEEN = 34.0, 16.0

#: Room below the lowest and above the highest angle, share of what lies between; least pixels above.
_LOW_ROOM, _HIGH_ROOM, _LEAST_ABOVE = 0.06, 0.05, 30.0


@dataclass(frozen=True)
class Strips:
    """Cylinders from left to right of a sector, one above the other on the page.

    exaggeration : of all of them
    """

    cylinders: tuple[Cylinder, ...]
    exaggeration: float


def check_exaggeration(exaggeration: float | None) -> None:
    """Refuse what no drawing can have.

    Raises
    ------
    CallError : not between 0.5 and 20
    """
    if exaggeration is not None and not 0.5 <= exaggeration <= 20:
        raise CallError(
            f"the exaggeration is {exaggeration:g}",
            remedy="Give a number from 0.5 to 20; 1 draws angles alike both ways",
            parameters=("exaggeration",),
        )


def lay_strips(
    left_grid_deg: float,
    span_deg: float,
    angles_deg: tuple[float, float],
    room: tuple[float, float],
    exaggeration: float | None = None,
    count: int | None = None,
) -> Strips:
    """As many strips as can be without drawing heights smaller than widths.

    Parameters
    ----------
    left_grid_deg, span_deg : the sector
    angles_deg : lowest and highest vertical angle to show
    room : pixels across and up for all strips with their scales
    exaggeration : asked for; None chooses the greatest round one that fits, up to three times
    count : of strips asked for

    With one that does not fit, the lowest ground is cut off.
    """
    low, high = angles_deg
    shown = (high - low) * (1 + _LOW_ROOM + _HIGH_ROOM)
    best = None
    for strips in (count,) if count else range(1, _MOST_STRIPS + 1):
        tall = (room[1] - (strips - 1) * BETWEEN) / strips - BELOW
        per_degree = room[0] * strips / span_deg
        if tall < 40:
            break
        fits = (tall - _LEAST_ABOVE) / (shown * per_degree)
        chosen = exaggeration
        if chosen is None:
            chosen = max((n for n in _CHOICES if n <= fits), default=1.0)
        # Larger is better, but not if ground must be cut off for it.
        worth = (min(fits / chosen, 1.0), per_degree)
        if best is None or worth > best[0]:
            best = (worth, strips, tall, per_degree, chosen)
    assert best is not None
    _, strips, tall, per_degree, chosen = best
    up = per_degree * chosen
    # What is left over goes to the sky, up to some extent.
    height = min(tall, shown * up + max(_LEAST_ABOVE, 0.35 * shown * up))
    width, height = round(room[0]), round(height)
    above = max(_LEAST_ABOVE, min(height - shown * up, 0.6 * height)) + _HIGH_ROOM * (high - low) * up
    horizon = above + high * up
    span = span_deg / strips
    cylinders = tuple(
        Cylinder((left_grid_deg + n * span) % 360.0, width, height, span / width, 1.0 / up, horizon)
        for n in range(strips)
    )
    return Strips(cylinders, chosen)
