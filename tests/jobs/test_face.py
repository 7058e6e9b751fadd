"""``import hillsight`` is quick and has every script as a function, with its options' names and defaults."""

from __future__ import annotations

import inspect
import subprocess
import sys
from typing import Any

import click
import pytest

import hillsight

from scripts.commands import SCRIPTS, command_of, function_name  # isort: skip

#: Options about the terminal alone: what is printed, and how.
TERMINAL = {"quiet", "show_hidden", "most", "prose", "as_json"}

#: Of these nothing comes but files, so Python is asked where to write too.
FILES_ALONE = {"batch", "sheet", "exercise print"}

HEAVY = {
    "numba",
    "numpy",
    "pandas",
    "geopandas",
    "matplotlib",
    "rasterio",
    "pyogrio",
    "pyproj",
    "scipy",
    "shapely",
    "click",
}


def loaded_after(code: str) -> set[str]:
    """Top-level modules that are loaded once the code has run."""
    shown = f"{code}\nimport sys\nprint(*sorted({{name.partition('.')[0] for name in sys.modules}}))"
    ended = subprocess.run(
        [sys.executable, "-c", shown], capture_output=True, encoding="utf-8", timeout=60, check=True
    )
    return set(ended.stdout.split())


def test_importing_it_loads_nothing_heavy() -> None:
    loaded = loaded_after("import hillsight; hillsight.__version__; dir(hillsight)")
    assert "hillsight" in loaded
    assert not loaded & HEAVY
    # The list would find them: a function needs what it works with.
    assert {"numpy", "pyproj"} <= loaded_after("import hillsight; hillsight.outlook")


def test_functions_load_nothing_to_draw_with_until_they_draw() -> None:
    loaded = loaded_after("import hillsight; hillsight.outlook; hillsight.relocate; hillsight.describe")
    assert not loaded & {"matplotlib", "rich", "jinja2"}


def test_every_script_is_a_function() -> None:
    for name in SCRIPTS:
        function = getattr(hillsight, function_name(name))
        assert inspect.isfunction(function), name
        assert function.__module__.startswith("hillsight.jobs."), name
    assert {function_name(name) for name in SCRIPTS} <= set(dir(hillsight))


def test_all_names_are_there_and_no_others() -> None:
    for name in hillsight.__all__:
        assert getattr(hillsight, name) is not None
        assert getattr(hillsight, name).__doc__ or name == "__version__"
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = hillsight.no_such_name  # type: ignore[attr-defined]


def options_of(name: str) -> dict[str, click.Parameter]:
    command = command_of(name)
    return {
        str(option.name): option
        for option in command.params
        if option.expose_value and option.name not in TERMINAL
    }


def defaults_of(name: str) -> dict[str, Any]:
    """What a command hands on where no option is given that need not be."""
    command = command_of(name)
    needed = [
        word
        for option in command.params
        if option.required
        for word in ((option.opts[0], "something") if isinstance(option, click.Option) else ("something",))
    ]
    return command.make_context(name, needed).params


def positional_of(name: str) -> set[str]:
    """Names of what a command is given without an option's name."""
    return {str(one.name) for one in command_of(name).params if isinstance(one, click.Argument)}


@pytest.mark.parametrize("name", SCRIPTS)
def test_parameters_are_the_options(name: str) -> None:
    parameters = dict(inspect.signature(getattr(hillsight, function_name(name))).parameters)
    listener = parameters.pop("listener", None)
    assert listener is not None or name == "doctor"
    options, defaults = options_of(name), defaults_of(name)
    assert set(parameters) == set(options)
    for key, parameter in parameters.items():
        if key == "out" and options[key].required and name not in FILES_ALONE:
            assert parameter.default is None, "files are written only when they are asked for"
        elif options[key].required:
            assert parameter.default is inspect.Parameter.empty, key
        else:
            assert parameter.default == defaults[key], key
            assert type(parameter.default) is type(defaults[key]), key
        assert parameter.annotation is not inspect.Parameter.empty, key
        positional = parameter.kind is inspect.Parameter.POSITIONAL_OR_KEYWORD
        # An exercise or a plan names its terrain itself: another is an option among others.
        is_terrain = key == "terrain" and not {"exercise", "plan"} & positional_of(name)
        assert positional == (is_terrain or isinstance(options[key], click.Argument)), key


def test_a_default_that_drifts_is_found() -> None:
    """The comparison above sees a changed default, a missing name and one too many."""
    assert defaults_of("outlook")["reach"] == 10_000.0 != 10_001.0
    assert "quiet" in defaults_of("outlook")
    assert "quiet" not in options_of("outlook")
