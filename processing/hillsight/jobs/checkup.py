"""Checks of the installation: what is there, what would fail, and the cure."""

from __future__ import annotations

import datetime
import pkgutil
import platform
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path


@dataclass(frozen=True)
class Finding:
    """Outcome of one check.

    good : whether it passed; a remark that hinders nothing is good too
    subject : what was looked at
    found : what was found
    cure : what to do if it is not good, else empty
    """

    good: bool
    subject: str
    found: str
    cure: str = ""


_LIBRARIES = (
    "numpy",
    "scipy",
    "numba",
    "shapely",
    "pyproj",
    "pyogrio",
    "geopandas",
    "rasterio",
    "pygeomag",
    "matplotlib",
    "rich",
    "jinja2",
    "markupsafe",
    "filelock",
    "pillow",
    "contourpy",
    "astral",
    "click",
)
#: Modules that are not called as their library is.
_MODULES = {"pillow": "PIL"}
_RASTER_DRIVERS = ("GTiff", "COG", "VRT", "GPKG", "AAIGrid", "SRTMHGT")
_VECTOR_DRIVERS = ("GPKG", "GeoJSON", "GPX", "KML", "CSV", "ESRI Shapefile")
#: Rooms whose modules compile.
_WITH_KERNELS = ("kernels", "sight", "landform", "reading", "plan")
_REINSTALL = "Install hillsight anew in an environment of its own (see the README's first command)"


def check_up(set_aside: Sequence[str], *, mend: bool = False) -> list[Finding]:
    """Run every check; one that breaks is itself a finding.

    Parameters
    ----------
    set_aside : what ``ground.libraries.settle_libraries`` had to do in this process, one sentence each
    mend : whether damaged files of compiled code are removed, so that they are made anew
    """
    findings = [_python(), *(_library(name) for name in _LIBRARIES)]
    findings += [Finding(True, "environment", text) for text in set_aside]
    checks: tuple[tuple[str, Callable[[], list[Finding]]], ...] = (
        ("GDAL", _drivers),
        ("PROJ", _projections),
        ("kept code", partial(_kept, mend)),
        ("compiled kernels", _kernels),
        ("magnetic model", _magnetic),
        ("styles", _styles),
        ("evidence table and templates", _tables_and_templates),
        ("temporary folder", _temporary),
        ("scripts", _scripts),
    )
    for subject, check in checks:
        try:
            findings += check()
        except Exception as error:
            findings.append(Finding(False, subject, f"{type(error).__name__}: {error}", _REINSTALL))
    return findings


def _python() -> Finding:
    found = f"{platform.python_version()} at {sys.executable}, {platform.system()} {platform.machine()}"
    return Finding(sys.version_info >= (3, 12), "Python", found, "Use Python 3.12 or newer")


def _library(name: str) -> Finding:
    try:
        import_module(_MODULES.get(name, name))
    except Exception as error:
        return Finding(False, name, f"cannot be imported: {error}", f"{_REINSTALL}, or: pip install {name}")
    try:
        return Finding(True, name, version(name))
    except PackageNotFoundError:
        return Finding(True, name, "present, version unknown")


def _drivers() -> list[Finding]:
    import pyogrio
    import rasterio

    with rasterio.Env() as environment:
        rasters = set(environment.drivers())
    vectors = set(pyogrio.list_drivers())
    findings = []
    for kind, gdal, wanted, there in (
        ("rasters", rasterio.__gdal_version__, _RASTER_DRIVERS, rasters),
        ("vectors", pyogrio.__gdal_version_string__, _VECTOR_DRIVERS, vectors),
    ):
        missing = [driver for driver in wanted if driver not in there]
        found = f"GDAL {gdal}, {len(there)} drivers" + (f"; missing: {', '.join(missing)}" if missing else "")
        cure = "Those formats cannot be read; convert such files, or install the wheels from PyPI"
        findings.append(Finding(not missing, f"GDAL for {kind}", found, cure))
    return findings


def _projections() -> list[Finding]:
    """The same point through each PROJ in the process: a wrong database shows as an error or a difference."""
    import pyproj
    from rasterio.warp import transform

    findings = [
        Finding(True, "PROJ data", f"PROJ {pyproj.proj_version_str}, {pyproj.datadir.get_data_dir()}")
    ]
    # Grid origin of EPSG:32631 (EPSG Guidance Note 7-2, UTM): longitude 3, latitude 0 is E 500 000 N 0.
    for library, (easting, northing) in (
        ("pyproj", pyproj.Transformer.from_crs(4326, 32631, always_xy=True).transform(3.0, 0.0)),
        ("rasterio", tuple(v[0] for v in transform("EPSG:4326", "EPSG:32631", [3.0], [0.0]))),
    ):
        good = abs(easting - 500_000) < 1e-3 and abs(northing) < 1e-3
        cure = "Another installation's PROJ_DATA or PROJ_LIB is in the way: unset it"
        findings.append(
            Finding(good, f"PROJ in {library}", "works" if good else f"E {easting} N {northing}", cure)
        )
    return findings


