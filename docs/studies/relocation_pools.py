"""Places of real and made ground looked from, for the study of relocation; see ``relocation_simulation``."""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import field as with_default
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import pandas as pd
import rasterio
import shapely
from affine import Affine
from pyproj import CRS

from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.evidence import EvidenceTable
from hillsight.ground.features import read_features
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.stations import Station
from hillsight.ground.terrain import open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.landform.options import LandformOptions
from hillsight.landform.survey import survey
from hillsight.plan.look.looking import Looker
from hillsight.plan.look.things import Things
from hillsight.reading.things.landforms_in_view import landform_features
from hillsight.sight.viewing import Viewing
from second_observer_grounds import Pair, field, pair_of
from second_observer_sight import Ground

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from hillsight.ground.terrain import Terrain
    from hillsight.plan.look.glance import Glance

#: Grounds; those after the first two are single ones, whatever the seed.
GROUNDS = ("highlands", "ten", "upland", "tujunga", "jacksboro")

VIEWING = Viewing(1.6, 0.0, 6_000.0, 0.13)

#: Places are strewn so far about the middle, in eastings and northings, and things sought about it.
_CORE_M, _NAMED_WITHIN_M, _THINGS_WITHIN_M = 2_500.0, 8_000.0, 3_500.0

#: None of the candidates may lie so far about them.
ELSEWHERE_M = 3_000.0


@dataclass(frozen=True)
class Pool:
    """Places of one ground that have been looked from.

    looker : over the terrain model; true_looker : over ground that is not quite what the model says
    places_m : (n, 2) easting and northing; glances : from each of them, over the model
    things_frame : all that may be told of; things : the same, sampled
    effort : settings of the weighing that make it quicker; none in a study
    """

    ground: str
    looker: Looker
    true_looker: Looker
    places_m: np.ndarray
    glances: list[Glance]
    things_frame: geopandas.GeoDataFrame
    things: Things
    effort: Mapping[str, int] = with_default(default_factory=dict)


def pool_of(
    pair: Pair, features: geopandas.GeoDataFrame | None, places: int, folder: Path, seed: int = 11
) -> Pool:
    """Look from places strewn over the middle of a ground.

    Parameters
    ----------
    features : of its map; walls are invented where None
    folder : where the terrains are put
    """
    random = np.random.default_rng((seed, places))
    model, truth = (
        terrain_of(one, pair.crs, folder / f"{k}.tif") for k, one in enumerate((pair.model, pair.truth))
    )
    middle = pair.truth.middle_m
    geodesy = Geodesy(pair.crs)
    listed = _things_frame(model, middle, features, geodesy, random)
    errors = ErrorModel.guessed_from_spacing(pair.model.spacing_m)
    about = [np.array([v - _CORE_M, v + _CORE_M]).tolist() for v in middle]
    lookers = [
        Looker.over(terrain, geodesy, VIEWING, errors, *about, ELSEWHERE_M + 150.0)
        for terrain in (model, truth)
    ]
    things = Things.of(listed, 2 * min(model.spacing_x_m, model.spacing_y_m))
    glances: list[Glance] = []
    found: list[tuple[float, float]] = []
    while len(glances) < places:
        # Places lie close enough together to look alike, far enough apart to be told on a map.
        east_m, north_m = (float(v) for v in np.asarray(middle) + random.uniform(-_CORE_M, _CORE_M, 2))
        if np.isnan(pair.truth.height_at(east_m, north_m)) or np.isnan(pair.model.height_at(east_m, north_m)):
            continue
        station = Station(f"{len(found)}", None, east_m, north_m, None, "")
        glances.append(lookers[0].look(station, things))
        found.append((east_m, north_m))
    return Pool(pair.case, lookers[0], lookers[1], np.array(found), glances, listed, things)


def terrain_of(ground: Ground, crs: CRS, path: Path) -> Terrain:
    """Ground as a terrain, through a file."""
    half_m = ground.spacing_m / 2
    place = Affine(ground.spacing_m, 0, ground.west_m - half_m, 0, -ground.spacing_m, ground.north_m + half_m)
    rows, columns = ground.height_m.shape
    shape = {"height": rows, "width": columns, "count": 1, "dtype": "float32"}
    with rasterio.open(path, "w", driver="GTiff", crs=crs, transform=place, nodata=-9999, **shape) as file:
        file.write(np.nan_to_num(ground.height_m, nan=-9999.0).astype(np.float32), 1)
    source = open_terrain(str(path), TerrainOptions())
    return source.on_metric_grid(*source.middle())


