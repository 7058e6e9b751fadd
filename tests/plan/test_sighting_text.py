"""The form reads as a sighting, what is written comes back, and statements are said in English."""

from __future__ import annotations

import datetime
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.kinds.shared.kind import StatementKind
from hillsight.plan.sighting.file import read_sighting
from hillsight.plan.sighting.template import template, write_sighting
from hillsight.plan.sighting.wording import statement_words
from hillsight.plan.statement import Picture, Sighting, Statement
from hillsight.plan.toml_file import LEAST_MEMBERS
from hillsight.plan.vocabulary import COMPASS, FORMAT, PARTS, PICTURE, SURENESS, SightingField
from hillsight.words.english import folded


def uncommented(text: str) -> str:
    """The form with the mark taken away from all its examples."""
    return re.sub(r"(?m)^#(?=[^ #\n])", "", text)


def come_back(sighting: Sighting, path: Path) -> Sighting:
    """Written and read, with the lines forgotten."""
    path.write_text(write_sighting(sighting), encoding="utf-8")
    back = read_sighting(str(path))
    assert back.source == str(path)
    return Sighting(back.picture, tuple(Statement(s.kind, s.values, s.part, s.sure) for s in back.statements))


def test_the_form_holds_one_example_of_each_kind(tmp_path: Path) -> None:
    path = tmp_path / "form.toml"
    path.write_text(uncommented(template()), encoding="utf-8")
    sighting = read_sighting(str(path))
    assert sorted(s.kind for s in sighting.statements) == sorted(KINDS)
    for statement in sighting.statements:
        example = dict(KINDS[statement.kind].example)
        assert statement.part == example.pop("part", "anywhere")
        assert dict(statement.values) == example
    assert sighting.picture.title
    assert sighting.picture.looks_deg == 315.0
    assert sighting.picture.sun_right_deg == -40


def test_the_form_is_ready_to_fill_in() -> None:
    lines = template().splitlines()
    assert lines[0] == f'format = "{FORMAT}"'
    assert max(map(len, lines)) <= 100
    # Nothing is said before it is filled in.
    assert [line for line in lines if line and not line.startswith("#")] == [lines[0], "[picture]"]
    heads = [line for line in lines if line.startswith("# ----")]
    assert [head.strip("# -").lower() for head in heads] == [
        "the near ground",
        "the middle ground",
        "the far ground",
        "the skyline",
        "things",
        "measured",
    ]
    lead = " ".join(template().split("[picture]")[0].replace("#", " ").split())
    assert "Write first how the near ground runs" in lead
    assert "The shape of the ground counts most" in lead
    assert "walls, fences and tracks count little" in lead


def test_the_form_tells_every_field_with_its_words() -> None:
    blocks = template().split("#[[statement]]")
    assert len(blocks) == len(KINDS) + 1
    for block in blocks[1:]:
        kind = KINDS[re.findall(r'#kind = "(\w+)"', block)[0]]
        told = " ".join(block.replace("#", " ").split())
        for field in kind.fields:
            assert re.search(rf"\b{field.name}\b", told), (kind.name, field.name)
            assert not field.words or f"({', '.join(field.words)})" in told, (kind.name, field.name)
    for field in PICTURE:
        assert f"\n#{field.name} = " in blocks[0]
    for word in (*PARTS, *SURENESS):
        assert word in blocks[0]


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_an_example_comes_back(kind: StatementKind, tmp_path: Path) -> None:
    values = dict(kind.example)
    part = values.pop("part", "anywhere")
    sighting = Sighting(statements=(Statement(kind.name, values, part, "doubtful"),))
    assert come_back(sighting, tmp_path / "one.toml") == sighting


@pytest.mark.parametrize(
    "picture",
    [
        Picture(),
        Picture(title='a "ridge"\n\\ \x00\x7f\t é', looks_deg=315.0),
        Picture(looks_deg=315.0, give_or_take_deg=10.0),
        Picture(looks_deg=315.1, give_or_take_deg=20.0),
        Picture(looks_deg=315.1, give_or_take_deg=10.0, north="magnetic", width_deg=33.3),
        Picture(looks_deg=360.0, give_or_take_deg=7.0),
        Picture(give_or_take_deg=7.0, taken=datetime.date(2026, 6, 1)),
        Picture(taken=datetime.datetime(2026, 6, 1)),
        Picture(taken=datetime.datetime(2026, 6, 1, 12, 0, 0, 5, datetime.UTC), sun_right_deg=-7.5),
    ],
)
def test_a_picture_comes_back(picture: Picture, tmp_path: Path) -> None:
    sighting = Sighting(picture, (Statement("skyline", {"shape": "flat"}),))
    back = come_back(sighting, tmp_path / "one.toml")
    assert back == sighting
    assert type(back.picture.taken) is type(picture.taken)


TEXTS = st.text(st.characters(codec="utf-8"), min_size=1, max_size=12).filter(str.strip)


