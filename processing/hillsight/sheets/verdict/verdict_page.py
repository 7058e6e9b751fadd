"""A verdict as one HTML file that needs nothing else, and as a page of Markdown: both from templates."""

from __future__ import annotations

import base64
import re
from functools import cache
from typing import TYPE_CHECKING, Any

from hillsight.sheets.paper import palette
from hillsight.sheets.paper.page_files import environment
from hillsight.sheets.verdict.skyline_plot import skyline_plot
from hillsight.sheets.verdict.verdict_text import (
    CLASS_HEADINGS,
    LIMITS,
    STATE_WORDS,
    argument_words,
    by_trust,
    chance_words,
    change_words,
    described_words,
    direction_words,
    fits_words,
    picture_words,
    place_words,
    plain,
    variation_words,
)
from hillsight.words.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jinja2 import Environment

    from hillsight.plan.verdict import Verdict

#: Between a figure and its unit, where no line may break.
_UNIT_SPACE = re.compile(rf"(?<=\d) (?=(?:{'|'.join(UNITS)})(?!\w))")
_MARKDOWN_SIGNS = re.compile(r"([\\`*_{}\[\]|#!~])")


def verdict_html(
    verdict: Verdict,
    pictures: Mapping[str, bytes],
    overlays: Mapping[str, bytes],
    provenance_words: str,
) -> str:
    """The whole verdict as a page that asks nothing of the network and runs nothing.

    Parameters
    ----------
    pictures : maps by the candidate's label, PNG or WebP; those of no candidate are left out
    overlays : JPEG pictures by the candidate's label: the photograph laid over what is seen from there
    provenance_words : where it all comes from, as plain words
    """
    from markupsafe import Markup

    inside = [
        (one, Markup(_address(pictures[one.station]))) for one in _ranked(verdict) if one.station in pictures
    ]
    drawn = b"" if verdict.measured is None else skyline_plot(verdict.measured)
    page = _environment().get_template("verdict.html.j2")
    return page.render(
        _told(verdict),
        palette=palette,
        pictures=inside,
        skylines=Markup(_address(drawn)) if drawn else "",
        overlays=[(label, Markup(_address(one))) for label, one in overlays.items()],
        provenance_words=provenance_words,
    )


def _address(picture: bytes) -> str:
    """A picture as the address of its own data; its kind by its first bytes."""
    kinds = {b"\x89PNG": "png", b"RIFF": "webp"}
    data = base64.b64encode(picture).decode("ascii")
    return f"data:image/{kinds.get(picture[:4], 'jpeg')};base64,{data}"


def verdict_markdown(verdict: Verdict) -> str:
    """The whole verdict as Markdown with tables (as in GitHub's written specification)."""
    return _environment(markdown=True).get_template("verdict.md.j2").render(_told(verdict))


def load_templates() -> int:
    """Load every template, as a page would; returns how many there are.

    Raises
    ------
    jinja2.TemplateError : one is missing or broken
    """
    names = ("verdict.html.j2", "verdict.css.j2", "verdict.md.j2")
    for name in names:
        _environment(markdown=name.endswith(".md.j2")).get_template(name)
    return len(names)


def _told(verdict: Verdict) -> dict[str, Any]:
    """What both templates say."""
    roles = ("tells_nothing", "against")
    return {
        "verdict": verdict,
        "title": plain(verdict.sighting.picture.title) or "Where was the picture taken?",
        "STATE_WORDS": STATE_WORDS,
        "ranked": _ranked(verdict),
        "by_trust": [(CLASS_HEADINGS[evidence], group) for evidence, group in by_trust(verdict).items()],
        "by_role": {role: [one for one in verdict.arguments if one.role == role] for role in roles},
        "described": described_words(verdict),
        "changes": sorted(verdict.changes, key=lambda change: not change.changes),
        "variations": variation_words(verdict),
        "limits": (*verdict.cautions, *LIMITS),
    }


def _ranked(verdict: Verdict) -> list[Any]:
    return sorted(verdict.candidates, key=lambda one: one.rank)


@cache
def _environment(*, markdown: bool = False) -> Environment:
    """Where templates are found and how what is put into them is kept from being read as markup.

    Every text becomes one line without control characters, then words alone: of HTML by escaping, of Markdown
    by a backslash before each of its signs besides.
    """
    from markupsafe import Markup

    def one_line(value: str) -> str:
        return _markdown_words(plain(value)) if markdown else _UNIT_SPACE.sub("\u00a0", plain(value))

    def _markdown_words(line: str) -> Markup:
        entities = line.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        return Markup(_MARKDOWN_SIGNS.sub(r"\\\1", entities))

    found: Environment = environment("hillsight.sheets.verdict", finalize=one_line)
    found.filters |= {
        "argument_words": argument_words,
        "bar_width": lambda share: 100 * min(max(share, 0.0), 1.0) if share == share else 0.0,
        "chance_words": chance_words,
        "change_words": change_words,
        "direction_words": direction_words,
        "fits_words": fits_words,
        "picture_words": picture_words,
        "place_words": place_words,
        "sentence_case": lambda text: text[:1].upper() + text[1:],
    }
    return found
