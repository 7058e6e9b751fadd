"""Kinds of raster, each declared once: its values, what they mean and which of them is no answer."""

from __future__ import annotations

import math
from dataclasses import dataclass

from hillsight.words.states import GroundState

#: A count that is no count: no station was asked about the post, or none could tell.
NOT_COUNTED = 65535


@dataclass(frozen=True)
class RasterKind:
    """One kind of raster.

    name : of the kind and of its style
    table : name of its table or file, with what stands for a station in angle brackets
    dtype : type of its values, as numpy names it
    unit : unit of its values, empty for none
    meaning : what the values say, one clause
    no_data : the value that is no answer, or not a number
    more : what else the docs tell, whole sentences
    """

    name: str
    table: str
    dtype: str
    unit: str
    meaning: str
    no_data: float
    more: str = ""


RASTERS: dict[str, RasterKind] = {
    kind.name: kind
    for kind in (
        RasterKind(
            "viewshed",
            "viewshed_<station>",
            "uint8",
            "",
            "state of each post: 0 beyond the reach, 1 hidden, 2 uncertain, 3 visible, 4 unknown",
            float(GroundState.BEYOND),
            "Of several target heights one each: `viewshed_<station>_2m`, `viewshed_<station>_1_6m`.",
        ),
        RasterKind(
            "depth",
            "depth_<station>",
            "float32",
            "m",
            "metres a thing must stand tall to show; 0 where the ground is visible, no data where unknown",
            math.nan,
            "No data beyond the reach too.",
        ),
        RasterKind(
            "probability",
            "probability_<station>",
            "float32",
            "",
            "probability that each post is seen, 0 to 1, by the error model; no data where unknown",
            math.nan,
            "Written where probabilities are asked for. No data beyond the reach too.",
        ),
        RasterKind(
            "visible_count",
            "visible_count",
            "uint16",
            "",
            "how many stations see each post; 0 where none does, no data where none was asked or could tell",
            float(NOT_COUNTED),
            "A post is asked about by each station whose reach, sector and inner distance it lies within. Of "
            "several target heights one each: `visible_count_2m`.",
        ),
        RasterKind(
            "probability_of_place",
            "probability_of_place",
            "float32",
            "",
            "probability that the picture was taken at this place, all together 1",
            math.nan,
            "One value a place of a lattice. No data where there is no ground.",
        ),
    )
}

#: The value that is no answer, by the type of the values.
NO_DATA: dict[str, float] = {kind.dtype: kind.no_data for kind in RASTERS.values()}
