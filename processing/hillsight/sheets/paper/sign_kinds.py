"""Which sign a map feature takes, by its evidence class and its kind."""

from __future__ import annotations

import re
from functools import cache

from hillsight.ground.evidence import kind_forms
from hillsight.sheets.paper import signs

_TOPS = "summit top peak hill hilltop mountain fell pike tor pinnacle spotheight"
_KNOLLS = "knoll hillock hummock mound knott nab drumlin moraine boulder rock outcrop"
_SADDLES = "saddle col pass hause bealach gap notch bwlch"
_LOW = (
    "reentrant valley dale glen combe corrie coire cirque cwm gully ravine gorge clough chasm cleft "
    "depression hollow pit sinkhole shakehole pothole doline cave entrance floor"
)
_SMALL_WORKS = (
    "cairn currick beacon trig pillar point post signpost guidepost marker stone gate stile pole pylon mast "
    "chimney tree corner junction monument memorial cross butt shaft bridge footbridge ford steps"
)


_WOODS = (
    "wood forest forestry plantation copse woodland clearing felledarea tree grove shelterbelt orchard scrub "
    "conifer coniferous broadleaved deciduous needleleaved mixed"
)


def _each[Sign: (signs.Mark, signs.Line, signs.Area)](kinds: str, sign: Sign) -> dict[str, Sign]:
    """The same sign for several kinds."""
    return dict.fromkeys(kinds.split(), sign)


MARKS: dict[str, dict[str, signs.Mark]] = {
    "ground_shape": {
        **_each(_TOPS, signs.HILL),
        **_each(_KNOLLS, signs.HILLOCK),
        **_each(_SADDLES, signs.HILL_SADDLE),
        **_each(_LOW, signs.LOW_GROUND),
    },
    "water": _each("spring head wellhead waterfall force falls confluence", signs.SPRING),
    "man_made": _each(_SMALL_WORKS, signs.CAIRN),
    "unclassed": {},
}
_OTHER_MARK = {"ground_shape": signs.HILLSIDE, "water": signs.TARN, "man_made": signs.BUILDING}

LINES: dict[str, dict[str, signs.Line]] = {
    "ground_shape": {
        **_each("ridge arete", signs.order_line("ridges", 1)),
        **_each("edge escarpment scarp cliff break buttress", signs.CONVEX_EDGE),
        **_each("spur nose shoulder", signs.SPUR),
        **_each("reentrant", signs.RE_ENTRANT),
        **_each("valley dale glen gully ravine gorge clough", signs.VALLEY_LINE),
    },
    "water": _each("river afon canal", signs.RIVER),
    "man_made": {
        **_each("wall dyke dam embankment", signs.WALL),
        **_each("fence hedge hedgerow boundary", signs.FENCE),
        **_each("path footpath footway bridleway cycleway steps trod way byway", signs.PATH),
        "sheeptrack": signs.PATH,
        **_each("track lane drive", signs.TRACK),
        **_each(
            "road street motorway unclassified residential service primary secondary tertiary trunk",
            signs.ROAD,
        ),
        "forestroad": signs.TRACK,
        **_each("railway rail tramway", signs.RAILWAY),
    },
    "unclassed": {},
}
_OTHER_LINE = {"ground_shape": signs.GROUND_LINE, "water": signs.STREAM, "man_made": signs.WORK_LINE}

AREAS: dict[str, dict[str, signs.Area]] = {
    "ground_shape": {},
    "water": _each("marsh bog swamp mire wetland flush moss", signs.MARSH),
    "man_made": _each(_WOODS, signs.WOOD),
    # Kinds of cover that are no evidence of a place, such as a broadleaved wood.
    "unclassed": _each(_WOODS, signs.WOOD),
}
_OTHER_AREA = {"ground_shape": signs.GROUND_AREA, "water": signs.LAKE, "man_made": signs.BUILT_AREA}


@cache
def _keys(kind: str) -> tuple[str, ...]:
    """The kind as a whole, then its words from the last: a dry stone wall is a wall."""
    words = [kind, *reversed(re.split(r"[\s\-_/]+", kind))]
    return tuple(form for word in words if word for form in kind_forms(word))


def feature_mark(evidence_class: str, kind: str = "") -> signs.Mark:
    """The sign of a map feature at a point."""
    known = MARKS.get(evidence_class, {})
    return next(
        (known[key] for key in _keys(kind) if key in known), _OTHER_MARK.get(evidence_class, signs.UNCLASSED)
    )


def feature_line(evidence_class: str, kind: str = "") -> signs.Line:
    """The sign of a map feature that is a line."""
    known = LINES.get(evidence_class, {})
    other = _OTHER_LINE.get(evidence_class, signs.UNCLASSED_LINE)
    return next((known[key] for key in _keys(kind) if key in known), other)


def feature_area(evidence_class: str, kind: str = "") -> signs.Area:
    """The sign of a map feature that is an area."""
    known = AREAS.get(evidence_class, {})
    other = _OTHER_AREA.get(evidence_class, signs.UNCLASSED_AREA)
    return next((known[key] for key in _keys(kind) if key in known), other)
