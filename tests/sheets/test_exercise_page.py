"""The page of an exercise: what its source holds and hides, and what becomes of hostile texts."""

from __future__ import annotations

import base64
import io
import json
import re
import zlib
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any

import numpy as np
import pytest
from PIL import Image

from hillsight.errors import OutputError
from hillsight.sheets.exercise import page as page_module
from hillsight.sheets.exercise.packing import packed, unpacked
from hillsight.sheets.exercise.page import MOST_BYTES, exercise_html
from hillsight.sheets.paper import palette
from sheets.exercise_pages import HOSTILE, exercise

PACKED = re.compile(r'(<script type="text/plain" id="packed">)([A-Za-z0-9+/=]+)(</script>)')


def plain(html: str) -> str:
    """The page without what is packed."""
    assert len(PACKED.findall(html)) == 1
    return PACKED.sub(r"\1\3", html)


def answer(html: str) -> str:
    found = PACKED.search(html)
    assert found is not None
    return unpacked(found[2])


def pieces(html: str) -> list[str]:
    """The pieces of HTML that the answer is made of."""
    return [str(one) for one in json.loads(answer(html))["pieces"].values()]


class Reader(HTMLParser):
    """Tags with their attributes; what is no tag is words."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    handle_startendtag = handle_starttag


def test_what_can_be_read_is_the_same_whichever_place_is_true() -> None:
    pages = {letter: exercise_html(exercise(truth=letter, photograph=True)) for letter in "ABC"}
    assert len({plain(html) for html in pages.values()}) == 1
    for letter, html in pages.items():
        assert f'"truth": "{letter}"' in answer(html)


def test_words_of_the_answer_stand_nowhere_in_the_source() -> None:
    of = exercise()
    html = exercise_html(of)
    hidden = [one.name for one in (*of.places, *of.landmarks)]
    hidden += [one.because for one in of.reasons] + [*of.mistakes, of.provenance]
    hidden += [words for one in of.places for words in one.ruled_out]
    for words in hidden:
        assert words not in html
    # Nor one decoding away: what is packed is neither text nor deflate as it stands.
    found = PACKED.search(html)
    assert found is not None
    content = base64.b64decode(found[2])
    for start in (0, 4):
        with pytest.raises(zlib.error):
            zlib.decompress(content[start:], -zlib.MAX_WBITS)


def test_the_same_exercise_gives_the_same_bytes() -> None:
    assert exercise_html(exercise()) == exercise_html(exercise())


@pytest.mark.parametrize("text", ["", "A", "Söhne – ½ \U0001f5fa " * 500, "".join(map(chr, range(1, 0x500)))])
def test_packing_gives_back_what_was_put_in(text: str) -> None:
    assert unpacked(packed(text)) == text


@pytest.mark.parametrize("names", [(), HOSTILE], ids=["plain names", "hostile names"])
def test_nothing_comes_from_outside_and_only_the_page_s_own_program_runs(names: tuple[str, ...]) -> None:
    """Policy: W3C Content Security Policy Level 3, 6.1 (from memory): what is not allowed is not fetched."""
    html = exercise_html(exercise(names=names))
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', html)
    assert policy is not None
    rules = dict(rule.strip().split(" ", 1) for rule in policy[1].split(";"))
    assert rules["default-src"] == "'none'" and rules["img-src"] == "data:"
    assert "unsafe" not in policy[1] and {"base-uri", "form-action"} <= set(rules)
    assert re.fullmatch(r"'sha256-[A-Za-z0-9+/]{43}='", rules["script-src"])
    for text in (plain(html), *pieces(html)):
        assert not re.search(r"(?:https?|ftp|wss?)://|=[\"']?//", text)
        for tag, attributes in Reader(text).tags:
            assert tag not in {"link", "iframe", "object", "embed", "base", "audio", "video", "source"}
            assert not any(name.startswith("on") for name in attributes), (tag, attributes)
            assert "style" not in attributes, "the policy would not let it"
            for name in ("src", "href"):
                assert (attributes.get(name) or "data:image/").startswith("data:image/")


def test_hostile_names_stay_words() -> None:
    html = exercise_html(exercise(names=HOSTILE))
    html.encode("utf-8")
    tags = [tag for tag, _ in Reader(plain(html)).tags]
    assert tags.count("script") == 2 and "img" not in tags and "b" not in tags
    told = "".join(pieces(html))
    assert {tag for tag, _ in Reader(told).tags} & {"script", "img"} == {"script"}, "provenance alone"
    assert Reader(told).tags.count(("script", {"type": "application/json", "id": "provenance"})) == 1
    for text in (plain(html), told):
        assert "&lt;script&gt;" in text and "{{ 7 * 7 }}" in text and "O&#39;Brien &amp; Söhne" in text
        assert "\x07" not in text


def test_pictures_carry_pixels_and_nothing_else() -> None:
    """JPEG's application and comment segments (ITU-T T.81, B.1.1.3, from memory): APP0 alone is there."""
    html = exercise_html(exercise(photograph=True))
    addresses = re.findall(r"data:image/(jpeg|png);base64,([A-Za-z0-9+/=]+)", html + "".join(pieces(html)))
    assert {kind for kind, _ in addresses} == {"jpeg", "png"} and len(addresses) == 8
    for kind, data in addresses:
        content = base64.b64decode(data)
        with Image.open(io.BytesIO(content)) as image:
            assert not image.getexif() and image.format == kind.upper()
            assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "transparency"}
        if kind == "jpeg":
            assert not re.search(rb"\xff[\xe1-\xef\xfe]", content[: content.index(b"\xff\xda")])


