"""Frames of lines: what their columns say of each other, on made and on rough ground."""

from __future__ import annotations

from functools import cache
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely

from hillsight.ground.geodesy import Geodesy
from hillsight.ground.grid import Surface
from hillsight.landform.naming import COMPASS_POINTS
from hillsight.landform.options import LandformOptions
from hillsight.landform.survey import SEEN_WITHIN_SCALES, survey
from hillsight.schema.landforms import LANDFORM_LAYERS
from landform.known import CENTRE
from landform.worked_ground import grid_of, ground
from terrains import fractal, with_hole

Frames = dict[str, geopandas.GeoDataFrame]
LINES = ("ridges", "valley_lines", "spurs", "re_entrants")
SCALES_M = (300.0, 100.0)


def read(surface: Surface, *scales_m: float, **how: Any) -> Frames:
    return survey(surface, scales_m, LandformOptions(), Geodesy(surface.grid.crs), **how)


@cache
def rough(seed: int, holed: bool = False) -> Surface:
    height_m = fractal(200, 220, seed=seed, relief_m=250.0)
    return Surface(grid_of(200, 220), with_hole(height_m, 80, 90, 20, 25) if holed else height_m)


@cache
def found_on(seed: int, holed: bool = False) -> Frames:
    return read(rough(seed, holed), *SCALES_M)


GROUNDS = [(3, False), (4, False), (3, True)]


