"""Valid files of every format that is read, the job that reads each, and another reader of the same file.

The other reader says what a damaged file holds: the same as the sound file, other data, or nothing where it
refuses it. For texts, GeoPackages and elevation tiles it shares no code with ours: json, tomllib, csv, lxml,
SQLite with its integrity check, numpy. For GeoTIFF and VRT it is rasterio, for photographs Pillow, as in
ours.
"""

from __future__ import annotations

import csv
import io
import json
import shutil
import sqlite3
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import rasterio
import shapely
from lxml import etree
from PIL import Image, ImageOps

import hillsight
from hillsight.jobs.batch.job_file import read_job
from hillsight.plan.exercise.file import read_exercise
from hillsight.plan.picture.marks import Marks
from hillsight.plan.picture.photograph import Photograph
from hillsight.plan.sighting.file import read_sighting
from jobs.worlds import FAR, NEAR, features, photograph, world
from terrains import fractal, write_geotiff

POSTS = 60
EAST, NORTH = 300_297.0, 699_704.0
AT = f"{EAST:.0f},{NORTH:.0f},Cairn"


@dataclass(frozen=True)
class Seed:
    """A valid file of one format.

    make : writes it into a folder, beside the files of :func:`surroundings`
    ask : what a job of ours makes of it; the other files lie in the folder above
    says : what another reader finds in it, comparable; raises where it refuses it
    share : of the files that a campaign makes of each seed; less where a job is slow
    """

    name: str
    make: Callable[[Path], Path]
    ask: Callable[[Path], Any]
    says: Callable[[Path], Any]
    share: float = 1.0


def surroundings(folder: Path) -> Path:
    """What jobs need besides the damaged file: ground, features, stations, marks, a picture."""
    world(folder)
    write_geotiff(folder / "sound.tif", _rough(), unit="m")
    things = features()
    things[things["kind"].isin(["wall", "wood"])].to_file(folder / "cover.gpkg")
    return folder


def _rough() -> Any:
    return fractal(POSTS, POSTS, seed=1, relief_m=80, lowest_m=100)


def _geotiff(folder: Path) -> Path:
    return write_geotiff(folder / "ground.tif", _rough(), unit="m")


def _packed_geotiff(folder: Path) -> Path:
    """Whole decimetres, tiled, compressed by differences, with overviews, a scale and a no-data value."""
    path = folder / "packed.tif"
    heights = np.round(np.kron(np.asarray(_rough()), np.ones((3, 3))) * 10).astype(np.int16)
    profile = {
        "driver": "GTiff",
        "width": heights.shape[1],
        "height": heights.shape[0],
        "count": 1,
        "dtype": "int16",
        "crs": "EPSG:27700",
        "transform": rasterio.transform.from_origin(300_000, 700_000, 10, 10),
        "nodata": -32768,
        "tiled": True,
        "blockxsize": 64,
        "blockysize": 64,
        "compress": "deflate",
        "predictor": 2,
    }
    with rasterio.open(path, "w", **profile) as file:
        file.write(heights, 1)
        file.scales, file.units = (0.1,), ("m",)
        file.build_overviews([2])
    return path


def _ascii_grid(folder: Path) -> Path:
    from rasterio.shutil import copy

    path = folder / "ground.asc"
    copy(_geotiff(folder), path, driver="AAIGrid")
    return path


def _hgt(folder: Path) -> Path:
    path = folder / "N56W004.hgt"
    ground = fractal(1201, 1201, seed=1, relief_m=80, lowest_m=100)
    path.write_bytes(np.asarray(ground, ">i2").tobytes())
    return path


def _virtual_raster(folder: Path) -> Path:
    path = folder / "ground.vrt"
    path.write_text(
        f'<VRTDataset rasterXSize="{POSTS}" rasterYSize="{POSTS}"><SRS>EPSG:27700</SRS>\n'
        "<GeoTransform>300000,10,0,700000,0,-10</GeoTransform>\n"
        '<VRTRasterBand dataType="Float32" band="1"><UnitType>m</UnitType><SimpleSource>\n'
        '<SourceFilename relativeToVRT="1">../sound.tif</SourceFilename><SourceBand>1</SourceBand>\n'
        "</SimpleSource></VRTRasterBand></VRTDataset>\n"
    )
    return path


def _places(driver: str, name: str, crs: str) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        points = [
            shapely.Point(EAST, NORTH),
            shapely.Point(EAST + 30, NORTH),
            shapely.Point(EAST, NORTH - 50),
        ]
        frame = geopandas.GeoDataFrame({"name": ["Cairn", "Fold", "Ford"]}, geometry=points, crs="EPSG:27700")
        frame.to_crs(crs).to_file(folder / name, driver=driver)
        return folder / name

    return make


