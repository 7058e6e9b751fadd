"""A plan of posts from its file: read, refused with its line; its template and its schema.

What a plan may say is settled by the reader; the schema is held against it by jsonschema.
"""

from __future__ import annotations

import datetime
import re
import tomllib
from pathlib import Path

import jsonschema
import pytest

from hillsight.errors import PostsError
from hillsight.plan.posts.file import read_plan
from hillsight.plan.posts.json_schema import json_schema
from hillsight.plan.posts.plan import NamedPlace, Pair, PlannedCheckpoint, PostsPlan
from hillsight.plan.posts.writing import template

LEAST = """format = "hillsight posts 1"
title = "Round of the tarn"
[course]
file = "course.gpx"
[wanted]
posts = 2
"""


def read(folder: Path, text: str) -> PostsPlan:
    path = folder / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return read_plan(str(path))


def all_lines(text: str) -> str:
    """The template with every line that may be used in use."""
    return "\n".join(line[1:] if re.match(r"#[^ ]", line) else line for line in text.splitlines())


def as_json(text: str) -> object:
    """The file as the schema sees it: moments as text."""
    raw = tomllib.loads(text)
    start = raw.get("paces", {}).get("start")
    if isinstance(start, datetime.datetime):
        raw["paces"]["start"] = start.isoformat()
    return raw


def test_the_least_plan_has_the_defaults(tmp_path: Path) -> None:
    plan = read(tmp_path, LEAST)
    assert plan == PostsPlan(
        "Round of the tarn", plan.course, plan.wanted, source=str(tmp_path / "plan.toml")
    )
    assert plan.beside("course.gpx") == str(tmp_path / "course.gpx")


def test_the_template_is_a_plan_with_all_its_lines_and_without(tmp_path: Path) -> None:
    assert read(tmp_path, template()).wanted.posts == 6
    whole = read(tmp_path, all_lines(template()))
    assert whole.features == ("upland.gpkg",)
    assert whole.course.legs == ("out", "round", "-out")
    assert whole.course.checkpoints == (PlannedCheckpoint("the cairn", along_m=2400.0),)
    assert whole.paces.start is not None
    assert whole.paces.start.utcoffset() == datetime.timedelta(hours=1)
    assert whole.stands[0].kinds == ("path", "track")
    assert whole.fixed == (NamedPlace("the bridge", 413100.0, 5215900.0),)
    assert whole.banned[0].within_m == 50.0
    assert whole.radios.control == NamedPlace("race control", 412300.0, 5215400.0)
    assert whole.pairs == (Pair("the bridge", "control", "radio"),)


