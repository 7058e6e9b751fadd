"""A small made world as files: ground with a knoll and an edge, things on it, stations, a sighting.

A plain at 100 m tilts gently; on it stands a knoll 40 m high, and in the south an edge where the ground drops
30 m. One place is 300 m from the knoll, the other 900 m from it and 105 m from the edge.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import geopandas
import numpy as np
import shapely
from PIL import Image
from scipy import ndimage

from hillsight.plan.picture.marks import Landmark, MarkedPhotograph, Marks, Trace
from terrains import fractal, write_geotiff

WEST, NORTH, SPACING, POSTS = 300_000.0, 700_000.0, 10.0, 161
KNOLL = (300_800.0, 699_500.0)
NEAR, FAR = "300800,699200,By the knoll", "300800,698600,On the plain"

SIGHTING = """\
format = "hillsight sighting 1"

[picture]
looks = "N"
width_deg = 60

[[statement]]
kind = "height"
what = "Lone Knoll"
stands = "well above"

[[statement]]
kind = "skyline"
shape = "pointed"
"""

EXERCISE = """\
format = "hillsight exercise 1"
title = "The knoll"

[picture]
looks = "N"

[[place]]
name = "by the knoll"
easting_m = 300800
northing_m = 699200
true = true

[[place]]
name = "in the west"
easting_m = 300250
northing_m = 699350
"""

PLAN = """\
format = "hillsight posts 1"
title = "Round of the Knoll"
features = ["features.gpkg"]

[course]
file = "course.gpkg"
legs = ["out", "back"]

[wanted]
posts = 3
seconds = 10

[paces]
start = "2026-09-12T10:00:00+01:00"

[[stand]]
layer = "things"
kinds = ["wall", "stream"]
within_m = 60
every_m = 40

[limits]
water_within_m = 2

[[access]]
name = "gate"
easting_m = 300400
northing_m = 699000

[[fixed]]
name = "the bend"
easting_m = 300900
northing_m = 699100

[control]
name = "tent"
easting_m = 300400
northing_m = 699000

[[pair]]
one = "the bend"
other = "control"
by = "radio"
"""


BATCH = """\
format = "hillsight batch 1"
title = "Round the knoll"
terrain = "ground.tif"

[stations]
file = "stations.gpkg"

