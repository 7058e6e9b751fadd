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
    "serving": 11,
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


def outside_the_stamp(room: str, source: str) -> set[str]:
    """Modules of the package whose change leaves a room's compiled code on disk in use.

    ``kernels.compiled`` stamps that code with the room's own sources and those of ``kernels`` and ``words``.
    ``hillsight.arrays`` names types only, which compile into nothing.
    """
    imported = set()
    for node in ast.walk(ast.parse(at_run_time(source))):
        if isinstance(node, ast.ImportFrom) and node.module:
            base = node.module
            imported |= {f"hillsight.{a.name}" for a in node.names} if base == "hillsight" else {base}
        elif isinstance(node, ast.Import):
            imported |= {alias.name for alias in node.names}
    ours = {name for name in imported if name.split(".")[0] == "hillsight"}
    stamped = {room, "kernels", "words"}
    return {n for n in ours if n != "hillsight.arrays" and (n.split(".")[1:2] or [""])[0] not in stamped}


def compiles(source: str) -> bool:
    """Whether a module holds a kernel."""
    marks = {"compiled", "compiled_without_nan", "inlined"}
    functions = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.FunctionDef)]
    return any(isinstance(d, ast.Name) and d.id in marks for f in functions for d in f.decorator_list)


def test_kernels_use_only_what_their_code_on_disk_is_stamped_with():
    sources = {module.relative_to(PACKAGE): module.read_text(encoding="utf-8") for module in MODULES}
    kernels = {module: source for module, source in sources.items() if compiles(source)}
    assert Path("kernels/corners.py") in kernels
    assert Path("sight/sweep.py") in kernels
    outside = {str(m): outside_the_stamp(m.parts[0], source) for m, source in kernels.items()}
    assert {module: names for module, names in outside.items() if names} == {}


def test_an_import_outside_the_stamp_is_found():
    assert outside_the_stamp("sight", "from hillsight.ground.grid import Grid\n") == {"hillsight.ground.grid"}
    assert outside_the_stamp("sight", "from hillsight import errors\n") == {"hillsight.errors"}
    assert outside_the_stamp("sight", "from hillsight.words.posts import ON_LINE\n") == set()
    assert compiles("@inlined\ndef f(x: float) -> float:\n    return x\n")


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
