"""Cover on the terrain's posts: surface models of all sorts, and areas, lines and points of map files."""

from __future__ import annotations

import pickle
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import rasterio
import rasterio.warp
import shapely
from affine import Affine
from rasterio.enums import Resampling

from hillsight.errors import FeatureError, TerrainError
from hillsight.ground.cover_source import CoverSource, open_cover
from hillsight.ground.cover_table import CoverKind, CoverTable
from hillsight.ground.terrain import Terrain, open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from shared_data import shared_file
from terrains import fractal, plane

WEST, NORTH, SPACING, POSTS = 300_000.0, 501_000.0, 10.0, 60
PLACE = np.array([WEST, NORTH])
BRITISH = "EPSG:27700"


def write(path: Path, height_m: Any, transform: Affine, crs: str | None = BRITISH, **more: Any) -> str:
    profile = {"driver": "GTiff", "width": height_m.shape[1], "height": height_m.shape[0], "count": 1}
    nodata = more.pop("nodata", None)
    with rasterio.open(
        path, "w", **profile, dtype="float32", crs=crs, transform=transform, nodata=nodata
    ) as file:
        file.write(height_m.astype(np.float32), 1)
        if "unit" in more:
            file.units = (more["unit"],)
    return str(path)


def terrain_of(tmp_path: Path, height_m: Any, unit: str = "m") -> Terrain:
    path = write(tmp_path / "ground.tif", height_m, Affine(SPACING, 0, WEST, 0, -SPACING, NORTH), unit=unit)
    return open_terrain(path, TerrainOptions()).on_metric_grid(-3.6, 54.4)


def source_of(
    terrain: Terrain, surface: str | None = None, *files: Any, **more: Any
) -> tuple[CoverSource, str]:
    table = CoverTable.load(more.get("table"))
    source, notes, _ = open_cover(
        terrain,
        surface=surface,
        paths=files,
        layers=more.get("layers", ()),
        table=table,
        leaf=more.get("leaf", "on"),
        default_crs=terrain.crs,
    )
    return source, "\n".join(notes)


def map_of(kinds: list[str | None], shapes: list[Any], crs: str | None = BRITISH, **columns: Any) -> Any:
    moved = shapely.transform(np.array(shapes, dtype=object), lambda xy: xy + PLACE) if crs else shapes
    return geopandas.GeoDataFrame({"kind": kinds, **columns}, geometry=list(moved), crs=crs)


# ------------------------------------------------------------------ surface models


def cells(per_post: int) -> tuple[Any, Any]:
    """Fractional row and column, on the posts, of the cells of a surface so many times as fine."""
    at = (np.arange(POSTS * per_post) + 0.5) / per_post - 0.5
    return np.meshgrid(at, at, indexing="ij")


def test_a_finer_surface_comes_by_the_tallest_above_the_ground_about_each_post(tmp_path: Path) -> None:
    """On a plane the ground between posts is the plane: each post gets the tallest tree of its own cell."""
    terrain = terrain_of(tmp_path, plane(POSTS, POSTS, east_slope=0.3, north_slope=-0.2))
    row, column = cells(5)
    trees = np.where(np.random.default_rng(3).random(row.shape) < 0.02, 12.0, 0.0)
    trees[:50] = 0.0
    ground = 100.0 + SPACING * (0.3 * column + 0.2 * row)
    surface = write(tmp_path / "s.tif", ground + trees, Affine(2, 0, WEST, 0, -2, NORTH), unit="m")
    source, notes = source_of(terrain, surface)
    found = source.on(terrain.grid, terrain.whole().height_m)
    wanted = trees.reshape(POSTS, 5, POSTS, 5).max(axis=(1, 3))
    inside = (slice(1, -1), slice(1, -1))  # at the rim the ground goes on level: none is known
    np.testing.assert_allclose(found.solid_m[inside], wanted[inside], atol=2e-3)
    assert found.kinds[int(found.kind[wanted > 0].min())] == "surface model"
    assert "finer than" in notes


