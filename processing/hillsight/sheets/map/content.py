"""What a map may show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import shapely

from hillsight.ground.transform import middle_of
from hillsight.ground.vector import carried

if TYPE_CHECKING:
    import geopandas

    from hillsight.ground.grid import Surface
    from hillsight.layers.contents import Raster
    from hillsight.sheets.paper.labels import Box


@dataclass(frozen=True)
class MapPlace:
    """A place to mark: a station, or a candidate with its letter.

    Parameters
    ----------
    easting_m, northing_m : metres on the map's grid
    label : written beside the mark; "" for none
    looks_grid_deg : bearing from grid north of the middle of its view, None where it looks nowhere
    width_deg : of the view
    reach_m : how far its view is drawn, metres on the grid; None to the frame's edge
    is_washed : whether the ground of its view has a wash; else it has edges alone
    """

    easting_m: float
    northing_m: float
    label: str = ""
    looks_grid_deg: float | None = None
    width_deg: float = 60.0
    reach_m: float | None = None
    is_washed: bool = True


@dataclass(frozen=True)
class MapContent:
    """Everything that a map may show; all but the surface may be left out.

    Parameters
    ----------
    surface : terrain in metres; its grid is the map's
    features : map features with name, kind, evidence_class
    layers : layers of hillsight by their names, or others
    rasters : "viewshed", where the layers do not tell the ground's states; "depth" of dead ground
    places : to mark, in the map's grid
    """

    surface: Surface
    features: geopandas.GeoDataFrame | None = None
    layers: Mapping[str, geopandas.GeoDataFrame] = field(default_factory=dict)
    rasters: Mapping[str, Raster] = field(default_factory=dict)
    places: tuple[MapPlace, ...] = ()

    def here(self) -> MapContent:
        """The same with all vector layers in the CRS of the surface."""
        crs, near = self.surface.grid.crs, middle_of(self.surface.grid)

        def moved(frame: geopandas.GeoDataFrame) -> geopandas.GeoDataFrame:
            return frame if frame.crs is None else carried(frame, crs, near)

        features = None if self.features is None else moved(self.features)
        return replace(
            self, features=features, layers={name: moved(frame) for name, frame in self.layers.items()}
        )

    def within(self, limits: Box) -> MapContent:
        """What of the layers and features touches a map; all must be in its grid."""
        window = shapely.box(limits.left, limits.bottom, limits.right, limits.top)

        def cut(frame: geopandas.GeoDataFrame) -> geopandas.GeoDataFrame:
            return frame[frame.geometry.intersects(window)].reset_index(drop=True)

        layers = {name: cut(frame) for name, frame in self.layers.items() if len(frame)}
        places = tuple(
            place
            for place in self.places
            if limits.left <= place.easting_m <= limits.right
            and limits.bottom <= place.northing_m <= limits.top
        )
        return replace(
            self,
            features=None if self.features is None else cut(self.features),
            layers={name: frame for name, frame in layers.items() if len(frame)},
            places=places,
        )
