"""What statements about the skyline share: its levels in a part of the picture, its line on the map."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.arrays import known_or
from hillsight.plan.kinds.shared.ground import line_along, middle_deg

if TYPE_CHECKING:
    from collections.abc import Hashable

    import shapely

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.kind import Case
    from hillsight.plan.statement import Statement

#: Where no ground rises against the sky, it is taken to stand so low, degrees.
_NO_GROUND_DEG = -5.0


def stretch(statement: Statement) -> Hashable:
    """Topic of statements about the skyline of one part of the picture."""
    return "skyline", statement.part


def levels_deg(case: Case) -> Floats:
    """Vertical angles of the skyline in the statement's part, (h, k), from left to right."""
    return known_or(case.glance.skyline_deg[case.bearings()], _NO_GROUND_DEG)


def on_the_map(case: Case) -> tuple[shapely.Geometry | None, float]:
    """The skyline of the part in the case's direction as a line, and the bearing of its middle."""
    at = case.bearings_ahead()
    return line_along(case.glance, at, case.glance.skyline_m[at]), middle_deg(at)