def _things_frame(
    terrain: Terrain,
    middle: tuple[float, float],
    features: geopandas.GeoDataFrame | None,
    geodesy: Geodesy,
    random: np.random.Generator,
) -> geopandas.GeoDataFrame:
    if features is None:
        features = invented_walls(middle, terrain.crs, random)
    surface = terrain.window(*middle, 6_000.0)
    frames = survey(surface, (300.0,), LandformOptions(), geodesy)
    if features["name"].isna().all():
        # A map names its chief tops.
        chief = frames["tops"]["prominence_m"].fillna(1e9).sort_values(ascending=False).index[:20]
        frames["tops"].loc[chief, "name"] = [f"Top {k}" for k in range(1, len(chief) + 1)]
    wanted = {name: frames[name] for name in ("tops", "saddles", "spurs", "re_entrants") if name in frames}
    listed = landform_features(wanted, features)
    within_m = np.where(listed["name"].notna(), _NAMED_WITHIN_M, _THINGS_WITHIN_M)
    return listed[listed.distance(shapely.Point(middle)) <= within_m].reset_index(drop=True)


def invented_walls(
    middle: tuple[float, float], crs: Any, random: np.random.Generator
) -> geopandas.GeoDataFrame:
    """Walls and cairns that are nowhere, strewn over a ground."""
    shapes, kinds = [], []
    for _ in range(30):
        start = np.asarray(middle) + random.uniform(-4_000, 4_000, 2)
        turn, length_m = random.uniform(0, 2 * np.pi), random.uniform(200, 1_500)
        shapes.append(shapely.LineString([start, start + length_m * np.array([np.sin(turn), np.cos(turn)])]))
        kinds.append("wall" if random.random() < 0.6 else "fence")
    for _ in range(15):
        shapes.append(shapely.Point(np.asarray(middle) + random.uniform(-3_000, 3_000, 2)))
        kinds.append("cairn")
    count = len(shapes)
    return geopandas.GeoDataFrame(
        {
            "name": pd.Series([None] * count, dtype=object),
            "kind": kinds,
            "evidence_class": ["man_made"] * count,
            "target_height_m": [1.3] * count,
            "source": ["invented"] * count,
        },
        geometry=shapes,
        crs=crs,
    )


def ground_of(
    ground: str, side: str, seed: int, shared: Path, upland: Path
) -> tuple[Pair, geopandas.GeoDataFrame | None]:
    """One ground with its map features, if it has any: the model, and a truth that it errs from.

    Parameters
    ----------
    side : west (to tune on) or east (to report on), of the Highlands
    shared : folder of the open terrain models; upland : folder of the demo's inputs
    """
    if ground in ("highlands", "ten"):
        pair = pair_of(shared, "noise" if ground == "highlands" else "ten", side, seed)
        return Pair(ground, pair.truth, pair.model, pair.crs), None
    if ground == "jacksboro":
        return _erring(ground, _jacksboro(), CRS(32616), seed), None
    path = shared / "srtm30_big_tujunga.tif" if ground == "tujunga" else upland / "terrain.tif"
    with rasterio.open(path) as file:
        heights, place, crs = (
            file.read(1, masked=True).filled(np.nan if ground == "upland" else 0),
            file.transform,
            CRS(file.crs),
        )
    west, north = place * (0.5, 0.5)
    pair = _erring(ground, Ground(heights.astype(np.float32), float(place.a), west, north), crs, seed)
    if ground != "upland":
        return pair, None
    source = open_terrain(str(path), TerrainOptions())
    terrain = source.on_metric_grid(*source.middle())
    features, _, _ = read_features(
        [str(upland / "features.gpkg")],
        (),
        terrain.crs,
        default_crs=terrain.crs,
        table=EvidenceTable.load(None),
        near=terrain.near,
    )
    return pair, features


def _erring(ground: str, model: Ground, crs: CRS, seed: int) -> Pair:
    """A truth that a model errs from by a tenth of its spacing, alike over three posts."""
    random = np.random.default_rng((seed, 8))
    error = field(model.height_m.shape, model.spacing_m, 3.0 * model.spacing_m, random)
    heights = (model.height_m + 0.1 * model.spacing_m * error).astype(np.float32)
    return Pair(ground, Ground(heights, model.spacing_m, model.west_m, model.north_m), model, crs)


def _jacksboro() -> Ground:
    from matplotlib import cbook

    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        height_m = np.asarray(sample["elevation"], np.float32)
    # 3" at 36.7 N: posts 74 by 92 m. A square grid of UTM zone 16 stands in for it: only shapes matter here.
    return Ground(height_m, 83.0, 700_000.0, 4_080_000.0)
