"""A verdict as one HTML file that needs nothing else: pictures, colours and all inside."""

from __future__ import annotations

import base64
from html import escape
from typing import TYPE_CHECKING

from hillsight.sheets.paper import palette
from hillsight.sheets.verdict.verdict_text import (
    CLASS_HEADINGS,
    LIMITS,
    STATE_WORDS,
    argument_words,
    by_trust,
    change_words,
    fits_words,
    picture_words,
    plain,
    told_words,
)
from hillsight.words.quantities import probability_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from hillsight.plan.verdict import Argument, Verdict

_STYLE = f"""
:root {{
  color-scheme: light dark;
  --paper: {palette.PAPER}; --raised: {palette.BLANK}; --ink: {palette.INK}; --quiet: {palette.QUIET};
  --rule: {palette.UNKNOWN}; --bar: {palette.HIDDEN}; --bar-ground: {palette.DEPTHS[1]};
  --head: {palette.LAND};
}}
@media (prefers-color-scheme: dark) {{
  :root {{
    --paper: {palette.INK}; --raised: {palette.INK}; --ink: {palette.PAPER}; --quiet: {palette.UNKNOWN};
    --rule: {palette.QUIET}; --bar: {palette.VISIBLE}; --bar-ground: {palette.LEVEL};
    --head: {palette.QUIET};
  }}
}}
* {{ box-sizing: border-box; }}
html {{ -webkit-text-size-adjust: 100%; }}
body {{
  margin: 0 auto; max-width: 54rem; padding: 1rem; background: var(--paper); color: var(--ink);
  font: 1rem/1.5 system-ui, sans-serif; overflow-wrap: break-word;
}}
h1 {{ font-size: 1.5em; line-height: 1.25; margin: 0.5rem 0; }}
h2 {{ font-size: 1.2em; margin: 2rem 0 0.5rem; padding-bottom: 0.2rem; }}
h2 {{ border-bottom: 2px solid var(--rule); }}
h3 {{ font-size: 1em; margin: 1.2rem 0 0.3rem; }}
p {{ margin: 0.5rem 0; }}
.headline {{
  font-size: 1.15em; font-weight: 600; background: var(--raised); border: 2px solid var(--ink);
  border-radius: 0.4rem; padding: 0.7rem 0.9rem;
}}
.quiet {{ color: var(--quiet); font-size: 0.92em; }}
table {{ border-collapse: collapse; width: 100%; margin: 0.5rem 0; font-size: 0.95em; }}
th, td {{ text-align: left; vertical-align: top; padding: 0.35rem 0.5rem; }}
th, td {{ border-bottom: 1px solid var(--rule); }}
tbody th {{ font-weight: 600; }}
.long th {{ font-weight: normal; }}
tbody th, td {{ overflow-wrap: anywhere; }}
thead th {{ background: var(--head); }}
.bar {{ height: 0.6rem; margin: 0.15rem 0; border: 1px solid var(--rule); border-radius: 0.15rem; }}
.bar span {{
  display: block; height: 100%; background: var(--bar);
  -webkit-print-color-adjust: exact; print-color-adjust: exact;
}}
.bar.ground span {{ background: var(--bar-ground); }}
.argument {{
  border-left: 0.4rem solid var(--trust); padding: 0 0 0 0.8rem; margin: 1rem 0; break-inside: avoid;
  -webkit-print-color-adjust: exact; print-color-adjust: exact;
}}
.ground_shape {{ --trust: {palette.GROUND_SHAPE}; }}
.water {{ --trust: {palette.WATER}; }}
.unclassed {{ --trust: {palette.UNCLASSED}; }}
.man_made {{ --trust: {palette.MAN_MADE}; }}
.number {{
  display: inline-block; min-width: 1.6em; padding: 0 0.3em; margin-right: 0.4em; text-align: center;
  border: 2px solid currentColor; border-radius: 1em; font-weight: 600;
}}
figure {{ margin: 1rem 0; break-inside: avoid; }}
img {{ display: block; width: 100%; height: auto; border: 1px solid var(--rule); }}
figcaption {{ color: var(--quiet); font-size: 0.92em; margin-top: 0.3rem; }}
li {{ margin: 0.3rem 0; }}
@media (prefers-color-scheme: dark) {{
  .ground_shape {{ --trust: {palette.CONTOUR}; }}
}}
@media (max-width: 34rem) {{
  .stack thead {{ position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }}
  .stack, .stack tbody, .stack tr, .stack td, .stack th {{ display: block; width: 100%; }}
  .stack tr {{ border-bottom: 1px solid var(--rule); padding: 0.4rem 0; }}
  .stack td, .stack th {{ border: 0; padding: 0.1rem 0; text-align: left; white-space: normal; }}
  .stack td[data-says]::before {{ content: attr(data-says) ": "; color: var(--quiet); }}
}}
@page {{ size: A4; margin: 16mm 15mm; }}
@media print {{
  :root {{
    --paper: {palette.BLANK}; --raised: {palette.BLANK}; --ink: {palette.INK}; --quiet: {palette.QUIET};
    --rule: {palette.UNKNOWN}; --bar: {palette.HIDDEN}; --bar-ground: {palette.DEPTHS[1]};
    --head: {palette.LAND};
  }}
  .ground_shape {{ --trust: {palette.GROUND_SHAPE}; }}
  body {{ max-width: none; padding: 0; font-size: 10pt; }}
  h2, h3 {{ break-after: avoid; }}
  tr {{ break-inside: avoid; }}
  img {{ max-height: 235mm; width: auto; max-width: 100%; margin: 0 auto; }}
}}
"""