@pytest.mark.parametrize(
    ("more", "line", "says"),
    [
        ("share = 2", 7, "'share' is 2"),
        ("post = 3", 7, "Did you mean posts"),
        ("twice = 'both'", 7, "'twice' is 'both'"),
        ("[paces]\nfirst_min_per_km = 0", 8, "'first_min_per_km' is 0"),
        ("[paces]\nfirst_min_per_km = 9\nlast_min_per_km = 6", 7, "the shorter time"),
        ("[paces]\nstart = '2026-09-12'", 8, "Write day and time"),
        ("[paces]\nstart = '0001-01-01T00:00:00+14:00'", 8, "Give a year from 1900 to 2100"),
        ("[paces]\nstart = 9999-12-31T23:59:00-12:00", 8, "Give a year from 1900 to 2100"),
        ("[eyes]\nrunner_least_m = 2.0", 7, "smaller height"),
        ("[[danger]]\nname = 'a'\nfrom_m = 9\nto_m = 9", 7, "begins at 9 m"),
        ("[[checkpoint]]\nname = 'a'", 7, "needs a place or how far"),
        ("[[checkpoint]]\nname = 'a'\nalong_m = 1\neasting_m = 1\nnorthing_m = 1", 7, "and not both"),
        ("[fixed]\nname = 'a'", 7, "double brackets"),
        ("[[course]]\nfile = 'b'", 7, "no TOML"),
        ("[[pair]]\none = 'a'\nother = 'A'\nby = 'sight'", 7, "paired with itself"),
        ("[[pair]]\none = 'a'\nother = 'control'\nby = 'radio'", 7, "does not say where that is"),
        ("[[pair]]\none = 'a'\nother = 'b'\nby = 'smoke'", 10, "sight, radio"),
        (
            "[[fixed]]\nname = 'a'\neasting_m = 1\nnorthing_m = 1\n"
            "[[pair]]\none = 'a'\nother = 'b'\nby = 'sight'",
            13,
            "There are a. Or add it as [[fixed]]",
        ),
        ("[[pair]]\none = 'a'\nother = 'b'\nby = 'sight'", 8, "the plan names no post"),
        ("effort = 0.1", 7, "effort weighs walks"),
        (
            "[[fixed]]\nname = 'a'\neasting_m = 1\nnorthing_m = 1\n"
            "[[fixed]]\nname = 'b'\neasting_m = 1.5\nnorthing_m = 1",
            11,
            "'b' and 'a' are one spot",
        ),
        ("[[fixed]]\nname = 'control'\neasting_m = 1\nnorthing_m = 1", 8, "Name it otherwise"),
        ("[[stand]]\nkinds = 3", 8, "list of texts"),
        ("[walking]\nmost_minutes = 3", 7, "does not say where they begin"),
        ("[walk]\nmost_minutes = 3", 7, "walking"),
    ],
)
def test_what_is_wrong_is_told_with_its_line(tmp_path: Path, more: str, line: int, says: str) -> None:
    with pytest.raises(PostsError) as caught:
        read(tmp_path, LEAST + more)
    assert says in str(caught.value)
    assert f"plan.toml, line {line}:" in str(caught.value)


@pytest.mark.parametrize(
    ("crs", "says"),
    [("EPSG:4326", "does not count in metres"), ("EPSG:99999999", "no coordinate reference system")],
)
def test_a_crs_that_places_cannot_have_is_told_with_its_line(tmp_path: Path, crs: str, says: str) -> None:
    title = 'title = "Round of the tarn"\n'
    with pytest.raises(PostsError, match=says) as caught:
        read(tmp_path, LEAST.replace(title, f'{title}crs = "{crs}"\n'))
    assert "plan.toml, line 3:" in str(caught.value)


def test_more_fixed_posts_than_wanted_are_refused(tmp_path: Path) -> None:
    fixed = "".join(f"[[fixed]]\nname = 'p{k}'\neasting_m = {k}\nnorthing_m = 0\n" for k in range(3))
    with pytest.raises(PostsError, match="3 posts are fixed, and 2 are the most"):
        read(tmp_path, LEAST + fixed)


def test_nothing_wanted_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PostsError, match="neither how many posts nor how much"):
        read(tmp_path, LEAST.replace("posts = 2", "seconds = 5"))


@pytest.mark.parametrize("text", [LEAST, template(), all_lines(template())])
def test_the_schema_takes_what_the_reader_takes(tmp_path: Path, text: str) -> None:
    read(tmp_path, text)
    jsonschema.Draft202012Validator.check_schema(json_schema())
    jsonschema.validate(as_json(text), json_schema())


@pytest.mark.parametrize(
    "text",
    [
        LEAST + "share = 2",
        LEAST + "colour = 'red'",
        LEAST + "[paces]\nstart = '2026-09-12'",
        LEAST + "[[stand]]\nkinds = 3",
        LEAST.replace("posts = 2", ""),
        LEAST.replace("hillsight posts 1", "hillsight exercise 1"),
        LEAST.replace('title = "Round of the tarn"\n', ""),
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(tmp_path: Path, text: str) -> None:
    with pytest.raises(PostsError):
        read(tmp_path, text)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(as_json(text), json_schema())
