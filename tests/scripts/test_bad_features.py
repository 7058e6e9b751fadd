"""Map features: what cannot be used ends in one message, what can be mended is mended and said."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely

from scripts.commands import AT, REACH, Ended, done, features, assert_refused, terrain  # isort: skip


def listing(folder: Path, *more: str | Path) -> list[str | Path]:
    ground = folder / "terrain.tif"
    if not ground.exists():
        terrain(folder)
    return [
        "bearings",
        "--terrain",
        ground,
        "--at",
        AT,
        "--reach",
        REACH,
        "--out",
        folder / "out.gpkg",
        *more,
    ]


def made(folder: Path, *shapes: Any, crs: str = "EPSG:27700") -> Path:
    path = folder / "made.gpkg"
    geopandas.GeoDataFrame(
        {"name": [f"F{i}" for i in range(len(shapes))]}, geometry=list(shapes), crs=crs
    ).to_file(path, layer="made")
    return path


def listed(folder: Path) -> geopandas.GeoDataFrame:
    return geopandas.read_file(folder / "out.gpkg", layer="bearing_list").set_index("name")


def test_features_are_asked_for(tmp_path: Path) -> None:
    assert_refused(tmp_path, *listing(tmp_path), says=("--features",))


def test_missing_file(tmp_path: Path) -> None:
    assert_refused(
        tmp_path, *listing(tmp_path, "--features", tmp_path / "none.gpkg"), says=("none.gpkg", "no such file")
    )


def test_not_a_vector_file(tmp_path: Path) -> None:
    path = tmp_path / "walls.gpkg"
    path.write_text("no database")
    assert_refused(
        tmp_path,
        *listing(tmp_path, "--features", path),
        says=("walls.gpkg", "not a vector file", "GeoPackage"),
    )


def test_missing_layer_lists_those_there_are(tmp_path: Path) -> None:
    words = listing(tmp_path, "--features", features(tmp_path), "--feature-layer", "walls")
    assert_refused(tmp_path, *words, says=("'walls'", "The layers are: things (features.gpkg)"))


def test_options_about_features_without_any(tmp_path: Path) -> None:
    words = listing(tmp_path)
    words[0] = "outlook"
    assert_refused(tmp_path, *words, "--csv", tmp_path / "list.csv", says=("--csv", "--features FILE"))


def test_without_geometry_left_out(tmp_path: Path) -> None:
    path = made(tmp_path, shapely.Point(300_350, 699_800), None, shapely.Point())
    ended = done(*listing(tmp_path, "--features", path))
    assert any("2 features without geometry left out (first: row 2)" in note for note in ended.notes), (
        ended.notes
    )
    assert list(listed(tmp_path).index) == ["F0"]


def test_only_without_geometry(tmp_path: Path) -> None:
    assert_refused(
        tmp_path,
        *listing(tmp_path, "--features", made(tmp_path, None)),
        says=("no usable features", "made.gpkg"),
    )


def test_mixed_geometry_is_reduced(tmp_path: Path) -> None:
    both = shapely.GeometryCollection(
        [shapely.Point(300_350, 699_800), shapely.box(300_200, 699_600, 300_260, 699_660)]
    )
    ended = done(*listing(tmp_path, "--features", made(tmp_path, both, shapely.Point(300_350, 699_800))))
    assert any("1 feature of mixed geometry reduced" in note for note in ended.notes), ended.notes
    assert len(listed(tmp_path)) == 2


def test_broken_geometry_is_repaired(tmp_path: Path) -> None:
    bow_tie = shapely.Polygon(
        [(300_200, 699_600), (300_260, 699_660), (300_260, 699_600), (300_200, 699_660)]
    )
    assert not bow_tie.is_valid
    ended = done(*listing(tmp_path, "--features", made(tmp_path, bow_tie)))
    assert any("1 feature with broken geometry repaired" in note for note in ended.notes), ended.notes
    assert len(listed(tmp_path)) == 1


def test_a_coordinate_that_is_no_number(tmp_path: Path) -> None:
    path = made(
        tmp_path, shapely.Point(300_350, 699_800), shapely.LineString([(300_350, np.inf), (300_360, 699_800)])
    )
    assert_refused(
        tmp_path, *listing(tmp_path, "--features", path), says=("made.gpkg", "row 2", "not a finite number")
    )


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:3857", "EPSG:32630"])
def test_another_crs_is_transformed(tmp_path: Path, crs: str) -> None:
    def run(path: Path) -> tuple[Ended, geopandas.GeoDataFrame]:
        ended = done(*listing(tmp_path, "--features", path))
        return ended, listed(tmp_path)

    _, there = run(features(tmp_path))
    _, back = run(features(tmp_path, crs=crs, name="other.gpkg"))
    assert list(there.index) == list(back.index)
    assert back.crs == there.crs == "EPSG:27700"
    # Out and back by the same operation of PROJ: what is left is rounding, which may move a seen edge by
    # less than one sample of a line.
    top_there, top_back = there.loc["High Top"], back.loc["High Top"]
    assert top_back.geometry.distance(top_there.geometry) < 0.01
    assert abs(top_back["bearing_true_deg"] - top_there["bearing_true_deg"]) < 0.01
    # By plane geometry: 53 m east and 96 m north of the station.
    assert top_there["bearing_grid_deg"] == pytest.approx(np.degrees(np.arctan2(53, 96)), abs=0.01)
    assert np.all(there.geometry.distance(back.geometry) < 15.0)
    assert list(there["state"]) == list(back["state"])


def test_a_note_where_all_features_are_far_away(tmp_path: Path) -> None:
    """Degrees in columns x and y are taken for metres: a list of things 700 km off needs a word."""
    table = tmp_path / "tops.csv"
    table.write_text("name,x,y\nTop,-3.5,56.2\n")
    far = done(*listing(tmp_path, "--features", table))
    assert [text for text in far.notes if text.startswith("no map feature lies within the reach")]
    near = done(*listing(tmp_path, "--features", features(tmp_path)))
    assert not [text for text in near.notes if "no map feature" in text]


def test_evidence_table_that_is_no_table(tmp_path: Path) -> None:
    table = tmp_path / "classes.toml"
    table.write_text("[water\n")
    words = listing(tmp_path, "--features", features(tmp_path), "--evidence", table)
    assert_refused(tmp_path, *words, says=("classes.toml",))
    words[-1] = tmp_path / "none.toml"
    assert_refused(tmp_path, *words, says=("none.toml",))


@pytest.mark.parametrize("date", ["2026-13-01", "soon", "1850-01-01", "2999-01-01"])
def test_dates_out_of_reach(tmp_path: Path, date: str) -> None:
    words = listing(tmp_path, "--features", features(tmp_path), "--date", date)
    assert_refused(tmp_path, *words, says=("--date",))


def test_an_empty_sector_says_so(tmp_path: Path) -> None:
    words = ("--features", features(tmp_path), "--from-bearing", "100", "--to-bearing", "101")
    ended = done(*listing(tmp_path, *words))
    assert len(listed(tmp_path)) == 0
    assert "no feature" in ended.out.lower(), ended.out


def test_hostile_names_survive(tmp_path: Path) -> None:
    names = ["O'Brien", 'say "hi"', "two\nlines", "⛰️", "'; DROP TABLE x; --", "[red]a[/red]", "=1+1", "a,b;c"]
    path = tmp_path / "named.gpkg"
    places = [shapely.Point(300_297 + 50 * np.sin(i), 699_704 + 50 * np.cos(i)) for i in range(len(names))]
    geopandas.GeoDataFrame({"name": names}, geometry=places, crs="EPSG:27700").to_file(path, layer="x'; --")
    ended = done(*listing(tmp_path, "--features", path, "--csv", tmp_path / "list.csv", "--show-hidden"))
    back = listed(tmp_path)
    assert set(back.index) == set(names)
    import csv

    with (tmp_path / "list.csv").open(encoding="utf-8", newline="") as file:
        assert {row["name"] for row in csv.DictReader(file)} == {
            "'=1+1" if name == "=1+1" else name
            for name in names  # what a spreadsheet would reckon with
        }
    for name in names:
        assert name.replace("\n", " ") in ended.out
