"""The photograph with the terrain laid over it: lines where the camera shows them, texts that keep apart."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from drawn import busy_view
from hillsight.plan.picture.camera import Camera, Lens
from hillsight.sheets.panorama.picture import North
from hillsight.sheets.paper import palette
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.picture.overlay import OverlayThings, ShownMark, ShownPick, draw_overlay

CAMERAS = {
    "level": Camera(Lens(1600, 1000, 1500.0), 40.0),
    "rolled": Camera(Lens(1200, 1600, 1400.0, radial=-0.05), 300.0, -3.0, 8.0),
    "small": Camera(Lens(400, 300, 380.0), 150.0, 2.0, -5.0),
}
SKY = (120, 150, 190)


def photograph(camera: Camera) -> np.ndarray:
    return np.full((camera.lens.height_px, camera.lens.width_px, 3), SKY, np.uint8)


def things(camera: Camera) -> OverlayThings:
    lens = camera.lens
    x, y = lens.width_px / 2, lens.height_px / 2
    ring = np.column_stack((x + 30 * np.cos(np.arange(0, 7, 0.3)), y + 9 * np.sin(np.arange(0, 7, 0.3))))
    return OverlayThings(
        marks=(
            ShownMark("One", x - 100, y, x - 98, y + 1, True),
            ShownMark("Two", x + 100, y - 20, np.nan, np.nan, False),
        ),
        traces=(np.column_stack((np.linspace(20, 300, 20), np.full(20, y))),),
        picks=(ShownPick("pick 1", x, y, ring), ShownPick("pick 2", lens.width_px - 3, 5.0, None)),
        told=("Pick 1 (1,2): told here, with words enough to take a line of their own on the page.",) * 3,
    )


@pytest.fixture(scope="module", params=CAMERAS)
def page(request):
    camera = CAMERAS[request.param]
    view = busy_view(left_deg=camera.heading_grid_deg - 45.0, span_deg=90.0)
    words = ["A sentence on the camera that took this, its heading and how it was held. " * 3]
    made = draw_overlay(
        photograph(camera), camera, view, North("true", 0.0), "The photograph, if it is from Here", words,
        "Terrain made.", things(camera),
    )  # fmt: skip
    return camera, view, made


def test_no_text_overlaps_another_or_leaves_the_page(page) -> None:
    _, _, made = page
    whole = Box(0, 0, made.width, made.height)
    assert len(made.texts) > 25
    assert [text for text, box in made.texts if not box.within(whole)] == []
    apart = [(a, b) for (a, one), (b, other) in combinations(made.texts, 2) if one.overlaps(other, -1.0)]
    assert apart == []


def test_the_skyline_is_drawn_where_the_camera_shows_it(page) -> None:
    camera, view, made = page
    shown = made.pixels().astype(int)
    # The photograph is one colour: its place on the page is where that colour is.
    rows, columns = np.nonzero(np.abs(shown - np.array(SKY)).max(axis=-1) <= 1)
    top, bottom, left, right = rows.min(), rows.max(), columns.min(), columns.max()
    scale = (right - left + 1) / camera.lens.width_px
    assert scale == pytest.approx((bottom - top + 1) / camera.lens.height_px, rel=0.01)
    x, y = camera.pixels(view.fan.bearing_grid_deg, view.fan.sky_deg)
    inside = (x > 30) & (x < camera.lens.width_px - 30) & (y > 30) & (y < camera.lens.height_px - 30)
    assert inside.sum() > 30

    def inked(higher_px: int) -> float:
        """Share of the skyline's places with ink within two pixels; an open skyline has gaps."""
        found = [
            shown[
                int(top + b * scale) - higher_px - 2 : int(top + b * scale) - higher_px + 3,
                int(left + a * scale),
            ]
            for a, b in zip(x[inside], y[inside], strict=True)
        ]
        return float(np.mean([one.max(axis=-1).min() < 110 for one in found]))

    assert inked(0) > 0.7
    assert inked(14) < 0.35


def test_legend_and_words_say_what_is_drawn(page) -> None:
    _, _, made = page
    texts = [text for text, _ in made.texts]
    assert "landmark as marked" in texts
    assert any(text.startswith("residual, drawn") for text in texts)
    assert {"mark left out", "line as traced", "picked pixel", "where its ground may be, 95 %"} <= set(texts)
    assert any("from true north along the lower edge" in text for text in texts)
    assert {"pick 1", "pick 2"} <= set(texts)


def test_a_stick_is_as_many_times_as_long_as_the_legend_says() -> None:
    camera = CAMERAS["level"]
    view = busy_view(left_deg=0.0, span_deg=90.0)
    mark = ShownMark("One", 400.0, 900.0, 406.0, 900.0, True)
    made = draw_overlay(
        photograph(camera), camera, view, North("true", 0.0), "T", [], "F", OverlayThings(marks=(mark,))
    )
    # 6 px at the page's scale of 1 (1,600 px wide): ten times is 60, the most within 70.
    assert any(text == "residual, drawn 10 times as long" for text, _ in made.texts)
    shown = made.pixels().astype(int)
    rows, columns = np.nonzero(np.abs(shown - np.array(SKY)).max(axis=-1) <= 1)
    colour = np.array([int(palette.MAN_MADE[i : i + 2], 16) for i in (1, 3, 5)])
    brick = np.nonzero(np.abs(shown[rows.min() + 900, :] - colour).max(axis=-1) < 12)[0] - columns.min()
    assert brick.max() == pytest.approx(460, abs=4)


def test_a_bare_overlay_has_neither_marks_nor_picks() -> None:
    camera = CAMERAS["level"]
    view = busy_view(left_deg=0.0, span_deg=90.0)
    made = draw_overlay(photograph(camera), camera, view, North("true", 0.0), "T", [], "F")
    assert not {"landmark as marked", "picked pixel", "line as traced"} & {text for text, _ in made.texts}
