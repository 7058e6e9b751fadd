"""The engines that are timed: ours in three answers, GDAL's and xarray-spatial's viewsheds, a memory copy.

Each is prepared outside the clock, its heights already in the form it takes, then run. The clock holds
what a caller pays for: for ours the block maxima and the arrays of the answer, for the peers their own
output. All look over a flat earth, without a reach, at the ground itself.

The peers, which only the benchmarks and checks need: GDAL (gdal-wheel; MIT), xarray-spatial (MIT).
"""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.sight.posts import see_posts, see_states
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.arrays import Flags
    from hillsight.ground.grid import Surface
    from hillsight.sight.viewing import Eye

    Run = Callable[[], Any]


@dataclass(frozen=True)
class Engine:
    """One way to a view.

    name : key in the JSON
    label : what tables and the figure call it
    prepare : from surface, eye and eye height (m) to what is run against the clock
    visible : from what was run to the posts it calls visible, (rows, columns) bool; None if it tells none
    needs : module that must be importable
    """

    name: str
    label: str
    prepare: Callable[[Surface, Eye, float], Run]
    visible: Callable[[Any], Flags] | None
    needs: str = "hillsight"

    @property
    def missing(self) -> str:
        """Why it cannot run; empty if it can."""
        try:
            importlib.import_module(self.needs)
        except ImportError:
            return "not installed"
        return ""

    @property
    def version(self) -> str:
        """Version of the module it needs."""
        return "" if self.missing else str(getattr(importlib.import_module(self.needs), "__version__", ""))


def _states(surface: Surface, eye: Eye, _: float) -> Run:
    return lambda: see_states(surface, eye, np.inf)


def _clearance(surface: Surface, eye: Eye, _: float) -> Run:
    return lambda: see_posts(surface, eye, np.inf, crests=False)


def _crests(surface: Surface, eye: Eye, _: float) -> Run:
    return lambda: see_posts(surface, eye, np.inf)


def _copy(surface: Surface, _: Eye, __: float) -> Run:
    return lambda: surface.height_m.copy()


def gdal_source(surface: Surface) -> Any:
    """The heights as a GDAL data set in memory; posts lie at cell centres, no CRS, so no curvature."""
    from osgeo import gdal

    gdal.UseExceptions()
    rows, columns = surface.height_m.shape
    source = gdal.GetDriverByName("MEM").Create("", columns, rows, 1, gdal.GDT_Float32)
    source.SetGeoTransform((0, surface.grid.spacing_x_m, 0, 0, 0, -surface.grid.spacing_y_m))
    source.GetRasterBand(1).WriteArray(surface.height_m)
    return source


def gdal_view(source: Any, surface: Surface, eye: Eye, eye_height_m: float, reach_m: float = 0.0) -> Any:
    """GDAL's viewshed, a data set in memory; it sets the observer on the post of the cell he is in."""
    from osgeo import gdal

    return gdal.ViewshedGenerate(
        source.GetRasterBand(1),
        "MEM",
        "",
        [],
        observerX=(eye.column + 0.5) * surface.grid.spacing_x_m,
        observerY=-(eye.row + 0.5) * surface.grid.spacing_y_m,
        observerHeight=eye_height_m,
        targetHeight=0.0,
        visibleVal=255,
        invisibleVal=0,
        outOfRangeVal=0,
        noDataVal=0,
        dfCurvCoeff=0.0,
        mode=gdal.GVM_Edge,
        maxDistance=reach_m,
    )


def _gdal(surface: Surface, eye: Eye, eye_height_m: float) -> Run:
    source = gdal_source(surface)
    return lambda: gdal_view(source, surface, eye, eye_height_m)


def _gdal_visible(view: Any) -> Flags:
    visible: Flags = view.GetRasterBand(1).ReadAsArray() == 255
    return visible


def _xarray_spatial(surface: Surface, eye: Eye, eye_height_m: float) -> Run:
    import xarray
    from xrspatial import viewshed

    rows, columns = surface.height_m.shape
    x_m = np.arange(columns) * surface.grid.spacing_x_m
    y_m = -np.arange(rows) * surface.grid.spacing_y_m
    raster = xarray.DataArray(surface.height_m, dims=("y", "x"), coords={"y": y_m, "x": x_m})
    at_x_m, at_y_m = eye.column * surface.grid.spacing_x_m, -eye.row * surface.grid.spacing_y_m
    return lambda: viewshed(raster, x=at_x_m, y=at_y_m, observer_elev=eye_height_m, target_elev=0.0)


#: Both of ours that tell clearance tell it of every post; what is visible follows from its sign.
ENGINES = (
    Engine("ours_states", "ours, states", _states, lambda found: found == GroundState.VISIBLE),
    Engine("ours_clearance", "ours, clearance", _clearance, lambda found: found.clearance_m >= 0),
    Engine("ours_crests", "ours, clearance and crests", _crests, lambda found: found.clearance_m >= 0),
    Engine("gdal", "GDAL viewshed", _gdal, _gdal_visible, "osgeo.gdal"),
    # Its -1 is hidden; all else is the angle at which a post is seen.
    Engine(
        "xarray_spatial", "xarray-spatial viewshed", _xarray_spatial, lambda v: v.values >= 0, "xrspatial"
    ),
    Engine("copy", "copy of the heights", _copy, None),
)
OURS = tuple(engine.name for engine in ENGINES if engine.name.startswith("ours"))
