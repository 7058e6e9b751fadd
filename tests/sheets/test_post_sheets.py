"""Sheets of marshal posts: what they say is on them, nothing overlaps, maps are to scale, grey tells too."""

from __future__ import annotations

import itertools
from dataclasses import replace

import geopandas
import numpy as np
import pytest
import shapely

from drawn import busy_view
from hillsight.sheets.map.margin import North as MapNorth
from hillsight.sheets.panorama.picture import North
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.page import PER_MM, Page
from hillsight.sheets.posts.post_sheet import post_pages
from hillsight.sheets.posts.sheet_data import Fact, PostSheet, PostSheets, Table
from hillsight.sheets.posts.summary_map import summary_pages

CAUTIONS = "Made cautions: look from each post before the event, and let the safety plan decide."


def frame(crs, shapes, **columns) -> geopandas.GeoDataFrame:
    return geopandas.GeoDataFrame(columns, geometry=list(shapes), crs=crs)


@pytest.fixture(scope="module")
def made() -> PostSheets:
    view = busy_view()
    lines = view.lines
    surface, crs = lines.surface, lines.grid.crs
    here = np.array([lines.easting_m, lines.northing_m])
    course = here + np.array([(-900, 200), (-300, 500), (300, 600), (800, 100), (400, -700), (-500, -600.0)])
    parts = [shapely.LineString(course[k : k + 2]) for k in range(len(course) - 1)]
    layers = {
        "dead_ground": frame(crs, [shapely.Point(here + np.array([200, 300])).buffer(150)]),
        "other_stretches": frame(crs, parts[3:]),
        "seen_stretches": frame(crs, parts[:3]),
        "running_order": frame(crs, [shapely.LineString(course)]),
        "walks": frame(crs, [shapely.LineString([here - (900, 900), here])]),
        "access": frame(crs, [shapely.Point(here - (900, 900))], label=["Made Gate"]),
        "posts": frame(
            crs, [shapely.Point(here), shapely.Point(here + np.array([700, -300]))], number=["1", "12"]
        ),
    }
    bearings = np.linspace(view.left_grid_deg + 5, view.left_grid_deg + view.span_deg - 5, 30)
    watch = Table(
        "What to watch",
        ("course", "into sight"),
        (0.5, 0.5),
        tuple((f"{k} km", f"{k:03d}°") for k in range(4)),
    )
    post = PostSheet(
        "1", "Made Brow", ("E 500,123  N 5,200,456", "a made grid", "ground 512 m"), *here.tolist(), layers,
        (Fact("Runners", ("In sight 10:00 to 12:30.",)), Fact("Walking in", ("From Made Gate: 42 min.",))),
        (watch, Table("Radio", ("to", "radio"), (0.5, 0.5), (("control", "likely"),), "Try the sets.")),
        view, North("grid", 0.0), (np.column_stack((bearings, np.zeros(30))),), "All round.",
    )  # fmt: skip
    return PostSheets(
        "Made Round", surface, None, 1.0, MapNorth(0.4, -2.0, 0.3, "2026-09-12"), course, (post,), CAUTIONS,
        "Terrain made.tif. Drawn by hillsight.",
    )  # fmt: skip


def said(page: Page) -> str:
    return " ".join(text for text, _ in page.texts)


def assert_apart(page: Page) -> None:
    sheet = Box(0, 0, page.width, page.height)
    for text, box in page.texts:
        assert box.within(sheet), text
    for (one, box), (other, other_box) in itertools.combinations(page.texts, 2):
        assert not box.overlaps(other_box, -2.0), (one, other)


def test_a_post_has_one_page_with_all_that_it_needs(made: PostSheets) -> None:
    (page,) = post_pages(made, made.posts[0])
    words = said(page)
    for part in ("Made Brow", "E 500,123  N 5,200,456", "In sight 10:00", "From Made Gate: 42 min.", "likely",
                 "003°", "1:", "dead ground", "course that a post sees", CAUTIONS):  # fmt: skip
        assert part in words, part
    assert_apart(page)