def _kernels() -> list[Finding]:
    import time

    import numpy as np
    from pyproj import CRS

    from hillsight.ground.grid import Grid, Surface
    from hillsight.ground.libraries import numba_cache_usable
    from hillsight.sight.posts import see_posts
    from hillsight.sight.viewing import Eye

    grid = Grid(CRS(32630), 500_000.0, 6_000_000.0, 10.0, 10.0, 3, 3)
    start = time.perf_counter()
    # Flat ground, eye 1 m up: beyond ground half way, the grazing line is 1 m below the flat.
    seen = see_posts(Surface(grid, np.zeros((3, 3), np.float32)), Eye(1.0, 0.0, 1.0), 100.0)
    seconds = time.perf_counter() - start
    kept = (
        "compiled code is kept" if numba_cache_usable() else "compiled anew in every run: no writable folder"
    )
    good = bool(seen.clearance_m[1, 2] == 1.0)
    return [Finding(good, "compiled kernels", f"work; {kept}; first call {seconds:.1f} s", _REINSTALL)]


def _kept(mend: bool) -> list[Finding]:
    """The files of compiled code: each kernel says where it is kept when its module is loaded."""
    import hillsight
    from hillsight.kernels.kept import kept_code

    for room in _WITH_KERNELS:
        for module in pkgutil.walk_packages([str(Path(hillsight.__path__[0]) / room)], f"hillsight.{room}."):
            import_module(module.name)
    kept = kept_code(mend=mend)
    places = ", ".join(str(folder) for folder in kept.folders) or "no folder"
    if not kept.damaged:
        older = f", {kept.older} of them of another version and never loaded" if kept.older else ""
        return [Finding(True, "kept code", f"{kept.files} files, none damaged{older}, in {places}")]
    found = f"{len(kept.damaged)} of {kept.files} files damaged or left over in {places}"
    if mend:
        return [Finding(True, "kept code", f"{found}: removed, the next run makes them anew")]
    return [Finding(False, "kept code", found, "Run hillsight doctor with its option mend")]


def _magnetic() -> list[Finding]:
    from hillsight.errors import CallError
    from hillsight.ground.magnetic import declination

    today = datetime.datetime.now(datetime.UTC).date()
    try:
        model = declination(0.0, 51.5, 0.0, today).model
    except CallError as error:
        return [Finding(False, "magnetic model", str(error), "Upgrade pygeomag for the next model")]
    return [Finding(True, "magnetic model", f"{model} covers today, {today.isoformat()}")]


def _styles() -> list[Finding]:
    from hillsight.errors import OutputError
    from hillsight.layers.styles import style_names, style_text

    missing = []
    for name in style_names():
        try:
            style_text(name)
        except OutputError:
            missing.append(name)
    found = f"{len(style_names()) - len(missing)} found"
    found += f"; missing for {', '.join(missing)}" if missing else ""
    return [Finding(not missing, "styles", found, _REINSTALL)]


def _tables_and_templates() -> list[Finding]:
    from hillsight.ground.evidence import EvidenceTable
    from hillsight.sheets.exercise import page
    from hillsight.sheets.picture.mark_page import load_parts
    from hillsight.sheets.verdict.verdict_page import load_templates

    kinds = len(EvidenceTable.load().classes)
    findings = [Finding(True, "evidence table", f"{kinds} kinds of feature")]
    found = load_templates() + load_parts() + page.load_parts()
    return [*findings, Finding(True, "templates", f"{found} found")]


def _temporary() -> list[Finding]:
    with tempfile.NamedTemporaryFile() as file:
        return [Finding(True, "temporary folder", str(Path(file.name).parent))]


def _scripts() -> list[Finding]:
    from hillsight import plugins

    findings = []
    points = {**plugins.registered(), **plugins.runnable()}
    for name, point in points.items():
        try:
            plugins.load(point)
        except plugins.PluginError as error:
            findings.append(Finding(False, f"script {name}", f"cannot be loaded: {error.what}", error.remedy))
    if not findings:
        findings = [Finding(bool(points), "scripts", ", ".join(points) or "none are registered", _REINSTALL)]
    return findings
