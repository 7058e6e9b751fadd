"""Scripts as processes over HTTP on this machine: descriptions, jobs, and what requests must not do.

Addresses, status codes and the shapes of requests and answers are those of OGC API - Processes - Part 1: Core
1.0 (OGC 18-062r2), sections 7.8 to 7.13.
"""

from __future__ import annotations

import io
import json
import socket
import sqlite3
import sys
import time
import zipfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import geopandas
import pytest

import hillsight
from jobs.worlds import NEAR, world

pytest.importorskip("pygeoapi", reason="pygeoapi is not installed: the dependency group serve brings it")

from scripts.commands import SCRIPTS, run  # isort: skip
from serving.served import Server, serving  # isort: skip

VIEW = {"terrain": "ground.tif", "at": [NEAR], "reach": 400, "only_states": True}


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("served")
    world(folder / "inputs")
    (folder / "secret.txt").write_text("not for strangers")
    (folder / "inputs" / "way_out.tif").symlink_to(folder / "secret.txt")
    with serving(folder / "server", folder / "inputs") as there:
        yield there


def refused(server: Server, process: str, content: Any) -> str:
    """A request that is answered with 400 and one message; that message."""
    answer = server.run(process, content)
    assert answer.status == 400, answer.content
    assert answer.json["code"] == "InvalidParameterValue"
    message: str = answer.json["description"]
    assert "Traceback" not in message
    assert str(server.inputs) not in message
    assert str(server.outputs) not in message
    return message


def test_every_script_is_listed(server: Server) -> None:
    listed = server.get("processes?f=json&limit=1000").json["processes"]
    assert {one["id"] for one in listed} == {name.replace(" ", "-") for name in SCRIPTS} - {"doctor"}


@pytest.mark.parametrize("name", ["viewshed", "exercise check", "batch", "posts"])
def test_a_description_is_that_of_the_command(server: Server, name: str) -> None:
    served = server.get(f"processes/{name.replace(' ', '-')}?f=json").json
    told = json.loads(run(*name.split(), "--describe").out)
    for key in ("title", "description", "version", "outputs"):
        assert served[key] == told[key]
    for one, what in served["inputs"].items():
        assert what == told["inputs"][one]
    left_out = set(told["inputs"]) - set(served["inputs"])
    written = {one for one in told["inputs"] if one in told["outputs"]}
    assert left_out == written | ({"workers", "scheduler", "afresh"} if name == "batch" else set())
    assert served["outputTransmission"] == ["value"]


def test_a_job_gives_what_python_gives(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = server.run("viewshed", {"inputs": VIEW})
    assert answer.status == 200, answer.content
    assert answer.media_type == "application/geopackage+sqlite3"
    (tmp_path / "served.gpkg").write_bytes(answer.content)
    monkeypatch.chdir(server.inputs)
    direct = hillsight.viewshed(
        "ground.tif", at=(NEAR,), reach=400.0, only_states=True, out=tmp_path / "d.gpkg"
    )
    served = geopandas.read_file(tmp_path / "served.gpkg", layer="stations")
    expected = geopandas.read_file(tmp_path / "d.gpkg", layer="stations")
    assert served.drop(columns=[]).equals(expected)
    (table,) = direct.rasters
    with sqlite3.connect(tmp_path / "served.gpkg") as one, sqlite3.connect(tmp_path / "d.gpkg") as other:
        tiles = f'SELECT zoom_level, tile_column, tile_row, tile_data FROM "{table}" ORDER BY 1, 2, 3'
        assert one.execute(tiles).fetchall() == other.execute(tiles).fetchall() != []


def test_one_layer_as_geojson(server: Server) -> None:
    """RFC 7946, section 4: longitude and latitude of WGS 84."""
    answer = server.run(
        "viewshed", {"inputs": VIEW, "outputs": {"out": {"format": {"mediaType": "application/geo+json"}}}}
    )
    assert answer.status == 200, answer.content
    assert answer.media_type == "application/geo+json"
    assert set(answer.json) == {"type", "features"}
    (station,) = answer.json["features"]
    assert station["properties"]["station"] == "By the knoll"
    longitude, latitude = station["geometry"]["coordinates"][:2]
    assert longitude == pytest.approx(station["properties"]["longitude"], abs=1e-6)
    assert latitude == pytest.approx(station["properties"]["latitude"], abs=1e-6)


def test_features_may_come_with_the_request(server: Server) -> None:
    places = {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"name": "Sent along"},
                "geometry": {"type": "Point", "coordinates": [-3.6045, 56.1716]},
            }
        ],
    }
    asked = {"terrain": "ground.tif", "stations": places, "reach": 200, "only_states": True}
    outputs = {"out": {"format": {"mediaType": "application/geo+json"}}}
    answer = server.run("viewshed", {"inputs": asked, "outputs": outputs})
    assert answer.status == 200, answer.content
    assert [one["properties"]["station"] for one in answer.json["features"]] == ["Sent along"]


