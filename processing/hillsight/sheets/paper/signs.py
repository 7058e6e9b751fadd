"""The sign language: which sign stands for which kind of thing, on sheets, pictures and styles alike.

A shape tells the kind: a triangle is a top, a slanting cross a saddle, a disc water, a square what people
built, a diamond a place where somebody stands. A state (seen, hidden, uncertain, unknown) is told by how the
shape is filled, and of ground by wash and hatch; never by a shape. Kinds of lines differ by dash, width or
make-up, so that none hangs on its colour. All shapes are plain ones that SLD 1.0 can name. Lengths are points
(1/72 inch). Which sign a kind of map feature takes is in :mod:`hillsight.sheets.paper.sign_kinds`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from hillsight.sheets.paper import palette
from hillsight.sheets.paper.palette import INK, PAPER

#: Shapes that only have a stroke; all others can be filled.
OPEN_SHAPES = frozenset({"x", "cross"})


@dataclass(frozen=True)
class Part:
    """One piece of a mark, drawn over those before it.

    shape : triangle, triangle_right, triangle_down, circle, square, diamond, star, x or cross; size : across;
    fill, edge : colours, "" for none; edge_width : of the outline, or of the stroke of an open shape
    """

    shape: str
    size: float
    fill: str
    edge: str = ""
    edge_width: float = 0.0


@dataclass(frozen=True)
class Mark:
    """The sign of a kind of thing at a point.

    words : for the legend; made : its parts where it is not one shape in one colour
    """

    shape: str
    size: float
    colour: str
    words: str
    made: tuple[Part, ...] = ()


@dataclass(frozen=True)
class Line:
    """The sign of a kind of line.

    dash : on and off, () for an unbroken line; core : width of the middle in ``core_colour`` of a hollow
    line, 0 for none; bead : radius of the dot at its lower end; rim : how much wider the paper-coloured
    ground is that the line lies on
    """

    colour: str
    width: float
    words: str
    dash: tuple[float, ...] = ()
    cap: str = "butt"
    core: float = 0.0
    core_colour: str = PAPER
    bead: float = 0.0
    rim: float = 0.0


@dataclass(frozen=True)
class Hatch:
    """Parallel lines over an area.

    angle_deg : anticlockwise from level; strength : 1 covers the ground
    """

    colour: str
    angle_deg: float
    pitch: float
    width: float
    strength: float = 1.0


@dataclass(frozen=True)
class Strewn:
    """Small marks scattered over an area, in staggered rows ``pitch`` apart."""

    shape: str
    size: float
    pitch: float
    colour: str


@dataclass(frozen=True)
class Area:
    """The sign of a kind of area.

    strength : of the wash, 1 covers the ground, less lets the map show through
    """

    fill: str
    strength: float
    words: str
    edge: Line | None = None
    texture: Hatch | Strewn | None = None


# Shapes of the ground at a point.
TOP = Mark("triangle", 8.5, INK, "summit")
KNOLL = Mark("triangle", 5.2, INK, "knoll: a lesser top")
SADDLE = Mark("x", 5.6, INK, "saddle")
HILLSIDE = Mark("triangle_right", 6.8, palette.GROUND_SHAPE, "spur, ridge, crag or slope")
LOW_GROUND = Mark("triangle_down", 6.8, palette.GROUND_SHAPE, "re-entrant, valley or hollow")

# Map features at a point.
HILL = Mark("triangle", 6.5, palette.GROUND_SHAPE, "top")
HILLOCK = replace(HILL, size=4.6, words="knoll")
HILL_SADDLE = Mark("x", 5.6, palette.GROUND_SHAPE, "saddle")
TARN = Mark("circle", 5.8, palette.WATER, "water")
SPRING = Mark("circle", 4.2, palette.WATER, "spring")
BUILDING = Mark("square", 5.6, palette.MAN_MADE, "building or other work")
CAIRN = Mark("square", 4.0, palette.MAN_MADE, "cairn or other small work")
UNCLASSED = Mark("star", 9.0, palette.UNCLASSED, "unclassed feature")

# Places where somebody stands, and what is looked at.
STATION = Mark(
    "diamond", 8.5, INK, "station",
    (
        Part("cross", 19.0, "", PAPER, 4.4), Part("diamond", 8.5, PAPER, PAPER, 4.0),
        Part("cross", 18.0, "", INK, 1.7), Part("diamond", 8.5, PAPER, INK, 1.7), Part("circle", 2.6, INK),
    ),
)  # fmt: skip
CANDIDATE = Mark("diamond", 7.0, INK, "candidate", (Part("diamond", 7.0, PAPER, INK, 1.5),))
TARGET = Mark(
    "cross", 10.0, INK, "target",
    (
        Part("cross", 11.0, "", PAPER, 3.6), Part("x", 7.6, "", PAPER, 3.6),
        Part("cross", 10.0, "", INK, 1.5), Part("x", 7.0, "", INK, 1.5),
    ),
)  # fmt: skip
HIDDEN_TARGET = replace(
    TARGET, words="target out of view", made=(
        Part("cross", 11.0, "", INK, 3.6), Part("x", 7.6, "", INK, 3.6),
        Part("cross", 9.6, "", PAPER, 1.5), Part("x", 6.4, "", PAPER, 1.5),
    ),
)  # fmt: skip
SEEN_POINT = Mark("cross", 8.0, INK, "ground that a sight line meets", (Part("cross", 8.0, "", INK, 1.5),))
EYE = Mark("diamond", 5.4, INK, "eye of the station")
POST = Mark("diamond", 12.5, INK, "marshal post")
RELAY = Mark(
    "diamond", 9.5, INK, "place of a relay",
    (Part("diamond", 9.5, PAPER, INK, 1.5), Part("cross", 5.5, "", INK, 1.3)),
)  # fmt: skip
ACCESS = Mark("square", 7.0, INK, "start of a walk", (Part("square", 7.0, PAPER, INK, 1.6),))


def dot(colour: str, words: str, *, is_open: bool = False) -> Mark:
    """A point of a line, too small for a sign of its own: open where the line is."""
    fill, width = (PAPER, 0.9) if is_open else (colour, 0.4)
    return Mark("circle", 3.4, colour, words, (Part("circle", 3.4, fill, colour, width),))


# Shapes of the ground as lines. Ridges and valley lines widen with their order.
RIDGE = Line(palette.GROUND_SHAPE, 1.0, "ridge", cap="round", rim=0.9)
VALLEY_LINE = Line(palette.WATER, 1.0, "valley line", (3.4, 1.7))
SPUR = Line(palette.SPUR, 3.0, "spur, its nose a bead", cap="round", core=1.3, bead=2.1, rim=0.9)
# The rim covers the valley line that runs along most re-entrants.
RE_ENTRANT = Line(palette.RE_ENTRANT, 2.4, "re-entrant", (0.1, 4.6), cap="round", rim=0.3)
CONVEX_EDGE = Line(palette.BREAK, 2.0, "break of slope: steeper below", (9.0, 2.0))
CONCAVE_FOOT = Line(palette.BREAK, 1.3, "break of slope: gentler below", (5.0, 1.8, 1.2, 1.8, 1.2, 1.8))
GROUND_LINE = Line(palette.GROUND_SHAPE, 1.0, "crag, edge, line of the ground", (2.2, 0.9))
CONTOUR = Line(palette.CONTOUR, 0.45, "contour")
INDEX_CONTOUR = Line(palette.CONTOUR, 0.95, "every fifth contour")
ORDER_WIDTHS = {
    "ridges": (0.9, 1.5, 2.2, 3.0),
    "valley_lines": (0.8, 1.15, 1.6, 2.1),
}  # order 1 to 4 and higher

# Water and works of man as lines.
STREAM = Line(palette.WATER, 1.1, "stream")
RIVER = Line(palette.WATER, 1.8, "river", core=0.7, core_colour=palette.WATER_PALE)
WALL = Line(palette.MAN_MADE, 1.1, "wall", (6.0, 0.8))
FENCE = Line(palette.MAN_MADE, 0.8, "fence, hedge or boundary", (4.0, 1.2, 0.8, 1.2))
PATH = Line(palette.MAN_MADE, 1.1, "path", (2.2, 1.5))
TRACK = Line(palette.MAN_MADE, 1.5, "track", (4.6, 1.8))
ROAD = Line(palette.MAN_MADE, 2.6, "road", core=1.2)
RAILWAY = Line(palette.MAN_MADE, 1.9, "railway", (0.9, 0.9))
WORK_LINE = Line(palette.MAN_MADE, 0.8, "other line that people built", (0.9, 1.3))
UNCLASSED_LINE = Line(palette.UNCLASSED, 1.1, "unclassed line", (3.0, 1.2, 0.9, 1.2, 0.9, 1.2))

# What is seen, as lines.
BROW = Line(palette.BROW, 1.6, "brow: nearest crest, ground beyond", rim=1.3)
CREST = Line(palette.CREST, 1.3, "crest farther off", (5.2, 2.1), rim=1.3)
SKYLINE = Line(palette.INK, 2.1, "skyline", (14.7, 2.7, 2.5, 2.7), rim=1.3)
SIGHT_LINE = Line(palette.INK, 0.9, "sight line", (4.5, 1.8), rim=1.3)
SEEN_STRETCH = Line(INK, 3.6, "course that a post sees", core=2.4, core_colour=palette.VISIBLE)
DOUBTFUL_STRETCH = replace(SEEN_STRETCH, words="course seen with a chance under 0.9", dash=(3.0, 2.0))
UNSEEN_STRETCH = Line(palette.HIDDEN, 4.4, "course that no post sees")
OTHER_STRETCH = Line(INK, 1.4, "rest of the course", (4.2, 1.4), rim=1.3)
APPROACH = Line(palette.RE_ENTRANT, 2.0, "way to the post", (3.2, 1.5), rim=1.2)
RADIO_LINKS = {
    "likely": Line(INK, 0.8, "radio: likely", (7.0, 1.2), rim=0.8),
    "doubtful": Line(INK, 0.8, "radio: doubtful", (3.0, 2.6), rim=0.8),
    "unlikely": Line(INK, 0.8, "radio: unlikely", (0.9, 3.4), rim=0.8),
    "unknown": Line(palette.UNCLASSED, 0.6, "radio: not known", (0.6, 4.8)),
}
REACH = Line(palette.INK, 1.0, "edge of the reach", (1.0, 2.0))
DEAD_GROUND_EDGE = Line(palette.HIDDEN, 0.6, "edge of dead ground")
SECTOR_EDGE = Line(palette.INK, 0.8, "edge of a picture's view")
CREST_ROLES = {"crest": CREST, "brow": BROW, "skyline": SKYLINE}

# Ground by what is seen of it. Washes let contours and names be read; hatch and edge tell them in grey.
DEAD_GROUND_STRENGTH = 0.36
_DEAD_HATCH = Hatch(palette.HIDDEN, -45.0, 5.3, 0.5, 0.30)
SEEN = Area(palette.VISIBLE, 0.6, "seen")
DEAD_GROUND = Area(palette.HIDDEN, DEAD_GROUND_STRENGTH, "dead ground", DEAD_GROUND_EDGE, _DEAD_HATCH)
#: Dead ground by depth, shallow to deep.
DEAD_GROUND_BY_DEPTH = tuple(
    replace(DEAD_GROUND, fill=colour, words=f"dead ground, depth class {number}")
    for number, colour in enumerate(palette.DEPTHS, 1)
)
UNCERTAIN_GROUND = Area(
    palette.UNCERTAIN, 0.45, "uncertain", texture=Strewn("circle", 1.0, 3.9, palette.UNCERTAIN)
)
UNKNOWN_GROUND = Area(
    palette.UNKNOWN, 0.5, "unknown: void or off the terrain", texture=Hatch(palette.INK, 45.0, 4.4, 0.7)
)
VIEW_SECTOR = Area(palette.VISIBLE, 0.5, "within the picture", SECTOR_EDGE)
GROUND_STATES = {
    "visible": SEEN, "unknown": UNKNOWN_GROUND, "uncertain": UNCERTAIN_GROUND, "hidden": DEAD_GROUND,
}  # fmt: skip

# Shapes of the ground as areas.
LEVEL_EDGE = Line(palette.LEVEL_EDGE, 0.7, "edge of level ground")
LEVEL_GROUND = {
    kind: Area(palette.LEVEL, 0.45, words, LEVEL_EDGE, Strewn(shape, size, 8.6, palette.LEVEL_EDGE))
    for kind, words, shape, size in (
        ("flat_top", "flat top: falls all round", "triangle", 3.6),
        ("shelf", "shelf: falls to one side", "cross", 4.3),
        ("floor", "floor: rises all round", "circle", 2.4),
    )
}
HOLLOW_EDGE = Line(palette.WATER, 1.7, "edge of a hollow", (1.6, 2.0))
HOLLOW = Area(palette.WATER, 0.2, "hollow: no way out for water", HOLLOW_EDGE)
STEEP_STRENGTH = 0.62

# Map features as areas.
GROUND_AREA = Area(palette.GROUND_SHAPE, 0.22, "ground", replace(GROUND_LINE, words="edge of ground"))
LAKE = Area(palette.WATER, 0.4, "water", replace(STREAM, words="shore"))
MARSH = Area(palette.WATER, 0.12, "marsh", replace(VALLEY_LINE, words="edge of a marsh", dash=(1.2, 1.4)))
BUILT_AREA = Area(
    palette.MAN_MADE, 0.45, "building or other work", Line(palette.MAN_MADE, 1.1, "edge of a work")
)
WOOD = Area(
    palette.MAN_MADE, 0.14, "wood", Line(palette.MAN_MADE, 0.8, "edge of a wood", (0.9, 1.3)),
    Strewn("circle", 1.6, 6.5, palette.MAN_MADE),
)  # fmt: skip
UNCLASSED_AREA = Area(palette.UNCLASSED, 0.3, "unclassed area", replace(UNCLASSED_LINE, words="edge"))

#: Words for the states of a feature, in the order of legends.
STATE_WORDS = {
    "visible": "seen",
    "partly": "partly seen",
    "uncertain": "uncertain",
    "hidden": "hidden",
    "unknown": "unknown",
    "out_of_reach": "out of reach",
}
_RIM = 0.8  # of paper about a filled mark
_OUTLINE = 1.3  # of a hollow mark
_STROKE = 1.7  # of an open shape
_WIDE = 3.8  # of an open shape's stroke that has room for a fill


def parts(mark: Mark, state: str = "visible") -> tuple[Part, ...]:
    """The pieces of a mark from the bottom up; a state is told by the filling.

    Seen is full; partly seen is hollow with a full core; uncertain is full with a hollow core; hidden is
    hollow; unknown is grey in an ink outline; out of reach is small and hollow.

    Raises
    ------
    KeyError : no such state
    """
    if state not in STATE_WORDS:
        raise KeyError(state)
    if mark.made:
        return mark.made
    if mark.shape in OPEN_SHAPES:
        return _open_parts(mark, state)

    def part(share: float, fill: str, edge: str = "", width: float = 0.0) -> Part:
        return Part(mark.shape, round(share * mark.size, 2), fill, edge, width)

    full = part(1.0, mark.colour, PAPER, _RIM)
    hollow = part(1.0, PAPER, mark.colour, _OUTLINE)
    return {
        "visible": (full,),
        "partly": (hollow, part(0.42, mark.colour)),
        "uncertain": (full, part(0.42, PAPER)),
        "hidden": (hollow,),
        "unknown": (part(1.0, palette.UNKNOWN, INK, 1.0),),
        "out_of_reach": (part(0.62, PAPER, mark.colour, 0.8),),
    }[state]


def _open_parts(mark: Mark, state: str) -> tuple[Part, ...]:
    """A stroke in place of a fill: a wide one of colour, on it a narrower one of what it holds."""

    def stroke(share: float, colour: str, width: float) -> Part:
        return Part(mark.shape, round(share * mark.size, 2), "", colour, width)

    wide = stroke(1.0, mark.colour, _WIDE)
    return {
        "visible": (stroke(1.0, PAPER, _STROKE + 2 * _RIM), stroke(1.0, mark.colour, _STROKE)),
        "partly": (wide, stroke(1.0, PAPER, 1.7), stroke(0.5, mark.colour, 1.9)),
        "uncertain": (wide, stroke(0.6, PAPER, 1.4)),
        "hidden": (wide, stroke(1.0, PAPER, 1.7)),
        "unknown": (stroke(1.0, INK, _WIDE), stroke(1.0, palette.UNKNOWN, 2.0)),
        "out_of_reach": (stroke(0.62, mark.colour, 2.6), stroke(0.62, PAPER, 1.0)),
    }[state]


def order_line(layer: str, order: int) -> Line:
    """The sign of a ridge or valley line of an order: wider for higher ones, dashes longer."""
    sign, widths = {"ridges": RIDGE, "valley_lines": VALLEY_LINE}[layer], ORDER_WIDTHS[layer]
    width = widths[min(max(order, 1), len(widths)) - 1]
    longer = (width / sign.width) ** 0.5
    return replace(sign, width=width, dash=tuple(round(part * longer, 2) for part in sign.dash))
