"""What the jobs about stations share: open, read one after the other, let each go into the sink, tell."""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping
from contextlib import ExitStack, closing
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from hillsight.jobs.inputs import opened, settled_out_crs
from hillsight.jobs.listener import say_if_compiling
from hillsight.jobs.outputs import (
    check_outputs,
    needs_package,
    output_way,
    provenance_of,
    write_cogs,
    write_style_folder,
)
from hillsight.jobs.printing import printing_of
from hillsight.jobs.results import Result
from hillsight.jobs.sink import PackageSink, sink_for
from hillsight.layers.atomic import together, where_written
from hillsight.layers.bearing_csv import bearing_csv
from hillsight.layers.csv_table import formula_note

if TYPE_CHECKING:
    import geopandas

    from hillsight.ground.grid import Surface
    from hillsight.ground.transform import Operation
    from hillsight.jobs.inputs import Inputs
    from hillsight.jobs.listener import Listener
    from hillsight.jobs.requests import FromPlaces, OutlookRequest
    from hillsight.jobs.sink import MadeRaster

    Readings = Generator["Reading"]
    Read = Callable[[Inputs, Listener], Readings]


@dataclass(frozen=True, eq=False)
class Reading:
    """What is found at a station, or of all of them together; each field may be empty.

    frames : rows by layer, in the working CRS
    notes : plain sentences for the report and the provenance
    operations : that gave longitudes and latitudes
    """

    frames: Mapping[str, geopandas.GeoDataFrame] = field(default_factory=dict)
    rasters: tuple[MadeRaster, ...] = ()
    notes: tuple[str, ...] = ()
    operations: tuple[Operation, ...] = ()


@together()
def run_stations(
    script: str,
    request: FromPlaces,
    read: Read,
    listener: Listener,
    *,
    layers: tuple[str, ...],
    rasters_wanted: bool = False,
    note: Callable[[Inputs], str] | None = None,
) -> Result:
    """Read every station and write what was asked for.

    Parameters
    ----------
    script : the job's name, for the provenance
    read : reads the stations in their order, and lets each go before the next
    layers : names of the vector layers wanted, in the order of the file
    rasters_wanted : whether rasters are kept
    note : one more thing to say of the inputs before the work

    Raises
    ------
    HillsightError : bad input, or the output cannot be written; nothing is left behind
    """
    csv, folder, pictures = (getattr(request, name, None) for name in ("csv", "rasters", "pictures"))
    out_crs = settled_out_crs(request.out_crs)
    check_outputs(request)
    needs_package(request, *(name for name in ("rasters", "pictures") if hasattr(request, name)))
    notes: list[str] = []

    def tell(text: str) -> None:
        notes.append(text)
        listener.note(text)

    with ExitStack() as stack:
        inputs = stack.enter_context(opened(request))
        way, cautions = output_way(inputs, out_crs)
        if note is not None:
            inputs = replace(inputs, notes=(*inputs.notes, note(inputs)))
        for text in inputs.notes:
            tell(text)
        provenance = provenance_of(script, request.told(), inputs)
        states: set[str] = set()
        with ExitStack() as files:
            add_to_csv = None
            if csv is not None:
                add_to_csv = files.enter_context(bearing_csv(csv, inputs=inputs.paths))
            sink = files.enter_context(
                sink_for(
                    request.out,
                    layers,
                    provenance,
                    inputs=inputs.paths,
                    out_crs=out_crs,
                    near=inputs.terrain.near,
                    rasters_wanted=rasters_wanted,
                )
            )
            say_if_compiling(listener)
            operations: dict[Operation, None] = {}
            formulas = 0
            # Closed at once when the work is stopped: stations not begun are not read any more.
            with closing(read(inputs, listener)) as readings:
                for reading in readings:
                    for text in reading.notes:
                        tell(text)
                    operations |= dict.fromkeys(reading.operations)
                    sink.add(reading.frames)
                    for raster in reading.rasters:
                        sink.add_raster(raster)
                    if "bearing_list" in reading.frames:
                        states |= set(reading.frames["bearing_list"]["state"])
                        if add_to_csv is not None:
                            formulas += add_to_csv(reading.frames["bearing_list"])
                    if reading.frames:
                        listener.station_read(reading.frames)
            if formulas:
                tell(formula_note(formulas))
            used = [operation.record() for operation in operations]
            used += way
            for text in cautions:
                tell(text)
            provenance = replace(provenance, operations=(*provenance.operations, *used), notes=tuple(notes))
            sink.close(provenance)
            if folder is not None and isinstance(sink, PackageSink):
                write_cogs(folder, sink.file, sink.kinds, inputs.paths)
        if states == {"out_of_reach"}:
            tell(
                "no map feature lies within the reach of any station: "
                "give a longer reach, or check the coordinates and the CRS of the features"
            )
        written = {"out": request.out, "csv": csv, "rasters": folder}
        done: dict[str, tuple[Path, ...]] = {
            name: (place,) for name, place in written.items() if place is not None
        }
        if request.out is not None:
            write_style_folder(request.out)
            if pictures is not None:
                done["pictures"] = tuple(_draw(request, pictures, inputs))  # type: ignore[arg-type]
        return Result(sink.frames, sink.rasters, tuple(notes), provenance, done)


def _draw(request: OutlookRequest, folder: Path, inputs: Inputs) -> list[Path]:
    """Pictures of every station from the package just written."""
    from hillsight.layers.contents import read_contents
    from hillsight.sheets.station.preview import preview_all

    stations = {station.label: station for station in inputs.stations}

    def around(label: str) -> Surface:
        station = stations[label]
        return inputs.terrain.window(station.easting_m, station.northing_m, 1.1 * request.reach)

    assert request.out is not None
    contents = read_contents(where_written(request.out))
    return preview_all(contents, around, folder, features=inputs.features, printing=printing_of(request))
