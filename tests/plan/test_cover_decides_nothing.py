"""What only trees and walls hide decides no verdict: it may take a decision away."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import geopandas
import pytest
import shapely

import verdicts
from hillsight.jobs.relocate import relocate
from hillsight.plan.relocation.over_bare_ground import held_to_bare_ground
from hillsight.plan.verdict import Verdict
from jobs.worlds import FAR, NEAR, world


def verdict(state: str, best: str) -> Verdict:
    shares = (0.97, 0.01) if best == "A" else (0.01, 0.97)
    candidates = tuple(
        verdicts.candidate(name, 0, 100 * k, share, 1 if name == best else 2)
        for k, (name, share) in enumerate(zip(("A", "B"), shares, strict=True))
    )
    return replace(verdicts.verdict(), state=state, candidates=candidates, cautions=("as before",))


@pytest.mark.parametrize("bare", [("undecided", "A"), ("decided", "B"), ("none_fits", "A")])
def test_a_decision_that_the_bare_ground_does_not_bear_out_is_taken_away(bare: tuple[str, str]) -> None:
    held = held_to_bare_ground(verdict("decided", "A"), verdict(*bare))
    assert held.state == "undecided"
    assert held.headline.startswith("Undecided")
    assert held.cautions[0] == "as before"
    assert "with the cover given it would be decided for A" in held.cautions[-1]
    assert "cover decides nothing" in held.cautions[-1]


def test_none_fits_by_cover_alone_is_undecided_too() -> None:
    held = held_to_bare_ground(verdict("none_fits", "A"), verdict("decided", "A"))
    assert held.state == "undecided"
    assert "none of the places fits" in held.cautions[-1]


def test_cover_may_take_a_decision_away_but_make_none() -> None:
    held = held_to_bare_ground(verdict("undecided", "A"), verdict("decided", "B"))
    assert held.state == "undecided"
    assert "by the bare ground it would be decided for B" in held.cautions[-1]


@pytest.mark.parametrize("state", ["decided", "none_fits", "undecided"])
def test_where_both_say_the_same_it_stands(state: str) -> None:
    before = verdict(state, "A")
    held = held_to_bare_ground(before, verdict(state, "A"))
    assert (held.state, held.candidates, held.headline) == (state, before.candidates, before.headline)
    assert len(held.cautions) == 2


def test_relocate_holds_its_verdict_to_the_bare_ground(tmp_path: Path) -> None:
    place = world(tmp_path / "world")
    wood = geopandas.GeoDataFrame(
        {"kind": ["conifer plantation"], "cover_height_m": [30.0]},
        geometry=[shapely.box(300_700, 698_700, 300_900, 698_800)],
        crs=27700,
    )
    asked = {
        "features": place / "features.gpkg",
        "reach": 1_500.0,
        "terrain_error": 1.0,
        "at": (NEAR, FAR),
        "sighting": place / "sighting.toml",
        "elsewhere": 5,
        "elsewhere_within": 400.0,
    }
    bare = relocate(place / "ground.tif", **asked)
    covered = relocate(place / "ground.tif", **asked, cover=wood)
    said = [text for text in covered.notes if "cover" in text and "bare ground" in text]
    assert said
    assert not any("bare ground" in text for text in bare.notes)
    assert covered.verdict.state != "decided" or covered.verdict.best.station == bare.verdict.best.station
    assert any("as the cover given tells them" in text for text in covered.notes)
    assert any("are not modelled" in text for text in bare.notes)
