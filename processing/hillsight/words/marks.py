"""Signs in text from files that act on what shows them: they are shown, not sent."""

from __future__ import annotations

import re
from typing import overload

#: Embeddings, overrides and isolates (Unicode Standard Annex 9, section 2), and the marks of direction. One
#: that is left open turns round all that follows on a line, in a terminal, a page or a picture.
_DIRECTION = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


@overload
def marks_shown(text: str) -> str: ...
@overload
def marks_shown(text: None) -> None: ...
def marks_shown(text: str | None) -> str | None:
    """The text with each direction mark as its number, such as ``<U+202E>``; None stays None."""
    return None if text is None else _DIRECTION.sub(lambda found: f"<U+{ord(found.group()):04X}>", text)