@pytest.mark.parametrize("turn", ["south up", "east first", "other grid"])
def test_a_surface_on_other_axes_gives_the_same(tmp_path: Path, turn: str) -> None:
    terrain = terrain_of(tmp_path, plane(POSTS, POSTS, east_slope=0.1))
    row, column = cells(5)
    wood = (np.hypot(row - 30, column - 25) < 8) * 15.0
    heights = 100.0 + SPACING * 0.1 * column + wood
    transform = Affine(2, 0, WEST, 0, -2, NORTH)
    plain = source_of(terrain, write(tmp_path / "a.tif", heights, transform, unit="m"))[0]
    if turn == "south up":
        flipped = write(tmp_path / "b.tif", heights[::-1], Affine(2, 0, WEST, 0, 2, NORTH - 600), unit="m")
        exact = True
    elif turn == "east first":
        flipped = write(
            tmp_path / "b.tif", heights[:, ::-1], Affine(-2, 0, WEST + 600, 0, -2, NORTH), unit="m"
        )
        exact = True
    else:
        with rasterio.open(tmp_path / "a.tif") as file:
            from rasterio.warp import Resampling, calculate_default_transform, reproject

            there, width, height = calculate_default_transform(
                BRITISH, "EPSG:32630", file.width, file.height, *file.bounds, resolution=2
            )
            warped = np.full((height, width), -9999.0, np.float32)
            reproject(
                rasterio.band(file, 1), warped, dst_transform=there, dst_crs="EPSG:32630",
                dst_nodata=-9999.0, resampling=Resampling.nearest,
            )  # fmt: skip
        flipped = write(tmp_path / "b.tif", warped, there, "EPSG:32630", unit="m", nodata=-9999.0)
        exact = False
    height_m = terrain.whole().height_m
    other = source_of(terrain, flipped)[0].on(terrain.grid, height_m).solid_m
    one = plain.on(terrain.grid, height_m).solid_m
    if exact:
        np.testing.assert_array_equal(other, one)
    else:  # GDAL's nearest cell is up to half a cell off, so the wood's edge may move by a post
        assert (np.abs(other - one) > 1.0).mean() < 0.03
        assert (other > 10).sum() == pytest.approx((one > 10).sum(), rel=0.05)


def test_a_coarser_surface_comes_by_bilinear_interpolation(tmp_path: Path) -> None:
    terrain = terrain_of(tmp_path, plane(POSTS, POSTS))
    coarse = fractal(14, 14, seed=4, relief_m=20.0, lowest_m=100.0)
    surface = write(tmp_path / "s.tif", coarse, Affine(45, 0, WEST - 10, 0, -45, NORTH + 10), unit="m")
    source, notes = source_of(terrain, surface)
    found = source.on(terrain.grid, terrain.whole().height_m).solid_m
    easting, northing = terrain.grid.to_map(20.0, 31.0)
    u, v = (easting - (WEST - 10)) / 45 - 0.5, ((NORTH + 10) - northing) / 45 - 0.5
    r, c, fr, fc = int(v), int(u), v % 1, u % 1
    by_hand = (
        coarse[r, c] * (1 - fr) * (1 - fc)
        + coarse[r, c + 1] * (1 - fr) * fc
        + coarse[r + 1, c] * fr * (1 - fc)
        + coarse[r + 1, c + 1] * fr * fc
    )
    assert found[20, 31] == pytest.approx(by_hand - 100.0, abs=1e-3)
    assert "bilinear" in notes


def test_a_post_depends_on_nothing_but_its_place(tmp_path: Path) -> None:
    """Any window of the terrain has the cover of the whole there, to the last bit; so has a copy."""
    terrain = terrain_of(tmp_path, fractal(POSTS, POSTS, seed=5, relief_m=100.0, lowest_m=100.0))
    row, _ = cells(5)
    heights = np.kron(terrain.whole().height_m, np.ones((5, 5))) + 6.0 * (row > 20)
    surface = write(tmp_path / "s.tif", heights, Affine(2, 0, WEST, 0, -2, NORTH), unit="m")
    across = shapely.LineString([(0, 0), (500, -500)])
    woods = map_of(["wood", "wall"], [shapely.box(100, -400, 300, -200), across])
    source, _ = source_of(terrain, surface, woods)
    whole = source.on(terrain.grid, terrain.whole().height_m)
    source = pickle.loads(pickle.dumps(source))
    for top, left, rows, columns in ((0, 0, 7, 9), (13, 22, 20, 31), (51, 40, 9, 20)):
        grid = terrain.grid.part(top, left, rows, columns)
        part = source.on(grid, terrain.whole().height_m[top : top + rows, left : left + columns])
        where = (slice(top, top + rows), slice(left, left + columns))
        for name in ("solid_m", "wood_m", "kind"):
            np.testing.assert_array_equal(getattr(part, name), getattr(whole, name)[where])


