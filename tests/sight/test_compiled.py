"""How the kernels are run: compiled, as plain Python, and from a cache that must not be stale."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import numba
import pytest

import hillsight
import terrains
from hillsight.kernels import compiled as compiling
from hillsight.sight import answers, broken, fan, field, horizon, rows, sweep

SIGHT = Path(sweep.__file__).parent

PLAIN = """
import sys
import numpy as np
import numba
assert numba.config.DISABLE_JIT == (sys.argv[2] == "plain")
sys.path.insert(0, sys.argv[1])
import terrains
from hillsight.sight.many import count_visible
from hillsight.sight.posts import see_posts, see_states
from hillsight.sight.viewing import Eye
from views import surface_of
for voids in (False, True):
    height_m = terrains.fractal(22, 27, seed=4, relief_m=60.0)
    height_m = terrains.with_voids(height_m, seed=4, share=0.03) if voids else height_m
    surface = surface_of(height_m, 10.0, 7.0)
    eyes = [Eye(8.3, 11.6, 45.0, 6.8e-8), Eye(5.0, 20.0, 50.0), Eye(-3.0, 4.0, 70.0, -1e-6)]
    for eye in eyes:
        told = see_states(surface, eye, 250.0, [0.0, 5.0])
        print("".join(map(str, told.ravel())))
        clearance_m = see_posts(surface, eye, 250.0).clearance_m
        print("".join("?" if c != c else "v" if c >= 0 else "h" for c in clearance_m.ravel()))
    print(count_visible(surface, eyes, 90.0).ravel().tolist())
"""


def _told(how):
    """What a fresh process prints, with or without compiled kernels; warnings do not count."""
    package = str(Path(hillsight.__file__).parents[1])
    environment = {**os.environ, "PYTHONPATH": package, "NUMBA_DISABLE_JIT": "1" if how == "plain" else "0"}
    tests = str(Path(terrains.__file__).parent)
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", PLAIN, tests, how],
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def test_without_compilation_the_kernels_say_the_same():
    plain = _told("plain")
    assert all(code in plain for code in "0134v?h")
    assert plain == _told("compiled")


@pytest.fixture
def room(tmp_path, monkeypatch):
    """A room of two modules of kernels, one of which calls the other, cached beside themselves."""
    if not hasattr(numba.core.caching, "IndexDataCacheFile"):
        pytest.skip("this numba keeps compiled code in another way")
    monkeypatch.setattr(compiling, "numba_cache_usable", lambda: True)
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path / "cache"))
    compiling._room_stamp.cache_clear()
    yield tmp_path
    compiling._room_stamp.cache_clear()


def _written(path, text, time_ns):
    path.write_text(text)
    os.utime(path, ns=(time_ns, time_ns))


def _called(room, by, inner):
    """What the outer kernel answers in a fresh import, after the inner one was written anew."""
    imports = "from hillsight.kernels.compiled import compiled\n" if by == "compiled" else ""
    decorator = "@compiled" if by == "compiled" else "@numba.njit(cache=True)"
    _written(
        room / "inner.py", f"import numba\n{imports}\n{decorator}\ndef told():\n    return {inner}\n", inner
    )
    outer = f"import numba\nimport inner\n{imports}told = inner.told\n\n"
    outer += f"{decorator}\ndef kernel():\n    return told()\n"
    _written(room / "outer.py", outer, 5)
    compiling._room_stamp.cache_clear()
    modules = {}
    for name in ("inner", "outer"):
        spec = importlib.util.spec_from_file_location(name, room / f"{name}.py")
        modules[name] = sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(modules[name])
    kernel = modules["outer"].kernel
    return kernel(), sum(kernel.stats.cache_hits.values())


@pytest.fixture
def forgetful():
    """Modules of the room are taken out of sys.modules again."""
    sys.dont_write_bytecode, before = True, sys.dont_write_bytecode
    yield
    sys.dont_write_bytecode = before
    for name in ("inner", "outer"):
        sys.modules.pop(name, None)


def test_compiled_code_expires_with_any_file_of_the_room(room, forgetful):
    assert _called(room, "compiled", 1) == (1, 0)
    assert _called(room, "compiled", 1) == (1, 1), "code of an unchanged room is taken from the cache"
    assert _called(room, "compiled", 2)[0] == 2


def test_compiled_code_of_a_plain_cache_does_not_expire(room, forgetful):
    """What the stamp is for; if numba ever sees to this itself, the stamp may go."""
    assert _called(room, "numba", 1)[0] == 1
    assert _called(room, "numba", 2)[0] == 1


def test_the_stamp_changes_with_names_times_and_sizes(room):
    def stamp():
        compiling._room_stamp.cache_clear()
        return compiling._room_stamp(room)

    _written(room / "a.py", "x = 1\n", 10)
    stamps = [stamp()]
    assert stamp() == stamps[0]
    _written(room / "a.py", "x = 1\n", 11)
    stamps.append(stamp())
    _written(room / "a.py", "x = 11\n", 11)
    stamps.append(stamp())
    _written(room / "b.py", "", 11)
    stamps.append(stamp())
    (room / "a.py").rename(room / "c.py")
    stamps.append(stamp())
    assert len(set(stamps)) == len(stamps)


def test_a_file_in_a_folder_of_the_room_belongs_to_the_room(room):
    assert compiling._room_of(SIGHT / "sweep.py") == SIGHT
    assert compiling._room_of(SIGHT / "deep" / "down" / "kernels.py") == SIGHT
    assert compiling._room_of(room / "inner.py") == room
    _written(room / "a.py", "x = 1\n", 10)
    before = compiling._room_stamp(room)
    (room / "deep").mkdir()
    _written(room / "deep" / "b.py", "x = 1\n", 10)
    compiling._room_stamp.cache_clear()
    assert set(before) < set(compiling._room_stamp(room))


def test_code_kept_for_a_class_that_is_gone_is_left_aside(room, forgetful):
    """As after an update that renames what a kernel takes: its index still names the old class."""

    def called(name, time_ns):
        text = "from typing import NamedTuple\nfrom hillsight.kernels.compiled import compiled\n\n"
        text += f"class {name}(NamedTuple):\n    told: int\n\n"
        text += "@compiled\ndef kernel(given):\n    return given.told\n"
        _written(room / "inner.py", text, time_ns)
        compiling._room_stamp.cache_clear()
        spec = importlib.util.spec_from_file_location("inner", room / "inner.py")
        module = sys.modules["inner"] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        return module.kernel(getattr(module, name)(time_ns))

    assert called("Before", 7) == 7
    assert called("After", 8) == 8


def test_every_kernel_that_calls_into_another_file_carries_the_stamp():
    if numba.config.DISABLE_JIT or not compiling.numba_cache_usable():
        pytest.skip("nothing is cached here")
    kernels = {
        value.py_func: value
        for module in (answers, broken, fan, field, horizon, rows, sweep)
        for value in vars(module).values()
        if hasattr(value, "py_func")
    }
    assert len(kernels) > 20
    abroad = 0
    for function, kernel in kernels.items():
        called = [function.__globals__.get(name) for name in function.__code__.co_names]
        if all(getattr(k, "py_func", function).__module__ == function.__module__ for k in called):
            continue
        abroad += 1
        modules = [getattr(k, "py_func", function).__module__ for k in called]
        assert all(m.startswith(("hillsight.sight.", "hillsight.kernels.")) for m in modules)
        stamp = kernel._cache._cache_file._version
        # Names alone: the room may have been written to since it was imported.
        assert [file[0] for file in stamp[1]] == [file[0] for file in compiling._room_stamp(SIGHT)], function
    assert abroad >= 3
