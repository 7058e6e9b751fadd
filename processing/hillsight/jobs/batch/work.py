"""One part of a script's work in a batch: neighbouring stations, into GeoPackages with their checksums."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import shapely

from hillsight.errors import BatchError, CallError, StationError, TerrainError
from hillsight.jobs.batch.checked import checksum, is_whole, write_checked
from hillsight.jobs.batch.ground import BatchGround
from hillsight.jobs.batch.planning import Part, station_window
from hillsight.jobs.batch.work_script import LOOKING, station_script
from hillsight.jobs.outputs import style_folder
from hillsight.layers.contents import written_rasters
from hillsight.layers.provenance import WholeRun, piece_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pyproj import CRS

    from hillsight.jobs.batch.places import BatchStation

#: Stations of a part at most: so much is lost where a run is killed.
MOST_IN_WORK = 16

_ROWS_AT_ONCE = 512

#: Errors that one station may be the cause of.
_OF_STATIONS = (StationError, TerrainError, CallError)


@dataclass(frozen=True)
class WorkSetting:
    """What all tasks of a script's work share.

    folder : where everything is written
    crs : of the working grid, in which stations are given
    given : parameters of the script's function, the same for all stations
    looked : of how stations look, what the job's file says of all of them
    """

    folder: str
    ground: BatchGround
    crs: CRS
    script: str
    given: dict[str, Any]
    looked: tuple[str, ...]
    run: WholeRun

    @property
    def work_folder(self) -> Path:
        """Where parts leave their files."""
        return Path(self.folder) / "work"


@dataclass
class _Done:
    files: list[dict[str, Any]] = field(default_factory=list)
    refused: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True)
class WorkTask:
    """Do the work for the stations of a part; done again it leaves the same files."""

    setting: WorkSetting
    part: Part

    @property
    def name(self) -> str:
        """As dashboards and messages show it."""
        return f"{self.setting.script.replace(' ', '-')}-{self.part.name}"

    @property
    def file(self) -> Path:
        """What tells that it is done, and of the GeoPackages that it left."""
        return self.setting.work_folder / f"{self.part.name}.json"

    def is_done(self) -> bool:
        """Whether all its GeoPackages are there as they were written."""
        if not is_whole(self.file):
            return False
        told = json.loads(self.file.read_bytes())
        return all(checksum(self.setting.work_folder / f["file"]) == f["sha256"] for f in told["files"])

    def run(self) -> dict[str, Any]:
        """Do it; returns how many stations were worked on and refused.

        Raises
        ------
        HillsightError : what no single station is the cause of
        """
        groups: dict[tuple[tuple[str, float], ...], list[BatchStation]] = {}
        for station in sorted(self.part.stations, key=lambda one: one.number):
            groups.setdefault(self._how(station), []).append(station)
        done = _Done()
        for number, (how, stations) in enumerate(groups.items(), 1):
            self._do(stations, dict(how), f"{self.part.name}_{number:02d}", done)
        write_checked(self.file, json.dumps(vars(done), sort_keys=True, indent=1).encode())
        return {
            "stations": sum(len(file["numbers"]) for file in done.files),
            "refused": len(done.refused),
        }

    def _how(self, station: BatchStation) -> tuple[tuple[str, float], ...]:
        """How a station looks, by the script's parameters, so far as the job or its columns say."""
        known = station_script(self.setting.script).parameters
        said = {*self.setting.looked, *station.told}
        return tuple(
            (name, getattr(station, column))
            for name, column in LOOKING.items()
            if column in said and name in known and hasattr(station, column)
        )

    def _do(self, stations: Sequence[BatchStation], how: dict[str, float], stem: str, done: _Done) -> None:
        """Work on stations that look alike: together, or one by one where one of them is in the way."""
        try:
            done.files.append(self._written(stations, how, stem))
            return
        except _OF_STATIONS as error:
            if isinstance(error, CallError) and not any(station.told for station in stations):
                raise
            if len(stations) == 1:
                if isinstance(error, TerrainError):
                    self._check_ground(stations[0])
                done.refused.append({"number": stations[0].number, "reason": error.what})
                return
        for station in stations:
            self._do([station], how, f"{stem}_{station.number:07d}", done)

    def _check_ground(self, station: BatchStation) -> None:
        """Read the ground about a station, to tell a station on a void from ground that cannot be read.

        Raises
        ------
        TerrainError : it cannot be read, which is no fault of the station
        """
        with self.setting.ground.terrain() as terrain, terrain.reading() as read:
            window = station_window(terrain.grid, station)
            for top in range(0, window.rows, _ROWS_AT_ONCE):
                rows = min(_ROWS_AT_ONCE, window.rows - top)
                read(window.row + top, window.column, rows, window.columns)

    def _written(self, stations: Sequence[BatchStation], how: dict[str, float], stem: str) -> dict[str, Any]:
        """Call the script's function for some stations; returns what is told of the file."""
        setting = self.setting
        out = setting.work_folder / f"{stem}.gpkg"
        heights = [np.nan if one.ground_height_m is None else one.ground_height_m for one in stations]
        frame = geopandas.GeoDataFrame(
            {"name": [one.label for one in stations], "ground_height_m": np.array(heights, np.float64)},
            geometry=shapely.points([(one.easting_m, one.northing_m) for one in stations]),
            crs=setting.crs,
        )
        with setting.ground.source() as source, piece_of(setting.run):
            result = station_script(setting.script).function(
                source.path, **setting.given, **how, stations=frame, out=out
            )
        shutil.rmtree(style_folder(out), ignore_errors=True)
        for raster in written_rasters(out):
            if raster.station is None:
                raise BatchError(
                    f"{setting.script} puts stations together into {raster.table}, which parts of a batch "
                    "cannot",
                    remedy="Take that option out; [products] has counts and more of all stations together",
                )
        return {
            "file": out.name,
            "sha256": checksum(out),
            "numbers": [one.number for one in stations],
            "notes": list(result.notes),
            "operations": json.loads(result.provenance.as_json())["operations"],
        }
