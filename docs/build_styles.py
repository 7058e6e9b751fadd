"""Write the signs into the styles: ``python docs/build_styles.py`` renews styles and picture.

Filters, titles and labels of the rules stay as they are. The tests fail when a style is out of date.
"""

from __future__ import annotations

import itertools
import re
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from lxml import etree

import sign_styles
from hillsight.sheets.paper import signs
from hillsight.sheets.paper.drawn_signs import draw_mark
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.maps import Entry, course_entry, draw_legend, ground_entry, sign_entry
from hillsight.sheets.paper.page import Page
from hillsight.sheets.paper.palette import PAPER
from sign_styles import SLD_SHAPES, pixels

FOLDER = Path(__file__).parents[1] / "styles"
_SLD = "http://www.opengis.net/sld"
_OGC = "http://www.opengis.net/ogc"
#: Least size (points) of a mark of a fill.
_LEAST_STREWN = 3.8
#: Kinds that a list of features may hold, by the sign they take.
_KINDS = {
    "saddle": ("saddle", "col", "pass", "hause", "bealach", "bwlch"),
    "hillside": ("spur", "ridge", "crag", "cliff", "edge", "shoulder", "break of slope", "scree"),
    "low_ground": ("re-entrant", "re_entrant", "valley", "hollow", "corrie", "gully"),
}
_LIST_WORDS = {
    "top": "Top",
    "saddle": "Saddle",
    "hillside": "Spur, ridge, crag or slope",
    "low_ground": "Re-entrant, valley or hollow",
    "water": "Water",
    "man_made": "Man-made",
    "unclassed": "Unclassed",
}


def renewed(layer: str, text: str) -> str:
    """A style with the symbolizers that its rules' signs ask for."""
    if layer == "bearing_list":
        text = _with_list_rules(text)
    root = etree.fromstring(text.encode(), etree.XMLParser(remove_blank_text=True))
    for rule in root.iter(f"{{{_SLD}}}Rule"):
        sign = sign_styles.STYLES[layer].get(rule.findtext(f"{{{_SLD}}}Name"))
        if sign is None:
            continue
        texts = rule.findall(f"{{{_SLD}}}TextSymbolizer")
        for old in [child for child in rule if str(child.tag).endswith("Symbolizer")]:
            rule.remove(old)
        rule.extend([*symbolizers(sign), *texts])
    return _as_text(root)


def symbolizers(sign: sign_styles.Drawn) -> list[Any]:
    """A sign as SLD 1.0 draws it, from the bottom up."""
    if isinstance(sign, signs.Mark):
        sign = signs.parts(sign)
    if isinstance(sign, tuple):
        return [_node("PointSymbolizer", _graphic(part)) for part in sign]
    if isinstance(sign, signs.Line):
        found = []
        if sign.rim:
            found.append(_node("LineSymbolizer", _stroke(PAPER, sign.width + sign.rim, cap="round")))
        found.append(_node("LineSymbolizer", _stroke(sign.colour, sign.width, sign.dash, sign.cap)))
        if sign.core:
            found.append(_node("LineSymbolizer", _stroke(sign.core_colour, sign.core, cap="round")))
        return found
    parts = []
    if sign.fill:
        parts.append(_node("Fill", _css("fill", sign.fill), _css("fill-opacity", f"{sign.strength:g}")))
    if sign.edge is not None:
        parts.append(_stroke(sign.edge.colour, sign.edge.width, sign.edge.dash))
    found = [_node("PolygonSymbolizer", *parts)]
    texture = sign.texture
    if isinstance(texture, signs.Strewn):
        # SLD 1.0 sets its tiles edge to edge: a tile of the pitch would hold a mark as large.
        open_shape = texture.shape in signs.OPEN_SHAPES
        fill, edge, width = ("", texture.colour, 0.6) if open_shape else (texture.colour, "", 0.0)
        # Marks of a fill lie side by side: smaller ones run together to one colour.
        size = max(texture.size * 1.6, _LEAST_STREWN)
        mark = _graphic(signs.Part(texture.shape, size, fill, edge, width), "0.8")
        found.append(_node("PolygonSymbolizer", _node("Fill", _node("GraphicFill", mark))))
    elif isinstance(texture, signs.Hatch) and texture.strength == 1.0:
        # It has no lines to fill with; slanting crosses edge to edge are a lattice.
        mark = _graphic(signs.Part("x", 7.0, "", texture.colour, 0.6), "0.6")
        found.append(_node("PolygonSymbolizer", _node("Fill", _node("GraphicFill", mark))))
    return found


