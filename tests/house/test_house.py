"""No cycles, no borrowed private names, no options below scripts, nothing unused, nothing undeclared."""

from __future__ import annotations

import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from house import offenders
from house.source_code import (
    NAME,
    arrows,
    cycles,
    modules_of,
    option_words,
    option_words_in_strings,
    outside_packages,
    parsed,
    private_names_from_elsewhere,
    unused_names,
)

CHECKOUT = Path(__file__).parents[2]
PACKAGE = CHECKOUT / "processing" / "hillsight"
LONGEST_SCRIPT = 120
#: Test libraries that are run as programs, or by pytest itself.
PROGRAMS = {"mypy", "pytest-xdist", "ruff"}

MODULES = modules_of(PACKAGE)
PROJECT = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
SCRIPTS = {
    name: value
    for group, points in PROJECT["entry-points"].items()
    if group.split(".")[:2] == ["hillsight", "scripts"]
    for name, value in points.items()
}
ENTRY_POINTS = {*SCRIPTS.values(), *PROJECT["scripts"].values()}


def assert_only_listed(found: set[str], offenders_now: set[str]) -> None:
    """Nothing offends but what is listed, and everything listed still does: the list only gets shorter."""
    assert found - offenders_now == set(), "new ones"
    assert offenders_now - found == set(), "these are mended: take them off tests/house/offenders.py"


def distributions(requirements: list[str]) -> set[str]:
    return {re.split(r"[^\w.-]", one)[0].lower().replace("_", "-") for one in requirements}


def imported_distributions(paths: list[Path], our_own: set[str]) -> set[str]:
    """Projects that the files import from, by the name they are installed under."""
    projects = packages_distributions()
    found: set[str] = set()
    for path in paths:
        names = outside_packages(parsed("m", path.read_text(encoding="utf-8")), sys.stdlib_module_names)
        found |= {projects.get(name, [name])[0].lower().replace("_", "-") for name in names - our_own}
    return found


def test_no_module_comes_back_to_itself():
    assert_only_listed({" ".join(group) for group in cycles(arrows(MODULES))}, offenders.CYCLES)


def test_no_private_name_is_borrowed():
    found = {f"{m.name}: {one}" for m in MODULES.values() for one in private_names_from_elsewhere(m)}
    assert_only_listed(found, offenders.PRIVATE_NAMES)


def test_no_option_is_named_below_scripts():
    below = [m for m in MODULES.values() if not m.name.startswith((f"{NAME}.scripts", f"{NAME}.serving"))]
    assert_only_listed({m.name for m in below if option_words_in_strings(m)}, offenders.OPTION_WORDS)


def test_no_option_is_named_in_a_template():
    templates = [p for p in PACKAGE.rglob("*") if p.is_file() and p.suffix not in (".py", ".pyc", ".sld")]
    templates = [p for p in templates if "__pycache__" not in p.parts]
    assert {p.name: option_words(p.read_text(encoding="utf-8")) for p in templates} == {
        p.name: set() for p in templates
    }


def test_every_public_name_is_used():
    allowed = set(offenders.UNUSED_ON_PURPOSE)
    assert_only_listed(unused_names(MODULES, ENTRY_POINTS), offenders.UNUSED_NAMES | allowed)
    assert all(len(reason) > 20 for reason in offenders.UNUSED_ON_PURPOSE.values())


def test_what_is_imported_is_declared_and_what_is_declared_is_imported():
    declared = distributions(PROJECT["dependencies"])
    found = imported_distributions(sorted(PACKAGE.rglob("*.py")), set())
    # By the name of its module where it is not installed.
    groups = ("photographs", "batch", "cluster", "serve")
    extras = [one for name in groups for one in PROJECT["optional-dependencies"][name]]
    # pystac's own module is also told to be that of a part of it.
    chosen = distributions(extras) | {"pillow_heif", "pystac-ext-xarray-assets", "yaml"}
    assert_only_listed(found - declared - chosen, offenders.UNDECLARED)
    assert declared - found == set()


