"""Bearings, distances, grid north and the drop for curvature, on the ellipsoid of one projected system."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError, HillsightError
from hillsight.ground.crs import from_own_degrees, horizontal_crs, own_degrees
from hillsight.words.angles import wrap_deg

if TYPE_CHECKING:
    from numpy.typing import ArrayLike
    from pyproj import CRS, Geod

    from hillsight.arrays import Floats

_STEP_M = 50.0  # half the length of the grid-line piece whose azimuth is the convergence


def grid_bearing_deg(
    easting_m: float, northing_m: float, eastings_m: ArrayLike, northings_m: ArrayLike
) -> Floats:
    """Bearings from grid north, [0, 360), of the straight lines on the map from one place to others.

    0 where the places coincide. Shape of the arrays given; metres in any one projected system.
    """
    east = np.asarray(eastings_m, np.float64) - easting_m
    north = np.asarray(northings_m, np.float64) - northing_m
    return wrap_deg(np.degrees(np.arctan2(east, north)))


def drop_coefficient_per_m(radius_m: float, refraction: float) -> float:
    """How much a terrain post is lowered per square metre of distance: drop = coefficient * distance^2.

    Parameters
    ----------
    radius_m : metres > 0, mean radius of curvature of the Earth
    refraction : curvature of the ray / curvature of the Earth; 0.13 for light, 0.25 for radio, 1 for no drop

    Returns
    -------
    (1 - refraction) / (2 radius), 1/m; negative for refraction above 1, when rays bend more than the Earth

    Raises
    ------
    CallError : the radius is not finite and positive, or refraction is not finite

    Source: (1 - k) d^2 / 2R, surveying textbooks; checked by tests/outside/test_curvature_tables.py
    """
    if not (np.isfinite(radius_m) and radius_m > 0):
        raise CallError(f"a radius of {radius_m} m is no radius of curvature")
    if not np.isfinite(refraction):
        raise CallError(
            f"refraction {refraction} is not a number", where="refraction", remedy="0.13 is usual for light"
        )
    return (1.0 - refraction) / (2.0 * radius_m)


class Geodesy:
    """Geodesy of one projected reference system in metres, easting first, on the ellipsoid of its own datum.

    Methods take scalars or arrays; positions are metres east and north in the system.

    Raises
    ------
    HillsightError : the system is not projected, not in metres, or its axes run west or south
    """

    def __init__(self, crs: CRS) -> None:
        plan = horizontal_crs(crs)
        geodetic = plan.geodetic_crs
        if not plan.is_projected or geodetic is None:
            raise CallError(
                f"{plan.name} is not a projected reference system",
                remedy="Work in a projected system in metres, such as the local UTM zone",
            )
        for axis in plan.axis_info[:2]:
            if axis.unit_conversion_factor != 1.0:
                raise CallError(
                    f"{plan.name} counts in {axis.unit_name}, not in metres",
                    remedy="Work in a projected system in metres, such as the local UTM zone",
                )
        self.crs = plan
        self._geod: Geod = plan.get_geod() or geodetic.get_geod()  # type: ignore[assignment]

    def longitude_latitude(self, easting_m: ArrayLike, northing_m: ArrayLike) -> tuple[Floats, Floats]:
        """Longitude (east of Greenwich) and latitude in degrees, on the system's own datum, not WGS 84.

        Raises
        ------
        HillsightError : a position is not finite or lies outside what the projection can show
        """
        x, y = np.asarray(easting_m, np.float64), np.asarray(northing_m, np.float64)
        longitude, latitude = own_degrees(self.crs, x, y)
        good = np.isfinite(longitude) & np.isfinite(latitude)
        if not np.all(good):
            first = int(np.flatnonzero(~np.atleast_1d(good))[0])
            bad_x, bad_y = (np.atleast_1d(v).ravel()[first] for v in np.broadcast_arrays(x, y))
            raise HillsightError(
                f"E {bad_x:.10g} N {bad_y:.10g} is no place in {self.crs.name}",
                remedy="Check the coordinates and their reference system",
            )
        return longitude, latitude

    def inverse(
        self, easting_m: ArrayLike, northing_m: ArrayLike, eastings_m: ArrayLike, northings_m: ArrayLike
    ) -> tuple[Floats, Floats]:
        """True bearings at one place towards others, and distances, along the geodesics of the ellipsoid.

        Parameters
        ----------
        easting_m, northing_m : the place looked from, or (n,) one for each looked to
        eastings_m, northings_m : (n,) or scalar, the places looked to

        Returns
        -------
        bearing_true_deg, distance_m : degrees from true north in [0, 360), 0 where they coincide; metres

        Source: C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013), by way of PROJ;
        checked by tests/outside/test_geodesic_lines.py
        """
        longitude, latitude = self.longitude_latitude(easting_m, northing_m)
        longitudes, latitudes = self.longitude_latitude(eastings_m, northings_m)
        longitude, latitude = (
            np.broadcast_to(longitude, longitudes.shape),
            np.broadcast_to(latitude, latitudes.shape),
        )
        azimuth, _, distance = self._geod.inv(longitude.copy(), latitude.copy(), longitudes, latitudes)
        distance_m = np.asarray(distance, np.float64)
        return np.where(distance_m == 0.0, 0.0, wrap_deg(azimuth)), distance_m

    def forward(
        self, easting_m: float, northing_m: float, bearing_true_deg: ArrayLike, distance_m: ArrayLike
    ) -> tuple[Floats, Floats]:
        """Eastings and northings reached from one place along geodesics.

        Parameters
        ----------
        bearing_true_deg : (n,) or scalar, degrees from true north at the start
        distance_m : (n,) or scalar, metres on the ellipsoid

        Raises
        ------
        HillsightError : a point reached lies outside what the projection can show
        """
        bearing, distance = np.broadcast_arrays(
            np.asarray(bearing_true_deg, np.float64), np.asarray(distance_m, np.float64)
        )
        start = self.longitude_latitude(easting_m, northing_m)
        longitude, latitude = (np.broadcast_to(v, bearing.shape).copy() for v in start)
        there = self._geod.fwd(longitude, latitude, bearing.copy(), distance.copy())
        easting, northing = from_own_degrees(self.crs, there[0], there[1])
        if not (np.isfinite(easting).all() and np.isfinite(northing).all()):
            raise HillsightError(
                f"a point up to {np.max(distance):.0f} m from E {easting_m:.0f} N {northing_m:.0f} "
                f"lies outside {self.crs.name}",
                remedy="Shorten the distance or work in another reference system",
            )
        return easting, northing

    def convergence_deg(self, easting_m: ArrayLike, northing_m: ArrayLike) -> Floats:
        """True bearing of grid north in (-180, 180]: true = grid + convergence, in both hemispheres.

        Positive where grid north lies east of true north (British use; Australian manuals give the opposite
        sign). Found as the azimuth of a 100 m piece of the grid line through the place, so that it holds for
        any projection; for a conformal one it is the meridian convergence of the textbooks.

        Checked by tests/outside/test_grid_convergence.py
        """
        x, y = np.broadcast_arrays(np.asarray(easting_m, np.float64), np.asarray(northing_m, np.float64))
        middle = self.longitude_latitude(x, y)
        to_north, to_south = (
            self._azimuth(middle, self.longitude_latitude(x, y + s)) for s in (_STEP_M, -_STEP_M)
        )
        # The mean of the two half pieces cancels the bend of the grid line.
        bend = wrap_deg(to_south + 180.0 - to_north + 180.0) - 180.0
        return 180.0 - wrap_deg(180.0 - (to_north + bend / 2.0))

    def _azimuth(
        self,
        here: tuple[Floats, Floats],
        there: tuple[Floats, Floats],
    ) -> Floats:
        azimuth, _, _ = self._geod.inv(here[0].copy(), here[1].copy(), there[0], there[1])
        return np.asarray(azimuth, np.float64)

    def gaussian_radius_m(self, easting_m: float, northing_m: float) -> float:
        """Mean radius of curvature sqrt(M N) of the ellipsoid at a place, metres.

        M is the radius of curvature in the meridian, N in the prime vertical.
        """
        latitude = float(self.longitude_latitude(easting_m, northing_m)[1])
        e2 = float(self._geod.es)
        # sqrt(M N) = a sqrt(1 - e^2) / (1 - e^2 sin^2 latitude)
        return float(self._geod.a) * float(np.sqrt(1 - e2) / (1 - e2 * np.sin(np.radians(latitude)) ** 2))
