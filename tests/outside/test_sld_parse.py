"""Styles against the grammar of Styled Layer Descriptor 1.0.0, and read by a second library.

Source of the grammar: OGC 02-070, StyledLayerDescriptor.xsd and filter.xsd 1.0.0. The content of Rule,
TextSymbolizer, RasterSymbolizer and Graphic was read in the schema fragments that the GeoTools sources quote
(modules/extension/xsd/xsd-sld, classes SLD...Binding); the rest is from memory. The second reader is the npm
package geostyler-sld-parser (version 9.0.3 when written); it is used where node finds it.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess

import pytest
from lxml import etree

from hillsight.layers.styles import style_names, style_text

SLD = "http://www.opengis.net/sld"
OGC = "http://www.opengis.net/ogc"

# Children in order, each with its multiplicity: "" once, ? optional, * any number, + at least once.
# | parts a choice.
GRAMMAR = {
    "StyledLayerDescriptor": "Name? Title? Abstract? NamedLayer|UserLayer*",
    "NamedLayer": "Name LayerFeatureConstraints? NamedStyle|UserStyle*",
    "UserStyle": "Name? Title? Abstract? IsDefault? FeatureTypeStyle+",
    "FeatureTypeStyle": "Name? Title? Abstract? FeatureTypeName? SemanticTypeIdentifier* Rule+",
    "Rule": "Name? Title? Abstract? LegendGraphic? Filter|ElseFilter? "
    "MinScaleDenominator? MaxScaleDenominator? "
    "LineSymbolizer|PolygonSymbolizer|PointSymbolizer|TextSymbolizer|RasterSymbolizer+",
    "LineSymbolizer": "Geometry? Stroke?",
    "PolygonSymbolizer": "Geometry? Fill? Stroke?",
    "PointSymbolizer": "Geometry? Graphic?",
    "TextSymbolizer": "Geometry? Label? Font? LabelPlacement? Halo? Fill?",
    "RasterSymbolizer": "Geometry? Opacity? ChannelSelection? OverlapBehavior? ColorMap? "
    "ContrastEnhancement? ShadedRelief? ImageOutline?",
    "Graphic": "ExternalGraphic|Mark* Opacity? Size? Rotation?",
    "Mark": "WellKnownName? Fill? Stroke?",
    "Fill": "GraphicFill? CssParameter*",
    "Stroke": "GraphicFill|GraphicStroke? CssParameter*",
    "GraphicFill": "Graphic",
    "Font": "CssParameter*",
    "Label": "PropertyName*",
    "LabelPlacement": "PointPlacement|LinePlacement",
    "PointPlacement": "AnchorPoint? Displacement? Rotation?",
    "AnchorPoint": "AnchorPointX AnchorPointY",
    "Displacement": "DisplacementX DisplacementY",
    "Halo": "Radius? Fill?",
    "ColorMap": "ColorMapEntry*",
    "ColorMapEntry": "",
    "Filter": "PropertyIsEqualTo|PropertyIsGreaterThanOrEqualTo|PropertyIsLessThan|And",
    "And": "PropertyIsEqualTo|PropertyIsGreaterThanOrEqualTo|PropertyIsLessThan|And|Or|Not+",
    "Or": "PropertyIsEqualTo|PropertyIsGreaterThanOrEqualTo|PropertyIsLessThan|And|Or|Not+",
    "Not": "PropertyIsEqualTo|PropertyIsGreaterThanOrEqualTo|PropertyIsLessThan|And|Or|Not",
    "PropertyIsEqualTo": "PropertyName Literal",
    "PropertyIsGreaterThanOrEqualTo": "PropertyName Literal",
    "PropertyIsLessThan": "PropertyName Literal",
}
LEAVES = {
    "Name", "Title", "Abstract", "IsDefault", "CssParameter", "WellKnownName", "Size", "Rotation", "Opacity",
    "AnchorPointX", "AnchorPointY", "DisplacementX", "DisplacementY", "Radius", "PropertyName", "Literal",
}  # fmt: skip
IN_OGC = {"Filter", "And", "Or", "Not", "PropertyName", "Literal"} | {
    name for name in GRAMMAR if name.startswith("PropertyIs")
}
NUMBERS = {"Size", "Rotation", "Opacity", "Radius"} | {
    name for name in LEAVES if re.match(r"AnchorP|Displ", name)
}
ATTRIBUTES = {
    "StyledLayerDescriptor": {"version"},
    "CssParameter": {"name"},
    "ColorMapEntry": {"color", "opacity", "quantity", "label"},
}
# Section 11 and the symbolizer sections of OGC 02-070 (from memory).
CSS = {
    "Stroke": {"stroke", "stroke-width", "stroke-opacity", "stroke-linejoin", "stroke-linecap",
               "stroke-dasharray", "stroke-dashoffset"},
    "Fill": {"fill", "fill-opacity"},
    "Font": {"font-family", "font-style", "font-weight", "font-size"},
}  # fmt: skip
MARKS = {"square", "circle", "triangle", "star", "cross", "x"}


def pattern(rule: str) -> re.Pattern[str]:
    parts = []
    for item in rule.split():
        names, sign = re.fullmatch(r"([\w|]+)([?*+]?)", item).groups()  # type: ignore[union-attr]
        parts.append(f"(?:(?:{names}) ){sign}")
    return re.compile("".join(parts))


def faults(text: str) -> list[str]:
    """Everything in a document that the grammar does not allow."""
    found = []
    root = etree.fromstring(text.encode("utf-8"))
    if root.tag != f"{{{SLD}}}StyledLayerDescriptor" or root.get("version") != "1.0.0":
        found.append("root is not StyledLayerDescriptor 1.0.0")
    for node in root.iter(etree.Element):
        name = etree.QName(node)
        where = f"line {node.sourceline}: {name.localname}"
        if name.namespace != (OGC if name.localname in IN_OGC else SLD):
            found.append(f"{where} in namespace {name.namespace}")
        plain = {str(key) for key in node.attrib if not str(key).startswith("{")}
        if not plain <= ATTRIBUTES.get(name.localname, set()):
            found.append(f"{where} has attributes {plain}")
        children = "".join(f"{etree.QName(child).localname} " for child in node.iterchildren(etree.Element))
        if name.localname in LEAVES:
            if children or not (node.text or "").strip():
                found.append(f"{where} is no plain value")
            if name.localname in NUMBERS:
                float(node.text or "")
        elif name.localname not in GRAMMAR:
            found.append(f"{where} is unknown")
        elif not pattern(GRAMMAR[name.localname]).fullmatch(children):
            found.append(f"{where} has children {children}")
        if name.localname == "CssParameter":
            parent = etree.QName(node.getparent()).localname
            if node.get("name") not in CSS[parent]:
                found.append(f"{where} {node.get('name')} in {parent}")
        if name.localname == "WellKnownName" and node.text not in MARKS:
            found.append(f"{where} {node.text}")
    return found


@pytest.mark.parametrize("name", style_names())
def test_style_obeys_the_grammar(name: str) -> None:
    assert faults(style_text(name)) == []


@pytest.mark.parametrize(
    ("style", "old", "new"),
    [
        ("stations", r"(<Name>stations</Name>)(\s*)(<Title>Stations</Title>)", r"\3\2\1"),
        ("stations", "<Size>3.3</Size>", "<Size>3.3</Size><Mark/>"),
        ("stations", "<WellKnownName>square<", "<WellKnownName>diamond<"),
        ("crest_lines", "stroke-dasharray", "stroke-dashes"),
        ("crest_lines", "ogc:Literal", "Literal"),
        ("crest_lines", "<ogc:Literal>crest</ogc:Literal>", ""),
        ("viewshed", 'opacity="0"', 'opacity="0" type="values"'),
        ("dead_ground", 'version="1.0.0"', 'version="1.1.0"'),
        ("dead_ground", "<Rule>", "<Rule><VendorOption>x</VendorOption>"),
    ],
)
def test_grammar_sees_faults(style: str, old: str, new: str) -> None:
    broken = re.sub(old, new, style_text(style))
    assert broken != style_text(style)
    assert faults(broken)


READER = """
const fs = require('fs');
const { SldStyleParser } = require('geostyler-sld-parser');
const text = fs.readFileSync(0, 'utf8');
new SldStyleParser({ sldVersion: '1.0.0' }).readStyle(text).then((r) => console.log(JSON.stringify(r)));
"""


@pytest.fixture(scope="module")
def node() -> list[str]:
    """Command that reads a style with the second library."""
    program = shutil.which("node")
    if program is None:
        pytest.skip("node is not installed")
    command = [program, "-e", READER]
    if subprocess.run([program, "-e", "require('geostyler-sld-parser')"], capture_output=True).returncode:
        pytest.skip("node does not find geostyler-sld-parser (set NODE_PATH to a folder it is installed in)")
    return command


@pytest.mark.parametrize("name", style_names())
def test_second_library_reads_the_same(node: list[str], name: str) -> None:
    run = subprocess.run(node, input=style_text(name), capture_output=True, text=True, check=True)
    read = json.loads(run.stdout)
    for trouble in ("errors", "warnings", "unsupportedProperties"):
        assert not read.get(trouble), read[trouble]
    root = etree.fromstring(style_text(name).encode())
    rules = root.findall(f".//{{{SLD}}}Rule")
    assert len(read["output"]["rules"]) == len(rules)
    for mine, theirs in zip(rules, read["output"]["rules"], strict=True):
        assert theirs["name"] == mine.findtext(f"{{{SLD}}}Title")
        drawn = [child for child in mine if etree.QName(child).localname.endswith("Symbolizer")]
        assert len(theirs["symbolizers"]) == len(drawn)
        colours = {node.text for node in mine.iter() if (node.text or "").startswith("#")}
        colours |= {entry.get("color") for entry in mine.iter(f"{{{SLD}}}ColorMapEntry")}
        assert colours <= set(re.findall(r"#[0-9A-F]{6}", json.dumps(theirs)))
        assert bool(theirs.get("filter")) == (mine.find(f"{{{OGC}}}Filter") is not None)