def _things(driver: str, name: str, crs: str) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        frame = features()
        frame["geometry"] = frame.geometry.translate(-400, 300)
        frame.to_crs(crs).to_file(folder / name, driver=driver)
        return folder / name

    return make


def _csv(folder: Path) -> Path:
    path = folder / "places.csv"
    path.write_text(f'name,easting,northing\nCairn,{EAST},{NORTH}\n"Fold, old",{EAST + 30},{NORTH}\n')
    return path


def _copied(name: str) -> Callable[[Path], Path]:
    """A file of the made world; what it names lies in the folder above."""

    def make(folder: Path) -> Path:
        world(folder / "made")
        text = (folder / "made" / name).read_text(encoding="utf-8")
        for other in ("features.gpkg", "course.gpkg", "ground.tif", "stations.gpkg"):
            text = text.replace(f'"{other}"', f'"../{other}"')
        (folder / name).write_text(text, encoding="utf-8")
        shutil.rmtree(folder / "made")
        return folder / name

    return make


def _evidence(folder: Path) -> Path:
    from importlib.resources import files

    path = folder / "evidence.toml"
    path.write_text((files("hillsight.ground") / "evidence_classes.toml").read_text(encoding="utf-8"))
    return path


def _cover_heights(folder: Path) -> Path:
    from importlib.resources import files

    path = folder / "heights.toml"
    path.write_text((files("hillsight.ground") / "cover_heights.toml").read_text(encoding="utf-8"))
    return path


def _picture(kind: str) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        path = folder / f"photo.{kind}"
        picture = Image.fromarray(photograph())
        told = picture.getexif()
        told[0x010F], told[0x0110], told[0x0112] = "Maker", "Model", 6
        inner = told.get_ifd(0x8769)
        inner[0x9003], inner[0x920A], inner[0xA405] = "2026:06:01 12:00:00", 4.2, 28
        inner[0xA002], inner[0xA003] = picture.size
        picture.save(path, exif=told, **({"quality": 85} if kind == "jpg" else {}))
        return path

    return make


def _looks(path: Path) -> Any:
    at = "-3.5,56.5,Cairn" if path.suffix == ".hgt" else AT
    return hillsight.viewshed(path, at=[at], reach=200.0)


def _stands(path: Path) -> Any:
    return hillsight.viewshed(path.parents[1] / "sound.tif", stations=path, reach=200.0, only_states=True)


def _lists(path: Path) -> Any:
    return hillsight.bearings(path.parents[1] / "sound.tif", at=[AT], features=[path], reach=400.0)


def _classes(path: Path) -> Any:
    up = path.parents[1]
    return hillsight.bearings(
        up / "ground.tif", at=[NEAR], features=[up / "features.gpkg"], evidence=path, reach=400.0
    )


def _covers(path: Path) -> Any:
    up = path.parents[1]
    return hillsight.viewshed(
        up / "ground.tif", at=[NEAR], reach=400.0, cover=[up / "cover.gpkg"], cover_heights=path
    )


def _relocates(path: Path) -> Any:
    up = path.parents[1]
    given: dict[str, Any] = {"features": [up / "features.gpkg"], "reach": 400.0, "terrain_error": 1.0}
    return hillsight.relocate(up / "ground.tif", sighting=path, at=[NEAR, FAR], elsewhere=0, **given)


def _checks(path: Path) -> Any:
    up = path.parents[1]
    return hillsight.exercise_check(path, terrain=up / "ground.tif", draws=16, learners=50, reach=400.0)


def _posts(path: Path) -> Any:
    return hillsight.posts(path, terrain=path.parents[1] / "ground.tif")


def _batch(path: Path) -> Any:
    return hillsight.batch(path, out=path.parent / "batch", workers=1)


def _resects(path: Path) -> Any:
    up = path.parents[1]
    return hillsight.resect(
        up / "ground.tif",
        marks=path,
        photo=up / "knoll.png",
        width=55.0,
        at=[NEAR],
        features=[up / "features.gpkg"],
        terrain_error=1.0,
    )


def _shows(path: Path) -> Any:
    """The picture as it is taken in, and the page to mark it on."""
    shown = Photograph.open(path)
    page = hillsight.mark(path)
    return shown.array(), shown.exif, page.notes


