"""The one way from one coordinate reference system to another: chosen once for a run, plan positions only.

PROJ on its own may take another operation for every point, one that leaves out the datum shift (a "ballpark"
one, off by a hundred metres) among them. Here one operation is chosen at the place of the work, and holds for
terrain, stations, features and output alike, so that the terrain lies under its stations.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.enums import TransformDirection
from pyproj.exceptions import ProjError
from pyproj.transformer import TransformerGroup

from hillsight.errors import HillsightError
from hillsight.ground.crs import from_own_degrees, horizontal_crs, one_datum, own_degrees
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from hillsight.arrays import Floats, Integers
    from hillsight.ground.grid import Grid

_BALLPARK = "ballpark"  # PROJ's word in the description of an operation that ignores the datum shift
_NORMALISED = " (with axis order normalized for visualization)"
_AREA_MARGIN_DEG = 0.01
_SUSPECT_STRETCH = 5.0  # times the middle one: a step that may cross where coordinates jump


@dataclass(frozen=True)
class Operation:
    """One coordinate operation between the map planes of two systems, the same at every point.

    x is easting or longitude in both systems, y northing or latitude. Heights are not accepted: PROJ leaves
    them unchanged, or worse, where its vertical grids are missing. Calling it raises where a point has no
    image; ``attempt`` gives inf there. It pickles.

    Parameters
    ----------
    from_crs, to_crs : the two map planes
    name : PROJ's description of the steps
    accuracy_m : stated accuracy in metres; 0 where the datum stays the same; None where PROJ states none
    best_available : False where a better operation exists for the place but its grid files are missing
    missing_grids : names of those grid files
    outside : whether the place lies outside the area that the operation is meant for
    pipeline : the steps as PROJ text; empty where nothing is to be done
    """

    from_crs: CRS
    to_crs: CRS
    name: str
    accuracy_m: float | None
    best_available: bool = True
    missing_grids: tuple[str, ...] = ()
    outside: bool = False
    pipeline: str = ""

    def forward(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """Places in ``to_crs``, shaped as given; inf where there is no answer."""
        return self._worked(x, y, TransformDirection.FORWARD)

    def backward(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """Places in ``from_crs`` of places in ``to_crs``; inf where there is no answer."""
        return self._worked(x, y, TransformDirection.INVERSE)

    def _worked(self, x: ArrayLike, y: ArrayLike, direction: TransformDirection) -> tuple[Floats, Floats]:
        x_in, y_in = np.asarray(x, np.float64), np.asarray(y, np.float64)
        if not self.pipeline:
            return x_in.copy(), y_in.copy()
        x_out, y_out = _steps(self.pipeline).transform(x_in, y_in, direction=direction)
        x_out, y_out = np.asarray(x_out, np.float64), np.asarray(y_out, np.float64)
        good = np.isfinite(x_out) & np.isfinite(y_out)
        return np.where(good, x_out, np.inf), np.where(good, y_out, np.inf)

    def attempt(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """As calling it, but points without an image in the target system become inf.

        Raises
        ------
        HillsightError : a coordinate is not finite, or is no longitude or latitude though declared as one
        """
        x_in = np.atleast_1d(np.asarray(x, np.float64))
        y_in = np.atleast_1d(np.asarray(y, np.float64))
        self._check_input(x_in, y_in)
        return self.forward(x_in, y_in)

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
            per_unit = float(np.degrees(self.from_crs.axis_info[0].unit_conversion_factor))
            bad = np.flatnonzero((np.abs(x * per_unit) > 540) | (np.abs(y * per_unit) > 90 + 1e-9))
            if bad.size:
                raise HillsightError(
                    f"{x[bad[0]]:.10g}, {y[bad[0]]:.10g} is no longitude and latitude, "
                    f"though the coordinates are said to be in {self.from_crs.name}",
                    remedy="If they are metres, state their projected system; else longitude comes first",
                )

    @property
    def note(self) -> str:
        """A sentence on a change of datum: by what, how good, what would be better; empty where exact."""
        if self.accuracy_m == 0:
            return ""
        good = "of unstated accuracy" if self.accuracy_m is None else f"good to about {self.accuracy_m:g} m"
        text = f"From {self.from_crs.name} to {self.to_crs.name} by {self.name}, {good}"
        if self.outside:
            text += "; the work lies outside the area this is meant for"
        if self.missing_grids:
            missing = ", ".join(self.missing_grids)
            text += f"; a better way needs a grid that is not installed ({missing})"
        return f"{text}."

    def record(self) -> dict[str, Any]:
        """What provenance keeps of it."""
        return {
            "name": self.name,
            "accuracy_m": self.accuracy_m,
            "best_available": self.best_available,
            "missing_grids": self.missing_grids,
        }


@lru_cache(256)
def _steps(pipeline: str) -> Transformer:
    return Transformer.from_pipeline(pipeline)


@lru_cache(256)
def operation_between(from_crs: CRS, to_crs: CRS, near: tuple[float, float]) -> Operation:
    """The operation between the map planes of two systems at a place: the one factory of this package.

    Of the operations PROJ can do with the grids installed, by way of WGS 84 where it knows no straight one,
    the most accurate that is meant for the place; where none is meant for it, the first for anywhere else.
    Never one that leaves out the datum shift. It holds for all points, as PROJ's own choice does not.

    Parameters
    ----------
    near : longitude and latitude of the work, degrees; some hundred metres do not matter

    Raises
    ------
    HillsightError : PROJ knows no way between the two, or only one without the datum shift; a system whose
        axes do not run east and north
    """
    here, there = horizontal_crs(from_crs), horizontal_crs(to_crs)
    if here.equals(there, ignore_axis_order=True):
        return Operation(here, there, f"none: already in {there.name}", 0.0)
    same = one_datum(here, there)
    used = _used(here, there, near, same)
    name = str(used.description).replace(_NORMALISED, "")
    pipeline = str(used.definition)
    if same:
        return Operation(here, there, name, 0.0, pipeline=pipeline)
    if _BALLPARK in name.lower():
        raise _no_way(here, there)
    accuracy_m = float(used.accuracy) if used.accuracy is not None and used.accuracy >= 0 else None
    missing = _better_grids(here, there, near, accuracy_m)
    return Operation(here, there, name, accuracy_m, not missing, missing, _outside(used, near), pipeline)


def _used(here: CRS, there: CRS, near: tuple[float, float], same: bool) -> Any:
    """The operation PROJ picks at a place, as one that does the same everywhere."""
    try:
        whole = Transformer.from_crs(here, there, always_xy=True, allow_ballpark=same)
    except ProjError:
        raise _no_way(here, there) from None
    longitude, latitude = (np.array([v]) for v in near)
    for crs, direction in ((here, TransformDirection.FORWARD), (there, TransformDirection.INVERSE)):
        place = from_own_degrees(crs, longitude, latitude)
        if np.isfinite(place).all() and np.isfinite(whole.transform(*place, direction=direction)).all():
            return whole.get_last_used_operation()
    raise HillsightError(
        f"no way is known from {here.name} to {there.name} at longitude {near[0]:.4f}, "
        f"latitude {near[1]:.4f}",
        remedy="Give both data sets in systems of that part of the world",
    )


def _no_way(here: CRS, there: CRS) -> HillsightError:
    return HillsightError(
        f"no way is known from {here.name} to {there.name} that takes account of their datums, "
        "and without it positions may be off by hundreds of metres",
        remedy="State the right system by its code, such as EPSG:27700, install the grid that PROJ needs "
        "(projsync fetches it), or carry the data over with a program that knows the way",
    )


def _better_grids(
    here: CRS, there: CRS, near: tuple[float, float], accuracy_m: float | None
) -> tuple[str, ...]:
    """Grid files that the best operation at a place would need and that are not installed."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the group warns of missing grids; they are returned instead
        group = TransformerGroup(here, there, always_xy=True, area_of_interest=_area_about(near))  # type: ignore[arg-type]
    for operation in group.unavailable_operations:
        better = accuracy_m is None or 0 <= operation.accuracy < accuracy_m
        missing = sorted(grid.short_name for grid in operation.grids if not grid.available)
        if better and missing:
            return tuple(missing)
    return ()


