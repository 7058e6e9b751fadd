"""What statements about the ground itself share: lines on the map, parts asked about, their topic."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.plan.look.glance import STEP_DEG
from hillsight.reading.ground.brows import goes_on

if TYPE_CHECKING:
    from collections.abc import Hashable, Sequence

    from hillsight.arrays import Floats, Integers
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.statement import Statement

GROUND_PARTS = ("left", "middle", "right")
"""Parts of the picture in which the near ground is asked for."""

IN_PART = {"left": "On the left", "middle": "In the middle", "right": "On the right"}


def near_ground(statement: Statement) -> Hashable:
    """Topic of statements about brows and what lies behind them."""
    return "near ground", statement.part


def line_along(glance: Glance, at: Integers, distance_m: Floats) -> shapely.Geometry | None:
    """Lines through places at distances along neighbouring bearings, broken where the distance jumps."""
    turn = np.radians(at * STEP_DEG - glance.convergence_deg)
    places = np.column_stack(
        (glance.easting_m + distance_m * np.sin(turn), glance.northing_m + distance_m * np.cos(turn))
    )
    cuts = np.flatnonzero(~goes_on(distance_m[:-1], distance_m[1:], glance.spacing_m)) + 1
    runs = [run for run in np.split(np.arange(at.size), cuts) if np.isfinite(distance_m[run]).all()]
    lines = [shapely.LineString(places[run]) for run in runs if run.size >= 2]
    return shapely.MultiLineString(lines) if lines else None


def middle_deg(at: Integers) -> float:
    """True bearing of the middle of a part of the picture."""
    return float(at[at.size // 2] * STEP_DEG % 360.0)


def behind_no_brow(statement: Statement, said: Sequence[Statement]) -> bool:
    """Whether it is about a brow where the ground is said to stay in view."""
    no_brow = {s.part for s in said if s.values.get("distance") == "none"}
    return statement.values.get("distance") != "none" and statement.part in no_brow
