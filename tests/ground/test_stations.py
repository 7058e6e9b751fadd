"""Stations: what is given, where it falls, what it is called."""

from __future__ import annotations

import unicodedata
from pathlib import Path

import geopandas
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyproj import CRS

from hillsight.errors import StationError
from hillsight.ground.stations import Place, Station, middle_of, parse_at, read_places, settle_stations

BRITISH, WGS84 = CRS("EPSG:27700"), CRS("EPSG:4326")
BOUNDS_M = (200_000.0, 750_000.0, 230_000.0, 790_000.0)
NEAR = (-5.0, 56.8)

ODD_NAMES = [
    "O'Brien's \"Top\"",
    "two\nlines\tand tab",
    "⛰️ peak 👩🏽‍🦯",
    "x'); DROP TABLE stations;--",
    "../../etc/passwd",
    "C:\\con",
    "%s {0} $HOME",
    "名前",
]


def places(*names: str | None) -> list[Place]:
    return [
        Place(name, 216_000.0 + i, 771_000.0, BRITISH, None, f"row {i + 1}") for i, name in enumerate(names)
    ]


def labels(*names: str | None) -> list[str]:
    return [station.label for station in settle_stations(places(*names), BRITISH, BOUNDS_M, NEAR)[0]]


@pytest.mark.parametrize(
    ("text", "x", "y", "name"),
    [
        ("216671,771281", 216_671.0, 771_281.0, None),
        (" 216671.5 , 771281.25 , The top, east side", 216_671.5, 771_281.25, " The top, east side"),
        ("-5.0035,56.7969,A", -5.0035, 56.7969, "A"),
        ("1e5,.5,", 100_000.0, 0.5, None),
        ("1,2,\n", 1.0, 2.0, None),
    ],
)
def test_at(text: str, x: float, y: float, name: str | None) -> None:
    place = parse_at(text, BRITISH)
    assert (place.x, place.y, place.name, place.height_m) == (x, y, name, None)


@pytest.mark.parametrize(
    "text",
    ["", "216671", "216671 771281", "NN 166 712", "nan,1", "inf,1", "1_0,2", "a,b", "1,2north", "1e999,2"],
)
def test_at_that_is_no_position(text: str) -> None:
    with pytest.raises(StationError, match=r"^place: "):
        parse_at(text, BRITISH)


def test_places_of_a_file(tmp_path: Path) -> None:
    path = str(tmp_path / "stations.gpkg")
    geopandas.GeoDataFrame(
        {"NAME": ["a", None, " "], "ground_height_m": [812.5, None, None]},
        geometry=[shapely.Point(216_671, 771_281, 99), shapely.MultiPoint([(1, 2)]), shapely.Point(3, 4)],
        crs=BRITISH,
    ).to_file(path)
    found = read_places(path, None, None)
    assert [(p.name, p.x, p.y, p.height_m) for p in found] == [
        ("a", 216_671.0, 771_281.0, 812.5),
        (None, 1.0, 2.0, None),
        (None, 3.0, 4.0, None),
    ]
    assert found[1].source == "stations.gpkg, layer stations, row 2"


def test_points_of_a_multipoint_become_places(tmp_path: Path) -> None:
    path = str(tmp_path / "a.geojson")
    points = shapely.MultiPoint([(-5.0, 56.8), (-5.1, 56.9)])
    geopandas.GeoDataFrame({"label": ["a"]}, geometry=[points], crs=WGS84).to_file(path)
    assert [(p.name, p.x) for p in read_places(path, None, None)] == [("a", -5.0), ("a", -5.1)]


@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_names_are_kept_exactly(tmp_path: Path, name: str) -> None:
    path = str(tmp_path / "a.gpkg")
    geopandas.GeoDataFrame({"name": [name]}, geometry=[shapely.Point(216_671, 771_281)], crs=BRITISH).to_file(
        path
    )
    stations, _, _ = settle_stations(read_places(path, None, None), BRITISH, BOUNDS_M, NEAR)
    assert stations[0].name == name
    assert stations[0].label == name.replace("\n", " ").replace("\t", " ")


def test_gpx_waypoints_are_taken(tmp_path: Path) -> None:
    path = tmp_path / "a.gpx"
    path.write_text(
        '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="56.8" lon="-5"><ele>9999</ele><name>W</name></wpt></gpx>',
        encoding="utf-8",
    )
    found = read_places(str(path), None, None)
    assert [(p.name, p.height_m) for p in found] == [("W", None)]  # a GPS height is no surveyed height


