"""Looks from many places over as few readings of the terrain as memory allows."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import StationError
from hillsight.ground.error_fields import ErrorFields
from hillsight.ground.geodesy import drop_coefficient_per_m
from hillsight.ground.standing import ground_height_m
from hillsight.ground.terrain import MARGIN_POSTS, MOST_POSTS
from hillsight.plan.look.drawn import DrawnGround, Place
from hillsight.plan.look.glance import glance
from hillsight.reading.far_ground import far_ground
from hillsight.sight.doubt import ErringGround
from hillsight.sight.maxima import Maxima

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.geodesy import Geodesy
    from hillsight.ground.grid import Surface
    from hillsight.ground.stations import Station
    from hillsight.ground.terrain import Terrain
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.things import Things
    from hillsight.sight.far_sky import FarGround
    from hillsight.sight.viewing import Viewing

#: Posts read beyond the reach on each side, so that ground at the reach is held whole.
_BEYOND_POSTS = 3


@dataclass
class Looker:
    """Looks from places, keeping the terrain about them between one look and the next.

    Parameters
    ----------
    spread_m : how far about the first place asked for others may lie that share its terrain
    """

    terrain: Terrain
    geodesy: Geodesy
    viewing: Viewing
    errors: ErrorModel
    spread_m: float = 0.0
    _held: tuple[float, float, ErringGround, Maxima] | None = field(default=None, repr=False)
    _fields: ErrorFields | None = field(default=None, repr=False)
    _drawn: tuple[int, DrawnGround] | None = field(default=None, repr=False)
    _far: FarGround | None = field(default=None, repr=False)

    @classmethod
    def over(
        cls,
        terrain: Terrain,
        geodesy: Geodesy,
        viewing: Viewing,
        errors: ErrorModel,
        easting_m: Sequence[float],
        northing_m: Sequence[float],
        margin_m: float,
    ) -> Looker:
        """For places within a margin of those given, over one piece of terrain if it is not too big."""
        east, north = np.asarray(easting_m, float), np.asarray(northing_m, float)
        middle = float((east.min() + east.max()) / 2), float((north.min() + north.max()) / 2)
        spread_m = float(max(np.ptp(east), np.ptp(north))) / 2 + margin_m
        looker = cls(terrain, geodesy, viewing, errors, spread_m)
        # A window begins and ends between posts, and has margins of its own.
        columns, rows = (
            min(2 * looker._held_m() / spacing_m + 2 * MARGIN_POSTS + 3, posts)
            for spacing_m, posts in (
                (terrain.spacing_x_m, terrain.grid.columns),
                (terrain.spacing_y_m, terrain.grid.rows),
            )
        )
        if columns * rows > MOST_POSTS:
            looker.spread_m = 0.0
        else:
            looker._hold(*middle)
        return looker

    def on_bare_ground(self) -> Looker:
        """The same with nothing on the ground."""
        return Looker(self.terrain.bare, self.geodesy, self.viewing, self.errors, self.spread_m)

    def far(self, place: Place | Station) -> FarGround:
        """All ground that may stand against the sky, from the first place asked for and those about it."""
        if self._far is None:
            self._far = far_ground(self.terrain, place.easting_m, place.northing_m)
        return self._far

    def surface(self, easting_m: float, northing_m: float) -> Surface:
        """Terrain about a place, to the reach at least."""
        return self._at(easting_m, northing_m)[0].surface

    def erring(self, easting_m: float, northing_m: float) -> ErringGround:
        """The same with its errors."""
        return self._at(easting_m, northing_m)[0]

    def look(self, station: Station, things: Things, eye_height_m: float | None = None) -> Glance:
        """Look from a station.

        Raises
        ------
        StationError : it stands off the terrain or on a void, or its surveyed height puts the eye underground
        """
        erring, maxima = self._at(station.easting_m, station.northing_m)
        ground_m, _ = self._ground_m(erring.surface, station)
        viewing = self.viewing
        raised_m = 0.0 if eye_height_m is None else eye_height_m - viewing.eye_height_m
        return glance(
            erring,
            self.geodesy,
            station.label,
            station.easting_m,
            station.northing_m,
            ground_m,
            viewing,
            things,
            maxima,
            raised_m=raised_m,
            far=self.far(station),
        )

    def place(self, station: Station) -> Place:
        """A station to look from in many draws.

        Raises
        ------
        StationError : it stands off the terrain or on a void, or its surveyed height puts the eye underground
        """
        surface = self.surface(station.easting_m, station.northing_m)
        ground_m, terrain_m = self._ground_m(surface, station)
        east_m, north_m = station.easting_m, station.northing_m
        return Place(
            station.label,
            east_m,
            north_m,
            ground_m - terrain_m,
            float(self.geodesy.convergence_deg(east_m, north_m)),
            drop_coefficient_per_m(self.geodesy.gaussian_radius_m(east_m, north_m), self.viewing.refraction),
        )

    def shares_terrain(self, places: Sequence[Place]) -> bool:
        """Whether all of some places lie over one piece of terrain."""
        return len({id(self._at(place.easting_m, place.northing_m)[0]) for place in places}) == 1

    def drawn_ground(self, place: Place, number: int) -> DrawnGround:
        """Ground about a place with its errors drawn once; the same for all places that share its terrain."""
        erring, _ = self._at(place.easting_m, place.northing_m)
        if self._fields is None or self._fields.grid != erring.surface.grid:
            self._fields, self._drawn = ErrorFields(erring.surface.grid, self.errors, erring.rough_m), None
        if self._drawn is None or self._drawn[0] != number:
            self._drawn = number, DrawnGround.of(erring.surface, self._fields.drawn(number))
        return self._drawn[1]

    def look_all(
        self,
        stations: Sequence[Station],
        things: Things,
        progress: Callable[[float], None] | None = None,
    ) -> list[Glance]:
        """Look from each of many stations, in their order."""
        found = []
        for k, station in enumerate(stations, 1):
            found.append(self.look(station, things))
            if progress is not None:
                progress(k / len(stations))
        return found

    def _ground_m(self, surface: Surface, station: Station) -> tuple[float, float]:
        """Height of the ground that a station stands on, and what the terrain says of it.

        Raises
        ------
        StationError : see ``look``
        """
        try:
            terrain_m = surface.height_at_m(station.easting_m, station.northing_m)
        except ValueError as error:
            raise StationError(
                str(error), where=station.source or station.label, remedy="Move it onto the terrain"
            ) from error
        ground_m, _ = ground_height_m(station, terrain_m, self.viewing.eye_height_m)
        return ground_m, terrain_m

    def _at(self, easting_m: float, northing_m: float) -> tuple[ErringGround, Maxima]:
        if self._held is not None:
            east, north, erring, maxima = self._held
            if max(abs(easting_m - east), abs(northing_m - north)) <= self.spread_m + 1e-6:
                return erring, maxima
        return self._hold(easting_m, northing_m)

    def _hold(self, easting_m: float, northing_m: float) -> tuple[ErringGround, Maxima]:
        surface = self.terrain.window(easting_m, northing_m, self._held_m())
        erring, maxima = ErringGround(surface, self.errors, feature=True), Maxima.over(surface)
        self._held = easting_m, northing_m, erring, maxima
        return erring, maxima

    def _held_m(self) -> float:
        """How far about a place terrain is held."""
        beyond_m = _BEYOND_POSTS * max(self.terrain.spacing_x_m, self.terrain.spacing_y_m)
        return self.spread_m + self.viewing.reach_m + beyond_m
