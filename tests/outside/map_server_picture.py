"""Draws styled layers with MapServer; run by the system's Python, which has its module ``mapscript``.

Reads a JSON list of pictures from standard input, each with:
``png`` : file to write
``layers`` : from the bottom up, each with ``name``, ``kind`` (point, line, polygon or raster), ``source``
    (file), ``table`` (layer of the file, empty for a raster) and ``sld`` (text)
``extent`` : west, south, east, north in the layers' own CRS
``width`` : pixels
``font`` : file of the font for all labels
"""

from __future__ import annotations

import json
import sys
import tempfile
from pathlib import Path

import mapscript


def main() -> None:
    for picture in json.load(sys.stdin):
        draw(picture)


def draw(picture: dict) -> None:
    west, south, east, north = picture["extent"]
    width = picture["width"]
    chart = mapscript.mapObj()
    chart.setSize(width, max(1, round(width * (north - south) / (east - west))))
    chart.setExtent(west, south, east, north)
    chart.units = mapscript.MS_METERS
    chart.imagecolor.setRGB(255, 255, 255)
    with tempfile.TemporaryDirectory() as folder:
        fonts = Path(folder) / "fonts.txt"
        aliases = ("sans-serif", "sans-serif-bold", "sans-serif-italic", "default")
        fonts.write_text("".join(f"{alias} {picture['font']}\n" for alias in aliases), encoding="utf-8")
        chart.setFontSet(str(fonts))
        for wanted in picture["layers"]:
            add_layer(chart, wanted)
        image = chart.draw()
        image.save(picture["png"], chart)


def add_layer(chart: mapscript.mapObj, wanted: dict) -> None:
    layer = mapscript.layerObj(chart)
    layer.name = wanted["name"]
    layer.status = mapscript.MS_ON
    layer.type = {
        "point": mapscript.MS_LAYER_POINT,
        "line": mapscript.MS_LAYER_LINE,
        "polygon": mapscript.MS_LAYER_POLYGON,
        "raster": mapscript.MS_LAYER_RASTER,
    }[wanted["kind"]]
    if wanted["kind"] == "raster":
        layer.data = wanted["source"]
    else:
        layer.setConnectionType(mapscript.MS_OGR, "")
        layer.connection = wanted["source"]
        layer.data = wanted["table"]
    failed = layer.applySLD(wanted["sld"], wanted["name"])
    if failed != mapscript.MS_SUCCESS:
        raise SystemExit(f"MapServer takes no style of {wanted['name']}")


main()