def test_a_corrugated_slope_has_its_folds_and_they_fall_down_it() -> None:
    """Waves 300 m long down a slope of 1 in 4 that falls south-east: spurs, re-entrants between."""

    def folds(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        along, across = (x - y) / np.sqrt(2), (x + y) / np.sqrt(2)
        return 500.0 - 0.25 * along + 25.0 * np.cos(2 * np.pi * across / 300.0)

    found = read(ground(folds, grid_of(160, 160)), 150.0)
    for layer, phase_m in (("spurs", 0.0), ("re_entrants", 150.0)):
        frame = found[layer]
        # Near the terrain's edge smoothing bends them: the long ones are judged.
        inside = frame[frame["length_m"] > 850.0]
        assert len(inside) >= 3
        assert set(inside["falls_towards"]) == {"SE"}
        for row in inside.itertuples():
            x, y = (shapely.get_coordinates(row.geometry) - CENTRE).T
            off_m = np.mod((x + y) / np.sqrt(2) - phase_m + 150.0, 300.0) - 150.0
            assert np.median(np.abs(off_m)) < 15.0, "it does not keep to its axis"
            assert row.drop_m == pytest.approx(0.25 * row.length_m, rel=0.05)
            assert row.slope_deg == pytest.approx(np.degrees(np.arctan(0.25)), abs=0.6)
            # The fold's width between steepest places is half a wave.
            assert row.width_m == pytest.approx(150.0, rel=0.15)


@pytest.mark.parametrize(("seed", "holed"), GROUNDS)
def test_lines_have_places_heights_and_lengths_that_agree(seed: int, holed: bool) -> None:
    surface = rough(seed, holed)
    for layer in LINES:
        frame = found_on(seed, holed)[layer]
        assert len(frame) > 5
        for row in frame.itertuples():
            assert row.geometry.is_valid
            places = shapely.get_coordinates(row.geometry, include_z=True)
            assert np.isfinite(places).all()
            assert row.length_m == pytest.approx(row.geometry.length)
            height_m = surface.heights_at_m(places[:, 0], places[:, 1])
            known = np.isfinite(height_m)
            assert places[known, 2] == pytest.approx(height_m[known])
        real = [c for c in frame.columns if c.endswith("_m")]
        assert np.isfinite(frame[real].to_numpy()).all()


@pytest.mark.parametrize(("seed", "holed"), GROUNDS)
def test_spurs_and_re_entrants_fall_from_their_upper_end(seed: int, holed: bool) -> None:
    found = found_on(seed, holed)
    for layer, upper, lower in (("spurs", "root", "nose"), ("re_entrants", "head", "mouth")):
        frame = found[layer]
        first = np.array([line.coords[0][2] for line in frame.geometry])
        last = np.array([line.coords[-1][2] for line in frame.geometry])
        assert frame[f"{upper}_height_m"].to_numpy() == pytest.approx(first)
        assert frame[f"{lower}_height_m"].to_numpy() == pytest.approx(last)
        assert frame["drop_m"].to_numpy() == pytest.approx(first - last)
        assert (frame["drop_m"] > -2.0).all(), "smoothing may turn a level one, and no more"
        off = frame["falls_true_deg"].to_numpy() - 45.0 * frame["falls_towards"].map(COMPASS_POINTS.index)
        assert (np.abs((off + 180.0) % 360.0 - 180.0) <= 22.5).all()
        size = "relief_m" if layer == "spurs" else "depth_m"
        assert (frame[size] > 0).all()
        assert (frame["length_m"] >= 0.6 * frame["scale_m"] - 1e-6).all()


@pytest.mark.parametrize(("seed", "holed"), GROUNDS)
def test_what_columns_point_to_is_there(seed: int, holed: bool) -> None:
    found = found_on(seed, holed)
    names = [name for frame in found.values() for name in frame["landform"]]
    assert len(set(names)) == len(names)
    points_to = {
        "tops": {"key_saddle": "saddles", "parent": "tops"},
        "saddles": {"lower_top": "tops", "higher_top": "tops"},
        "ridges": {"higher_top": "tops", "lower_top": "tops", "saddle": "saddles"},
        "valley_lines": {"into": "valley_lines"},
        "spurs": {"top": "tops", "ridge": "ridges"},
        "re_entrants": {"valley": "valley_lines"},
    }
    for layer, columns in points_to.items():
        for column, other in columns.items():
            assert set(found[layer][column].dropna()) <= set(found[other]["landform"]), (layer, column)
    for frame in found.values():
        assert set(frame["cut_by"].dropna()) <= ({"void", "terrain_edge"} if holed else {"terrain_edge"})


@pytest.mark.parametrize(("seed", "holed"), GROUNDS)
def test_valleys_end_on_what_they_run_into_and_gather_less_than_it(seed: int, holed: bool) -> None:
    valleys = found_on(seed, holed)["valley_lines"].set_index("landform")
    joined = valleys[valleys["into"].notna()]
    assert len(joined) > 3
    for row in joined.itertuples():
        into = valleys.loc[row.into]
        mouth = shapely.Point(row.geometry.coords[-1])
        # The other line is smoothed there.
        assert mouth.distance(into.geometry) < max(15.0, row.scale_m / 10)
        assert row.catchment_ha < into.catchment_ha
        assert row.order <= into.order
        assert row.scale_m == into.scale_m


@pytest.mark.parametrize(("seed", "holed"), GROUNDS)
def test_a_ridge_runs_over_its_saddle_between_its_tops(seed: int, holed: bool) -> None:
    found = found_on(seed, holed)
    saddles, tops = (found[layer].set_index("landform") for layer in ("saddles", "tops"))
    over = found["ridges"][found["ridges"]["saddle"].notna()]
    assert len(over) > 0
    for row in over.itertuples():
        saddle = saddles.loc[row.saddle]
        if row.scale_m < saddle.scale_m:  # a smaller scale may have a knoll on the way to its tops
            continue
        assert saddle.geometry.distance(row.geometry) <= row.scale_m / 2
        assert {saddle.lower_top, saddle.higher_top} == {row.lower_top, row.higher_top}
        assert tops.loc[row.higher_top].height_m >= tops.loc[row.lower_top].height_m


@pytest.mark.parametrize("seed", range(10, 16))
def test_small_rough_ground_is_read_without_trouble(seed: int) -> None:
    surface = Surface(grid_of(120, 120), fractal(120, 120, seed=seed, relief_m=200.0))
    found = read(surface, 100.0, 40.0)
    assert list(found) == [layer.name for layer in LANDFORM_LAYERS]
    assert len(found["ridges"]) > 0
    assert len(found["valley_lines"]) > 0


@pytest.mark.parametrize("seed", range(3))
def test_what_is_read_about_a_station_is_what_the_whole_terrain_has_there(seed: int) -> None:
    surface = rough(seed)
    station = CENTRE[0] - 500.0, CENTRE[1] + 300.0
    near, whole = read(surface, 40.0, seen_from=station), read(surface, 40.0)
    assert near["tops"].equals(whole["tops"])
    for layer in ("spurs", "re_entrants"):
        reach_m = SEEN_WITHIN_SCALES * 40.0
        within = whole[layer][whole[layer].distance(shapely.Point(station)) < reach_m - 1.0]
        beyond = near[layer].distance(shapely.Point(station)) > reach_m + 1.0
        assert not beyond.any()
        same = set(near[layer]["landform"]) & set(within["landform"])
        assert len(same) >= 0.9 * len(within)


def test_a_second_reading_is_the_same_to_the_last_digit() -> None:
    again = read(rough(3), *SCALES_M)
    for layer, frame in found_on(3).items():
        assert frame.equals(again[layer]), layer


def test_posts_of_two_spacings_cover_the_ground_alike() -> None:
    """The same folds on posts 20 m by 8 m and 10 m by 10 m: as many, as long."""

    def folds(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 500.0 - 0.25 * y + 25.0 * np.cos(2 * np.pi * x / 300.0)

    one = read(ground(folds, grid_of(160, 160)), 150.0)
    other = read(ground(folds, grid_of(200, 80, 20.0, 8.0)), 150.0)
    for layer in ("spurs", "re_entrants"):
        assert len(one[layer]) == len(other[layer])
        assert other[layer]["length_m"].median() == pytest.approx(one[layer]["length_m"].median(), rel=0.05)
        assert other[layer]["width_m"].median() == pytest.approx(one[layer]["width_m"].median(), rel=0.15)