def _graphic(part: signs.Part, opacity: str = "") -> Any:
    name, turn = SLD_SHAPES[part.shape]
    children = [_node("WellKnownName", name)]
    if part.fill or part.edge:
        children.append(_node("Fill", _css("fill", part.fill or part.edge)))
    if part.edge:
        children.append(_stroke(part.edge, part.edge_width))
    graphic = [_node("Mark", *children)]
    if opacity:
        graphic.append(_node("Opacity", opacity))
    graphic.append(_node("Size", f"{pixels(part.size):g}"))
    if turn:
        graphic.append(_node("Rotation", f"{turn}"))
    return _node("Graphic", *graphic)


def _stroke(colour: str, width: float, dash: tuple[float, ...] = (), cap: str = "") -> Any:
    parts = [
        _css("stroke", colour),
        _css("stroke-width", f"{pixels(width):g}"),
        _css("stroke-linejoin", "round"),
    ]
    if cap == "round":
        parts.append(_css("stroke-linecap", "round"))
    if dash:
        parts.append(_css("stroke-dasharray", " ".join(f"{pixels(part):g}" for part in dash)))
    return _node("Stroke", *parts)


def _css(name: str, value: str) -> Any:
    node = _node("CssParameter", value)
    node.set("name", name)
    return node


def _node(name: str, *children: Any) -> Any:
    node = etree.Element(f"{{{_SLD}}}{name}")
    for child in children:
        if isinstance(child, str):
            node.text = child
        else:
            node.append(child)
    return node


def _with_list_rules(text: str) -> str:
    """The list's rules, one for each sign and state."""
    head, tail = text[: text.index("        <Rule>")], text[text.index("      </FeatureTypeStyle>") :]
    states = list(reversed(signs.STATE_WORDS.items()))
    rules = []
    for (state, words), (name, sort) in itertools.product(states, _LIST_WORDS.items()):
        of_ground = name == "top" or name in _KINDS
        tests = [_equal("state", state), _equal("evidence_class", "ground_shape" if of_ground else name)]
        if name in _KINDS:
            tests.append(_any_of(_KINDS[name]))
        elif of_ground:
            tests.append(
                f"<ogc:Not>{_any_of([kind for kinds in _KINDS.values() for kind in kinds])}</ogc:Not>"
            )
        rules.append(
            f"<Rule><Name>{name}_{state}</Name><Title>{sort}, {words}</Title>"
            f"<ogc:Filter><ogc:And>{''.join(tests)}</ogc:And></ogc:Filter></Rule>"
        )
    return head + "".join(rules) + tail


def _equal(column: str, value: str) -> str:
    return (
        f"<ogc:PropertyIsEqualTo><ogc:PropertyName>{column}</ogc:PropertyName>"
        f"<ogc:Literal>{value}</ogc:Literal></ogc:PropertyIsEqualTo>"
    )


def _any_of(kinds: Any) -> str:
    return f"<ogc:Or>{''.join(_equal('kind', kind) for kind in kinds)}</ogc:Or>"


def _as_text(root: Any) -> str:
    etree.cleanup_namespaces(root, keep_ns_prefixes=["ogc", "xlink", "xsi"])
    etree.indent(root, "  ")
    body = etree.tostring(root, encoding="unicode")
    # What a label says must not begin with a line break.
    body = re.sub(
        r"<Label>\s*(<ogc:PropertyName>\w+</ogc:PropertyName>)\s*</Label>", r"<Label>\1</Label>", body
    )
    head, _, rest = body.partition(">")
    attributes = re.findall(r'\S+="[^"]*"', head)
    version = [one for one in attributes if one.startswith("version")]
    spaces = sorted(
        (one for one in attributes if one.startswith("xmlns")),
        key=lambda one: (":" in one.split("=")[0], one),
    )
    others = [one for one in attributes if one not in version and one not in spaces]
    lines = "\n    ".join([*spaces, *others])
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<StyledLayerDescriptor {version[0]}\n    {lines}>{rest}\n'
    )


