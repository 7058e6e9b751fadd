"""Change of coordinates between reference systems: one checked factory, plan positions, never heights."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.exceptions import ProjError
from pyproj.transformer import TransformerGroup

from hillsight.errors import HillsightError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from hillsight.arrays import Floats

_BALLPARK = "ballpark"  # PROJ's word in the description of a transformation that ignores the datum shift
_AREA_MARGIN_DEG = 0.01


@dataclass(frozen=True)
class Operation:
    """The operation PROJ really used.

    Parameters
    ----------
    name : PROJ's description of the steps
    accuracy_m : stated accuracy in metres; 0 where the datum stays the same; None where there is none
    best_available : False where a better operation exists for these points but its grid files are missing
    missing_grids : names of those grid files, sorted
    """

    name: str
    accuracy_m: float | None
    best_available: bool
    missing_grids: tuple[str, ...]

    @property
    def caution(self) -> str:
        """A sentence where no datum shift is known, so that positions may be far off; else empty."""
        if _BALLPARK not in self.name.lower():
            return ""
        return f"no datum shift is known ({self.name}): positions may be off by hundreds of metres"


def horizontal_crs(crs: CRS) -> CRS:
    """The plan part of a reference system: compound ones lose their vertical part, 3D ones their height."""
    if crs.is_compound:
        return horizontal_crs(CRS(crs.sub_crs_list[0]))
    return CRS(crs.to_2d())


def _axis_to_degrees(crs: CRS) -> float:
    """Degrees in one unit of a geographic system's axes (1 for degrees, 0.9 for grads)."""
    return float(np.degrees(crs.axis_info[0].unit_conversion_factor))


def steady_transformer(from_crs: CRS, to_crs: CRS) -> Transformer:
    """PROJ's transformer that never drops the datum shift if any shift between the two is known.

    By default PROJ quietly ignores the datum (a hundred metres) for points just outside the area that a
    shift is meant for, so that neighbours on either side of that line would be torn apart. x comes first.

    Raises
    ------
    ProjError : PROJ knows no way between the two
    """
    try:
        return Transformer.from_crs(from_crs, to_crs, always_xy=True, allow_ballpark=False)
    except ProjError:
        return Transformer.from_crs(from_crs, to_crs, always_xy=True)


