"""A batch over cover: what its stations see one by one over the same cover, added up."""

from __future__ import annotations

import shutil
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest
import rasterio

import hillsight
from hillsight.errors import BatchError, HillsightError
from hillsight.jobs.batch import job_file
from jobs.batch.batch_jobs import (
    COVERED,
    NORTH,
    POSTS,
    SPACING,
    WEST,
    cover_files,
    digests,
    made,
    stations,
    whole,
)

NOTHING = 0xFFFFFFFF


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("covered")
    job = made(folder, COVERED)
    cover_files(folder)
    assert hillsight.batch(job, out=folder / "out", workers=1).parts >= 3
    return folder


def cover_given(folder: Path, which: str = "all") -> dict[str, object]:
    given: dict[str, object] = {}
    if which in ("all", "surface"):
        given["surface"] = str(folder / "tops.tif")
    if which in ("all", "file"):
        given |= {"cover": [str(folder / "cover.gpkg")], "cover_layer": ["woods", "walls", "trees"]}
    return given | {"leaf": "off"}


def seen_one_by_one(folder: Path, **given: object) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """By viewsheds: states, depths (m) and probabilities of each station on the whole lattice."""
    shape = (len(stations()), POSTS, POSTS)
    states = np.zeros(shape, np.uint8)
    depth_m, chance = np.full(shape, np.nan, np.float32), np.full(shape, np.nan, np.float32)
    for number, row in enumerate(stations().itertuples()):
        how = {"eye_height": row.eye_height_m, "reach": row.reach_m, "target_height": 0.5}
        at = stations().iloc[[number]][["name", "geometry"]]
        for doubted, names in ((False, ("viewshed", "depth")), (True, ("probability",))):
            found = hillsight.viewshed(
                str(folder / "ground.tif"), stations=at, probability=doubted, **how, **given
            ).rasters
            for name, whole_array in zip(
                ("viewshed", "depth", "probability"), (states, depth_m, chance), strict=True
            ):
                if name not in names:
                    continue
                raster = next(one for table, one in found.items() if table.startswith(name))
                x, y = raster.transform[2], raster.transform[5]
                top = round((NORTH + SPACING / 2 - y) / SPACING)
                left = round((x - WEST + SPACING / 2) / SPACING)
                rows, columns = raster.array.shape
                whole_array[number, top : top + rows, left : left + columns] = raster.array
    return states, depth_m, chance


@pytest.fixture(scope="module")
def one_by_one(done: Path) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return seen_one_by_one(done, **cover_given(done))


def test_counts_are_the_viewsheds_added_up(done: Path, one_by_one) -> None:
    states, _, _ = one_by_one
    asked = (states != 0) & (states != 4)
    assert (states == 2).sum() > 50, "woods let some sight pass"
    expected = np.where(asked.any(axis=0), (states == 3).sum(axis=0), 65535)
    assert np.array_equal(whole(done / "out", "visible_count", 65535), expected)
    bare, _, _ = seen_one_by_one(done)
    assert ((bare == 3) & (states != 3)).sum() > 1_000, "cover hides"


def test_so_are_first_nearest_depths_and_chances(done: Path, one_by_one) -> None:
    states, depth_m, chance = one_by_one
    asked, seen = ((states != 0) & (states != 4)).any(axis=0), states == 3
    weight = stations()["weight"].to_numpy()
    first = np.zeros((POSTS, POSTS))
    for place in np.lexsort((np.arange(len(weight)), -weight))[::-1]:
        first[seen[place]] = place + 1
    assert np.array_equal(whole(done / "out", "first_station", NOTHING), np.where(asked, first, NOTHING))
    rows = (NORTH - stations().geometry.y.to_numpy()) / SPACING
    columns = (stations().geometry.x.to_numpy() - WEST) / SPACING
    at_row, at_column = np.indices((POSTS, POSTS))
    away = np.array([np.hypot(at_row - r, at_column - c) for r, c in zip(rows, columns, strict=True)])
    nearest = np.argmin(np.where(seen, away, np.inf), axis=0) + 1.0
    expected = np.where(seen.any(axis=0), nearest, np.where(asked, 0, NOTHING))
    assert np.array_equal(whole(done / "out", "nearest_station", NOTHING), expected)
    least = np.nanmin(np.where(np.isnan(depth_m), np.inf, depth_m), axis=0)
    told = whole(done / "out", "least_depth", np.nan)
    assert np.array_equal(np.isnan(told), np.isinf(least))
    assert np.allclose(told[asked], least[asked], atol=1e-3)
    thousandths = np.round(np.nan_to_num(chance.astype(np.float64)) * 1000)
    told = whole(done / "out", "expected_count", np.nan)
    known = ~np.isnan(told)
    assert known.sum() > 10_000
    # Each chance is rounded to a thousandth of its own.
    assert np.abs(told[known] - thousandths.sum(axis=0)[known] / 1000).max() <= 14 * 0.0011