def legend() -> Page:
    """A page of all signs, for docs/signs.md."""
    page = Page(1240, 1140)
    page.text(60, 1092, "Signs", 18, bold=True)
    marks = [
        *(signs.TOP, signs.KNOLL, signs.SADDLE, signs.HILL, signs.HILLOCK, signs.HILL_SADDLE),
        *(signs.HILLSIDE, signs.LOW_GROUND, signs.TARN, signs.SPRING, signs.BUILDING, signs.CAIRN),
        *(signs.UNCLASSED, signs.STATION, signs.CANDIDATE, signs.EYE, signs.TARGET, signs.HIDDEN_TARGET),
        *(signs.POST, signs.RELAY, signs.ACCESS),
        *(signs.SEEN_POINT, signs.dot(signs.BROW.colour, "point of a brow")),
    ]
    features = (signs.HILL, signs.HILL_SADDLE, signs.TARN, signs.BUILDING, signs.UNCLASSED)
    states = [_state_entry(words, state, features) for state, words in signs.STATE_WORDS.items()]
    lines = [
        *(signs.RIDGE, signs.VALLEY_LINE, signs.SPUR, signs.RE_ENTRANT, signs.CONVEX_EDGE),
        *(signs.CONCAVE_FOOT, signs.GROUND_LINE, signs.CONTOUR, signs.INDEX_CONTOUR, signs.STREAM),
        *(signs.RIVER, signs.WALL, signs.FENCE, signs.PATH, signs.TRACK, signs.ROAD, signs.RAILWAY),
        *(signs.WORK_LINE, signs.UNCLASSED_LINE, signs.BROW, signs.CREST, signs.SKYLINE),
        *(signs.SIGHT_LINE, signs.REACH),
        *(signs.SEEN_STRETCH, signs.DOUBTFUL_STRETCH, signs.UNSEEN_STRETCH, signs.OTHER_STRETCH),
        *(signs.APPROACH, *signs.RADIO_LINKS.values()),
    ]
    depths = [
        replace(sign, words=f"dead ground, {words}")
        for sign, words in zip(
            signs.DEAD_GROUND_BY_DEPTH, ("shallow", "deeper", "deep", "deepest"), strict=True
        )
    ]
    areas = [
        *(signs.SEEN, *depths, signs.UNCERTAIN_GROUND, signs.UNKNOWN_GROUND, signs.VIEW_SECTOR),
        *(*signs.LEVEL_GROUND.values(), signs.HOLLOW, signs.GROUND_AREA, signs.LAKE, signs.MARSH),
        *(signs.BUILT_AREA, signs.WOOD, signs.UNCLASSED_AREA),
    ]
    top = 1046.0
    for title, entries in (
        (
            "Marks",
            [sign_entry(mark.words, mark, share=0.75 if mark is signs.STATION else 1.0) for mark in marks],
        ),
        ("States, of a top, a saddle, water, a work and an unclassed thing", states),
        ("Lines", [course_entry(line.words, line) for line in lines]),
        ("Ground and areas", [ground_entry(area.words, area) for area in areas]),
    ):
        page.text(60, top, title, 10, bold=True)
        top = draw_legend(page, entries, Box(70, top - 18, 1240, top - 18), 3) - 30
    return page


def _state_entry(words: str, state: str, marks: Sequence[signs.Mark]) -> Entry:
    def draw(page: Page, box: Box) -> None:
        for number, mark in enumerate(marks):
            draw_mark(page, box.left + 6 + 26 * number, (box.bottom + box.top) / 2, mark, state)

    return Entry(f"{' ' * 20}{words}", draw)


def main() -> int:
    """Renew every style and the picture of all signs; returns 0."""
    legend().save(FOLDER.parent / "docs" / "pictures" / "signs.png")
    for layer in sign_styles.STYLES:
        path = FOLDER / f"{layer}.sld"
        path.write_text(renewed(layer, path.read_text(encoding="utf-8")), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
