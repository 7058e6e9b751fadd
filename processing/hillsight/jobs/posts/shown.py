"""What sheets of marshal posts are made from."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import geopandas
import pandas

from hillsight.ground.crs import horizontal_crs
from hillsight.ground.evidence import EvidenceTable
from hillsight.ground.features import read_features

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from hillsight.ground.grid import Surface
    from hillsight.ground.terrain import Terrain
    from hillsight.jobs.posts.found import FoundPosts
    from hillsight.jobs.posts.ground import PlanGround
    from hillsight.plan.posts.outcome import Outcome
    from hillsight.plan.posts.plan import NamedPlace
    from hillsight.plan.posts.walking import Walk


@dataclass(frozen=True, eq=False)
class ShownPosts:
    """What sheets are made from.

    frames : the layers of the plan, on the terrain's grid
    walks : to each post; access : names and places where walks start, as ``Walk.access`` numbers them
    surface : about the course; refraction : of light
    drawn_features : the map's, and what was given as cover and is not among them
    """

    terrain: Terrain
    features: geopandas.GeoDataFrame | None
    drawn_features: geopandas.GeoDataFrame | None
    outcome: Outcome
    frames: Mapping[str, geopandas.GeoDataFrame]
    walks: Sequence[Walk | None]
    access: Sequence[tuple[str, float, float]]
    surface: Surface
    refraction: float

    @classmethod
    def of(
        cls,
        found: FoundPosts,
        frames: Mapping[str, geopandas.GeoDataFrame],
        ground: PlanGround,
        access: Sequence[NamedPlace],
        refraction: float,
    ) -> ShownPosts:
        """What was found, and the places on the grid where walks start."""
        return cls(
            ground.terrain,
            ground.inputs.features,
            _with_cover(ground),
            found.outcome,
            frames,
            [found.standing.walk_to(int(place)) for place in found.outcome.posts.place],
            [(one.name, one.easting_m, one.northing_m) for one in access],
            found.surface,
            refraction,
        )

    @property
    def start(self) -> datetime.datetime | None:
        """When the first runner leaves, where the plan says so."""
        return self.outcome.plan.paces.start


def _with_cover(ground: PlanGround) -> geopandas.GeoDataFrame | None:
    """The map features, and the shapes of the files of cover that are not among them."""
    features, request = ground.inputs.features, ground.request
    if not request.cover:
        return features
    cover, _, _ = read_features(
        request.cover,
        request.cover_layer,
        ground.terrain.crs,
        default_crs=horizontal_crs(ground.terrain.source_crs),
        table=EvidenceTable.load(request.evidence),
        near=ground.terrain.near,
    )
    if features is None:
        return cover
    known = {one.normalize().wkb for one in features.geometry}
    new = [one.normalize().wkb not in known for one in cover.geometry]
    both = pandas.concat([cover[new], features], ignore_index=True)
    return geopandas.GeoDataFrame(both, geometry="geometry", crs=ground.terrain.crs)


def frame_of(found: ShownPosts, shapes: Sequence[Any], **columns: Sequence[Any]) -> geopandas.GeoDataFrame:
    """Shapes on the terrain's grid, with columns."""
    return geopandas.GeoDataFrame(dict(columns), geometry=list(shapes), crs=found.terrain.crs)
