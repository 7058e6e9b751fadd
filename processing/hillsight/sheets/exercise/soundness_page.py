"""The check of an exercise as a report: Markdown, or a small page that needs no network."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

from hillsight.sheets.exercise.soundness_text import LIMITS, headline, parts
from hillsight.sheets.paper.labels import drawable

if TYPE_CHECKING:
    from hillsight.plan.exercise.exercise import Exercise
    from hillsight.plan.exercise.soundness import Soundness

_STYLE = (
    "body{font:16px/1.5 system-ui,sans-serif;max-width:44em;margin:2em auto;padding:0 1em;color:#1b1b1b;"
    "background:#fff}h1{font-size:1.4em}h2{font-size:1.1em;margin-bottom:.2em}li{margin:.3em 0}"
    "footer{color:#555;font-size:.85em;margin-top:2em}"
)


def soundness_markdown(exercise: Exercise, found: Soundness, credit: str) -> str:
    """The report as Markdown.

    credit : what it was made by and from
    """
    blocks = [f"# {_marked(headline(exercise, found))}"]
    for part in parts(exercise, found):
        blocks.append(f"## {_marked(part.heading)}")
        blocks += [_marked(sentence) for sentence in part.sentences]
        if part.items:
            blocks.append("\n".join(f"- {_marked(item)}" for item in part.items))
    blocks += [_marked(LIMITS), f"Made by hillsight: {_marked(credit)}."]
    return "\n\n".join(blocks) + "\n"


def soundness_html(exercise: Exercise, found: Soundness, credit: str) -> str:
    """The report as one page by itself.

    credit : what it was made by and from
    """
    title = _escaped(headline(exercise, found))
    body = [f"<h1>{title}</h1>"]
    for part in parts(exercise, found):
        body.append(f"<h2>{_escaped(part.heading)}</h2>")
        body += [f"<p>{_escaped(sentence)}</p>" for sentence in part.sentences]
        if part.items:
            items = "".join(f"<li>{_escaped(item)}</li>" for item in part.items)
            body.append(f"<ul>{items}</ul>")
    body.append(f"<footer><p>{_escaped(LIMITS)}</p><p>Made by hillsight: {_escaped(credit)}.</p></footer>")
    policy = "default-src 'none'; style-src 'unsafe-inline'"
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        f"<title>{title}</title><style>{_STYLE}</style></head>\n<body><main>\n"
        + "\n".join(body)
        + "\n</main></body></html>\n"
    )


def _escaped(text: str) -> str:
    return html.escape(drawable(text, 10_000))


def _marked(text: str) -> str:
    """A text in which nothing is taken for Markdown's own signs or for a tag."""
    plain = drawable(text, 10_000).replace("&", "&amp;").replace("<", "&lt;")
    for sign in "\\`*_[]|#":
        plain = plain.replace(sign, f"\\{sign}")
    return plain
