"""A verdict in words: few lines that say what matters, and Markdown that hostile texts do not break."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import replace

import pytest

import verdicts
from hillsight.plan.relocation.summary import headline
from hillsight.plan.verdict import Verdict
from hillsight.sheets.verdict.verdict_page import verdict_markdown
from hillsight.sheets.verdict.verdict_text import (
    LIMITS,
    argument_words,
    by_trust,
    change_words,
    odds_words,
    summary_lines,
)

ALL = {
    "decided": verdicts.verdict(),
    "undecided": verdicts.verdict("undecided"),
    "none fits": verdicts.verdict("none_fits"),
    "hostile": verdicts.hostile(),
    "many": verdicts.many(40),
}


@pytest.mark.parametrize("of", ALL.values(), ids=ALL)
def test_a_summary_is_ten_clean_lines_at_most(of: Verdict) -> None:
    lines = summary_lines(of)
    assert 3 <= len(lines) <= 10
    for line in lines:
        assert not any(unicodedata.category(letter) in ("Cc", "Cs") for letter in line), line
        line.encode("utf-8")


def test_a_summary_says_what_matters() -> None:
    lines = summary_lines(ALL["decided"])
    assert lines[0] == "Decided: taken from Aye with 80 %"
    assert lines[1] == "Aye 80 %, Bee 15 %, Cee 3 %; none of these 2 %"
    assert lines[2:4] == ["2. Sentence 2 here.", "1. Sentence 1 here."]
    assert lines[4] == "Against it: 3. Sentence 3 here."
    assert lines[5] == "Another verdict with every eye 1 m higher: undecided; likeliest Bee (55 %)"
    assert "trees, walls and buildings" in lines[-1]
    assert not any("tarn" in line for line in lines)  # a question only where it is undecided
    open_lines = summary_lines(ALL["undecided"])
    expected = "Expected from Aye, a tarn is seen; from Bee, no tarn is seen."
    assert f"Look next: Is a tarn seen? {expected}" in open_lines


def test_where_none_fits_what_speaks_against_comes_first() -> None:
    assert summary_lines(ALL["none fits"])[2] == "3. Sentence 3 here."


def test_without_deciding_arguments_supporting_ones_are_told() -> None:
    of = ALL["decided"]
    weak = replace(of, arguments=tuple(a for a in of.arguments if a.role != "decides"))
    assert summary_lines(weak)[2] == "5. Sentence 5 here."


def test_of_many_candidates_four_are_told_and_the_rest_counted() -> None:
    line = summary_lines(verdicts.many(14))[1]
    # 14 candidates share 98 % alike: the ten that are not named have 70 %.
    assert line == (
        "Place 0 7 %, Place 1 7 %, Place 2 7 %, Place 3 7 %, 10 others together 70 %; none of these 2 %"
    )
    assert "1 other " in summary_lines(verdicts.many(5))[1]


def test_changes_that_change_nothing_are_said_in_one_line() -> None:
    of = ALL["decided"]
    steady = replace(of, changes=tuple(replace(c, changes=False) for c in of.changes))
    assert "None of 2 variations tested changes the verdict" in summary_lines(steady)


@pytest.mark.parametrize("share", [0.945, 0.9469, 0.9496, 0.94996])
def test_no_figure_contradicts_the_verdict(share: float) -> None:
    """A candidate is decided for from 95 %: what is undecided is not told as 95 %."""
    of = ALL["decided"]
    near = replace(of.changes[1], probability=share)
    line = next(line for line in summary_lines(replace(of, changes=(near,))) if "undecided" in line)
    told = re.search(r"likeliest Bee \(([0-9.]+) %\)", line)
    assert told is not None and float(told[1]) < 95
    assert float(told[1]) == pytest.approx(100 * share, abs=0.5)
    stricter = replace(of, changes=(replace(near, probability=0.95),), decide_from=0.952)
    assert any("likeliest Bee (95 %)" in line for line in summary_lines(stricter))


def test_questions_are_printed_whole() -> None:
    of = ALL["undecided"]
    text = f"Is a {' '.join(f'question{k}' for k in range(50))} seen?"
    question = replace(of.questions[0], text=text)
    few = replace(of, questions=(of.questions[0], replace(of.questions[0], text="Is a wall seen?"), question))
    (asked,) = [line for line in summary_lines(few) if line.startswith("Look next")]
    assert asked.endswith(f"Or, if that cannot be told: Is a wall seen? {text}")


@pytest.mark.parametrize(
    ("times", "words"),
    [(1.0, "1 to 1"), (1.5, "1.5 to 1"), (7.66, "8 to 1"), (14.3, "15 to 1"), (88.0, "80 to 1"),
     (1430.0, "over 100 to 1"), (float("inf"), "over 100 to 1")],
)  # fmt: skip
def test_odds_are_no_finer_than_they_are_known(times: float, words: str) -> None:
    assert odds_words(times) == words


def test_odds_are_told_for_whom_they_count() -> None:
    of = ALL["decided"]
    told = {a.number: argument_words(a, of) for a in of.arguments}
    assert told[2] == "decides: 8 to 1 for Aye against Bee"
    assert told[3] == "speaks against: 2 to 1 for Bee against Aye"
    assert told[4] == "tells them apart little"
    assert argument_words(of.arguments[0], ALL["none fits"]) == (
        "decides: 8 to 1 for Aye against none of these"
    )


def test_arguments_go_by_trust() -> None:
    groups = by_trust(ALL["decided"])
    assert {name: [a.number for a in group] for name, group in groups.items()} == {
        "ground_shape": [2], "water": [1], "man_made": [5],
    }  # fmt: skip
    assert list(groups) == ["ground_shape", "water", "man_made"]


def test_markdown_has_its_parts_in_order() -> None:
    text = verdict_markdown(ALL["decided"])
    headings = re.findall(r"^#+ (.*)$", text, re.MULTILINE)
    assert headings == [
        "Made picture", "Candidates", "Ground shape", "Water", "Man-made features",
        "What tells them apart little", "What speaks against",
        "What would change the verdict", "What to look at next", "Limits and cautions",
    ]  # fmt: skip
    assert "| 1 | Aye | 80 % | 72 % | 90° ± 4° |" in text
    assert "| Aye | the ground turns out of view at about 100 m | fits |" in text
    assert "| Bee | the ground stays in view for 600 m or more | does not fit |" in text
    assert "| with every eye 1 m higher | undecided; likeliest Bee (55 %) | yes |" in text
    for limit in LIMITS:
        assert limit in text


def cells(row: str) -> int:
    return len(re.findall(r"(?<!\\)\|", row)) - 1


@pytest.mark.parametrize("of", ALL.values(), ids=ALL)
def test_markdown_keeps_its_shape(of: Verdict) -> None:
    """Rows of a table have as many cells as its head; no text opens a tag, a heading or a list of its own."""
    text = verdict_markdown(of)
    text.encode("utf-8")
    assert "<" not in text and "\x1b" not in text
    width = None
    for row in text.splitlines():
        if row.startswith("|"):
            width = width or cells(row)
            assert cells(row) == width, row
        else:
            width = None
            assert not row or re.match(r"(#{1,2} |- |  - |\d+\. |\*\*|\(|The picture|\w)", row), row


def test_without_arguments_the_statements_stand() -> None:
    text = verdict_markdown(verdicts.many(14))
    assert "## What the description says" in text
    assert len(re.findall(r"^\d+\. ", text, re.MULTILINE)) == 5


def test_none_of_these_is_named_where_it_is_likelier() -> None:
    of = ALL["undecided"]
    best = of.best
    likelier = replace(of, none_probability=best.probability + 0.05)
    assert headline(likelier).startswith(f"Undecided: none of these or {best.station}, ")
    assert headline(replace(of, none_probability=0.0)).startswith(f"Undecided: {best.station} or ")
    change = replace(of.changes[1], none_probability=0.57)
    assert change_words(change, of) == "undecided; likeliest none of these (57 %), then Bee (55 %)"
    assert change_words(replace(change, none_probability=0.1), of) == "undecided; likeliest Bee (55 %)"
