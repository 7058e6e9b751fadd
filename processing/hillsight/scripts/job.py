"""The work that outlook, viewshed, dead-ground and bearings share: read each station, write the layers."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hillsight.errors import CallError, OutputError
from hillsight.ground.magnetic import declination
from hillsight.jobs.inputs import settled_out_crs
from hillsight.layers.atomic import check_place
from hillsight.layers.bearing_csv import bearing_csv
from hillsight.layers.contents import read_landforms
from hillsight.layers.frames import out_operation
from hillsight.layers.package import package
from hillsight.layers.provenance import Provenance, file_name
from hillsight.layers.rasters import write_placed_cog
from hillsight.layers.style_tables import styles_in
from hillsight.layers.styles import write_styles
from hillsight.reading.ground.first_ground import check_sector_width
from hillsight.reading.outlook import Landforms, Request
from hillsight.reading.things.relative_height import HeightWords
from hillsight.schema.rasters import RASTERS
from hillsight.scripts.asked import check_bearing
from hillsight.scripts.bearing_table import bearing_table
from hillsight.scripts.inputs import open_inputs
from hillsight.scripts.landform_job import landforms_in_common
from hillsight.scripts.landform_options import COMPUTED
from hillsight.scripts.read_stations import read_stations
from hillsight.scripts.report import (
    Progress,
    first_ground_lines,
    note,
    relation_lines,
    say_if_compiling,
    station_lines,
)
from hillsight.scripts.trust_options import error_model, error_note, uncertain_limits
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pyproj import CRS

    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Surface
    from hillsight.layers.package import Package
    from hillsight.scripts.inputs import Inputs
    from hillsight.scripts.read_stations import Readings

    See = Callable[..., Readings]


def run_job(
    script: str,
    given: Mapping[str, Any],
    *,
    layers: tuple[str, ...],
    rasters: bool,
    see: See | None = None,
    field: str = "",
) -> None:
    """Read every station and write the layers asked for.

    Parameters
    ----------
    script : the script's name, for the provenance
    given : the script's options by parameter name
    layers : names of the vector layers to write; ``bearing_list`` only if features are given
    rasters : whether to write the viewshed and depth rasters
    see : sees the stations and writes their rasters, in place of the whole reading; needs an output
    field : the field of view in words for the summary, where it is not all within the reach

    Raises
    ------
    HillsightError : bad input, or the output cannot be written; nothing is left behind
    """
    request = _request(given) if see is None else None
    out_crs = settled_out_crs(given.get("out_crs"))
    check_outputs(given, named_files(given))
    _check_landforms(script, given)
    inputs = open_inputs(given)
    doubted = inputs.features is not None or given.get("landforms") or given.get("probability")
    if "uncertain_between" in given and doubted:
        inputs = replace(inputs, notes=(*inputs.notes, error_note(_errors(given, inputs))))
    for text in inputs.notes:
        note(text)
    paths = [file.path for file in inputs.files]
    provenance = provenance_of(script, given, inputs)
    out: Path | None = given["out"]

    def read_all(progress: Progress, file: Package | None) -> Readings:
        if not given["quiet"]:
            say_if_compiling()
        if see is not None and file is not None:
            if given.get("probability"):
                return see(inputs, progress, file, errors=_errors(given, inputs))
            return see(inputs, progress, file)
        assert request is not None
        return read_stations(inputs, _settled(request, given, inputs), progress, file if rasters else None)

    with Progress(quiet=given["quiet"]) as progress:
        if out is None:
            frames = read_all(progress, None).frames
        else:
            # Entered before the work, so that a place that cannot be written to is known at once.
            with package(out, provenance, inputs=paths, out_crs=out_crs, near=inputs.terrain.near) as file:
                read = read_all(progress, file)
                frames = read.frames
                provenance = file.provenance = _with_readings(provenance, read, inputs, out_crs)
                for layer in layers:
                    if layer in frames:
                        file.write(layer, frames[layer])
                if given.get("rasters") is not None:
                    _write_cogs(given["rasters"], file, read.rasters, paths)
    if "bearing_list" in frames and set(frames["bearing_list"]["state"]) == {"out_of_reach"}:
        note(
            "no map feature lies within the reach of any station: "
            "give a longer --reach, or check the coordinates and the CRS of the features"
        )
    if given.get("csv") is not None:
        with bearing_csv(given["csv"], inputs=paths) as add:
            add(frames["bearing_list"])
    if out is not None:
        write_style_folder(out)
    drawn = _draw(given, inputs) if given.get("pictures") is not None else []
    if not given["quiet"]:
        for line in station_lines(frames["stations"], field):
            click.echo(line)
        for line in first_ground_lines(frames["first_ground"]) if "first_ground" in layers else []:
            click.echo(line)
        if "bearing_list" in frames:
            for line in bearing_table(
                frames["bearing_list"], frames["stations"], show_hidden=given["show_hidden"]
            ):
                click.echo(line)
        if "relations" in frames:
            for station in frames["stations"]["station"]:
                for line in relation_lines(frames["relations"], station):
                    click.echo(line)
        if out is not None:
            click.echo(f"wrote {out} and styles beside it")
        for also in (given.get("csv"), given.get("rasters") if rasters else None):
            if also is not None:
                click.echo(f"wrote {also}")
        for picture in drawn:
            click.echo(f"drew {picture}")


def _settled(request: Request, given: Mapping[str, Any], inputs: Inputs) -> Request:
    """The request with what depends on the files: features, landforms, errors."""
    if "uncertain_between" not in given:
        return replace(request, features=inputs.features)
    terrain = inputs.terrain
    errors = _errors(given, inputs)
    wanted = None
    if given["landforms"] == COMPUTED:
        wanted = landforms_in_common(inputs, given["scales"], request.viewing.reach_m)
    elif given["landforms"] is not None:
        wanted = Landforms(frames=read_landforms(given["landforms"], terrain.crs))
    return replace(
        request,
        features=inputs.features,
        errors=errors,
        limits=uncertain_limits(given),
        landforms=wanted,
    )


def _errors(given: Mapping[str, Any], inputs: Inputs) -> ErrorModel:
    return error_model(given, max(inputs.terrain.spacing_x_m, inputs.terrain.spacing_y_m))


def _check_landforms(script: str, given: Mapping[str, Any]) -> None:
    """Refuse what does not go with --landforms, or needs it."""
    wanted = given.get("landforms")
    if script == "bearings" and wanted is None and not given["features"]:
        raise CallError(
            "nothing is given to list", remedy="Name map features with --features FILE, or add --landforms"
        )
    if given.get("scales") and wanted != COMPUTED:
        raise CallError(
            "--scale is about landforms that are read about each station",
            remedy="Give --landforms without a file, or leave --scale out",
        )


def _draw(given: Mapping[str, Any], inputs: Inputs) -> list[Path]:
    """Pictures of every station from the package just written."""
    from hillsight.layers.contents import read_contents
    from hillsight.sheets.station.preview import preview_all

    stations = {station.label: station for station in inputs.stations}

    def around(label: str) -> Surface:
        station = stations[label]
        return inputs.terrain.window(station.easting_m, station.northing_m, 1.1 * given["reach"])

    return preview_all(read_contents(given["out"]), around, given["pictures"], features=inputs.features)


def named_files(given: Mapping[str, Any]) -> list[str]:
    """Every file the call names as an input."""
    landforms = given.get("landforms")
    single = (
        given["terrain"],
        given.get("stations"),
        given.get("evidence"),
        None if landforms == COMPUTED else landforms,
    )
    return [*(name for name in single if name is not None), *given.get("features", ())]


def _request(given: Mapping[str, Any]) -> Request:
    viewing = Viewing(given["eye_height"], given["target_height"], given["reach"], given["refraction"])
    least = given.get("least_pocket", 0.0)
    if least < 0:
        raise CallError(f"--least-pocket is {least:g} ha", remedy="Give an area of 0 or more")
    to_bearing = given.get("to_bearing")
    check_bearing("--from-bearing", given.get("from_bearing"))
    check_bearing("--to-bearing", to_bearing)
    sector_width = given.get("sector_width", 10.0)
    check_sector_width(sector_width)
    date = given.get("date")
    if date is not None:
        declination(0.0, 0.0, 0.0, date)  # a day outside the models' years is refused before the work
    return Request(
        viewing,
        declination_date=date,
        from_bearing_deg=given.get("from_bearing", 0.0) % 360.0,
        to_bearing_deg=None if to_bearing is None else to_bearing % 360.0,
        least_pocket_ha=least,
        follow_cells=given.get("cells", False),
        sector_width_deg=sector_width,
        height_words=HeightWords(given.get("level_within", 0.5), given.get("well_beyond", 3.0)),
    )


def check_outputs(given: Mapping[str, Any], inputs: Sequence[str]) -> None:
    """Find an impossible place to write before the work, not after half of the files are written."""
    out: Path | None = given.get("out")
    csv: Path | None = given.get("csv")
    folder: Path | None = given.get("rasters")
    if csv is not None and csv.suffix.lower() == ".gpkg":
        raise OutputError(
            "--csv writes text, and this names a GeoPackage", where=str(csv), remedy="End the name in .csv"
        )
    if csv is not None and out is not None and os.path.realpath(csv) == os.path.realpath(out):
        raise OutputError("--csv and --out name one file", where=str(csv), remedy="Give them different names")
    for file in (out, csv):
        if file is not None:
            check_place(file, inputs=inputs)
    for needed in (folder, given.get("pictures"), None if out is None else _style_folder(out)):
        if needed is not None:
            _check_folder(needed)


def _check_folder(folder: Path) -> None:
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


def provenance_of(script: str, given: Mapping[str, Any], inputs: Inputs) -> Provenance:
    """Where the results of a call come from, parameters with their units."""
    units = {
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
    left_out = ("out", "csv", "rasters", "pictures", "quiet", "show_hidden")
    parameters = {units.get(name, name): value for name, value in given.items() if name not in left_out}
    for name in ("terrain", "stations", "evidence"):
        if parameters.get(name) is not None:
            parameters[name] = file_name(parameters[name])
    if isinstance(given.get("target_height"), tuple):  # the scripts that take several say so
        parameters["target_height_m"] = list(given["target_height"])
    if "features" in parameters:
        parameters["features"] = [file_name(path) for path in parameters["features"]]
    operations = [operation.record() for operation in inputs.operations]
    if inputs.terrain.operation is not None:
        operations.insert(0, {**inputs.terrain.operation.record(), "of": "terrain"})
    return Provenance(script, parameters, inputs.files, tuple(operations), inputs.notes)


def _with_readings(provenance: Provenance, read: Readings, inputs: Inputs, out_crs: CRS | None) -> Provenance:
    """What only the work itself brought to light, added."""
    operations = [found.record() for found in read.operations]
    notes = list(read.notes)
    if out_crs is not None:
        written = out_operation(inputs.terrain.crs, out_crs, inputs.terrain.near)
        operations.append({**written.record(), "of": "output"})
        if written.note:
            notes.append(written.note)
            note(notes[-1])
    return replace(
        provenance,
        operations=(*provenance.operations, *operations),
        notes=(*provenance.notes, *notes),
    )


def _write_cogs(folder: Path, file: Package, tables: Mapping[str, str], inputs: list[str]) -> None:
    """Each raster of the package once more as a file of its own, several at a time.

    Taken from the package, where they have been compared bit for bit: the provenance is known only when all
    stations are read, and their rasters are not kept in memory until then.

    tables : kind of each raster by the name of its table
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"the folder cannot be made ({error.strerror})", where=str(folder), remedy="Name another folder"
        ) from error

    def write(table: str) -> None:
        kind = tables[table]
        write_placed_cog(
            folder / f"{table}.tif",
            file.read_raster(table),
            nodata=RASTERS[kind].no_data,
            provenance=file.provenance,
            meaning=RASTERS[kind].meaning,
            unit=RASTERS[kind].unit,
            inputs=inputs,
        )

    pool = ThreadPoolExecutor(os.cpu_count(), "raster")
    try:
        for _ in pool.map(write, tables):
            pass
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _style_folder(out: Path) -> Path:
    return out.with_name(f"{out.stem}_styles")


def write_style_folder(out: Path) -> None:
    """SLD files beside the GeoPackage, for programs that do not read its own style tables."""
    folder = _style_folder(out)
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"the GeoPackage is written, but the folder for its styles cannot be made ({error.strerror})",
            where=str(folder),
            remedy="The GeoPackage holds the styles too",
        ) from error
    write_styles(folder, styles_in(out))
