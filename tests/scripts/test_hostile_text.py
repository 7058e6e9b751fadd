"""One hostile world through all commands: no sign that acts leaves them, on any stream, page, sheet or table.

Names of stations, features, kinds, layers, courses, places and files, and titles, hold marks of direction
(Unicode Standard Annex 9) and control characters, ESC and its 8-bit kin among them (ECMA-48; from memory).
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import geopandas
import pytest
from matplotlib import rc_context
from matplotlib.figure import Figure

from jobs.test_same_bytes import CASES, typed
from jobs.worlds import FAR, NEAR, features, stations, world
from pdf_texts import texts_of

from scripts.commands import run  # isort: skip

#: Turns round, opens a window's title, colours by 8 bits, isolates, deletes; then a name that is markup.
BAD = "\u202e\x1b]0;owned\x07\x9b31m\u200f\u2066\x7f <b>&"
#: What file systems and their libraries take.
BAD_FILE = "\u202e\x1b[31m\x9b"
TOML = r"\u202e\u001b]0;owned\u0007\u009b31m\u200f\u2066\u007f <b>&"

ACTING = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")

TEXTS = {".html", ".svg", ".md", ".csv", ".toml", ".json", ".gpx", ".sld", ".txt"}


def hostile_world(folder: Path) -> Path:
    world(folder)
    for file, frame, layer in (
        ("features.gpkg", features(), "things"),
        ("stations.gpkg", stations(), "stations" + BAD_FILE),
    ):
        frame["name"] = [name + BAD if isinstance(name, str) else None for name in frame["name"]]
        if "kind" in frame:
            more = frame.iloc[[0]].assign(kind="cairn" + BAD, name="Cairn" + BAD)
            more.geometry = more.geometry.translate(-150, 30)
            frame = geopandas.pd.concat([frame, more], ignore_index=True)
        (folder / file).unlink()
        frame.to_file(folder / file, layer=layer)
    shutil.copy(folder / "features.gpkg", folder / f"map{BAD_FILE}.gpkg")
    shutil.copy(folder / "ground.tif", folder / f"ground{BAD_FILE}.tif")
    shutil.copy(folder / "photo.jpg", folder / f"photo{BAD_FILE}.jpg")
    for file in ("sighting.toml", "exercise.toml", "plan.toml"):
        text = (folder / file).read_text(encoding="utf-8")
        for name in (
            "The knoll",
            "by the knoll",
            "in the west",
            "Lone Knoll",
            "Round of the Knoll",
            "gate",
            "the bend",
            "tent",
        ):
            text = text.replace(f'"{name}"', f'"{name}{TOML}"')
        if file == "sighting.toml":
            text = text.replace("[picture]\n", f'[picture]\ntitle = "Where{TOML}"\n')
        (folder / file).write_text(text, encoding="utf-8")
    text = (folder / "marks.json").read_text(encoding="utf-8")
    (folder / "marks.json").write_text(text.replace('"Lone Knoll"', f'"Lone Knoll{TOML}"'), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return hostile_world(tmp_path_factory.mktemp("hostile"))


def asked_of(name: str) -> tuple[dict[str, Any], dict[str, str]]:
    """As the case of the command, by hostile names of files and places."""
    asked, files = CASES[name]
    asked = {
        **({} if name in ("batch", "mark", "find-skyline") else {"terrain": f"ground{BAD_FILE}.tif"}),
        **asked,
    }
    if "features" in asked:
        asked["features"] = (f"map{BAD_FILE}.gpkg",)
    if "at" in asked:
        asked["at"] = tuple(f"{place}{BAD}" for place in asked["at"])
    if asked.get("photo") == "photo.jpg":
        asked["photo"] = f"photo{BAD_FILE}.jpg"
    if "title" in asked:
        asked |= {"title": asked["title"] + BAD, "credit": tuple(one + BAD for one in asked["credit"])}
    if "to_feature" in asked:
        asked["to_feature"] = (f"Lone Knoll{BAD}",)
    return asked, files


def acting_in(text: str) -> list[str]:
    return [text[max(0, found.start() - 40) : found.end() + 20] for found in ACTING.finditer(text)]


def test_signs_in_a_pdf_are_found(tmp_path: Path) -> None:
    """Written as they are, past all that shows them as numbers, in a text and in a title."""
    figure = Figure()
    bad = "\u202e9b31m\u200f\u2066"
    figure.text(0.1, 0.5, f"Fold (old){bad} \u2192", parse_math=False)
    path = tmp_path / "drawn.pdf"
    with rc_context({"pdf.fonttype": 42}):
        figure.savefig(path, metadata={"Title": f"Where{BAD}"})
    text = texts_of(path)
    assert f"Where{BAD}" in text
    assert sorted(ACTING.findall(text)) == sorted(ACTING.findall(BAD + bad))
    assert "Fold (old)" in text and "\u2192" in text  # what follows a mark is turned round by some versions
    read = pytest.importorskip("pypdfium2", reason="pypdfium2, another reader of PDF, is not installed")
    pdf = read.PdfDocument(path)
    assert pdf.get_metadata_dict()["Title"].startswith("Where\u202e")  # it takes ESC for a change of language
    shown = pdf[0].get_textpage().get_text_range()
    assert all(sign in shown for sign in ("Fold (old)", "\u2192", "\u200f", "\u2066"))  # it drops U+202E


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(set(CASES) - {"batch"}))
def test_nothing_acts(name: str, hostile: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(hostile)
    asked, files = asked_of(name)
    folder = tmp_path / f"out{BAD_FILE}"
    folder.mkdir()
    ended = run(*typed(name, {**asked, **{key: str(folder / file) for key, file in files.items()}}))
    assert ended.code in (0, 3), ended.err
    assert acting_in(ended.out.replace("\n", "")) == []
    assert acting_in(ended.err.replace("\n", "")) == []
    told = ended.out + ended.err
    for path in sorted(folder.rglob("*")):
        if path.suffix in TEXTS:
            text = path.read_bytes().decode("utf-8")
            assert acting_in(text) == [], path.name
            if path.suffix != ".sld":
                told += text
            assert path.suffix not in (".html", ".svg") or "<b>&" not in text
        elif path.suffix == ".pdf":
            text = texts_of(path)
            assert acting_in(text.replace("\n", "")) == [], path.name
            assert "<no character" not in text, path.name
            told += text
    assert "202e" in told.casefold(), "what is hostile is nowhere told: this shows nothing"


@pytest.mark.slow
@pytest.mark.parametrize(
    "words",
    [
        ("describe", "--prose", "--looks", "N", "--at", f"{NEAR}{BAD}"),
        ("describe", "--looks", "N", "--at", f"{NEAR}{BAD}"),
        ("compare", "--looks", "N", "--at", f"{NEAR}{BAD}", "--at", f"{FAR}{BAD}"),
        ("relocate", "--sighting", "sighting.toml", "--at", f"{NEAR}{BAD}", "--at", f"{FAR}{BAD}"),
    ],
    ids=lambda words: " ".join(words[:2]),
)
def test_nothing_printed_acts(words: tuple[str, ...], hostile: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(hostile)
    ended = run(*words, "--terrain", f"ground{BAD_FILE}.tif", "--features", f"map{BAD_FILE}.gpkg",
                "--reach", "1500")  # fmt: skip
    assert ended.code in (0, 3), ended.err
    assert len(ended.out) > 200
    assert acting_in(ended.out.replace("\n", "")) == []
    assert acting_in(ended.err.replace("\n", "")) == []
    assert "202e" in ended.out.casefold()


def test_messages_do_not_act(hostile: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(hostile)
    for words in (
        ("viewshed", "--terrain", f"no{BAD}.tif", "--at", NEAR),
        ("viewshed", "--terrain", "ground.tif", "--stations", f"no{BAD_FILE}.gpkg"),
        ("viewshed", "--terrain", "ground.tif", "--at", f"1,2,{BAD}"),
        ("viewshed", "--terrain", "ground.tif", f"--no{BAD_FILE}"),
        (f"views{BAD_FILE}",),
        ("profile", "--terrain", "ground.tif", "--at", NEAR, "--features", "features.gpkg",
         "--to-feature", f"Nobody{BAD}"),
    ):  # fmt: skip
        ended = run(*words)
        assert ended.code == 2, words
        assert acting_in(ended.err.replace("\n", "")) == [], words
        assert ended.err.count("\n") == 1
