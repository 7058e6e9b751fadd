"""Signs in text from files that act on what shows them: they are shown, not sent."""

from __future__ import annotations

import re
from typing import overload

#: Embeddings, overrides, isolates and marks of direction (Unicode Standard Annex 9, section 2): one that is
#: left open turns round all that follows on a line, in a terminal, a page or a picture. Control characters
#: (Unicode Standard, section 23.1, from memory) command terminals, and break XML. Half surrogates stand for
#: bytes that are no text.
_ACTING = re.compile(
    "[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\x00-\x08\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff]"
)

#: Ends of lines that are none in a file of text.
_OTHER_BREAKS = re.compile("[\x0b\x0c\x85\u2028\u2029]")


@overload
def marks_shown(text: str) -> str: ...
@overload
def marks_shown(text: None) -> None: ...
def marks_shown(text: str | None) -> str | None:
    """The text with each sign that acts as its number, such as ``<U+202E>``; None stays None.

    Tabs and ends of lines stay; other breaks become spaces.
    """
    if text is None or text.isprintable():  # none of them is
        return text
    shown = _ACTING.sub(lambda found: f"<U+{ord(found.group()):04X}>", text)
    return _OTHER_BREAKS.sub(" ", shown)


def marks_escaped(text: str) -> str:
    """JSON, or a quoted text of TOML, with each sign that acts as its escape: it is read as it was.

    Control characters that JSON escapes itself must have been.
    """
    if text.isprintable():
        return text
    return _ACTING.sub(lambda found: f"\\u{ord(found.group()):04x}", text)
