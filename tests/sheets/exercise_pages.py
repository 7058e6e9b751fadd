"""A made exercise as a page has it, with three places on made ground, and a browser that opens it."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from hillsight.plan.exercise.marking import DECIDES, NOT_SO, TELLS_NOTHING
from hillsight.sheets.exercise.page import exercise_html
from hillsight.sheets.exercise.page_data import (
    PageData,
    PageLandmark,
    PageMap,
    PagePlace,
    PageReason,
    PageView,
    Spot,
    Trace,
)

MAP_PX = (900, 1200)
VIEW_PX = (420, 1400)
TRUTH = "B"
HOSTILE = (
    "<script>document.title = 'run'</script>",
    '"><img src=x onerror="document.title=1">',
    "</script><b>O'Brien & Söhne</b> {{ 7 * 7 }} ${1}",
    "A name\nwith a line\x07 and half a surrogate \ud800",
)


def ground(shape: tuple[int, int], seed: int) -> np.ndarray:
    """(rows, columns, 3) uint8: smooth shades, as a map or a view has."""
    rng = np.random.default_rng(seed)
    row, column = np.mgrid[0 : shape[0], 0 : shape[1]]
    shade = sum(
        np.sin(row / rng.uniform(30, 120) + rng.uniform(0, 6))
        * np.cos(column / rng.uniform(30, 160) + rng.uniform(0, 6))
        for _ in range(5)
    )
    level = np.clip(225 + 9 * shade, 0, 255)
    return np.stack([level, level - 6, level - 24], -1).astype(np.uint8)


def view(seed: int, numbers: tuple[int, ...], *, photograph: bool = False) -> PageView:
    rng = np.random.default_rng(seed)
    high, wide = VIEW_PX
    rgb = ground(VIEW_PX, seed)
    edge = 150 + 40 * np.sin(np.arange(wide) / (70.0 + 20 * seed))
    rgb[np.arange(high)[:, None] < edge] = (188, 205, 224)
    spots = tuple(
        Spot(n, float(x), float(edge[int(x)]), f"{120 + 10 * n}° true, {n}.4 km, {7 * n} m above the eye")
        for n, x in zip(numbers, sorted(rng.uniform(60, wide - 60, len(numbers))), strict=True)
    )
    x = np.linspace(0, wide, 60)
    trace = Trace(1, (np.column_stack((x, 300 + 12 * np.sin(x / 90))),))
    ticks = tuple((wide * i / 6 + 20, f"{120 + 10 * i}°") for i in range(6))
    return PageView(rgb, photograph, "Drawn from the terrain: 60° wide, looking SE.", spots, (trace,), ticks)


def exercise(*, truth: str = TRUTH, names: tuple[str, ...] = (), photograph: bool = False) -> PageData:
    """Three places, the true one as told. ``names`` replace those of landmarks, places and titles."""
    titles = ["Brock Knott", "Cold Howe", "Dun Stone", "Eller Tarn", "Fox Rigg"]
    titles = [names[i % len(names)] if names else one for i, one in enumerate(titles)]
    kinds = (
        ("summit", "ground_shape"),
        ("saddle", "ground_shape"),
        ("boundary stone", "man_made"),
        ("tarn", "water"),
        ("spur", "ground_shape"),
    )
    landmarks = tuple(
        PageLandmark(i, name, *kind) for i, (name, kind) in enumerate(zip(titles, kinds, strict=True), 1)
    )
    row, column = np.mgrid[0:225, 0:300]
    places = []
    for i, (letter, x, y) in enumerate((("A", 320.0, 300.0), ("B", 610.0, 420.0), ("C", 450.0, 690.0))):
        is_true = letter == truth
        dead = np.where(np.sin(row / 17 + i) + np.cos(column / 23 - i) > 0.5, 2, 1).astype(np.uint8)
        dead[:8] = 3
        curve = np.linspace(0.4, 1.4, 30)
        rim = np.column_stack((x + 90 * np.sin(curve) + 60, y + 90 * np.cos(curve)))
        says = tuple(
            f"From {letter} the ground turns out of view too near." for _ in range(0 if is_true else 1)
        )
        places.append(
            PagePlace(
                letter=letter,
                name=names[0] if names else ("ridge end", "shelf", "saddle foot")[i],
                where=f"E 412,{300 + i} N 5,215,{400 + i}; looks 105° to 165° grid",
                x_px=x,
                y_px=y,
                left_grid_deg=105.0,
                span_deg=60.0,
                is_true=is_true,
                view=None if is_true and not photograph else view(i + 2, (1, 2, 3) if i else (1, 3, 5)),
                dead=dead,
                traces=(Trace(1, (rim,)),),
                others=((4, "hidden by 12 m"),),
                ruled_out=says,
            )
        )
    reasons = (
        PageReason(1, "The near ground turns out of view at about 60 m.", DECIDES, "ground_shape", 3,
                   "From the true place it turns out of view at 58 m; from A and C it stays in view."),
        PageReason(2, "A wall runs across the slope.", TELLS_NOTHING, "man_made", 0,
                   "All three places see it.", (3,)),
        PageReason(3, "The tarn is left of the summit.", DECIDES, "water", 2,
                   "From A it is right of it.", (1, 4)),
        PageReason(4, "The ground stays in view for 600 m or more.", NOT_SO, "ground_shape", -1,
                   "That is what C shows."),
        PageReason(5, "The skyline falls to the right.", DECIDES, "ground_shape", 2, "From C it climbs."),
    )  # fmt: skip
    if names:
        reasons = (replace(reasons[0], words=names[0], because=names[1]), *reasons[1:])
    spots = tuple(Spot(n, 700.0 + 70 * (n % 3) + 9 * n, 300.0 + 88 * (n // 2), "") for n in range(1, 6))
    return PageData(
        title=names[1] if names else "Above the tarn",
        question="From which of these places was the picture taken, and how do you know?",
        picture=view(1, (1, 2, 4), photograph=photograph),
        map=PageMap(ground(MAP_PX, 9), 5.0, "Grid lines 1 km apart; contours every 10 m.", spots, 170.0),
        places=tuple(places),
        landmarks=landmarks,
        reasons=reasons,
        mistakes=("42 of 500 simulated learners chose C: the near brow was taken for the far one.",),
        made_of=names[2] if names else "Made by hillsight exercise page from upland.tif.",
        provenance=json.dumps({"script": "exercise page", "words": names[0] if names else ""}),
        cautions=("A view drawn from terrain posts leaves out trees and works of man.",),
    )


@dataclass
class Working:
    """A page of an exercise in a browser; what it asked for, and what went wrong."""

    page: Any
    asked: list[str]
    faults: list[str]


def opened(browser: Any, folder: Path, of: PageData, width_px: int, **context: Any) -> Working:
    file = folder / "exercise.html"
    file.write_text(exercise_html(of), encoding="utf-8")
    return opened_file(browser, file, width_px, **context)


def opened_file(browser: Any, file: Path, width_px: int, **context: Any) -> Working:
    page = browser.new_context(viewport={"width": width_px, "height": 800}, **context).new_page()
    working = Working(page, [], [])
    page.on("request", lambda request: working.asked.append(request.url))
    page.on("pageerror", lambda error: working.faults.append(str(error)))
    page.on("console", lambda m: working.faults.append(m.text) if m.type in ("error", "warning") else None)
    page.goto(file.as_uri())
    page.wait_for_selector("body[data-ready]")
    return working