def test_what_the_tests_import_is_declared():
    folders = [CHECKOUT / folder for folder in ("tests", "docs", "demo_project")]
    paths = [path for folder in folders for path in folder.rglob("*.py")]
    own = {path.stem for path in paths} | {path.name for path in CHECKOUT.glob("*/*") if path.is_dir()}
    extras = PROJECT["optional-dependencies"]
    extra = distributions([one for extra in extras.values() for one in extra])
    found = imported_distributions(paths, own)
    # Not always installed, and then known by no project's name; two are asked for where a test begins.
    peers = {"axe-playwright-python", "gdal-wheel", "opencv-python-headless", "pillow-heif", "playwright"}
    peers |= {"xarray-spatial", "distributed", "pypdfium2", "pystac", "pygeoapi", "pyyaml"}
    known = extra | distributions(PROJECT["dependencies"]) | offenders.UNDECLARED
    # Where the peers are missing their projects have no name; a test makes a module of kernels; mapscript
    # comes with the operating system.
    assert (
        found
        - known
        - {"osgeo", "xrspatial", "xarray", "kernels", "mapscript", "pystac-ext-xarray-assets", "yaml"}
        == set()
    )
    assert extra - PROGRAMS - peers - found == set()


@pytest.mark.parametrize("script", SCRIPTS)
def test_scripts_only_parse_call_and_report(script):
    module = MODULES[SCRIPTS[script].split(":")[0]]
    length = module.path.read_text(encoding="utf-8").count("\n")
    if script in offenders.LONG_SCRIPTS:
        assert length > LONGEST_SCRIPT, "mended: take it off tests/house/offenders.py"
    else:
        assert length <= LONGEST_SCRIPT


# --- the checks themselves can fail -----------------------------------------------------------------------


def made(**sources: str):
    return {f"{NAME}.{name}": parsed(f"{NAME}.{name}", source) for name, source in sources.items()}


def test_a_cycle_is_found_inside_functions_and_for_type_checking():
    hidden = "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from hillsight.a import x\n"
    modules = made(
        a="def f():\n    from hillsight import b\n", b="import hillsight.c\n", c=hidden, d="import json"
    )
    assert cycles(arrows(modules)) == [["hillsight.a", "hillsight.b", "hillsight.c"]]
    assert cycles(arrows(made(a="from hillsight import b", b="import math"))) == []


def test_a_borrowed_private_name_is_found():
    borrowed = parsed(
        "hillsight.a", "from hillsight.b import _x\nfrom hillsight import c as d\nd._y()\nself._z\n"
    )
    assert private_names_from_elsewhere(borrowed) == {"hillsight.b._x", "hillsight.c._y"}
    assert private_names_from_elsewhere(parsed("m", "from numpy import _x\nself._y = __version__\n")) == set()


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("give --reach", {"--reach"}),
        ("`--eye-height`.", {"--eye-height"}),
        ("(--reach NUMBER)", {"--reach"}),
        ("var(--ink)", set()),
        (":root { --ink: #222; --paper : white }", set()),
        ("a -- b --- c", set()),
        ("<!-- note -->", set()),
    ],
)
def test_options_are_told_from_variables_of_style_sheets(text, found):
    assert option_words(text) == found


def test_an_option_in_an_f_string_is_found():
    assert option_words_in_strings(parsed("m", 'x = f"{y} is too far: give --reach {z}"')) == {"--reach"}


def test_an_unused_name_is_found():
    modules = made(
        a="def used(): ...\ndef unused(): unused()\nLIMIT = 1\nKIND = 2\nclass Told: ...\ntype Old = int\n",
        b="from hillsight import a\nfrom hillsight.a import used\nx = a.LIMIT\nfor m in ms: m.KIND\n",
    )
    always = {"hillsight.a:Told", "hillsight.a:Old"}
    assert unused_names(modules) == {"hillsight.a:unused", "hillsight.b:x", *always}
    assert unused_names(modules, {"hillsight.a:unused", "hillsight.b:x"}) == always