def test_several_outputs_come_in_one_object(server: Server) -> None:
    asked = {"inputs": {**VIEW, "features": "features.gpkg"}, "outputs": {"out": {}, "csv": {}}}
    asked["inputs"].pop("only_states")
    answer = server.run("bearings", asked)
    assert answer.status == 200, answer.content
    assert set(answer.json) == {"out", "csv"}
    assert answer.json["csv"]["mediaType"] == "text/csv"
    assert "Lone Knoll" in answer.json["csv"]["value"]
    assert answer.json["out"]["encoding"] == "base64"


@pytest.mark.slow
def test_a_folder_comes_as_an_archive(server: Server) -> None:
    answer = server.run("viewshed", {"inputs": VIEW, "outputs": {"rasters": {}}})
    assert answer.status == 200, answer.content
    assert answer.media_type == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        assert [name for name in archive.namelist() if name.endswith(".tif")]


def test_a_job_that_is_waited_for(server: Server) -> None:
    answer = server.run("viewshed", {"inputs": VIEW}, Prefer="respond-async")
    assert answer.status == 201, answer.content
    job = answer.headers["Location"].rpartition("/")[2]
    for _ in range(600):
        status = server.get(f"jobs/{job}?f=json").json
        if status["status"] in ("successful", "failed"):
            break
        time.sleep(0.2)
    assert status["status"] == "successful", status
    result = server.get(f"jobs/{job}/results")
    assert result.status == 200
    assert result.content.startswith(b"SQLite format 3\0")
    assert server.get(f"jobs/{job}", method="DELETE").status == 200
    assert server.get(f"jobs/{job}?f=json").status == 404


def test_requests_at_once_keep_apart(server: Server) -> None:
    """Each process and each place gets its own answer."""
    outputs = {"out": {"format": {"mediaType": "application/geo+json"}, "layer": "stations"}}
    asked = [
        (
            process,
            {"inputs": {**VIEW, "at": [f"{300_600 + 50 * number},699200,P{number}"]}, "outputs": outputs},
        )
        for number, process in enumerate(["viewshed", "dead-ground", "viewshed", "dead-ground"])
    ]
    for process, content in asked:
        if process == "dead-ground":
            content["inputs"].pop("only_states")
    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(lambda one: server.run(*one), asked))
    for number, answer in enumerate(answers):
        assert answer.status == 200, answer.content
        assert [one["properties"]["station"] for one in answer.json["features"]] == [f"P{number}"]


@pytest.mark.slow
def test_nothing_is_left_behind(server: Server) -> None:
    server.run("viewshed", {"inputs": VIEW})
    assert [path.name for path in server.outputs.iterdir() if path.name.startswith("hillsight-")] == []


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"reach": -5}, "reach"),
        ({"at": ["somewhere"]}, "somewhere"),
        ({"terrain": "nothing_there.tif"}, "holds no such file"),
        ({"terrain": "sighting.toml"}, "not a raster that can be opened"),
        ({"reach": "far"}, "should be a number"),
        ({"reach": None, "reac": 5}, "takes no input 'reac'"),
        ({"only_states": "yes"}, "should be true or false"),
        ({"at_crs": "+proj=pipeline +step +proj=hgridshift +grids=/etc/hostname"}, "EPSG:27700"),
        ({"grid_crs": "--allow-network"}, "EPSG:27700"),
    ],
)
def test_bad_input_is_refused_in_our_words(server: Server, changed: dict[str, Any], says: str) -> None:
    asked = {key: value for key, value in {**VIEW, **changed}.items() if value is not None}
    assert says in refused(server, "viewshed", {"inputs": asked})


