"""Pictures on request: every station drawn, from the package that was just written."""

from __future__ import annotations

from pathlib import Path

from scripts.commands import REACH, done, features, assert_refused, terrain  # isort: skip


def test_each_station_is_drawn(tmp_path: Path) -> None:
    words = ("outlook", "--terrain", terrain(tmp_path), "--features", features(tmp_path), "--reach", REACH)
    places = ("--at", "300297,699704,First", "--at", "300250,699650,Second")
    ended = done(*words, *places, "--out", tmp_path / "out.gpkg", "--pictures", tmp_path / "drawn")
    names = {path.name for path in (tmp_path / "drawn").iterdir()}
    kinds = ("ground", "rasters", "bearings")
    assert names == {f"{station}_{kind}.png" for station in ("first", "second") for kind in kinds}
    for path in (tmp_path / "drawn").iterdir():
        assert path.read_bytes().startswith(b"\x89PNG\r\n\x1a\n")  # the signature of ISO/IEC 15948
        assert str(path) in ended.out


def test_a_file_is_no_folder_for_pictures(tmp_path: Path) -> None:
    place = tmp_path / "drawn"
    place.write_text("mine", encoding="utf-8")
    words = ("outlook", "--terrain", terrain(tmp_path), "--at", "300297,699704", "--reach", REACH)
    assert_refused(tmp_path, *words, "--out", tmp_path / "out.gpkg", "--pictures", place, says=("drawn",))
