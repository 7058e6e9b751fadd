"""Places of real and made ground looked from, for the study of relocation; see ``relocation_simulation``."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from scipy import ndimage

from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.evidence import EvidenceTable
from hillsight.ground.features import read_features
from hillsight.ground.geodesy import Geodesy
from hillsight.ground.grid import Grid, Surface
from hillsight.ground.terrain import TerrainOptions, open_terrain
from hillsight.landform.survey import LandformOptions, survey
from hillsight.plan.look.glance import Glance, glance
from hillsight.plan.look.things import Things
from hillsight.plan.relocation.nearby_places import nearby_places
from hillsight.reading.things.landforms_in_view import landform_features
from hillsight.sight.doubt import ErringGround
from hillsight.sight.maxima import Maxima
from hillsight.sight.viewing import Viewing

if TYPE_CHECKING:
    from hillsight.arrays import Floats32

VIEWING = Viewing(1.6, 0.0, 5_000.0, 0.13)

GROUNDS = ("upland", "highlands", "tujunga", "jacksboro")


@dataclass(frozen=True)
class Pool:
    """Places of one ground that have been looked from.

    beside : looks from a few metres about each place, as ``plan.relocation`` takes them
    twins : of each place the view that the picture has: some metres off, over ground not quite the model's
    """

    ground: str
    glances: list[Glance]
    beside: list[list[Glance]]
    twins: list[Glance]
    things: Things


def pool_of(ground: str, surface: Surface, features: geopandas.GeoDataFrame | None, places: int) -> Pool:
    """Look from places strewn over the middle of a surface."""
    random = np.random.default_rng(11)
    geodesy = Geodesy(surface.grid.crs)
    if features is None:
        features = invented_walls(surface, random)
    frames = survey(surface, (300.0,), LandformOptions(), geodesy)
    if features["name"].isna().all():
        # A map names its chief tops.
        chief = frames["tops"]["prominence_m"].fillna(1e9).sort_values(ascending=False).index[:20]
        frames["tops"].loc[chief, "name"] = [f"Top {k}" for k in range(1, len(chief) + 1)]
    wanted = {name: frames[name] for name in ("tops", "saddles", "spurs", "re_entrants") if name in frames}
    listed = landform_features(wanted, features)
    west, south, east_m, north_m = surface.grid.cell_edges_m
    about = shapely.Point((west + east_m) / 2, (south + north_m) / 2)
    near = listed.distance(about) <= np.where(listed["name"].notna(), 8_000.0, 3_500.0)
    things = Things.of(listed[near], 2 * surface.grid.spacing_x_m)
    errors = ErrorModel.guessed_from_spacing(surface.grid.spacing_x_m)
    maxima = Maxima.of(surface.height_m)
    grid = surface.grid
    # The ground itself is not quite what the terrain model says.
    true_surface = replace(surface, height_m=surface.height_m + _error_field(surface, errors, random))
    true_maxima = Maxima.of(true_surface.height_m)
    erring, truly = (ErringGround(one, errors, feature=True) for one in (surface, true_surface))
    glances, twins, beside = [], [], []
    # Places lie close enough together to look alike, far enough apart to be told on a map.
    middle = random.uniform(0.35, 0.65, 2) * (grid.rows - 1, grid.columns - 1)
    span = min(2_500.0 / grid.spacing_x_m, 0.3 * min(grid.rows, grid.columns))
    while len(glances) < places:
        row, column = middle + random.uniform(-span, span, 2)
        east, north = (float(v) for v in grid.to_map(row, column))
        off_m, turn = random.uniform(5.0, 25.0), random.uniform(0, 2 * np.pi)
        both = [(east, north), (east + off_m * np.sin(turn), north + off_m * np.cos(turn))]
        heights_m = [surface.height_at_m(*both[0]), true_surface.height_at_m(*both[1])]
        if np.isnan(heights_m).any():
            continue
        for place, height_m, kept, over, blocks in zip(
            both, heights_m, (glances, twins), (erring, truly), (maxima, true_maxima), strict=True
        ):
            kept.append(glance(over, geodesy, f"{len(kept)}", *place, height_m, VIEWING, things, blocks))
        around = []
        for place in nearby_places(east, north):
            height_m = surface.height_at_m(*place)
            around.append(glance(erring, geodesy, "", *place, height_m, VIEWING, things, maxima))
        beside.append(around)
    return Pool(ground, glances, beside, twins, things)


def _error_field(surface: Surface, errors: ErrorModel, random: np.random.Generator) -> Floats32:
    """Errors of a terrain model, alike over the model's own length, of the model's own size."""
    rough = random.standard_normal(surface.height_m.shape)
    smooth = ndimage.gaussian_filter(rough, errors.correlation_length_m / 2 / surface.grid.spacing_x_m)
    return (errors.terrain_rmse_m * smooth / smooth.std()).astype(np.float32)


def invented_walls(surface: Surface, random: np.random.Generator) -> geopandas.GeoDataFrame:
    """Walls and cairns that are nowhere, strewn over a surface."""
    west, south, east, north = surface.grid.cell_edges_m
    middle = np.array([(west + east) / 2, (south + north) / 2])
    shapes, kinds = [], []
    for _ in range(30):
        start = middle + random.uniform(-4_000, 4_000, 2)
        turn, length_m = random.uniform(0, 2 * np.pi), random.uniform(200, 1_500)
        shapes.append(shapely.LineString([start, start + length_m * np.array([np.sin(turn), np.cos(turn)])]))
        kinds.append("wall" if random.random() < 0.6 else "fence")
    for _ in range(15):
        shapes.append(shapely.Point(middle + random.uniform(-3_000, 3_000, 2)))
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
        crs=surface.grid.crs,
    )


def surface_of(ground: str, folder: Path) -> tuple[Surface, geopandas.GeoDataFrame | None]:
    """Terrain of one ground, and its map features if it has any.

    Parameters
    ----------
    folder : holds the shared data; for the upland, a folder of its inputs
    """
    if ground == "jacksboro":
        return _jacksboro(), None
    name = {
        "upland": "terrain.tif",
        "highlands": "osterrain50_nn.tif",
        "tujunga": "srtm30_big_tujunga.tif",
    }[ground]
    source = open_terrain(str(folder / name), TerrainOptions())
    terrain = source.on_metric_grid(*source.middle())
    west, south, east, north = terrain.bounds_m
    middle = (255_000.0, 745_000.0) if ground == "highlands" else ((west + east) / 2, (south + north) / 2)
    surface = terrain.window(*middle, 8_000.0)
    if ground != "upland":
        return surface, None
    table = EvidenceTable.load(None)
    features, _, _ = read_features(
        [str(folder / "features.gpkg")],
        (),
        terrain.crs,
        default_crs=terrain.crs,
        table=table,
        near=terrain.near,
    )
    return surface, features


def _jacksboro() -> Surface:
    from matplotlib import cbook

    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        height_m = np.asarray(sample["elevation"], np.float32)
    # 3" at 36.7 N; a grid of UTM zone 16 stands in for the true one: only shapes matter here.
    grid = Grid(CRS(32616), 700_000.0, 4_080_000.0, 74.4, 92.4, *height_m.shape)
    middle_row, middle_column = height_m.shape[0] // 2, height_m.shape[1] // 2
    part = grid.part(middle_row - 87, middle_column - 108, 174, 216)
    window = np.s_[middle_row - 87 : middle_row + 87, middle_column - 108 : middle_column + 108]
    return Surface(part, np.ascontiguousarray(height_m[window]))
