"""What a job is asked, and what it answers, can be sent to another process."""

from __future__ import annotations

import copy
import multiprocessing
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import pytest

from hillsight.frozen import FrozenMapping
from hillsight.ground.evidence import EvidenceTable
from hillsight.plan.observer import Observer
from hillsight.plan.statement import Picture, Sighting, Statement

STATEMENT = Statement("brow", {"distance": "near"}, "left third", "fairly sure", 7)
CROSSING = (
    STATEMENT,
    Sighting(Picture(title="Out on the ridge", looks_deg=40.0), (STATEMENT, STATEMENT), "a.toml"),
    Observer(slope_deg=4.0),
    EvidenceTable.load(),
)


def test_they_come_back_equal_from_a_process_of_its_own() -> None:
    """The process is started anew (spawn), as on every system that cannot fork."""
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as pool:
        returned = list(pool.map(copy.deepcopy, CROSSING, timeout=120))
    assert returned == list(CROSSING)
    assert returned[0].things == STATEMENT.things
    assert returned[3].class_of("trig pillars") == "man_made"


CHANGES = (lambda m: m.__setitem__("a", 2), lambda m: m.pop("a"), lambda m: m.update())


@pytest.mark.parametrize("change", CHANGES)
def test_a_frozen_mapping_cannot_be_changed(change: Any) -> None:
    given = {"a": 1}
    frozen = FrozenMapping(given)
    with pytest.raises((TypeError, AttributeError)):
        change(frozen)
    given["a"] = 3
    assert (dict(frozen), frozen["a"], len(frozen), "b" in frozen) == ({"a": 1}, 1, 1, False)
    assert frozen == {"a": 1} == FrozenMapping({"a": 1})