def values_of(field: SightingField) -> st.SearchStrategy[Any]:
    number = st.floats(max(field.least, -1e9), min(field.most, 1e9))
    if field.form == "number" and field.is_whole:
        return st.integers(int(field.least), int(field.most))
    forms = {
        "word": st.sampled_from(field.words or ("",)),
        "text": TEXTS,
        "texts": st.lists(TEXTS, min_size=LEAST_MEMBERS["texts"], max_size=4),
        "number": number,
        "yes_no": st.booleans(),
        "pairs": st.lists(
            st.lists(number, min_size=2, max_size=2), min_size=LEAST_MEMBERS["pairs"], max_size=5
        ),
    }
    return forms[field.form]


@st.composite
def statements(draw: st.DrawFn) -> Statement:
    """Any statement that a sighting may hold."""
    kind = draw(st.sampled_from(list(KINDS.values())))
    needed = {field.name for field in kind.fields if field.needed}
    if kind.one_of:
        needed.add(draw(st.sampled_from(kind.one_of)))
    chosen = [f for f in kind.fields if f.name in needed or draw(st.booleans())]
    values = {field.name: draw(values_of(field)) for field in chosen}
    if all(name in values for name in kind.either_or or ("", "")):
        del values[next((name for name in kind.either_or if name not in needed), kind.either_or[1])]
    for name, other in kind.rests_on.items():
        if other not in values:
            values.pop(name, None)
    if "other" in values and folded(values["other"]) == folded(values["what"]):
        values["other"] += " too"
    return Statement(
        kind.name, values, draw(st.sampled_from(list(PARTS))), draw(st.sampled_from(list(SURENESS)))
    )


@st.composite
def pictures(draw: st.DrawFn) -> Picture:
    taken = draw(
        st.none()
        | st.dates()
        | st.datetimes(timezones=st.just(datetime.timezone(datetime.timedelta(hours=1))))
    )
    timed = isinstance(taken, datetime.datetime)
    return Picture(
        title=draw(st.just("") | TEXTS),
        looks_deg=draw(st.none() | st.floats(0, 360) | st.sampled_from(list(COMPASS.values()))),
        north=draw(st.sampled_from(["true", "grid", "magnetic"])),
        give_or_take_deg=draw(st.sampled_from([10.0, 20.0]) | st.floats(0.5, 180)),
        width_deg=draw(st.floats(5, 360)),
        taken=taken,
        sun_right_deg=draw(st.none() | st.floats(-180, 180)) if timed else None,
    )


@settings(max_examples=60, deadline=None)
@given(picture=pictures(), told=st.lists(statements(), min_size=1, max_size=4))
def test_any_sighting_comes_back(
    picture: Picture, told: list[Statement], tmp_path_factory: pytest.TempPathFactory
) -> None:
    sighting = Sighting(picture, tuple(told))
    assert come_back(sighting, tmp_path_factory.getbasetemp() / "any.toml") == sighting


@settings(max_examples=60, deadline=None)
@given(statements())
def test_whatever_is_told_is_one_clause(statement: Statement) -> None:
    told = statement_words(statement)
    assert told == told.strip()
    assert "None" not in told or any("None" in thing for thing in statement.things)
    assert "{" not in told or any("{" in thing for thing in statement.things)
    for thing in statement.things:
        assert " ".join(thing.split()) in told or statement.kind == "number"


NAMES = ("raven crag", "Dove Crag")


