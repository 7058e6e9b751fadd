"""The whole reading of one station: layers that fit the schema, areas that add up, refusals and notes."""

from __future__ import annotations

import datetime

import geopandas
import numpy as np
import pytest
import shapely

from hillsight.errors import StationError
from hillsight.ground.stations import Station
from hillsight.ground.terrain import open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.reading.outlook import Request, look_out
from hillsight.schema.layers import LAYERS
from hillsight.sight.viewing import Viewing
from hillsight.words.states import GroundState
from terrains import fractal, with_hole, write_geotiff

WEST, NORTH = 400_000.0, 300_000.0
ROUGH = fractal(121, 141, seed=77, relief_m=200.0, lowest_m=50.0)


def _terrain(folder, height_m):
    path = write_geotiff(folder / "ground.tif", height_m, west=WEST, north=NORTH)
    return open_terrain(str(path), TerrainOptions()).on_metric_grid(-2.0, 52.6)


def _station(row, column, **changes):
    given = {"label": "A", "name": "A's top", "ground_height_m": None, "source": "--at"} | changes
    return Station(easting_m=WEST + 10 * column, northing_m=NORTH - 10 * row, **given)


def _features():
    places = [
        shapely.Point(WEST + 700 + 300 * dx, NORTH - 600 + 250 * dy) for dx in (-1, 1) for dy in (-1, 1)
    ]
    n = len(places)
    return geopandas.GeoDataFrame(
        {
            "name": [f"f{i}" for i in range(n)],
            "kind": ["summit"] * n,
            "evidence_class": ["ground_shape"] * n,
            "target_height_m": np.full(n, np.nan),
            "source": ["made"] * n,
        },
        geometry=places,
        crs="EPSG:27700",
    )


@pytest.fixture(scope="module")
def rough(tmp_path_factory):
    return _terrain(tmp_path_factory.mktemp("rough"), ROUGH)


def _look(terrain, station=None, **request):
    request = {"viewing": Viewing(eye_height_m=3.0, reach_m=500.0)} | request
    return look_out(terrain, station or _station(60.3, 70.6), Request(**request))


@pytest.mark.parametrize("follow_cells", [False, True])
def test_every_layer_has_its_columns_in_order(rough, follow_cells):
    found = _look(
        rough,
        features=_features(),
        declination_date=datetime.date(2026, 3, 1),
        follow_cells=follow_cells,
        skyline_step_deg=1.0,
    )
    assert set(found.frames) == {
        "stations",
        "visible_ground",
        "uncertain_ground",
        "unknown_ground",
        "dead_ground",
        "dead_ground_by_crest",
        "crest_lines",
        "skyline",
        "skyline_bearings",
        "bearing_list",
        "first_ground",
        "seen_lines",
        "seen_areas",
    }
    for name, frame in found.frames.items():
        columns = [c for c in frame.columns if c != frame.geometry.name]
        assert columns == [c.name for c in LAYERS[name].columns], name
        assert set(frame.station) <= {"A"}
        assert frame.crs.to_epsg() == 27700
        assert frame.geometry.is_valid.all(), name
        assert not frame.geometry.is_empty.any(), name
        for column in LAYERS[name].columns:
            if not column.optional:
                assert frame[column.name].notna().all(), (name, column.name)


def test_without_features_there_is_no_list_and_without_a_date_no_declination(rough):
    found = _look(rough, skyline_step_deg=5.0)
    assert "bearing_list" not in found.frames
    station = found.frames["stations"].iloc[0]
    assert np.isnan(station.declination_deg)
    assert station.declination_date is None
    assert station["name"] == "A's top"
    assert station.convergence_deg == pytest.approx(0.0, abs=0.01)
    assert station.longitude == pytest.approx(-2.0, abs=0.02)
    assert station.eye_level_m == pytest.approx(station.ground_height_m + 3.0)


def test_areas_add_up_to_the_reach(rough):
    found = _look(rough, skyline_step_deg=5.0)
    station, frames = found.frames["stations"].iloc[0], found.frames
    disc_ha = np.pi * 500.0**2 / 1e4
    assert station.reach_ha == pytest.approx(disc_ha, rel=1e-9)
    assert station.visible_ha + station.hidden_ha + station.unknown_ha == pytest.approx(disc_ha, rel=1e-9)
    assert station.visible_ha == pytest.approx(frames["visible_ground"].area.sum() / 1e4, rel=1e-9)
    assert station.hidden_ha == pytest.approx(frames["dead_ground"].area.sum() / 1e4, rel=1e-9)
    assert station.unlisted_hidden_ha == pytest.approx(0, abs=1e-9)
    assert len(frames["visible_ground"]) == 1
    assert len(frames["unknown_ground"]) == 0  # nothing of the reach is off the terrain
    assert station.unknown_ha == 0
    assert found.notes == ()


def test_a_least_area_accounts_for_what_it_leaves_out(rough):
    every, some = (_look(rough, least_pocket_ha=ha, skyline_step_deg=5.0) for ha in (0.0, 0.2))
    left_out = every.frames["dead_ground"].area_ha
    left_out = left_out[left_out < 0.2]
    assert len(left_out) > 0
    assert len(some.frames["dead_ground"]) == len(every.frames["dead_ground"]) - len(left_out)
    station = some.frames["stations"].iloc[0]
    assert station.unlisted_hidden_ha == pytest.approx(left_out.sum(), rel=1e-9)
    assert station.hidden_ha == pytest.approx(every.frames["stations"].hidden_ha[0])
    assert station.hidden_ha == pytest.approx(
        some.frames["dead_ground"].area_ha.sum() + station.unlisted_hidden_ha, rel=1e-9
    )


