"""Map features: whole tables from awkward files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely
from pyproj import CRS

from hillsight.errors import FeatureError
from hillsight.ground.evidence import EvidenceTable
from hillsight.ground.features import COLUMNS, read_features

BRITISH, WGS84 = CRS("EPSG:27700"), CRS("EPSG:4326")
TABLE = EvidenceTable.load(None)

SQUARE = shapely.Polygon([(0, 0), (10, 0), (10, 10), (0, 10)])
NEAR = (-3.0, 54.0)
BOW_TIE = shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])


def save(
    path: Path, geometry: list[Any], layer: str | None = None, crs: CRS | None = BRITISH, **columns: Any
) -> str:
    geopandas.GeoDataFrame(columns or {"id": range(len(geometry))}, geometry=geometry, crs=crs).to_file(
        path, layer=layer
    )
    return str(path)


def read(*paths: str, layers: tuple[str, ...] = (), target: CRS = BRITISH) -> tuple[Any, list[str]]:
    features, notes, _ = read_features(paths, layers, target, default_crs=BRITISH, table=TABLE, near=NEAR)
    assert tuple(features.columns) == COLUMNS
    assert features.crs == target
    assert features.geometry.is_valid.all()
    assert not features.geometry.is_empty.any()
    assert not shapely.has_z(np.asarray(features.geometry)).any()
    assert features.index.tolist() == list(range(len(features)))
    assert str(features["target_height_m"].dtype) == "float64"
    return features, notes


def test_columns(tmp_path: Path) -> None:
    path = save(
        tmp_path / "m.gpkg",
        [shapely.Point(1, 2, 3), shapely.LineString([(0, 0), (1, 1)]), SQUARE],
        layer="things",
        Name=["Top", None, ""],
        kind=["Summit", "walls", None],
        target_height_m=[None, 1.2, None],
    )
    features, notes = read(path)
    assert notes == []
    assert features["name"].tolist() == ["Top", None, None]
    assert features["kind"].tolist() == ["Summit", "walls", None]
    assert features["evidence_class"].tolist() == ["ground_shape", "man_made", "unclassed"]
    assert features["target_height_m"].fillna(-1).tolist() == [-1, 1.2, -1]
    assert features["source"].tolist() == ["m.gpkg, things"] * 3
    assert features["name"].dtype == object


def test_all_layers_or_the_named_ones(tmp_path: Path) -> None:
    path = save(tmp_path / "m.gpkg", [shapely.Point(1, 2)], layer="tops")
    save(tmp_path / "m.gpkg", [shapely.LineString([(0, 0), (1, 1)])], layer="walls")
    other = save(tmp_path / "n.gpkg", [SQUARE], layer="tarns")
    features, _ = read(path, other)
    assert features["kind"].tolist() == ["tops", "walls", "tarns"]  # no kind column: the layer's name
    assert features["evidence_class"].tolist() == ["ground_shape", "man_made", "water"]
    features, notes = read(path, other, layers=("walls",))
    assert features["kind"].tolist() == ["walls"]
    assert any("n.gpkg: has none of the layers walls" in note for note in notes)
    with pytest.raises(
        FeatureError, match=r"no layer 'becks'.*tops \(m.gpkg\), walls \(m.gpkg\), tarns \(n.gpkg\)"
    ):
        read(path, other, layers=("walls", "becks"))


def test_kind_columns_in_their_order(tmp_path: Path) -> None:
    path = save(
        tmp_path / "m.gpkg",
        [shapely.Point(i, 0) for i in range(5)],
        natural=["peak", None, None, "", None],
        building=[None, "yes", "no", "barn", None],
        CLASS=[None, None, None, "cairn", None],
    )
    features, _ = read(path)
    assert features["kind"].tolist() == ["peak", "building", None, "cairn", None]


def test_gpx(tmp_path: Path) -> None:
    path = tmp_path / "a.gpx"
    path.write_text(
        '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="56.8" lon="-5"><name>W</name><sym>Summit</sym></wpt>'
        '<trk><name>T</name><trkseg><trkpt lat="56.8" lon="-5"/>'
        '<trkpt lat="56.81" lon="-5"/></trkseg></trk></gpx>',
        encoding="utf-8",
    )
    features, notes = read(str(path))
    assert features["name"].tolist() == ["W", "T"]  # the track's points are not features of their own
    assert features["kind"].tolist() == ["Summit", "tracks"]
    assert any("routes: the layer is empty" in note for note in notes)
    assert features.geometry.iloc[0].x == pytest.approx(216_900, abs=1_000)


def test_rows_without_geometry(tmp_path: Path) -> None:
    path = save(tmp_path / "m.gpkg", [shapely.Point(1, 2), None, shapely.Point()], name=["a", "b", "c"])
    features, notes = read(path)
    assert features["name"].tolist() == ["a"]
    assert notes == ["m.gpkg, layer m: 2 features without geometry left out (first: row 2)"]


def test_broken_geometry_is_repaired(tmp_path: Path) -> None:
    spike = shapely.Polygon([(0, 0), (10, 0), (5, 0)])
    stuck = shapely.LineString([(1, 1), (1, 1)])
    path = save(tmp_path / "m.gpkg", [BOW_TIE, spike, stuck, SQUARE], name=["bow", "spike", "stuck", "ok"])
    features, notes = read(path)
    assert features["name"].tolist() == ["bow", "ok"]
    assert features.geometry.iloc[0].area == pytest.approx(50.0)
    assert features.geometry.iloc[0].geom_type == "MultiPolygon"
    assert "1 feature with broken geometry repaired (first: row 1)" in notes[0]
    assert "2 features whose geometry shrinks to nothing left out (first: row 2)" in notes[1]


def test_rings_that_do_not_close(tmp_path: Path) -> None:
    path = tmp_path / "m.geojson"
    ring, single = "[[[-5,56.8],[-5.1,56.8],[-5.1,56.9]]]", "[[-5,56.8]]"
    kinds = (("Polygon", ring), ("LineString", single), ("Point", "[-5,56.8]"))
    rows = ",".join(
        f'{{"type":"Feature","properties":{{"name":"{kind}"}},'
        f'"geometry":{{"type":"{kind}","coordinates":{coordinates}}}}}'
        for kind, coordinates in kinds
    )
    path.write_text(f'{{"type":"FeatureCollection","features":[{rows}]}}', encoding="utf-8")
    features, notes = read(str(path))
    assert features["name"].tolist() == ["Polygon", "Point"]
    assert notes[:-1] == [
        "m.geojson, layer m: 1 feature with open rings, closed",
        "m.geojson, layer m: 1 feature without geometry left out (first: row 2)",
    ]


def test_collections_keep_their_highest_dimension(tmp_path: Path) -> None:
    inner = shapely.GeometryCollection(
        [shapely.MultiPolygon([shapely.box(20, 0, 30, 5)]), shapely.Point(9, 9)]
    )
    areas = shapely.GeometryCollection([shapely.Point(1, 1), SQUARE, inner])
    lines = shapely.GeometryCollection([shapely.Point(1, 1), shapely.LineString([(0, 0), (3, 4)])])
    nothing = shapely.GeometryCollection()
    path = save(tmp_path / "m.gpkg", [areas, lines, nothing], name=["areas", "lines", "nothing"])
    features, notes = read(path)
    assert features.geometry.geom_type.tolist() == ["MultiPolygon", "LineString"]
    assert features.geometry.iloc[0].area == pytest.approx(150.0)
    assert features.geometry.iloc[1].length == pytest.approx(5.0)
    assert any("2 features of mixed geometry reduced" in note for note in notes)


def test_curves_become_polylines(tmp_path: Path) -> None:
    path = tmp_path / "c.csv"
    path.write_text('name,WKT\na,"CIRCULARSTRING(0 0,1 1,2 0)"\n', encoding="utf-8")
    features, notes = read(str(path))
    assert features.geometry.iloc[0].geom_type == "LineString"
    assert features.geometry.iloc[0].length == pytest.approx(np.pi, rel=1e-3)
    assert any("no reference system stated" in note for note in notes)


def test_other_reference_systems_are_transformed(tmp_path: Path) -> None:
    path = save(tmp_path / "m.geojson", [shapely.Point(-5.0, 56.8)], crs=WGS84)
    features, notes, operations = read_features([path], (), BRITISH, default_crs=None, table=TABLE, near=NEAR)
    assert notes == [operations[0].note]
    assert features.geometry.iloc[0].x == pytest.approx(216_890, abs=100)
    assert features.geometry.iloc[0].y == pytest.approx(771_620, abs=300)
    assert [operation.accuracy_m is not None for operation in operations] == [True]


def test_features_at_the_other_end_of_the_world_are_left_out(tmp_path: Path) -> None:
    path = save(tmp_path / "m.geojson", [shapely.Point(-3, 54), shapely.Point(87.0, 0.0)], crs=WGS84)
    features, notes = read(path, target=CRS("EPSG:32630"))
    assert len(features) == 1
    assert notes == [
        "m.geojson, layer m: 1 feature beyond what WGS 84 / UTM zone 30N can show left out (first: row 2)"
    ]


def test_metres_said_to_be_degrees(tmp_path: Path) -> None:
    path = tmp_path / "m.geojson"
    path.write_text(
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},'
        '"geometry":{"type":"Point","coordinates":[216671,771281]}}]}',
        encoding="utf-8",
    )
    with pytest.raises(FeatureError, match=r"m.geojson, layer m: .*no longitude and latitude"):
        read(str(path))


@pytest.mark.parametrize("height", [-1.0, 5_000.0, 1e38])
def test_absurd_heights_are_refused(tmp_path: Path, height: float) -> None:
    path = save(tmp_path / "m.gpkg", [shapely.Point(1, 2)], height_above_ground_m=[height])
    with pytest.raises(FeatureError, match=r"row 1, column height_above_ground_m: nothing stands"):
        read(path)


def test_coordinates_that_are_no_numbers(tmp_path: Path) -> None:
    line = shapely.LineString([(0, 0), (np.inf, 1)])
    path = save(tmp_path / "m.gpkg", [SQUARE, line])
    with pytest.raises(FeatureError, match=r"row 2: a coordinate is not a finite number"):
        read(path)
    far = save(tmp_path / "far.gpkg", [SQUARE, shapely.Point(1e300, 1e300)])
    with pytest.raises(FeatureError, match=r"row 2: a coordinate lies on no map: 1e\+300"):
        read(far)


def test_nothing_usable(tmp_path: Path) -> None:
    path = save(tmp_path / "m.gpkg", [None, None], name=["a", "b"])
    with pytest.raises(FeatureError, match=r"no usable features.*2 features without geometry"):
        read(path)
    with pytest.raises(FeatureError, match="no usable features"):
        read_features([], (), BRITISH, default_crs=None, table=TABLE, near=NEAR)


def test_tables_beside_layers_are_left_out(tmp_path: Path) -> None:
    path = save(tmp_path / "m.gpkg", [shapely.Point(1, 2)], layer="tops")
    import pyogrio

    table = geopandas.pd.DataFrame({"style": ["a"]})
    pyogrio.write_dataframe(table, path, layer="styles", append=False)
    features, notes = read(path)
    assert len(features) == 1
    assert notes == ["m.gpkg, layer styles: a table without geometry; left out"]
    with pytest.raises(FeatureError, match="neither geometry"):
        read(path, layers=("styles",))


def test_the_same_input_gives_the_same_table(tmp_path: Path) -> None:
    path = save(tmp_path / "m.gpkg", [BOW_TIE, shapely.Point(1, 2)], kind=["tarn", "top"])
    first, _ = read(path)
    second, _ = read(path)
    assert first.geometry.to_wkb().tolist() == second.geometry.to_wkb().tolist()
    assert first.drop(columns="geometry").equals(second.drop(columns="geometry"))
