"""The page of ``hillsight mark`` as a file: nothing from outside, of the photograph its pixels alone."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import hillsight
from scripts.commands import assert_refused, done
from sheets.mark_pages import map_file, photograph, save_photograph, sha256
from verdicts import HOSTILE

#: What of a photograph's file must not travel: owner, camera, time and a comment; and its position.
PRIVATE = ("Ann Otherwise", "SN-778-1234", "2031:07:09", "meet me at the sheepfold")
POSITION = (54.0, 27.0, 15.84)


def private_photograph(path: Path) -> Path:
    """A JPEG with everything in it that telephones write, by tags of Exif 2.32 (from memory)."""
    exif = Image.Exif()
    exif[0x013B] = PRIVATE[0]  # Artist
    exif[0x010F] = "Makers"  # Make
    inner = exif.get_ifd(0x8769)
    inner[0xA431] = PRIVATE[1]  # BodySerialNumber
    inner[0x9003] = PRIVATE[2] + " 10:11:12"  # DateTimeOriginal
    place = exif.get_ifd(0x8825)
    place[1], place[2], place[3], place[4] = "N", POSITION, "W", (3.0, 12.0, 42.0)
    return save_photograph(path, photograph(), exif=exif, comment=PRIVATE[3].encode())


def embedded(page: str) -> bytes:
    found = re.search(r'<img id="photograph" alt="" hidden src="data:image/jpeg;base64,([^"]+)"', page)
    assert found
    return base64.b64decode(found[1])


def test_nothing_of_the_file_travels_but_its_pixels(tmp_path: Path) -> None:
    photo = private_photograph(tmp_path / "ridge.jpg")
    raw = photo.read_bytes()
    assert all(words.encode() in raw for words in PRIVATE)
    with Image.open(photo) as image:
        assert image.getexif().get_ifd(0x8825)[2] == POSITION
    panorama = private_photograph(tmp_path / "Ridge end.jpg")
    page = hillsight.mark(photo, panoramas=panorama).html
    inside = [base64.b64decode(data) for data in re.findall(r"base64,([A-Za-z0-9+/=]{100,})", page)]
    assert len(inside) == 2
    for content in (page.encode(), *inside):
        assert not [words for words in (*PRIVATE, "Exif", "Makers", "54.454") if words.encode() in content]
    for content in inside:
        with Image.open(io.BytesIO(content)) as image:
            assert not image.getexif() and not set(image.info) & {"exif", "comment", "icc_profile", "xmp"}
            assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert sha256(photo) in page, "the page knows the photograph's own file"
    with Image.open(io.BytesIO(embedded(page))) as image:
        away = np.abs(np.asarray(image).astype(int) - photograph().astype(int))
    assert np.median(away) <= 4, "its pixels are those of the photograph"


def test_the_page_allows_nothing_but_its_own_style_and_program(tmp_path: Path) -> None:
    """Content Security Policy Level 3 (W3C, from memory): base64 of the SHA-256 of what the tags hold."""
    page = hillsight.mark(save_photograph(tmp_path / "ridge.png", photograph())).html
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', page)
    assert policy
    rules = dict(rule.strip().split(" ", 1) for rule in policy[1].split(";"))
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == "'none'"
    assert rules["img-src"] == "data:"
    for tag, rule in (("style", "style-src"), ("script", "script-src")):
        (content,) = re.findall(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()
        assert rules[rule] == f"'sha256-{digest}'"
    assert page.index("Content-Security-Policy") < page.index("<style>")
    without_data = re.sub(r"base64,[A-Za-z0-9+/=]+", "", page)
    assert not re.search(
        r"https?:|\bfetch\(|XMLHttpRequest|WebSocket|sendBeacon|\bimport\(|eval\(", without_data
    )
    assert not re.search(r"<(link|iframe|object|embed|form|base|svg)\b|\son\w+=|\bstyle=", without_data)


def test_hostile_names_are_words_and_no_more(tmp_path: Path) -> None:
    import geopandas
    import pandas as pd
    import shapely

    names = [*HOSTILE, "</script><script>alert(1)</script>", "<!--", "{{ 7 * 7 }}"]
    frame = geopandas.GeoDataFrame(
        {"name": pd.Series(names, dtype=object)},
        geometry=[shapely.Point(i, 0) for i in range(len(names))],
        crs=27700,
    )
    photo = save_photograph(tmp_path / "a <b>'&\".png", photograph())
    page = hillsight.mark(photo, features=frame).html
    page.encode("utf-8")
    (facts,) = re.findall(r'<script type="application/json" id="facts">(.*?)</script>', page, re.DOTALL)
    listed = {one["name"] for one in json.loads(facts)["features"]}
    assert {"</script><script>alert(1)</script>", "<!--", "{{ 7 * 7 }}"} <= listed
    assert "a <b>" not in page and "a &lt;b&gt;&#39;&amp;&#34;.png" in page and page.count("<script") == 3
    assert json.loads(facts)["photograph"]["name"] == photo.name


def test_each_name_is_offered_once_with_what_it_is(tmp_path: Path) -> None:
    import geopandas
    import shapely

    frame = geopandas.GeoDataFrame(
        {
            "name": ["Low Man", "high man", "Low Man", None, "Élan", "Old Mast"],
            "kind": ["cairn", "cairn", "crag", "wall", "top", "mast"],
            "target_height_m": [None, None, None, None, 0.0, 20.0],
        },
        geometry=[shapely.Point(i, 0) for i in range(6)],
        crs=27700,
    )
    photo = save_photograph(tmp_path / "ridge.png", photograph())
    made = hillsight.mark(photo, features=frame)
    (facts,) = re.findall(r'id="facts">(.*?)</script>', made.html, re.DOTALL)
    assert [(one["name"], one["kind"]) for one in json.loads(facts)["features"]] == [
        ("high man", "cairn"),
        ("Low Man", "cairn, crag; 2 have this name: give coordinates"),
        ("Old Mast", "mast; mark its top, 20 m up"),
        ("Élan", "top"),
    ]
    assert [one["one"] for one in json.loads(facts)["features"]] == [True, False, True, True]
    assert made.names == 4


def test_a_large_photograph_is_shrunk_alike_both_ways(tmp_path: Path) -> None:
    photo = save_photograph(tmp_path / "ridge.png", photograph())
    page = hillsight.mark(photo, page_megapixels=0.2).html
    with Image.open(io.BytesIO(embedded(page))) as image:
        assert image.width * image.height <= 200_000 < (image.width + 2) * (image.height + 2)
        assert image.width / 1500 == pytest.approx(image.height / 1000, rel=3e-3)
    (facts,) = re.findall(r'id="facts">(.*?)</script>', page, re.DOTALL)
    assert json.loads(facts)["photograph"] == {
        "name": "ridge.png",
        "width_px": 1500,
        "height_px": 1000,
        "sha256": sha256(photo),
    }


def test_the_page_says_where_it_comes_from(tmp_path: Path) -> None:
    photo = save_photograph(tmp_path / "ridge.jpg", photograph())
    page = tmp_path / "page.html"
    ended = done("mark", photo, "--features", map_file(tmp_path), "--out", page)
    assert "6 names of the map are offered" in ended.out and f"wrote {page}" in ended.out
    text = page.read_text(encoding="utf-8")
    (told,) = re.findall(r'id="provenance">(.*?)</script>', text, re.DOTALL)
    provenance = json.loads(told)
    assert [one["name"] for one in provenance["inputs"]] == ["ridge.jpg", "map.gpkg"]
    assert provenance["inputs"][0]["sha256"] == sha256(photo)
    assert provenance["script"] == "mark" and provenance["versions"]["hillsight"]
    assert str(tmp_path) not in text, "no path of this machine"


def test_bad_input_is_refused_in_one_line(tmp_path: Path) -> None:
    photo = save_photograph(tmp_path / "ridge.jpg", photograph())
    other = save_photograph(tmp_path / "other.jpg", photograph(seed=4))
    (tmp_path / "words.jpg").write_text("no picture", encoding="utf-8")
    (tmp_path / "cut.jpg").write_bytes(photo.read_bytes()[:20_000])
    marks = {
        "format": "hillsight marks",
        "version": 1,
        "photograph": {"name": "other.jpg", "width_px": 1500, "height_px": 1000, "sha256": sha256(other)},
    }
    (tmp_path / "marks.json").write_text(json.dumps(marks), encoding="utf-8")
    map_file(tmp_path)
    page = tmp_path / "page.html"
    for words, says in (
        (("nothing.jpg",), ("nothing.jpg", "cannot be read")),
        (("words.jpg",), ("words.jpg", "no picture")),
        (("cut.jpg",), ("cut.jpg", "damaged or cut short")),
        (("ridge.jpg", "--most-megapixels", "1"), ("1,500 x 1,000",)),
        (("ridge.jpg", "--most-megapixels", "0"), ("megapixels", "--most-megapixels")),
        (("ridge.jpg", "--page-megapixels", "900"), ("--page-megapixels",)),
        (("ridge.jpg", "--marks", "marks.json"), ("another photograph", "other.jpg")),
        (("ridge.jpg", "--marks", "ridge.jpg"), ("ridge.jpg", "JSON")),
        (("ridge.jpg", "--panorama", "words.jpg"), ("words.jpg",)),
        (("ridge.jpg", "--features", "nothing.gpkg"), ("nothing.gpkg",)),
        (("ridge.jpg", "--feature-layer", "things"), ("--features",)),
    ):
        placed = [str(tmp_path / one) if "." in one else one for one in words]
        assert_refused(tmp_path, "mark", *placed, "--out", page, says=says)
    assert_refused(tmp_path, "mark", photo, "--out", tmp_path / "page.pdf", says=(".html", "--out"))
    assert_refused(tmp_path, "mark", photo, "--out", photo, says=("one of the inputs",))
