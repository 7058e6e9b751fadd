"""Signs of map features and crest lines, the same on every picture."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from hillsight.sheets.paper import palette
from hillsight.sheets.paper.labels import drawable
from hillsight.sheets.paper.maps import Entry, area_entry, line_entry, mark_entry
from hillsight.sheets.paper.page import LINES, known_characters
from hillsight.sheets.paper.palette import INK, PAPER
from hillsight.sheets.paper.relief import mixed
from hillsight.words.trust import CLASS_NAMES, trust_order

if TYPE_CHECKING:
    from collections.abc import Iterable

    import geopandas

    from hillsight.sheets.paper.labels import Placer
    from hillsight.sheets.paper.maps import Map

CLASS_MARKERS = {"ground_shape": "^", "water": "o", "man_made": "s", "unclassed": "D"}
_SADDLES = ("saddle", "col", "pass", "hause", "bealach", "bwlch")
_SADDLE_MARKER = "X"
# Widths and dashes tell the roles apart without colour.
ROLE_LINES: dict[str, dict[str, Any]] = {
    "crest": {"color": palette.CREST, "linewidth": 1.3, "linestyle": (0, (4, 1.6))},
    "brow": {"color": palette.BROW, "linewidth": 1.6, "linestyle": "solid"},
    "skyline": {"color": palette.INK, "linewidth": 2.1, "linestyle": (0, (7, 1.3, 1.2, 1.3))},
}
ROLE_WORDS = {
    "brow": "brow: nearest crest, ground beyond",
    "crest": "crest farther off",
    "skyline": "skyline",
}
_WAYS = ("path", "track", "road", "way", "lane")
_NAME_LENGTH = 28
_AREA_STRENGTH = 0.4


def line_style(evidence_class: str, kind: str) -> dict[str, Any]:
    """Style of a line feature: water solid, ways dashed, walls and the rest thin."""
    colour = palette.EVIDENCE_CLASSES.get(evidence_class, palette.UNCLASSED)
    if evidence_class == "water":
        return {"color": colour, "linewidth": 1.1}
    if any(word in kind.lower() for word in _WAYS):
        return {"color": colour, "linewidth": 1.1, "linestyle": (0, (3.2, 1.6))}
    return {"color": colour, "linewidth": 0.9}


def is_saddle(kind: str) -> bool:
    """Whether a kind of point is a low place on a ridge, which a mark of a top would tell wrongly."""
    return kind.casefold() in _SADDLES


def marker_of(evidence_class: str, kind: str = "") -> str:
    """Shape of a point's mark: by class, but a saddle is no top."""
    if is_saddle(kind):
        return _SADDLE_MARKER
    return CLASS_MARKERS.get(evidence_class, "D")


def mark_style(evidence_class: str, size: float = 6.5, *, kind: str = "") -> dict[str, Any]:
    """Style of a point feature."""
    return {
        "marker": marker_of(evidence_class, kind),
        "markersize": size,
        "markerfacecolor": palette.EVIDENCE_CLASSES.get(evidence_class, palette.UNCLASSED),
        "markeredgecolor": PAPER,
        "markeredgewidth": 0.8,
    }


def feature_entries(drawn: Iterable[tuple[str, str]]) -> list[Entry]:
    """Legend of what :func:`draw_features` drew."""
    entries = []
    for evidence, sort in sorted(drawn):
        words = CLASS_NAMES.get(evidence, evidence)
        if sort in ("point", "saddle"):
            entries.append(mark_entry(f"{words}: {sort}", **mark_style(evidence, kind=sort)))
        elif sort == "area":
            colour = palette.EVIDENCE_CLASSES.get(evidence, palette.UNCLASSED)
            entries.append(area_entry(f"{words}: area", mixed(colour, _AREA_STRENGTH, palette.BLANK)))
        else:
            kind = "path" if sort == "path or track" else ""
            entries.append(line_entry(f"{words}: {sort}", **line_style(evidence, kind)))
    return entries


def name_of(value: object, most: int = _NAME_LENGTH) -> str:
    """A name as a short line that the font can draw; "" for none."""
    return drawable(value, most, known_characters())


def draw_crests(chart: Map, lines: geopandas.GeoDataFrame) -> list[str]:
    """Crest lines by role, the skyline on top; returns the roles drawn."""
    import shapely
    from matplotlib.collections import LineCollection

    drawn = []
    for role in ("crest", "brow", "skyline"):
        shapes = [s for s in lines.geometry[lines["role"] == role] if s is not None and not s.is_empty]
        parts = [part for shape in shapes for part in shapely.get_parts(shape)]
        if not parts:
            continue
        drawn.append(role)
        paths = [shapely.get_coordinates(part) for part in parts]
        style = ROLE_LINES[role]
        chart.axes.add_collection(
            LineCollection(paths, colors=PAPER, linewidths=style["linewidth"] + 1.3, alpha=0.75, zorder=4),
            autolim=False,
        )
        chart.axes.add_collection(
            LineCollection(
                paths,
                colors=style["color"],
                linewidths=style["linewidth"],
                linestyles=[style["linestyle"]],
                zorder=4.5,
            ),
            autolim=False,
        )
    return drawn


