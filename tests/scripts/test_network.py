"""Files that name addresses make no request: a server on the loopback hears nothing, and the user is told."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import geopandas
import pytest
import shapely

from hillsight.errors import FeatureError, HillsightError, NetworkError, TerrainError
from hillsight.ground import network, vector
from hillsight.ground.raster import describe, opened

from scripts.commands import AT, REACH, assert_refused, done, features, run, run_process, terrain  # isort: skip


#: A process of its own: a library may hold the interpreter while it waits for an answer.
_SERVER = """
import sys
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

folder, log = Path(sys.argv[1]), open(sys.argv[2], "a", buffering=1)


class Answer(BaseHTTPRequestHandler):
    def answer(self):
        log.write(f"{self.command} {self.path}\\n")
        file = folder / self.path.split("?")[0].lstrip("/")
        data = file.read_bytes() if file.is_file() else b""
        self.send_response(200 if file.is_file() else 404)
        self.send_header("Content-Length", str(len(data)))
        self.end_headers()
        if self.command == "GET":
            self.wfile.write(data)

    do_GET = do_HEAD = do_POST = do_PUT = do_PROPFIND = do_CONNECT = answer

    def log_message(self, *_):
        pass


server = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
print(server.server_port, flush=True)
server.serve_forever()
"""


@dataclass
class Server:
    """Answers with the files of a folder, and notes what it is asked for."""

    folder: Path
    log: Path
    address: str

    @property
    def heard(self) -> list[str]:
        return self.log.read_text().splitlines()

    def forget(self) -> None:
        self.log.write_text("")


@pytest.fixture
def server(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    folder, log = tmp_path_factory.mktemp("served"), tmp_path_factory.mktemp("heard") / "log.txt"
    log.touch()
    process = subprocess.Popen(
        [sys.executable, "-c", _SERVER, str(folder), str(log)],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        encoding="utf-8",
    )
    assert process.stdout is not None
    told = Server(folder, log, f"127.0.0.1:{int(process.stdout.readline())}")
    # Cloud storage of a user who has set it up: at our own server, without a key.
    storage = {
        "AWS_S3_ENDPOINT": told.address,
        "AWS_HTTPS": "NO",
        "AWS_VIRTUAL_HOSTING": "FALSE",
        "AWS_NO_SIGN_REQUEST": "YES",
        "CPL_GS_ENDPOINT": f"http://{told.address}/",
        "GS_NO_SIGN_REQUEST": "YES",
        "AZURE_NO_SIGN_REQUEST": "YES",
        "AZURE_STORAGE_CONNECTION_STRING": "DefaultEndpointsProtocol=http;AccountName=a;AccountKey=YQ==;"
        f"BlobEndpoint=http://{told.address}/a",
        "SWIFT_STORAGE_URL": f"http://{told.address}/s",
        "SWIFT_AUTH_TOKEN": "t",
        "no_proxy": "*",  # as behind many a company's wall: no proxy would do as a barrier by itself
        "GDAL_HTTP_TIMEOUT": "20",
    }
    for name, value in storage.items():
        monkeypatch.setenv(name, value)
    yield told
    process.kill()
    process.wait()
    process.stdout.close()


def escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")


def virtual_raster(source: str, more: str = "") -> str:
    """Of the size and place of ``scripts.commands.terrain``."""
    return (
        '<VRTDataset rasterXSize="60" rasterYSize="60"><SRS>EPSG:27700</SRS>'
        "<GeoTransform>300000,10,0,700000,0,-10</GeoTransform>"
        f'<VRTRasterBand dataType="Float32" band="1"><UnitType>m</UnitType>{more}<SimpleSource>'
        f'<SourceFilename relativeToVRT="0">{escaped(source)}</SourceFilename><SourceBand>1</SourceBand>'
        "</SimpleSource></VRTRasterBand></VRTDataset>"
    )


TILES = (
    '<GDAL_WMS><Service name="{kind}"><ServerUrl>http://{a}/{end}</ServerUrl></Service><DataWindow>'
    "<UpperLeftX>300000</UpperLeftX><UpperLeftY>700000</UpperLeftY><LowerRightX>300600</LowerRightX>"
    "<LowerRightY>699400</LowerRightY><SizeX>60</SizeX><SizeY>60</SizeY><TileLevel>0</TileLevel>"
    "</DataWindow><Projection>EPSG:27700</Projection><BandsCount>1</BandsCount></GDAL_WMS>"
)

#: Sources of a virtual raster, {a} the server; every way to a network that GDAL's drivers know by name.
RASTER_SOURCES = (
    "/vsicurl/http://{a}/a.tif",
    "/vsicurl?proxy=http://{a}&url=http://elsewhere.invalid/a.tif",
    "/vsicurl_streaming/http://{a}/a.tif",
    "http://{a}/a.tif",
    "/vsis3/bucket/a.tif",
    "/vsis3_streaming/bucket/a.tif",
    "/vsigs/bucket/a.tif",
    "/vsiaz/bucket/a.tif",
    "/vsiadls/bucket/a.tif",
    "/vsiswift/bucket/a.tif",
    "/vsiwebhdfs/http://{a}/webhdfs/v1/a.tif",
    "/vsizip/vsicurl/http://{a}/a.zip/a.tif",
    "/vsigzip//vsicurl/http://{a}/a.tif.gz",
    "/vsisubfile/0_10,/vsicurl/http://{a}/a.tif",
    "/vsicached?file=/vsicurl/http://{a}/a.tif",
    "vrt://http://{a}/a.tif?bands=1",
    'NETCDF:"http://{a}/a.nc#mode=bytes":v',
    "WCS:http://{a}/wcs?coverage=a",
    "WMS:http://{a}/wms?LAYERS=a",
    "WMTS:http://{a}/wmts.xml",
    "GTI:http://{a}/index.gpkg",
    "GPKG:/vsicurl/http://{a}/a.gpkg:t",
    TILES.format(kind="TMS", a="{a}", end="${{z}}.png"),
)

VECTOR_SOURCES = (
    "http://{a}/a.geojson",
    "/vsicurl/http://{a}/a.geojson",
    "/vsicurl?proxy=http://{a}&url=http://elsewhere.invalid/a.geojson",
    "/vsicurl_streaming/http://{a}/a.geojson",
    "/vsis3/bucket/a.gpkg",
    "WFS:http://{a}/wfs",
    "OAPIF:http://{a}/",
    "CSW:http://{a}/csw",
    "OGCAPI:http://{a}",
    "MVT:http://{a}/0",
    "ES:http://{a}",
    "NGW:http://{a}/resource/1",
)


def read_heights(path: Path) -> None:
    band = describe(str(path), None, None)
    with opened(str(path)) as dataset:
        band.heights_m(dataset, 0, 0, 4, 4, 1.0)


@pytest.mark.parametrize("source", RASTER_SOURCES)
def test_a_virtual_raster_asks_nobody(
    tmp_path: Path, server: Server, source: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "ground.vrt"
    path.write_text(virtual_raster(source.format(a=server.address)))
    with pytest.raises(NetworkError, match=r"ground\.vrt: it leads to (?:/vsi|http://).*nobody asked"):
        read_heights(path)
    assert server.heard == []
    if "proxy=" in source:
        monkeypatch.delenv("no_proxy")
    path.write_text(path.read_text().replace("/a.", "/another."))  # what was refused counts as absent
    with network.network_allowed(), pytest.raises(TerrainError):
        read_heights(path)
    assert server.heard, "the check would hear nothing anyway"


def test_virtual_rasters_within_one_another(tmp_path: Path, server: Server) -> None:
    (tmp_path / "inner.vrt").write_text(virtual_raster(f"/vsicurl/http://{server.address}/a.tif"))
    (tmp_path / "outer.vrt").write_text(virtual_raster(str(tmp_path / "inner.vrt")))
    with pytest.raises(NetworkError, match=f"/vsicurl/http://{server.address}/a.tif"):
        read_heights(tmp_path / "outer.vrt")
    assert server.heard == []


@pytest.mark.parametrize(
    "text",
    [
        TILES.format(kind="TMS", a="{a}", end="${{z}}/${{x}}/${{y}}.png"),
        TILES.format(kind="WMS", a="{a}", end="wms?"),
        "<WCS_GDAL><ServiceURL>http://{a}/wcs</ServiceURL><CoverageName>a</CoverageName></WCS_GDAL>",
        "<GDAL_WMTS><GetCapabilitiesUrl>http://{a}/wmts</GetCapabilitiesUrl></GDAL_WMTS>",
    ],
    ids=["TMS", "WMS", "WCS", "WMTS"],
)
def test_a_service_description_asks_nobody(tmp_path: Path, server: Server, text: str) -> None:
    path = tmp_path / "service.xml"
    path.write_text(text.format(a=server.address))
    with pytest.raises(NetworkError, match=rf"service\.xml: it leads to http://{server.address}"):
        read_heights(path)
    assert server.heard == []
    with network.network_allowed(), pytest.raises(TerrainError):
        read_heights(path)
    assert server.heard


def test_overviews_elsewhere_are_left_alone(tmp_path: Path, server: Server) -> None:
    """They are not needed: heights are read at full size."""
    path = terrain(tmp_path)
    Path(f"{path}.aux.xml").write_text(
        '<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">'
        f"/vsicurl/http://{server.address}/a.ovr</MDI></Metadata></PAMDataset>"
    )
    within = (
        "<Overview><SourceFilename>/vsicurl/http://"
        f"{server.address}/o.tif</SourceFilename><SourceBand>1</SourceBand></Overview>"
    )
    (tmp_path / "overviews.vrt").write_text(virtual_raster(str(path), within))
    read_heights(path)
    read_heights(tmp_path / "overviews.vrt")
    with opened(str(path)) as dataset:
        dataset.overviews(1)
    assert server.heard == []


@pytest.mark.parametrize("source", VECTOR_SOURCES)
def test_a_virtual_vector_file_asks_nobody(
    tmp_path: Path, server: Server, source: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "things.vrt"
    path.write_text(
        '<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>'
        f"{escaped(source.format(a=server.address))}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
    )

    def read() -> None:
        for layer in vector.list_layers(str(path)):
            vector.read_layer(str(path), layer, None)

    with pytest.raises(NetworkError, match=r"things\.vrt: it leads to (?:/vsi|http://)"):
        read()
    assert server.heard == []
    if "proxy=" in source:
        monkeypatch.delenv("no_proxy")
    path.write_text(path.read_text().replace("/a.", "/another."))  # what was refused counts as absent
    with network.network_allowed(), pytest.raises(HillsightError):
        read()
    assert server.heard


def test_a_link_to_a_reference_system(tmp_path: Path, server: Server) -> None:
    """GeoJSON 2008 (section 3.2, before RFC 7946) may give its CRS as a link; GDAL follows it in silence."""
    path = tmp_path / "linked.geojson"
    crs = {"type": "link", "properties": {"href": f"http://{server.address}/crs", "type": "proj4"}}
    point = {
        "type": "Feature",
        "properties": {"name": "x"},
        "geometry": {"type": "Point", "coordinates": [0, 0]},
    }
    path.write_text(json.dumps({"type": "FeatureCollection", "crs": crs, "features": [point]}))
    with pytest.raises(NetworkError, match=f"http://{server.address}/crs"):
        vector.read_layer(str(path), None, None)
    assert server.heard == []


def test_schemas_and_entities_of_gml(tmp_path: Path, server: Server) -> None:
    a = server.address
    (tmp_path / "a.gml").write_text(
        f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY e SYSTEM "http://{a}/entity">]>'
        '<ogr:FeatureCollection xmlns:ogr="http://ogr.maptools.org/" xmlns:gml="http://www.opengis.net/gml" '
        'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'xsi:schemaLocation="http://ogr.maptools.org/ http://{a}/x.xsd"><gml:featureMember><ogr:a fid="a.0">'
        f'<ogr:geometryProperty><gml:Point srsName="http://{a}/crs.xml"><gml:coordinates>1,2</gml:coordinates>'
        f'</gml:Point></ogr:geometryProperty><ogr:name xlink:href="http://{a}/name#a">n</ogr:name></ogr:a>'
        "</gml:featureMember></ogr:FeatureCollection>"
    )
    vector.list_layers(str(tmp_path / "a.gml"))
    assert server.heard == []


@pytest.mark.parametrize("suffix", ["gpkg", "sqlite"])
def test_views_that_ask_a_geocoder(tmp_path: Path, server: Server, suffix: str) -> None:
    path = tmp_path / f"views.{suffix}"
    driver = {"gpkg": "GPKG", "sqlite": "SQLite"}[suffix]
    frame = geopandas.GeoDataFrame({"name": ["x"]}, geometry=[shapely.Point(0, 0)], crs=27700)
    frame.to_file(path, layer="a", driver=driver)
    with sqlite3.connect(path) as file:
        file.execute(
            "CREATE VIEW asked AS SELECT 1 AS fid, ogr_geocode('Fell', 'geometry', "
            f"'QUERY_TEMPLATE=http://{server.address}/geo?q=%s') AS geom"
        )
    file.close()
    with pytest.raises(FeatureError):
        for layer in vector.list_layers(str(path)):
            vector.read_layer(str(path), layer, None)
    assert server.heard == []


def test_the_command_line_says_so_and_can_allow_it(tmp_path: Path, server: Server) -> None:
    terrain(server.folder)
    path = tmp_path / "ground.vrt"
    path.write_text(virtual_raster(f"/vsicurl/http://{server.address}/terrain.tif"))
    words = ["outlook", "--terrain", path, "--at", AT, "--reach", REACH, "--out", tmp_path / "out.gpkg"]
    says = ("ground.vrt", f"/vsicurl/http://{server.address}/terrain.tif", "(--allow-network)")
    assert_refused(tmp_path, *words, says=says)
    assert server.heard == []
    done(*words, "--allow-network")
    assert server.heard
    server.forget()
    assert run(*words).code == 2, "allowed for one run only"
    assert server.heard == []


def test_an_address_that_was_typed(tmp_path: Path, server: Server) -> None:
    """It is asked for, whatever else is being read; what a local file beside it names is not."""
    terrain(server.folder)
    features(server.folder)
    ground, things = (f"/vsicurl/http://{server.address}/{name}" for name in ("terrain.tif", "features.gpkg"))
    at = ("--at", AT, "--reach", REACH, "--out", tmp_path / "out.gpkg")
    done("outlook", "--terrain", ground, "--features", things, *at)
    assert any("terrain.tif" in asked for asked in server.heard)
    assert any("features.gpkg" in asked for asked in server.heard)
    server.forget()
    (tmp_path / "surface.vrt").write_text(virtual_raster(f"/vsicurl/http://{server.address}/surface.tif"))
    ended = run("outlook", "--terrain", ground, "--surface", tmp_path / "surface.vrt", *at)
    assert ended.code == 2 and "surface.tif" in ended.err
    assert not any("surface" in asked for asked in server.heard)


def test_settings_are_given_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import os

    import pyogrio
    import rasterio
    from rasterio.env import get_gdal_config

    monkeypatch.setenv("no_proxy", "a.invalid")
    monkeypatch.setenv("https_proxy", "http://proxy.invalid")
    monkeypatch.delenv("http_proxy", raising=False)
    path = terrain(tmp_path)
    with rasterio.Env(GDAL_HTTP_PROXY="mine.invalid"):
        with opened(str(path)):
            assert get_gdal_config("GDAL_HTTP_PROXY") != "mine.invalid"
            assert pyogrio.get_gdal_config_option("GDAL_HTTP_PROXY") is not None
            assert os.environ["no_proxy"] == ""
        assert get_gdal_config("GDAL_HTTP_PROXY") == "mine.invalid"
    assert get_gdal_config("CPL_VSIL_CURL_ALLOWED_FILENAME") is None
    assert pyogrio.get_gdal_config_option("GDAL_HTTP_PROXY") is None
    assert os.environ["no_proxy"] == "a.invalid"
    assert os.environ["https_proxy"] == "http://proxy.invalid"
    assert os.environ["http_proxy"] == ""


def test_grids_of_proj_are_not_fetched(tmp_path: Path, server: Server) -> None:
    """PROJ_NETWORK=ON of another program's making; a way that PROJ has a better grid for (OSTN15)."""
    terrain(tmp_path)
    words = ["outlook", "--terrain", "terrain.tif", "--at", AT, "--reach", REACH, "--out", "out.gpkg"]
    asked = {"PROJ_NETWORK": "ON", "PROJ_NETWORK_ENDPOINT": f"http://{server.address}"}
    ended = run_process(*words, "--out-crs", "EPSG:4326", folder=tmp_path, environment=asked)
    assert ended.code == 0, ended.err
    assert server.heard == []
    run_process(*words, "--out-crs", "EPSG:4326", "--allow-network", folder=tmp_path, environment=asked)
    assert server.heard, "the check would hear nothing anyway"
