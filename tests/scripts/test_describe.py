"""hillsight describe: the sighting of a view, that it reads as one, and everything it refuses.

The ground is that of test_relocate: a plain with one knoll 40 m high and an edge in the south. Looking north
from 300 m south of the knoll it stands 7.3 degrees above the eye and against the sky; looking south from
105 m north of the edge the ground falls away near by and nothing shows behind.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from hillsight.plan.sighting.file import read_sighting
from hillsight.plan.statement import Statement
from hillsight.plan.vocabulary import FORMAT

from scripts.commands import assert_refused, done, run  # isort: skip
from scripts.test_relocate import FAR, NEAR, features, ground  # isort: skip


def words(folder: Path, at: str, *more: str | Path) -> tuple[str | Path, ...]:
    given = ("--terrain", ground(folder), "--features", features(folder), "--reach", "2000")
    return ("describe", *given, "--at", at, *more)


#: More statements than are made of any view here.
ALL = ("--statements", "60")


def told(statements: tuple[Statement, ...], kind: str, **values: object) -> list[Statement]:
    """Statements of a kind that have these values, or this part."""
    part = values.pop("part", None)
    return [
        one
        for one in statements
        if one.kind == kind and part in (None, one.part) and values.items() <= dict(one.values).items()
    ]


def test_the_view_of_the_knoll(tmp_path: Path) -> None:
    out = tmp_path / "out.toml"
    ended = done(*words(tmp_path, NEAR, "--looks", "N", "--width", "50", "--out", out, *ALL))
    assert ended.out == f"wrote {out}\n"
    sighting = read_sighting(str(out))
    assert sighting.picture.title == "By the knoll, looking 0 degrees true"
    assert (sighting.picture.looks_deg, sighting.picture.width_deg) == (0.0, 50.0)
    said = sighting.statements
    assert told(said, "height", what="Lone Knoll", stands="well above")
    # Its top is a dome, and its place on the map good to 10 m: whether that place shows is in doubt.
    assert told(said, "seen", what="Lone Knoll")
    assert not told(said, "against_sky", what="Lone Knoll", stands=False)
    assert told(said, "skyline", part="anywhere", shape="pointed")
    (trace,) = told(said, "skyline_points")
    right_deg, up_deg = zip(*trace.values["points"], strict=True)
    # Highest in the middle, where the knoll is: 7.3 degrees above a level plain.
    assert right_deg[up_deg.index(max(up_deg))] == pytest.approx(0.0, abs=1.0)
    assert max(up_deg) == pytest.approx(7.3, abs=0.4)


def test_ten_statements_are_written_the_most_telling_first(tmp_path: Path) -> None:
    out = tmp_path / "out.toml"
    done(*words(tmp_path, NEAR, "--looks", "N", "--out", out, *ALL))
    every = read_sighting(str(out)).statements
    assert len(every) > 10
    for more, count in (((), 10), (("--statements", "3"), 3)):
        done(*words(tmp_path, NEAR, "--looks", "N", "--out", out, *more))
        said = read_sighting(str(out)).statements
        assert [dict(one.values) for one in said] == [dict(one.values) for one in every[:count]]
    # From few places round about does a knoll stand high against the sky.
    first = {one.kind for one in every[:4]}
    assert first & {"skyline_points", "skyline", "height"}


def test_the_view_over_the_edge(tmp_path: Path) -> None:
    out = tmp_path / "out.toml"
    done(*words(tmp_path, FAR, "--looks", "180", "--out", out, "--quiet", *ALL))
    said = read_sighting(str(out)).statements
    assert told(said, "brow", part="middle", distance="near")
    assert told(said, "brow", part="middle", slope_before="level")
    assert told(said, "dead_ground", part="middle", beyond="nothing")
    assert not told(said, "against_sky", what="Lone Knoll"), "it lies behind the back"


def test_what_is_printed_is_what_is_written(tmp_path: Path) -> None:
    out = tmp_path / "out.toml"
    printed = done(*words(tmp_path, NEAR, "--looks", "N")).out
    done(*words(tmp_path, NEAR, "--looks", "N", "--out", out))
    assert printed == out.read_text(encoding="utf-8")
    content = tomllib.loads(printed)
    assert content["format"] == FORMAT
    assert len(content["statement"]) >= 5


def test_as_sentences(tmp_path: Path) -> None:
    lines = done(*words(tmp_path, NEAR, "--looks", "N", "--prose", *ALL)).out.splitlines()
    assert lines[0] == "By the knoll, looking 0 degrees true:"
    assert all(line.startswith("- ") and line.endswith(".") for line in lines[1:])
    assert any(line.startswith("- Lone Knoll stands well above us") for line in lines)
    assert "- The skyline comes to a point." in lines


def test_relocate_finds_the_place_again(tmp_path: Path) -> None:
    out = tmp_path / "out.toml"
    done(*words(tmp_path, NEAR, "--looks", "N", "--out", out))
    given = ("--terrain", tmp_path / "ground.tif", "--features", tmp_path / "features.gpkg", "--landforms")
    ended = run(
        *("relocate", *given, "--sighting", out, "--at", NEAR, "--at", FAR, "--reach", "2000"),
        *("--elsewhere", "40", "--elsewhere-within", "500"),
    )
    assert ended.code in (0, 3), ended.err
    assert ended.out.splitlines()[1].startswith("By the knoll "), ended.out


def test_two_stations_are_refused(tmp_path: Path) -> None:
    call = words(tmp_path, NEAR, "--at", FAR, "--looks", "N", "--out", tmp_path / "out.toml")
    assert_refused(tmp_path, *call, says=("2 stations", "--at"))


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ((), ("a view needs a direction", "--looks")),
        (("--looks", "UPHILL"), ("'UPHILL' is no direction", "--looks DIRECTION", "NNE")),
        (("--looks", "-10"), ("'-10' is no direction", "--looks DIRECTION", "0 to 360")),
        (("--looks", "N", "--width", "4.9"), ("width is 4.9", "--width", "5 to 360")),
        (
            ("--looks", "N", "--width", "400"),
            (
                "width is 400",
                "--width",
            ),
        ),
        (("--looks", "N", "--out", "no/out.toml"), ("folder does not exist",)),
        (("--looks", "N", "--out", "features.gpkg"), ("one of the inputs",)),
    ],
    ids=lambda value: " ".join(map(str, value)) if isinstance(value, tuple) else None,
)
def test_bad_calls(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: tuple[str, ...], says: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert_refused(tmp_path, *words(tmp_path, NEAR, *more), says=says)
