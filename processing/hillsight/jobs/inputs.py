"""Opens what a request names: terrain, stations and map features on one working grid."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError, Faults
from hillsight.ground.crs import horizontal_crs, parse_crs
from hillsight.ground.evidence import EvidenceTable
from hillsight.ground.features import read_features
from hillsight.ground.standing import check_standing
from hillsight.ground.stations import middle_of, parse_at, read_places, settle_stations
from hillsight.ground.terrain import open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.ground.transform import Operation
from hillsight.jobs.covering import covered
from hillsight.jobs.input_files import named_files
from hillsight.jobs.memory import (
    as_raster,
    frame_checksum,
    frames_checksum,
    raster_checksum,
    raster_file,
)
from hillsight.jobs.requests import CoverInput, EvidenceInput, FeaturesInput, LandformsInView, Listing
from hillsight.jobs.settling import COMPUTED, words
from hillsight.layers.journal import settle_beside
from hillsight.layers.provenance import InputFile, input_file, whole_run

if TYPE_CHECKING:
    import geopandas
    from pyproj import CRS

    from hillsight.ground.stations import Place, Station
    from hillsight.ground.terrain import Terrain
    from hillsight.jobs.requests import TerrainAndPlaces, TerrainInput


_ABOUT_FEATURES = ("feature_layer", "evidence")
#: How far (m) is looked about a station where no reach is told.
_NEARBY_M = 1_000.0
_ABOUT_THE_LIST = ("csv", "to_bearing")


@dataclass(frozen=True)
class Inputs:
    """Everything a job reads, checked and on the working grid.

    files : what was read, with checksums
    notes : what the user should know of it, one sentence each
    operations : coordinate operations used
    """

    terrain: Terrain
    stations: list[Station]
    features: geopandas.GeoDataFrame | None
    files: tuple[InputFile, ...]
    notes: tuple[str, ...]
    operations: tuple[Operation, ...]

    @property
    def paths(self) -> list[str]:
        """The files by their names as given; none of them may be overwritten."""
        return [file.path for file in self.files]

    @property
    def is_covered(self) -> bool:
        """Whether something is known of what stands on the ground."""
        return self.terrain.cover is not None

    @property
    def spacing_m(self) -> float:
        """The wider of the terrain's two post spacings."""
        return max(self.terrain.spacing_x_m, self.terrain.spacing_y_m)


def settled_out_crs(text: str | None) -> CRS | None:
    """The CRS to write in; None for the working grid's.

    Raises
    ------
    CallError : as ``ground.crs.parse_crs``
    """
    return None if text is None else horizontal_crs(parse_crs(text, "the CRS to write in", ("out_crs",)))


@contextmanager
def opened(request: TerrainAndPlaces, *, places_needed: bool = True) -> Iterator[Inputs]:
    """Open everything that a request names; what is in memory is held until the block ends.

    Without places, where they are not needed, the working grid is chosen for the terrain's middle.

    Raises
    ------
    HillsightError : anything that is missing, unreadable or ambiguous
    """
    options = terrain_options(request)
    settle_beside(named_files(request))
    with ExitStack() as held:
        path, terrain_file = held.enter_context(_terrain_file(request))
        source = open_terrain(path, options)
        default_crs = horizontal_crs(source.source_crs)
        faults = Faults("stations")
        places = _on_the_earth(_places(request, default_crs, faults, needed=places_needed), faults)
        if not places:
            faults.tell()
        if (run := whole_run()) is not None:
            longitude, latitude = run.near
        else:
            longitude, latitude = middle_of(places) if places else source.middle()
        terrain = source.on_metric_grid(longitude, latitude)
        stations: list[Station] = []
        notes, operations = list(terrain.notes), list[Operation]()
        if places:
            stations, station_notes, operations = settle_stations(
                places, terrain.crs, terrain.bounds_m, terrain.near, faults
            )
            notes += station_notes
            eye_height_m, reach_m = (getattr(request, name, None) for name in ("eye_height", "reach"))
            if places_needed and eye_height_m is not None:
                check_standing(stations, terrain, eye_height_m, reach_m or _NEARBY_M, faults)
            faults.tell()
        files = [terrain_file if terrain_file is not None else input_file(path)]
        if request.stations is not None:
            files.append(described(request.stations, request.station_layer))
        features = None
        if isinstance(request, FeaturesInput):
            features, more_notes, more_operations, more_files = _features(request, terrain, default_crs)
            notes += more_notes
            operations = [*operations, *more_operations]
            files += more_files
        if isinstance(request, CoverInput):
            found = held.enter_context(covered(request, terrain, stations, default_crs))
            terrain = found.terrain
            notes += found.notes
            operations = [*operations, *found.operations]
            files += found.files
        if isinstance(request, LandformsInView) and request.landforms not in (None, COMPUTED):
            given = request.landforms
            files.append(input_file(given) if isinstance(given, str) else frames_checksum(given))
        yield Inputs(
            terrain,
            stations,
            features,
            tuple(files),
            tuple(dict.fromkeys(notes)),
            tuple(dict.fromkeys(operations)),
        )


