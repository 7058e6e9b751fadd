"""What relocation, comparing and describing share: places, things that may be seen, and how to look."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from pyproj import CRS

from hillsight.errors import CallError
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.magnetic import declination
from hillsight.ground.transform import transformer
from hillsight.landform.map_names import named
from hillsight.landform.survey import LandformOptions, survey, worth_seeing
from hillsight.layers.landform_file import read_landforms
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.looking import Looker
from hillsight.plan.observer import Observer
from hillsight.plan.vocabulary import COMPASS
from hillsight.reading.things.landforms_in_view import landform_features
from hillsight.scripts.inputs import open_inputs
from hillsight.scripts.landform_options import COMPUTED
from hillsight.scripts.trust_options import error_model
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    import datetime
    from collections.abc import Callable, Mapping

    import geopandas

    from hillsight.ground.accuracy import ErrorModel
    from hillsight.scripts.inputs import Inputs

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


def open_scene(
    given: Mapping[str, Any],
    *,
    margin_m: float,
    day: datetime.date | None = None,
    landforms_needed: bool = True,
    progress: Callable[[float], None] | None = None,
) -> Scene:
    """Open everything that the options name.

    Parameters
    ----------
    margin_m : how far about the stations others are looked from
    landforms_needed : read landforms where --landforms does not say so

    Raises
    ------
    HillsightError : anything that is missing, unreadable or ambiguous
    """
    viewing = Viewing(given["eye_height"], 0.0, given["reach"], given["refraction"])
    observer = read_observer(given.get("observer"))
    inputs = open_inputs({"date": None, "csv": None, "to_bearing": None, "show_hidden": False, **given})
    terrain = inputs.terrain
    errors = error_model(given, max(terrain.spacing_x_m, terrain.spacing_y_m))
    geodesy = Geodesy(terrain.crs)
    east = [station.easting_m for station in inputs.stations]
    north = [station.northing_m for station in inputs.stations]
    looker = Looker.over(terrain, geodesy, viewing, errors, east, north, margin_m)
    middle = float(np.mean(east)), float(np.mean(north))
    longitude, latitude = (float(v[0]) for v in transformer(terrain.crs, CRS(4326))(*middle))
    magnetic = None if day is None else declination(longitude, latitude, 0.0, day).declination_deg
    return Scene(
        inputs,
        looker,
        errors,
        _things(given, inputs, geodesy, landforms_needed, progress),
        observer,
        magnetic,
        float(geodesy.convergence_deg(*middle)),
        longitude,
        latitude,
    )


def _things(
    given: Mapping[str, Any],
    inputs: Inputs,
    geodesy: Geodesy,
    needed: bool,
    progress: Callable[[float], None] | None,
) -> geopandas.GeoDataFrame:
    """Map features and landforms in one table."""
    wanted = given["landforms"]
    east = np.array([station.easting_m for station in inputs.stations])
    north = np.array([station.northing_m for station in inputs.stations])
    middle = float(east.max() + east.min()) / 2, float(north.max() + north.min()) / 2
    spread_m = float(np.hypot(east - middle[0], north - middle[1]).max())
    frames: dict[str, geopandas.GeoDataFrame] = {}
    if wanted is not None and wanted != COMPUTED:
        frames = read_landforms(wanted, inputs.terrain.crs)
    elif wanted == COMPUTED or needed or inputs.features is None:
        within_m = min(given["reach"], _LANDFORMS_WITHIN_M)
        surface = inputs.terrain.window(*middle, spread_m + within_m)
        frames = survey(
            surface,
            given["scales"] or None,
            LandformOptions(),
            geodesy,
            progress,
            seen_from=middle,
            spread_m=spread_m,
        )
        if inputs.features is not None:
            frames = named(frames, inputs.features)
    frames = worth_seeing(frames, middle, spread_m + given["reach"])
    told = {name: frame for name, frame in frames.items() if name in _TOLD_LAYERS}
    if not told and inputs.features is not None:
        return inputs.features
    return landform_features(told, inputs.features)


def read_observer(path: str | None) -> Observer:
    """The built-in figures, or with those of a TOML file in their place.

    Raises
    ------
    CallError : no such file, no TOML, an unknown figure, or one out of its bounds
    """
    if path is None:
        return Observer()
    try:
        told = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise CallError(
            f"the observer's figures cannot be read ({error.strerror or error})",
            where=path,
            remedy="Check the path",
        ) from error
    except (ValueError, RecursionError) as error:  # no TOML, no UTF-8, a number of thousands of digits
        raise CallError(
            f"this is no TOML: {error}", where=path, remedy="Write lines such as slope_deg = 6"
        ) from error
    known = [field.name for field in fields(Observer) if field.name != "noticing"]
    for name, value in told.items():
        if name not in known:
            raise CallError(
                f"no figure of the observer is called {name!r}",
                where=path,
                remedy=f"The figures are {', '.join(known)}",
            )
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e9:
            raise CallError(f"{name} is {value!r}", where=path, remedy="Give a number")
    figures: dict[str, Any] = {name: float(value) for name, value in told.items()}
    return replace(Observer(), **figures)


def looked(text: str | None) -> float | None:
    """Degrees of a direction in words or degrees; None for all round.

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
            f"--looks is {text!r}", remedy=f"Give degrees from 0 to 360, or one of {', '.join(COMPASS)}"
        )
    return degrees


def view_of(given: Mapping[str, Any], observer: Observer) -> Framing:
    """The view that --looks and --width tell.

    Raises
    ------
    CallError : no direction or no width
    """
    if not 5 <= given["width"] <= 360:
        raise CallError(f"--width is {given['width']:g}", remedy="Give degrees from 5 to 360")
    return Framing.of(looked(given["looks"]), 0.5, given["width"], observer.picture_edge)
