"""Another installation's settings, and a machine without a home, in processes of their own."""

from __future__ import annotations

import os
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import pytest

import hillsight

PACKAGE = Path(hillsight.__file__).parent

WARP = """
import numpy as np, pyogrio, pyproj, geopandas
from shapely.geometry import Point
from rasterio.crs import CRS
from rasterio.warp import transform
x, y = transform(CRS.from_epsg(4326), CRS.from_epsg(32630), [-3.5], [56.1])
to_grid = pyproj.Transformer.from_crs(4326, 32630, always_xy=True)
assert np.allclose(to_grid.transform(-3.5, 56.1), (x[0], y[0]))
geopandas.GeoSeries([Point(-3.5, 56.1)], crs=4326).to_crs(32630).to_frame("geometry").to_file(PATH)
assert pyogrio.read_info(PATH)["crs"] == "EPSG:32630"
assert abs(geopandas.read_file(PATH).geometry[0].x - x[0]) < 1e-6
print("warped", round(x[0]))
"""
SETTLE = (
    "from hillsight.ground.libraries import settle_libraries\nfor line in settle_libraries(): print(line)\n"
)


def run(code: str, **environment: str) -> subprocess.CompletedProcess[str]:
    # The suite itself may have loaded libraries that set such variables for their own children.
    keep = {k: v for k, v in os.environ.items() if not k.startswith(("NUMBA", "MPL", "PROJ", "GDAL"))}
    path = os.pathsep.join([str(PACKAGE.parent), os.environ.get("PYTHONPATH", "")])
    return subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env={**keep, "PYTHONPATH": path, **environment},
    )


@pytest.fixture
def old_proj(tmp_path: Path) -> Path:
    """A folder with a proj.db whose layout is older than any of today's libraries read."""
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    with sqlite3.connect(folder / "proj.db") as database:
        database.execute("CREATE TABLE metadata (key TEXT PRIMARY KEY, value TEXT)")
        layout = [("DATABASE.LAYOUT.VERSION.MAJOR", "1"), ("DATABASE.LAYOUT.VERSION.MINOR", "2")]
        database.executemany("INSERT INTO metadata VALUES (?, ?)", layout)
    database.close()
    return folder


@pytest.mark.parametrize("name", ["PROJ_DATA", "PROJ_LIB"])
def test_foreign_proj_data_is_set_aside(old_proj: Path, tmp_path: Path, name: str) -> None:
    code = WARP.replace("PATH", repr(str(tmp_path / "t.gpkg")))
    trap = run(code, **{name: str(old_proj)})
    assert trap.returncode != 0  # the trap is real: without settling the run breaks
    done = run(
        SETTLE + code, **{name: str(old_proj), "GDAL_DATA": str(old_proj), "GDAL_DRIVER_PATH": str(old_proj)}
    )
    assert done.returncode == 0, done.stderr
    assert "warped 468897" in done.stdout
    for variable in (name, "GDAL_DATA", "GDAL_DRIVER_PATH"):
        assert f"{variable}={old_proj} set aside" in done.stdout


def test_kept_when_asked(old_proj: Path) -> None:
    code = SETTLE + "import os; print('kept', os.environ['PROJ_DATA'])"
    done = run(code, PROJ_DATA=str(old_proj), HILLSIGHT_KEEP_PROJ="1")
    assert f"kept {old_proj}" in done.stdout
    assert "set aside" not in done.stdout


def test_settling_imports_nothing_heavy() -> None:
    code = (
        SETTLE
        + "import sys; print([m for m in ('numpy', 'rasterio', 'numba', 'pyproj') if m in sys.modules])"
    )
    assert run(code).stdout.strip().endswith("[]")


NUMBA = """
from hillsight.ground.libraries import numba_cache_usable
usable = numba_cache_usable()
print("usable", usable)
import importlib.util, os, sys
spec = importlib.util.spec_from_file_location("kernel", KERNEL)
kernel = importlib.util.module_from_spec(spec)
spec.loader.exec_module(kernel)
print("twice", kernel.build(usable)(21), "cache", os.environ.get("NUMBA_CACHE_DIR"))
"""
KERNEL = """
from numba import njit
def build(cache):
    def twice(n):
        return 2 * n
    return njit(cache=cache)(twice)
"""


