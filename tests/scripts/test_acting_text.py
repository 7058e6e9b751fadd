"""Text of files that would act on a spreadsheet or a terminal: it is shown, and does nothing."""

from __future__ import annotations

import csv
from pathlib import Path

import geopandas
import pandas as pd
import pytest
import shapely
from pyproj import CRS

from hillsight.ground.evidence import EvidenceTable
from hillsight.ground.features import read_features
from hillsight.ground.labels import plain_label
from hillsight.ground.stations import read_places
from hillsight.layers.csv_table import csv_file, formula_note
from hillsight.scripts.report import Terminal

#: As OWASP lists them ("CSV Injection"; from memory).
FORMULAS = ("=1+1", "+1", "-1", "@SUM(A1)", "\t=1+1", "\r=1+1")
OVERRIDE = "Fell\u202egnp.exe"


def test_formulas_are_text_in_csv(tmp_path: Path) -> None:
    names = [*FORMULAS, "Plain Top", "a = b", None]
    table = pd.DataFrame({"name": names, "easting_m": -1.25, "count": -3})
    with csv_file(tmp_path / "list.csv", {"_m": 1}) as add:
        assert add(table) == len(FORMULAS)
        assert add(table.tail(3)) == 0
    with (tmp_path / "list.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    found = [row["name"] for row in rows]
    assert found == [*(f"'{name}" for name in FORMULAS), *["Plain Top", "a = b", ""] * 2]
    assert {row["easting_m"] for row in rows} == {"-1.2"} and {row["count"] for row in rows} == {"-3"}
    assert list(table["name"][:-1]) == names[:-1], "only the file is changed"
    assert formula_note(2).startswith("2 texts in the CSV would be taken for a formula")


def test_direction_marks_are_shown(tmp_path: Path) -> None:
    """Unicode Standard Annex 9, section 2: U+202E turns round what follows."""
    frame = geopandas.GeoDataFrame(
        {"name": [OVERRIDE], "kind": ["summit\u2066"]}, geometry=[shapely.Point(300_297, 699_704)], crs=27700
    )
    frame.to_file(tmp_path / "things.gpkg")
    crs = CRS(27700)
    features = read_features(
        [str(tmp_path / "things.gpkg")],
        (),
        crs,
        default_crs=crs,
        table=EvidenceTable.load(),
        near=(-3.6, 56.2),
    )[0]
    assert features["name"].iloc[0] == "Fell<U+202E>gnp.exe"
    assert "\u2066" not in features["kind"].iloc[0]
    place = read_places(str(tmp_path / "things.gpkg"), None, crs)[0]
    assert plain_label(place.name or "") == "Fell<U+202E>gnp.exe"
    assert plain_label("\u0645\u06cc\u200c\u062e") == "\u0645\u06cc\u200c\u062e", (
        "letters are joined by marks too"
    )


def test_a_terminal_is_not_commanded(capsys: pytest.CaptureFixture[str]) -> None:
    class Nothing:
        files: dict[str, tuple[Path, ...]] = {}  # noqa: RUF012
        frames = None

    Terminal(quiet=False).say(["Beck\x1b]0;owned\x07\nno.   name"], Nothing())  # type: ignore[arg-type]
    assert capsys.readouterr().out == "Beck<U+001B>]0;owned<U+0007>\nno.   name\n"