def draw_features(chart: Map, features: geopandas.GeoDataFrame) -> list[tuple[str, str]]:
    """Features inside the map; returns the pairs of evidence class and sort of sign drawn, for the legend."""
    import shapely

    limits = chart.limits
    window = shapely.box(limits.left, limits.bottom, limits.right, limits.top)
    drawn: list[tuple[str, str]] = []
    # A cairn stands on its top: the mark of the more trusted one comes last, over the other.
    inside = sorted(
        features[features.geometry.intersects(window)].itertuples(index=False),
        key=lambda row: -trust_order(_text(row, "evidence_class")),
    )
    for row in inside:
        evidence, kind = _text(row, "evidence_class") or "unclassed", _text(row, "kind")
        for part in shapely.get_parts(row.geometry):
            sort = _draw_part(chart, part, evidence, kind)
            if sort and (evidence, sort) not in drawn:
                drawn.append((evidence, sort))
    return drawn


def _draw_part(chart: Map, part: Any, evidence: str, kind: str) -> str:
    import shapely
    from matplotlib.patches import Polygon

    style = line_style(evidence, kind)
    if part.geom_type == "Polygon":
        outline = shapely.get_coordinates(part.exterior)
        for colour, alpha in ((PAPER, 0.8), (style["color"], _AREA_STRENGTH)):
            chart.axes.add_patch(
                Polygon(outline, facecolor=colour, alpha=alpha, edgecolor="none", zorder=2.5)
            )
        chart.axes.plot(
            *outline.T, color=style["color"], linewidth=1.1, zorder=2.6, scalex=False, scaley=False, **LINES
        )
        return "area"
    if part.geom_type in ("LineString", "LinearRing"):
        points = shapely.get_coordinates(part)
        chart.axes.plot(
            *points.T, color=PAPER, linewidth=style["linewidth"] + 1.4, alpha=0.8, zorder=2.7,
            scalex=False, scaley=False, **LINES,
        )  # fmt: skip
        chart.axes.plot(*points.T, **style, zorder=2.8, scalex=False, scaley=False, **LINES)
        return "path or track" if "linestyle" in style else "line"
    if part.geom_type == "Point":
        x, y = chart.to_page(part.x, part.y)
        chart.page.line([x], [y], linestyle="none", zorder=6, **mark_style(evidence, kind=kind))
        return "saddle" if is_saddle(kind) else "point"
    return ""


def label_features(chart: Map, features: geopandas.GeoDataFrame, placer: Placer) -> int:
    """Write the names that find room, the shape of the ground first; returns how many found none."""
    import shapely

    limits = chart.limits
    window = shapely.box(limits.left, limits.bottom, limits.right, limits.top)
    wanted = []
    for place, row in enumerate(features.itertuples(index=False)):
        name = name_of(_text(row, "name"))
        if not name or not row.geometry.intersects(window):
            continue
        at = row.geometry if row.geometry.geom_type == "Point" else _inner_point(row.geometry, window)
        order = trust_order(_text(row, "evidence_class"))
        wanted.append((row.geometry.geom_type != "Point", order, place, name, *chart.to_page(at.x, at.y)))
    left_out = 0
    written: set[tuple[str, bool]] = set()
    for is_long, order, _, name, x, y in sorted(wanted):
        if is_long and (name, True) in written:  # one name for all pieces of a stream or wall
            continue
        size = 7.0 if order == 0 else 6.4
        width, height = chart.page.size_of(name, size)
        placer.gap = 9 if is_long else 2  # so that no mark takes the name of a stream for its own
        box = placer.beside(x, y, width, height, 4 if is_long else 8)
        if box is None:
            left_out += 1
            continue
        written.add((name, is_long))
        colour = palette.WATER_NAME if order == 1 else INK
        chart.page.text(box.left, (box.bottom + box.top) / 2, name, size, halo=True, colour=colour)
    placer.gap = 2
    return left_out


def left_off_words(count: int) -> str:
    """How many names a map had no room for."""
    return f"{count} {'name' if count == 1 else 'names'} left off for lack of space"


def mark_boxes(chart: Map, features: geopandas.GeoDataFrame) -> list[tuple[float, float]]:
    """Pixels of all point features inside the map, for labels to keep off."""
    import shapely

    points = [
        chart.to_page(part.x, part.y)
        for shape in features.geometry
        for part in shapely.get_parts(shape)
        if part.geom_type == "Point"
    ]
    place = chart.place
    return [(x, y) for x, y in points if place.left < x < place.right and place.bottom < y < place.top]


def _inner_point(shape: Any, window: Any) -> Any:
    """A place on the seen part of a line or area to write its name beside."""
    inside = shape.intersection(window)
    if inside.geom_type in ("LineString",):
        return inside.interpolate(0.5, normalized=True)
    return inside.representative_point()


def _text(row: Any, column: str) -> str:
    value = getattr(row, column, None)
    return value if isinstance(value, str) else ""
