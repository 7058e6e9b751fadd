"""Which stations see each other: what parts found, put in the order of the stations without holding it."""

from __future__ import annotations

import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas
import numpy as np
import shapely

from hillsight.errors import OutputError
from hillsight.jobs.batch.checked import Packed
from hillsight.layers.atomic import disk_trouble
from hillsight.schema.frames import frame_of
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path
    from typing import BinaryIO

    from pyproj import CRS

    from hillsight.arrays import AnyArray, Floats, Integers
    from hillsight.jobs.batch.places import BatchStation

LAYER = "station_sight"

#: Pairs that are held at a time.
_AT_ONCE = 100_000

_PAIR = np.dtype([("from", "<i4"), ("to", "<i4"), ("state", "u1"), ("distance", "<f8")])
_STATES = np.array([state.name.lower() for state in sorted(GroundState)], dtype=object)


@dataclass(frozen=True, eq=False)
class Matrix:
    """All pairs, in the order of who looks, then of who is looked at; in a file without a name.

    place_m : (numbers, 2) easting and northing by a station's number
    bounds_m : west, south, east, north of all stations of pairs; NaN without any
    """

    file: BinaryIO
    pairs: int
    place_m: Floats
    bounds_m: tuple[float, float, float, float]
    crs: CRS

    def frames(self) -> Iterator[geopandas.GeoDataFrame]:
        """The layer ``station_sight``, some rows at a time; one frame without rows where there are none."""
        self.file.seek(0)
        for first in range(0, max(self.pairs, 1), _AT_ONCE):
            data = self.file.read(min(_AT_ONCE, self.pairs - first) * _PAIR.itemsize)
            yield self._frame(np.frombuffer(data, _PAIR))

    def _frame(self, pairs: AnyArray) -> geopandas.GeoDataFrame:
        ends = np.stack([self.place_m[pairs["from"]], self.place_m[pairs["to"]]], axis=1)
        columns = {
            "from_number": pairs["from"],
            "to_number": pairs["to"],
            "distance_m": pairs["distance"],
            "state": _STATES[pairs["state"]],
        }
        return frame_of(LAYER, columns, shapely.linestrings(ends), self.crs)


@contextmanager
def matrix_of(
    folder: Path, parts: Sequence[Path], stations: Sequence[BatchStation], crs: CRS
) -> Iterator[Matrix]:
    """The pairs of all parts, sorted by counting on the disk: each station's pairs have their place there.

    One part is held at a time. All pairs of one station that looks are in one part.

    Parameters
    ----------
    parts : their files

    Raises
    ------
    OutputError : the disk is full
    """
    numbers = max(station.number for station in stations) + 1
    count = np.zeros(numbers, np.int64)
    used = np.zeros(numbers, bool)
    for path in parts:
        with Packed(path) as part:
            looking = part.needed("matrix_from").astype(np.int64)
            count += np.bincount(looking, minlength=numbers)
            used[looking] = True
            used[part.needed("matrix_to").astype(np.int64)] = True
    begins = np.concatenate([[0], np.cumsum(count)])
    place_m = np.full((numbers, 2), np.nan)
    place_m[[station.number for station in stations]] = [(s.easting_m, s.northing_m) for s in stations]
    bounds_m = (float("nan"),) * 4
    if used.any():
        (west, south), (east, north) = place_m[used].min(axis=0), place_m[used].max(axis=0)
        bounds_m = float(west), float(south), float(east), float(north)
    try:
        with tempfile.TemporaryFile(dir=folder) as file:
            for path in parts:
                with Packed(path) as part:
                    _write(file, part, begins)
            file.flush()
            yield Matrix(file, int(begins[-1]), place_m, bounds_m, crs)
    except OSError as error:
        what = disk_trouble(error)
        if what is None:
            raise
        raise OutputError(what, where=str(folder), remedy="Make room, and run the same again") from error


def _write(file: BinaryIO, part: Packed, begins: Integers) -> None:
    """Put the pairs of a part where they belong."""
    looking = part.needed("matrix_from").astype(np.int64)
    pairs = np.empty(looking.size, _PAIR)
    pairs["from"] = looking
    for name in ("to", "state", "distance"):
        pairs[name] = part.needed(f"matrix_{name}")
    if not pairs.size:
        return
    pairs = pairs[np.lexsort((pairs["to"], pairs["from"]))]
    edges = np.flatnonzero(np.diff(pairs["from"], prepend=-1))
    for first, last in zip(edges, [*edges[1:], pairs.size], strict=True):
        file.seek(int(begins[pairs["from"][first]]) * _PAIR.itemsize)
        file.write(pairs[first:last].tobytes())