def test_a_surface_below_its_terrain_is_bare_ground_and_said(tmp_path: Path) -> None:
    ground = plane(POSTS, POSTS)
    terrain = terrain_of(tmp_path, ground)
    surface = ground + 0.0
    surface[:6] -= 1.25
    surface[10, 10] -= 7.0
    source, notes = source_of(
        terrain, write(tmp_path / "s.tif", surface, Affine(SPACING, 0, WEST, 0, -SPACING, NORTH), unit="m")
    )
    assert not source.on(terrain.grid, ground).solid_m.any()
    assert "below the terrain at 10 % of the posts, at most 7 m" in notes
    assert "by more than 2 m" in notes


@pytest.mark.parametrize(
    ("heights", "where", "said"),
    [
        (lambda ground: ground - 48.0, 0.0, "more than 2 m below the terrain at 100 %"),
        (lambda ground: ground + 51.0, 0.0, "51.0 m above the terrain"),
        (lambda ground: ground / 0.3048, 0.0, "above the terrain"),  # feet taken for metres
        (lambda ground: ground, 50_000.0, "no height on any post"),
        (lambda ground: np.full_like(ground, np.nan), 0.0, "no height on any post"),
    ],
)
def test_a_surface_that_cannot_be_of_this_ground_is_refused(
    tmp_path: Path, heights: Any, where: float, said: str
) -> None:
    ground = plane(POSTS, POSTS, east_slope=0.2)
    terrain = terrain_of(tmp_path, ground)
    place = Affine(SPACING, 0, WEST + where, 0, -SPACING, NORTH)
    with pytest.raises(TerrainError, match=said) as error:
        source_of(terrain, write(tmp_path / "s.tif", heights(ground), place))
    assert error.value.parameters == ("surface",)


def test_a_surface_in_feet_is_told_in_metres(tmp_path: Path) -> None:
    """1 ft = 0.3048 m (the international foot, by definition)."""
    ground = plane(POSTS, POSTS)
    terrain = terrain_of(tmp_path, ground)
    feet = (ground + 9.0) / 0.3048
    place = Affine(SPACING, 0, WEST, 0, -SPACING, NORTH)
    source, notes = source_of(terrain, write(tmp_path / "s.tif", feet, place, unit="ft"))
    np.testing.assert_allclose(source.on(terrain.grid, ground).solid_m, 9.0, atol=1e-3)
    assert "converted to metres" in notes
    assert "its vertical datum may be another" in notes, "nowhere does it come down to the ground"


@pytest.mark.parametrize(("how", "is_told"), [("nearest", True), ("bilinear", False), ("cubic", False)])
def test_a_surface_resampled_to_the_nearest_cell_is_told(tmp_path: Path, how: str, is_told: bool) -> None:
    """Rough ground with a hall on it, brought to another CRS and back by GDAL's warp in each of its ways."""
    height_m = fractal(POSTS, POSTS, seed=3, relief_m=120, lowest_m=100)
    terrain = terrain_of(tmp_path, height_m)
    stands_m = height_m.copy()
    stands_m[20:26, 30:40] += 12.0
    ways = Resampling[how]
    other, size = "EPSG:32630", POSTS + 40
    east, north = rasterio.warp.transform(BRITISH, other, [WEST], [NORTH])
    grids = [
        (BRITISH, Affine(SPACING, 0, WEST, 0, -SPACING, NORTH), POSTS),
        (other, Affine(SPACING, 0, east[0] - 203.7, 0, -SPACING, north[0] + 204.1), size),
    ]
    there = np.full((size, size), np.nan, np.float32)
    (crs, place, _), (other_crs, other_place, _) = grids
    rasterio.warp.reproject(
        stands_m, there, src_transform=place, src_crs=crs, dst_transform=other_place, dst_crs=other_crs,
        src_nodata=np.nan, dst_nodata=np.nan, resampling=ways,
    )  # fmt: skip
    path = write(tmp_path / "there.tif", there, other_place, other_crs, unit="m", nodata=np.nan)
    _, notes = source_of(terrain, path)
    assert ("does not follow the slopes" in notes) == is_told


