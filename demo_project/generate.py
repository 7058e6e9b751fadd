"""Write the invented upland: `python demo_project/generate.py FOLDER`.

Makes terrain.tif (heights of 1,000 x 1,000 posts, 10 m apart), features.gpkg (the map), stations.gpkg
(three places that look alike), cover.gpkg (what stands on the ground and hides) and course.gpx (an invented
course for runners). The same seed gives the same heights; the files are the same byte for byte, their date
being fixed unless SOURCE_DATE_EPOCH or OGR_CURRENT_DATE says otherwise.
"""

from __future__ import annotations

import argparse
import datetime
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pyogrio
import rasterio
import shapely

_HERE = str(Path(__file__).resolve().parent)
sys.path.insert(0, _HERE)  # this file may be loaded by its path alone
try:
    from upland_course import course_of, gpx_of
    from upland_features import draw
    from upland_ground import SIDE_M, SPACING_M, Upland, make
    from upland_sheet import CRS_WKT, Rows, Sheet
    from upland_stations import choose
    from upland_woods import cover_of
finally:
    sys.path.remove(_HERE)

SEED = 7
WEST_M, SOUTH_M = 240_000.0, 310_000.0
NAMES = ("terrain.tif", "features.gpkg", "stations.gpkg", "cover.gpkg", "course.gpx")
DATE = "2026-01-01T00:00:00.000Z"


def write_terrain(path: Path, upland: Upland) -> None:
    """One float32 band, heights at the cells' centres, metres."""
    side = upland.height_m.shape[0]
    profile = {
        "driver": "GTiff", "width": side, "height": side, "count": 1, "dtype": "float32", "crs": CRS_WKT,
        "transform": rasterio.Affine(SPACING_M, 0, WEST_M, 0, -SPACING_M, SOUTH_M + SIDE_M),
        "compress": "deflate", "predictor": 3, "tiled": True, "blockxsize": 256, "blockysize": 256,
    }  # fmt: skip
    with rasterio.open(path, "w", **profile) as terrain:
        terrain.write(upland.height_m.astype(np.float32), 1)
        terrain.set_band_description(1, "height, metres above an invented datum")
        terrain.set_band_unit(1, "metre")


def write_layer(path: Path, layer: str, rows: Rows) -> None:
    """One layer of a GeoPackage, placed on the grid, coordinates to the centimetre."""
    frame = geopandas.GeoDataFrame(rows, geometry="geometry", crs=CRS_WKT)

    def place(xy: Any) -> Any:
        return np.round(xy + np.array([WEST_M, SOUTH_M]), 2)

    frame["geometry"] = shapely.transform(frame["geometry"].to_numpy(), place)
    frame.to_file(path, layer=layer, driver="GPKG", engine="pyogrio")


def file_date() -> str:
    """The date that the GeoPackages carry."""
    if "OGR_CURRENT_DATE" in os.environ:
        return os.environ["OGR_CURRENT_DATE"]
    if "SOURCE_DATE_EPOCH" in os.environ:
        moment = datetime.datetime.fromtimestamp(int(os.environ["SOURCE_DATE_EPOCH"]), datetime.UTC)
        return moment.strftime("%Y-%m-%dT%H:%M:%S.000Z")
    return DATE


def generate(folder: Path, seed: int = SEED) -> None:
    """Write terrain.tif, features.gpkg, stations.gpkg, cover.gpkg and course.gpx into a folder.

    Each file is built beside its final name and renamed, so a stopped run leaves no half file.
    Raises ValueError if the seed gives no corrie, no edge, no three look-alike stations or no course.
    """
    upland = make(seed)
    sheet = Sheet(upland)
    layers = draw(sheet)
    stations = choose(sheet, layers["tops"])
    course = course_of(sheet, layers)
    cover = cover_of(sheet, layers, stations)
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": file_date()})
    try:
        with tempfile.TemporaryDirectory(dir=folder, prefix=".making-") as work:
            write_terrain(Path(work) / "terrain.tif", upland)
            for name, rows in layers.items():
                write_layer(Path(work) / "features.gpkg", name, rows)
            write_layer(Path(work) / "stations.gpkg", "stations", stations)
            for name, rows in cover.items():
                write_layer(Path(work) / "cover.gpkg", name, rows)
            (Path(work) / "course.gpx").write_text(gpx_of(course, WEST_M, SOUTH_M), "utf-8", newline="\n")
            for name in NAMES:
                (Path(work) / name).replace(folder / name)
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def main() -> None:
    """Read the command line and make the files."""
    parser = argparse.ArgumentParser(description="Write the invented upland into a folder.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=SEED)
    call = parser.parse_args()
    try:
        generate(call.folder, call.seed)
    except (ValueError, OSError) as error:
        sys.exit(f"generate.py: {error}")
    print(f"{call.folder}: {', '.join(NAMES)}")


if __name__ == "__main__":
    main()
