"""What pages of HTML that need nothing else share: templates, their security policy, data inside them."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from hillsight.words.marks import marks_shown

if TYPE_CHECKING:
    from collections.abc import Callable

if TYPE_CHECKING:
    from collections.abc import Callable


def hashed(text: str) -> str:
    """What a page's security policy knows a style or a program by (W3C, CSP Level 3: base64 of SHA-256)."""
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def inside_script(text: str) -> str:
    """JSON that cannot end the element that holds it."""
    return text.replace("<", "\\u003c")


def sayable(text: str) -> str:
    """Text that UTF-8 can hold: undecodable bytes of file names become question marks."""
    return marks_shown(text).encode("utf-8", "replace").decode("utf-8")


@cache
def program(package: str, parts: tuple[str, ...]) -> str:
    """Parts of a program, files among a package's templates, as one that leaves no names in the window."""
    folder = files(package) / "templates"
    texts = [(folder / name).read_text(encoding="utf-8") for name in parts]
    return '(() => {\n"use strict";\n' + "\n".join(texts) + "})();\n"


def environment(package: str, finalize: Callable[[str], object] = marks_shown) -> Any:
    """Where the templates of a package are found; what is put into them is escaped, what is missing refused.

    finalize : makes a text that is no markup into what a page may hold, before it is escaped
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    def fit(value: object) -> object:
        return finalize(value) if isinstance(value, str) and not isinstance(value, Markup) else value

    return Environment(
        loader=PackageLoader(package),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=fit,
    )
