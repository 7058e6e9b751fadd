"""What a request may say of each option of each script: nothing is let pass because nobody thought of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
import pytest

from hillsight.errors import CallError
from hillsight.serving.configuration import served_scripts
from hillsight.serving.description import served_description
from hillsight.serving.roles import role
from hillsight.serving.settings import Settings
from hillsight.serving.wanted import wanted_outputs
from hillsight.serving.words import command_words

from scripts.commands import SCRIPTS, command_of  # isort: skip

#: Texts that are taken as they come: looked at one by one, and none names a file or an address.
TEXTS = {
    *(
        "at",
        "area",
        "between_posts",
        "camera_of",
        "cover_layer",
        "area_layer",
        "line_layer",
        "date",
        "extent",
    ),
    *(
        "feature_layer",
        "grade",
        "hide",
        "leaf",
        "looks",
        "north",
        "orientation",
        "paper",
        "pick",
        "pick_line",
    ),
    *("picture_format", "pool_layer", "sheet_format", "show", "size", "station", "station_layer", "style"),
    *("terrain_product", "theme", "title", "to", "to_feature", "true", "vertical_unit", "credit"),
}


def options(name: str) -> list[Any]:
    return [option for option in command_of(name).params if option.expose_value]


def test_every_option_has_its_role() -> None:
    roles = {(name, one.name): role(name, one) for name in SCRIPTS for one in options(name)}
    refused = {key for key, what in roles.items() if what == "refused"}
    of_the_machine = {("batch", "workers"), ("batch", "scheduler"), ("batch", "afresh"), ("doctor", "mend")}
    assert refused == of_the_machine
    assert {one for (_, one), what in roles.items() if what == "text"} == TEXTS
    files = {one for (_, one), what in roles.items() if what in ("file", "word_or_file")}
    assert {"terrain", "surface", "cover", "stations", "marks", "photo", "job", "plan", "pool"} <= files


@pytest.mark.parametrize("name", [name for name in SCRIPTS if name != "doctor"])
def test_every_output_can_be_asked_for(name: str, tmp_path: Path) -> None:
    """Each output of the description is one that the job can be told to write, or what it prints."""
    described = served_description(name, command_of(name))["outputs"]
    for one in described:
        found = wanted_outputs(name, options(name), described, {one: {}}, tmp_path)
        assert found[0].name == one
        assert (found[0].path is None) == (one == "stdout")


def test_an_option_of_an_unknown_sort_is_refused() -> None:
    """As another package's script may have one."""
    assert role("theirs", click.Option(["--address"], metavar="URL")) == "refused"
    assert role("theirs", click.Option(["--anything"])) == "refused"
    assert role("theirs", click.Option(["--height"], type=float)) == "number"
    assert role("theirs", click.Option(["--to-file"], type=click.Path())) == "output"


def test_values_stay_values(tmp_path: Path) -> None:
    """A text that looks like an option, or holds a space, remains one word after its option."""
    asked = {"at": ["-5,--allow-network,x y"], "eye_height": -1.5, "uncertain_between": [0.2, 0.8]}
    words = command_words("viewshed", options("viewshed"), asked, tmp_path, tmp_path)
    assert words == ["--at=-5,--allow-network,x y", "--eye-height=-1.5", "--uncertain-between", "0.2", "0.8"]
    (tmp_path / "--photo.jpg").write_bytes(b"")
    words = command_words("mark", options("mark"), {"photo": "--photo.jpg"}, tmp_path, tmp_path)
    assert words == ["--", str(tmp_path / "--photo.jpg")]


@pytest.mark.parametrize(
    "asked",
    [
        {"eye_height": "1.6"},
        {"eye_height": True},
        {"eye_height": [1, 2]},
        {"uncertain_between": 0.5},
        {"uncertain_between": ["0.1 --out x", 0.2]},
        {"at": 5},
        {"at": [""]},
        {"at": ["\0"]},
        {"at": ["1,2"] * 300_000},
        {"at_crs": "EPSG:27700 --x"},
        {"at_crs": "init=/etc/hostname:x"},
        {"stations": {"type": "FeatureCollection", "features": []}},
        {"stations": {"type": "Feature"}},
        {"stations": ["a", "b"]},
        {"quiet": 1},
    ],
)
def test_values_of_another_kind_are_refused(asked: dict[str, Any], tmp_path: Path) -> None:
    with pytest.raises(CallError):
        command_words("viewshed", options("viewshed"), asked, tmp_path, tmp_path)


def test_only_features_of_a_collection_are_taken_over(tmp_path: Path) -> None:
    """A link to a CRS (GeoJSON of 2008, section 3.3) would make the reading library ask for it."""
    sent = {
        "type": "FeatureCollection",
        "crs": {"type": "link", "properties": {"href": "http://127.0.0.1:1/crs"}},
        "features": [{"type": "Feature", "properties": {}, "geometry": None}],
    }
    (word,) = command_words("viewshed", options("viewshed"), {"stations": sent}, tmp_path, tmp_path)
    assert "http" not in Path(word.partition("=")[2]).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "changed",
    [
        {"inputs": "not there"},
        {"outputs": 5},
        {"seconds": 0},
        {"seconds": "600"},
        {"seconds": float("nan")},
        {"at_once": 0.5},
        {"allow_network": True},
        {"outputs": "in"},
    ],
)
def test_wrong_settings_are_refused(tmp_path: Path, changed: dict[str, Any], monkeypatch: Any) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "in").mkdir()
    (tmp_path / "out").mkdir()
    assert Settings.of({"inputs": "in", "outputs": "out"}).at_once == 2
    with pytest.raises(CallError):
        Settings.of({"inputs": "in", "outputs": "out", **changed})


def test_all_scripts_but_the_doctor_are_served() -> None:
    assert set(served_scripts()) == set(SCRIPTS) - {"doctor"}
