"""Reading vector files: drivers, columns, reference systems, bad files."""

from __future__ import annotations

import warnings
import zipfile
from pathlib import Path

import geopandas
import pytest
import shapely
from pyproj import CRS

from hillsight.errors import FeatureError
from hillsight.ground import vector

BRITISH = CRS("EPSG:27700")

GPX = """<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">
<wpt lat="56.8" lon="-5.0"><ele>1300</ele><name>Mid Cairn</name><sym>Summit</sym></wpt>
<trk><name>Way up</name>
<trkseg><trkpt lat="56.8" lon="-5.0"/><trkpt lat="56.81" lon="-5.0"/></trkseg></trk></gpx>"""

KML = """<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder>
<name>tops</name><Placemark><name>Mid Cairn</name>
<Point><coordinates>-5,56.8,1300</coordinates></Point></Placemark></Folder></Document></kml>"""


def write(path: Path, text: str) -> str:
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("name", ["a.gpkg", "a.geojson", "a.shp", "a.fgb"])
def test_formats_read_alike(tmp_path: Path, name: str) -> None:
    points = geopandas.GeoDataFrame(
        {"name": ["Ä", "b"]}, geometry=[shapely.Point(-5, 56.8), shapely.Point(-5.1, 56.9)], crs="EPSG:4326"
    )
    path = str(tmp_path / name)
    points.to_file(path)
    assert vector.list_layers(path) == ["a"]
    frame, notes = vector.read_layer(path, None, None)
    assert notes == []
    assert sorted(frame["name"]) == ["b", "Ä"]
    assert CRS(frame.crs).to_epsg() == 4326
    assert {point.wkt for point in frame.geometry} == {"POINT (-5 56.8)", "POINT (-5.1 56.9)"}


def test_gpx_and_kml(tmp_path: Path) -> None:
    gpx = write(tmp_path / "a.gpx", GPX)
    assert "waypoints" in vector.list_layers(gpx)
    frame, _ = vector.read_layer(gpx, "waypoints", None)
    assert frame["name"].tolist() == ["Mid Cairn"]
    with pytest.raises(FeatureError, match=r"several layers.*waypoints, routes, tracks"):
        vector.read_layer(gpx, None, None)
    kml = write(tmp_path / "a.kml", KML)
    assert vector.list_layers(kml) == ["tops"]
    frame, _ = vector.read_layer(kml, None, None)
    assert frame[vector.find_column(frame, ("name",))].tolist() == ["Mid Cairn"]


def test_virtual_paths(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.writestr("tops.kml", KML)
    frame, _ = vector.read_layer(f"/vsizip/{tmp_path}/a.zip/tops.kml", None, None)
    assert len(frame) == 1


@pytest.mark.parametrize(
    ("header", "row", "degrees"),
    [
        ("name,E,N", "a,216671,771281", False),
        ("Easting,Northing,name", "216671,771281,a", False),
        ("EASTING_M,northing_m", "216671,771281", False),
        ("X;Y", "216671,5;771281", False),
        ("lon,lat", "-5,56.8", True),
        ("Longitude,Latitude", "-5,56.8", True),
        ("name,LAT,LON", "a,56.8,-5", True),
    ],
)
def test_tables_with_coordinate_columns(tmp_path: Path, header: str, row: str, degrees: bool) -> None:
    path = write(tmp_path / "t.csv", f"\ufeff{header}\n{row}\n")
    frame, notes = vector.read_layer(path, None, BRITISH)
    point = frame.geometry.iloc[0]
    if degrees:
        assert (CRS(frame.crs).to_epsg(), point.x, point.y, notes) == (4326, -5.0, 56.8, [])
    else:
        assert (frame.crs, point.y) == (BRITISH, 771_281.0)
        assert point.x == pytest.approx(216_671.25, abs=0.26)
        assert "British National Grid" in notes[0]
        with pytest.raises(FeatureError, match="reference system"):
            vector.read_layer(path, None, None)


def test_quoted_names_survive(tmp_path: Path) -> None:
    path = write(tmp_path / "t.csv", 'name,E,N\n"a, ""b""\nc\'); DROP TABLE",1,2\n')
    frame, _ = vector.read_layer(path, None, BRITISH)
    assert frame["name"].tolist() == ['a, "b"\nc\'); DROP TABLE']


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name,E,N\na,12x,3\n", r"row 1, column E: '12x' is not a finite number"),
        ("name,E,N\na,1,2\nb,nan,3\n", r"row 2, column E"),
        ("name,E,N\na,1_000,2\n", r"row 1, column E"),
        ("name,E,N\na,inf,2\n", r"row 1, column E"),
        ("name,E,N\na,,2\n", r"row 1: only one of E and N"),
        ("name,height\na,2\n", r"neither geometry nor a pair"),
    ],
)
def test_bad_tables(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(FeatureError, match=said):
        vector.read_layer(write(tmp_path / "t.csv", text), None, BRITISH)


def test_blank_coordinates_give_no_geometry(tmp_path: Path) -> None:
    frame, _ = vector.read_layer(write(tmp_path / "t.csv", "name,E,N\na,,\nb,1,2\n"), None, BRITISH)
    assert frame.geometry.isna().tolist() == [True, False]


def test_text_that_is_not_utf8(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_bytes(b"name,E,N\n\xe9,1,2\n")
    with pytest.raises(FeatureError, match="UTF-8"):
        vector.read_layer(str(path), None, BRITISH)


def test_files_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(FeatureError, match="no such file"):
        vector.list_layers(str(tmp_path / "absent.gpkg"))
    with pytest.raises(FeatureError, match="not a vector file"):
        vector.list_layers(write(tmp_path / "a.gpkg", "nothing of the kind"))
    with pytest.raises(FeatureError, match="folder"):
        vector.list_layers(str(tmp_path))


def test_layers_that_are_not_there_are_listed(tmp_path: Path) -> None:
    path = write(tmp_path / "a.gpx", GPX)
    with pytest.raises(FeatureError, match=r"no layer 'walls'.*waypoints"):
        vector.read_layer(path, "walls", None)


def test_layers_without_a_reference_system(tmp_path: Path) -> None:
    path = str(tmp_path / "a.shp")
    geopandas.GeoDataFrame({"name": ["a"]}, geometry=[shapely.Point(1, 2)]).to_file(path)
    frame, notes = vector.read_layer(path, None, BRITISH)
    assert frame.crs == BRITISH
    assert "no reference system stated" in notes[0]
    with pytest.raises(FeatureError, match="does not say its reference system"):
        vector.read_layer(path, None, None)


@pytest.mark.parametrize(
    ("value", "text"),
    [(None, None), (float("nan"), None), ("", None), ("  ", None), (3.0, "3"), (2.5, "2.5"), (" a ", " a ")],
)
def test_cells_as_text(value: object, text: str | None) -> None:
    assert vector.text_or_none(value) == text


@pytest.mark.parametrize(
    ("value", "number"), [(None, None), ("", None), ("1,5", 1.5), (" 2 ", 2.0), (3, 3.0)]
)
def test_cells_as_numbers(value: object, number: float | None) -> None:
    assert vector.number_or_none(value, "here") == number


def test_warnings_of_the_library_stay_unsaid(tmp_path: Path) -> None:
    """GDAL guesses the separator, and would tell of it in two lines on the error stream."""
    path = tmp_path / "places.csv"
    path.write_text('name,easting,northing;\nCairn,300297,699704;\n"Fold; old",300327,699704\n')
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert vector.list_layers(str(path)) == ["places"]