class CheckedTransformer:
    """Turns (x, y) arrays of one reference system into another; x is easting or longitude in both.

    Calling it raises where a point has no image; ``attempt`` gives inf there. Heights are not accepted: PROJ
    leaves them unchanged or worse where its vertical grids are missing. ``operation`` is known after use.
    """

    def __init__(self, from_crs: CRS, to_crs: CRS) -> None:
        self.from_crs = horizontal_crs(from_crs)
        self.to_crs = horizontal_crs(to_crs)
        self._same = self.from_crs.equals(self.to_crs, ignore_axis_order=True)
        try:
            self._transformer = steady_transformer(self.from_crs, self.to_crs)
        except ProjError as error:
            raise HillsightError(
                f"no way is known from {self.from_crs.name} to {self.to_crs.name}",
                remedy="Give both data sets in reference systems that PROJ can relate",
            ) from error
        self._used: Any = None
        self._bounds = (np.inf, np.inf, -np.inf, -np.inf)  # of all input points so far, in from_crs

    def attempt(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """As calling it, but points without an image in the target system become inf.

        Raises
        ------
        HillsightError : a coordinate is not finite, or is no longitude or latitude though declared as one
        """
        x_in = np.atleast_1d(np.asarray(x, np.float64))
        y_in = np.atleast_1d(np.asarray(y, np.float64))
        self._check_input(x_in, y_in)
        if x_in.size == 0 or self._same:
            return x_in.copy(), y_in.copy()
        x_out, y_out = self._transformer.transform(x_in, y_in)
        good = np.isfinite(x_out) & np.isfinite(y_out)
        if good.any():
            self._used = self._transformer.get_last_used_operation()
            west, south, east, north = self._bounds
            self._bounds = (
                min(west, float(x_in[good].min())),
                min(south, float(y_in[good].min())),
                max(east, float(x_in[good].max())),
                max(north, float(y_in[good].max())),
            )
        return np.where(good, x_out, np.inf), np.where(good, y_out, np.inf)

    def __call__(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """Positions in the target system.

        Parameters
        ----------
        x, y : (n,) or scalar, easting or longitude and northing or latitude, in units of ``from_crs``

        Returns
        -------
        two (n,) float64 arrays, in units of ``to_crs``

        Raises
        ------
        HillsightError : a coordinate is not finite, is absurd, or has no image in the target system
        """
        x_out, y_out = self.attempt(x, y)
        bad = np.flatnonzero(~(np.isfinite(x_out) & np.isfinite(y_out)))
        if bad.size:
            first = bad[0]
            bad_x = np.atleast_1d(np.asarray(x, np.float64))[first]
            bad_y = np.atleast_1d(np.asarray(y, np.float64))[first]
            raise HillsightError(
                f"{bad.size} of {x_out.size} points of {self.from_crs.name} have no place in "
                f"{self.to_crs.name}; the first is {bad_x:.10g}, {bad_y:.10g}",
                remedy="Check the coordinates and the reference system they are said to be in",
            )
        return x_out, y_out

    def _check_input(self, x: Floats, y: Floats) -> None:
        bad = np.flatnonzero(~(np.isfinite(x) & np.isfinite(y)))
        if bad.size:
            raise HillsightError(
                f"coordinates {x[bad[0]]}, {y[bad[0]]} are not finite numbers",
                remedy="Give every point an easting and a northing",
            )
        if self.from_crs.is_geographic:
            per_unit = _axis_to_degrees(self.from_crs)
            bad = np.flatnonzero((np.abs(x * per_unit) > 540) | (np.abs(y * per_unit) > 90 + 1e-9))
            if bad.size:
                raise HillsightError(
                    f"{x[bad[0]]:.10g}, {y[bad[0]]:.10g} is no longitude and latitude, "
                    f"though the coordinates are said to be in {self.from_crs.name}",
                    remedy="If they are metres, state their projected system; else longitude comes first",
                )

    @cached_property
    def _same_datum(self) -> bool:
        here, there = self.from_crs.geodetic_crs, self.to_crs.geodetic_crs
        return here is not None and there is not None and here.equals(there, ignore_axis_order=True)

    @property
    def used(self) -> bool:
        """Whether ``operation`` is known: a point has been transformed, or none needs to be."""
        return self._same or self._used is not None

    @property
    def operation(self) -> Operation:
        """What was done to the points given so far.

        Where points fell under several operations, the last one is named; missing grids are looked up for the
        area of all points.

        Raises
        ------
        RuntimeError : no point has been transformed yet: PROJ knows the accuracy only after use
        """
        if self._same:
            return Operation(f"none: already in {self.to_crs.name}", 0.0, True, ())
        if self._used is None:
            raise RuntimeError("the operation is known only after a point has been transformed")
        description = str(self._used.description).replace(
            " (with axis order normalized for visualization)", ""
        )
        accuracy = float(self._used.accuracy)
        if self._same_datum:
            return Operation(description, 0.0, True, ())
        stated = None if accuracy < 0 or _BALLPARK in description.lower() else accuracy
        best, missing = self._better_ones()
        return Operation(description, stated, best, missing)

    def _better_ones(self) -> tuple[bool, tuple[str, ...]]:
        """Whether PROJ's best operation for the area of the points is at hand, and the grids that are not."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the group warns of missing grids; they are returned instead
            group = TransformerGroup(
                self.from_crs, self.to_crs, always_xy=True, area_of_interest=self._area_of_points()
            )
        names = {
            grid.short_name
            for operation in group.unavailable_operations
            for grid in operation.grids
            if not grid.available
        }
        return bool(group.best_available), tuple(sorted(names))

    def _area_of_points(self) -> Any:
        geodetic = self.from_crs.geodetic_crs
        if geodetic is None:
            return None
        west, south, east, north = self._bounds
        to_degrees = Transformer.from_crs(self.from_crs, geodetic, always_xy=True)
        x, y = to_degrees.transform([west, west, east, east], [south, north, south, north])
        per_unit = _axis_to_degrees(geodetic)
        longitude, latitude = np.asarray(x) * per_unit, np.asarray(y) * per_unit
        if not (np.isfinite(longitude).all() and np.isfinite(latitude).all()):
            return None
        if np.abs(longitude).max() > 180 or np.ptp(longitude) > 180:
            return None  # across the date line: ask for the whole world rather than for the wrong side
        return AreaOfInterest(
            max(float(longitude.min()) - _AREA_MARGIN_DEG, -180.0),
            max(float(latitude.min()) - _AREA_MARGIN_DEG, -90.0),
            min(float(longitude.max()) + _AREA_MARGIN_DEG, 180.0),
            min(float(latitude.max()) + _AREA_MARGIN_DEG, 90.0),
        )


def transformer(from_crs: CRS, to_crs: CRS) -> CheckedTransformer:
    """The one way coordinates change reference system in this package: x first, y second, no heights.

    Raises
    ------
    HillsightError : PROJ knows no way between the two
    """
    return CheckedTransformer(from_crs, to_crs)
