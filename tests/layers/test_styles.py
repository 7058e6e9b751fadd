"""Styles and house colours: complete, from one palette, told apart without full colour sight and in grey."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import numpy as np
import pytest
from lxml import etree

from hillsight.errors import OutputError
from hillsight.layers.styles import style_names, style_text, write_styles
from hillsight.schema.layers import LAYERS
from hillsight.schema.rasters import RASTERS
from hillsight.sheets.paper import palette
from hillsight.sheets.paper.signs import GROUND_STATES
from hillsight.words.states import GroundState

SPACES = {"sld": "http://www.opengis.net/sld", "ogc": "http://www.opengis.net/ogc"}

# Full dichromacy, on linear RGB: Machado, Oliveira and Fernandes 2009, "A physiologically-based model for
# simulation of color vision deficiency", severity 1.0 (from memory).
SIGHT = {
    "full": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
# IEC 61966-2-1 sRGB to CIE XYZ under D65, and its white (from memory).
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
WHITE = np.array([0.95047, 1.0, 1.08883])


def linear(colour: str) -> np.ndarray:
    parts = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear RGB."""
    share = TO_XYZ @ np.clip(rgb, 0, 1) / WHITE
    f = np.where(share > 216 / 24389, np.cbrt(share), (24389 / 27 * share + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def nearest_pair(colours: list[str], sight: str) -> float:
    seen = [lab(SIGHT[sight] @ linear(colour)) for colour in colours]
    return min(float(np.linalg.norm(a - b)) for a, b in itertools.combinations(seen, 2))


def test_measure_agrees_with_known_colours() -> None:
    # CIELAB of sRGB primaries under D65: white 100, 0, 0; red 53.24, 80.09, 67.20; blue 32.30, 79.19, -107.86
    # (from memory, as printed by common colour calculators).
    assert np.allclose(lab(linear("#FFFFFF")), [100, 0, 0], atol=0.02)
    assert np.allclose(lab(linear("#FF0000")), [53.24, 80.09, 67.20], atol=0.02)
    assert np.allclose(lab(linear("#0000FF")), [32.30, 79.19, -107.86], atol=0.02)
    # The simulation must do something: red and green of one lightness run together for a deuteranope.
    assert (
        nearest_pair(["#C0504D", "#6B8E23"], "deuteranopia")
        < nearest_pair(["#C0504D", "#6B8E23"], "full") / 2
    )


# Differences below about 2.3 are just noticeable, CIE76 (Mahy and others 1994, from memory). The bounds here
# are far above: what keeps apart in a legend and under a thin wash of map (common practice, no source).
@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize(
    ("colours", "least"),
    [
        (list(palette.STATES.values()), 20),
        (list(palette.CREST_ROLES.values()), 20),
        (list(palette.EVIDENCE_CLASSES.values()), 18),
        (list(palette.DEPTHS), 18),
        (list(palette.LANDFORM_LINES.values()), 18),
        ([palette.LEVEL, *palette.STEEP], 16),
    ],
    ids=["states", "crest roles", "evidence classes", "depths", "landform lines", "landform areas"],
)
def test_colours_keep_apart(sight: str, colours: list[str], least: float) -> None:
    assert nearest_pair(colours, sight) >= least


@pytest.mark.parametrize(
    "colours", [list(palette.STATES.values()), list(palette.DEPTHS), list(palette.STEEP)]
)
def test_lightness_alone_tells_them_apart_in_grey_print(colours: list[str]) -> None:
    lightness = [float(lab(linear(colour))[0]) for colour in colours]
    assert lightness == sorted(lightness, reverse=True)
    assert -np.diff(lightness).max() >= 12


def test_letters_are_readable() -> None:
    # WCAG 2.1, success criterion 1.4.6: contrast 7:1 for text (from memory).
    light, dark = (float(TO_XYZ[1] @ linear(colour)) for colour in (palette.PAPER, palette.INK))
    assert (light + 0.05) / (dark + 0.05) >= 7


def test_palette_is_written_one_way() -> None:
    assert all(re.fullmatch(r"#[0-9A-F]{6}", colour) for colour in palette.ALL_COLOURS)
    # No two names for one colour, ink apart; ridges and valley lines take those of ground shape and water.
    assert len(palette.ALL_COLOURS) == 2 + 4 + 4 + 2 + 4 + 1 + 3 + 2 + 4


def test_every_layer_and_raster_has_a_style_and_nothing_else_has() -> None:
    assert style_names() == [*LAYERS, *RASTERS]
    folder = Path(__file__).parents[2] / "styles"
    assert sorted(path.stem for path in folder.iterdir()) == sorted(style_names())
    with pytest.raises(KeyError):
        style_text("../pyproject")


@pytest.mark.parametrize("name", [*LAYERS, *RASTERS])
def test_colours_come_from_the_palette(name: str) -> None:
    used = set(re.findall(r"#[0-9A-Fa-f]{3,8}\b", style_text(name)))
    assert used
    assert used <= palette.ALL_COLOURS


@pytest.mark.parametrize("name", LAYERS)
def test_filters_and_labels_use_columns_of_the_layer(name: str) -> None:
    root = etree.fromstring(style_text(name).encode())
    columns = {column.name for column in LAYERS[name].columns}
    assert {node.text for node in root.iterfind(".//ogc:PropertyName", SPACES)} <= columns


def rules(name: str, column: str) -> set[str]:
    root = etree.fromstring(style_text(name).encode())
    return {
        node.findtext("ogc:Literal", namespaces=SPACES)
        for node in root.iterfind(".//ogc:PropertyIsEqualTo", SPACES)
        if node.findtext("ogc:PropertyName", namespaces=SPACES) == column
    }


@pytest.mark.parametrize(
    ("layer", "column"),
    [
        ("bearing_list", "state"),
        ("crest_lines", "role"),
        ("profile_stretches", "state"),
        ("sight_matrix", "state"),
        ("radio_links", "answer"),
        ("profile_points", "what"),
        ("skyline", "state"),
        ("skyline_bearings", "state"),
        ("tops", "kind"),
        ("breaks_of_slope", "kind"),
        ("level_ground", "kind"),
    ],
)
def test_every_word_of_the_schema_is_drawn(layer: str, column: str) -> None:
    (declared,) = (c for c in LAYERS[layer].columns if c.name == column)
    words = set(re.split(r", | or ", declared.unit))
    assert len(words) >= 2
    assert rules(layer, column) == words


def test_lines_and_marks_differ_without_colour() -> None:
    """Width and dash of crest lines: no two alike."""
    root = etree.fromstring(style_text("crest_lines").encode())
    drawn = [
        tuple(
            rule.findtext(f"sld:LineSymbolizer[2]//sld:CssParameter[@name='{key}']", namespaces=SPACES)
            for key in ("stroke-width", "stroke-dasharray")
        )
        for rule in root.iterfind(".//sld:Rule", SPACES)
    ]
    assert len(drawn) == len(set(drawn)) == 3


def test_landform_lines_and_marks_differ_without_colour() -> None:
    """Ridges, valley lines, spurs, re-entrants and breaks: no two share both dash and width, cased or not."""
    drawn = []
    for name in palette.LANDFORM_LINES:
        root = etree.fromstring(style_text(name).encode())
        for rule in root.iterfind(".//sld:Rule", SPACES):
            lines = [
                line
                for line in rule.iterfind("sld:LineSymbolizer", SPACES)
                if line.findtext(".//sld:CssParameter[@name='stroke']", None, SPACES) != palette.PAPER
            ]
            dash, width = (
                lines[0].findtext(f".//sld:CssParameter[@name='{key}']", "0", namespaces=SPACES)
                for key in ("stroke-dasharray", "stroke-width")
            )
            hollow = rule.findall("sld:LineSymbolizer", SPACES)[-1] is not lines[0]
            drawn.append((1 + hollow, dash, float(width)))
    assert len(drawn) == len(set(drawn)) == 4 + 4 + 1 + 1 + 2
    ridges, valleys = drawn[:4], drawn[4:8]
    assert {dash for _, dash, _ in ridges} == {"0"}  # unbroken, and no other line is so unless it is hollow
    assert all(dash != "0" or parts == 2 for parts, dash, _ in drawn[4:])
    for lines in (ridges, valleys):
        widths = [width for _, _, width in lines]
        assert widths == sorted(set(widths))  # the higher the order, the wider
    marks = [
        mark.findtext("sld:WellKnownName", namespaces=SPACES)
        for name in ("tops", "saddles")
        for mark in etree.fromstring(style_text(name).encode()).iterfind(".//sld:Mark", SPACES)
    ]
    assert marks == ["triangle", "triangle", "x", "x"]  # saddles on a rim of paper


def test_kinds_of_level_ground_differ_in_pattern() -> None:
    root = etree.fromstring(style_text("level_ground").encode())
    patterns = [
        rule.findtext(".//sld:GraphicFill//sld:WellKnownName", None, SPACES)
        for rule in root.iterfind(".//sld:Rule", SPACES)
    ]
    assert len(patterns) == len(set(patterns)) == 3


@pytest.mark.parametrize(
    ("name", "classes"),
    [("dead_ground", len(palette.DEPTHS)), ("ridges", 4), ("valley_lines", 4), ("steep_ground", 4)],
)
def test_classes_meet_without_gap_or_overlap(name: str, classes: int) -> None:
    root = etree.fromstring(style_text(name).encode())
    starts, ends = (
        [
            float(node.findtext("ogc:Literal", namespaces=SPACES))
            for node in root.iterfind(f".//ogc:{comparison}", SPACES)
        ]
        for comparison in ("PropertyIsGreaterThanOrEqualTo", "PropertyIsLessThan")
    )
    assert starts == ends == sorted(ends)
    assert len(root.findall(".//sld:Rule", SPACES)) == len(ends) + 1 == classes


def test_steeper_ground_is_darker() -> None:
    root = etree.fromstring(style_text("steep_ground").encode())
    fills = root.findall(".//sld:CssParameter[@name='fill']", SPACES)
    assert [fill.text for fill in fills] == list(palette.STEEP)


def test_raster_colours_follow_the_codes() -> None:
    root = etree.fromstring(style_text("viewshed").encode())
    entries = {float(e.get("quantity")): e for e in root.iterfind(".//sld:ColorMapEntry", SPACES)}
    assert sorted(entries) == [float(code) for code in GroundState]
    assert float(entries[GroundState.BEYOND].get("opacity")) == 0
    for state in ("hidden", "uncertain", "visible", "unknown"):
        entry = entries[GroundState[state.upper()]]
        assert entry.get("color") == palette.STATES[state]
        assert float(entry.get("opacity")) == GROUND_STATES[state].strength
    root = etree.fromstring(style_text("depth").encode())
    ramp = [
        (float(e.get("quantity")), float(e.get("opacity")))
        for e in root.iterfind(".//sld:ColorMapEntry", SPACES)
    ]
    assert ramp[0] == (0, 0)
    assert ramp == sorted(ramp)
    root = etree.fromstring(style_text("visible_count").encode())
    entries = root.findall(".//sld:ColorMapEntry", SPACES)
    steps = [(float(e.get("quantity")), float(e.get("opacity"))) for e in entries]
    assert steps[0] == (0, 0)
    assert steps[1][0] == 1
    assert steps == sorted(steps)
    lightness = [float(lab(linear(e.get("color")))[0]) for e in entries[1:-1]]
    assert entries[-1].get("color") == entries[-2].get("color")
    assert -np.diff(lightness).max() >= 12  # more stations, darker


def test_nothing_depends_on_scale() -> None:
    for name in style_names():
        assert "ScaleDenominator" not in style_text(name)


def test_styles_are_copied_whole(tmp_path: Path) -> None:
    (tmp_path / "skyline.sld").write_text("old")
    chosen = {name: style_text(name) for name in ("tops", "skyline", "viewshed")}
    written = write_styles(tmp_path, chosen)
    assert written == [tmp_path / f"{name}.sld" for name in chosen]
    for path in written:
        assert path.read_bytes() == style_text(path.stem).encode()
    assert len(list(tmp_path.iterdir())) == len(written)
    with pytest.raises(OutputError, match="folder does not exist"):
        write_styles(tmp_path / "no", chosen)