def test_long_tables_go_on_with_the_cautions_on_every_page(made: PostSheets) -> None:
    rows = tuple((f"stretch {k}", "x") for k in range(90))
    table = replace(made.posts[0].tables[0], rows=rows)
    pages = post_pages(made, replace(made.posts[0], tables=(table,)))
    assert len(pages) == 3
    told = " ".join(said(page) for page in pages)
    for k in range(90):
        assert f"stretch {k} " in told + " "
    for page in pages:
        assert CAUTIONS in said(page)
        assert "E 500,123  N 5,200,456" in said(page)
        assert_apart(page)


def test_a_post_that_sees_nothing_still_has_its_sheet(made: PostSheets) -> None:
    one = made.posts[0]
    blind = {name: rows for name, rows in one.layers.items() if name in ("posts", "other_stretches")}
    (page,) = post_pages(made, replace(one, layers=blind, courses=()))
    assert "course that a post sees" not in said(page)


def _summary(made: PostSheets, **more) -> list[Page]:
    layers = {**made.posts[0].layers}
    crs = layers["posts"].crs
    course = shapely.LineString(made.course)
    layers["unseen_stretches"] = frame(crs, [shapely.LineString(made.course[3:5])])
    layers["handover_gaps"] = frame(crs, [course])
    layers.pop("other_stretches")
    return list(summary_pages(made, {**layers, **more}))


def test_the_map_shows_what_nobody_sees_and_tells_radio_by_dashes(made: PostSheets) -> None:
    crs = made.posts[0].layers["posts"].crs
    ends = [shapely.LineString(made.course[[0, k]]) for k in (2, 3, 4)]
    answers = ["likely", "doubtful", "unlikely"]
    (page,) = _summary(made, radio_links=frame(crs, ends, answer=answers))
    words = said(page)
    for part in ("course that no post sees", "course that a post sees", "marshal post", "start of a walk",
                 "radio: likely", "radio: doubtful", "radio: unlikely", "Made Gate", "12"):  # fmt: skip
        assert part in words, part
    assert CAUTIONS.split(":")[0] in words
    assert "handover" not in words


def test_seen_and_unseen_are_told_apart_in_grey(made: PostSheets) -> None:
    (page,) = _summary(made)
    whole = page.pixels()
    grey = whole @ np.array([0.299, 0.587, 0.114])  # Rec. 601, from memory
    axes = {str(one.get_gid()): one for one in page.figure.axes}

    def tone(layer: str, spot: np.ndarray) -> float:
        x, y = axes[layer].transData.transform(spot)
        column, row = round(float(x)), round(page.height - float(y))
        return float(np.median(grey[row - 1 : row + 2, column - 1 : column + 2]))

    seen = tone("seen_stretches", made.course[:2].mean(axis=0) + (made.course[1] - made.course[0]) * 0.07)
    unseen = tone("unseen_stretches", made.course[3:5].mean(axis=0))
    assert seen - unseen > 100


@pytest.mark.parametrize("wide_m", [1_500.0, 3_400.0])
def test_the_map_is_to_scale(made: PostSheets, wide_m: float) -> None:
    """As many millimetres as the scale makes of the metres, on paper that holds the course."""
    middle = made.course.mean(axis=0)
    course = middle + (made.course - middle) / np.ptp(made.course[:, 0]) * wide_m
    layers = {"posts": frame(made.posts[0].layers["posts"].crs, [shapely.Point(course[0])], number=["1"])}
    (page,) = summary_pages(replace(made, course=course), layers)
    scale = float(next(text for text, _ in page.texts if text.startswith("1:"))[2:].replace(",", ""))
    chart = next(one for one in page.figure.axes if str(one.get_gid()) == "posts")
    (x0, _), (x1, _) = (chart.transData.transform(course[k]) for k in (0, 3))
    apart_mm = abs(float(x1 - x0)) / PER_MM
    assert apart_mm == pytest.approx(abs(course[3, 0] - course[0, 0]) * 1000 / scale, rel=1e-3)
