"""Damages valid files of every format that is read, and holds what a run makes of each against a sound run.

`python tests/fuzzing/damage.py --each 500` runs as many of each format as it is told, and prints counts; the
numbers of a run follow from `--seed` alone. A run may refuse a file with one message and exit code 2, or
answer. A traceback, an exit code 1, a crash, or no answer within the time counts as a fault. `test_damage.py`
runs a few.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import geopandas
import shapely

from scripts.commands import AT, POSTS, REACH, run  # isort: skip
from terrains import fractal, write_geotiff

EAST, NORTH = 300_297.0, 699_704.0
_TOKENS = (
    b"",
    b"0",
    b"-1",
    b"nan",
    b"1e300",
    b"99999999999999999999",
    b"\xff\xfe",
    b"\x00",
    b"<",
    b'"',
    b"[",
    b"}",
)


@dataclass(frozen=True)
class Format:
    """A valid file of one format, and the command that reads it."""

    name: str
    make: Callable[[Path], Path]
    words: Callable[[Path, Path], list[str | Path]]


def _ground() -> object:
    return fractal(POSTS, POSTS, seed=1, relief_m=80, lowest_m=100)


def _geotiff(folder: Path) -> Path:
    return write_geotiff(folder / "ground.tif", _ground(), unit="m")


def _ascii_grid(folder: Path) -> Path:
    from rasterio.shutil import copy

    path = folder / "ground.asc"
    copy(_geotiff(folder), path, driver="AAIGrid")
    return path


def _hgt(folder: Path) -> Path:
    import numpy as np

    ground = fractal(1201, 1201, seed=1, relief_m=80, lowest_m=100)
    path = folder / "N56W004.hgt"
    path.write_bytes(np.asarray(ground, ">i2").tobytes())
    return path


def _virtual_raster(folder: Path) -> Path:
    ground = _geotiff(folder)
    path = folder / "ground.vrt"
    path.write_text(
        f'<VRTDataset rasterXSize="{POSTS}" rasterYSize="{POSTS}"><SRS>EPSG:27700</SRS>'
        "<GeoTransform>300000,10,0,700000,0,-10</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><UnitType>m</UnitType><SimpleSource>'
        f'<SourceFilename relativeToVRT="1">{ground.name}</SourceFilename><SourceBand>1</SourceBand>'
        "</SimpleSource></VRTRasterBand></VRTDataset>"
    )
    return path


def _places(driver: str, name: str, crs: str) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        points = [shapely.Point(EAST, NORTH), shapely.Point(EAST + 30, NORTH)]
        frame = geopandas.GeoDataFrame({"name": ["Cairn", "Fold"]}, geometry=points, crs="EPSG:27700")
        path = folder / name
        frame.to_crs(crs).to_file(path, driver=driver)
        return path

    return make


def _csv(folder: Path) -> Path:
    path = folder / "places.csv"
    path.write_text(f'name,easting,northing\nCairn,{EAST},{NORTH}\n"Fold, old",{EAST + 30},{NORTH}\n')
    return path


def _evidence(folder: Path) -> Path:
    from importlib.resources import files

    path = folder / "evidence.toml"
    found = list(Path(str(files("hillsight"))).rglob("evidence*.toml"))
    shutil.copy(found[0], path)
    return path


def _looks(path: Path, out: Path) -> list[str | Path]:
    at = "-3.5,56.5,Cairn" if path.suffix == ".hgt" else AT
    return ["viewshed", "--terrain", path, "--at", at, "--reach", REACH, "--only-states", "--out", out]


def _stands(path: Path, out: Path) -> list[str | Path]:
    ground = path.parent / "sound.tif"
    given = ["--terrain", ground, "--stations", path, "--reach", REACH]
    return ["viewshed", *given, "--only-states", "--out", out]


def _classed(path: Path, out: Path) -> list[str | Path]:
    given = ["--terrain", path.parent / "sound.tif", "--at", AT, "--reach", REACH]
    return ["bearings", *given, "--features", path.parent / "sound.gpkg", "--evidence", path, "--out", out]


FORMATS = (
    Format("GeoTIFF", _geotiff, _looks),
    Format("ASCII grid", _ascii_grid, _looks),
    Format("HGT", _hgt, _looks),
    Format("VRT", _virtual_raster, _looks),
    Format("GeoPackage", _places("GPKG", "places.gpkg", "EPSG:27700"), _stands),
    Format("GeoJSON", _places("GeoJSON", "places.geojson", "EPSG:4326"), _stands),
    Format("GPX", _places("GPX", "places.gpx", "EPSG:4326"), _stands),
    Format("KML", _places("KML", "places.kml", "EPSG:4326"), _stands),
    Format("CSV", _csv, _stands),
    Format("TOML", _evidence, _classed),
)


def damaged(content: bytes, chance: random.Random) -> bytes:
    """One of six kinds of damage: bits, bytes, a cut, a piece lost, doubled or overwritten by a token."""
    if not content:
        return content
    data = bytearray(content)
    # Half of the damage falls on the first 2 kB, where headers are.
    place = chance.randrange(min(len(data), 2048) if chance.random() < 0.5 else len(data))
    length = min(chance.choice((1, 2, 4, 16, 100)), len(data) - place)
    match chance.randrange(6):
        case 0:
            data[place] ^= 1 << chance.randrange(8)
        case 1:
            for _ in range(chance.randrange(1, 20)):
                data[chance.randrange(len(data))] = chance.randrange(256)
        case 2:
            del data[place:]
        case 3:
            del data[place : place + length]
        case 4:
            data[place:place] = data[place : place + length]
        case _:
            data[place : place + length] = chance.choice(_TOKENS)
    return bytes(data)


def attack(kind: Format, seed: int, count: int, folder: Path) -> tuple[Counter[str], list[str]]:
    """Run the command on so many damaged files; how the runs ended, and the faults."""
    geotiff = _geotiff(folder)
    shutil.copy(geotiff, folder / "sound.tif")
    things = {"name": ["Fell"], "kind": ["summit"]}
    frame = geopandas.GeoDataFrame(things, geometry=[shapely.Point(EAST + 80, NORTH)], crs="EPSG:27700")
    frame.to_file(folder / "sound.gpkg")
    path = kind.make(folder)
    content, beside = path.read_bytes(), {p.name for p in folder.iterdir()}
    ended, faults = Counter[str](), []
    sound = run(*kind.words(path, folder / "out.gpkg"))
    assert sound.code == 0, sound.err
    for number in range(count):
        chance = random.Random(f"{kind.name} {seed} {number}")
        path.write_bytes(damaged(content, chance))
        begun = time.monotonic()
        result = run(*kind.words(path, folder / "out.gpkg"))
        seconds = time.monotonic() - begun
        ended["answered" if result.code == 0 else "refused" if result.code == 2 else "fault"] += 1
        messages = [line for line in result.err.splitlines() if not line.startswith("note: ")]
        if result.code not in (0, 2) or "Traceback" in result.err or seconds > 60:
            faults.append(f"{kind.name}, seed {seed}, number {number}: {seconds:.0f} s, {messages[-1:]}")
        elif result.code == 2 and len(messages) != 1:
            faults.append(f"{kind.name}, seed {seed}, number {number}: {len(messages)} messages")
        for left in folder.iterdir():
            if left.name not in beside:
                shutil.rmtree(left) if left.is_dir() else left.unlink()
    return ended, faults


def main() -> None:
    """Counts as JSON, a line a format; exit code 1 if there were faults."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=500, help="damaged files of each format")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="one format by its name")
    given = parser.parse_args()
    all_faults = []
    for kind in FORMATS:
        if given.only in (None, kind.name):
            begun = time.monotonic()
            with tempfile.TemporaryDirectory() as folder:
                ended, faults = attack(kind, given.seed, given.each, Path(folder))
            seconds = round(time.monotonic() - begun)
            print(
                json.dumps({"format": kind.name, **ended, "seconds": seconds, "faults": faults}), flush=True
            )
            all_faults += faults
    sys.exit(1 if all_faults else 0)


if __name__ == "__main__":
    main()
