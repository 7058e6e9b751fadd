"""What a batch puts together is what its stations see one by one, whoever did the work and however often."""

from __future__ import annotations

import shutil
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
import shapely

import hillsight
from hillsight.errors import BatchError, HillsightError
from hillsight.ground.geodesy import Geodesy, drop_coefficient_per_m
from hillsight.sight.viewing import Eye
from jobs.batch.batch_jobs import JOB, NORTH, POSTS, SPACING, WEST, digests, ground, made, stations, whole
from oracle import bilinear, clearance_of_all

NOTHING = 0xFFFFFFFF


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small job done, its results in ``out``."""
    folder = tmp_path_factory.mktemp("batch")
    hillsight.batch(made(folder), out=folder / "out", workers=1)
    return folder


@pytest.fixture(scope="module")
def walked() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """By the slow walker, which shares nothing with the kernels: clearance of every post from each station.

    Returns (stations, rows, columns) clearance, NaN where not asked; rows and columns of the stations.
    """
    height_m, frame = ground(), stations()
    rows = (NORTH - frame.geometry.y.to_numpy()) / SPACING
    columns = (frame.geometry.x.to_numpy() - WEST) / SPACING
    geodesy = Geodesy(frame.crs)
    found = []
    for place, row, column in zip(frame.itertuples(), rows, columns, strict=True):
        radius_m = float(geodesy.gaussian_radius_m(place.geometry.x, place.geometry.y))
        level_m = bilinear(height_m.astype(float), row, column) + place.eye_height_m
        eye = Eye(row, column, level_m, drop_coefficient_per_m(radius_m, 0.13))
        found.append(clearance_of_all(height_m, SPACING, SPACING, eye, place.reach_m, 0.5))
    return np.array(found), rows, columns


@pytest.mark.slow
def test_counts_are_the_walkers(done: Path, walked) -> None:
    clearance, _, _ = walked
    counted = whole(done / "out", "visible_count", 65535)
    asked = ~np.isnan(clearance)
    expected = np.where(asked.any(axis=0), (clearance >= -1e-6).sum(axis=0), 65535)
    # A sum of floats may fall on either side of a tie; none of these posts does.
    assert (np.abs(clearance[asked] + 1e-6) > 1e-9).all()
    assert np.array_equal(counted, expected)


def test_ground_beyond_every_reach_is_no_data_and_never_0(done: Path) -> None:
    counted = whole(done / "out", "visible_count", 65535)
    frame = stations()
    easting = WEST + SPACING * np.arange(POSTS)
    northing = NORTH - SPACING * np.arange(POSTS)
    x, y = np.meshgrid(easting, northing)
    away = np.array([np.hypot(x - p.x, y - p.y) for p in frame.geometry])
    within = (away <= frame["reach_m"].to_numpy()[:, None, None]).any(axis=0)
    assert (counted[~within] == 65535).all()
    assert (counted[within] == 0).sum() > 100
    with rasterio.open(next((done / "out" / "visible_count").glob("*.tif"))) as file:
        assert file.nodata == 65535


def test_who_sees_first_and_nearest_and_how_much_and_how_deep(done: Path, walked) -> None:
    clearance, rows, columns = walked
    asked, seen = ~np.isnan(clearance), clearance >= -1e-6
    any_asked, any_seen = asked.any(axis=0), seen.any(axis=0)
    weight = stations()["weight"].to_numpy()
    order = np.lexsort((np.arange(len(weight)), -weight))
    best = np.zeros((POSTS, POSTS))
    for place in order[::-1]:
        best[seen[place]] = place + 1
    first = whole(done / "out", "first_station", NOTHING)
    assert np.array_equal(first, np.where(any_asked, best, NOTHING))
    at_row, at_column = np.indices((POSTS, POSTS))
    away = np.array([np.hypot(at_row - r, at_column - c) for r, c in zip(rows, columns, strict=True)])
    nearest = np.argmin(np.where(seen, away, np.inf), axis=0) + 1.0
    told = whole(done / "out", "nearest_station", NOTHING)
    assert np.array_equal(told, np.where(any_seen, nearest, np.where(any_asked, 0, NOTHING)))
    weights = whole(done / "out", "visible_weight", np.nan)
    expected = np.where(any_asked, (seen * weight[:, None, None]).sum(axis=0), np.nan)
    assert np.allclose(weights, expected, equal_nan=True, atol=1e-6)
    depth_m = whole(done / "out", "least_depth", np.nan)
    deep = np.nanmin(np.where(asked, np.maximum(-clearance, 0), np.inf), axis=0)
    # Metres in 32 bits, of heights of some hundred metres.
    assert np.allclose(depth_m, np.where(any_asked, deep, np.nan), equal_nan=True, atol=1e-3)


@pytest.mark.slow
def test_two_workers_leave_the_same_bytes(done: Path) -> None:
    hillsight.batch(done / "job.toml", out=done / "two", workers=2)
    assert digests(done / "two") == digests(done / "out")


def test_a_run_goes_on_with_verified_parts(done: Path, tmp_path: Path) -> None:
    folder = tmp_path / "again"
    shutil.copytree(done / "out", folder)
    before = digests(folder)
    part, tile = folder / "parts" / "000002.npz", next((folder / "visible_count").glob("*.tif"))
    data = bytearray(part.read_bytes())
    data[len(data) // 2] ^= 0x10
    part.write_bytes(data)
    tile.write_bytes(tile.read_bytes()[:-7])
    (folder / "parts" / "000001.npz.sha256").unlink()
    result = hillsight.batch(done / "job.toml", out=folder, workers=1)
    assert (result.parts - result.parts_kept, result.tiles - result.tiles_kept) == (2, 1)
    assert digests(folder) == before


def test_what_a_killed_run_left_is_cleared_and_other_files_are_not(done: Path, tmp_path: Path) -> None:
    folder = tmp_path / "again"
    shutil.copytree(done / "out", folder)
    before = digests(folder)
    # As one leaves it that is killed after its last file has its name, and one that is killed before.
    (folder / "parts" / ".hillsight-f8f70b3c5e41.lock").touch()
    (folder / "tiles" / ".hillsight-0123456789ab-77-00c0ffee.json").write_text("{")
    (folder / "parts" / ".hillsight-notes").write_text("of somebody else")
    hillsight.batch(done / "job.toml", out=folder, workers=1)
    assert {name for name in digests(folder) if name not in before} == {"parts/.hillsight-notes"}
    assert before.items() <= digests(folder).items()


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (lambda job: job.replace("reach_m = 450", "reach_m = 460"), "looking.reach_m was 450.0 and is 460.0"),
        (lambda job: job.replace("nearest = true\n", ""), "products.nearest was true and is false"),
    ],
)
def test_a_changed_parameter_is_named(done: Path, tmp_path: Path, change, named: str) -> None:
    folder = tmp_path / "changed"
    shutil.copytree(done / "out", folder)
    before = digests(folder)
    made(tmp_path / "asked", change(JOB))
    with pytest.raises(BatchError, match=named):
        hillsight.batch(tmp_path / "asked" / "job.toml", out=folder, workers=1)
    assert digests(folder) == before


def test_a_changed_input_is_named_and_afresh_begins_again(done: Path, tmp_path: Path) -> None:
    shutil.copytree(done / "out", tmp_path / "out")
    frame = stations()
    frame.loc[0, "weight"] = 3.5
    job = made(tmp_path / "asked", frame=frame)
    with pytest.raises(BatchError, match=r"stations\.gpkg has another content"):
        hillsight.batch(job, out=tmp_path / "out", workers=1)
    result = hillsight.batch(job, out=tmp_path / "out", workers=1, afresh=True)
    assert result.parts_kept == 0


def test_bad_stations_are_listed_and_the_rest_goes_on(tmp_path: Path) -> None:
    frame = stations()
    shapes = list(frame.geometry)
    shapes[2] = shapely.Point(WEST + 420, NORTH - 1_030)  # amid the void
    shapes[5] = shapely.Point(WEST - 5_000, NORTH)
    shapes[7] = None
    frame = frame.set_geometry(geopandas.GeoSeries(shapes, crs=27700))
    frame.loc[9, "eye_height_m"] = 900.0
    result = hillsight.batch(made(tmp_path, frame=frame), out=tmp_path / "out", workers=1)
    refused = result.frames["refused_stations"]
    assert list(refused["number"]) == [3, 6, 8, 10]
    for reason, words in zip(
        refused["reason"], ("void", "off the terrain", "no position", "900"), strict=True
    ):
        assert words in reason
    assert list(result.frames["batch_stations"]["number"]) == [1, 2, 4, 5, 7, 9, 11, 12, 13, 14]
    assert len(result.lines) <= 6


def test_a_folder_of_tiles_is_the_same_ground_and_a_gap_is_void(done: Path, tmp_path: Path) -> None:
    made(tmp_path, JOB.replace('"ground.tif"', '"tiles"'))
    (tmp_path / "tiles").mkdir()
    cut_tiles(tmp_path / "ground.tif", tmp_path / "tiles")
    hillsight.batch(tmp_path / "job.toml", out=tmp_path / "out", workers=1)
    counted = whole(tmp_path / "out", "visible_count", 65535)
    assert np.array_equal(counted, whole(done / "out", "visible_count", 65535))
    (tmp_path / "tiles" / "tile_1_1.tif").unlink()
    hillsight.batch(tmp_path / "job.toml", out=tmp_path / "gap", workers=1)
    gap = whole(tmp_path / "gap", "visible_count", 65535)
    assert (gap[80:160, 80:160] == 65535).all()


def cut_tiles(path: Path, folder: Path, side: int = 80) -> None:
    """Cut a raster into files."""
    with rasterio.open(path) as file:
        for row in range(0, POSTS, side):
            for column in range(0, POSTS, side):
                window = rasterio.windows.Window(
                    column, row, min(side, POSTS - column), min(side, POSTS - row)
                )
                profile = {
                    **file.profile,
                    "width": window.width,
                    "height": window.height,
                    "transform": file.window_transform(window),
                }
                name = folder / f"tile_{row // side}_{column // side}.tif"
                with rasterio.open(name, "w", **profile) as tile:
                    tile.write(file.read(1, window=window), 1)


def mosaic(folder: Path) -> Path:
    """A VRT over tiles, by GDAL."""
    gdal = pytest.importorskip("osgeo.gdal", reason="gdal-wheel is not installed")
    with gdal.ExceptionMgr():
        gdal.BuildVRT(str(folder / "all.vrt"), [str(f) for f in sorted(folder.glob("*.tif"))]).FlushCache()
    return folder / "all.vrt"


def test_a_missing_or_damaged_tile_is_no_silent_hole(done: Path, tmp_path: Path) -> None:
    made(tmp_path, JOB.replace('"ground.tif"', '"tiles/all.vrt"'))
    (tmp_path / "tiles").mkdir()
    cut_tiles(tmp_path / "ground.tif", tmp_path / "tiles")
    mosaic(tmp_path / "tiles")
    hillsight.batch(tmp_path / "job.toml", out=tmp_path / "out", workers=1)
    counted = whole(tmp_path / "out", "visible_count", 65535)
    assert np.array_equal(counted, whole(done / "out", "visible_count", 65535))
    tile = tmp_path / "tiles" / "tile_1_1.tif"
    kept = tile.read_bytes()
    for damaged in (kept[: len(kept) // 2], b"no raster at all"):
        tile.write_bytes(damaged)
        with pytest.raises(HillsightError, match="cannot be read"):
            hillsight.batch(tmp_path / "job.toml", out=tmp_path / "cut", workers=1, afresh=True)
    tile.unlink()
    with pytest.raises(HillsightError, match=r"names 1 files that are not there: .*tile_1_1\.tif"):
        hillsight.batch(tmp_path / "job.toml", out=tmp_path / "gone", workers=1)
    assert not (tmp_path / "gone").exists()


def test_outputs_hold_before_validators_that_are_not_ours(done: Path) -> None:
    cog = pytest.importorskip(
        "osgeo_utils.samples.validate_cloud_optimized_geotiff", reason="gdal-wheel is not installed"
    )
    from osgeo import ogr

    for tile in (done / "out").rglob("*.tif"):
        _, errors, _ = cog.validate(str(tile), full_check=True)
        assert errors == []
    frame = geopandas.read_file(done / "out" / "batch.gpkg", layer="batch_stations")
    assert len(frame) == len(stations())
    with ogr.ExceptionMgr():
        index = ogr.Open(str(done / "out" / "batch.gpkg"))
        assert index.GetLayerByName("batch_tiles").GetFeatureCount() == len(
            list((done / "out" / "tiles").glob("*.json"))
        )


def test_another_folder_is_left_alone(done: Path, tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("mine")
    with pytest.raises(BatchError, match=r"holds other files: letter\.txt"):
        hillsight.batch(done / "job.toml", out=tmp_path, workers=1, afresh=True)
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]
