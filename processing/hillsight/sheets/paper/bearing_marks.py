"""Marks, words and legend of the bearing strip."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.maps import Entry, course_entry, line_entry, sign_entry
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.sign_kinds import feature_mark
from hillsight.words.trust import trust_order

if TYPE_CHECKING:
    from collections.abc import Iterable

SKYLINES: dict[str, dict[str, Any]] = {
    "skyline": {"linewidth": 1.5},
    "open skyline": {"linewidth": 1.1, "linestyle": (0, (2, 1.2))},
}


def label_words(entry: dict[str, Any]) -> str:
    """Bearing, name and, of a hidden feature, by how much it is hidden."""
    name = name_of(entry.get("name"), 26) or name_of(entry.get("kind"), 26) or "unnamed"
    text = f"{entry['bearing_true_deg'] % 360:03.0f} {name}"
    if entry["state"] == "hidden":
        by = entry.get("hidden_by_m")
        text += " (hidden)" if by is None or not np.isfinite(by) else f" (hidden by {_round_up(by)} m)"
    elif entry["state"] == "unknown":
        text += " (unknown)"
    elif entry["state"] in ("partly", "uncertain"):
        text += f" ({entry['state']})"
    return text


def _round_up(metres: float) -> str:
    """Metres to show, never rounded down to nothing."""
    return f"{metres:.0f}" if metres >= 9.5 else f"{max(metres, 0.1):.1f}"


def sign_of(entry: dict[str, Any]) -> signs.Mark:
    """The sign of a listed feature: its kind tells the shape, its class the colour."""
    return feature_mark(str(entry["evidence_class"]), str(entry.get("kind") or ""))


def state_of(entry: dict[str, Any]) -> str:
    """The state that a sign is filled by."""
    state = str(entry["state"])
    return state if state in signs.STATE_WORDS else "unknown"


def class_entries(entries: Iterable[dict[str, Any]], share: float = 1.0) -> list[Entry]:
    """Legend of the signs of listed features, the most trusted first, each once."""
    found = {sign_of(entry): trust_order(str(entry["evidence_class"])) for entry in entries}
    ordered = sorted(found, key=lambda sign: (found[sign], -sign.size, sign.words))
    return [sign_entry(sign.words, sign, share=share) for sign in ordered]


def strip_legend(entries: list[dict[str, Any]], drawn: dict[str, None]) -> list[Entry]:
    """Only what is on the strips."""
    found = []
    if "skyline" in drawn:
        found.append(line_entry("skyline: ground against the sky", **SKYLINES["skyline"]))
    if "open skyline" in drawn:
        found.append(line_entry("skyline; may lie farther off", **SKYLINES["open skyline"]))
    found += [
        course_entry(signs.CREST_ROLES[role].words, signs.CREST_ROLES[role], 0.6)
        for role in ("brow", "crest")
        if role in drawn
    ]
    words = {
        "visible": "seen",
        "partly": "partly seen",
        "uncertain": "uncertain",
        "hidden": "hidden, by how many metres",
        "unknown": "unknown",
    }
    present = {e["state"] for e in entries}
    found += [sign_entry(text, signs.HILL, state) for state, text in words.items() if state in present]
    if "extent" in drawn:
        colour = palette.MAN_MADE
        found.append(
            line_entry("from left to right edge of what is seen", color=colour, linewidth=1.3, alpha=0.6)
        )
    found += class_entries(entries)
    return found
