"""What relocation, comparing and describing share: places, things that may be seen, and how to look."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import CallError
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.magnetic import declination
from hillsight.ground.small_files import read_small
from hillsight.jobs.doubts import error_model, error_note
from hillsight.jobs.settling import COMPUTED
from hillsight.jobs.wanted import amid, landforms_about, viewing_of
from hillsight.landform.survey import worth_seeing
from hillsight.layers.contents import read_landforms
from hillsight.plan.look.looking import Looker
from hillsight.plan.observer import Observer
from hillsight.plan.vocabulary import COMPASS
from hillsight.reading.things.landforms_in_view import landform_features

if TYPE_CHECKING:
    import datetime
    from collections.abc import Callable

    import geopandas

    from hillsight.ground.accuracy import ErrorModel
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.requests import PlacesAndThings

#: Landforms of these kinds are things that a person tells of in a picture.
_TOLD_LAYERS = ("tops", "saddles", "spurs", "re_entrants", "ridges", "level_ground", "hollows")

#: Landforms are read out to here unless the reach is shorter: farther ones are told by their names.
_LANDFORMS_WITHIN_M = 6_000.0


@dataclass(frozen=True)
class Scene:
    """All that is needed to weigh what is seen from some stations.

    things : map features and landforms, as ``landform_features`` gives them
    declination_deg : magnetic north's true bearing amid the stations; None without a day
    convergence_deg : grid north's true bearing amid the stations
    """

    inputs: Inputs
    looker: Looker
    errors: ErrorModel
    things: geopandas.GeoDataFrame
    observer: Observer
    declination_deg: float | None
    convergence_deg: float
    longitude: float
    latitude: float

    @property
    def notes(self) -> tuple[str, ...]:
        """What the user should know before the work."""
        return (*self.inputs.notes, error_note(self.errors, covered=self.inputs.is_covered))

    def true_deg(self, degrees: float, north: str) -> float:
        """A direction counted from true north.

        Raises
        ------
        CallError : from magnetic north without a day
        """
        if north == "grid":
            return degrees + self.convergence_deg
        if north == "magnetic":
            if self.declination_deg is None:
                raise CallError(
                    "a direction from magnetic north needs the day",
                    where="[picture]",
                    remedy="Give taken = YYYY-MM-DD, or count from true north",
                )
            return degrees + self.declination_deg
        return degrees


def scene_of(
    request: PlacesAndThings,
    inputs: Inputs,
    observer: Observer,
    *,
    margin_m: float,
    day: datetime.date | None = None,
    landforms_needed: bool = True,
) -> Scene:
    """The scene of a request, its inputs opened.

    Parameters
    ----------
    margin_m : how far about the stations others are looked from
    landforms_needed : read landforms where the request does not ask for them

    Raises
    ------
    HillsightError : anything that makes no sense
    """
    terrain = inputs.terrain
    errors = error_model(request, inputs.spacing_m)
    geodesy = Geodesy(terrain.crs)
    east = [station.easting_m for station in inputs.stations]
    north = [station.northing_m for station in inputs.stations]
    looker = Looker.over(terrain, geodesy, viewing_of(request, 0.0), errors, east, north, margin_m)
    middle = float(np.mean(east)), float(np.mean(north))
    longitude, latitude = (float(v[0]) for v in terrain.to_wgs84(*middle))
    return Scene(
        inputs,
        looker,
        errors,
        things_of(request, inputs, landforms_needed=landforms_needed),
        observer,
        _declination_deg(longitude, latitude, day),
        float(geodesy.convergence_deg(*middle)),
        longitude,
        latitude,
    )


def _declination_deg(longitude: float, latitude: float, day: datetime.date | None) -> float | None:
    """Magnetic north's true bearing on the picture's day, if that is told."""
    if day is None:
        return None
    try:
        return declination(longitude, latitude, 0.0, day).declination_deg
    except CallError as error:
        remedy = "Correct the day it was taken on, or leave it out where no direction is magnetic"
        raise CallError(error.what, where="[picture], taken", remedy=remedy) from error


def things_of(
    request: PlacesAndThings,
    inputs: Inputs,
    *,
    landforms_needed: bool = True,
    progress: Callable[[float], None] | None = None,
) -> geopandas.GeoDataFrame:
    """Map features and landforms in one table.

    Raises
    ------
    HillsightError : landforms that cannot be read
    """
    wanted = request.landforms
    computed = isinstance(wanted, str) and wanted == COMPUTED
    middle, spread_m = amid(inputs.stations)
    frames: dict[str, geopandas.GeoDataFrame] = {}
    if wanted is not None and not computed:
        frames = read_landforms(wanted, inputs.terrain.crs, inputs.terrain.near)
    elif computed or landforms_needed or inputs.features is None:
        within_m = min(request.reach, _LANDFORMS_WITHIN_M)
        frames = landforms_about(inputs, request.scales, within_m, progress)
    frames = worth_seeing(frames, middle, spread_m + request.reach)
    told = {name: frame for name, frame in frames.items() if name in _TOLD_LAYERS}
    if not told and inputs.features is not None:
        return inputs.features
    return landform_features(told, inputs.features)


def settled_observer(given: str | Observer | None) -> Observer:
    """The built-in figures, or with those of a TOML file in their place.

    Raises
    ------
    CallError : no such file, no TOML, an unknown figure, or one out of its bounds
    """
    if given is None:
        return Observer()
    if isinstance(given, Observer):
        return given
    if not isinstance(given, str):
        raise CallError(
            f"a {type(given).__name__} holds no figures of an observer",
            remedy="Give the name of a TOML file",
            parameters=("observer",),
        )
    try:
        told = tomllib.loads(read_small(given).decode("utf-8"))
    except OSError as error:
        raise CallError(
            f"the observer's figures cannot be read ({error.strerror or error})",
            where=given,
            remedy="Check the path",
        ) from error
    except (ValueError, RecursionError) as error:  # no TOML, no UTF-8, a number of thousands of digits
        raise CallError(
            f"this is no TOML: {error}", where=given, remedy="Write lines such as slope_deg = 6"
        ) from error
    known = [field.name for field in fields(Observer) if field.name != "noticing"]
    for name, value in told.items():
        if name not in known:
            raise CallError(
                f"no figure of the observer is called {name!r}",
                where=given,
                remedy=f"The figures are {', '.join(known)}",
            )
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e9:
            raise CallError(f"{name} is {value!r}", where=given, remedy="Give a number")
    figures: dict[str, Any] = {name: float(value) for name, value in told.items()}
    return replace(Observer(), **figures)


def direction_deg(text: str | None) -> float | None:
    """True degrees of a direction in words or degrees; None for all round.

    Raises
    ------
    CallError : neither a point of the compass nor degrees
    """
    if text is None:
        return None
    if text.strip().upper() in COMPASS:
        return COMPASS[text.strip().upper()]
    try:
        degrees = float(text)
    except ValueError:
        degrees = math.nan
    if not 0 <= degrees <= 360:
        raise CallError(
            f"{text!r} is no direction",
            remedy=f"Give degrees from 0 to 360, or one of {', '.join(COMPASS)}",
            parameters=("looks",),
        )
    return degrees