def noise(shape: tuple[int, int], seed: int) -> Any:
    return np.random.default_rng(seed).integers(0, 256, (*shape, 3), np.uint8)


@pytest.mark.slow
def test_a_page_is_under_two_megabytes_whatever_its_pictures() -> None:
    of = exercise(photograph=True)
    # Noise is what compresses worst: no photograph is larger.
    of = replace(
        of,
        picture=replace(of.picture, rgb=noise((1600, 2400), 1)),
        map=replace(of.map, rgb=noise((900, 1200), 2)),
    )
    html = exercise_html(of)
    assert len(html.encode("utf-8")) <= MOST_BYTES == 2_000_000
    assert 'viewBox="0 0 2400 1600"' in html, "places on it stay in its own pixels"


def test_a_page_that_cannot_be_small_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page_module, "MOST_BYTES", 10_000)
    with pytest.raises(OutputError, match="larger than 10,000 bytes"):
        exercise_html(exercise())


@pytest.mark.parametrize(("left_deg", "span_deg"), [(0.0, 60.0), (105.0, 60.0), (330.0, 75.0), (10.0, 200.0)])
def test_sectors_run_clockwise_from_up_the_map(left_deg: float, span_deg: float) -> None:
    of = exercise()
    places = tuple(replace(one, left_grid_deg=left_deg, span_deg=span_deg) for one in of.places)
    html = exercise_html(replace(of, places=places))
    paths = re.findall(
        r'class="sector" data-place="(.)" d="M(\S+) (\S+)L(\S+) (\S+)A(\S+) \S+ 0 (.) (.) (\S+) (\S+)Z"',
        html,
    )
    assert [path[0] for path in paths] == ["A", "B", "C"]
    for _, *figures in paths:
        x, y, x0, y0, radius, wide, clockwise, x1, y1 = map(float, figures)
        bearings = [np.degrees(np.arctan2(a - x, y - b)) % 360 for a, b in ((x0, y0), (x1, y1))]
        assert bearings == pytest.approx([left_deg % 360, (left_deg + span_deg) % 360], abs=0.1)
        assert np.hypot(x1 - x, y1 - y) == pytest.approx(radius, abs=0.1)
        assert clockwise == 1 and wide == (span_deg > 180)


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_words_and_signs_can_be_told_by_day_by_night_and_on_paper() -> None:
    """WCAG 2.2: 4.5:1 for text (1.4.3), 3:1 for signs (1.4.11); relative luminance is what grey shows (from
    memory)."""
    html = exercise_html(exercise())
    schemes = re.findall(r":root \{\s*(?:color-scheme: light dark;\s*)?(--paper.*?)\}", html, re.DOTALL)
    assert len(schemes) == 3
    for scheme in schemes:
        found = dict(re.findall(r"--([a-z-]+): (#[0-9A-F]{6})", scheme))
        for ground in ("paper", "raised"):
            for letters in ("ink", "quiet"):
                assert contrast(found[ground], found[letters]) >= 4.5
            assert (
                contrast(found[ground], found["telling"]) >= 3 and contrast(found[ground], found["rule"]) >= 3
            )
        assert contrast(found["telling"], found["told"]) >= 4.5
    for sign, ground in (
        (palette.INK, palette.PAPER),
        (palette.BROW, palette.PAPER),
        (palette.INK, palette.VIEW_SKY),
        (palette.INK, palette.VIEW_GROUND),
        (palette.BREAK, palette.PAPER),
        (palette.SPUR, palette.INK),
    ):
        assert contrast(sign, ground) >= 3
