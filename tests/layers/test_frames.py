"""Frames are made to fit the schema or refused."""

from __future__ import annotations

import geopandas
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from hillsight.errors import OutputError
from hillsight.layers.frames import conform
from hillsight.schema.layers import LAYERS

from layers.made import GRID_CRS, HOSTILE, frame  # isort: skip

WGS84 = pyproj.CRS(4326)


@pytest.mark.parametrize("layer", LAYERS)
@pytest.mark.parametrize("rows", [0, 1, 5])
def test_types_and_order(layer: str, rows: int) -> None:
    made = conform(frame(layer, rows), LAYERS[layer], None)
    assert list(made.columns) == [*(column.name for column in LAYERS[layer].columns), "geom"]
    wanted = {"text": "object", "real": "float64", "integer": "Int64", "boolean": "boolean"}
    for column in LAYERS[layer].columns:
        assert str(made[column.name].dtype) in {wanted[column.type], "str"}, column.name
    assert len(made) == rows
    assert made.crs == GRID_CRS


def changed(layer: str, **columns: object) -> geopandas.GeoDataFrame:
    made = frame(layer, 3)
    for name, cells in columns.items():
        made[name] = pd.Series(cells, dtype=object)
    return made


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (frame("stations").drop(columns="reach_m"), "missing.*reach_m"),
        (frame("stations").assign(extra=1), "not in the schema.*extra"),
        (frame("stations")[["name", "station", *frame("stations").columns[2:]]], "wanted in order"),
        (changed("stations", reach_m=[1.0, None, 2.0]), "reach_m, row 1: no value"),
        (changed("stations", reach_m=[1.0, float("nan"), 2.0]), "reach_m, row 1: no value"),
        (changed("stations", reach_m=[1.0, 2.0, float("inf")]), "reach_m, row 2: infinite"),
        (changed("stations", reach_m=[1.0, "2", 3.0]), "row 1: '2' is no number"),
        (changed("stations", reach_m=[True, 2.0, 3.0]), "row 0: True is no number"),
        (changed("stations", station=["a", 2, "c"]), "row 1: 2 is no text"),
        (frame("stations").set_crs(None, allow_override=True), "no CRS"),
    ],
)
def test_stations_that_break_the_schema(bad: geopandas.GeoDataFrame, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        conform(bad, LAYERS["stations"], None)


def test_pocket_numbers_are_whole() -> None:
    with pytest.raises(ValueError, match=r"pocket, row 1: 1\.5 is no whole number"):
        conform(changed("dead_ground", pocket=[1, 1.5, 2]), LAYERS["dead_ground"], None)
    made = conform(changed("dead_ground", pocket=[1.0, np.int16(7), 2**53 + 1]), LAYERS["dead_ground"], None)
    assert made["pocket"].tolist() == [1, 7, 2**53 + 1]


@pytest.mark.parametrize(
    ("layer", "shape", "message"),
    [
        ("stations", shapely.LineString([(0, 0), (1, 1)]), "a LineString, not a Point"),
        ("stations", None, "no geometry"),
        ("stations", shapely.Point(), "no geometry"),
        ("dead_ground", shapely.MultiPolygon([shapely.box(0, 0, 1, 1)]), "a MultiPolygon, not a Polygon"),
        ("crest_lines", shapely.LineString([(0, 0), (1, 1)]), "no z"),
        ("bearing_list", shapely.Point(0, 0), "no z; NaN says"),
        ("stations", shapely.Point(float("inf"), 0), "not finite"),
    ],
)
def test_shapes_that_break_the_schema(layer: str, shape: object, message: str) -> None:
    made = frame(layer, 1)
    made = made.set_geometry(geopandas.GeoSeries([shape], crs=GRID_CRS))
    with pytest.raises(ValueError, match=message):
        conform(made, LAYERS[layer], None)


def test_polygon_may_stand_for_multipolygon_and_surplus_z_goes() -> None:
    made = frame("visible_ground", 1)
    made = made.set_geometry(
        geopandas.GeoSeries([shapely.force_3d(shapely.box(0, 0, 1, 1), 5)], crs=GRID_CRS)
    )
    shape = conform(made, LAYERS["visible_ground"], None).geometry[0]
    assert shape.geom_type == "MultiPolygon"
    assert not shape.has_z
    assert shape.area == 1


def test_texts_keep_everything_but_what_no_file_can_hold() -> None:
    made = conform(frame("stations"), LAYERS["stations"], None)
    assert made["station"].tolist() == list(HOSTILE)
    odd = conform(changed("stations", station=["a\0b", "c\ud83cd", "e"]), LAYERS["stations"], None)
    assert odd["station"].tolist() == ["a�b", "c�d", "e"]


def test_other_crs_moves_the_plan_and_keeps_heights() -> None:
    given = frame("crest_lines", 3)
    made = conform(given, LAYERS["crest_lines"], WGS84)
    assert made.crs == WGS84
    # geopandas as the second opinion, on the plan alone: with z it takes heights for ellipsoidal ones.
    expected = geopandas.GeoSeries(shapely.force_2d(given.geometry.array), crs=GRID_CRS).to_crs(WGS84)
    here, there = (shapely.get_coordinates(s.array, include_z=True) for s in (made.geometry, expected))
    assert np.abs(here[:, :2] - there[:, :2]).max() < 1e-12
    before = shapely.get_coordinates(given.geometry.array, include_z=True)
    assert (here[:, 2] == before[:, 2]).all()
    assert abs(here[0, 0] + 5) < 3  # longitude first: western Scotland
    assert abs(here[0, 1] - 56.8) < 1


def test_the_datum_shift_is_kept_outside_the_area_it_is_meant_for() -> None:
    """EPSG:27700 lies some 100 m from WGS 84 (in the North Sea too, where PROJ drops the shift unasked)."""
    place = geopandas.GeoSeries([shapely.Point(900_000, 300_000)], crs="EPSG:27700")
    given = frame("stations", 1).set_crs("EPSG:27700", allow_override=True).set_geometry(place)
    moved = conform(given, LAYERS["stations"], WGS84).geometry[0]
    bare = pyproj.Transformer.from_crs("EPSG:27700", "EPSG:4277", always_xy=True).transform(900_000, 300_000)
    shift_m = pyproj.Geod(ellps="WGS84").inv(*bare, moved.x, moved.y)[2]
    # 50 to 200 m: the known size of the shift between OSGB36 and WGS 84 (from memory).
    assert 50 < shift_m < 200


def test_beyond_the_crs_is_refused() -> None:
    far = frame("stations", 1).set_geometry(geopandas.GeoSeries([shapely.Point(1e9, 1e9)], crs=GRID_CRS))
    with pytest.raises(OutputError, match="beyond where"):
        conform(far, LAYERS["stations"], WGS84)


def test_polygons_stay_valid_in_another_crs() -> None:
    # Hole corners on the shell's sloping edge: exact here by construction, crossing by rounding elsewhere.
    shapes = []
    for i in range(200):
        x, y = 216_000 + 37.0 * i, 771_000 + 11.0 * i
        shell = [(x, y), (x + 300, y + 96), (x + 300, y + 400), (x, y + 400)]
        hole = [(x + 150, y + 48), (x + 200, y + 200), (x + 100, y + 200)]
        if i % 2:
            shell = [(x, y), (x + 300, y), (x + 300, y + 496), (x, y + 400)]
            hole = [(x + 150, y + 448), (x + 200, y + 200), (x + 100, y + 200)]
        shapes.append(shapely.Polygon(shell, [hole]))
    given = frame("dead_ground", 200).set_geometry(geopandas.GeoSeries(shapes, crs=GRID_CRS))
    assert given.geometry.is_valid.all()
    raw = given.geometry.to_crs(WGS84)
    assert not raw.is_valid.all(), "the case must need mending, or it shows nothing"
    made = conform(given, LAYERS["dead_ground"], WGS84)
    assert made.geometry.is_valid.all()
    assert (made.geometry.geom_type == "Polygon").all()
    relative = np.abs(made.geometry.to_crs(GRID_CRS).area.to_numpy() / given.geometry.area.to_numpy() - 1)
    # An edge of 300 m that is straight in degrees bends by millimetres on the grid: 4e-6 of these shapes.
    assert relative.max() < 1e-5