def _on_the_earth(places: list[Place], faults: Faults) -> list[Place]:
    """The places that are somewhere on the Earth in their systems; the others go to the faults."""
    found = []
    for place in places:
        with faults.kept():
            middle_of([place])
            found.append(place)
    return found


def terrain_options(request: TerrainInput) -> TerrainOptions:
    """What a request says of its terrain."""
    return TerrainOptions(
        band=request.band,
        crs=request.terrain_crs,
        vertical_unit=request.vertical_unit,
        nodata=request.nodata,
        grid_crs=request.grid_crs,
    )


@contextmanager
def _terrain_file(request: TerrainInput) -> Iterator[tuple[str, InputFile | None]]:
    """The terrain by a name that GDAL opens; with its description where it is in memory."""
    if isinstance(request.terrain, str):
        yield request.terrain, None
        return
    raster = as_raster(request.terrain)
    with raster_file(raster) as path:
        yield path, raster_checksum(raster)


def described(source: Any, layer: str | None = None) -> InputFile:
    """A vector source as an input, whether it is a file or in memory."""
    return input_file(source, layer) if isinstance(source, str) else frame_checksum(source)


def _features(
    request: FeaturesInput, terrain: Terrain, default_crs: CRS
) -> tuple[geopandas.GeoDataFrame | None, list[str], list[Operation], list[InputFile]]:
    """Map features, notes, operations and files; refuses what is about features where none are given."""
    evidence = request.evidence if isinstance(request, EvidenceInput) else None
    if request.features:
        table = EvidenceTable.load(evidence)
        features, notes, operations = read_features(
            request.features,
            request.feature_layer,
            terrain.crs,
            default_crs=default_crs,
            table=table,
            near=terrain.near,
        )
        files = [described(source) for source in request.features]
        if evidence is not None:
            files.append(input_file(evidence))
        return features, notes, operations, files
    if isinstance(request, LandformsInView) and request.landforms is not None:
        return None, [], [], []
    about = (*_ABOUT_FEATURES, *(_ABOUT_THE_LIST if isinstance(request, Listing) else ()))
    if wanted := [name for name in about if getattr(request, name, None) not in (None, ())]:
        raise no_features(*wanted)
    return None, [], [], []


def no_features(*wanted: str) -> CallError:
    """The error where parameters are about map features and none are given."""
    listed = ", ".join(words(name) for name in wanted)
    return CallError(
        f"{listed} {'is' if len(wanted) == 1 else 'are'} about map features, and none are given",
        remedy="Name a file of map features too",
        parameters=(*wanted, "features"),
    )


def _places(request: TerrainAndPlaces, default_crs: CRS, faults: Faults, *, needed: bool) -> list[Place]:
    places: list[Place] = []
    if request.stations is not None:
        places += read_places(request.stations, request.station_layer, default_crs, faults)
    elif request.station_layer is not None:
        raise CallError(
            "a station layer is named, and no file of stations",
            remedy="Name the file too",
            parameters=("station_layer", "stations"),
        )
    if request.at:
        at_crs = (
            default_crs
            if request.at_crs is None
            else parse_crs(request.at_crs, "the CRS of the places", ("at_crs",))
        )
        for text in request.at:
            with faults.kept():
                places.append(parse_at(text, at_crs))
    elif request.at_crs is not None:
        raise CallError(
            "a CRS is given for places, and no place",
            remedy='Give places as "E,N,name"',
            parameters=("at_crs", "at"),
        )
    if needed and not places and not faults.found:
        raise CallError(
            "no place to look from is given",
            remedy='Name a file of stations, or give places as "E,N,name"',
            parameters=("stations", "at"),
        )
    return places
