"""Files that a virtual raster leads to are checked as if they were given themselves, where they are read."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from zipfile import ZipFile

import numpy as np
import pytest
import rasterio
from rasterio.shutil import copy
from rasterio.vrt import WarpedVRT

from hillsight.errors import TerrainError
from hillsight.ground.raster import Band, describe, opened
from packed_grounds import SIDE, packed, quietly_damaged

WEST, NORTH, STEP_M = 300_000, 700_000, 10


def virtual(path: Path, *pieces: str, columns: int = 2 * SIDE) -> Path:
    """A virtual raster of SIDE rows, of pieces."""
    path.write_text(
        f'<VRTDataset rasterXSize="{columns}" rasterYSize="{SIDE}"><SRS>EPSG:27700</SRS>'
        f"<GeoTransform>{WEST},{STEP_M},0,{NORTH},0,-{STEP_M}</GeoTransform>"
        f'<VRTRasterBand dataType="Int16" band="1">{"".join(pieces)}</VRTRasterBand></VRTDataset>'
    )
    return path


def piece(name: str, left: int, *, kind: str = "SimpleSource", side: int = SIDE) -> str:
    """The whole of a file of SIDE x SIDE cells, put at a column."""
    return (
        f'<{kind}><SourceFilename relativeToVRT="1">{name}</SourceFilename><SourceBand>1</SourceBand>'
        f'<SrcRect xOff="0" yOff="0" xSize="{SIDE}" ySize="{SIDE}"/>'
        f'<DstRect xOff="{left}" yOff="0" xSize="{side}" ySize="{side}"/></{kind}>'
    )


def heights(path: Path, top: int, left: int, rows: int, columns: int) -> Any:
    band: Band = describe(str(path), None, None)
    with opened(str(path)) as dataset:
        return band.heights_m(dataset, top, left, rows, columns, 0.1)


def two_tiles(folder: Path) -> Path:
    """Two tiles side by side; the first block of the eastern one is damaged."""
    packed(folder / "west.tif")
    quietly_damaged(packed(folder / "east.tif"))
    return virtual(folder / "ground.vrt", piece("west.tif", 0), piece("east.tif", SIDE))


def test_a_damaged_block_behind_a_virtual_raster(tmp_path: Path) -> None:
    path = two_tiles(tmp_path)
    with rasterio.open(path) as file:
        file.read(1)  # GDAL says nothing
    with pytest.raises(TerrainError, match=r"east\.tif: rows 0 to 63, columns 0 to 63 cannot be read"):
        heights(path, 10, SIDE - 5, 20, 20)


def test_only_what_the_window_takes_counts(tmp_path: Path) -> None:
    """The western tile, the eastern one's other blocks, and the columns just before its first."""
    path = two_tiles(tmp_path)
    for window in ((0, 0, SIDE, SIDE), (70, SIDE, 20, SIDE), (0, SIDE + 64, SIDE, 64), (0, 0, 64, SIDE)):
        found = heights(path, *window)
        name, left = ("west.tif", window[1]) if window[1] < SIDE else ("east.tif", window[1] - SIDE)
        with rasterio.open(tmp_path / name) as file:
            sound = file.read(1)[window[0] : window[0] + window[2], left : left + window[3]]
        np.testing.assert_allclose(found, sound * 0.1, rtol=1e-6)
    with pytest.raises(TerrainError):
        heights(path, 0, 0, 1, SIDE + 1)


