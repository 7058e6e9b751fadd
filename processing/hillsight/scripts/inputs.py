"""Opens what a script was given: terrain, stations and map features on one working grid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hillsight.errors import CallError
from hillsight.ground.crs import horizontal_crs, parse_crs
from hillsight.ground.evidence import EvidenceTable
from hillsight.ground.features import read_features
from hillsight.ground.stations import middle_of, parse_at, read_places, settle_stations
from hillsight.ground.terrain import TerrainOptions, open_terrain
from hillsight.ground.transform import Operation
from hillsight.layers.provenance import InputFile, input_file

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas
    from pyproj import CRS

    from hillsight.ground.stations import Place, Station
    from hillsight.ground.terrain import Terrain


_ABOUT_FEATURES = ("feature_layer", "evidence", "csv", "to_bearing", "show_hidden")


@dataclass(frozen=True)
class Inputs:
    """Everything a script reads, checked and on the working grid.

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


def open_inputs(given: Mapping[str, Any], *, places_needed: bool = True) -> Inputs:
    """Open everything that the shared options name.

    Without places, where they are not needed, the working grid is chosen for the terrain's middle.

    Raises
    ------
    HillsightError : anything that is missing, unreadable or ambiguous
    """
    source = open_terrain(
        given["terrain"],
        TerrainOptions(
            band=given["band"],
            crs=given["terrain_crs"],
            vertical_unit=given["vertical_unit"],
            nodata=given["nodata"],
            grid_crs=given["grid_crs"],
        ),
    )
    default_crs = horizontal_crs(source.source_crs)
    places = _places(given, default_crs, needed=places_needed)
    longitude, latitude = middle_of(places) if places else source.middle()
    terrain = source.on_metric_grid(longitude, latitude)
    stations: list[Station] = []
    notes, operations = list(terrain.notes), list[Operation]()
    if places:
        stations, station_notes, operations = settle_stations(
            places, terrain.crs, terrain.bounds_m, terrain.near
        )
        notes += station_notes
    files = [input_file(given["terrain"])]
    if given["stations"] is not None:
        files.append(input_file(given["stations"], given["station_layer"]))
    features = None
    if given.get("features"):
        table = EvidenceTable.load(given["evidence"])
        features, feature_notes, feature_operations = read_features(
            given["features"],
            given["feature_layer"],
            terrain.crs,
            default_crs=default_crs,
            table=table,
            near=terrain.near,
        )
        notes += feature_notes
        operations += feature_operations
        files += [input_file(path) for path in given["features"]]
        if given["evidence"] is not None:
            files.append(input_file(given["evidence"]))
    elif (
        "features" in given
        and not given.get("landforms")
        and (wanted := [name for name in _ABOUT_FEATURES if given.get(name)])
    ):
        names = ", ".join(f"--{option.replace('_', '-')}" for option in wanted)
        raise CallError(
            f"{names} {'is' if len(wanted) == 1 else 'are'} about map features, and none are given",
            remedy="Add --features FILE",
        )
    return Inputs(
        terrain,
        stations,
        features,
        tuple(files),
        tuple(dict.fromkeys(notes)),
        tuple(dict.fromkeys(operations)),
    )


def _places(given: Mapping[str, Any], default_crs: CRS, *, needed: bool) -> list[Place]:
    places: list[Place] = []
    if given["stations"] is not None:
        places += read_places(given["stations"], given["station_layer"], default_crs)
    elif given["station_layer"] is not None:
        raise CallError("--station-layer needs --stations", remedy="Name the file with --stations FILE")
    if given["at"]:
        at_crs = (
            default_crs
            if given["at_crs"] is None
            else parse_crs(given["at_crs"], "the CRS of the places", ("at_crs",))
        )
        places += [parse_at(text, at_crs) for text in given["at"]]
    elif given["at_crs"] is not None:
        raise CallError("--at-crs needs --at", remedy='Give places with --at "E,N,name"')
    if needed and not places:
        raise CallError(
            "no place to look from is given", remedy='Name a file with --stations, or give --at "E,N,name"'
        )
    return places