def _read_only_package(tmp_path: Path) -> Path:
    """A copy of the package's lowest room, with a file where __pycache__ would go: no one can write there."""
    root = tmp_path / "installed"
    for room in ("ground", "kernels", "sight", "landform", "reading"):
        (root / "hillsight" / room).mkdir(parents=True)
        (root / "hillsight" / room / "__init__.py").touch()
        (root / "hillsight" / room / "__pycache__").touch()
    (root / "hillsight" / "__init__.py").touch()
    (root / "hillsight" / "ground" / "libraries.py").write_bytes(
        (PACKAGE / "ground" / "libraries.py").read_bytes()
    )
    (root / "kernel.py").write_text(KERNEL)
    (root / "__pycache__").touch()
    return root


def test_no_home_and_read_only_install(tmp_path: Path) -> None:
    root = _read_only_package(tmp_path)
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    code = SETTLE + NUMBA.replace("KERNEL", repr(str(root / "kernel.py")))
    surroundings = {
        "HOME": "/nonexistent",
        "XDG_CACHE_HOME": "",
        "XDG_CONFIG_HOME": "",
        "TMPDIR": str(temporary),
        "PYTHONPATH": str(root),
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    done = run(code, **surroundings)
    assert done.returncode == 0, done.stderr
    folder = temporary / f"hillsight-{os.getuid()}"
    assert f"Compiled code is kept in {folder / 'numba'}" in done.stdout
    assert f"Font lists are kept in {folder / 'matplotlib'}" in done.stdout
    assert "usable True" in done.stdout and "twice 42" in done.stdout
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert list((folder / "numba").rglob("*.nbi"))  # numba did use it
    assert not Path("/nonexistent").exists()


def test_a_folder_somebody_else_prepared_is_refused(tmp_path: Path) -> None:
    """Compiled code is run: a link or a foreign folder under the temporary folder must not be used."""
    root = _read_only_package(tmp_path)
    temporary, trap = tmp_path / "temporary", tmp_path / "trap"
    temporary.mkdir()
    trap.mkdir()
    (temporary / f"hillsight-{os.getuid()}").symlink_to(trap)
    done = run(
        SETTLE,
        HOME="/nonexistent",
        XDG_CACHE_HOME="",
        XDG_CONFIG_HOME="",
        TMPDIR=str(temporary),
        PYTHONPATH=str(root),
        PYTHONDONTWRITEBYTECODE="1",
    )
    assert done.returncode == 0, done.stderr
    assert str(temporary) not in done.stdout
    assert "every run compiles anew" in done.stdout
    assert not list(trap.iterdir())


def test_nowhere_to_write_compiles_without_a_cache(tmp_path: Path) -> None:
    root = _read_only_package(tmp_path)
    code = (
        "from hillsight.ground import libraries\nlibraries._private_folder = lambda purpose: None\n"
        + SETTLE
        + NUMBA.replace("KERNEL", repr(str(root / "kernel.py")))
    )
    done = run(
        code,
        HOME="/nonexistent",
        XDG_CACHE_HOME="",
        XDG_CONFIG_HOME="",
        PYTHONPATH=str(root),
        PYTHONDONTWRITEBYTECODE="1",
    )
    assert done.returncode == 0, done.stderr
    assert "every run compiles anew" in done.stdout
    assert "usable False" in done.stdout and "twice 42 cache None" in done.stdout


def test_a_run_cut_short_leaves_no_probe_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ended between making and removing a named probe, a run left one in the package's own folder."""
    from hillsight.ground.libraries import _writable

    try:
        os.close(os.open(tmp_path, os.O_TMPFILE | os.O_WRONLY, 0o600))
    except (AttributeError, OSError):
        pytest.skip("this system or file system has no files without a name")

    def cut_short(path: Path) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "unlink", cut_short)
    assert _writable(tmp_path)
    assert not list(tmp_path.iterdir())