@pytest.mark.parametrize(
    "name",
    [
        "../secret.txt",
        "/etc/hostname",
        "way_out.tif",
        "/vsicurl/http://127.0.0.1:1/a.tif",
        "http://127.0.0.1:1/a.tif",
        "./../inputs/ground.tif",
        ".",
    ],
)
@pytest.mark.parametrize("key", ["terrain", "stations", "cover"])
def test_files_elsewhere_are_refused(server: Server, key: str, name: str) -> None:
    assert "holds no such file" in refused(server, "viewshed", {"inputs": {**VIEW, key: name}})


def test_a_request_decides_neither_network_nor_place(server: Server) -> None:
    assert "takes no input" in refused(server, "viewshed", {"inputs": {**VIEW, "allow_network": True}})
    assert "the server decides" in refused(server, "viewshed", {"inputs": {**VIEW, "out": "/tmp/a.gpkg"}})
    job = {"job": "batch.toml", "scheduler": "tcp://127.0.0.1:8786"}
    assert "takes no input 'scheduler'" in refused(server, "batch", {"inputs": job})
    linked = {"href": "http://127.0.0.1:1/places.geojson"}
    assert "fetches nothing" in refused(server, "viewshed", {"inputs": {**VIEW, "stations": linked}})


def test_nobody_is_called_back_and_no_document_made(server: Server) -> None:
    asked = {"inputs": VIEW, "subscriber": {"successUri": "http://127.0.0.1:1/done"}}
    answer = server.run("viewshed", asked)
    assert answer.status == 400
    assert "calls nobody back" in answer.json["description"]
    answer = server.run("viewshed", {"inputs": VIEW, "response": "document"})
    assert answer.status == 400
    assert "Leave response out" in answer.json["description"]


def test_what_is_no_request(server: Server) -> None:
    assert server.run("viewshed", b"{").status == 400
    assert server.run("nothing", {"inputs": {}}).status == 404
    assert "the inputs are no object" in refused(server, "viewshed", {"inputs": [1]})
    assert "terrain" in refused(server, "viewshed", {"inputs": {"at": [NEAR]}}).lower()
    assert "no output 'plan'" in refused(server, "viewshed", {"inputs": VIEW, "outputs": {"plan": {}}})


def test_a_file_that_leads_to_an_address_makes_no_request(server: Server) -> None:
    """A virtual raster in the folder of inputs; whoever listens at its address hears nothing."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        listening.settimeout(0.5)
        address = f"http://127.0.0.1:{listening.getsockname()[1]}/ground.tif"
        (server.inputs / "leads_out.vrt").write_text(
            '<VRTDataset rasterXSize="161" rasterYSize="161"><SRS>EPSG:27700</SRS>'
            "<GeoTransform>300000,10,0,700000,0,-10</GeoTransform>"
            '<VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
            f"<SourceFilename>/vsicurl/{address}</SourceFilename><SourceBand>1</SourceBand>"
            "</SimpleSource></VRTRasterBand></VRTDataset>"
        )
        assert address in refused(server, "viewshed", {"inputs": {**VIEW, "terrain": "leads_out.vrt"}})
        with pytest.raises(TimeoutError):
            listening.accept()


@pytest.mark.slow
def test_a_job_ends_at_the_servers_limits(tmp_path: Path, server: Server) -> None:
    with serving(tmp_path / "hasty", server.inputs, seconds=0.05) as hasty:
        assert "longer than 0.05 s" in refused(hasty, "viewshed", {"inputs": VIEW})
    with serving(tmp_path / "small", server.inputs, megabytes=0.001) as small:
        message = refused(small, "viewshed", {"inputs": VIEW})
        assert "grown beyond the size allowed" in message


@pytest.mark.skipif(sys.platform != "linux", reason="memory is limited on Linux only")
def test_a_fault_is_no_fault_of_the_request(tmp_path: Path, server: Server) -> None:
    """RFC 9110, section 15.6: 5xx where the server has erred; the code is that of OGC 18-062r2, table 7."""
    with serving(tmp_path / "tiny", server.inputs, memory_gib=0.05) as tiny:
        answer = tiny.run("viewshed", {"inputs": VIEW})
    assert answer.status == 500, answer.content
    assert answer.json["code"] == "NoApplicableCode"
    assert "fault of hillsight, not of your data" in answer.json["description"]
