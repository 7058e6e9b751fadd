"""Terrain that cannot be used ends the command with one message, exit code 2 and no file changed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from scripts.commands import AT, REACH, done, assert_refused, terrain  # isort: skip
from terrains import plane, with_hole, write_geotiff


def looking(folder: Path, ground: Path | str, *more: str | Path, at: str = AT) -> list[str | Path]:
    return ["outlook", "--terrain", ground, "--at", at, "--reach", REACH, "--out", folder / "out.gpkg", *more]


def test_missing(tmp_path: Path) -> None:
    assert_refused(
        tmp_path,
        *looking(tmp_path, tmp_path / "none.tif"),
        says=("none.tif", "no such file", "Check the name"),
    )


def test_an_empty_name(tmp_path: Path) -> None:
    assert_refused(tmp_path, *looking(tmp_path, ""), says=("--terrain",))


def test_not_a_raster(tmp_path: Path) -> None:
    path = tmp_path / "notes.tif"
    path.write_text("Meet at the car park at nine.")
    assert_refused(tmp_path, *looking(tmp_path, path), says=("notes.tif", "not a raster", "GeoTIFF"))


def test_an_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "empty.tif"
    path.touch()
    assert_refused(tmp_path, *looking(tmp_path, path), says=("empty.tif", "empty", "again"))


def test_a_folder(tmp_path: Path) -> None:
    assert_refused(tmp_path, *looking(tmp_path, tmp_path), says=("folder", "Name the file"))


def test_a_file_cut_short(tmp_path: Path) -> None:
    path = terrain(tmp_path)
    path.write_bytes(path.read_bytes()[:6000])
    assert_refused(tmp_path, *looking(tmp_path, path), says=("terrain.tif", "damaged or cut short"))


def test_a_text_grid_cut_short(tmp_path: Path) -> None:
    """GDAL's reader doubles its work with every row that is missing: it would go on for years."""
    from rasterio.shutil import copy

    path = tmp_path / "cut.asc"
    copy(terrain(tmp_path), path, driver="AAIGrid")
    path.write_bytes(path.read_bytes()[:500])
    assert_refused(tmp_path, *looking(tmp_path, path), says=("cut.asc", "60 rows of 60", "cut short"))


def test_a_name_that_is_no_text(tmp_path: Path) -> None:
    """rasterio's log cannot read GDAL's message, and printed a traceback of that beside ours."""
    path = tmp_path / "odd.vrt"
    path.write_bytes(
        b'<VRTDataset rasterXSize="60" rasterYSize="60"><SRS>\xf0PSG:27700</SRS><GeoTransform>300000,10,0,'
        b'700000,0,-10</GeoTransform><VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
        b"<SourceFilename>\xf0.tif</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>"
    )
    assert_refused(tmp_path, *looking(tmp_path, path), says=("odd.vrt",))


def test_numbers_that_signal(tmp_path: Path) -> None:
    """A signalling NaN (IEEE 754, section 6.2) beside a number that is no height."""
    ground = plane(60, 60)
    ground[20, 20] = 1e38
    ground.view(np.uint32)[30, 30] = 0x7F800001
    path = write_geotiff(tmp_path / "signals.tif", ground)
    assert_refused(tmp_path, *looking(tmp_path, path), says=("signals.tif", "row 20, column 20"))


def test_all_void(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "void.tif", np.full((60, 60), np.nan, np.float32))
    assert_refused(tmp_path, *looking(tmp_path, path), says=("void.tif", "void", "Give a terrain"))


def test_no_crs(tmp_path: Path) -> None:
    path = terrain(tmp_path, crs=None)
    assert_refused(
        tmp_path,
        *looking(tmp_path, path),
        says=("terrain.tif", "coordinate reference system", "--terrain-crs"),
    )
    done(*looking(tmp_path, path, "--terrain-crs", "EPSG:27700"))


def test_nonsense_as_crs(tmp_path: Path) -> None:
    path = terrain(tmp_path, crs=None)
    assert_refused(
        tmp_path, *looking(tmp_path, path, "--terrain-crs", "EPSG:99"), says=("--terrain-crs", "EPSG:99")
    )
    for option in ("--out-crs", "--at-crs", "--grid-crs"):
        given = ("--terrain-crs", "EPSG:27700", option, "EPSG:99")
        assert_refused(tmp_path, *looking(tmp_path, path, *given), says=(option, "EPSG:99", "EPSG:27700"))


@pytest.mark.parametrize("crs", ["EPSG:5701", "EPSG:4978"], ids=["vertical", "geocentric"])
@pytest.mark.parametrize("option", ["--terrain-crs", "--out-crs", "--at-crs", "--grid-crs"])
def test_a_crs_that_is_no_map(tmp_path: Path, option: str, crs: str) -> None:
    path = terrain(tmp_path)
    assert_refused(tmp_path, *looking(tmp_path, path, option, crs), says=(option, crs, "EPSG:27700"))


#: Pole rotation by the CF convention; as weather models' grids have it.
ROTATED = "+proj=ob_tran +o_proj=longlat +o_lon_p=0 +o_lat_p=40 +lon_0=10 +R=6371229 +no_defs"


