"""Signs of map features and crest lines, the same on every picture."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.drawn_signs import draw_course, draw_mark, fill_area, strokes
from hillsight.sheets.paper.labels import drawable
from hillsight.sheets.paper.maps import Entry, course_entry, ground_entry, sign_entry
from hillsight.sheets.paper.page import known_characters
from hillsight.sheets.paper.palette import INK
from hillsight.sheets.paper.sign_kinds import feature_area, feature_line, feature_mark
from hillsight.words.trust import trust_order

if TYPE_CHECKING:
    from collections.abc import Iterable

    import geopandas

    from hillsight.sheets.paper.labels import Placer
    from hillsight.sheets.paper.maps import Map

ROLES = ("crest", "brow", "skyline")  # from the bottom up
_NAME_LENGTH = 28
#: Kinds of sign on a map: what was drawn, for the legend.
Sign = signs.Mark | signs.Line | signs.Area


def feature_entries(drawn: Iterable[Sign]) -> list[Entry]:
    """Legend of what :func:`draw_features` drew: marks, then lines, then areas."""
    ordered = sorted(drawn, key=_rank)
    entries = []
    for sign in ordered:
        if isinstance(sign, signs.Mark):
            entries.append(sign_entry(sign.words, sign))
        elif isinstance(sign, signs.Line):
            entries.append(course_entry(sign.words, sign))
        else:
            entries.append(ground_entry(sign.words, sign))
    return entries


def _rank(sign: Sign) -> tuple[int, int, str]:
    """Place in a legend: marks, lines, areas; each with the most trusted first."""
    sort = [signs.Mark, signs.Line, signs.Area].index(type(sign))
    colour = sign.fill if isinstance(sign, signs.Area) else sign.colour
    classes = {colour: trust_order(name) for name, colour in palette.EVIDENCE_CLASSES.items()}
    return sort, classes.get(colour, -1), sign.words


def name_of(value: object, most: int = _NAME_LENGTH) -> str:
    """A name as a short line that the font can draw; "" for none."""
    return drawable(value, most, known_characters())


def draw_crests(chart: Map, lines: geopandas.GeoDataFrame) -> list[str]:
    """Crest lines by role, the skyline on top; returns the roles drawn."""
    import shapely
    from matplotlib.collections import LineCollection

    drawn = []
    for role in ROLES:
        shapes = [s for s in lines.geometry[lines["role"] == role] if s is not None and not s.is_empty]
        parts = [part for shape in shapes for part in shapely.get_parts(shape)]
        if not parts:
            continue
        drawn.append(role)
        paths = [shapely.get_coordinates(part) for part in parts]
        for zorder, style in zip((4.0, 4.5), strokes(signs.CREST_ROLES[role]), strict=True):
            collection = LineCollection(
                paths,
                colors=style["color"],
                linewidths=style["linewidth"],
                linestyles=[style.get("linestyle", "solid")],
                alpha=style.get("alpha"),
                zorder=zorder,
            )
            chart.axes.add_collection(collection, autolim=False)
    return drawn


def crest_entries(roles: Iterable[str]) -> list[Entry]:
    """Legend of crest lines: the brow first."""
    return [
        course_entry(signs.CREST_ROLES[role].words, signs.CREST_ROLES[role])
        for role in ("brow", "crest", "skyline")
        if role in roles
    ]


def draw_features(chart: Map, features: geopandas.GeoDataFrame) -> list[Sign]:
    """Features inside the map; returns the signs drawn, for the legend."""
    import shapely

    limits = chart.limits
    window = shapely.box(limits.left, limits.bottom, limits.right, limits.top)
    drawn: list[Sign] = []
    # A cairn stands on its top: the mark of the more trusted one comes last, over the other.
    inside = sorted(
        features[features.geometry.intersects(window)].itertuples(index=False),
        key=lambda row: -trust_order(_text(row, "evidence_class")),
    )
    for row in inside:
        evidence, kind = _text(row, "evidence_class") or "unclassed", _text(row, "kind")
        for part in shapely.get_parts(row.geometry):
            sign = _draw_part(chart, part, evidence, kind)
            if sign is not None and sign not in drawn:
                drawn.append(sign)
    return drawn


def _draw_part(chart: Map, part: Any, evidence: str, kind: str) -> Sign | None:
    import shapely

    if part.geom_type == "Polygon":
        area = feature_area(evidence, kind)
        fill_area(chart.axes, shapely.get_coordinates(part.exterior), area)
        return area
    if part.geom_type in ("LineString", "LinearRing"):
        line = feature_line(evidence, kind)
        rim = line if line.rim else replace(line, rim=1.4)
        draw_course(chart.axes, shapely.get_coordinates(part), rim, zorder=2.7)
        return line
    if part.geom_type == "Point":
        mark = feature_mark(evidence, kind)
        draw_mark(chart.page, *chart.to_page(part.x, part.y), mark)
        return mark
    return None


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
