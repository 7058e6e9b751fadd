"""Marks, words and legend of the bearing strip."""

from __future__ import annotations

from typing import Any

import numpy as np

from hillsight.sheets.paper import palette
from hillsight.sheets.paper.maps import Entry, line_entry, mark_entry
from hillsight.sheets.paper.marks import ROLE_LINES, ROLE_WORDS, is_saddle, marker_of, name_of
from hillsight.sheets.paper.palette import INK, PAPER
from hillsight.words.trust import CLASS_NAMES

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


def state_mark(entry: dict[str, Any], *, minor: bool = False) -> dict[str, Any]:
    """Shape by evidence class; filled if seen, half filled if partly seen, hollow if not; small if minor."""
    colour = palette.EVIDENCE_CLASSES.get(entry["evidence_class"], palette.UNCLASSED)
    style = {
        "marker": marker_of(entry["evidence_class"], str(entry.get("kind") or "")),
        "markersize": 4.5 if minor else 7.0,
        "markeredgecolor": colour,
        "markeredgewidth": 0.9 if minor else 1.3,
        "markerfacecolor": colour,
        "markerfacecoloralt": PAPER,
    }
    if entry["state"] == "partly":
        style["fillstyle"] = "left"
    elif entry["state"] == "uncertain":
        style.update(fillstyle="bottom", markerfacecolor=palette.UNCERTAIN)
    elif entry["state"] == "hidden":
        style["markerfacecolor"] = PAPER
    elif entry["state"] == "unknown":
        style.update(markerfacecolor=palette.UNKNOWN, markeredgecolor=INK, markeredgewidth=0.8)
    return style


def strip_legend(entries: list[dict[str, Any]], drawn: dict[str, None]) -> list[Entry]:
    """Only what is on the strips."""
    found = []
    if "skyline" in drawn:
        found.append(line_entry("skyline: ground against the sky", **SKYLINES["skyline"]))
    if "open skyline" in drawn:
        found.append(line_entry("skyline; may lie farther off", **SKYLINES["open skyline"]))
    found += [
        line_entry(ROLE_WORDS[role], **{**ROLE_LINES[role], "linewidth": 0.9})
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
    found += [
        mark_entry(text, **state_mark({"state": state, "evidence_class": "ground_shape"}))
        for state, text in words.items()
        if state in present
    ]
    if "extent" in drawn:
        colour = palette.MAN_MADE
        found.append(
            line_entry("from left to right edge of what is seen", color=colour, linewidth=1.3, alpha=0.6)
        )
    classes = {e["evidence_class"] for e in entries}
    found += [
        mark_entry(text, **state_mark({"state": "visible", "evidence_class": evidence}))
        for evidence, text in CLASS_NAMES.items()
        if evidence in classes
    ]
    if any(is_saddle(str(e.get("kind") or "")) for e in entries):
        saddle = {"state": "visible", "evidence_class": "ground_shape", "kind": "saddle"}
        found.append(mark_entry(f"{CLASS_NAMES['ground_shape']}: saddle", **state_mark(saddle)))
    return found