def _area_about(near: tuple[float, float]) -> AreaOfInterest:
    longitude, latitude = float(signed_deg(near[0])), near[1]
    return AreaOfInterest(
        max(longitude - _AREA_MARGIN_DEG, -180.0),
        max(latitude - _AREA_MARGIN_DEG, -90.0),
        min(longitude + _AREA_MARGIN_DEG, 180.0),
        min(latitude + _AREA_MARGIN_DEG, 90.0),
    )


def _outside(used: Any, near: tuple[float, float]) -> bool:
    return used.area_of_use is not None and not within(used.area_of_use.bounds, near)


def within(bounds: tuple[float, float, float, float], near: tuple[float, float]) -> bool:
    """Whether a place lies in an area of use (west, south, east, north), also one over the 180th meridian."""
    west, south, east, north = bounds
    east_of_west = (near[0] - west) % 360.0
    span = (east - west) % 360.0 or 360.0
    return bool(east_of_west <= span and south <= near[1] <= north)


def middle_near(crs: CRS, x: ArrayLike, y: ArrayLike) -> tuple[float, float]:
    """Longitude and latitude amid places, where nothing else says where the work is.

    Raises
    ------
    HillsightError : no place, or the middle of their extent is nowhere on the Earth
    """
    x, y = np.asarray(x, np.float64), np.asarray(y, np.float64)
    good = np.isfinite(x) & np.isfinite(y)
    if good.any():
        middle = [np.array([(v[good].min() + v[good].max()) / 2.0]) for v in (x, y)]
        longitude, latitude = (float(v[0]) for v in own_degrees(horizontal_crs(crs), *middle))
        if np.isfinite(longitude) and abs(latitude) <= 90:
            return longitude, latitude
    raise HillsightError(
        f"no place on the Earth is given in {crs.name}", remedy="Check the coordinates and their system"
    )