def test_the_layer_must_be_clear(tmp_path: Path) -> None:
    path = str(tmp_path / "a.gpkg")
    point = geopandas.GeoDataFrame({"name": ["a"]}, geometry=[shapely.Point(1, 2)], crs=BRITISH)
    line = geopandas.GeoDataFrame(
        {"name": ["a"]}, geometry=[shapely.LineString([(1, 2), (3, 4)])], crs=BRITISH
    )
    line.to_file(path, layer="walls")
    with pytest.raises(StationError, match=r"no layer holds points.*walls"):
        read_places(path, None, None)
    with pytest.raises(StationError, match=r"row 1: a station must be a point, not a LineString"):
        read_places(path, "walls", None)
    point.to_file(path, layer="first")
    assert len(read_places(path, None, None)) == 1
    point.to_file(path, layer="second")
    with pytest.raises(StationError, match=r"several layers.*first, second"):
        read_places(path, None, None)
    point.to_file(path, layer="stations")
    assert read_places(path, None, None)[0].source == "a.gpkg, layer stations, row 1"
    with pytest.raises(StationError, match=r"no layer 'third'"):
        read_places(path, "third", None)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name,E,N\n", "no stations"),
        ("name,E,N\na,,\n", "row 1: the station has no position"),
        (
            "name,E,N,ground_height_m\na,1,2,1e38\n",
            r"row 1, column ground_height_m: no ground is 1e\+38 m high",
        ),
        ("name,E,N,ground_height_m\na,1,2,high\n", "'high' is not a finite number"),
        ("name,E,N\na,1e400,2\n", "not a finite number"),
    ],
)
def test_bad_station_files(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "t.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(StationError, match=said):
        read_places(str(path), None, BRITISH)


def test_missing_station_file(tmp_path: Path) -> None:
    with pytest.raises(StationError, match="no such file"):
        read_places(str(tmp_path / "absent.gpkg"), None, None)


def test_labels() -> None:
    assert labels(None) == ["station 1"]
    assert labels("a", None, " ", "b") == ["a", "station 2", "station 3", "b"]
    assert labels("a", "a", "a") == ["a", "a (2)", "a (3)"]
    assert labels("a", "a", "a (2)") == ["a", "a (3)", "a (2)"]
    assert labels(None, "station 1") == ["station 1 (2)", "station 1"]
    assert labels("\n", "a\tb\u2028c") == ["station 1", "a b c"]
    assert labels("\x07", "a\x00b") == ["<U+0007>", "a<U+0000>b"]


def test_a_name_given_twice_is_noted() -> None:
    stations, notes, _ = settle_stations(places("a", "b", "a"), BRITISH, BOUNDS_M, NEAR)
    assert [station.name for station in stations] == ["a", "b", "a"]
    assert notes == ["row 3: the name 'a' is taken; this station is called 'a (2)'"]


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])  # of a busy machine
@given(
    st.lists(
        st.one_of(st.none(), st.text(max_size=6), st.sampled_from(["a", "a (2)", "station 1"])), min_size=1
    )
)
def test_labels_are_unique_and_on_one_line(names: list[str | None]) -> None:
    stations, _, _ = settle_stations(places(*names), BRITISH, BOUNDS_M, NEAR)
    found = [station.label for station in stations]
    assert len(set(found)) == len(names)
    assert all(found)
    assert not any(unicodedata.category(c) == "Cc" for label in found for c in label)
    assert [s.name for s in stations] == [n if n is not None and n.strip() else None for n in names]


def test_positions_come_into_the_working_system() -> None:
    """Summit of the test terrain: WGS 84 by the operation PROJ has at hand, good to 2 m or better."""
    given_places = [Place("top", -5.00355, 56.79690, WGS84, 1345.0, "a"), *places("b")]
    stations, notes, operations = settle_stations(given_places, BRITISH, BOUNDS_M, NEAR)
    assert isinstance(stations[0], Station)
    assert (stations[0].easting_m, stations[0].northing_m) == pytest.approx((216_668.0, 771_286.0), abs=15.0)
    assert stations[0].ground_height_m == 1345.0
    assert stations[1].easting_m == 216_000.0
    assert [operation.accuracy_m is not None for operation in operations] == [True, True]
    assert notes == [operations[0].note]
    assert "good to about" in notes[0]


def test_without_a_datum_shift_a_station_is_refused() -> None:
    place = Place("a", 216_671.0, 771_281.0, CRS("EPSG:27700"), None, "row 7")
    own_grid = CRS(
        "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 +y_0=-100000 +a=6377000 +b=6356000"
    )
    with pytest.raises(StationError, match=r"^row 7: station 'a': no way is known .* hundreds of metres"):
        settle_stations([place], own_grid, BOUNDS_M, NEAR)


def test_the_middle_of_places_also_about_the_180th_meridian() -> None:
    fiji = [Place(None, x, -17.0, WGS84, None, "a") for x in (179.9, -179.7, 179.8)]
    assert middle_of(fiji) == pytest.approx((179.9, -17.0))
    assert middle_of(places("a")) == pytest.approx((-5.01, 56.79), abs=0.01)
    with pytest.raises(StationError, match="no place on the Earth") as caught:
        middle_of([parse_at("0,95", WGS84)])
    assert caught.value.parameters == ("at_crs",)


def at(text: str, crs: CRS = BRITISH) -> None:
    settle_stations([parse_at(text, crs)], BRITISH, BOUNDS_M, NEAR)


def test_off_the_terrain() -> None:
    with pytest.raises(StationError) as caught:
        at("116671,771281,Far Top")
    text = str(caught.value)
    assert "'Far Top'" in text
    assert "E 200000.0 to 230000.0, N 750000.0 to 790000.0" in text
    assert caught.value.exit_code == 2


def test_the_edge_belongs_to_the_terrain() -> None:
    at("200000,750000")
    at("230000,790000")
    with pytest.raises(StationError, match="off the terrain"):
        at("230000.01,790000")


def test_degrees_by_mistake() -> None:
    with pytest.raises(StationError, match=r"look like longitude and latitude: state EPSG:4326") as caught:
        at("-5.0035,56.7969")
    assert caught.value.parameters == ("at_crs",)


def test_numbers_the_other_way_round() -> None:
    with pytest.raises(StationError, match="easting comes first"):
        at("771281,216671")
    with pytest.raises(StationError, match="longitude comes first"):
        at("56.7969,-5.0035", WGS84)


def test_metres_said_to_be_degrees() -> None:
    with pytest.raises(StationError, match=r"station 1.*no longitude and latitude"):
        at("216671,771281", WGS84)


def test_no_stations() -> None:
    with pytest.raises(StationError, match="no stations"):
        settle_stations([], BRITISH, BOUNDS_M, NEAR)
