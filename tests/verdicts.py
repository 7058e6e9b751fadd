"""Made-up verdicts for tests: places, facts and figures chosen by hand, so that every answer is known."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pyproj
import shapely

from hillsight.plan.statement import Picture, Sighting, Statement
from hillsight.plan.verdict import Argument, Change, Fact, NextQuestion, Verdict, Weighed

#: On the British grid's own meridian, where grid north is true north.
CRS = pyproj.CRS("EPSG:27700")
EAST, NORTH = 400_000.0, 500_000.0

HOSTILE = (
    "<script>alert('x')</script>",
    '"><img src=x onerror="y">',
    'O\'Brien & "Sons" | *bold* `code`',
    "two\nlines\ttab \x1b[31m and more",
    "half \ud800 surrogate",
    "$x^2$ \\ {0} %s",
    "🏔️ Bèinn Ämne 山",
    "a name that goes on and on " * 12,
    "",
)


def candidate(label: str, east: float, north: float, share: float, rank: int, looks: float = 90.0) -> Weighed:
    """A candidate so far from the middle of the ground."""
    return Weighed(
        label, EAST + east, NORTH + north, 300.0, 301.6, 0.25, share, 0.9 * share, looks, 4.0, rank
    )


def argument(
    number: int,
    kind: str,
    role: str,
    times: float,
    facts: tuple[Fact, ...],
    evidence: str = "ground_shape",
    **values: object,
) -> Argument:
    """An argument whose sentence names its number."""
    statement = Statement(kind, values, "left half")
    return Argument(
        number, statement, f"thing {number} is told", evidence, role, times, f"Sentence {number} here.", facts
    )


def line(*points: tuple[float, float]) -> shapely.LineString:
    return shapely.LineString([(EAST + e, NORTH + n) for e, n in points])


def point(east: float, north: float) -> shapely.Point:
    return shapely.Point(EAST + east, NORTH + north)


def verdict(state: str = "decided") -> Verdict:
    """Three candidates, five arguments of every role and class, changes, questions and a caution.

    "Aye" stands in the middle and looks east; "Bee" stands 700 m north of it and looks east too; "Cee" stands
    2 km west and looks north.
    """
    places = (
        candidate("Aye", 0, 0, 0.8, 1),
        candidate("Bee", 0, 700, 0.15, 2),
        candidate("Cee", -2_000, 0, 0.03, 3, looks=0.0),
    )
    rim = line((80, -60), (100, 0), (80, 60))
    arguments = (
        argument(
            2,
            "brow",
            "decides",
            7.5,
            (
                Fact("the ground turns out of view at about 100 m", 100.0, "m on the grid", rim, 90.0, 0.9),
                Fact("the ground stays in view for 600 m or more", None, "", None, 90.0, 0.1),
                Fact("the ground turns out of view at about 90 m", 90.0, "m on the grid", None, None, 0.5),
            ),
            distance="near",
        ),
        argument(
            1,
            "relation",
            "decides",
            3.0,
            tuple(
                Fact("one stands left of the other", 20.0, "degrees", both, None, agrees)
                for both, agrees in (
                    (shapely.GeometryCollection([point(1_000, 300), point(1_200, -200)]), 0.8),
                    (shapely.GeometryCollection([point(1_000, 300), point(1_200, -200)]), 0.2),
                    (None, 0.0),
                )
            ),
            "water",
            **{"what": "Made Tarn", "is": "left of", "other": "sheepfold"},
        ),
        argument(
            5,
            "seen",
            "supports",
            1.5,
            tuple(
                Fact("Made Wall shows", 900.0, "m on the grid", line((900, -500), (900, 500)), bearing, 0.4)
                for bearing in (90.0, 120.0, 80.0)
            ),
            "man_made",
            what="Made Wall",
        ),
        argument(
            4, "skyline", "tells_nothing", 1.0, (Fact("the skyline is flat", agrees=0.5),) * 3, shape="flat"
        ),
        argument(
            3,
            "height",
            "against",
            0.5,
            tuple(
                Fact("Far Top stands below us", -2.0, "degrees above level", point(1_500, 100), 86.0, 0.1)
                for _ in places
            ),
            what="Far Top",
            stands="below",
        ),
    )
    statements = tuple(a.statement for a in sorted(arguments, key=lambda a: a.number))
    return Verdict(
        state,
        Sighting(
            Picture("Made picture", 90.0, "true", 15.0, 60.0, datetime.date(2025, 6, 1)),
            statements,
            "made.toml",
        ),
        places,
        0.02,
        5.3,
        arguments,
        "Decided: taken from Aye with 80 %",
        (
            Change("without statement 1", "decided", "Aye", 0.7, False),
            Change("with every eye 1 m higher", "undecided", "Bee", 0.55, True),
        ),
        (
            NextQuestion(
                "Is a tarn seen?",
                "anywhere in the picture",
                0.4,
                (("Aye", "a tarn is seen"), ("Bee", "no tarn is seen")),
            ),
        ),
        ("no statement is about the moon",),
        argued_against="none of these" if state == "none_fits" else "Bee",
    )


def hostile() -> Verdict:
    """The verdict with difficult texts wherever a text may stand, and figures that are none."""
    made = verdict("undecided")
    texts = iter([HOSTILE[k % len(HOSTILE)] for k in range(200)])
    places = tuple(replace(one, station=text) for one, text in zip(made.candidates, HOSTILE, strict=False))
    arguments = tuple(
        replace(
            one,
            says=next(texts),
            sentence=next(texts),
            times=(np.inf, 0.0, np.nan, 1.0, 1e-12)[k],
            facts=tuple(replace(fact, words=next(texts), figure=np.inf, agrees=np.nan) for fact in one.facts),
        )
        for k, one in enumerate(made.arguments)
    )
    picture = replace(made.sighting.picture, title=HOSTILE[0])
    return replace(
        made,
        sighting=replace(made.sighting, picture=picture),
        candidates=places,
        arguments=arguments,
        headline=next(texts),
        ratio_to_next=np.inf,
        changes=tuple(replace(c, about=next(texts), station=next(texts)) for c in made.changes),
        questions=tuple(
            replace(q, text=text, part=text, expected=((text, text),))
            for q, text in zip(made.questions * len(HOSTILE), HOSTILE, strict=True)
        ),
        cautions=HOSTILE,
    )


def many(count: int) -> Verdict:
    """So many candidates, none argued, as with more than anybody reads."""
    made = verdict("undecided")
    places = tuple(candidate(f"Place {k}", 20.0 * k, 13.0 * k, 0.98 / count, k + 1) for k in range(count))
    return replace(made, candidates=places, arguments=(), changes=(), questions=())
