"""What a plan of posts is about: the plan itself, its terrain and features, and the ground that it names."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from hillsight.errors import Faults, HillsightError, PostsError
from hillsight.ground.crs import horizontal_crs, is_metric, parse_crs
from hillsight.ground.evidence import EvidenceTable
from hillsight.ground.features import read_features
from hillsight.ground.transform import operation_between
from hillsight.ground.vector import display_name
from hillsight.jobs.inputs import described, opened
from hillsight.jobs.named_ground import with_named_ground
from hillsight.jobs.posts.request import PlannedGround
from hillsight.layers.provenance import input_file
from hillsight.plan.posts.file import read_plan
from hillsight.plan.posts.places import NamedShapes
from hillsight.plan.posts.plan import Ground, NamedPlace, PostsPlan
from hillsight.words.english import folded

if TYPE_CHECKING:
    from pyproj import CRS

    from hillsight.ground.terrain import Terrain
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.posts.request import PostsRequest

#: Class of evidence of streams and lakes.
_WATER = "water"


@dataclass(frozen=True, eq=False)
class PlanGround:
    """A plan on its ground.

    request : with the files that are used, whether the call or the plan names them
    places_crs : of the plan's places; None for the terrain's grid
    water, paths : shapes of the map features on the working grid
    """

    plan: PostsPlan
    request: PostsRequest
    inputs: Inputs
    places_crs: CRS | None
    water: tuple[shapely.Geometry, ...]
    paths: tuple[shapely.Geometry, ...]

    @property
    def terrain(self) -> Terrain:
        """The terrain on its working grid."""
        return self.inputs.terrain

    def placed(self, places: tuple[NamedPlace, ...], what: str, faults: Faults) -> tuple[NamedPlace, ...]:
        """Places of the plan on the working grid; what is wrong with others goes to the faults."""
        found = []
        for place in places:
            with faults.kept():
                xy = self.on_grid(place.easting_m, place.northing_m, f"{what} {place.name!r}")
                found.append(NamedPlace(place.name, *xy, place.within_m))
        return tuple(found)

    def on_grid(self, easting_m: float, northing_m: float, who: str) -> tuple[float, float]:
        """Easting and northing on the working grid of a place in the plan's CRS.

        Raises
        ------
        PostsError : it lies off the terrain, or the plan does not say the CRS of its places
        """
        terrain, where = self.terrain, self.plan.source
        if self.places_crs is not None:
            try:
                east, north = operation_between(self.places_crs, terrain.crs, terrain.near)(
                    easting_m, northing_m
                )
            except HillsightError as error:
                raise PostsError(f"{who}: {error.what}", where=where, remedy=error.remedy) from error
            easting_m, northing_m = float(east[0]), float(north[0])
        elif not is_metric(horizontal_crs(terrain.source_crs)) and self.request.grid_crs is None:
            raise PostsError(
                "the terrain does not count in metres, and the plan does not say the CRS of its places",
                where=where,
                remedy='Add it, as in crs = "EPSG:32632"',
            )
        west, south, east_edge, north_edge = terrain.bounds_m
        if not (west <= easting_m <= east_edge and south <= northing_m <= north_edge):
            raise PostsError(
                f"{who} at E {easting_m:.1f} N {northing_m:.1f} lies off the terrain",
                where=where,
                remedy="Correct the place, or say the CRS of the plan's places: the terrain spans "
                f"E {west:.0f} to {east_edge:.0f}, N {south:.0f} to {north_edge:.0f}",
            )
        return easting_m, northing_m

    def shapes(self, ground: Ground) -> tuple[NamedShapes, Any]:
        """Shapes of ground that the plan names, on the working grid; the file they come from, if one.

        Raises
        ------
        HillsightError : the file cannot be read, or nothing of the layer or the kinds is in it
        """
        if ground.file is None:
            frame, file = self.inputs.features, None
            if frame is None:
                raise PostsError(
                    "the plan names ground by its features, and there are none",
                    where=self.plan.source,
                    remedy="Add features = [...], or name a file there",
                )
            if ground.layer is not None:
                layers = [str(source).rsplit(", ", 1)[-1] for source in frame["source"]]
                frame = frame[np.array([layer == ground.layer for layer in layers], np.bool_)]
        else:
            path = self.plan.beside(ground.file)
            file = described(path, ground.layer)
            frame, _, _ = read_features(
                [path],
                [] if ground.layer is None else [ground.layer],
                self.terrain.crs,
                default_crs=horizontal_crs(self.terrain.source_crs),
                table=EvidenceTable.load(None),
                near=self.terrain.near,
            )
        if ground.kinds:
            kinds = {folded(kind) for kind in ground.kinds}
            frame = frame[np.array([folded(kind or "") in kinds for kind in frame["kind"]], np.bool_)]
        if len(frame) == 0:
            asked = [f"layer {ground.layer}"] if ground.layer else []
            asked += [f"kind {', '.join(ground.kinds)}"] if ground.kinds else []
            name = "the features" if ground.file is None else display_name(ground.file)
            raise PostsError(
                f"nothing in {name} is of {' and '.join(asked) or 'any layer'}",
                where=self.plan.source,
                remedy="Correct layer or kinds",
            )
        names = tuple(name or "" for name in frame["name"])
        shapes = np.asarray(frame.geometry, dtype=object)
        return NamedShapes(shapes, names, ground.within_m, ground.every_m), file


@dataclass(frozen=True)
class NamedPlaces:
    """Places of the plan on the working grid."""

    fixed: tuple[NamedPlace, ...]
    banned: tuple[NamedPlace, ...]
    access: tuple[NamedPlace, ...]
    control: NamedPlace | None

    @classmethod
    def of(cls, ground: PlanGround) -> NamedPlaces:
        """Those of a plan.

        Raises
        ------
        PostsError : one lies off the terrain
        """
        plan = ground.plan
        control = () if plan.radios.control is None else (plan.radios.control,)
        faults = Faults("places")
        placed = ground.placed(control, "control", faults)
        found = cls(
            ground.placed(plan.fixed, "fixed post", faults),
            ground.placed(plan.banned, "banned place", faults),
            ground.placed(plan.walking.access, "access point", faults),
            placed[0] if placed else None,
        )
        faults.tell()
        return found

    @property
    def all(self) -> list[NamedPlace]:
        """Places whose ground matters."""
        return [*self.fixed, *self.access, *([] if self.control is None else [self.control])]


@contextmanager
def opened_plan(request: PostsRequest) -> Iterator[PlanGround]:
    """Open a plan and the ground it is about; what is in memory is held until the block ends.

    Raises
    ------
    HillsightError : the plan, the ground or a file that it names is missing or wrong
    """
    plan = settled_plan(request.plan)
    request = with_named_ground(request, plan, "plan", PostsError)
    places_crs = _places_crs(plan)
    shared = {field.name for field in fields(PlannedGround)} & {field.name for field in fields(request)}
    nowhere: dict[str, Any] = {"stations": None, "station_layer": None, "at": (), "at_crs": None}
    ground = PlannedGround(**{name: getattr(request, name) for name in shared}, **nowhere)
    with opened(ground, places_needed=False) as inputs:
        if isinstance(request.plan, str):
            inputs = replace(inputs, files=(input_file(request.plan), *inputs.files))
        water, paths = _water_and_paths(plan, inputs)
        yield PlanGround(plan, request, inputs, places_crs, water, paths)


def settled_plan(given: Any) -> PostsPlan:
    """A plan, or that of a file.

    Raises
    ------
    PostsError : neither, or as ``read_plan``
    """
    if isinstance(given, PostsPlan):
        return given
    if not isinstance(given, str):
        raise PostsError(
            f"a {type(given).__name__} is no plan of posts",
            remedy="Give the name of a file",
            parameters=("plan",),
        )
    return read_plan(given)


def _places_crs(plan: PostsPlan) -> CRS | None:
    if plan.crs is None:
        return None
    told = horizontal_crs(parse_crs(plan.crs, "the CRS of the places"))
    if not is_metric(told):
        raise PostsError(
            f"the places are in {plan.crs}, which does not count in metres on a grid",
            where=plan.source,
            remedy="Give their eastings and northings, and the CRS of that grid",
        )
    return told


def _water_and_paths(
    plan: PostsPlan, inputs: Inputs
) -> tuple[tuple[shapely.Geometry, ...], tuple[shapely.Geometry, ...]]:
    """Shapes of water and of paths among the features."""
    if inputs.features is None:
        return (), ()
    shapes = np.asarray(inputs.features.geometry, dtype=object)
    kinds = {folded(kind) for kind in plan.walking.paths}
    wet = np.array([kind == _WATER for kind in inputs.features["evidence_class"]], np.bool_)
    path = np.array([folded(kind or "") in kinds for kind in inputs.features["kind"]], np.bool_)
    path &= shapely.get_dimensions(shapes) == 1
    return tuple(shapes[wet]), tuple(shapely.get_parts(shapes[path]))
