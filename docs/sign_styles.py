"""Which signs each rule of a style in ``styles/`` draws, and how SLD names their shapes."""

from __future__ import annotations

from dataclasses import replace

from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.palette import INK, PAPER

#: A pixel of a style is 0.28 mm: the standardised rendering pixel of OGC 05-077r4 (from memory).
_POINTS = 72 * 0.28 / 25.4
#: SLD 1.0's own names of shapes, and how far they are turned, degrees clockwise.
SLD_SHAPES = {
    "triangle": ("triangle", 0),
    "triangle_right": ("triangle", 90),
    "triangle_down": ("triangle", 180),
    "circle": ("circle", 0),
    "square": ("square", 0),
    "diamond": ("square", 45),
    "star": ("star", 0),
    "x": ("x", 0),
    "cross": ("cross", 0),
}
Drawn = signs.Mark | signs.Line | signs.Area | tuple[signs.Part, ...]


def pixels(points: float) -> float:
    """A length in pixels of a style, to a tenth."""
    return round(points / _POINTS, 1)


def _place(size: float, fill: str) -> tuple[signs.Part, ...]:
    """A place where somebody may stand: the likelier, the larger and darker."""
    edge = PAPER if fill == INK else INK
    return (signs.Part("diamond", size, fill, edge, 1.1),)


_PLACES: dict[str, Drawn] = {
    "under_a_tenth": _place(5.0, PAPER),
    "under_a_half": _place(6.5, palette.VISIBLE),
    "likely": _place(8.0, palette.UNCERTAIN),
    "very_likely": _place(9.5, INK),
}
_ORDERS = ("first", "second", "third", "higher")
_CLASS_LINES = {
    "ground_shape": signs.GROUND_LINE,
    "water": signs.STREAM,
    "man_made": signs.WALL,
    "unclassed": signs.UNCLASSED_LINE,
}
_CLASS_AREAS = {
    "ground_shape": signs.GROUND_AREA,
    "water": signs.LAKE,
    "man_made": signs.BUILT_AREA,
    "unclassed": signs.UNCLASSED_AREA,
}
_CLASS_MARKS = {
    "ground_shape": signs.HILL,
    "water": signs.TARN,
    "man_made": signs.BUILDING,
    "unclassed": signs.UNCLASSED,
}
#: Signs of a list of features by the first part of the names of its rules.
LISTED = {
    "top": signs.HILL,
    "saddle": signs.HILL_SADDLE,
    "hillside": signs.HILLSIDE,
    "low_ground": signs.LOW_GROUND,
    "water": signs.TARN,
    "man_made": signs.BUILDING,
    "unclassed": signs.UNCLASSED,
}


def _views() -> dict[str, Drawn]:
    shares = {
        "under_a_tenth": (0.08, 0.4),
        "under_a_half": (0.18, 0.6),
        "likely": (0.3, 0.8),
        "very_likely": (0.5, 1.2),
    }
    edge = signs.SECTOR_EDGE
    return {
        name: replace(signs.VIEW_SECTOR, strength=strength, edge=replace(edge, width=width))
        for name, (strength, width) in shares.items()
    }


def _behind(role: str, strength: float) -> signs.Area:
    edge = replace(signs.CREST_ROLES[role], rim=0.0)
    return signs.Area(palette.HIDDEN, strength, f"dead ground behind a {role}", edge)


_NOT_SEEN = signs.Line(palette.UNCLASSED, 1.6, "nobody can say", (1.6, 2.4))
_SEEN_STRETCH = signs.Line(INK, 4.0, "ground in view", core=2.7, core_colour=palette.VISIBLE)
_HIDDEN_STRETCH = signs.Line(palette.HIDDEN, 1.9, "dead ground")
_OPEN_SKY = signs.Line(INK, 2.0, "skyline; may lie farther off", rim=2.0)
_SKY = signs.Line(INK, 2.8, "ground against the sky", rim=1.6)
_NO_BROW = signs.Line(INK, 0.9, "no brow", (4.8, 2.4))
_DRAWN_EDGE = replace(signs.SECTOR_EDGE, dash=(4.8, 2.4))
_POINT_OF_SKY = signs.dot(INK, "point of the skyline")
_OPEN_POINT = signs.dot(INK, "open point of the skyline", is_open=True)
_GAP = signs.Line(INK, 1.2, "out of sight of all posts", (2.0, 2.4), rim=1.0)
_HIDDEN_SIGHT = replace(signs.SIGHT_LINE, colour=palette.HIDDEN, dash=(1.2, 2.8), rim=0.0)
_OTHER_GROUND = signs.Line(palette.UNCERTAIN, 1.0, "other ground, nearer", (1.6, 1.6))
_TRACE = signs.Line(INK, 1.0, "ground picked along a line", (3.2, 1.6))
_GUESS = (signs.Part("cross", 6.0, "", palette.UNCERTAIN, 1.3),)

