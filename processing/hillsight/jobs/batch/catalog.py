"""Files about the tiles of a batch: mosaics over them, tables as GeoParquet, STAC items."""

from __future__ import annotations

import json
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

import numpy as np

from hillsight.ground.registry import epsg_code
from hillsight.ground.transform import operation_between
from hillsight.layers.atomic import replacing
from hillsight.layers.rasters import PROVENANCE_ITEM
from hillsight.sight.octants import Window

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    import geopandas

    from hillsight.ground.grid import Grid
    from hillsight.layers.provenance import Provenance

_COG = "image/tiff; application=geotiff; profile=cloud-optimized"
_PROJECTION = "https://stac-extensions.github.io/projection/v2.0.0/schema.json"
_GDAL_TYPES = {"uint16": "UInt16", "uint32": "UInt32", "float32": "Float32"}


def write_mosaic(
    folder: Path, kind: str, tiles: Sequence[Mapping[str, Any]], grid: Grid, provenance: Provenance
) -> None:
    """A VRT over all rasters of a kind, beside their folder; nothing where there are none."""
    import rasterio

    found = [
        (Window(*tile["window"]), name)
        for tile in tiles
        for name in tile["rasters"]
        if name.startswith(f"{kind}/")
    ]
    if not found:
        return
    with rasterio.open(folder / found[0][1]) as file:
        dtype, no_data, meaning = _GDAL_TYPES[file.dtypes[0]], file.nodata, file.descriptions[0] or ""
    top, left = min(w.row for w, _ in found), min(w.column for w, _ in found)
    rows = max(w.row + w.rows for w, _ in found) - top
    columns = max(w.column + w.columns for w, _ in found) - left
    west, _, _, north = grid.part(top, left, rows, columns).cell_edges_m
    sources = "".join(
        f'<SimpleSource><SourceFilename relativeToVRT="1">{escape(name)}</SourceFilename>'
        f'<SourceBand>1</SourceBand><SrcRect xOff="0" yOff="0" xSize="{w.columns}" ySize="{w.rows}"/>'
        f'<DstRect xOff="{w.column - left}" yOff="{w.row - top}" xSize="{w.columns}" ySize="{w.rows}"/>'
        f"</SimpleSource>\n"
        for w, name in found
    )
    none = "nan" if np.isnan(no_data) else f"{no_data:.0f}"
    text = (
        f'<VRTDataset rasterXSize="{columns}" rasterYSize="{rows}">\n'
        f"<SRS>{escape(grid.crs.to_wkt('WKT2_2019'))}</SRS>\n"
        f"<GeoTransform>{west!r}, {grid.spacing_x_m!r}, 0.0, {north!r}, 0.0, {-grid.spacing_y_m!r}"
        f'</GeoTransform>\n<Metadata><MDI key="{PROVENANCE_ITEM}">{escape(provenance.as_json())}</MDI>'
        f'</Metadata>\n<VRTRasterBand dataType="{dtype}" band="1">\n<Description>{escape(meaning)}'
        f"</Description>\n<NoDataValue>{none}</NoDataValue>\n{sources}</VRTRasterBand>\n</VRTDataset>\n"
    )
    with replacing(folder / f"{kind}.vrt") as temporary:
        temporary.write_text(text, encoding="utf-8")


def write_parquet(
    path: Path,
    frames: Iterable[geopandas.GeoDataFrame],
    provenance: Provenance,
    bounds_m: tuple[float, float, float, float] | None = None,
) -> None:
    """A layer as a GeoParquet file, with the provenance among the file's metadata.

    frames : its rows, some at a time; each becomes a group of rows
    bounds_m : of all of them; those of the first if not given
    """
    import io

    import pyarrow.parquet

    with replacing(path) as temporary, ExitStack() as held:
        writer = schema = None
        for frame in frames:
            buffer = io.BytesIO()
            frame.to_parquet(buffer, index=False)
            buffer.seek(0)
            table = pyarrow.parquet.read_table(buffer)
            if writer is None:
                told = {
                    **(table.schema.metadata or {}),
                    PROVENANCE_ITEM.encode(): provenance.as_json().encode(),
                }
                if bounds_m is not None and len(frame):
                    geo = json.loads(told[b"geo"])
                    geo["columns"][geo["primary_column"]]["bbox"] = list(bounds_m)
                    told[b"geo"] = json.dumps(geo).encode()
                # Texts of which the first rows have none are of no type yet.
                texts = pyarrow.string()
                columns = [one.with_type(texts) if str(one.type) == "null" else one for one in table.schema]
                schema = pyarrow.schema(columns, told)
                writer = held.enter_context(
                    pyarrow.parquet.ParquetWriter(temporary, schema, compression="zstd")
                )
            writer.write_table(table.cast(schema))