@pytest.mark.parametrize("kind", ["ComplexSource", "AveragedSource"])
def test_sources_of_other_kinds_and_sizes(tmp_path: Path, kind: str) -> None:
    quietly_damaged(packed(tmp_path / "east.tif"))
    path = virtual(
        tmp_path / "ground.vrt", piece("east.tif", 0, kind=kind, side=SIDE // 2), columns=SIDE // 2
    )
    with pytest.raises(TerrainError, match=r"east\.tif"):
        heights(path, 0, 0, 10, 10)
    assert np.isfinite(heights(path, 40, 0, 20, 20)).all()


def test_virtual_rasters_within_one_another(tmp_path: Path) -> None:
    two_tiles(tmp_path)
    inner = tmp_path / "inner"
    inner.mkdir()
    outer = virtual(
        inner / "outer.vrt",
        piece("../ground.vrt", 0).replace(f'xSize="{SIDE}"', f'xSize="{2 * SIDE}"'),
    )
    with pytest.raises(TerrainError, match=r"east\.tif"):
        heights(outer, 0, SIDE, 10, 10)
    assert np.isfinite(heights(outer, 0, 0, SIDE, SIDE)).all()


def test_a_warped_virtual_raster(tmp_path: Path) -> None:
    two_tiles(tmp_path)
    with rasterio.open(tmp_path / "ground.vrt") as file, WarpedVRT(file, crs="EPSG:32630") as warped:
        copy(warped, tmp_path / "warped.vrt", driver="VRT")
    path = tmp_path / "warped.vrt"
    with rasterio.open(path) as file:
        rows, columns = file.shape
    with pytest.raises(TerrainError, match=r"east\.tif"):
        heights(path, 0, 0, rows, columns)
    assert np.isfinite(heights(path, 30, 20, 60, 60)).all()  # the western tile alone


def test_a_text_grid_behind_a_virtual_raster(tmp_path: Path) -> None:
    packed(tmp_path / "tile.tif")
    copy(tmp_path / "tile.tif", tmp_path / "tile.asc", driver="AAIGrid")
    path = virtual(tmp_path / "ground.vrt", piece("tile.asc", 0), columns=SIDE)
    assert np.isfinite(heights(path, 0, 0, 10, 10)).all()
    lines = (tmp_path / "tile.asc").read_text().splitlines()
    lines[8] = lines[8].replace("1", "l", 1)
    (tmp_path / "tile.asc").write_text("\n".join(lines))
    with pytest.raises(TerrainError, match=r"tile\.asc: this is not a whole ASCII grid"):
        heights(path, 50, 0, 10, 10)


def test_what_was_found_whole_is_not_opened_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = two_tiles(tmp_path)
    heights(path, 0, 0, SIDE, SIDE)
    monkeypatch.setattr(
        "hillsight.ground.raster_sources._opened", lambda source, virtual: pytest.fail(f"{source} is opened")
    )
    heights(path, 5, 5, 20, 20)
    monkeypatch.undo()
    quietly_damaged(tmp_path / "west.tif")
    with pytest.raises(TerrainError, match=r"west\.tif"):
        heights(path, 5, 5, 20, 20)


#: As virtual rasters have it of which the tiles were opened once; of such GDAL remembers that it has tried.
PROPERTIES = (
    f'<SourceProperties RasterXSize="{SIDE}" RasterYSize="{SIDE}" DataType="Int16" BlockXSize="64" '
    'BlockYSize="64"/><SrcRect'
)


@pytest.mark.parametrize("name", ["none.tif", "broken.tif", "/vsizip/none.zip/a.tif"])
@pytest.mark.parametrize("nested", [False, True])
def test_a_source_that_is_not_there_is_missed_each_time(tmp_path: Path, name: str, nested: bool) -> None:
    """GDAL fails once and gives 0 m from then on."""
    packed(tmp_path / "west.tif")
    (tmp_path / "broken.tif").write_bytes(b"broken" * 100)
    path = virtual(
        tmp_path / "ground.vrt",
        piece("west.tif", 0).replace("<SrcRect", PROPERTIES),
        piece(name, SIDE)
        .replace("<SrcRect", PROPERTIES)
        .replace('relativeToVRT="1"', f'relativeToVRT="{int(not name.startswith("/"))}"'),
    )
    if nested:
        wide = piece("ground.vrt", 0).replace(f'xSize="{SIDE}"', f'xSize="{2 * SIDE}"')
        path = virtual(tmp_path / "outer.vrt", wide)
    assert np.isfinite(heights(path, 0, 0, SIDE, SIDE)).all()
    for top in (0, 20, 40):
        with pytest.raises(TerrainError, match=rf"ground\.vrt: what it leads to cannot be read .*{name}"):
            heights(path, top, SIDE - 5, 10, 10)
    with rasterio.open(path) as file:
        given = []
        for top in (0, 20, 40):
            try:
                given.append(file.read(1, window=((top, top + 10), (SIDE - 8, SIDE + 8)))[0, -1])
            except rasterio.errors.RasterioError:
                continue
    assert given[-1:] == [0], "GDAL has mended this: the check is needless"


def test_masks_count(tmp_path: Path) -> None:
    packed(tmp_path / "west.tif")
    path = virtual(tmp_path / "ground.vrt", piece("west.tif", 0), columns=SIDE)
    mask = f'<MaskBand><VRTRasterBand dataType="Byte">{piece("none.tif", 0)}</VRTRasterBand></MaskBand>'
    mask = mask.replace("<SourceBand>1", "<SourceBand>mask,1")
    path.write_text(path.read_text().replace("</VRTDataset>", f"{mask}</VRTDataset>"))
    with pytest.raises(TerrainError, match=r"none\.tif"):
        heights(path, 0, 0, 10, 10)


def test_bytes_that_are_no_text(tmp_path: Path) -> None:
    packed(tmp_path / "west.tif")
    path = virtual(tmp_path / "ground.vrt", piece("west.tif", 0), columns=SIDE)
    path.write_bytes(
        path.read_bytes().replace(b"<SimpleSource", b"<Description>\xff</Description><SimpleSource")
    )
    with pytest.raises(TerrainError, match="no UTF-8"):
        heights(path, 0, 0, 10, 10)


@pytest.mark.parametrize(
    "name", ["vrt://{}/ground.vrt?bands=1", "/vsizip/{}/a.zip/ground.vrt", "zip://{}/a.zip!ground.vrt"]
)
def test_virtual_rasters_by_other_names(tmp_path: Path, name: str) -> None:
    """Their sources are found where GDAL finds them; a damaged block in an archive is not looked for."""
    two_tiles(tmp_path)
    with ZipFile(tmp_path / "a.zip", "w") as archive:
        for file in ("west.tif", "east.tif", "ground.vrt"):
            archive.write(tmp_path / file, file)
    path: Any = name.format(tmp_path)
    assert np.isfinite(heights(path, 0, 0, SIDE, SIDE)).all()
    if "zip" not in name:
        with pytest.raises(TerrainError, match=r"east\.tif"):
            heights(path, 0, SIDE, 10, 10)
