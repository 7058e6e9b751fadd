"""Styles drawn by a map server that is not ours: MapServer, whose module ``mapscript`` applies an SLD.

Packages are written with one feature for each rule of each style, in a cell of its own; the server reads
layer and style from the package. What a rule asks for must then be seen in its cell, and cells of different
rules must differ. MapServer (Debian package python3-mapscript) runs in the system's Python.
"""

from __future__ import annotations

import itertools
import json
import shutil
import sqlite3
import subprocess
from pathlib import Path
from typing import Any

import matplotlib
import matplotlib.image
import numpy as np
import pytest
import shapely
from lxml import etree

from hillsight.ground.grid import Grid
from hillsight.layers.package import package
from hillsight.layers.styles import style_text
from hillsight.schema.frames import frame_of_rows
from hillsight.schema.layers import LAYERS
from hillsight.schema.rasters import RASTERS

from layers.made import GRID_CRS, provenance  # isort: skip

SPACES = {"sld": "http://www.opengis.net/sld", "ogc": "http://www.opengis.net/ogc"}
PYTHON = next((p for p in ("/usr/bin/python3", shutil.which("python3")) if p and Path(p).exists()), "")
PICTURE = Path(__file__).with_name("map_server_picture.py")
CELL_PX = 90
EAST, NORTH = 300_000.0, 500_000.0


def has_mapscript() -> bool:
    if not PYTHON:
        return False
    return subprocess.run([PYTHON, "-c", "import mapscript"], capture_output=True).returncode == 0


pytestmark = pytest.mark.skipif(
    not has_mapscript(), reason="the system's Python has no mapscript (Debian package python3-mapscript)"
)


def rules(layer: str) -> list[Any]:
    return list(etree.fromstring(style_text(layer).encode()).iterfind(".//sld:Rule", SPACES))


def row_for(layer: str, rule: Any) -> dict[str, Any]:
    """Values of a feature that the rule is for."""
    usual = {"text": "Wm", "real": 1.0, "integer": 1, "boolean": False}
    row = {c.name: usual[c.type] for c in LAYERS[layer].columns if c.type == "text" or not c.optional}
    types = {c.name: c.type for c in LAYERS[layer].columns}
    bounds: dict[str, list[float]] = {}
    for test in rule.iterfind(".//ogc:*[ogc:PropertyName]", SPACES):
        if test.xpath("ancestor::ogc:Not", namespaces=SPACES):
            continue
        name, literal = (test.find(f"ogc:{t}", SPACES).text for t in ("PropertyName", "Literal"))
        kind = etree.QName(test).localname
        if kind == "PropertyIsEqualTo":
            row[name] = {"text": str, "boolean": lambda v: v in ("1", "true")}.get(types[name], float)(
                literal
            )
        else:
            low, high = bounds.setdefault(name, [-np.inf, np.inf])
            number = float(literal)
            bounds[name] = [number, high] if kind == "PropertyIsGreaterThanOrEqualTo" else [low, number]
    for name, (low, high) in bounds.items():
        value = low if np.isfinite(low) else high - max(0.01, abs(high) * 0.01)
        row[name] = int(np.floor(value)) if types[name] == "integer" else value
    return row


