"""The page of an exercise in a real browser: by mouse, by keys alone, at three widths, on paper."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from sheets.exercise_pages import HOSTILE, TRUTH, Working, exercise, opened
from sheets.mark_pages import browser

__all__ = ["browser"]

WIDTHS = (360, 768, 1280)


def answered(working: Working, letter: str, *numbers: int) -> Any:
    page = working.page
    page.locator(f"input[name=place][value={letter}]").check()
    for number in numbers:
        page.locator(f"input[name=reason][value='{number}']").check()
    page.get_by_role("button", name="Show the answer").click()
    page.wait_for_selector("[data-state=answer]")
    return page


@pytest.mark.parametrize("width_px", WIDTHS)
def test_it_fits_the_window_and_asks_for_nothing(browser: Any, tmp_path: Path, width_px: int) -> None:
    """WCAG 2.2, 1.4.10 (no sideways scrolling) and 2.5.8 (targets of 24 px), from memory."""
    working = opened(browser, tmp_path, exercise(photograph=True), width_px)
    for step in ("question", "answer"):
        page = working.page if step == "question" else answered(working, "C", 1)
        assert page.evaluate("document.documentElement.scrollWidth") <= width_px
        outside = page.evaluate(
            """() => [...document.querySelectorAll('main *')].filter((e) => e.checkVisibility() &&
            !e.closest('svg > *') && e.getBoundingClientRect().right > innerWidth + 0.5)
            .map((e) => e.outerHTML)"""
        )
        assert outside == []
        small = page.evaluate(
            """() => [...document.querySelectorAll('button, .choice, .stand label')].filter((e) =>
            e.checkVisibility() && Math.min(e.getBoundingClientRect().height,
            e.getBoundingClientRect().width) < 24).map((e) => e.outerHTML)"""
        )
        assert small == []
        # Numbers and letters on the pictures are as large on a phone as on a desk.
        sizes = page.evaluate(
            "[...document.querySelectorAll('.place circle')].map((e) => e.getBoundingClientRect().width)"
        )
        assert sizes == pytest.approx([26] * 3, abs=3)
    assert [url for url in working.asked if not url.startswith(("file:", "data:"))] == []
    assert working.faults == []


def numbers_apart(page: Any) -> list[list[float]]:
    found: list[list[float]] = page.evaluate(
        """() => [...document.querySelectorAll('#map .ring')].map((e) => {
        const b = e.getBoundingClientRect();
        return [b.x + b.width / 2, b.y + b.height / 2, b.width / 2]; })"""
    )
    return found


@pytest.mark.parametrize("width_px", WIDTHS)
def test_numbers_on_the_map_do_not_lie_on_each_other(browser: Any, tmp_path: Path, width_px: int) -> None:
    page = answered(opened(browser, tmp_path, exercise(), width_px), "B")
    rings = numbers_apart(page)
    assert len(rings) == 5
    for i, (x, y, radius) in enumerate(rings):
        for other_x, other_y, other in rings[:i]:
            assert ((x - other_x) ** 2 + (y - other_y) ** 2) ** 0.5 >= radius + other - 1


def test_the_answer_comes_with_the_pick_and_not_before(browser: Any, tmp_path: Path) -> None:
    working = opened(browser, tmp_path, exercise(), 1280)
    page = working.page
    page.get_by_role("button", name="Show the answer").click()
    assert "Pick a place first" in page.locator("#missing").inner_text()
    assert page.evaluate("document.activeElement.name") == "place"
    for words in ("shelf", "Brock Knott", "58 m", "simulated"):
        assert words not in page.locator("body").inner_text()
        assert words not in page.evaluate("document.body.innerHTML")
    answered(working, "C", 1, 4)
    assert page.locator("#verdict-head").inner_text() == "Not C: the picture was taken from B (shelf)."
    assert page.evaluate("document.activeElement.id") == "verdict-head"
    # 3 for what decides, 1 off for what is not so, of 3 + 2 + 2.
    assert page.locator("#verdict-worth").inner_text() == "Your reasons are worth 2 of 7."
    assert "From C the ground turns out of view too near." in page.locator("#verdict-against").inner_text()
    assert page.locator(".is-ticked").count() == 2
    order = page.locator("#answer").inner_text()
    places = [order.index(words) for words in (
        "Ground shape", "turns out of view at about 60 m", "skyline falls", "\nWater\n", "tarn is left",
        "True of every place: it tells nothing", "Not so in the picture", "Mistakes to expect",
    )]  # fmt: skip
    assert places == sorted(places)
    page.get_by_role("button", name="Begin again").click()
    page.wait_for_selector("[data-state=question]")
    assert page.locator("input:checked").count() == 0


def test_a_right_answer_is_told_so(browser: Any, tmp_path: Path) -> None:
    page = answered(opened(browser, tmp_path, exercise(), 768), TRUTH)
    assert page.locator("#verdict-head").inner_text() == "Right: the picture was taken from B (shelf)."
    assert "You ticked no reason: they would be worth 7" in page.locator("#verdict-worth").inner_text()
    assert page.locator("#verdict-against").inner_text() == ""


def lit(page: Any) -> dict[str, list[str]]:
    """What is lit in the picture, on the map and in the list."""
    found: dict[str, list[str]] = page.evaluate(
        """() => Object.fromEntries([['view', '#view .spot.lit'], ['map', '#map .spot.lit'],
        ['list', '.row.lit'], ['rims', '.trace.lit'], ['reasons', '.point.lit']].map(([name, where]) =>
        [name, [...document.querySelectorAll(where)].filter((e) => e.getClientRects().length)
        .map((e) => e.dataset.landmark || e.dataset.reason)]))"""
    )
    return found


def test_what_is_pointed_at_lights_up_everywhere(browser: Any, tmp_path: Path) -> None:
    page = answered(opened(browser, tmp_path, exercise(), 1280), "B")
    for where in ("#map", "#view"):
        page.locator(f"{where} .spot[data-landmark='2'] .ring").hover()
        assert lit(page) == {"view": ["2"], "map": ["2"], "list": ["2"], "rims": [], "reasons": []}
        assert re.search(r"Cold Howe.*140° true", page.locator("#lit").inner_text())
        page.mouse.move(5, 5)
        assert lit(page)["map"] == [] and not page.locator("#lit").is_visible()
    page.locator(".row:visible", has_text="Brock Knott").click()
    page.mouse.move(5, 5)
    assert lit(page)["view"] == ["1"], "a click keeps it lit"
    page.keyboard.press("Escape")
    assert lit(page)["view"] == []
    # A reason lights its line in both pictures, and the landmarks that it is about.
    page.locator(".point", has_text="turns out of view at about 60 m").hover()
    assert lit(page)["rims"] == ["1", "1"]
    page.locator("#map").scroll_into_view_if_needed()
    middle = page.evaluate(
        """() => { const line = document.querySelector('#map g.from:not([hidden]) .trace .rim');
        const at = line.getPointAtLength(line.getTotalLength() / 2).matrixTransform(line.getScreenCTM());
        return [at.x, at.y]; }"""
    )
    page.mouse.move(middle[0], middle[1])
    assert lit(page)["reasons"] == ["1"]
    page.locator(".point", has_text="tarn is left").hover()
    assert sorted(lit(page)["map"]) == ["1", "4"]


def test_another_place_can_be_looked_at(browser: Any, tmp_path: Path) -> None:
    page = answered(opened(browser, tmp_path, exercise(), 1280), "C")
    dead = "#map image.dead:not([hidden])"
    true_wash = page.locator(dead).get_attribute("href")
    assert page.locator("figure.from:visible").count() == 0, "the picture is what B shows"
    page.get_by_role("radio", name="A", exact=True).check(force=True)
    assert page.locator(dead).get_attribute("href") != true_wash
    assert "What A shows" in page.locator("figure.from:visible").inner_text()
    assert page.get_by_role("heading", name="From A").is_visible()
    page.locator("#map .place[data-place=C]").click()
    assert "What C shows" in page.locator("figure.from:visible").inner_text()


def test_by_keyboard_alone(browser: Any, tmp_path: Path) -> None:
    """WCAG 2.2, 2.1.1, 2.4.3, 2.4.7 and 2.4.11 (from memory)."""
    page = opened(browser, tmp_path, exercise(), 768).page
    keys = page.keyboard
    keys.press("Tab")
    assert page.evaluate("document.activeElement.name") == "place"
    keys.press("Space")
    keys.press("ArrowDown")
    keys.press("ArrowDown")
    assert page.locator("input[name=place]:checked").input_value() == "C"
    keys.press("Tab")
    keys.press("Space")
    for _ in range(5):
        keys.press("Tab")
    assert page.evaluate("document.activeElement.type") == "submit"
    keys.press("Enter")
    page.wait_for_selector("[data-state=answer]")
    assert page.evaluate("document.activeElement.id") == "verdict-head"
    seen = []
    for _ in range(40):
        keys.press("Tab")
        at = page.evaluate(
            """() => { const e = document.activeElement; const b = e.getBoundingClientRect();
            const s = getComputedStyle(e);
            const bar = document.getElementById('lit').getBoundingClientRect();
            return { id: e.closest('svg')?.id || e.name || e.className || e.id, y: b.y, bottom: b.bottom,
            outline: s.outlineStyle !== 'none' || e.matches('.spot') || e.name === 'stand',
            free: b.top >= 0 && b.top < innerHeight && !(bar.height && b.top >= bar.top) }; }"""
        )
        if at["id"] in ("", "view") and seen and seen[-1] != "view":
            break
        assert at["outline"] and at["free"], at
        if not seen or seen[-1] != at["id"]:
            seen.append(at["id"])
        if at["id"] == "view":
            assert lit(page)["view"] == ["1"]
            keys.press("ArrowRight")
            assert lit(page)["map"] == ["2"]
            keys.press("Enter")
            keys.press("End")
            keys.press("Escape")
            assert lit(page)["map"] == []
    kinds = [one.split()[0] for one in seen]
    assert kinds[:2] == ["view", "map"] and "stand" in kinds and "row" in kinds and "point" in kinds
    assert kinds.index("stand") < kinds.index("row") < kinds.index("point")


@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width_px", WIDTHS)
def test_a_checker_of_access_finds_nothing(browser: Any, tmp_path: Path, width_px: int, scheme: str) -> None:
    """axe-core (Deque, MPL-2.0): its rules for WCAG 2.2 A and AA and for good practice."""
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    ).Axe()
    working = opened(browser, tmp_path, exercise(photograph=True), width_px, color_scheme=scheme)
    for step in ("question", "answer"):
        page = working.page if step == "question" else answered(working, "A", 2)
        if step == "answer":
            page.get_by_role("radio", name="C", exact=True).check(force=True)
        found = axe.run(page).response
        assert found["passes"], "it looked"
        assert [(one["id"], one["impact"], one["nodes"][0]["html"]) for one in found["violations"]] == []


def test_hostile_names_run_nothing(browser: Any, tmp_path: Path) -> None:
    working = opened(browser, tmp_path, exercise(names=HOSTILE), 768)
    page = answered(working, "C", 1)
    assert page.title() == HOSTILE[1]
    assert page.locator("h1").inner_text() == HOSTILE[1]
    assert HOSTILE[0] in page.locator("#verdict-head").inner_text()
    assert HOSTILE[0] in page.locator("#answer").inner_text()
    rows = page.locator(".row").all_text_contents()
    assert any("</script><b>O'Brien & Söhne</b> {{ 7 * 7 }} ${1}" in row for row in rows)
    assert page.locator("img, b > b, h1 b").count() == 0
    assert working.faults == []


def test_without_a_program_it_is_a_question_sheet(browser: Any, tmp_path: Path) -> None:
    from hillsight.sheets.exercise.page import exercise_html

    file = tmp_path / "exercise.html"
    file.write_text(exercise_html(exercise()), encoding="utf-8")
    page = browser.new_context(java_script_enabled=False).new_page()
    page.goto(file.as_uri())
    assert "Without JavaScript" in page.locator("noscript").first.inner_text()
    assert page.locator(".choice").count() == 8 and page.locator("#map .place").count() == 3


def pages_printed(page: Any) -> int:
    content: bytes = page.pdf(prefer_css_page_size=True)
    return len(re.findall(rb"/Type\s*/Page\b", content))


def test_it_prints_on_few_sheets(browser: Any, tmp_path: Path) -> None:
    working = opened(browser, tmp_path, exercise(), 1280)
    assert pages_printed(working.page) <= 2
    assert pages_printed(answered(working, "C", 1)) <= 4