@pytest.mark.parametrize(
    ("kind", "values", "told"),
    [
        # What an instructor would say, written before the code was run.
        ("brow", {"part": "left", "distance": "near"}, "on the left the ground falls away near by"),
        (
            "brow",
            {"distance": "none", "slope_before": "rises gently"},
            "the ground rises gently and stays in view",
        ),
        (
            "brow",
            {"part": "right half", "across": "some", "distance_m": 300, "slope_before": "level"},
            "in places in the right half the ground runs level and then falls away some 300 m off",
        ),
        (
            "brow",
            {"distance": "far", "slope_beyond": "falls steeply"},
            "the ground falls away far off, and behind that it falls steeply",
        ),
        ("brow", {"slope_before": "falls gently"}, "the near ground falls gently up to its brow"),
        ("brow", {"slope_beyond": "level"}, "the ground behind the brow runs level"),
        (
            "dead_ground",
            {"part": "middle", "extent": "much", "beyond": "rises steeply"},
            "in the middle much ground is out of view, and what shows again rises steeply",
        ),
        ("dead_ground", {"extent": "none"}, "no ground is out of view"),
        (
            "dead_ground",
            {"extent_m": 40, "beyond": "nothing"},
            "some 40 m of ground are out of view, and nothing shows again",
        ),
        ("dead_ground", {"beyond": "level"}, "what shows again behind the brow runs level"),
        ("seen", {"what": "wall", "seen": False, "within_m": 500}, "no wall is seen within 500 m"),
        ("seen", {"what": "walls", "seen": False, "part": "left"}, "on the left no walls are seen"),
        ("seen", {"what": "outcrop"}, "an outcrop is seen"),
        ("seen", {"what": "Raven Crag", "seen": False}, "Raven Crag is not seen"),
        ("seen", {"what": "Raven  Crag"}, "Raven Crag is seen"),
        ("height", {"what": "knoll", "stands": "a little below"}, "the knoll stands a little below us"),
        ("height", {"what": "crags", "stands": "level"}, "the crags stand level with us"),
        (
            "height",
            {"what": "Raven Crag", "metres_above": -30, "give_or_take_m": 5},
            "Raven Crag stands 30 m below us, give or take 5 m",
        ),
        ("height", {"what": "knoll", "metres_above": 0}, "the knoll stands level with us"),
        ("against_sky", {"what": "knoll"}, "the knoll stands against the sky"),
        ("against_sky", {"what": "knolls", "stands": False}, "the knolls do not stand against the sky"),
        (
            "order",
            {"things": ["saddle", "knoll", "Dove Crag"]},
            "from left to right there are the saddle, the knoll and Dove Crag",
        ),
        (
            "relation",
            {"what": "knoll", "is": "in front of", "other": "saddle"},
            "the knoll is in front of the saddle",
        ),
        (
            "relation",
            {"what": "Dove Crag", "is": "left of", "other": "tarn", "gap_deg": 1, "give_or_take_deg": 0.5},
            "Dove Crag is left of the tarn, 1 degree apart, give or take 0.5 degrees",
        ),
        ("relation", {"what": "knoll", "is": "overlapping", "other": "spur"}, "the knoll overlaps the spur"),
        (
            "skyline",
            {"part": "right half", "shape": "falls right"},
            "the skyline of the right half falls to the right",
        ),
        ("skyline", {"part": "left", "shape": "flat"}, "the skyline on the left is flat"),
        ("skyline", {"shape": "saddle"}, "the skyline dips in a saddle"),
        (
            "skyline_points",
            {"points": [[0, 0]] * 3},
            "the skyline follows a line traced through three points",
        ),
        ("high_and_low", {"highest": "left"}, "the skyline stands highest on the left"),
        (
            "high_and_low",
            {"part": "right half", "highest": "middle", "lowest": "right"},
            "the skyline of the right half stands highest in its middle and lowest towards its right end",
        ),
        ("humps", {"count": 0}, "the skyline shows no hump"),
        ("humps", {"count": 1, "part": "left"}, "the skyline on the left shows one hump"),
        ("humps", {"count": 3.0}, "the skyline shows three humps"),
        (
            "skyline_end",
            {"side": "left", "runs": "falls steeply"},
            "the skyline falls steeply towards the left edge",
        ),
        ("skyline_end", {"side": "right", "runs": "level"}, "the skyline runs level towards the right edge"),
        (
            "two_brows",
            {"nearer": "left"},
            "the near ground falls away sooner on the left than on the right",
        ),
        (
            "two_brows",
            {"nearer": "neither", "part": "right half"},
            "in the right half the near ground falls away as soon on the left as on the right",
        ),
        (
            "two_heights",
            {"what": "knoll", "stands": "higher", "other": "Dove Crag"},
            "the knoll stands higher than Dove Crag in the picture",
        ),
        (
            "two_heights",
            {"what": "Dove Crag", "stands": "as high", "other": "saddle"},
            "Dove Crag stands as high as the saddle in the picture",
        ),
        ("number", {"what": "re-entrant", "count": 3}, "three re-entrants are seen"),
        ("number", {"what": "bothies", "count": 12}, "12 bothies are seen"),
        ("number", {"what": "bothy", "count": 2.0, "part": "left"}, "on the left two bothies are seen"),
        ("number", {"what": "wall", "count": 0}, "no wall is seen"),
        ("number", {"what": "wall", "count": 1}, "one wall is seen"),
        ("comes_down", {"what": "spur", "to": "left"}, "the spur comes down to the left"),
        (
            "bearing",
            {"what": "cairn", "degrees": 47, "north": "grid"},
            "the bearing to the cairn is 47 degrees grid",
        ),
        (
            "bearing",
            {"what": "Dove Crag", "degrees": 1, "give_or_take_deg": 2},
            "the bearing to Dove Crag is 1 degree true, give or take 2 degrees",
        ),
        (
            "angle",
            {"what": "knoll", "other": "Dove Crag", "degrees": 12},
            "the knoll and Dove Crag are 12 degrees apart",
        ),
        (
            "vertical_angle",
            {"what": "knoll", "degrees": -1.5},
            "the knoll is 1.5 degrees below the level of our eyes",
        ),
        ("vertical_angle", {"what": "knoll", "degrees": 0}, "the knoll is level with our eyes"),
    ],
)
def test_a_statement_is_said_in_english(kind: str, values: dict[str, Any], told: str) -> None:
    rest = {key: value for key, value in values.items() if key != "part"}
    assert statement_words(Statement(kind, rest, values.get("part", "anywhere")), NAMES) == told