_SIGHT = {
    "visible": replace(signs.SIGHT_LINE, dash=(), rim=0.0),
    "uncertain": replace(signs.SIGHT_LINE, colour=palette.UNCERTAIN, dash=(4.0, 1.6, 1.0, 1.6), rim=0.0),
    "hidden": _HIDDEN_SIGHT,
    "unknown": replace(_NOT_SEEN, width=0.8),
}
_STEEP = tuple(signs.Area(colour, signs.STEEP_STRENGTH, "steep ground") for colour in palette.STEEP)

STYLES: dict[str, dict[str, Drawn]] = {
    "bearing_list": {
        f"{name}_{state}": signs.parts(mark, state)
        for name, mark in LISTED.items()
        for state in signs.STATE_WORDS
    },
    "breaks_of_slope": {"concave_foot": signs.CONCAVE_FOOT, "convex_edge": signs.CONVEX_EDGE},
    "camera_marks": {
        "used": replace(signs.SIGHT_LINE, dash=(), rim=0.0),
        "left_out": replace(signs.SIGHT_LINE, colour=palette.UNCERTAIN, rim=0.0),
    },
    "area_shares": {
        "most": replace(signs.SEEN, strength=0.5),
        "less": replace(signs.SEEN, strength=0.15, edge=signs.Line(palette.HIDDEN, 1.0, "edge", (2.8, 1.1))),
    },
    "batch_parts": {"part": signs.Area("", 0.0, "part", signs.Line(INK, 0.6, "edge", (2.8, 1.1)))},
    "batch_stations": {"station": _place(5.0, INK)},
    "batch_tiles": {"tile": signs.Area("", 0.0, "tile", signs.Line(palette.UNCLASSED, 0.8, "edge"))},
    "cameras": _PLACES,
    "candidates": _PLACES,
    "checkpoints": {"checkpoint": (signs.Part("circle", 7.0, PAPER, INK, 1.6),)},
    "exercise_places": {"true_place": _place(8.0, INK), "wrong_place": _place(8.0, PAPER)},
    "possible_places": _PLACES,
    "candidate_views": _views(),
    "crest_lines": dict(signs.CREST_ROLES),
    "dead_ground": dict(zip(("shallow", "low", "middle", "deep"), signs.DEAD_GROUND_BY_DEPTH, strict=True)),
    "dead_ground_by_crest": {
        "crest": _behind("crest", 0.12), "brow": _behind("brow", 0.24), "skyline": _behind("skyline", 0.36),
    },
    "evidence": {
        "tells_nothing": signs.Line(palette.UNCLASSED, 0.7, "tells nothing", (0.8, 2.4)),
        "against": signs.Line(palette.UNCERTAIN, 1.3, "speaks against", (4.8, 2.4)),
        "supports": signs.Line(INK, 1.1, "supports"),
        "decides": signs.Line(INK, 2.2, "decides"),
    },
    "first_ground": {
        "no_brow": replace(signs.SEEN, strength=0.15, edge=_NO_BROW),
        "brow": replace(signs.SEEN, strength=0.35, edge=replace(signs.BROW, rim=0.0)),
    },
    "handover_gaps": {"gap": _GAP},
    "hollows": {"hollow": signs.HOLLOW},
    "level_ground": dict(signs.LEVEL_GROUND),
    "other_places": {"other": _place(5.0, PAPER)},
    "panorama_frames": {"sector": signs.Area("", 0.0, "a drawn view", _DRAWN_EDGE)},
    "panorama_lines": {
        **signs.CREST_ROLES,
        "line": signs.WALL,
        "outline": replace(signs.STREAM, dash=(1.6, 1.2), words="edge of an area, as far as seen"),
    },
    "panorama_points": dict(_CLASS_MARKS),
    "path_stretches": {"most": _SEEN_STRETCH, "less": _HIDDEN_STRETCH},
    "picked_ellipses": {
        "same": signs.Area(INK, 0.10, "the ground picked", signs.Line(INK, 1.1, "edge")),
        "nearer": signs.Area(palette.UNCERTAIN, 0.12, "other ground, nearer", _OTHER_GROUND),
        "beyond": signs.Area(
            palette.HIDDEN, 0.12, "other ground, beyond", signs.Line(palette.HIDDEN, 1.0, "edge", (4.8, 2.4))
        ),
    },
    "picked_lines": {"skyline": signs.SKYLINE, "brow": signs.BROW, "ground": _TRACE},
    "picked_points": {"ground": signs.SEEN_POINT, "grazing": _GUESS},
    "posts": {"fixed": (*signs.parts(signs.POST), signs.Part("circle", 3.2, PAPER)), "chosen": signs.POST},
    "profile_line": {"section": replace(signs.SIGHT_LINE, dash=(), width=0.7, rim=0.0)},
    "profile_points": {
        "crest": signs.dot(palette.BROW, "crest: ground turns out of view"),
        "re_emergence": signs.SEEN_POINT,
        "deepest": signs.dot(palette.HIDDEN, "greatest depth of dead ground"),
        "closest": _OPEN_POINT,
        "target": signs.TARGET,
        "crossed": signs.parts(signs.UNCLASSED),
        "beside": signs.parts(signs.UNCLASSED, "out_of_reach"),
    },
    "profile_stretches": {"visible": _SEEN_STRETCH, "hidden": _HIDDEN_STRETCH, "unknown": _NOT_SEEN},
    "radio_links": dict(signs.RADIO_LINKS),
    "re_entrants": {"re_entrant": signs.RE_ENTRANT},
    "refused_stations": {"refused": _place(5.0, PAPER)},
    "relays": {"relay": signs.RELAY},
    "relations": {"relation": signs.Line(INK, 0.5, "from one to the other", (0.8, 2.4))},
    "ridges": {name: signs.order_line("ridges", order) for order, name in enumerate(_ORDERS, 1)},
    "saddles": {"saddle": signs.SADDLE},
    "seen_areas": dict(_CLASS_AREAS),
    "seen_stretches": {"doubtful": signs.DOUBTFUL_STRETCH, "seen": signs.SEEN_STRETCH},
    "seen_lines": {name: replace(line, width=2.4) for name, line in _CLASS_LINES.items()},
    "sight_matrix": _SIGHT,
    "sight_lines": {"sight_line": replace(signs.SIGHT_LINE, rim=0.0)},
    "skyline": {
        "ground": _SKY,
        "reach": replace(_OPEN_SKY, dash=(7.1, 4.0)),
        "terrain_edge": replace(_OPEN_SKY, dash=(2.4, 4.0)),
        "void": replace(_OPEN_SKY, dash=(1.2, 5.6)),
    },
    "skyline_bearings": {
        "ground": _POINT_OF_SKY, "reach": _OPEN_POINT, "terrain_edge": _OPEN_POINT, "void": _OPEN_POINT,
    },
    "station_sight": _SIGHT,
    "spurs": {"spur": signs.SPUR},
    "stations": {"station": signs.STATION},
    "steep_ground": dict(zip(("least", "moderate", "steep", "steepest"), _STEEP, strict=True)),
    "tops": {"knoll": signs.KNOLL, "summit": signs.TOP},
    "uncertain_ground": {"uncertain": signs.UNCERTAIN_GROUND},
    "unknown_ground": {"unknown": signs.UNKNOWN_GROUND},
    "unseen_stretches": {"unseen": signs.UNSEEN_STRETCH},
    "valley_lines": {name: signs.order_line("valley_lines", order) for order, name in enumerate(_ORDERS, 1)},
    "visible_ground": {"visible": signs.SEEN},
}  # fmt: skip
"""Signs by layer and by the name of the rule; rules with letters alone are left out."""
