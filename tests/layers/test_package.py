"""GeoPackages: whole, exact, documented, and the same again on a rerun."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import subprocess
import sys
import threading
import warnings
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pyproj
import pytest
import rasterio
import shapely

from hillsight.errors import OutputError
from hillsight.ground.grid import Grid
from hillsight.layers.package import Package, package, raster_table
from hillsight.layers.style_tables import styles_in
from hillsight.layers.styles import style_text
from hillsight.schema.layers import LAYERS
from hillsight.words.states import GROUND_STATE_MEANINGS

from layers.made import GRID, GRID_CRS, HOSTILE, STAMP, depths, frame, provenance, states  # isort: skip


def fill(made: Package) -> None:
    for layer in LAYERS:
        made.write(layer, frame(layer, 0 if layer == "unknown_ground" else len(HOSTILE)))
    for name in ("top", "knoll"):
        made.write_raster(f"viewshed_{name}", states(), GRID, "what is seen")
        made.write_raster(f"depth_{name}", depths(), GRID, "metres a thing must stand tall to show")


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("full") / "out.gpkg"
    with package(path, provenance()) as made:
        fill(made)
    return path


def rows(path: Path, query: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as database:
        return database.execute(query).fetchall()


@pytest.mark.parametrize("layer", LAYERS)
def test_geopandas_reads_what_was_written(full: Path, layer: str) -> None:
    back = geopandas.read_file(full, layer=layer)
    given = frame(layer, 0 if layer == "unknown_ground" else len(HOSTILE))
    assert [name for name in back.columns if name != "geometry"] == [c.name for c in LAYERS[layer].columns]
    assert back.crs == GRID_CRS
    assert len(back) == len(given)
    assert back.geometry.is_valid.all()
    for column in LAYERS[layer].columns:
        for mine, theirs in zip(given[column.name], back[column.name], strict=True):
            if mine is None or mine != mine:
                assert theirs is None or theirs != theirs
            else:
                assert mine == theirs, column.name
    for mine, theirs in zip(given.geometry, back.geometry, strict=True):
        assert shapely.equals_identical(mine, theirs)


def test_field_and_geometry_types(full: Path) -> None:
    wanted = {"text": "OFTString", "real": "OFTReal", "integer": "OFTInteger64", "boolean": "OFTInteger"}
    for layer, declared in LAYERS.items():
        info = pyogrio.read_info(full, layer=layer)
        assert info["geometry_type"] == declared.geometry
        assert list(info["fields"]) == [column.name for column in declared.columns]
        assert list(info["ogr_types"]) == [wanted[column.type] for column in declared.columns]


def test_second_gdal_agrees(full: Path) -> None:
    # GDAL's own reader (gdal-wheel), a third build beside those of pyogrio and rasterio that wrote the file.
    gdal = pytest.importorskip("osgeo.gdal", reason="gdal-wheel is not installed")
    gdal.UseExceptions()
    with gdal.OpenEx(str(full), gdal.OF_VECTOR) as source:
        names = {source.GetLayer(i).GetName() for i in range(source.GetLayerCount())}
        assert set(LAYERS) <= names
        for layer, declared in LAYERS.items():
            read = source.GetLayerByName(layer)
            assert read.GetFeatureCount() == (0 if layer == "unknown_ground" else len(HOSTILE))
            assert read.GetSpatialRef().GetAuthorityCode(None) == "27700"
            assert read.GetMetadataItem("DESCRIPTION") == declared.meaning
            fields = read.GetLayerDefn()
            for i, column in enumerate(declared.columns):
                assert fields.GetFieldDefn(i).GetName() == column.name
                assert column.meaning in fields.GetFieldDefn(i).GetComment()
            if len(HOSTILE) == read.GetFeatureCount() and declared.columns[0].name == "station":
                assert [feature.GetField("station") for feature in read] == list(HOSTILE)
    for table, array in (("viewshed_knoll", states()), ("depth_top", depths())):
        options = ["BAND_COUNT=1"] if array.dtype == np.uint8 else []
        with gdal.OpenEx(f"GPKG:{full}:{table}", gdal.OF_RASTER, open_options=options) as source:
            assert np.array_equal(source.ReadAsArray(), array, equal_nan=array.dtype == np.float32)
            assert source.GetSpatialRef().GetAuthorityCode(None) == "27700"


def test_rasters_come_back_bit_for_bit_in_place(full: Path) -> None:
    west, _, _, north = GRID.cell_edges_m
    for table, array in (("viewshed_top", states()), ("depth_knoll", depths())):
        with rasterio.open(f"GPKG:{full}:{table}") as file:
            back = file.read(1)
            assert back.dtype == array.dtype
            assert back.tobytes() == array.tobytes()
            assert file.crs.to_epsg() == 27700
            place = file.transform
            assert np.allclose((place.a, place.e), (GRID.spacing_x_m, -GRID.spacing_y_m), rtol=1e-9)
            assert np.allclose((place.c, place.f), (west, north), rtol=0, atol=1e-5)


@pytest.mark.parametrize("fill_value", [np.nan, 0.0, 12.5])
@pytest.mark.parametrize("size", [(1, 1), (1, 300), (256, 256), (257, 255), (600, 3)])
def test_rasters_of_any_size_and_one_value(tmp_path: Path, fill_value: float, size: tuple[int, int]) -> None:
    grid = Grid(GRID_CRS, 1e5 / 3, 2e5 / 7, 10.0 / 3, 10.0, *size)
    depth_m = np.full(size, fill_value, np.float32)
    codes = np.full(size, 0 if np.isnan(fill_value) else int(fill_value), np.uint8)
    path = tmp_path / "r.gpkg"
    with package(path, provenance()) as made:
        made.write_raster("depth_a", depth_m, grid, "depth")
        made.write_raster("viewshed_a", codes, grid, "codes")
    for table, array in (("depth_a", depth_m), ("viewshed_a", codes)):
        with rasterio.open(f"GPKG:{path}:{table}") as file:
            assert file.read(1).tobytes() == array.tobytes()


def test_rerun_is_the_same_byte_for_byte(full: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.gpkg"
    with package(again, provenance()) as made:
        fill(made)
    assert hashlib.sha256(again.read_bytes()).digest() == hashlib.sha256(full.read_bytes()).digest()


def test_rerun_at_another_time_differs_in_the_time_alone(full: Path, tmp_path: Path) -> None:
    later = tmp_path / "later.gpkg"
    with package(later, provenance(written_at="2002-10-11T12:13:14Z")) as made:
        fill(made)
    with closing(sqlite3.connect(full)) as one, closing(sqlite3.connect(later)) as two:
        before, after = list(one.iterdump()), list(two.iterdump())
    assert before != after
    changed = [line.replace("2002-10-11T12:13:14", STAMP[:19]) for line in after]
    assert changed == before


def test_rerun_in_a_fresh_process_with_odd_settings(full: Path, tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from layers.test_package import fill, package, provenance\n"
        "with package(Path(sys.argv[1]), provenance()) as made: fill(made)"
    )
    odd = {"OGR_SQLITE_JOURNAL": "WAL", "OGR_CURRENT_DATE": "1999-01-01T00:00:00Z", "TZ": "Asia/Tokyo"}
    path = [str(Path(__file__).parents[1]), *(entry for entry in sys.path if entry)]
    again = tmp_path / "again.gpkg"
    subprocess.run(
        [sys.executable, "-c", code, str(again)],
        check=True,
        env={**os.environ, **odd, "PYTHONPATH": os.pathsep.join(path)},
    )
    assert again.read_bytes() == full.read_bytes()
    assert [entry.name for entry in tmp_path.iterdir()] == ["again.gpkg"]


def test_file_is_a_sound_sqlite_database(full: Path) -> None:
    # Application id and versions: OGC 12-128r18, requirement 2 (from memory): 'GPKG', 10200 or later.
    assert rows(full, "PRAGMA integrity_check") == [("ok",)]
    assert rows(full, "PRAGMA foreign_key_check") == []
    assert rows(full, "PRAGMA application_id") == [(0x47504B47,)]
    assert int(str(rows(full, "PRAGMA user_version")[0][0])) >= 10200
    assert rows(full, "PRAGMA journal_mode") == [("delete",)]
    assert not [
        entry.name for entry in full.parent.iterdir() if "hillsight" in entry.name or "-" in entry.name
    ]


def test_contents_are_described(full: Path) -> None:
    found = {name: (kind, text) for name, kind, text in rows(
        full, "SELECT table_name, data_type, description FROM gpkg_contents"
    )}  # fmt: skip
    for layer, declared in LAYERS.items():
        assert found[layer] == ("features", declared.meaning)
    assert found["viewshed_top"] == ("tiles", "what is seen")
    assert found["depth_top"] == ("2d-gridded-coverage", "metres a thing must stand tall to show")
    indexed = {
        str(name) for (name,) in rows(full, "SELECT name FROM sqlite_master WHERE name LIKE 'rtree_%_geom'")
    }
    assert indexed == {f"rtree_{layer}_geom" for layer in LAYERS}
    times = {str(time) for (time,) in rows(full, "SELECT last_change FROM gpkg_contents")}
    assert {time[:19] for time in times} == {STAMP[:19]}


#: Which style each table has, as a reader asks that knows the drafts of OGC Testbed-16 (report OGC 20-019r1).
STYLES_OF_TABLES = """
SELECT r.table_name, s.style, t.format, t.stylesheet FROM gpkgext_sa_reference r
JOIN gpkgext_semantic_annotations a ON a.id = r.sa_id AND a.type = 'style'
JOIN gpkgext_styles s ON s.uri = a.uri
JOIN gpkgext_stylesheets t ON t.style_id = s.id
"""


def test_styles_travel_inside(full: Path) -> None:
    styles = {layer: layer for layer in LAYERS} | {
        f"{kind}_{name}": kind for kind in ("viewshed", "depth") for name in ("top", "knoll")
    }
    found = rows(full, STYLES_OF_TABLES)
    assert len(found) == len(styles)
    assert {name: style for name, style, *_ in found} == styles
    for _, style, form, text in found:
        assert form == "application/vnd.ogc.sld+xml;version=1.0"
        assert bytes(text).decode() == style_text(str(style))  # type: ignore[call-overload]
    once = [style for (style,) in rows(full, "SELECT style FROM gpkgext_styles")]
    assert sorted(once) == sorted(set(styles.values()))
    assert styles_in(full) == {style: style_text(style) for style in once}


def test_tables_of_styles_are_registered_and_are_no_layers(full: Path) -> None:
    registered = rows(
        full, "SELECT table_name FROM gpkg_extensions WHERE table_name LIKE 'gpkgext%' ORDER BY table_name"
    )
    there = rows(
        full, "SELECT name FROM sqlite_master WHERE type='table' AND name LIKE 'gpkgext%' ORDER BY 1"
    )
    assert registered == there
    assert len(there) == 4
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert list(pyogrio.list_layers(full)[:, 0]) == list(LAYERS)


def test_a_file_without_styles_is_told(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "other.gpkg") as database:
        database.execute("CREATE TABLE gpkg_contents (table_name TEXT)")
    with pytest.raises(OutputError, match="styles cannot be read"):
        styles_in(tmp_path / "other.gpkg")


def test_metadata_says_where_it_comes_from(full: Path) -> None:
    whole = rows(
        full,
        "SELECT md_scope, mime_type, metadata FROM gpkg_metadata "
        "JOIN gpkg_metadata_reference ON md_file_id = id WHERE reference_scope = 'geopackage'",
    )
    assert whole == [("dataset", "application/json", provenance().as_json())]
    tables = {
        str(name): json.loads(str(text))
        for name, text in rows(
            full,
            "SELECT table_name, metadata FROM gpkg_metadata JOIN gpkg_metadata_reference ON md_file_id = id "
            "WHERE reference_scope = 'table'",
        )
    }
    assert len(tables) == len(LAYERS) + 4
    for layer, declared in LAYERS.items():
        assert [c["name"] for c in tables[layer]["columns"]] == [c.name for c in declared.columns]
        assert [c["unit"] for c in tables[layer]["columns"]] == [c.unit for c in declared.columns]
    codes = {str(int(code)): meaning for code, meaning in GROUND_STATE_MEANINGS.items()}
    assert tables["viewshed_top"]["codes"] == codes
    assert "codes" not in tables["depth_top"]
    listed = dict(rows(full, "SELECT value, description FROM gpkg_data_column_constraints"))
    assert listed == codes
    documented = rows(full, "SELECT count(*) FROM gpkg_data_columns")
    assert documented == [(sum(len(declared.columns) for declared in LAYERS.values()),)]
    assert rows(full, "SELECT DISTINCT uom FROM gpkg_2d_gridded_coverage_ancillary") == [("m",)]


def test_provenance_may_be_completed_until_the_end(tmp_path: Path) -> None:
    path = tmp_path / "out.gpkg"
    with package(path, provenance()) as made:
        made.write("stations", frame("stations"))
        made.provenance = provenance(notes=("known late",))
    (text,) = rows(path, "SELECT metadata FROM gpkg_metadata WHERE id = 1")[0]
    assert json.loads(str(text))["notes"] == ["known late"]
    with pytest.raises(ValueError, match="another time"), package(path, provenance()) as made:
        made.write("stations", frame("stations"))
        made.provenance = provenance(written_at="2002-10-11T12:13:14Z")


def test_other_crs_for_everything(tmp_path: Path) -> None:
    path = tmp_path / "out.gpkg"
    with package(path, provenance(), out_crs=pyproj.CRS(4326)) as made:
        fill(made)
    for layer in LAYERS:
        back = geopandas.read_file(path, layer=layer)
        assert back.crs.to_epsg() == 4326
        assert back.geometry.is_valid.all()
    with rasterio.open(f"GPKG:{path}:viewshed_top") as file:
        assert file.crs.to_epsg() == 4326
        assert set(np.unique(file.read(1)).tolist()) == {0, 1, 2, 3, 4}
    with rasterio.open(f"GPKG:{path}:depth_top") as file:
        moved = file.read(1)
        assert np.isnan(moved).any()
        assert (moved == 0).any()
        assert np.isin(moved[~np.isnan(moved)], depths()).all()


def test_local_crs_without_a_code(tmp_path: Path) -> None:
    local = pyproj.CRS("+proj=tmerc +lat_0=57 +lon_0=-4.3 +k=1 +x_0=50000 +y_0=50000 +ellps=GRS80 +units=m")
    path = tmp_path / "out.gpkg"
    with package(path, provenance()) as made:
        made.write("stations", frame("stations", crs=local))
        grid = Grid(local, 50_000.0, 50_000.0, 10.0, 10.0, 30, 40)
        made.write_raster("viewshed_a", np.ones((30, 40), np.uint8), grid, "codes")
    assert geopandas.read_file(path, layer="stations").crs.to_dict()["lon_0"] == -4.3
    with rasterio.open(f"GPKG:{path}:viewshed_a") as file:
        assert file.crs.to_dict()["lon_0"] == -4.3


@pytest.mark.parametrize("stop", [KeyboardInterrupt, RuntimeError])
def test_half_a_run_leaves_the_old_file(tmp_path: Path, stop: type[BaseException]) -> None:
    path = tmp_path / "out.gpkg"
    path.write_text("old")
    with pytest.raises(stop), package(path, provenance()) as made:
        fill(made)
        raise stop
    assert path.read_text() == "old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["out.gpkg"]


def test_settings_of_both_gdals_are_given_back(tmp_path: Path) -> None:
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_SQLITE_JOURNAL": "MEMORY"})
    try:
        with package(tmp_path / "out.gpkg", provenance()) as made:
            made.write("stations", frame("stations"))
            assert pyogrio.get_gdal_config_option("OGR_SQLITE_JOURNAL") == "DELETE"
        assert pyogrio.get_gdal_config_option("OGR_SQLITE_JOURNAL") == "MEMORY"
        assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == before
        assert not rasterio.env.hasenv()
    finally:
        pyogrio.set_gdal_config_options({"OGR_SQLITE_JOURNAL": None})


def test_settings_are_given_back_when_two_threads_write(tmp_path: Path) -> None:
    """The one that began first ends first: the other still has its settings, and its own time."""
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    first_in, second_in, first_out = threading.Event(), threading.Event(), threading.Event()

    def first() -> None:
        with package(
            tmp_path / "first.gpkg", replace(provenance(), written_at="2001-01-01T00:00:00Z")
        ) as made:
            first_in.set()
            assert second_in.wait(20)
            made.write("stations", frame("stations"))
        first_out.set()

    def second() -> None:
        assert first_in.wait(20)
        with package(
            tmp_path / "second.gpkg", replace(provenance(), written_at="2002-02-02T00:00:00Z")
        ) as made:
            second_in.set()
            assert first_out.wait(20)
            assert pyogrio.get_gdal_config_option("OGR_SQLITE_JOURNAL") == "DELETE"
            made.write("stations", frame("stations"))

    with ThreadPoolExecutor(2) as pool:
        for ended in [pool.submit(first), pool.submit(second)]:
            ended.result(timeout=60)
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == before
    assert pyogrio.get_gdal_config_option("OGR_SQLITE_JOURNAL") is None
    for name, day in (("first", "2001-01-01"), ("second", "2002-02-02")):
        with closing(sqlite3.connect(tmp_path / f"{name}.gpkg")) as file:
            changed = {row[0][:10] for row in file.execute("SELECT last_change FROM gpkg_contents")}
        assert changed == {day}


def test_calls_that_make_no_sense(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"must end in \.gpkg"), package(tmp_path / "out.zip", provenance()):
        pytest.fail("the block must not run")
    for wrong, message in (
        (lambda made: made.write("nonsense", frame("stations")), "no layer"),
        (lambda made: [made.write("stations", frame("stations")) for _ in range(2)], "written twice"),
        (lambda made: made.write_raster("A", states()[1:], GRID, "x"), "does not fit"),
        (lambda made: None, "at least one layer"),
    ):
        with pytest.raises(ValueError, match=message), package(tmp_path / "out.gpkg", provenance()) as made:
            wrong(made)
    assert list(tmp_path.iterdir()) == []


FULL_DISK = """
import resource, signal, sys
from pathlib import Path
from layers.test_package import fill, package, provenance
from hillsight.errors import OutputError
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
provenance()
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), resource.RLIM_INFINITY))
try:
    with package(Path(sys.argv[1]), provenance()) as made:
        fill(made)