def middle_of(grid: Grid) -> tuple[float, float]:
    """Longitude and latitude of the middle of a grid.

    Raises
    ------
    HillsightError : as ``middle_near``
    """
    return middle_near(grid.crs, [grid.west_m, grid.east_m], [grid.south_m, grid.north_m])


def tears(operation: Operation, x: Floats, y: Floats, run: Integers | None = None) -> bool:
    """Whether runs of places are torn apart on the way, as by a meridian where longitudes jump.

    Steps far longer than the others are halved: the middle of a step must come to lie amid its ends.

    Parameters
    ----------
    x, y : (n,) in the operation's ``from_crs``, neighbours next to one another
    run : (n,) which run each place belongs to; all to one if not given
    """
    out_x, out_y = operation.forward(x, y)
    with np.errstate(invalid="ignore", divide="ignore"):
        before, after = np.hypot(np.diff(x), np.diff(y)), np.hypot(np.diff(out_x), np.diff(out_y))
        stretch = np.where(before > 0, after / before, np.nan)
    if run is not None:
        stretch[np.diff(run) != 0] = np.nan
    if not np.isfinite(stretch).any():
        return False
    at = np.flatnonzero(stretch > _SUSPECT_STRETCH * np.nanmedian(stretch))
    middle_x, middle_y = operation.forward((x[at] + x[at + 1]) / 2.0, (y[at] + y[at + 1]) / 2.0)
    off_x, off_y = middle_x - (out_x[at] + out_x[at + 1]) / 2.0, middle_y - (out_y[at] + out_y[at + 1]) / 2.0
    return bool((np.hypot(off_x, off_y) > after[at] / 4.0).any())