def test_voids_of_a_surface_are_told_and_hold_no_cover(tmp_path: Path) -> None:
    ground = plane(POSTS, POSTS)
    terrain = terrain_of(tmp_path, ground)
    surface = ground + 5.0 * (np.arange(POSTS) > 40)
    surface[:15, :] = np.nan
    woods = map_of(["wood"], [shapely.box(0, -100, 600, 0)])
    place = Affine(SPACING, 0, WEST, 0, -SPACING, NORTH)
    source, notes = source_of(terrain, write(tmp_path / "s.tif", surface, place, unit="m"), woods)
    found = source.on(terrain.grid, ground)
    assert "no height at 25 % of the posts" in notes
    assert not found.solid_m[:15].any()
    assert (found.wood_m[:10] == 15.0).all(), "of a void the map's wood still stands"


def test_a_surface_takes_crs_and_unit_of_its_terrain_where_it_states_none(tmp_path: Path) -> None:
    terrain = terrain_of(tmp_path, plane(POSTS, POSTS) / 0.3048, unit="ft")
    surface = np.full((POSTS, POSTS), 110.0 / 0.3048)
    path = write(tmp_path / "s.tif", surface, Affine(SPACING, 0, WEST, 0, -SPACING, NORTH), None)
    source, notes = source_of(terrain, path)
    np.testing.assert_allclose(source.on(terrain.grid, terrain.whole().height_m).solid_m, 10.0, atol=1e-3)
    assert "taken to be in the terrain's" in notes
    assert "taken to be the terrain's (0.3048 m)" in notes


def test_made_woods_on_real_terrain_come_back(tmp_path: Path) -> None:
    """OS Terrain 50, NN 17: a surface made of it, ten times as fine, with a wood of 17 m on it."""
    path = str(shared_file("osterrain50_NN17.asc"))
    terrain = open_terrain(path, TerrainOptions(crs=BRITISH, vertical_unit="m")).on_metric_grid(-4.9, 56.8)
    part = terrain.grid.part(60, 60, 80, 80)
    whole = terrain.whole()
    fine_row, fine_column = np.meshgrid(*[(np.arange(800) + 0.5) / 10 - 0.5] * 2, indexing="ij")
    easting, northing = part.to_map(fine_row, fine_column)
    ground = whole.heights_at_m(easting, northing)
    wood = np.hypot(easting - easting.mean(), northing - northing.mean()) < 800.0
    west, _, _, north = part.cell_edges_m
    surface = write(tmp_path / "s.tif", ground + 17.0 * wood, Affine(5, 0, west, 0, -5, north), unit="m")
    source, _ = source_of(terrain, surface)
    found = source.on(part, whole.height_m[60:140, 60:140]).solid_m
    here_e, here_n = part.to_map(*np.meshgrid(np.arange(80.0), np.arange(80.0), indexing="ij"))
    away_m = np.hypot(here_e - easting.mean(), here_n - northing.mean())
    np.testing.assert_allclose(found[away_m < 750], 17.0, atol=0.02)
    assert found[away_m > 850].max() < 0.02, "no slope of a real hill is taken for trees"


# ------------------------------------------------------------------ map files


