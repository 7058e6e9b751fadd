"""What the sheets of marshal posts show, ready to be laid out: ground, lines, words."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas

    from hillsight.arrays import Floats
    from hillsight.ground.grid import Surface
    from hillsight.reading.drawn.drawn_view import DrawnView
    from hillsight.sheets.map.margin import North as MapNorth
    from hillsight.sheets.panorama.picture import North


@dataclass(frozen=True)
class Fact:
    """A heading and some sentences under it."""

    heading: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """Rows of words under a heading.

    columns : their heads; shares : of the width that each takes
    note : below the rows; all there is where there are none
    """

    heading: str
    columns: tuple[str, ...]
    shares: tuple[float, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


@dataclass(frozen=True, eq=False)
class PostSheet:
    """One post.

    number : in the mark; name : as the layers have it; where : its grid reference, then more of its place
    easting_m, northing_m : metres on the terrain's grid
    layers : dead_ground, unknown_ground, seen_stretches (its own), other_stretches, walks, access, posts
    facts : beside the map; tables : what to watch by bearing, radio
    view : drawn from the post; north : which its bearings count from
    courses : (n, 2) each, bearing from grid north and vertical angle, degrees, of the course that it sees
    """

    number: str
    name: str
    where: tuple[str, ...]
    easting_m: float
    northing_m: float
    layers: Mapping[str, geopandas.GeoDataFrame]
    facts: tuple[Fact, ...]
    tables: tuple[Table, ...]
    view: DrawnView
    north: North
    courses: tuple[Floats, ...] = ()
    view_says: str = ""


@dataclass(frozen=True, eq=False)
class PostSheets:
    """Sheets of one plan.

    surface, features : of the maps, in the terrain's grid
    grid_scale_factor : grid distance over ellipsoid distance at the course's middle
    map_north : at the course's middle
    course : (n, 2) metres, in running order; for arrows
    cautions : at the foot of every sheet
    made_of : where it comes from; provenance : the same as JSON
    """

    title: str
    surface: Surface
    features: geopandas.GeoDataFrame | None
    grid_scale_factor: float
    map_north: MapNorth
    course: Floats
    posts: tuple[PostSheet, ...]
    cautions: str
    made_of: str
    provenance: str = field(default="")
