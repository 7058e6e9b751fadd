"""Terrain carried to another grid lies under its stations, and is read there as on its own."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pyproj
import pytest

from hillsight.errors import TerrainError
from hillsight.ground.stations import Place, parse_at, settle_stations
from hillsight.ground.terrain import Terrain, open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.ground.transform import operation_between
from hillsight.sight.points import see_points
from hillsight.sight.viewing import Eye
from shared_data import shared_file
from terrains import write_geotiff

BRITISH = pyproj.CRS("EPSG:27700")
NEAR = (-5.0, 56.8)
WEST_M, NORTH_M, SPACING_M, POSTS = 212_000.0, 776_000.0, 50.0, 160
#: On the datums of WGS 84, ETRS89, ED50 and Ireland 1995, conformal and equal in area.
GRIDS = ("EPSG:25830", "EPSG:32630", "EPSG:23030", "EPSG:3035", "EPSG:2157")
SHARED = (
    ("osterrain50_nn.tif", None, "EPSG:25830"),
    ("osterrain50_NN17.asc", "EPSG:27700", "EPSG:25830"),
    ("osterrain50_highlands.tif", None, "EPSG:3035"),
    ("srtm90_n49w123.tif", "EPSG:32610", "EPSG:3005"),
    ("srtm30_big_tujunga.tif", "EPSG:32611", "EPSG:3310"),
)


@pytest.mark.parametrize("grid_crs", GRIDS)
@pytest.mark.parametrize("axis", [0, 1], ids=["eastings", "northings"])
def test_ground_whose_heights_are_its_places_is_read_where_stations_stand(
    tmp_path: Path, grid_crs: str, axis: int
) -> None:
    """A height says which place was read: off by under a tenth of a post spacing at 1,000 places.

    Bilinear interpolation keeps such a plane to what the grids bend within a cell. A datum left out on the
    way (PROJ's first candidate to three of these grids) shows as 76 m.
    """
    step_m = SPACING_M * np.arange(POSTS)
    from_m = (WEST_M, NORTH_M - 8_000.0)[axis]
    place_m = np.meshgrid(WEST_M + step_m, NORTH_M - step_m)[axis]
    path = write_geotiff(
        tmp_path / "t.tif",
        (place_m - from_m).astype(np.float32),
        crs="EPSG:27700",
        west=WEST_M,
        north=NORTH_M,
        spacing=SPACING_M,
    )
    terrain = open_terrain(str(path), TerrainOptions(grid_crs=grid_crs)).on_metric_grid(*NEAR)
    surface = terrain.whole()
    rng = np.random.default_rng(5)
    wanted = np.column_stack(
        (WEST_M + rng.uniform(300, 7_600, 1000), NORTH_M - rng.uniform(300, 7_600, 1000))
    )
    places = [Place(None, float(x), float(y), BRITISH, None, "") for x, y in wanted]
    stations, notes, operations = settle_stations(places, terrain.crs, terrain.bounds_m, terrain.near)
    read = surface.heights_at_m(
        [station.easting_m for station in stations], [station.northing_m for station in stations]
    )
    off_m = read + from_m - wanted[:, axis]
    assert np.abs(off_m).max() < 0.1 * SPACING_M
    assert operations == [terrain.operation]
    assert notes == [operations[0].note]
    assert notes[0] in terrain.notes


@cache
def _on(name: str, crs: str | None, grid_crs: str | None) -> Terrain:
    source = open_terrain(str(shared_file(name)), TerrainOptions(crs=crs, grid_crs=grid_crs))
    return source.on_metric_grid(*source.middle())


@pytest.mark.parametrize(("name", "own", "other"), SHARED, ids=[row[0] for row in SHARED])
def test_real_ground_is_the_same_on_another_grid(name: str, own: str | None, other: str) -> None:
    """Heights at 1,000 places, and what is seen, on a grid of the terrain's own zone and on another.

    Carried ground is bilinear between posts that are bilinear between cells. At a place it differs from the
    first by no more than the ground's second differences about explain: each of two interpolations is off by
    an eighth of them along either axis at most (the error bound of linear interpolation, any textbook of
    numerical analysis), of which the posts within two spacings are looked at.
    """

    geographic = name.startswith("srtm")
    native = _on(name, None, own) if geographic else _on(name, own, None)
    carried = _on(name, None if geographic else own, other)
    change = operation_between(native.crs, carried.crs, native.near)
    west, south, east, north = native.bounds_m
    middle_m, half_m = ((west + east) / 2, (south + north) / 2), min(east - west, north - south) / 4
    half_m = min(half_m, 6_000.0)
    here = native.window(*middle_m, half_m * 1.5)
    there_m = tuple(float(v[0]) for v in change(*middle_m))
    there = carried.window(*there_m, half_m * 1.6)
    rng = np.random.default_rng(6)
    x, y = (v + rng.uniform(-half_m, half_m, 1000) for v in middle_m)
    x_there, y_there = change(x, y)
    one, other_m = here.heights_at_m(x, y), there.heights_at_m(x_there, y_there)
    known = np.isfinite(one) & np.isfinite(other_m)
    assert known.mean() > 0.8
    bend_m = _bend_m(here.height_m)
    row, column = (np.round(v).astype(int) for v in here.grid.to_array(x, y))
    # A step between the two datums' realisations may move the whole by a little: 3 m on the slope there.
    steepest_m = np.nanmax(np.abs(np.gradient(here.height_m.astype(float)))) / here.grid.spacing_x_m * 0.01
    bound_m = bend_m[row, column] / 2.0 + steepest_m + 0.01
    assert (np.abs(other_m - one)[known] <= bound_m[known]).all()
    assert np.sqrt(np.nanmean((other_m - one) ** 2)) < 0.05 * here.grid.spacing_x_m
    seen, bounds = [], []
    for surface, place, targets in (
        (here, middle_m, (x, y)),
        (there, there_m, (x_there, y_there)),
    ):
        level_m = surface.height_at_m(*place) + 30.0
        eye = Eye.on(surface.grid, *place, level_m, 6.8e-8)
        found = see_points(surface, eye, *surface.grid.to_array(*targets), 2.0)
        seen.append(found.clearance_m)
        bounds.append(found.clearance_m >= 0)
    sure = known & np.isfinite(seen[0]) & np.isfinite(seen[1])
    alike = (bounds[0] == bounds[1])[sure]
    assert alike.mean() > 0.95
    # What differs lies near the line between seen and hidden.
    assert np.abs(seen[0][sure][~alike]).max(initial=0.0) < 3.0 * float(np.nanmax(bound_m))


def _bend_m(height_m: np.ndarray) -> np.ndarray:
    """Largest sum of second differences along rows and columns within two posts of each."""
    from scipy import ndimage

    height_m = height_m.astype(float)
    bend = np.zeros_like(height_m)
    for axis in (0, 1):
        second = np.abs(np.diff(height_m, 2, axis=axis))
        pad = [(1, 1) if k == axis else (0, 0) for k in (0, 1)]
        bend += ndimage.maximum_filter(np.nan_to_num(np.pad(second, pad)), 5)
    return bend


@pytest.mark.parametrize("grid_crs", ["EPSG:25830", "EPSG:32630"])
def test_the_summit_of_the_shared_terrain(grid_crs: str) -> None:
    """1,338.7 m on its own grid; what carrying 50 m cells beside a cliff costs is 7 m. Off it: 1,305.7 m."""

    place = parse_at("216671,771281", BRITISH)
    heights_m = []
    for grid in (None, grid_crs):
        terrain = open_terrain(
            str(shared_file("osterrain50_nn.tif")), TerrainOptions(grid_crs=grid)
        ).on_metric_grid(*NEAR)
        stations, _, _ = settle_stations([place], terrain.crs, terrain.bounds_m, terrain.near)
        at = stations[0].easting_m, stations[0].northing_m
        heights_m.append(terrain.window(*at, 500.0).height_at_m(*at))
    assert heights_m[0] == pytest.approx(1338.73, abs=0.05)
    assert heights_m[1] == pytest.approx(heights_m[0], abs=8.0)


def _hill(tmp_path: Path, **place: float | str) -> str:
    where = {"crs": "EPSG:27700", "west": 210_000.0, "north": 778_000.0, "spacing": 50.0, **place}
    return str(write_geotiff(tmp_path / "t.tif", np.ones((60, 60), np.float32), **where))


def test_a_grid_whose_metres_are_no_metres_is_refused(tmp_path: Path) -> None:
    """World-wide Mercator at 56.8 N: 1 / cos(latitude) = 1.826 too long (closed form)."""
    source = open_terrain(_hill(tmp_path), TerrainOptions(grid_crs="EPSG:3857"))
    with pytest.raises(TerrainError, match=r"off by 83 % .*: 500 m on it are 274 m on the ground") as caught:
        source.on_metric_grid(*NEAR)
    assert caught.value.parameters == ("grid_crs",)
    assert "UTM zone" in caught.value.remedy


def test_a_grid_that_is_a_little_off_is_used_with_a_note(tmp_path: Path) -> None:
    source = open_terrain(_hill(tmp_path), TerrainOptions(grid_crs="EPSG:3035"))
    notes = " ".join(source.on_metric_grid(*NEAR).notes)
    assert "Plane distances on ETRS89-extended / LAEA Europe are 0.4 % longer here" in notes
    true_enough = open_terrain(_hill(tmp_path), TerrainOptions(grid_crs="EPSG:25830"))
    assert "Plane distances" not in " ".join(true_enough.on_metric_grid(*NEAR).notes)


def test_a_grid_outside_its_area_is_used_with_a_note(tmp_path: Path) -> None:
    source = open_terrain(_hill(tmp_path), TerrainOptions(grid_crs="EPSG:2157"))
    notes = " ".join(source.on_metric_grid(*NEAR).notes)
    assert "Irish Transverse Mercator is meant for" in notes
    assert "the work lies outside it" in notes


def test_a_grid_from_which_nothing_comes_back_is_refused(tmp_path: Path) -> None:
    """New Zealand's map grid is a polynomial made for New Zealand; in Scotland it folds."""
    path = _hill(tmp_path, crs="EPSG:4326", west=-5.01, north=56.81, spacing=1 / 1200)
    source = open_terrain(path, TerrainOptions(grid_crs="EPSG:27200"))
    with pytest.raises(TerrainError):
        source.on_metric_grid(*NEAR)


def test_a_reach_that_goes_where_the_grid_is_untrue_is_refused(tmp_path: Path) -> None:
    """The British grid is 2 % long 20 degrees off its central meridian (closed form: 1 + (dx / R)^2 / 2)."""
    cells = np.ones((40, 400), np.float32)
    path = write_geotiff(
        tmp_path / "t.tif", cells, crs="EPSG:27700", west=200_000.0, north=770_000.0, spacing=5_000.0
    )
    terrain = open_terrain(str(path), TerrainOptions()).on_metric_grid(*NEAR)
    assert terrain.window(216_000.0, 700_000.0, 100_000.0).height_m.size
    with pytest.raises(TerrainError, match="off by") as caught:
        terrain.window(216_000.0, 700_000.0, 1_900_000.0)
    assert "Look less far" in caught.value.remedy


def test_a_terrain_whose_datum_is_not_known_is_refused_on_another(tmp_path: Path) -> None:
    crs = "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 +y_0=-100000 +ellps=airy +units=m"
    path = _hill(tmp_path, crs=crs)
    assert open_terrain(path, TerrainOptions()).on_metric_grid(*NEAR).operation is None
    source = open_terrain(path, TerrainOptions(grid_crs="EPSG:25830"))
    with pytest.raises(TerrainError, match="hundreds of metres") as caught:
        source.on_metric_grid(*NEAR)
    assert str(caught.value).startswith(path)
    assert set(caught.value.parameters) == {"terrain_crs", "grid_crs"}


def test_ground_at_the_pole_is_read_on_a_polar_grid(tmp_path: Path) -> None:
    """Cells of longitude and latitude round the pole, heights = 1000 - polar distance in cells, read anew."""
    columns, rows, step = 720, 40, 0.5
    polar_deg = step / 2 + step * np.arange(rows)
    cells = np.repeat((1000.0 - 10.0 * polar_deg)[:, None], columns, axis=1).astype(np.float32)
    path = write_geotiff(
        tmp_path / "t.tif",
        cells,
        crs="EPSG:4326",
        west=-180.0 + step / 2,
        north=90.0 - step / 2,
        spacing=step,
    )
    terrain = open_terrain(str(path), TerrainOptions()).on_metric_grid(10.0, 89.0)
    assert terrain.crs.to_epsg() == 5041
    surface = terrain.window(2_000_000.0, 2_000_000.0, 300_000.0)
    for longitude in (-179.9, -90.0, 0.0, 45.0, 179.9):
        place = operation_between(pyproj.CRS(4326), terrain.crs, terrain.near)(longitude, 88.0)
        at = tuple(float(v[0]) for v in place)
        assert surface.height_at_m(*at) == pytest.approx(980.0, abs=0.5)
    assert np.isnan(surface.height_at_m(2_000_000.0, 2_000_000.0)), "no cell lies beyond the last ring"