def verdict_html(verdict: Verdict, pictures: Mapping[str, bytes], provenance_words: str) -> str:
    """The whole verdict as a page that asks nothing of the network and runs nothing.

    Parameters
    ----------
    pictures : PNG maps by the candidate's label; those of no candidate are left out
    provenance_words : where it all comes from, as plain words
    """
    title = plain(verdict.sighting.picture.title) or "Where was the picture taken?"
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'\">",
        f"<title>{_safe(title)}</title>",
        f"<style>{_STYLE}</style>",
        "</head>",
        "<body>",
        "<header>",
        f"<h1>{_safe(title)}</h1>",
        f'<p class="quiet">The picture: {_safe(picture_words(verdict))}.</p>',
        "</header>",
        "<main>",
        *_section("The verdict", _verdict(verdict)),
        *_section("The candidates", _candidates(verdict)),
        *_section("The arguments", _arguments(verdict)),
        *_section("What speaks against", _against(verdict)),
        *_section("What would change the answer", _changes(verdict)),
        *_section("What to look at next", _questions(verdict)),
        *_section("Maps", _maps(verdict, pictures)),
        *_section("Limits and cautions", _limits(verdict)),
        "</main>",
        "<footer>",
        "<h2>Where this comes from</h2>",
        f"<p>{_safe(provenance_words)}</p>",
        "</footer>",
        "</body>",
        "</html>",
    ]
    return "\n".join(parts) + "\n"


def _safe(text: object) -> str:
    """A text that HTML takes for words alone, also within quotes."""
    return escape(plain(text), quote=True)


def _section(heading: str, body: list[str]) -> list[str]:
    return ["<section>", f"<h2>{_safe(heading)}</h2>", *body, "</section>"] if body else []


def _list(items: Iterable[str]) -> list[str]:
    return ["<ul>", *(f"<li>{item}</li>" for item in items), "</ul>"]


def _verdict(verdict: Verdict) -> list[str]:
    return [
        f'<p class="headline">{_safe(verdict.headline)}.</p>',
        f"<p>{_safe(STATE_WORDS[verdict.state])} The probability that the picture is from none of these "
        f"places is {_safe(probability_words(verdict.none_probability))}.</p>",
    ]


def _bar(share: float, kind: str = "") -> str:
    width = 100 * min(max(share, 0.0), 1.0) if share == share else 0.0
    of = f"bar {kind}".strip()
    return f'<div class="{of}" aria-hidden="true"><span style="width:{width:.1f}%"></span></div>'


def _candidates(verdict: Verdict) -> list[str]:
    rows = [
        '<table class="stack">',
        "<thead><tr>"
        '<th scope="col">Candidate</th><th scope="col">Probability</th>'
        '<th scope="col">By ground and water alone</th><th scope="col">Would look</th>'
        '<th scope="col">Place</th>'
        "</tr></thead>",
        "<tbody>",
    ]
    rows += [
        "<tr>"
        f'<th scope="row">{one.rank}. {_safe(one.station)}</th>'
        f'<td data-says="Probability">{_safe(probability_words(one.probability))}{_bar(one.probability)}</td>'
        f'<td data-says="By ground and water alone">{_safe(probability_words(one.by_ground))}'
        f"{_bar(one.by_ground, 'ground')}</td>"
        f'<td data-says="Would look">{one.looks_true_deg % 360:.0f}° true ± '
        f"{one.looks_plus_minus_deg:.0f}°</td>"
        f'<td data-says="Place">E\u00a0{one.easting_m:.0f} N\u00a0{one.northing_m:.0f}, '
        f"ground {one.ground_height_m:.0f}\u00a0m</td>"
        "</tr>"
        for one in sorted(verdict.candidates, key=lambda one: one.rank)
    ]
    rows += [
        '<tr><th scope="row">None of these</th>'
        f'<td data-says="Probability">{_safe(probability_words(verdict.none_probability))}'
        f"{_bar(verdict.none_probability)}</td><td></td><td></td><td></td></tr>",
        "</tbody>",
        "</table>",
        '<p class="quiet">Directions are from true north, with one standard deviation; places are in the '
        "terrain's grid.</p>",
    ]
    return rows