except OutputError as error:
    print(error)
    sys.exit(2)
"""


@pytest.mark.skipif(os.name == "nt", reason="POSIX limits on the size of files stand in for a full disk")
@pytest.mark.parametrize("share", [0, 0.004, 0.2, 0.5, 0.7, 0.9, 0.99, 0.999])
def test_full_disk_at_any_moment_is_one_message_and_no_file(full: Path, tmp_path: Path, share: float) -> None:
    limit = int(full.stat().st_size * share)
    target = tmp_path / "out.gpkg"
    target.write_text("old")
    path = [str(Path(__file__).parents[1]), *(entry for entry in sys.path if entry)]
    run = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(target), str(limit)],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(path)},
    )
    assert run.returncode == 2, run.stderr
    assert run.stdout.startswith(str(target))
    assert len(run.stdout.strip().splitlines()) == 1
    assert "disk is full" in run.stdout or "grown beyond the size allowed" in run.stdout
    assert target.read_text() == "old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["out.gpkg"]


def test_table_names_are_plain_unique_and_steady() -> None:
    labels = [
        *HOSTILE,
        "x" * 300,
        "Top",
        "TOP",
        "top!",
        "😀",
        "日本",
        "ÅNGSTRÖM",
        "Top",
        "\ud800",
        "a" * 40 + "b",
    ]
    taken: set[str] = set()
    found = [raster_table("viewshed", label, taken) for label in labels]
    assert len(set(found)) == len(found)
    assert taken == set(found)
    for name in found:
        assert name.isascii()
        assert name.startswith("viewshed_")
        assert set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789_")
        assert len(name) <= 63
    assert found[labels.index("Top")] == "viewshed_top"
    assert raster_table("depth", "Bèinn Ämne", set()) == "depth_beinn_amne"
    again: set[str] = set()
    assert [raster_table("viewshed", label, again) for label in labels] == found


def test_raster_names_end_in_what_tells_them_apart() -> None:
    taken: set[str] = set()
    assert raster_table("viewshed", "Top", taken, "2m") == "viewshed_top_2m"
    assert raster_table("viewshed", "Top", taken, "1.6m") == "viewshed_top_1_6m"
    assert raster_table("viewshed", "a" * 60, taken, "1.6m") == f"viewshed_{'a' * 40}_1_6m"
    for name in (raster_table("viewshed", "TOP", taken, "2m"), raster_table("viewshed", "日本", taken, "2m")):
        assert name.endswith("_2m") and name not in ("viewshed_top_2m", "viewshed_2m")
    assert len(taken) == 5


@pytest.mark.parametrize("size", [(1, 1), (1, 300), (256, 256), (257, 255), (600, 3)])
@pytest.mark.parametrize("values", [(0,), (1,), (65535,), (0, 1, 7, 255, 256, 32768, 65535)])
def test_counts_come_back_bit_for_bit(tmp_path: Path, values: tuple[int, ...], size: tuple[int, int]) -> None:
    counts = np.random.default_rng(5).choice(np.array(values, np.uint16), size)
    grid = Grid(GRID_CRS, 1e5 / 3, 2e5 / 7, 10.0 / 3, 10.0, *size)
    with package(tmp_path / "c.gpkg", provenance()) as made:
        made.write_raster("visible_count", counts, grid, "how many stations see each post")
        assert made.read_raster("visible_count").array.tobytes() == counts.tobytes()
    with rasterio.open(tmp_path / "c.gpkg", driver="GPKG", TABLE="visible_count") as file:
        back = file.read(1)
        assert back.dtype == np.uint16
        assert back.tobytes() == counts.tobytes()
        assert file.nodata == 65535
    with sqlite3.connect(tmp_path / "c.gpkg") as database:
        found = database.execute("SELECT style FROM gpkgext_styles").fetchall()
        assert found == [("visible_count",)]


def test_hostile_labels_make_tables_that_work(tmp_path: Path) -> None:
    taken: set[str] = set()
    path = tmp_path / "odd ü '😀.gpkg"
    names = [raster_table("viewshed", label, taken) for label in HOSTILE]
    with package(path, provenance()) as made:
        for i, name in enumerate(names):
            made.write_raster(name, np.full((GRID.rows, GRID.columns), i % 5, np.uint8), GRID, HOSTILE[i])
    for i, name in enumerate(names):
        with rasterio.open(path, driver="GPKG", TABLE=name, BAND_COUNT="1") as file:
            assert (file.read(1) == i % 5).all()
