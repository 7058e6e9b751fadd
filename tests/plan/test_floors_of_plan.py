"""Inside ``plan`` imports run down: what is said, seen, weighed, decided, then what is planned."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PLAN = Path(__file__).parents[2] / "processing" / "hillsight" / "plan"
FLOORS = (
    "look",
    "kinds/shared",
    "kinds",
    "weighing",
    "sighting",
    "relocation",
    "search",
    "exercise",
    "posts",
)
MODULES = sorted(PLAN.rglob("*.py"))


def floor_of(dotted: str) -> int:
    """Floor of a module given from ``plan`` on: 0 for those that lie in no folder."""
    path = dotted.replace(".", "/")
    folders = [n for n, folder in enumerate(FLOORS, 1) if path.startswith(f"{folder}/")]
    return min(folders, default=0) if "kinds/shared/" in path else max(folders, default=0)


def imported(source: str) -> set[str]:
    """Modules of ``plan`` that are imported from, also inside functions and for type checking."""
    names = {node.module for node in ast.walk(ast.parse(source)) if isinstance(node, ast.ImportFrom)}
    return {n.removeprefix("hillsight.plan.") for n in names if n and n.startswith("hillsight.plan.")}


@pytest.mark.parametrize("module", MODULES, ids=lambda m: str(m.relative_to(PLAN)))
def test_imports_inside_plan_run_down(module: Path) -> None:
    own = floor_of(str(module.relative_to(PLAN).with_suffix("")))
    above = {name for name in imported(module.read_text(encoding="utf-8")) if floor_of(name) > own}
    assert above == set()


def test_floors_are_told_apart() -> None:
    names = ("statement", "look.glance", "kinds.shared.kind", "kinds.brow", "weighing.facts", "sighting.file")
    assert [floor_of(name) for name in names] == [0, 1, 2, 3, 4, 5]
    assert imported("def f():\n    from hillsight.plan.relocation.lattice import x\n") == {
        "relocation.lattice"
    }