def shape_at(layer: str, k: int) -> shapely.Geometry:
    """A shape in the middle of the k-th cell; one ground metre is one pixel."""
    x, y = EAST + CELL_PX * (k + 0.5), NORTH + CELL_PX / 2
    base, _, z = LAYERS[layer].geometry.partition(" ")
    area = shapely.box(x - 36, y - 36, x + 36, y + 36)
    line = shapely.LineString(
        [(x - 36, y - 20.5), (x + 36, y - 20.5), (x + 36, y + 20.5), (x - 36, y + 20.5)]
    )
    flat = {
        "Point": shapely.Point(x, y),
        "LineString": line,
        "MultiLineString": shapely.MultiLineString([line]),
        "Polygon": area,
        "MultiPolygon": shapely.MultiPolygon([area]),
    }[base]
    return shapely.force_3d(flat, 400.0) if z else flat


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> dict[str, np.ndarray]:
    """Pictures by layer, (rows, columns, 3) in 0-255; the cells of a layer's rules stand side by side."""
    folder = tmp_path_factory.mktemp("served")
    path = folder / "styled.gpkg"
    with package(path, provenance()) as made:
        for layer in LAYERS:
            asked = rules(layer)
            rows = [row_for(layer, rule) for rule in asked]
            shapes = [shape_at(layer, k) for k in range(len(asked))]
            made.write(layer, frame_of_rows(layer, rows, shapes, GRID_CRS))
    with sqlite3.connect(path) as database:
        styles = dict(database.execute(
            "SELECT r.table_name, t.stylesheet FROM gpkgext_sa_reference r "
            "JOIN gpkgext_semantic_annotations a ON a.id = r.sa_id AND a.type = 'style' "
            "JOIN gpkgext_styles s ON s.uri = a.uri JOIN gpkgext_stylesheets t ON t.style_id = s.id"
        ).fetchall())  # fmt: skip
    font = str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf")
    pictures = [
        {
            "png": str(folder / f"{layer}.png"),
            "layers": [
                {
                    "name": layer,
                    "kind": kind_of(layer),
                    "source": str(path),
                    "table": layer,
                    "sld": styles[layer].decode(),
                }
            ],
            "extent": [EAST, NORTH, EAST + CELL_PX * len(rules(layer)), NORTH + CELL_PX],
            "width": CELL_PX * len(rules(layer)),
            "font": font,
        }
        for layer in LAYERS
    ]
    pictures += [raster_picture(folder, kind, font) for kind in RASTERS]
    run = subprocess.run(
        [PYTHON, str(PICTURE)], input=json.dumps(pictures), text=True, capture_output=True, timeout=120
    )
    assert run.returncode == 0, run.stderr
    return {Path(p["png"]).stem: picture(p["png"]) for p in pictures}


def picture(path: str) -> np.ndarray:
    image = np.asarray(matplotlib.image.imread(path), float)[..., :3]
    return image * 255 if image.max() <= 1 else image


def kind_of(layer: str) -> str:
    base = LAYERS[layer].geometry.split()[0].removeprefix("Multi")
    return {"Point": "point", "LineString": "line", "Polygon": "polygon"}[base]


def entries(kind: str) -> list[Any]:
    return list(etree.fromstring(style_text(kind).encode()).iterfind(".//sld:ColorMapEntry", SPACES))


def raster_picture(folder: Path, kind: str, font: str) -> dict[str, Any]:
    """A raster with a cell of each value of its colour map, written to a package and read from it."""
    dtype = {"viewshed": np.uint8, "visible_count": np.uint16}.get(kind, np.float32)
    steps = np.array([float(e.get("quantity")) for e in entries(kind)])
    # The server sorts floats into bins: a value exactly on a step may fall to either side of it.
    above = 0.05 * np.diff(steps, append=steps[-1]) if dtype == np.float32 else 0.0
    values = (steps + above).astype(dtype)
    array = np.repeat(np.repeat(values[None, :], 10, axis=0), 10, axis=1)
    grid = Grid(GRID_CRS, EAST + 0.5, NORTH + 9.5, 1.0, 1.0, *array.shape)
    path = folder / f"{kind}.gpkg"
    with package(path, provenance()) as made:
        made.write_raster(kind, array, grid, "made up", kind)
    with sqlite3.connect(path) as database:
        (sld,) = database.execute("SELECT stylesheet FROM gpkgext_stylesheets").fetchone()
    return {
        "png": str(folder / f"{kind}.png"),
        "layers": [
            {
                "name": kind,
                "kind": "raster",
                "source": f"GPKG:{path}:{kind}",
                "table": "",
                "sld": sld.decode(),
            }
        ],
        "extent": [EAST, NORTH, EAST + array.shape[1], NORTH + 10],
        "width": array.shape[1] * 4,
        "font": font,
    }


def colours(symbolizers: list[Any]) -> dict[tuple[float, ...], bool]:
    """Colours on white that fills and strokes ask for, unless near to white; whether each is a stroke's."""
    wanted: dict[tuple[float, ...], bool] = {}
    for symbolizer, (part, css) in itertools.product(symbolizers, (("Fill", "fill"), ("Stroke", "stroke"))):
        for element in symbolizer.iterfind(f".//sld:{part}", SPACES):
            if element.getparent().tag.endswith("Halo"):
                continue
            given = {p.get("name"): p.text for p in element.findall("sld:CssParameter", SPACES)}
            if css not in given or float(given.get(f"{css}-opacity", 1)) == 0:
                continue
            colour = np.array(matplotlib.colors.to_rgb(given[css])) * 255
            opacity = float(given.get(f"{css}-opacity", 1))
            wanted[tuple(float(v) for v in opacity * colour + (1 - opacity) * 255)] = css == "stroke"
    return {colour: stroke for colour, stroke in wanted.items() if min(colour) < 235}