def test_areas_lines_and_points_each_stand_as_they_should(tmp_path: Path) -> None:
    terrain = terrain_of(tmp_path, plane(POSTS, POSTS))
    features = map_of(
        ["Wood", "walls", "building", "tree", "barn", "stream", "fence"],
        [
            shapely.box(100, -300, 200, -200),
            shapely.LineString([(300, -500), (300, -100), (400, -100)]),
            shapely.box(400, -406, 408, -400),
            shapely.Point(500, -300),
            shapely.box(450, -250, 500, -200),
            shapely.LineString([(0, 0), (50, -50)]),
            shapely.LineString([(0, 0), (50, -50)]),
        ],
        target_height_m=[np.nan, 1.3, 5.0, np.nan, np.nan, np.nan, 1.1],
    )
    source, notes = source_of(terrain, None, features)
    found = source.on(terrain.grid, plane(POSTS, POSTS))
    easting, northing = terrain.grid.to_map(*np.nonzero(found.wood_m))
    assert len(easting) == 100
    assert easting.min() >= WEST + 100
    assert northing.max() <= NORTH - 200
    assert set(found.wood_m[found.wood_m > 0]) == {15.0}
    assert (found.solid_m == 7.0).sum() == 25, "the barn is wide enough to hold posts"
    heights = [(found.kinds[k], h) for k, h in zip(found.screens.kind, found.screens.height_m, strict=True)]
    assert heights.count(("walls", 1.3)) == 2
    assert heights.count(("building", 5.0)) == 4
    assert heights.count(("tree", 12.0)) == 6
    assert len(heights) == 12, "a stream and a wire fence hide nothing"
    tree = found.screens.kind == found.kinds.index("tree")
    across_m = SPACING * np.ptp(found.screens.row[tree])
    assert across_m == pytest.approx(8.0 * np.cos(np.radians(30)), abs=0.01) or across_m == pytest.approx(8.0)
    assert "wood 15 m" in notes
    assert "2 features (stream, fence)" in notes
    assert "2 areas too narrow to hold a post" in notes


def test_every_area_that_covers_no_post_becomes_a_screen(tmp_path: Path) -> None:
    """Whatever its place and turn: nothing that is given is lost."""
    terrain = terrain_of(tmp_path, plane(POSTS, POSTS))
    random = np.random.default_rng(8)
    for _ in range(60):
        at, side, turn = random.uniform(50, 500, 2), random.uniform(4, 22, 2), random.uniform(0, 90)
        shape = shapely.affinity.rotate(shapely.box(at[0], -at[1], at[0] + side[0], -at[1] + side[1]), turn)
        source, _ = source_of(terrain, None, map_of(["house"], [shape]))
        found = source.on(terrain.grid, plane(POSTS, POSTS))
        assert bool(found.solid_m.any()) != bool(len(found.screens))


def test_the_tallest_of_overlapping_areas_counts(tmp_path: Path) -> None:
    terrain = terrain_of(tmp_path, plane(POSTS, POSTS))
    box = shapely.box(100, -300, 300, -100)
    features = map_of(["tower", "wood", "wood"], [box, box, box], cover_height_m=[30.0, 25.0, 9.0])
    found = source_of(terrain, None, features)[0].on(terrain.grid, plane(POSTS, POSTS))
    assert found.solid_m.max() == 30.0
    assert found.wood_m.max() == 25.0
    assert found.kinds[found.kind[20, 20]] == "tower"


def test_a_wood_of_the_map_takes_its_height_from_the_surface(tmp_path: Path) -> None:
    ground = plane(POSTS, POSTS)
    terrain = terrain_of(tmp_path, ground)
    surface = ground + 0.0
    surface[10:20, 10:20] += 21.0
    place = Affine(SPACING, 0, WEST, 0, -SPACING, NORTH)
    woods = map_of(["wood"], [shapely.box(100, -200, 300, -100)])  # the eastern half is felled
    source, _ = source_of(terrain, write(tmp_path / "s.tif", surface, place, unit="m"), woods)
    found = source.on(terrain.grid, ground)
    assert (found.wood_m[10:20, 10:20] == 21.0).all()
    assert not found.wood_m[:, 20:].any()
    assert not found.solid_m.any()


def test_kinds_without_a_height_are_named_with_their_table(tmp_path: Path) -> None:
    terrain = terrain_of(tmp_path, plane(POSTS, POSTS))
    box = shapely.box(100, -300, 300, -100)
    with pytest.raises(FeatureError, match=r"'bamboo thicket' \(2\)") as error:
        source_of(terrain, None, map_of(["bamboo thicket", "wood", "Bamboo_thicket"], [box] * 3))
    assert "cover_heights.toml" in str(error.value)
    assert error.value.parameters == ("cover_layer", "cover_heights")