def test_a_station_in_a_wood_has_a_note(tmp_path: Path) -> None:
    frame = stations()
    job = made(tmp_path, COVERED.replace('surface = "tops.tif"\n', ""), frame)
    at = frame.geometry.iloc[2]
    geopandas.GeoDataFrame({"kind": ["wood"]}, geometry=[at.buffer(50)], crs=27700).to_file(
        tmp_path / "cover.gpkg", layer="woods"
    )
    job.write_text(job.read_text().replace('layer = ["woods", "walls", "trees"]', 'layer = "woods"'))
    hillsight.batch(job, out=tmp_path / "out", workers=1)
    told = pyogrio.read_dataframe(tmp_path / "out" / "batch.gpkg", layer="batch_stations")
    assert "Place 3" in told["note"][2]
    assert "uncertain" in told["note"][2]
    assert told["visible_cells"][2] == 0


def test_the_matrix_knows_of_cover(done: Path, tmp_path: Path) -> None:
    covered = pyogrio.read_dataframe(done / "out" / "batch.gpkg", layer="station_sight")
    places = {label: n for n, label in enumerate(stations()["name"], 1)}
    by_pair = {(r.from_number, r.to_number): r.state for r in covered.itertuples()}
    checked = 0
    for number, row in enumerate(stations().itertuples(), 1):
        others = stations().drop(index=number - 1)
        # Each other station's eye as a thing of its height that may be seen by its top.
        for eye_m in sorted(set(others["eye_height_m"])):
            alike = others[others["eye_height_m"] == eye_m]
            things = geopandas.GeoDataFrame(
                {
                    "name": list(alike["name"]),
                    "kind": ["mast"] * len(alike),
                    "target_height_m": [eye_m] * len(alike),
                },
                geometry=list(alike.geometry),
                crs=27700,
            )
            listed = hillsight.bearings(
                str(done / "ground.tif"),
                stations=stations().iloc[[number - 1]][["name", "geometry"]],
                features=things,
                eye_height=row.eye_height_m,
                reach=row.reach_m,
                **cover_given(done),
            ).frames["bearing_list"]
            for one in listed.itertuples():
                pair = (number, places[one.name])
                if pair in by_pair and by_pair[pair] in ("hidden",):
                    assert one.state != "visible", pair
                    checked += 1
    assert checked > 5


def test_two_workers_leave_the_same_bytes(done: Path) -> None:
    hillsight.batch(done / "job.toml", out=done / "two", workers=2)
    assert digests(done / "two") == digests(done / "out")


def test_cover_stands_in_manifest_and_provenance_and_its_change_is_noticed(
    done: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "changed"
    shutil.copytree(done, folder)
    with rasterio.open(next((folder / "out" / "visible_count").glob("*.tif"))) as file:
        told = file.tags()["HILLSIGHT_PROVENANCE"]
    assert "tops.tif" in told
    assert "cover.gpkg" in told
    frame = pyogrio.read_dataframe(folder / "cover.gpkg", layer="walls")
    frame["height_m"] = 4.0
    frame.to_file(folder / "cover.gpkg", layer="walls")
    with pytest.raises(BatchError, match=r"cover\.gpkg has another content"):
        hillsight.batch(folder / "job.toml", out=folder / "out", workers=1)


def test_work_looks_over_the_same_cover(tmp_path: Path) -> None:
    job = COVERED[: COVERED.index("[products]")] + '[work]\nscript = "viewshed"\n'
    job = made(
        tmp_path, job.replace("target_height_m = 0.5\n", ""), stations().iloc[:3][["name", "geometry"]]
    )
    cover_files(tmp_path)
    hillsight.batch(job, out=tmp_path / "out", workers=1)
    found = pyogrio.read_dataframe(tmp_path / "out" / "work.gpkg", layer="stations")
    direct = hillsight.viewshed(
        str(tmp_path / "ground.tif"),
        stations=stations().iloc[:3][["name", "geometry"]],
        reach=450,
        **cover_given(tmp_path),
    ).frames["stations"]
    assert list(found["visible_ha"]) == list(direct["visible_ha"])


def test_cover_that_makes_no_sense_is_refused(tmp_path: Path) -> None:
    job = made(tmp_path, COVERED)
    with pytest.raises(HillsightError, match=r"tops\.tif"):
        hillsight.batch(job, out=tmp_path / "out", workers=1)
    job.write_text(COVERED.replace('file = ["cover.gpkg"]\n', ""))
    with pytest.raises(BatchError, match="names none"):
        job_file.read_job(str(job))
    job.write_text(COVERED.replace('leaf = "off"', 'leaf = "of"'))
    with pytest.raises(BatchError, match="Did you mean off"):
        job_file.read_job(str(job))