def test_cells_add_up_to_the_cells_within_the_reach(rough):
    found = _look(rough, follow_cells=True, skyline_step_deg=5.0)
    station = found.frames["stations"].iloc[0]
    within = found.states != GroundState.BEYOND
    assert station.reach_ha == pytest.approx(within.sum() * 0.01)
    assert station.visible_ha == pytest.approx((found.states == GroundState.VISIBLE).sum() * 0.01)
    assert station.hidden_ha == pytest.approx((found.states == GroundState.HIDDEN).sum() * 0.01)


def test_rasters_say_what_the_polygons_say(rough):
    found = _look(rough, skyline_step_deg=5.0)
    easting, northing = found.grid.to_map(*np.indices(found.states.shape))
    hidden, visible = (
        shapely.contains_xy(shapely.union_all(found.frames[n].geometry.to_numpy()), easting, northing)
        for n in ("dead_ground", "visible_ground")
    )
    near = np.hypot(easting - (WEST + 706), northing - (NORTH - 603)) < 499.9
    assert ((found.states == GroundState.HIDDEN) & near == hidden & near).all()
    assert ((found.states == GroundState.VISIBLE) & near == visible & near).all()
    assert (found.depth_m[found.states == GroundState.HIDDEN] > 0).all()
    assert (found.depth_m[found.states == GroundState.VISIBLE] == 0).all()
    assert np.isnan(found.depth_m[found.states == GroundState.BEYOND]).all()
    assert not (found.states == GroundState.UNCERTAIN).any()


@pytest.mark.parametrize(("row", "column"), [(0, 70.5), (120, 0), (60, 140), (0, 0)])
def test_from_the_terrain_s_edge_the_missing_part_is_told(rough, row, column):
    found = _look(rough, _station(row, column), skyline_step_deg=5.0)
    station = found.frames["stations"].iloc[0]
    assert station.unknown_ha / station.reach_ha == pytest.approx(
        0.75 if row in (0, 120) and column in (0, 140) else 0.5, abs=0.02
    )
    assert len(found.notes) == 1
    assert f"{100 * station.unknown_ha / station.reach_ha:.1f} %" in found.notes[0]
    total_ha = station.visible_ha + station.hidden_ha + station.unknown_ha
    assert total_ha == pytest.approx(np.pi * 500.0**2 / 1e4, rel=1e-9)


def test_a_reach_beyond_all_the_terrain(rough):
    found = _look(rough, viewing=Viewing(3.0, 0.0, 50_000.0), skyline_step_deg=5.0)
    station = found.frames["stations"].iloc[0]
    known_ha = 121 * 141 * 0.01
    assert station.visible_ha + station.hidden_ha == pytest.approx(known_ha, rel=0.005)  # cut corners
    assert station.unknown_ha == pytest.approx(np.pi * 5e4**2 / 1e4 - station.visible_ha - station.hidden_ha)


@pytest.mark.parametrize("follow_cells", [False, True])
@pytest.mark.filterwarnings("error::RuntimeWarning")
def test_a_reach_below_the_spacing(rough, follow_cells):
    """Between posts no cell's post lies within the reach: nothing to list, but no failure."""
    found = _look(
        rough,
        _station(60.5, 70.5),
        viewing=Viewing(3.0, 0.0, 2.0),
        follow_cells=follow_cells,
        skyline_step_deg=5.0,
    )
    station = found.frames["stations"].iloc[0]
    expected_ha = 0.0 if follow_cells else np.pi * 4 / 1e4
    assert station.visible_ha == pytest.approx(expected_ha, rel=1e-9)
    assert station.reach_ha == pytest.approx(expected_ha, rel=1e-9)


def test_a_station_on_or_beside_a_void_is_refused(tmp_path):
    terrain = _terrain(tmp_path, with_hole(ROUGH, 50, 60, 5, 5))
    for place in ((52, 62), (49.5, 62), (52.2, 59.5)):
        with pytest.raises(StationError, match="void") as refusal:
            _look(terrain, _station(*place))
        assert "'A'" in refusal.value.where
        assert refusal.value.remedy
    _look(terrain, _station(49, 62), skyline_step_deg=30.0)  # right beside, yet on a known post


def test_a_surveyed_height_is_kept_told_if_far_off_and_refused_below_the_ground(rough):
    under_m = float(rough.window(WEST + 700, NORTH - 600, 50.0).height_at_m(WEST + 700, NORTH - 600))
    kept = _look(rough, _station(60, 70, ground_height_m=under_m + 4.0), skyline_step_deg=30.0)
    assert kept.frames["stations"].ground_height_m[0] == pytest.approx(under_m + 4.0)
    assert kept.frames["stations"].eye_level_m[0] == pytest.approx(under_m + 7.0)
    assert kept.notes == ()
    told = _look(rough, _station(60, 70, ground_height_m=under_m + 15.0), skyline_step_deg=30.0)
    assert "+15.0 m" in told.notes[0]
    _look(rough, _station(60, 70, ground_height_m=under_m - 2.9), skyline_step_deg=30.0)
    with pytest.raises(StationError, match="below the terrain"):
        _look(rough, _station(60, 70, ground_height_m=under_m - 3.1))


def test_twice_the_same_is_the_same(rough):
    """Also in the numbers that are given to pockets, crest lines and pieces."""
    first, second = (_look(rough, features=_features(), skyline_step_deg=2.0) for _ in range(2))
    for name, frame in first.frames.items():
        assert frame.to_wkb().equals(second.frames[name].to_wkb()), name
    assert np.array_equal(first.states, second.states)
    assert np.array_equal(first.depth_m, second.depth_m, equal_nan=True)
