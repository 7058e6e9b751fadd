"""The work of landforms: read the ground once, name what a map names, write a layer for each kind."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from hillsight.errors import CallError
from hillsight.ground.geodesy import Geodesy
from hillsight.jobs.inputs import settled_out_crs
from hillsight.landform.map_names import named
from hillsight.landform.scale import settle_scales
from hillsight.landform.survey import LandformOptions, survey
from hillsight.layers.package import package
from hillsight.reading.outlook import Landforms
from hillsight.scripts.inputs import open_inputs
from hillsight.scripts.report import Progress, note

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas

    from hillsight.ground.grid import Surface
    from hillsight.scripts.inputs import Inputs

#: Tops told at the terminal; the file holds all.
_TOPS_TOLD = 5


def run_landforms(given: Mapping[str, Any]) -> None:
    """Read the landforms of a terrain, or of its part around some places, and write them.

    Raises
    ------
    HillsightError : bad input, an incomplete installation, or the output cannot be written; the GeoPackage
        takes its name when nothing but the copies of its styles is left to write
    """
    # Not above: the other jobs list landforms too, and import this one.
    from hillsight.scripts.job import check_outputs, named_files, provenance_of, write_style_folder

    thresholds = landform_options(given)
    given = {**given, "evidence": None}
    out_crs = settled_out_crs(given["out_crs"])
    check_outputs(given, named_files(given))
    inputs = open_inputs(given, places_needed=False)
    surface = _ground(given, inputs)
    scales_m, scale_notes = settle_scales(surface, given["scales"])
    notes = [*inputs.notes, *scale_notes]
    with Progress(quiet=given["quiet"]) as progress:
        provenance = provenance_of("landforms", {**given, "scales": scales_m}, inputs)
        paths = [file.path for file in inputs.files]
        near = inputs.terrain.near
        with package(given["out"], provenance, inputs=paths, out_crs=out_crs, near=near) as file:
            with progress.station("landforms") as advance:
                frames = survey(surface, scales_m, thresholds, Geodesy(surface.grid.crs), advance)
            if inputs.features is not None:
                frames = named(frames, inputs.features)
            if not any(len(frame) for frame in frames.values()):
                notes.append("no landforms: the ground is level, or has none of this size")
            for layer, frame in frames.items():
                file.write(layer, frame)
            drawn = []
            if given["pictures"] is not None:  # from the frames, so before the package takes its name
                from hillsight.sheets.landforms.landform_sheet import draw_landforms

                drawn = draw_landforms(surface, frames, given["pictures"])
    for text in notes:
        note(text)
    write_style_folder(given["out"])
    if not given["quiet"]:
        for line in summary(frames):
            click.echo(line)
        click.echo(f"wrote {given['out']} and styles beside it")
        for picture in drawn:
            click.echo(f"drew {picture}")


def landforms_in_common(inputs: Inputs, scales_m: tuple[float, ...], reach_m: float) -> Landforms:
    """Landforms for the lists of all stations: read once where they stand near each other, else about each.

    Raises
    ------
    CallError : a scale that the terrain cannot give
    """
    east = np.array([station.easting_m for station in inputs.stations])
    north = np.array([station.northing_m for station in inputs.stations])
    middle = float(east.max() + east.min()) / 2, float(north.max() + north.min()) / 2
    spread_m = float(np.hypot(east - middle[0], north - middle[1]).max())
    if spread_m > reach_m / 2:
        return Landforms(scales_m=scales_m)
    surface = inputs.terrain.window(*middle, spread_m + reach_m)
    frames = survey(
        surface, scales_m, LandformOptions(), Geodesy(surface.grid.crs), seen_from=middle, spread_m=spread_m
    )
    return Landforms(frames=frames if inputs.features is None else named(frames, inputs.features))


def landform_options(given: Mapping[str, Any]) -> LandformOptions:
    """The thresholds of a call.

    Raises
    ------
    CallError : one out of its bounds
    """
    for option, value, most in (
        ("--level-below", given["level_below"], 45.0),
        ("--least-change", given["least_change"], 90.0),
    ):
        if not 0 < value <= most:
            raise CallError(f"{option} is {value:g} degrees", remedy=f"Give degrees above 0, up to {most:g}")
    bands = tuple(sorted(set(given["steep_from"])))
    for band in bands:
        if not 0 < band < 90:
            raise CallError(f"--steep-from is {band:g} degrees", remedy="Give degrees between 0 and 90")
    return LandformOptions(given["level_below"], bands, given["least_change"])


def _ground(given: Mapping[str, Any], inputs: Inputs) -> Surface:
    """All posts, or the square that holds what lies within the reach of the places given."""
    reach_m = given["reach"]
    if reach_m is not None and not (math.isfinite(reach_m) and reach_m > 0):
        raise CallError(f"--reach is {reach_m:g} m", remedy="Give a distance in metres above 0")
    if not inputs.stations:
        if reach_m is not None:
            raise CallError(
                "--reach needs a place to reach from",
                remedy="Give one with --at or --stations, or leave it out",
            )
        return inputs.terrain.whole()
    east = [station.easting_m for station in inputs.stations]
    north = [station.northing_m for station in inputs.stations]
    half_m = max(max(east) - min(east), max(north) - min(north)) / 2
    middle = (max(east) + min(east)) / 2, (max(north) + min(north)) / 2
    return inputs.terrain.window(*middle, half_m + (10_000.0 if reach_m is None else reach_m))


def summary(frames: Mapping[str, geopandas.GeoDataFrame]) -> list[str]:
    """What was found, in a few lines: counts, and the tops of the greatest prominence."""
    counts = ", ".join(
        f"{len(frame)} {layer.replace('_', ' ')}" for layer, frame in frames.items() if len(frame)
    )
    tops = frames["tops"].sort_values("prominence_m", ascending=False, kind="stable").head(_TOPS_TOLD)
    lines = [f"Found {counts}." if counts else "Found no landforms."]
    for row in tops.itertuples(index=False):
        name = f"{row.name}: " if row.name else ""
        lines.append(f"{name}{row.description}, at E {row.geometry.x:.0f} N {row.geometry.y:.0f}")
    return lines
