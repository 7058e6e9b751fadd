"""The page of a verdict: sound HTML, nothing from outside, nothing that runs, and all that it must say."""

from __future__ import annotations

import base64
import itertools
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

import verdicts
from hillsight.plan.verdict import Verdict
from hillsight.sheets.paper import palette
from hillsight.sheets.verdict.verdict_page import verdict_html, verdict_markdown
from hillsight.sheets.verdict.verdict_text import LIMITS

PICTURE = b"\x89PNG\r\n\x1a\nmade up"
# Elements without an end tag: HTML Living Standard, 13.1.2 (from memory).
VOID = {"meta", "img", "br", "hr", "link", "input"}
# Elements that run something, or fetch something, or send something.
BARRED = {"script", "iframe", "object", "embed", "link", "form", "base", "svg", "audio", "video", "source"}


class Reader(HTMLParser):
    """Elements, attributes and words of a page; refuses tags that do not pair."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.headings: list[str] = []
        self.feed(page)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len({name for name, _ in attrs}) == len(attrs)
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("style", "title") and data.strip():
            self.words.append(data)
            if self.open[-1] in ("h1", "h2", "h3"):
                self.headings.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def read(of: Verdict, pictures: dict[str, bytes] | None = None, words: str = "made of terrain.tif") -> Reader:
    return Reader(verdict_html(of, pictures or {}, {}, words))


ALL = {
    "decided": verdicts.verdict(),
    "undecided": verdicts.verdict("undecided"),
    "none fits": verdicts.verdict("none_fits"),
    "hostile": verdicts.hostile(),
    "many": verdicts.many(40),
}


@pytest.mark.parametrize("of", ALL.values(), ids=ALL)
def test_nothing_runs_and_nothing_comes_from_outside(of: Verdict) -> None:
    pictures = {one.station: PICTURE for one in of.candidates}
    page = verdict_html(of, pictures, {}, verdicts.HOSTILE[0])
    page.encode("utf-8")
    reader = Reader(page)
    assert not {tag for tag, _ in reader.tags} & BARRED
    for tag, attributes in reader.tags:
        assert not any(name.startswith("on") for name in attributes), tag
        assert not {"href", "srcset", "action", "data", "poster", "background"} & set(attributes)
        if "src" in attributes:
            assert re.fullmatch(r"data:image/png;base64,[A-Za-z0-9+/=]+", attributes["src"] or "")
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)
    assert style is not None
    assert "url(" not in style[1] and "@import" not in style[1] and "<" not in style[1]
    assert not re.search(r"https?:|//[a-z]", page)


def test_hostile_texts_are_words_and_no_more() -> None:
    reader = read(verdicts.hostile(), words="from <b>here</b> & there")
    for text in (
        "<script>alert('x')</script>",
        '"><img src=x onerror="y">',
        'O\'Brien & "Sons" | *bold* `code`',
    ):
        assert text in reader.text
    assert "from <b>here</b> & there" in reader.text
    assert "half <U+D800> surrogate" in reader.text
    assert not any(ord(letter) < 32 for word in reader.words for letter in word.strip("\n"))
    title = next(a for a in reader.tags if a[0] == "title")
    assert title == ("title", {})


def test_text_from_a_file_cannot_open_a_tag_or_a_line() -> None:
    of = ALL["decided"]
    name = "A <b>top</b>\n| & *that*"
    page = verdict_html(replace(of, headline=name), {}, {}, "")
    assert page.count("A &lt;b&gt;top&lt;/b&gt; | &amp; *that*") == 1 and "<b>" not in page
    text = verdict_markdown(replace(of, headline=name))
    assert "**A &lt;b&gt;top&lt;/b&gt; \\| &amp; \\*that\\*.**" in text


def test_the_parts_stand_in_their_order() -> None:
    reader = read(ALL["decided"], {"Aye": PICTURE})
    assert reader.headings == [
        "Made picture", "The verdict", "The candidates", "The arguments", "Ground shape", "Water",
        "Man-made features", "What tells them apart little", "What speaks against",
        "What would change the verdict", "What to look at next", "Maps",
        "Limits and cautions", "Where this comes from",
    ]  # fmt: skip
    text = reader.text
    assert text.index("Sentence 2 here.") < text.index("Sentence 1 here.") < text.index("Sentence 5 here.")
    assert text.index("Sentence 5 here.") < text.index("Sentence 4 here.") < text.index("Sentence 3 here.")
    for limit in LIMITS:
        assert limit in text
    assert "no statement is about the moon" in text
    assert text.endswith("made of terrain.tif")


def test_what_each_candidate_would_show_is_told() -> None:
    text = read(ALL["decided"]).text
    assert "Aye the ground turns out of view at about 100 m fits" in text
    assert "Bee the ground stays in view for 600 m or more does not fit" in text
    assert "Cee the ground turns out of view at about 90 m fits in part" in text
    assert "Decides: 8 to 1 for Aye against Bee." in text
    assert "Speaks against: 2 to 1 for Bee against Aye." in text
    assert "with every eye 1 m higher undecided; likeliest Bee (55 %) yes" in text
    assert "Is a tarn seen? (anywhere in the picture) from Aye most likely: a tarn is seen" in text


def test_bars_are_as_long_as_the_shares() -> None:
    reader = read(replace(ALL["decided"], arguments=()))
    widths = [a["style"] for tag, a in reader.tags if tag == "span" and "style" in a]
    # Probability, and by the ground nine tenths of it; then none of these.
    assert widths == [f"width:{w}%" for w in ("80.0", "72.0", "15.0", "13.5", "3.0", "2.7", "2.0")]
    assert all(a.get("aria-hidden") == "true" for tag, a in reader.tags if tag == "div" and "bar" in str(a))


def test_pictures_are_inside_and_have_words() -> None:
    reader = read(ALL["decided"], {"Bee": PICTURE, "Aye": b"other", "Nobody": PICTURE})
    images = [a for tag, a in reader.tags if tag == "img"]
    assert len(images) == 2  # in order of rank
    assert [base64.b64decode(str(a["src"]).split(",")[1]) for a in images] == [b"other", PICTURE]
    assert "candidate Aye" in str(images[0]["alt"]) and "candidate Bee" in str(images[1]["alt"])


def test_a_page_without_anything_to_argue_stands() -> None:
    reader = read(ALL["many"])
    assert "too many candidates to argue" in reader.text
    assert "What would change the verdict" not in reader.headings and "Maps" not in reader.headings
    assert sum(tag == "tr" for tag, _ in reader.tags) == 1 + 40 + 1
    bare = replace(ALL["many"], sighting=replace(ALL["many"].sighting, statements=()), cautions=())
    assert "The arguments" not in read(bare).headings


def test_tables_have_heads_and_the_page_a_language() -> None:
    reader = read(ALL["decided"])
    assert ("html", {"lang": "en"}) in reader.tags
    heads = [a for tag, a in reader.tags if tag == "th"]
    assert heads and all(a.get("scope") in ("col", "row") for a in heads)
    viewport = next(a for tag, a in reader.tags if tag == "meta" and a.get("name") == "viewport")
    assert "width=device-width" in str(viewport["content"])


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_letters_can_be_read_by_day_and_by_night() -> None:
    # WCAG 2.1: contrast 4.5:1 of text (1.4.3), 3:1 of graphics (1.4.11); formula of relative luminance (from
    # memory).
    assert contrast("#FFFFFF", "#000000") == pytest.approx(21)
    page = verdict_html(ALL["decided"], {}, {}, "")
    schemes = re.findall(r":root \{(.*?)\}", page, re.DOTALL)
    assert len(schemes) == 3  # light, dark, print
    seen = []
    for scheme in schemes:
        found = dict(re.findall(r"--([a-z-]+): (#[0-9A-F]{6})", scheme))
        assert set(found) == {"paper", "raised", "ink", "quiet", "rule", "bar", "bar-ground", "head"}
        for ground, letters in itertools.product(("paper", "raised", "head"), ("ink", "quiet")):
            if (ground, letters) != ("head", "quiet"):
                assert contrast(found[ground], found[letters]) >= 4.5, (ground, letters)
        assert contrast(found["bar"], found["paper"]) >= 3
        seen.append(found["paper"])
    assert luminance(seen[0]) > 0.8 > 0.05 > luminance(seen[1]) and luminance(seen[2]) == 1
    declared = set(palette.ALL_COLOURS) | {palette.BLANK, palette.QUIET, palette.LAND}
    assert set(re.findall(r"#[0-9A-F]{6}", page)) <= declared
