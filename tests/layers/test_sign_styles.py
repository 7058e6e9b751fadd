"""One sign language: every style in ``styles/``, read by lxml alone, draws what the signs say."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from lxml import etree

from hillsight.layers.styles import style_text
from hillsight.schema.layers import LAYERS
from hillsight.sheets.paper import palette, sign_kinds, signs
from layers.test_styles import SIGHT, SPACES, TO_XYZ, lab, linear
from sign_styles import STYLES

# OGC 05-077r4 (Symbology Encoding 1.1): the standardised rendering pixel is 0.28 mm (from memory). A point is
# 1/72 inch, an inch 25.4 mm.
PIXELS = 25.4 / 72 / 0.28
TURNED = {
    ("triangle", "0"): "triangle", ("triangle", "90"): "triangle_right", ("triangle", "180"): "triangle_down",
    ("square", "0"): "square", ("square", "45"): "diamond", ("circle", "0"): "circle", ("star", "0"): "star",
    ("x", "0"): "x", ("cross", "0"): "cross",
}  # fmt: skip


def css(node: Any, name: str) -> str | None:
    return node.findtext(f".//sld:CssParameter[@name='{name}']", None, SPACES)


def rules(layer: str) -> dict[str, Any]:
    root = etree.fromstring(style_text(layer).encode())
    return {rule.findtext("sld:Name", None, SPACES): rule for rule in root.iterfind(".//sld:Rule", SPACES)}


def near(text: str | None, points: float) -> bool:
    return text is not None and abs(float(text) - points * PIXELS) <= 0.051


@pytest.mark.parametrize("layer", LAYERS)
def test_every_rule_with_a_sign_has_one_in_the_sign_language(layer: str) -> None:
    def is_drawn(rule: Any) -> bool:
        kinds = {etree.QName(child).localname for child in rule}
        return any(kind.endswith("Symbolizer") for kind in kinds - {"TextSymbolizer"})

    drawn = {name for name, rule in rules(layer).items() if is_drawn(rule)}
    assert drawn == set(STYLES[layer])


@pytest.mark.parametrize(("layer", "name"), [(layer, name) for layer in STYLES for name in STYLES[layer]])
def test_style_draws_the_sign(layer: str, name: str) -> None:
    rule, sign = rules(layer)[name], STYLES[layer][name]
    if isinstance(sign, signs.Line):
        check_line(rule.findall("sld:LineSymbolizer", SPACES), sign)
    elif isinstance(sign, signs.Area):
        check_area(rule.findall("sld:PolygonSymbolizer", SPACES), sign)
    else:
        pieces = signs.parts(sign) if isinstance(sign, signs.Mark) else sign
        found = rule.findall("sld:PointSymbolizer", SPACES)
        assert len(found) == len(pieces)
        for node, part in zip(found, pieces, strict=True):
            shape = node.findtext(".//sld:WellKnownName", None, SPACES)
            assert TURNED[shape, node.findtext(".//sld:Rotation", "0", SPACES)] == part.shape
            assert near(node.findtext(".//sld:Size", None, SPACES), part.size)
            assert css(node, "fill") == (part.fill or part.edge)
            if part.edge:
                assert css(node, "stroke") == part.edge
                assert near(css(node, "stroke-width"), part.edge_width)


def check_line(found: list[Any], sign: signs.Line) -> None:
    expected = [(sign.colour, sign.width, sign.dash)]
    if sign.rim:
        expected.insert(0, (palette.PAPER, sign.width + sign.rim, ()))
    if sign.core:
        expected.append((sign.core_colour, sign.core, ()))
    assert len(found) == len(expected)
    for node, (colour, width, dash) in zip(found, expected, strict=True):
        assert css(node, "stroke") == colour
        assert near(css(node, "stroke-width"), width)
        parts = (css(node, "stroke-dasharray") or "").split()
        assert len(parts) == len(dash)
        assert all(near(part, points) for part, points in zip(parts, dash, strict=True))


def check_area(found: list[Any], sign: signs.Area) -> None:
    if sign.fill:
        assert css(found[0], "fill") == sign.fill
        assert float(css(found[0], "fill-opacity") or 1) == pytest.approx(sign.strength)
    if sign.edge is None:
        assert css(found[0], "stroke") is None
    else:
        assert css(found[0], "stroke") == sign.edge.colour
        assert near(css(found[0], "stroke-width"), sign.edge.width)
        assert len((css(found[0], "stroke-dasharray") or "").split()) == len(sign.edge.dash)
    if isinstance(sign.texture, signs.Strewn):
        assert found[1].findtext(".//sld:WellKnownName", None, SPACES) == sign.texture.shape
        colour = "stroke" if sign.texture.shape in signs.OPEN_SHAPES else "fill"
        assert css(found[1], colour) == sign.texture.colour


KINDS = {
    "tops": (signs.TOP, signs.KNOLL, signs.HILL, signs.HILLOCK),
    "saddles": (signs.SADDLE, signs.HILL_SADDLE),
    "sides of hills": (signs.HILLSIDE,),
    "low ground": (signs.LOW_GROUND,),
    "water": (signs.TARN, signs.SPRING),
    "works of man": (signs.BUILDING, signs.CAIRN),
    "unclassed": (signs.UNCLASSED,),
    "places to stand": (signs.STATION, signs.CANDIDATE, signs.EYE),
    "ground met": (signs.SEEN_POINT,),
}
DRAWN_MARKS = [mark for marks in KINDS.values() for mark in marks]
LINES = {
    name: sign
    for name, sign in vars(signs).items()
    if isinstance(sign, signs.Line) and not name.endswith("EDGE") and "CONTOUR" not in name
}


def test_no_two_kinds_share_a_shape() -> None:
    shapes = {kind: {mark.shape for mark in marks} for kind, marks in KINDS.items()}
    for one, other in itertools.combinations(shapes, 2):
        assert not shapes[one] & shapes[other], (one, other)


def test_a_state_changes_the_filling_and_never_the_shape() -> None:
    for mark in DRAWN_MARKS:
        looks = {}
        for state in signs.STATE_WORDS:
            pieces = signs.parts(mark, state)
            if not mark.made:
                assert {part.shape for part in pieces} == {mark.shape}
                looks[state] = tuple((p.size, p.fill == mark.colour, p.edge_width) for p in pieces)
        assert len(set(looks.values())) == len(looks), mark  # told apart whatever the colours
    with pytest.raises(KeyError, match="blurred"):
        signs.parts(signs.TOP, "blurred")


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, "contrast ratio" and "relative luminance" (from memory)."""
    dark, light = sorted(float(TO_XYZ[1] @ linear(colour)) for colour in (one, other))
    return (light + 0.05) / (dark + 0.05)


