"""Tables of 80 columns can be read, and in a pipe each row is one line."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from hillsight.scripts.bearing_table import bearing_table
from hillsight.scripts.tables import NARROWEST, Columns, output_width, table_lines
from jobs.worlds import NEAR, PLAN, world
from scripts.test_report import LISTED, STATIONS, _row

from scripts.commands import done, run  # isort: skip

LONG = "Upper Long Boundary Wall by the Old Quarry above the Tarn of the Seven Stones"
ROWS = pd.DataFrame(
    [
        _row(
            LONG,
            "hidden",
            kind="boundary wall",
            hidden_by_m=1.0,
            hidden_by_distance_m=12_345.0,
            left_edge_true_deg=350.2,
            right_edge_true_deg=17.0,
            gap_to_next_deg=12.0,
            bearing_plus_minus_deg=1.2,
            bearing_magnetic_deg=11.0,
            height_difference_plus_minus_m=6.0,
        ),
        _row("Wide 山岳の名", "partly", visible_share=0.4, bearing_magnetic_deg=11.0),
    ]
)


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return world(tmp_path_factory.mktemp("inputs"))


def cells(line: str) -> int:
    """Columns that a line takes in a terminal: letters of East Asian width W or F take two (UAX 11)."""
    import unicodedata

    return sum(2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in line)


def letters_alone(lines: list[str]) -> list[str]:
    """Lines below a table's head that hold hardly anything: words were folded into them."""
    return [line for line in lines if 0 < len("".join(line.split()).strip("│┃|")) <= 2]


@pytest.mark.parametrize("width", [60, 80, 100, 130, 200])
def test_a_table_keeps_to_its_width_and_folds_no_word(width, monkeypatch):
    monkeypatch.setenv("COLUMNS", str(width))
    lines = bearing_table(ROWS, STATIONS[:1], show_hidden=True)
    table = lines[: next(n for n, line in enumerate(lines) if line.startswith("Just hidden"))]
    assert max(map(cells, table)) <= width
    assert letters_alone(table) == []
    words = " ".join(table).replace(";", " ").replace(",", " ").split()
    for word in (*LONG.split(), "山岳の名", "hidden", "12.3", "km", "partly", "40", "010", "±2"):
        assert word in words, word


def test_a_row_in_a_pipe_is_one_line_however_long(monkeypatch):
    monkeypatch.delenv("COLUMNS", raising=False)
    listed = pd.concat([ROWS, pd.DataFrame([_row("x" * 300, "visible", bearing_magnetic_deg=11.0)])])
    lines = bearing_table(listed, STATIONS[:1], show_hidden=True)
    for name in (LONG, "山岳の名", "x" * 300):
        (line,) = [line for line in lines if name in line]
        assert line.count("│") == 13
    caption = next(line for line in lines if line.startswith("Bearings in degrees"))
    assert caption.endswith("95 %.")


def test_a_stream_without_lines_of_boxes_gets_plain_signs(monkeypatch):
    monkeypatch.delenv("COLUMNS", raising=False)

    class Latin:
        encoding = "latin-1"

        def isatty(self) -> bool:
            return False

    monkeypatch.setattr(sys, "stdout", Latin())
    lines = bearing_table(LISTED, STATIONS[:1], show_hidden=True)
    monkeypatch.undo()
    "\n".join(lines).encode("latin-1")
    assert any(line.startswith("| ") for line in lines)


@pytest.mark.parametrize(("told", "width"), [("80", 80), ("5", NARROWEST), ("wide", None), ("", None)])
def test_the_width_is_what_columns_says(told, width, monkeypatch):
    monkeypatch.setenv("COLUMNS", told)
    assert output_width() == width  # the tests' own output is no terminal


@pytest.mark.skipif(sys.platform == "win32", reason="needs a terminal of POSIX")
def test_the_width_of_a_terminal_is_the_terminals():
    import fcntl
    import pty
    import struct
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 91, 0, 0))
    environment = {name: value for name, value in os.environ.items() if name != "COLUMNS"}
    code = "from hillsight.scripts.tables import output_width as o; print(o())"
    try:
        subprocess.run([sys.executable, "-c", code], stdout=theirs, env=environment, check=True, timeout=60)
        assert os.read(ours, 100).decode().split() == ["91"]
    finally:
        os.close(ours)
        os.close(theirs)


def test_the_narrow_table_comes_only_where_the_wide_one_does_not_fit():
    wide, narrow = Columns(["a", "b"], [["1" * 30, "2" * 30]]), Columns(["ab"], [["12"]])
    assert any("1" * 30 in line for line in table_lines("T", wide, narrow, "C", 80))
    assert not any("1" * 30 in line for line in table_lines("T", wide, narrow, "C", 60))


@pytest.mark.parametrize("script", ["bearings", "outlook"])
def test_commands_that_list_features(script, inputs, tmp_path, monkeypatch):
    asked = (script, "--terrain", inputs / "ground.tif", "--at", NEAR, "--reach", "600")
    asked += ("--features", inputs / "features.gpkg", "--out", tmp_path / "a.gpkg")
    monkeypatch.setenv("COLUMNS", "80")
    lines = done(*asked).out.splitlines()
    start = lines.index("From By the knoll, left to right")
    end = next(n for n, line in enumerate(lines) if line.startswith("Bearings in degrees"))
    assert max(len(line) for line in lines[start:end]) <= 80
    assert "Lone Knoll (knoll), 300 m" in "\n".join(lines)
    monkeypatch.delenv("COLUMNS")
    (row,) = [line for line in done(*asked).out.splitlines() if "Lone Knoll" in line and "│" in line]
    assert "│ knoll " in row and "300 m" in row and "in 10" in row


def test_posts_cut_no_name_and_no_danger(inputs, tmp_path, monkeypatch):
    """The plan's page is 80 columns wide for whoever reads it."""
    danger = "loose blocks above the frozen waterfall, see the leaflet"
    plan = PLAN.replace("the bend", LONG).replace("posts = 3", "posts = 1")
    for name in ("features.gpkg", "course.gpkg"):
        plan = plan.replace(f'"{name}"', f'"{inputs / name}"')
    plan += f'\n[[danger]]\nname = "{danger}"\nfrom_m = 0\nto_m = 2000\nweight = 3\n'
    (tmp_path / "plan.toml").write_text(plan, encoding="utf-8")
    outs = []
    for columns in ("80", "130", None):
        if columns is None:
            monkeypatch.delenv("COLUMNS", raising=False)
        else:
            monkeypatch.setenv("COLUMNS", columns)
        outs.append(run("posts", tmp_path / "plan.toml", "--terrain", inputs / "ground.tif", "--draws", "16"))
    out = outs[0].out
    assert outs[0].code in (0, 3), outs[0].err
    assert all(one.out == out for one in outs)
    assert max(map(len, out.splitlines())) <= 80
    words = out.split()
    for word in (*LONG.split(), *danger.replace(",", " ").split()):
        assert any(word == one.strip(",.;:") for one in words), word
    assert "..." not in out
