"""Places where marshals may stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats


@dataclass(frozen=True)
class Places:
    """Where marshals may stand, after no-go areas and limits of ground; fixed posts come first.

    easting_m, northing_m, ground_m : (n,) metres on the working grid; ground in the terrain's own datum
    name : (n,) of fixed posts; "" of others
    fixed : (n,) whether a post stands there in any case
    """

    easting_m: Floats
    northing_m: Floats
    ground_m: Floats
    name: tuple[str, ...]
    fixed: Flags