def write_stac(
    folder: Path,
    title: str,
    tiles: Sequence[Mapping[str, Any]],
    grid: Grid,
    near: tuple[float, float],
    provenance: Provenance,
) -> None:
    """A STAC collection with an item for each tile, and the rasters as its assets.

    Made by the rules of the SpatioTemporal Asset Catalog specification 1.1, through pystac.
    """
    import pyproj
    import pystac

    to_wgs84 = operation_between(grid.crs, pyproj.CRS.from_epsg(4326), near)
    when = datetime.fromisoformat(provenance.written_at)
    collection = pystac.Collection(
        "batch",
        f"{title}: what many stations see together",
        pystac.Extent(pystac.SpatialExtent([[-180, -90, 180, 90]]), pystac.TemporalExtent([[when, when]])),
        title=title,
        license="other",
        extra_fields={"hillsight:provenance": json.loads(provenance.as_json())},
    )
    code = epsg_code(grid.crs)
    boxes = []
    for tile in tiles:
        if not tile["rasters"]:
            continue
        part = grid.part(*tile["window"])
        west, south, east, north = part.cell_edges_m
        x, y = np.array([west, east, east, west, west]), np.array([south, south, north, north, south])
        longitude, latitude = (np.round(v, 9) for v in to_wgs84(x, y))
        box = [float(v) for v in (longitude.min(), latitude.min(), longitude.max(), latitude.max())]
        boxes.append(box)
        ring = [[float(a), float(b)] for a, b in zip(longitude, latitude, strict=True)]
        item = pystac.Item(
            tile["tile"],
            {"type": "Polygon", "coordinates": [ring]},
            box,
            when,
            {
                "proj:code": None if code is None else f"EPSG:{code}",
                **({} if code is not None else {"proj:wkt2": grid.crs.to_wkt("WKT2_2019")}),
                "proj:shape": [part.rows, part.columns],
                "proj:transform": [grid.spacing_x_m, 0.0, west, 0.0, -grid.spacing_y_m, north],
                "hillsight:asked_cells": tile["asked_cells"],
                "hillsight:seen_cells": tile["seen_cells"],
            },
            stac_extensions=[_PROJECTION],
            collection="batch",
        )
        for name, digest in tile["rasters"].items():
            item.add_asset(
                name.split("/")[0],
                pystac.Asset(
                    f"../{name}", media_type=_COG, roles=["data"], extra_fields={"hillsight:sha256": digest}
                ),
            )
        for rel, href in (("collection", "collection.json"), ("parent", "collection.json")):
            item.add_link(pystac.Link(rel, f"./{href}", media_type="application/json"))
        collection.add_link(pystac.Link("item", f"./{tile['tile']}.json", media_type="application/geo+json"))
        _write_json(folder / f"{tile['tile']}.json", item.to_dict(False, False))
    if boxes:
        edges = np.array(boxes)
        whole = [*edges[:, :2].min(axis=0).tolist(), *edges[:, 2:].max(axis=0).tolist()]
        collection.extent.spatial = pystac.SpatialExtent([whole])
    told = collection.to_dict(False, False)
    told["links"] = [link for link in told["links"] if link["rel"] != "root"]
    _write_json(folder / "collection.json", told)


def _write_json(path: Path, content: Any) -> None:
    text = json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False) + "\n"
    with replacing(path) as temporary:
        temporary.write_text(text, encoding="utf-8")
