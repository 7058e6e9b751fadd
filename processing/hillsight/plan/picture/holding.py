"""How people hold a camera: what is believed of tilt and roll, and what is told where it is not so.

A verdict and a search weigh with this belief; resection solves for tilt and roll without it, and says where
its answer departs. A photograph that lies on its side fits nowhere by the belief, so it is refused.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import MarksError

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.picture.marks import Marks

#: One standard deviation of the tilt and of the roll of a camera in the hand, degrees (common practice, no
#: source).
TILT_DEG, ROLL_DEG = 10.0, 2.5

#: So many standard deviations are more than hands do.
_UNUSUAL = 3.0

#: From so much roll a picture lies on its side rather than upright, degrees.
_ON_ITS_SIDE_DEG = 45.0

#: A traced skyline climbs or falls so much, degrees, over all its length, where the picture lies on its side;
#: and from so much on it is worth a word. Ridges seen from afar stay well below.
_TRACE_UPRIGHT_DEG, _TRACE_ASLANT_DEG = 60.0, 25.0

#: Share of how landmarks lie that a turn of the picture explains where it is the turn that they tell.
_EXPLAINED = 0.97

_REMEDY = "Turn the photograph upright, save it, and mark what you saved"


def held_words(tilt_deg: float, roll_deg: float) -> str:
    """What is odd about how a camera was held; empty where hands do so."""
    if abs(roll_deg) >= _ON_ITS_SIDE_DEG:
        return (
            f"the camera comes out rolled by {roll_deg:.0f} degrees, so the photograph lies on its side or "
            f"on its head: relocate and search refuse it. {_REMEDY}"
        )
    odd = []
    if abs(roll_deg) > _UNUSUAL * ROLL_DEG:
        odd.append(f"rolled by {roll_deg:+.0f} degrees, believed to be 0 give or take {ROLL_DEG:g}")
    if abs(tilt_deg) > _UNUSUAL * TILT_DEG:
        odd.append(f"tilted by {tilt_deg:+.0f} degrees, believed to be 0 give or take {TILT_DEG:g}")
    if not odd:
        return ""
    return (
        f"the camera comes out {' and '.join(odd)}: check that the photograph is upright and the marks right"
    )


def check_trace(marks: Marks) -> str:
    """A word on a traced skyline that runs aslant; empty where it does not.

    Raises
    ------
    MarksError : it runs from top to bottom
    """
    aslant_deg = _aslant_deg(marks)
    if aslant_deg >= _TRACE_UPRIGHT_DEG:
        raise MarksError(
            f"the traced skyline runs from top to bottom, {aslant_deg:.0f} degrees from the level: the "
            "photograph seems to lie on its side",
            where=marks.photograph.name,
            remedy=f"{_REMEDY}; where a cliff truly stands so steep, trace the skyline on both sides of it",
            parameters=("marks",),
        )
    if aslant_deg >= _TRACE_ASLANT_DEG:
        return (
            f"the traced skyline runs {aslant_deg:.0f} degrees aslant over all its length: if the camera was "
            "held so, turn the photograph level and mark it anew, for cameras are taken as held level"
        )
    return ""


def _aslant_deg(marks: Marks) -> float:
    """How far the line through all pieces of a trace is from the level, [0, 90]; 0 where none is traced."""
    points, weights = [], []
    for trace in marks.skyline:
        at = np.column_stack((trace.x_px, trace.y_px))
        points.append((at[1:] + at[:-1]) / 2.0)
        weights.append(np.hypot(*np.diff(at, axis=0).T))
    if not points:
        return 0.0
    every, weight = np.concatenate(points), np.concatenate(weights)
    if weight.sum() <= 0:
        return 0.0
    away = every - np.average(every, axis=0, weights=weight)
    spread = (weight[:, None] * away).T @ away
    return float(np.degrees(0.5 * np.abs(np.arctan2(2.0 * spread[0, 1], spread[0, 0] - spread[1, 1]))))


def check_landmarks(right_up: Floats, bearing_deg: Floats, angle_deg: Floats, where: str) -> None:
    """Refuse a picture whose landmarks lie as if it were turned, from whichever place.

    Parameters
    ----------
    right_up : (m, 2) of the marks on the picture plane
    bearing_deg, angle_deg : (p, m) of the landmarks from each of p places

    Raises
    ------
    MarksError : from no place they lie upright, and from some they lie turned by more than 45 degrees
    """
    if len(right_up) < 3:
        return
    marked = right_up[:, 0] + 1j * right_up[:, 1]
    marked = marked - marked.mean()
    turned_deg = []
    for bearing, angle in zip(bearing_deg, angle_deg, strict=True):
        off_deg = (bearing - bearing[0] + 180.0) % 360.0 - 180.0
        there = off_deg + 1j * angle
        there = there - there.mean()
        turn = np.vdot(there, marked)
        whole = np.linalg.norm(there) * np.linalg.norm(marked)
        if whole > 0 and abs(turn) ** 2 >= _EXPLAINED * whole**2:
            turned_deg.append(float(np.degrees(np.angle(turn))))
    if turned_deg and min(abs(one) for one in turned_deg) >= _ON_ITS_SIDE_DEG:
        least_deg = min(turned_deg, key=abs)
        raise MarksError(
            f"the landmarks lie as in a picture that is turned by {least_deg:.0f} degrees: the photograph "
            "seems to lie on its side or on its head",
            where=where,
            remedy=_REMEDY,
            parameters=("marks",),
        )