def test_signs_stand_out_from_the_paper() -> None:
    # WCAG 2.2, success criterion 1.4.11: 3:1 for graphics; 1.4.3: 4.5:1 for text (from memory). The ratio is
    # of luminances alone, so it holds in grey.
    colours = {mark.colour for mark in DRAWN_MARKS} | {line.colour for line in LINES.values()}
    colours |= {palette.CONTOUR, palette.HIDDEN, palette.LEVEL_EDGE}
    for colour, paper in itertools.product(colours, (palette.PAPER, palette.BLANK)):
        assert contrast(colour, paper) >= 3.0, colour
    for colour in (palette.INK, palette.QUIET, palette.WATER_NAME, palette.CONTOUR_NAME):
        assert contrast(colour, palette.PAPER) >= 4.5


def over_paper(sign: signs.Area) -> str:
    parts = [(int(sign.fill[i : i + 2], 16), int(palette.PAPER[i : i + 2], 16)) for i in (1, 3, 5)]
    return "#" + "".join(f"{round(sign.strength * a + (1 - sign.strength) * b):02X}" for a, b in parts)


def test_the_map_is_read_through_dead_ground() -> None:
    washes = [over_paper(sign) for sign in signs.DEAD_GROUND_BY_DEPTH]
    for wash in washes:
        assert contrast(palette.INK, wash) >= 7
        assert contrast(palette.CONTOUR, wash) >= 3.0
    lightness = [float(lab(linear(wash))[0]) for wash in washes]
    steps = [a - b for a, b in itertools.pairwise(lightness)]
    assert min(steps) >= 5.0  # CIELAB lightness; a just noticeable step is about 1 (from memory)
    assert min(lightness) >= 70
    for sign in signs.DEAD_GROUND_BY_DEPTH:  # told from seen ground of the same lightness
        assert sign.edge is not None and isinstance(sign.texture, signs.Hatch)
        assert contrast(sign.edge.colour, palette.PAPER) >= 3.0
    textures = [sign.texture for sign in signs.GROUND_STATES.values()]
    assert len(set(textures)) == len(textures) == 4


