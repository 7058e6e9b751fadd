"""hillsight compare: what it tells and writes, and everything it refuses.

The ground is made, so that what each place shows is known: a plain with one knoll 40 m high, and an edge in
the south where the ground drops 30 m. One place is 300 m from the knoll and 705 m from the edge, the other
900 m and 105 m.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from hillsight.plan.kinds.registry import KINDS
from hillsight.words.trust import TRUST

from scripts.commands import assert_refused, done, one_message, run  # isort: skip
from scripts.test_relocate import FAR, NEAR, features, ground  # isort: skip


def words(folder: Path, *more: str | Path) -> tuple[str | Path, ...]:
    given = ("--terrain", ground(folder), "--features", features(folder), "--reach", "2000")
    return ("compare", *given, "--at", NEAR, "--at", FAR, *more)


def strict(text: str) -> Any:
    """JSON by RFC 8259, which has no NaN."""

    def refused(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refused)


def about(told: list[dict[str, Any]], *parts: str) -> dict[str, Any]:
    """The one question whose text has all these parts."""
    (found,) = [one for one in told if all(part in one["question"] for part in parts)]
    return found


def test_the_edge_tells_the_places_apart(tmp_path: Path) -> None:
    file = tmp_path / "out.json"
    ended = done(*words(tmp_path, "--looks", "S", "--json", file))
    assert ended.out.startswith("What tells By the knoll, On the plain apart, most trusted first:\n")
    assert ended.out.splitlines()[-1] == f"wrote {file}"
    content = strict(file.read_text(encoding="utf-8"))
    assert content["stations"] == ["By the knoll", "On the plain"]
    assert content["provenance"]["script"] == "compare"
    assert str(tmp_path) not in file.read_text(encoding="utf-8")
    brow = about(content["apart"], "In the middle, how soon")
    # Beyond 600 m is far and up to 150 m is near: docs/sighting.md.
    assert brow["answers"] == [
        "in the middle the ground falls away far off",
        "in the middle the ground falls away near by",
    ]
    assert brow["facts"][0]["figure"] == pytest.approx(705, abs=15)
    # The middle third of the picture sees the edge at 105 m, and obliquely a little farther.
    assert brow["facts"][1]["figure"] == pytest.approx(105, abs=15)
    assert "    On the plain: " in ended.out


def test_how_high_the_knoll_stands_tells_and_its_point_does_not(tmp_path: Path) -> None:
    file = tmp_path / "out.json"
    done(*words(tmp_path, "--looks", "0", "--json", file, "--quiet"))
    content = strict(file.read_text(encoding="utf-8"))
    high = about(content["apart"], "How high does Lone Knoll stand")
    # 38.4 m above the eye at 300 m is 7.3 degrees, at 900 m 2.4: well above begins at 3.
    assert [answer.split("stands ")[1] for answer in high["answers"]] == [
        "well above us",
        "a little above us",
    ]
    assert "Across the picture, what shape has the skyline?" in {one["question"] for one in content["alike"]}
    assert about(content["alike"], "Across the picture")["answers"] == ["the skyline comes to a point"] * 2


def test_what_is_told_is_in_order_and_within_bounds(tmp_path: Path) -> None:
    file = tmp_path / "out.json"
    ended = done(*words(tmp_path, "--json", file, "--most", "3"))
    content = strict(file.read_text(encoding="utf-8"))
    apart, alike = content["apart"], content["alike"]
    ranks = [TRUST.index(one["evidence_class"]) for one in apart]
    assert ranks == sorted(ranks)
    for one in apart:
        # One answer between two even places is worth one bit at most (Shannon 1948, from memory).
        assert 0.15 <= one["information_bits"] <= 1.0
        assert len(one["answers"]) == len(one["facts"]) == 2
    for one in alike:
        assert one["information_bits"] < 0.03
        assert len(set(one["answers"])) == 1
    assert {one["kind"] for one in (*apart, *alike)} <= set(KINDS)
    assert {one["looks"] for one in apart} <= {
        f"looking {way}" for way in ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
    }
    told = [line for line in ended.out.splitlines() if line.startswith("  looking ") and " bits]" in line]
    assert len(told) == 3
    assert f"  and {len(apart) - 3} more (see --most, --json)" in ended.out


def test_quiet_prints_nothing(tmp_path: Path) -> None:
    assert done(*words(tmp_path, "--looks", "S", "--quiet")).out == ""


def test_twins_are_told_apart_by_nothing(tmp_path: Path) -> None:
    # Two places 20 m apart on open plain, looking away from all there is.
    given = ("--terrain", ground(tmp_path), "--features", features(tmp_path), "--reach", "300")
    ended = done("compare", *given, "--at", "300400,699100,One", "--at", "300400,699120,Two", "--looks", "W")
    assert ended.out.startswith("Nothing tells them apart.\n"), ended.out


def test_one_station_is_refused(tmp_path: Path) -> None:
    call = ("compare", "--terrain", ground(tmp_path), "--features", features(tmp_path), "--at", NEAR)
    assert_refused(tmp_path, *call, "--json", tmp_path / "out.json", says=("one candidate", "two or more"))


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--at", NEAR.replace("By the knoll", "Twin")), ("Twin", "one place")),
        (("--at", "900000,100000,Sea"), ("Sea", "off the terrain")),
        (("--looks", "NORTHISH"), ("'NORTHISH' is no direction", "--looks DIRECTION", "NNE")),
        (("--looks", "361"), ("'361' is no direction", "--looks DIRECTION", "0 to 360")),
        (
            ("--looks", "nan"),
            (
                "'nan' is no direction",
                "--looks DIRECTION",
            ),
        ),
        (("--width", "4"), ("width is 4", "--width", "5 to 360")),
        (("--width", "361"), ("width is 361", "--width", "5 to 360")),
        (("--most", "0"), ("--most",)),
        (("--json", "no/out.json"), ("folder does not exist",)),
        (("--landforms", "nowhere.gpkg"), ("nowhere.gpkg",)),
    ],
    ids=lambda value: " ".join(map(str, value)) if isinstance(value, tuple) else None,
)
def test_bad_calls(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: tuple[str, ...], says: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert_refused(tmp_path, *words(tmp_path, *more), says=says)


def test_an_input_is_not_written_over(tmp_path: Path) -> None:
    call = words(tmp_path, "--json", tmp_path / "features.gpkg")
    assert_refused(tmp_path, *call, says=("one of the inputs",))


def test_no_terrain_is_said(tmp_path: Path) -> None:
    assert "--terrain" in one_message(run("compare", "--at", NEAR, "--at", FAR), 2)
