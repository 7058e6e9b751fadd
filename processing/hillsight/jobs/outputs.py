"""What jobs write beside the package, checks of the places written to, and where results come from."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hillsight.errors import OutputError
from hillsight.jobs.input_files import named_files
from hillsight.jobs.posts.request import PostsRequest
from hillsight.jobs.printing import printing_of
from hillsight.jobs.requests import (
    Pictures,
)
from hillsight.kernels.threads import workers
from hillsight.layers.atomic import check_place, made_folder, replacing
from hillsight.layers.frames import out_operation
from hillsight.layers.provenance import Provenance, file_name
from hillsight.layers.rasters import write_placed_cog
from hillsight.layers.style_tables import styles_in
from hillsight.layers.styles import write_styles
from hillsight.schema.rasters import RASTERS

if TYPE_CHECKING:
    from pyproj import CRS

    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.requests import FromPlaces, TerrainAndPlaces
    from hillsight.layers.package import Package

#: Names of parameters in the provenance, where they differ, with their units.
_WITH_UNITS = {
    "eye_height": "eye_height_m",
    "target_height": "target_height_m",
    "reach": "reach_m",
    "inner_distance": "inner_distance_m",
    "least_pocket": "least_pocket_ha",
    "from_bearing": "from_bearing_true_deg",
    "to_bearing": "to_bearing_true_deg",
    "sector_width": "sector_width_deg",
    "level_within": "level_within_deg",
    "well_beyond": "well_beyond_deg",
}


def check_outputs(request: TerrainAndPlaces | PostsRequest) -> None:
    """Find an impossible place to write before the work, not after half of the files are written.

    Raises
    ------
    OutputError : a place cannot be written to, is an input, or is named twice; pictures or rasters are
        asked for without the package they come from
    """
    inputs = named_files(request)
    out, csv = getattr(request, "out", None), getattr(request, "csv", None)
    rasters, pictures = getattr(request, "rasters", None), getattr(request, "pictures", None)
    if csv is not None and csv.suffix.lower() == ".gpkg":
        raise OutputError(
            "this names a GeoPackage, and CSV is text",
            where=str(csv),
            remedy="End the name in .csv",
            parameters=("csv",),
        )
    if csv is not None and out is not None and os.path.realpath(csv) == os.path.realpath(out):
        raise OutputError(
            "one file is named for both the CSV and the GeoPackage",
            where=str(csv),
            remedy="Give them different names",
            parameters=("csv", "out"),
        )
    for file in (out, csv):
        if file is not None:
            check_place(file, inputs=inputs)
    if isinstance(request, Pictures):
        printing_of(request)
    for folder in (rasters, pictures, None if out is None else style_folder(out)):
        if folder is not None:
            check_folder(folder)


def needs_package(request: FromPlaces, *names: str) -> None:
    """Refuse files that are made from the package where none is written.

    Raises
    ------
    OutputError : one of the parameters is given, and ``out`` is not
    """
    wanted = [name for name in names if getattr(request, name) is not None]
    if request.out is None and wanted:
        raise OutputError(
            f"{' and '.join(wanted)} are made from the GeoPackage, and none is named",
            where=str(getattr(request, wanted[0])),
            remedy="Name the GeoPackage to write too",
            parameters=(*wanted, "out"),
        )


def check_folder(folder: Path) -> None:
    """Whether files can be put into a folder, or the folder be made."""
    there = folder.absolute()
    while not os.path.lexists(there) and there != there.parent:
        there = there.parent
    if not there.is_dir():
        raise OutputError(
            "this is a file, and a folder is needed", where=str(there), remedy="Name another place"
        )
    if not os.access(there, os.W_OK | os.X_OK):
        raise OutputError(
            "nothing can be written in the folder", where=str(there), remedy="Name a folder of your own"
        )


def provenance_of(script: str, told: Mapping[str, Any], inputs: Inputs) -> Provenance:
    """Where the results of a job come from, its parameters with their units.

    told : parameters by name, as ``TerrainAndPlaces.told`` gives them
    """
    parameters = {_WITH_UNITS.get(name, name): value for name, value in told.items()}
    for name in ("terrain", "exercise", "plan", "stations", "pool", "evidence", "observer", "marks", "photo"):
        if parameters.get(name) is not None:
            parameters[name] = named(parameters[name])
    if "features" in parameters:
        parameters["features"] = [named(source) for source in parameters["features"]]
    if not isinstance(parameters.get("landforms"), str | None):
        parameters["landforms"] = named(parameters["landforms"])
    operations = [operation.record() for operation in inputs.operations]
    if inputs.terrain.operation is not None:
        operations.insert(0, {**inputs.terrain.operation.record(), "of": "terrain"})
    return Provenance(script, parameters, inputs.files, tuple(operations), inputs.notes)


def output_way(inputs: Inputs, out_crs: CRS | None) -> tuple[tuple[dict[str, object], ...], tuple[str, ...]]:
    """The operation that brings results into the CRS asked for, as the provenance records it; its caution.

    Called before the work, so that a CRS without a way to it is refused at once; nothing where none is
    asked for.

    Raises
    ------
    OutputError : there is no way that takes account of the datums
    """
    if out_crs is None:
        return (), ()
    way = out_operation(inputs.terrain.crs, out_crs, inputs.terrain.near)
    return ({**way.record(), "of": "output"},), ((way.note,) if way.note else ())


def named(source: Any) -> str:
    """A file's name without its folders, or that it is in memory."""
    from hillsight.ground.vector import IN_MEMORY

    return file_name(source) if isinstance(source, str) else IN_MEMORY


def write_cogs(folder: Path, file: Package, kinds: Mapping[str, str], inputs: Sequence[str]) -> None:
    """Each raster of the package once more as a file of its own, several at a time.

    Taken from the package, where they have been compared bit for bit: the provenance is known only when all
    stations are read, and their rasters are not kept in memory until then.

    kinds : kind of each raster by the name of its table
    """
    made_folder(folder)

    def write(table: str) -> None:
        raster = file.read_raster(table)
        write_placed_cog(
            folder / f"{table}.tif",
            raster,
            nodata=RASTERS[kinds[table]].no_data,
            provenance=file.provenance,
            meaning=RASTERS[kinds[table]].meaning,
            unit=RASTERS[kinds[table]].unit,
            inputs=inputs,
        )

    with workers(len(kinds), "raster") as pool:
        for _ in pool.map(write, kinds):
            pass


def style_folder(out: Path) -> Path:
    """Where the styles of a package are written beside it."""
    return out.with_name(f"{out.stem}_styles")


def write_style_folder(out: Path) -> None:
    """SLD files beside the GeoPackage, for programs that do not read its own style tables.

    Raises
    ------
    OutputError : the folder cannot be made
    """
    write_styles(made_folder(style_folder(out)), styles_in(out))


def write_text(path: Path, text: str, inputs: Sequence[str]) -> None:
    """A text file in UTF-8, whole or not at all.

    Raises
    ------
    OutputError : it cannot be written
    """
    with replacing(path, inputs=inputs) as temporary:
        temporary.write_text(text, encoding="utf-8")