@pytest.mark.parametrize("height", [-3.0, 1e9, np.inf])
def test_heights_that_are_none_are_refused_with_their_place(tmp_path: Path, height: float) -> None:
    terrain = terrain_of(tmp_path, plane(POSTS, POSTS))
    box = shapely.box(100, -300, 300, -100)
    with pytest.raises(FeatureError, match="row 2, column height"):
        source_of(terrain, None, map_of(["wood", "wood"], [box, box], height=[3.0, height]))


def test_heights_above_the_sea_are_not_taken_for_trees(tmp_path: Path) -> None:
    terrain = terrain_of(tmp_path, plane(POSTS, POSTS))
    with pytest.raises(FeatureError, match="no trees stand above 120 m"):
        source_of(terrain, None, map_of(["wood"], [shapely.box(100, -300, 300, -100)], height_m=[412.0]))


def test_cover_in_degrees_without_a_crs_is_refused(tmp_path: Path) -> None:
    terrain = terrain_of(tmp_path, plane(POSTS, POSTS))
    degrees = map_of(["wood"], [shapely.box(-3.6, 54.4, -3.59, 54.41)], crs=None)
    with pytest.raises(FeatureError, match="These look like degrees"):
        source_of(terrain, None, degrees)


def test_a_table_of_ones_own_replaces_the_built_in_one(tmp_path: Path) -> None:
    terrain = terrain_of(tmp_path, plane(POSTS, POSTS))
    table = tmp_path / "heights.toml"
    table.write_text(
        'passing_leaf_off_m = 25\n[kinds]\n"old oaks" = { height_m = 22, passes = true }\n', encoding="utf-8"
    )
    box = shapely.box(100, -300, 300, -100)
    source, notes = source_of(terrain, None, map_of(["Old Oak"], [box]), table=str(table), leaf="off")
    assert source.on(terrain.grid, plane(POSTS, POSTS)).wood_m.max() == 22.0
    assert source.passing_m == 25.0
    assert "without leaves" in notes
    with pytest.raises(FeatureError, match=r"heights.toml does not know: 'wood'"):
        source_of(terrain, None, map_of(["wood"], [box]), table=str(table))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no .kinds."),
        ("[kinds]\nwood = 3\n", "line 2: kind 'wood' has no height_m"),
        ("[kinds]\n\nwood = { height_m = -3 }\n", "line 3: kind 'wood' has height_m = -3"),
        ("[kinds]\nwood = { height_m = 1e9 }\n", "height_m = 1000000000.0"),
        ("[kinds]\nwood = { height_m = 200, passes = true }\n", "metres from 0 to 120"),
        ("[kinds]\nwood = { height_m = nan }\n", "height_m = nan"),
        ("[kinds]\nwood = { height_m = 3, tall = 2 }\n", "'tall', which is not known"),
        ("[kinds]\nwood = { height_m = 3, passes = 1 }\n", "neither true nor false"),
        ("[kinds]\nwood = { height_m = 3, width_m = 0 }\n", "metres above 0"),
        ('[kinds]\nwood = { height_m = 3 }\n"Wo od" = { height_m = 4 }\n', "given twice"),
        ("passing_leaf_on_m = -1\n[kinds]\nwood = { height_m = 3 }\n", "line 1: passing_leaf_on_m is -1"),
        ("leaf = 1\n[kinds]\nwood = { height_m = 3 }\n", "not 'leaf'"),
        ("wood = {", "is no TOML"),
    ],
)
def test_a_table_that_makes_no_sense_is_refused_with_its_line(tmp_path: Path, text: str, said: str) -> None:
    table = tmp_path / "heights.toml"
    table.write_text(text, encoding="utf-8")
    with pytest.raises(FeatureError, match=said):
        CoverTable.load(str(table))


def test_the_built_in_table_knows_plurals() -> None:
    table = CoverTable.load()
    for kind in ("Woods", "dry-stone walls", "hedges", "CONIFER PLANTATION", "houses"):
        assert table.of(kind) is not None, kind
    assert table.of("nunatak") is None
    assert (table.passing_m("on"), table.passing_m("off")) == (10.0, 40.0)
    assert table.of("wood") == CoverKind(15.0, passes=True)
    assert table.of("single tree") is None
