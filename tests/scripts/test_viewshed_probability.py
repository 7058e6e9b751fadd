"""viewshed --probability: files, states, the expected area, and what is refused."""

from __future__ import annotations

import numpy as np
import pyogrio
import pytest
import rasterio

from hillsight.words.states import GroundState
from scripts.commands import AT, REACH, SPACING, assert_refused, done, terrain

CALL = ("viewshed", "--at", AT, "--reach", REACH, "--probability")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("probability")
    ended = done(*CALL, "--terrain", terrain(folder), "--rasters", folder, "--out", folder / "out.gpkg")
    return folder, ended


def raster(folder, table):
    with rasterio.open(folder / f"{table}.tif") as file:
        return file.read(1)


def test_states_follow_the_limits(made):
    folder, _ = made
    chance, state = raster(folder, "probability_cairn"), raster(folder, "viewshed_cairn")
    assert chance.dtype == np.float32
    told = np.isfinite(chance) & (state != GroundState.UNKNOWN)
    assert told.sum() > 500
    assert chance[told].min() >= 0 and chance[told].max() <= 1
    assert (state[told & (chance < 0.1)] == GroundState.HIDDEN).all()
    assert (state[told & (chance >= 0.9)] == GroundState.VISIBLE).all()
    between = told & (chance >= 0.1) & (chance < 0.9)
    assert between.any()
    assert (state[between] == GroundState.UNCERTAIN).all()


def test_the_expected_area_is_the_sum_of_the_chances(made):
    folder, ended = made
    chance = raster(folder, "probability_cairn")
    row = pyogrio.read_dataframe(folder / "out.gpkg", layer="stations").iloc[0]
    assert row["expected_visible_ha"] == pytest.approx(np.nansum(chance) * SPACING**2 / 10_000, rel=1e-4)
    assert row["expected_visible_low_ha"] < row["expected_visible_ha"] < row["expected_visible_high_ha"]
    assert "are likely seen" in ended.out
    assert "guessed from posts 10 m apart" in ended.err and "are not modelled" in ended.err


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--terrain-error", "-1"), "standard deviation"),
        (("--terrain-error", "1000"), "terrain_rmse_m"),
        (("--terrain-product", "moon"), "moon"),
        (("--error-correlation", "0"), "correlation length"),
        (("--uncertain-between", "0.9", "0.1"), "uncertain"),
        (("--count",), "--count"),
        (("--target-height", "0", "--target-height", "2"), "one target height"),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path, more, says):
    ground = terrain(tmp_path)
    assert_refused(tmp_path, *CALL, *more, "--terrain", ground, "--out", tmp_path / "out.gpkg", says=(says,))


def test_what_features_err_by_is_not_asked(tmp_path):
    words = (*CALL, "--terrain", terrain(tmp_path), "--out", tmp_path / "out.gpkg")
    assert_refused(tmp_path, *words, "--feature-error", "3", says=("--feature-error",))
