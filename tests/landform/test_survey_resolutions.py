"""The same ground at 10 m and at 30 m has the same large landforms: scale is told in metres, not in cells."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
from pyproj import CRS
from scipy import ndimage

from hillsight.ground.geodesy import Geodesy
from hillsight.ground.grid import Grid, Surface
from hillsight.landform.options import LandformOptions
from hillsight.landform.survey import survey
from landform.known import CENTRE
from landform.made_ground import GROUNDS
from landform.matching import Agreement, agreement
from shared_data import shared_file
from terrains import fractal

#: Required: at least this share of landforms of 200 m and more.
LEAST_SHARE = 0.85


def surface_of(height_m: np.ndarray, spacing_m: float, west_edge_m: float, north_edge_m: float) -> Surface:
    rows, columns = height_m.shape
    west, north = west_edge_m + spacing_m / 2, north_edge_m - spacing_m / 2
    grid = Grid(CRS.from_epsg(27700), west, north, spacing_m, spacing_m, rows, columns)
    return Surface(grid, height_m.astype(np.float32))


def both_spacings(height_m: np.ndarray, west_edge_m: float, north_edge_m: float) -> tuple[Surface, Surface]:
    """Posts of 10 m, and the means of nine of them at posts of 30 m, over the same square."""
    rows, columns = (n // 3 * 3 for n in height_m.shape)
    fine = np.asarray(height_m, np.float64)[:rows, :columns]
    coarse = fine.reshape(rows // 3, 3, columns // 3, 3).mean(axis=(1, 3))
    return (
        surface_of(fine, 10.0, west_edge_m, north_edge_m),
        surface_of(coarse, 30.0, west_edge_m, north_edge_m),
    )


def compared(surfaces: tuple[Surface, Surface], scales_m: tuple[float, ...]) -> dict[str, Agreement]:
    fine, coarse = (survey(s, scales_m, LandformOptions(), Geodesy(s.grid.crs)) for s in surfaces)
    return {kind: agreement(fine[kind], coarse[kind]) for kind in fine}


def assert_agree(kinds: dict[str, Agreement], least: int) -> None:
    """Enough landforms of both runs are one another's, over all kinds together and in each large kind."""
    total = sum(kinds.values(), Agreement(0, 0, ()))
    told = ", ".join(f"{k} {len(a.distances_m)} of {a.first} and {a.second}" for k, a in kinds.items())
    assert min(total.first, total.second) >= least, told
    assert total.share >= LEAST_SHARE, f"{total.share:.3f}: {told}"
    for kind, one in kinds.items():
        # A kind with few landforms may lose one without saying anything about the method.
        if one.first + one.second >= 60:
            assert one.share >= LEAST_SHARE - 0.10, f"{kind} {one.share:.3f}: {told}"


def rough(seed: int, side: int = 450) -> np.ndarray:
    """Rough ground, its smallest waves taken off as weather takes them."""
    return ndimage.gaussian_filter(fractal(2 * side, 2 * side, seed=seed, relief_m=900.0), 3.0)[:side, :side]


def test_grounds_by_formula_have_the_same_landforms_at_both_spacings():
    """All together: each of them has a handful of landforms only."""
    total: dict[str, Agreement] = {}
    for name in ("three_tops", "hillside", "valley", "edges", "steps"):
        made = GROUNDS[name](20.0, 2)
        edges = made.surface.grid.cell_edges_m
        kinds = compared(both_spacings(made.surface.height_m, edges[0], edges[3]), (made.scale_m,))
        total = {kind: total.get(kind, Agreement(0, 0, ())) + one for kind, one in kinds.items()}
    assert_agree(total, least=40)
    # Where every terrain must show the kind: levels, edges and hollows are there to be lost.
    for kind in ("tops", "saddles", "breaks_of_slope", "level_ground", "steep_ground", "hollows"):
        assert min(total[kind].first, total[kind].second) > 0, kind


@pytest.mark.parametrize("seed", [1, 2])
def test_rough_ground_has_the_same_landforms_at_both_spacings(seed):
    kinds = compared(both_spacings(rough(seed), *CENTRE), (200.0, 500.0))
    assert_agree(kinds, least=100)


@pytest.mark.slow
@pytest.mark.parametrize(("row", "column"), [(500, 260), (1100, 1200)])
def test_a_real_hill_has_the_same_landforms_at_both_spacings(row, column):
    """Windows of 7.5 km of OS Terrain 50 (Ordnance Survey, posts of 50 m), by cubic splines at 10 m."""
    path = shared_file("osterrain50_nn.tif")
    with rasterio.open(path) as file:
        window = ((row, row + 150), (column, column + 150))
        height_m = file.read(1, window=window).astype(float)
        west, north = file.transform * (column, row)
    assert np.isfinite(height_m).all() and np.ptp(height_m) > 200, "the window must be hills"
    fine = ndimage.zoom(height_m, 5, order=3, mode="grid-mirror", grid_mode=True)
    kinds = compared(both_spacings(fine, west, north), (200.0, 500.0, 1000.0))
    assert_agree(kinds, least=200)
