"""Evidence classes: the built-in table and the user's own."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hillsight.errors import FeatureError
from hillsight.ground.evidence import EvidenceTable
from hillsight.words.trust import TRUST

TABLE = EvidenceTable.load(None)


@pytest.mark.parametrize(
    ("kinds", "expected"),
    [
        (
            "summit tops Spurs re-entrant RE-ENTRANTS re_entrants saddle cols crag knolls corries",
            "ground_shape",
        ),
        ("tarn Lochs lochans stream STREAMS rivers waterfalls marshes springs reservoir", "water"),
        (
            "walls fence fences track paths buildings cairns masts sheepfolds bothies crosses gates",
            "man_made",
        ),
        ("glass street-art xyz", "unclassed"),
    ],
)
def test_words(kinds: str, expected: str) -> None:
    for kind in kinds.split():
        got = TABLE.class_of(kind)
        assert got == (expected if kind != "street-art" else "unclassed"), kind


def test_words_of_two() -> None:
    assert TABLE.class_of("Trig pillars") == "man_made"
    assert TABLE.class_of("trig_pillar") == "man_made"
    assert TABLE.class_of("forestry edges") == "man_made"
    assert TABLE.class_of(" Stream  junction ") == "water"
    assert TABLE.class_of("break of slope") == "ground_shape"


@pytest.mark.parametrize("kind", [None, "", "   ", "-", "s", "es", "ies"])
def test_no_kind_is_unclassed(kind: str | None) -> None:
    assert TABLE.class_of(kind) == "unclassed"


@given(st.text())
def test_any_text_has_a_class(kind: str) -> None:
    assert TABLE.class_of(kind) in TRUST


def test_a_user_table_replaces_the_built_in_one(tmp_path: Path) -> None:
    path = tmp_path / "classes.toml"
    path.write_text('[kinds]\n"zig zag" = "man_made"\nwalls = "ground_shape"\n', encoding="utf-8")
    table = EvidenceTable.load(str(path))
    assert table.class_of("Zig-Zags") == "man_made"
    assert table.class_of("wall") == "ground_shape"  # a plural in the table serves the singular
    assert table.class_of("summit") == "unclassed"
    assert table.source == str(path)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            '[kinds]\nsummit = "ground_shape"\nwall = "manmade"\n',
            r"line 3: kind 'wall' has the class 'manmade'",
        ),
        ("[kinds]\nsummit = ground_shape\n", r"no TOML: .*line 2"),
        ('summit = "ground_shape"\n', r"line 1: the evidence table has no \[kinds\]"),
        ('[kinds]\na = "water"\n[other]\nb = "water"\n', r"line 3: .*not 'other'"),
        ('[kinds]\nwall = "water"\n"Wall " = "man_made"\n', r"line 3: kind 'Wall ' is given twice"),
        ("[kinds]\nwall = 3\n", r"line 2: kind 'wall' has the class 3"),
        ('[kinds]\n"--" = "water"\n', r"line 2: a kind has no letters"),
        ("", r"no \[kinds\]"),
    ],
)
def test_bad_tables_are_refused_with_their_line(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "classes.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FeatureError, match=said):
        EvidenceTable.load(str(path))


def test_unreadable_tables_are_refused(tmp_path: Path) -> None:
    with pytest.raises(FeatureError, match="cannot be read"):
        EvidenceTable.load(str(tmp_path / "absent.toml"))
    with pytest.raises(FeatureError, match="cannot be read"):
        EvidenceTable.load(str(tmp_path))
    path = tmp_path / "latin.toml"
    path.write_bytes(b'[kinds]\n"caf\xe9" = "man_made"\n')
    with pytest.raises(FeatureError, match="UTF-8"):
        EvidenceTable.load(str(path))
