"""What hides, in words: the ground, or the cover on it."""

from __future__ import annotations

#: What stands for the ground in columns that say what hides.
GROUND = "ground"
#: What ``Cover.kinds`` calls what a surface model shows, which does not say what it is.
SURFACE_KIND = "surface model"


def hider_words(kind: str | None) -> str:
    """What hides, with its article; empty where nothing is known of cover.

    >>> hider_words("wood"), hider_words("ground"), hider_words(None)
    ('the wood', 'the ground', '')
    """
    if kind is None or kind != kind:  # NaN, as tables have it
        return ""
    return "what the surface model shows" if kind == SURFACE_KIND else f"the {kind}"
