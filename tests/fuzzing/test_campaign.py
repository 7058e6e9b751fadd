"""A few damaged files of each seed; `campaign.py` tries thousands, in processes that may die."""

from __future__ import annotations

import os
import random
import shutil
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fuzzing.campaign import attack
from fuzzing.damage import damaged
from fuzzing.judging import Trial, fingerprint
from fuzzing.seeds import AT, SEEDS, Seed, _grid_of_text, _looks, _raster, _stands, surroundings
from hillsight.ground.crs import parse_crs
from hillsight.ground.geodesy import Geodesy

from scripts.commands import run  # isort: skip

#: Of these one file takes seconds.
_SLOW = [seed for seed in SEEDS if seed.share < 0.1]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return surroundings(tmp_path_factory.mktemp("damaged"))


@pytest.mark.slow
@pytest.mark.parametrize("seed", [one for one in SEEDS if one not in _SLOW], ids=lambda one: one.name)
def test_damaged_files_are_refused_or_answered_alike(seed: Seed, folder: Path) -> None:
    trial = Trial(seed, folder)
    ended = [trial.judge(0, number) for number in range(8)]
    assert [one.why for one in ended if one.how == "fault" and "prints: UnicodeDecode" not in one.why] == []
    assert trial.judge_content(trial.content).how == "same"


@pytest.mark.parametrize(
    ("ask", "says", "content", "why"),
    [
        (len, len, b"sound", ""),
        (lambda text: text[0], lambda text: text[1], b"Sound", "another reader finds the same data"),
        (len, lambda text: text[4], b"so", "another reader refuses"),
        (lambda text: text[4], len, b"so", "IndexError"),
        (lambda text: warnings.warn(str(text[0]), stacklevel=1), len, b"so", "warns"),
        (lambda text: os.write(2, text), len, b"so", "prints: so"),
    ],
)
def test_the_judge_itself(
    tmp_path: Path, ask: Callable[[bytes], Any], says: Callable[[bytes], Any], content: bytes, why: str
) -> None:
    """A job that answers otherwise though the data are the same, or that breaks, is found."""

    def make(folder: Path) -> Path:
        (folder / "a.txt").write_bytes(b"sound")
        return folder / "a.txt"

    seed = Seed("made", make, lambda path: ask(path.read_bytes()), lambda path: says(path.read_bytes()))
    ended = Trial(seed, tmp_path).judge_content(content)
    assert why in ended.why
    assert ended.how == ("fault" if why else "same")


def test_where_a_thing_lies_in_memory_says_nothing(tmp_path: Path) -> None:
    """Two measures of one grid are alike, of two grids they are not."""
    british, again, utm = (Geodesy(parse_crs(code, "the CRS")) for code in ("27700", "27700", "32630"))
    assert fingerprint([british], tmp_path) == fingerprint([again], tmp_path)
    assert fingerprint([british], tmp_path) != fingerprint([utm], tmp_path)


def _words(seed: Seed, path: Path) -> list[str | Path]:
    up = path.parents[1]
    if seed.says in (_raster, _grid_of_text):
        return ["viewshed", "--terrain", path, "--at", AT, "--reach", "200"]
    return ["viewshed", "--terrain", up / "sound.tif", "--stations", path, "--reach", "200", "--only-states"]


@pytest.mark.parametrize(
    "seed",
    [one for one in SEEDS if one.ask in (_looks, _stands) and one.name != "HGT"],
    ids=lambda one: one.name,
)
def test_commands_end_with_one_message(seed: Seed, folder: Path) -> None:
    trial = Trial(seed, folder)
    place = folder / "by command"
    for number in range(5):
        place.mkdir()
        path = place / trial.name
        path.write_bytes(damaged(trial.content, random.Random(f"{seed.name} 0 {number}")))
        ended = run(*_words(seed, path), "--out", place / "out.gpkg")
        messages = [line for line in ended.err.splitlines() if not line.startswith("note: ")]
        assert ended.code in (0, 2), ended.err
        assert len(messages) == (1 if ended.code == 2 else 0), ended.err
        assert (place / "out.gpkg").exists() == (ended.code == 0)
        shutil.rmtree(place)


def test_a_picture_librarys_log_is_not_printed() -> None:
    """Of a damaged TIFF Pillow logs "More samples per pixel than can be decoded": beside our message."""
    (seed,) = (one for one in SEEDS if one.name == "photograph, TIFF")
    assert attack(seed, 1, 277, 1)[1] == []


def test_processes_count_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two processes of three files, each file counted once."""
    monkeypatch.setattr("fuzzing.campaign.AT_A_TIME", 3)
    (seed,) = (one for one in SEEDS if one.name == "TOML, batch")
    ended, faults = attack(seed, 0, 0, 5)
    assert ended.total() == 5
    assert faults == []