[looking]
reach_m = 300
"""


def heights() -> np.ndarray:
    """(POSTS, POSTS) float32, metres, row 0 in the north."""
    column, row = np.meshgrid(np.arange(POSTS), np.arange(POSTS))
    east, north = WEST + SPACING * (column + 0.5), NORTH - SPACING * (row + 0.5)
    away = np.hypot(east - KNOLL[0], north - KNOLL[1])
    tilt = 0.01 * (east - WEST) + 3.0 * np.sin(east / 170.0) * np.cos(north / 130.0)
    height = 100.0 + tilt + 40.0 * np.exp(-((away / 60.0) ** 2)) - 30.0 * (north < 698_495.0)
    return height.astype(np.float32)


def features() -> geopandas.GeoDataFrame:
    """A knoll, a wall, a beck and a wood."""
    return geopandas.GeoDataFrame(
        {
            "name": ["Lone Knoll", None, "Long Beck", "Square Wood"],
            "kind": ["knoll", "wall", "stream", "wood"],
        },
        geometry=[
            shapely.Point(KNOLL),
            shapely.LineString([(300_700, 699_250), (300_900, 699_250)]),
            shapely.LineString([(300_600, 699_100), (301_000, 698_700)]),
            shapely.box(300_500, 699_050, 300_600, 699_150),
        ],
        crs=27700,
    )


def stations() -> geopandas.GeoDataFrame:
    """Two places to look from."""
    return geopandas.GeoDataFrame(
        {"name": ["Third place", "Fourth place"]},
        geometry=[shapely.Point(300_700, 699_000), shapely.Point(300_950, 698_900)],
        crs=27700,
    )


def course() -> geopandas.GeoDataFrame:
    """Two legs past the knoll, the second over the first part of the first again."""
    return geopandas.GeoDataFrame(
        {"name": ["out", "back"]},
        geometry=[
            shapely.LineString(
                [(300_450, 699_000), (300_700, 699_050), (300_950, 699_100), (300_900, 699_600)]
            ),
            shapely.LineString(
                [(300_900, 699_600), (300_650, 699_550), (300_700, 699_050), (300_450, 699_000)]
            ),
        ],
        crs=27700,
    )


def marks(sha256: str = "ab" * 32) -> Marks:
    """The knoll and four places about it, as a level camera by the knoll that looks north would show them.

    sha256 : of the photograph's file
    """
    landmarks = (
        Landmark(200.0, 120.0, feature="Lone Knoll"),
        Landmark(100.0, 152.0, easting_m=300_600.0, northing_m=699_600.0),
        Landmark(305.0, 150.0, easting_m=300_995.0, northing_m=699_570.0),
        Landmark(150.0, 150.5, easting_m=300_600.0, northing_m=699_950.0),
        Landmark(250.0, 149.0, easting_m=301_010.0, northing_m=699_990.0, crs="EPSG:27700"),
    )
    return Marks(MarkedPhotograph("knoll.png", 400, 300, sha256), landmarks)


def photograph() -> np.ndarray:
    """A plain picture: even sky over uneven ground, (180, 320, 3)."""
    y, x = np.mgrid[0:180, 0:320]
    sky = y < 80 + 14 * np.sin(x / 40)
    grain = np.random.default_rng(4).normal(0, 1, (180, 320, 1))
    colours = (
        np.where(sky[..., None], (170, 195, 225), (80, 90, 50)) + grain * np.where(sky, 1, 14)[..., None]
    )
    return np.clip(colours, 0, 255).astype(np.uint8)


def trace() -> Marks:
    """A skyline that rises to a point in the middle of a picture."""
    x_px = np.linspace(10.0, 390.0, 60)
    skyline = Trace(x_px, 150.0 - 40.0 * np.exp(-(((x_px - 200.0) / 60.0) ** 2)))
    return Marks(MarkedPhotograph("knoll.png", 400, 300, "ab" * 32), (), (skyline,))


def world(folder: Path) -> Path:
    """All of it: two .tif, three .gpkg, four .toml, marks.json of knoll.png, trace.json."""
    folder.mkdir(parents=True, exist_ok=True)
    write_geotiff(folder / "ground.tif", heights(), spacing=SPACING)
    hills = ndimage.gaussian_filter(fractal(161, 161, seed=5, relief_m=500.0), 3.0)
    write_geotiff(folder / "hills.tif", hills.astype(np.float32), spacing=25.0)
    features().to_file(folder / "features.gpkg", layer="things")
    stations().to_file(folder / "stations.gpkg", layer="stations")
    shades = np.linspace(0, 255, 160 * 90 * 3).reshape(90, 160, 3).astype(np.uint8)
    Image.fromarray(photograph()).save(folder / "photo.jpg", quality=92)
    Image.fromarray(shades[::-1]).save(folder / "panorama.png")
    (folder / "sighting.toml").write_text(SIGHTING, encoding="utf-8")
    Image.fromarray(np.tile(shades[:75, :100], (4, 4, 1))).save(folder / "knoll.png")
    sha256 = hashlib.sha256((folder / "knoll.png").read_bytes()).hexdigest()
    marks(sha256).write(folder / "marks.json")
    trace().write(folder / "trace.json")
    (folder / "exercise.toml").write_text(EXERCISE, encoding="utf-8")
    course().to_file(folder / "course.gpkg", layer="course")
    (folder / "batch.toml").write_text(BATCH, encoding="utf-8")
    (folder / "plan.toml").write_text(PLAN, encoding="utf-8")
    return folder
