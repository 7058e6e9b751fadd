"""What the printed sheets of an exercise show: pictures, ground about each place, reasons and marks."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas

    from hillsight.arrays import Floats
    from hillsight.ground.grid import Surface
    from hillsight.sheets.exercise.page_data import PageReason, PageView
    from hillsight.sheets.map.margin import North


@dataclass(frozen=True, eq=False)
class Sight:
    """What a place has of a reason, on the ground.

    reason : its number
    easting_m, northing_m : where its number stands, metres on the terrain's grid
    lines : of the ground that it is about, each (n, 2) metres; none for a single point
    says : bearings with their norths, distance, height relative to the eye
    """

    reason: int
    easting_m: float
    northing_m: float
    lines: tuple[Floats, ...]
    says: str


@dataclass(frozen=True, eq=False)
class SheetPlace:
    """A place that the picture may be from.

    name : the setter's; on answer sheets alone
    where : coordinates and the sector it would look into, in words
    easting_m, northing_m : metres on the terrain's grid
    looks_grid_deg : bearing of the picture's middle from grid north, there
    layers : dead_ground, unknown_ground, crest_lines as seen from it
    sights : of the reasons that the place has something of
    view : drawn from there
    ruled_out : what rules it out, sentences; none for the true place
    """

    letter: str
    name: str
    where: str
    is_true: bool
    easting_m: float
    northing_m: float
    looks_grid_deg: float
    layers: Mapping[str, geopandas.GeoDataFrame]
    sights: tuple[Sight, ...]
    view: PageView
    ruled_out: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class SheetData:
    """An exercise for paper.

    picture : of the question
    places : in the order of their letters
    surface, features : of the map, in the terrain's grid
    width_deg : of the picture
    scale : denominator of the extracts' scale; grid_scale_factor : grid distance over ellipsoid distance
    reasons : by role, the most trusted first, numbered in this order
    mistakes : to be expected, sentences
    cautions : for whoever marks answers
    north : of the map at the places' middle
    made_of : where it all comes from, in words that give nothing away
    provenance : as JSON, for the answer; of_question : what of it gives nothing away
    number : in a booklet, from 1
    """

    title: str
    question: str
    picture: PageView
    places: tuple[SheetPlace, ...]
    surface: Surface
    features: geopandas.GeoDataFrame | None
    width_deg: float
    scale: float
    grid_scale_factor: float
    reasons: tuple[PageReason, ...]
    mistakes: tuple[str, ...]
    cautions: tuple[str, ...]
    north: North
    made_of: str
    provenance: str
    number: int | None = field(default=None)
    of_question: str = ""

    @property
    def truth(self) -> SheetPlace:
        """The place that the picture is from."""
        return next(one for one in self.places if one.is_true)
