"""The house stands as DEVELOPERS.md says: imports run down, modules stay short, words stay in their place."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "processing" / "hillsight"
FLOORS = {
    "words": 0,
    "schema": 1,
    "ground": 2,
    "kernels": 3,
    "sight": 4,
    "landform": 4,
    "reading": 5,
    "plan": 6,
    "layers": 7,
    "sheets": 8,
    "jobs": 9,
    "scripts": 10,
}
MODULES = sorted(PACKAGE.rglob("*.py"))
LONGEST_LINES = 420


def imported_rooms(source: str) -> set[str]:
    """Rooms that a module imports from, also inside functions and for type checking."""
    rooms = set()
    for node in ast.walk(ast.parse(source)):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        rooms |= {n.split(".")[1] for n in names if n.startswith("hillsight.") and n.count(".") >= 1}
    return rooms & set(FLOORS)


def at_run_time(source: str) -> str:
    """The source without what is there for type checking alone."""
    tree = ast.parse(source)
    tree.body = [n for n in tree.body if not (isinstance(n, ast.If) and "TYPE_CHECKING" in ast.dump(n.test))]
    return ast.unparse(tree)


def upward(room: str, source: str) -> set[str]:
    """Rooms on the same floor or above, other than its own, that a module of a room imports from."""
    return {r for r in imported_rooms(source) if r != room and FLOORS[r] >= FLOORS[room]}


@pytest.mark.parametrize("module", MODULES, ids=lambda m: str(m.relative_to(PACKAGE)))
def test_imports_run_down(module):
    room = module.relative_to(PACKAGE).parts[0]
    source = module.read_text(encoding="utf-8")
    if module == PACKAGE / "__init__.py":
        assert imported_rooms(source) == {"jobs"}, "what Python sees are the jobs"
        assert imported_rooms(at_run_time(source)) == set(), "they are loaded when they are first used"
        return
    if room not in FLOORS:
        assert imported_rooms(source) == set(), "what stands beside the rooms stands below them all"
        return
    above = upward(room, source)
    assert above == set()


def test_an_upward_import_is_found():
    assert upward("sight", "def f():\n    from hillsight.reading.view import View\n") == {"reading"}
    assert upward("layers", "from hillsight.sheets import palette\n") == {"sheets"}
    assert upward("reading", "import hillsight.ground.grid\nimport numpy\n") == set()
    checked = "if TYPE_CHECKING:\n    from hillsight.jobs.demo import demo\n"
    assert imported_rooms(at_run_time(checked)) == set()
    assert imported_rooms(at_run_time("from hillsight.jobs.demo import demo\n")) == {"jobs"}


@pytest.mark.parametrize("module", MODULES, ids=lambda m: str(m.relative_to(PACKAGE)))
def test_modules_are_short_and_say_what_they_are(module):
    source = module.read_text(encoding="utf-8")
    assert source.count("\n") <= LONGEST_LINES
    assert ast.get_docstring(ast.parse(source)), "a module begins with what it is for"


def test_only_scripts_know_the_command_line():
    for module in MODULES:
        if module.relative_to(PACKAGE).parts[0] != "scripts":
            tree = ast.parse(module.read_text(encoding="utf-8"))
            names = {
                alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names
            }
            names |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
            assert not names & {"click", "argparse", "rich"}, module.name


def test_kernels_know_no_files_and_no_reference_systems():
    for module in (PACKAGE / "sight").glob("*.py"):
        tree = ast.parse(module.read_text(encoding="utf-8"))
        names = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module}
        names |= {
            alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names
        }
        assert not {n.split(".")[0] for n in names} & {
            "rasterio",
            "pyproj",
            "geopandas",
            "pyogrio",
            "shapely",
        }