def cell(image: np.ndarray, k: int) -> np.ndarray:
    return image[:, k * CELL_PX : (k + 1) * CELL_PX]


def off_by(image: np.ndarray, colour: tuple[float, ...], *, thin: bool = False) -> float:
    """How far the pixel that comes nearest to a colour is from it, in the channel that is worst.

    thin : whether pixels count that are blended with white, by two thirds at most
    """
    away = 255.0 - np.array(colour)
    share = np.clip((255.0 - image) @ away / (away @ away), 0.33, 1.0) if thin else np.ones(image.shape[:2])
    return float(np.abs(255.0 - share[..., None] * away - image).max(axis=-1).min())


@pytest.mark.parametrize("layer", LAYERS)
def test_each_rule_is_seen_in_its_colours(drawn: dict[str, np.ndarray], layer: str) -> None:
    for k, rule in enumerate(rules(layer)):
        here = cell(drawn[layer], k)
        name = rule.findtext("sld:Name", namespaces=SPACES)
        assert (here < 235).any(), f"{layer}, rule {name}: the picture is blank"
        symbolizers = [e for e in rule if etree.QName(e).localname.endswith("Symbolizer")]
        wanted = colours(symbolizers)
        assert wanted, f"{layer}, rule {name}: no colour that would be seen on white"
        # A line that is thin or broken is blended with what lies beside it.
        found = {colour: off_by(here, colour, thin=stroke) for colour, stroke in wanted.items()}
        assert min(found.values()) <= 12, f"{layer}, rule {name}: none of its colours is there: {found}"


@pytest.mark.parametrize("layer", [name for name in LAYERS if len(rules(name)) > 1])
def test_rules_of_a_layer_are_told_apart(drawn: dict[str, np.ndarray], layer: str) -> None:
    names = [rule.findtext("sld:Name", namespaces=SPACES) for rule in rules(layer)]
    for (i, one), (j, other) in itertools.combinations(enumerate(names), 2):
        apart = np.abs(cell(drawn[layer], i) - cell(drawn[layer], j)).max(axis=-1)
        assert (apart > 13).sum() >= 20, f"{layer}: {one} and {other} look alike"


@pytest.mark.parametrize("layer", [name for name in LAYERS if "TextSymbolizer" in style_text(name)])
def test_labels_are_drawn(drawn: dict[str, np.ndarray], layer: str) -> None:
    """A label reaches beyond its mark: dark pixels outside the middle of the cell."""
    with_text = [rule.find("sld:TextSymbolizer", SPACES) is not None for rule in rules(layer)]
    labelled = np.flatnonzero(with_text)
    assert labelled.size
    for k in labelled:
        here = cell(drawn[layer], k).copy()
        here[CELL_PX // 2 - 9 : CELL_PX // 2 + 9, CELL_PX // 2 - 9 : CELL_PX // 2 + 9] = 255
        assert (here.min(axis=-1) < 120).sum() >= 8, f"{layer}, rule {k}: no label"


@pytest.mark.parametrize("kind", RASTERS)
def test_values_of_rasters_get_their_colours(drawn: dict[str, np.ndarray], kind: str) -> None:
    """MapServer draws the colours of a colour map; of their opacity it may make what it likes.

    What is to be left clear must not look like what is to be seen, even to a server that knows no opacity.
    """
    image = drawn[kind]
    for k, entry in enumerate(entries(kind)):
        here = image[:, 40 * k + 8 : 40 * k + 32]
        opacity = float(entry.get("opacity"))
        if opacity == 0:
            assert off_by(here, (255, 255, 255)) <= 12
            assert here.min() >= 230
            continue
        colour = np.array(matplotlib.colors.to_rgb(entry.get("color"))) * 255
        blended = opacity * colour + (1 - opacity) * 255
        assert min(off_by(here, tuple(colour)), off_by(here, tuple(blended))) <= 12, entry.get("label")
