"""Title, totals, provenance and caution: what surrounds every picture."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from hillsight.sheets.paper.maps import place_words
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.palette import QUIET
from hillsight.words.quantities import hectares, length_words, per_cent

if TYPE_CHECKING:
    from hillsight.layers.contents import Content
    from hillsight.sheets.paper.page import Page

CAUTION = (
    "Worked out from a terrain model, wrong by metres in places. Trees, walls and buildings count only where "
    "data of them were given, and they change: every edge is approximate. Check on the ground where safety "
    "depends on it."
)


def station_name(content: Content) -> str:
    """The station's name or label, fit to print."""
    name = name_of(content.station["name"], 40) or name_of(content.label, 40)
    return name or "a station without a name"


def draw_title(page: Page, left: float, title: str) -> None:
    """The title, in letters small enough for the page."""
    size = 16.0
    while page.size_of(title, size, bold=True)[0] > page.width - left - 40 and size > 7:
        size -= 0.5
    page.text(left, page.height - 38, title, size, bold=True)


def draw_head(page: Page, title: str, content: Content) -> None:
    """Title, place and totals."""
    row = content.station
    draw_title(page, 100, title)
    page.text(
        100,
        page.height - 68,
        f"E {row['easting_m']:,.0f}  N {row['northing_m']:,.0f}"
        + f"   ground {row['ground_height_m']:.1f} m, eye {row['eye_level_m']:.1f} m"
        + f"   {place_words(row['longitude'], row['latitude'])}",
        8,
    )
    whole = float(row["reach_ha"])
    columns = {"seen": "visible_ha", "dead ground": "hidden_ha", "unknown": "unknown_ha"}
    if row.get("uncertain_ha", 0.0) > 0:
        columns["uncertain"] = "uncertain_ha"
    shares = [
        f"{word} {hectares(row[column], 0)} ({per_cent(row[column] / whole, 1)})"
        for word, column in columns.items()
    ]
    page.text(100, page.height - 90, f"within {length_words(row['reach_m'])}: {', '.join(shares)}", 8)


def draw_foot(page: Page, content: Content, left: float, top: float, width: float) -> None:
    """Where the picture comes from, and the caution."""
    below = page.paragraph(left, top, width, provenance_words(content), 7.2, colour=QUIET)
    page.paragraph(left, below - 4, width, CAUTION, 7.2, colour=QUIET)


def provenance_words(content: Content) -> str:
    """Terrain, eye, reach and refraction in one sentence."""
    given = content.parameters
    terrain = (
        name_of(re.split(r"[/\\]", str(given.get("terrain") or ""))[-1], 60)
        or "a terrain file that is not named"
    )
    eye_m = float(content.station["eye_level_m"]) - float(content.station["ground_height_m"])
    words = [f"Terrain {terrain}", f"eye {eye_m:.1f} m above the ground"]
    tall = given.get("target_height_m") or 0.0
    heights_m = tall if isinstance(tall, list) else [tall]
    if any(heights_m):
        words.append(f"looking for things {', '.join(f'{height:g}' for height in heights_m)} m tall")
    words.append(f"reach {length_words(float(content.station['reach_m']))}")
    if given.get("refraction") is not None:
        words.append(f"refraction {given['refraction']:g} of the earth's curvature")
    return ", ".join(words) + ". Drawn by hillsight."