def test_a_turned_pole(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "turned.tif", plane(60, 60), crs=ROTATED)
    assert_refused(tmp_path, *looking(tmp_path, path, at="1,2"), says=("turned.tif", "turned pole", "metres"))
    path = terrain(tmp_path)
    for option in ("--terrain-crs", "--at-crs", "--out-crs"):
        assert_refused(tmp_path, *looking(tmp_path, path, option, ROTATED), says=(option, "turned pole"))


@pytest.mark.parametrize("broken", ["colorinterp", "crs", "dtypes", "units"])
def test_a_header_that_breaks_while_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, broken: str
) -> None:
    """As in files with flipped bytes: a colour table, a CRS or a number that makes no sense."""
    import rasterio

    path = terrain(tmp_path)
    opened = rasterio.open

    class Broken:
        def __init__(self, file: object) -> None:
            self._file = file

        def __getattr__(self, name: str) -> object:
            if name == broken:
                raise ValueError(f"no {broken} is known by that number")
            return getattr(self._file, name)

        def __enter__(self) -> Broken:
            return self

        def __exit__(self, *_: object) -> None:
            self._file.close()  # type: ignore[attr-defined]

    monkeypatch.setattr(rasterio, "open", lambda *given, **named: Broken(opened(*given, **named)))
    assert_refused(
        tmp_path,
        *looking(tmp_path, path),
        says=("terrain.tif", "header cannot be understood", "damaged"),
    )


def test_two_bands(tmp_path: Path) -> None:
    both = np.stack([plane(60, 60), plane(60, 60, height_m=200)])
    path = write_geotiff(tmp_path / "two.tif", both)
    assert_refused(tmp_path, *looking(tmp_path, path), says=("two.tif", "2 bands", "--band"))
    assert_refused(tmp_path, *looking(tmp_path, path, "--band", "3"), says=("two.tif", "no band 3"))
    assert_refused(tmp_path, *looking(tmp_path, path, "--band", "0"), says=("--band",))
    ended = done(*looking(tmp_path, path, "--band", "2"))
    assert "ground 200.0 m" in ended.out


def test_unknown_vertical_unit(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "ell.tif", plane(60, 60), unit="ell")
    assert_refused(tmp_path, *looking(tmp_path, path), says=("ell.tif", "'ell'", "--vertical-unit"))
    assert_refused(tmp_path, *looking(tmp_path, path, "--vertical-unit", "span"), says=("'span'", "us-ft"))
    ended = done(*looking(tmp_path, path, "--vertical-unit", "ft"))
    assert "ground 30.5 m" in ended.out  # 100 ft


@pytest.mark.parametrize("number", [1e38, -9999.0, np.inf], ids=["1e38", "undeclared", "infinite"])
def test_numbers_that_are_no_heights(tmp_path: Path, number: float) -> None:
    ground = plane(60, 60)
    ground[20:22, 20:22] = number
    path = write_geotiff(tmp_path / "odd.tif", ground)
    shown = (
        np.format_float_positional(number) if np.isinf(number) else str(np.float32(number)).removesuffix(".0")
    )
    says = ("odd.tif", "row 20, column 20", f"{shown} stands for no data", "--nodata")
    assert_refused(tmp_path, *looking(tmp_path, path), says=says)
    done(*looking(tmp_path, path, "--nodata", shown))


def test_not_a_number_is_a_void(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "holed.tif", with_hole(plane(60, 60), 20, 20, 3, 3))
    ended = done(*looking(tmp_path, path))
    assert any("is unknown" in note for note in ended.notes), ended.notes


def test_vector_file_as_terrain(tmp_path: Path) -> None:
    from scripts.commands import features

    assert_refused(tmp_path, *looking(tmp_path, features(tmp_path)), says=("vector", "--features"))


@pytest.mark.parametrize("reach", ["0", "-5", "nan", "inf", "ten", "1e400"])
def test_reach_that_is_no_distance(tmp_path: Path, reach: str) -> None:
    words = looking(tmp_path, terrain(tmp_path))
    words[words.index(REACH)] = reach
    assert_refused(tmp_path, *words, says=("--reach",))


def test_reach_larger_than_the_terrain(tmp_path: Path) -> None:
    words = looking(tmp_path, terrain(tmp_path))
    words[words.index(REACH)] = "1000"
    ended = done(*words)
    # Each post stands for its own cell, so the terrain is 600 m square: 0.36 of the pi square kilometres.
    assert any(
        note.startswith("Cairn: 88.5 % of the reach is unknown: off the terrain") for note in ended.notes
    ), ended.notes


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("--eye-height", "-1"),
        ("--eye-height", "501"),
        ("--eye-height", "nan"),
        ("--target-height", "-0.1"),
        ("--target-height", "5000"),
        ("--refraction", "21"),
        ("--least-pocket", "-1"),
        ("--from-bearing", "361"),
    ],
)
def test_heights_and_bearings_out_of_range(tmp_path: Path, option: str, value: str) -> None:
    assert_refused(tmp_path, *looking(tmp_path, terrain(tmp_path), option, value), says=(option,))


def test_a_void_under_the_station(tmp_path: Path) -> None:
    path = write_geotiff(tmp_path / "holed.tif", with_hole(plane(60, 60), 28, 28, 4, 4))
    assert_refused(tmp_path, *looking(tmp_path, path), says=("Cairn", "void", "Move it"))