def _arguments(verdict: Verdict) -> list[str]:
    if not verdict.arguments:
        told = [_safe(words) for words in told_words(verdict)]
        if not told:
            return []
        words = "<p>There are too many candidates to argue each statement. What is told of the picture:</p>"
        return [words, "<ol>", *(f"<li>{item}</li>" for item in told), "</ol>"]
    out = [
        '<p class="quiet">In order of trust: the shape of the ground lasts, water may dry up or rise, and '
        "what people made may be gone, new, or elsewhere than the map says.</p>"
    ]
    for evidence, group in by_trust(verdict).items():
        out.append(f"<h3>{_safe(CLASS_HEADINGS[evidence])}</h3>")
        for one in group:
            out += _argument(one, verdict)
    little = [one for one in verdict.arguments if one.role == "tells_nothing"]
    if little:
        out.append("<h3>What tells them apart little</h3>")
        out += _list(f'<span class="number">{one.number}</span>{_safe(one.sentence)}' for one in little)
    return out


def _against(verdict: Verdict) -> list[str]:
    against = [one for one in verdict.arguments if one.role == "against"]
    if not against:
        return ["<p>Nothing that was told.</p>"] if verdict.arguments else []
    return [line for one in against for line in _argument(one, verdict)]


def _argument(one: Argument, verdict: Verdict) -> list[str]:
    statement, words = one.statement, argument_words(one, verdict)
    out = [
        f'<article class="argument {_safe(one.evidence_class)}">',
        f'<p><span class="number">{one.number}</span>{_safe(one.sentence)}</p>',
        f'<p class="quiet">{_safe(words[:1].upper() + words[1:])}. Part of the picture: '
        f"{_safe(statement.part)}. The observer is: {_safe(statement.sure)}.</p>",
        '<table class="stack">',
        '<thead><tr><th scope="col">From</th><th scope="col">would be seen</th>'
        '<th scope="col">which</th></tr></thead>',
        "<tbody>",
    ]
    out += [
        f'<tr><th scope="row">{_safe(place.station)}</th><td>{_safe(fact.words)}</td>'
        f"<td>{_safe(fits_words(fact))}{'' if fact.agrees != fact.agrees else _bar(fact.agrees)}</td></tr>"
        for place, fact in zip(verdict.candidates, one.facts, strict=True)
    ]
    return [*out, "</tbody>", "</table>", "</article>"]


def _changes(verdict: Verdict) -> list[str]:
    if not verdict.changes:
        return []
    telling = sum(change.changes for change in verdict.changes)
    words = f"{telling} of {len(verdict.changes)}" if telling else f"None of {len(verdict.changes)}"
    out = [
        f"<p>{words} changes tried would make it another answer.</p>",
        '<table class="stack long">',
        '<thead><tr><th scope="col">If</th><th scope="col">then</th><th scope="col">another answer</th>'
        "</tr></thead>",
        "<tbody>",
    ]
    out += [
        f'<tr><th scope="row">{_safe(change.about)}</th><td>{_safe(change_words(change))}</td>'
        f'<td data-says="Another answer">{"<strong>yes</strong>" if change.changes else "no"}</td></tr>'
        for change in sorted(verdict.changes, key=lambda change: not change.changes)
    ]
    return [*out, "</tbody>", "</table>"]


def _questions(verdict: Verdict) -> list[str]:
    out = []
    for question in verdict.questions:
        expected = _list(
            f"from {_safe(label)} most likely: {_safe(answer)}" for label, answer in question.expected
        )
        out.append(f"<strong>{_safe(question.text)}</strong> ({_safe(question.part)})" + "".join(expected))
    return ["<ol>", *(f"<li>{item}</li>" for item in out), "</ol>"] if out else []


def _maps(verdict: Verdict, pictures: Mapping[str, bytes]) -> list[str]:
    out = []
    for one in sorted(verdict.candidates, key=lambda one: one.rank):
        if one.station not in pictures:
            continue
        data = base64.b64encode(pictures[one.station]).decode("ascii")
        words = (
            f"Map of candidate {one.station}: where the picture would look, and where what the arguments are "
            "about lies, numbered as in the text"
        )
        out += [
            "<figure>",
            f'<img src="data:image/png;base64,{data}" alt="{_safe(words)}">',
            f"<figcaption>{_safe(one.station)}, {_safe(probability_words(one.probability))}. Numbers are "
            "those of the arguments.</figcaption>",
            "</figure>",
        ]
    return out


def _limits(verdict: Verdict) -> list[str]:
    return _list(_safe(text) for text in (*verdict.cautions, *LIMITS))