def _raster(path: Path) -> Any:
    with rasterio.open(path) as file:
        facts = file.transform, str(file.crs), file.nodatavals, file.scales, file.offsets, file.units
        return facts, file.dtypes, file.read(), file.dataset_mask()


def _grid_of_text(path: Path) -> Any:
    words = path.read_text(encoding="ascii").split()
    header = {words[at].lower(): float(words[at + 1]) for at in range(0, 12, 2) if words[at][0].isalpha()}
    values = np.array([float(word) for word in words[2 * len(header) :]], np.float32)
    return header, values.reshape(int(header["nrows"]), int(header["ncols"]))


def _tile(path: Path) -> Any:
    return np.frombuffer(path.read_bytes(), ">i2").reshape(1201, 1201)


def _database(path: Path) -> Any:
    """All tables of a GeoPackage, row for row, where SQLite finds the file whole."""
    base = sqlite3.connect(f"file:{path}?mode=ro&immutable=1", uri=True)
    try:
        base.text_factory = bytes
        if base.execute("PRAGMA integrity_check").fetchall() != [(b"ok",)]:
            raise ValueError("not whole")
        names = [row[0].decode() for row in base.execute("SELECT name FROM sqlite_master WHERE type='table'")]
        return {
            name: base.execute('SELECT * FROM "{}"'.format(name.replace('"', '""'))).fetchall()
            for name in names
        }
    finally:
        base.close()


def _xml(path: Path) -> Any:
    return etree.tostring(etree.fromstring(path.read_bytes()), method="c14n")


def _table(path: Path) -> Any:
    return list(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"), newline=""), strict=True))


def _json(path: Path) -> Any:
    return json.loads(path.read_text(encoding="utf-8-sig"))


def _toml(path: Path) -> Any:
    return tomllib.loads(path.read_text(encoding="utf-8-sig"))


def _pillow(path: Path) -> Any:
    with Image.open(path) as picture:
        told = {key: str(value) for key, value in picture.getexif().items()}
        inner = {key: str(value) for key, value in picture.getexif().get_ifd(0x8769).items()}
        return np.asarray(ImageOps.exif_transpose(picture).convert("RGB")), told, inner


SEEDS = (
    Seed("GeoTIFF", _geotiff, _looks, _raster),
    Seed("GeoTIFF, packed", _packed_geotiff, _looks, _raster),
    Seed("ASCII grid", _ascii_grid, _looks, _grid_of_text),
    Seed("HGT", _hgt, _looks, _tile),
    Seed("VRT", _virtual_raster, _looks, _raster),
    Seed("GeoPackage, stations", _places("GPKG", "places.gpkg", "EPSG:27700"), _stands, _database),
    Seed("GeoPackage, features", _things("GPKG", "things.gpkg", "EPSG:27700"), _lists, _database),
    Seed("GeoJSON, stations", _places("GeoJSON", "places.geojson", "EPSG:4326"), _stands, _json),
    Seed("GeoJSON, features", _things("GeoJSON", "things.geojson", "EPSG:4326"), _lists, _json),
    Seed("GPX", _places("GPX", "places.gpx", "EPSG:4326"), _stands, _xml),
    Seed("KML", _places("KML", "places.kml", "EPSG:4326"), _stands, _xml),
    Seed("CSV", _csv, _stands, _table),
    Seed("TOML, evidence", _evidence, _classes, _toml),
    Seed("TOML, heights of cover", _cover_heights, _covers, _toml),
    Seed("TOML, sighting", _copied("sighting.toml"), lambda path: read_sighting(str(path)), _toml),
    Seed("TOML, sighting judged", _copied("sighting.toml"), _relocates, _toml, share=0.04),
    Seed("TOML, exercise", _copied("exercise.toml"), lambda path: read_exercise(str(path)), _toml),
    Seed("TOML, exercise judged", _copied("exercise.toml"), _checks, _toml, share=0.04),
    Seed("TOML, plan of posts", _copied("plan.toml"), _posts, _toml),
    Seed("TOML, batch", _copied("batch.toml"), lambda path: read_job(str(path)), _toml),
    Seed("TOML, batch done", _copied("batch.toml"), _batch, _toml, share=0.5),
    Seed("marks", _copied("marks.json"), _resects, _json),
    Seed("marks, a skyline", _copied("trace.json"), lambda path: Marks.read(path), _json),
    Seed("photograph, JPEG", _picture("jpg"), _shows, _pillow),
    Seed("photograph, PNG", _picture("png"), _shows, _pillow),
    Seed("photograph, TIFF", _picture("tif"), _shows, _pillow),
)