def test_lines_are_told_apart_in_grey() -> None:
    """By dash or make-up, else by width (1.4 times) or lightness (12 apart): own rule, no source."""

    def build(line: signs.Line) -> tuple[Any, ...]:
        return line.dash, bool(line.core), bool(line.bead)

    for (a, one), (b, other) in itertools.combinations(LINES.items(), 2):
        wide, narrow = max(one.width, other.width), min(one.width, other.width)
        light = [float(lab(linear(line.colour))[0]) for line in (one, other)]
        apart = build(one) != build(other) or wide / narrow >= 1.4 or abs(light[0] - light[1]) >= 12
        assert apart, (a, b)


@pytest.mark.parametrize("sight", SIGHT)
def test_marks_are_told_apart_by_the_colour_blind(sight: str) -> None:
    """Shape and size alone suffice, so colour cannot harm: no two kinds have both alike."""
    for one, other in itertools.combinations(DRAWN_MARKS, 2):
        if one.shape == other.shape and abs(one.size - other.size) < 0.5 and not one.made and not other.made:
            seen = [lab(SIGHT[sight] @ linear(mark.colour)) for mark in (one, other)]
            assert abs(seen[0] - seen[1]).max() >= 10 or one.words == other.words, (one, other)


@pytest.mark.parametrize(
    ("evidence_class", "kind", "mark"),
    [
        ("ground_shape", "Summit", signs.HILL),
        ("ground_shape", "knolls", signs.HILLOCK),
        ("ground_shape", "Bealach", signs.HILL_SADDLE),
        ("ground_shape", "spur", signs.HILLSIDE),
        ("ground_shape", "re-entrant", signs.LOW_GROUND),
        ("water", "tarn", signs.TARN),
        ("water", "spring", signs.SPRING),
        ("man_made", "sheepfold", signs.BUILDING),
        ("man_made", "cairn", signs.CAIRN),
        ("unclassed", "", signs.UNCLASSED),
        ("no such class", "thing", signs.UNCLASSED),
    ],
)
def test_kinds_take_their_marks(evidence_class: str, kind: str, mark: signs.Mark) -> None:
    assert sign_kinds.feature_mark(evidence_class, kind) == mark


def test_kinds_take_their_lines_and_areas() -> None:
    line, area = sign_kinds.feature_line, sign_kinds.feature_area
    assert line("man_made", "dry stone wall") == line("man_made", "Walls") == signs.WALL
    assert line("man_made", "deer fence") == signs.FENCE
    assert line("man_made", "footpath") == signs.PATH
    assert line("man_made", "forest track") == signs.TRACK
    assert line("man_made", "minor road") == signs.ROAD
    assert line("man_made", "ski lift") == signs.WORK_LINE
    assert line("water", "beck") == signs.STREAM
    assert line("unclassed") == signs.UNCLASSED_LINE
    assert area("water", "tarn") == signs.LAKE
    assert area("water", "peat moss") == signs.MARSH
    assert area("man_made", "plantation") == signs.WOOD
    assert area("man_made", "barn") == signs.BUILT_AREA
