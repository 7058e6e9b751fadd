"""Keeps other installations' settings from breaking the libraries; called before any of them is imported.

Imports nothing heavy, so that help texts stay fast.
"""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Callable
from pathlib import Path

# Each points a library at another installation's data or plug-ins. The wheels carry their own.
_FOREIGN = ("PROJ_DATA", "PROJ_LIB", "GDAL_DATA", "GDAL_DRIVER_PATH", "OGR_DRIVER_PATH")
#: Whether PROJ fetches the grids that it lacks.
_GRIDS = "PROJ_NETWORK"
#: Set to 1 it allows what ``--allow-network`` does, in child processes too.
ALLOW_VARIABLE = "HILLSIGHT_ALLOW_NETWORK"
KEEP_VARIABLE = "HILLSIGHT_KEEP_PROJ"


#: What was set aside or set in this process.
_settled: list[str] = []


def settled() -> tuple[str, ...]:
    """What :func:`settle_libraries` has set aside or set in this process, one plain sentence each."""
    return tuple(_settled)


def network_is_allowed() -> bool:
    """Whether requests to a network were asked for, whatever a file leads to."""
    return os.environ.get(ALLOW_VARIABLE) == "1"


def settle_libraries() -> list[str]:
    """Make this process safe for rasterio, pyproj, pyogrio, numba and matplotlib.

    Drops PROJ_DATA, PROJ_LIB, GDAL_DATA and driver paths from the environment unless HILLSIGHT_KEEP_PROJ=1,
    keeps PROJ from fetching grids unless requests to a network are allowed, and gives numba and matplotlib a
    folder to keep things in where they would find none. Calling it again is harmless.

    Returns
    -------
    one plain sentence for each thing set aside or set, for the doctor; empty if nothing was in the way
    """
    said: list[str] = []
    if os.environ.get(KEEP_VARIABLE) != "1":
        for name in _FOREIGN:
            value = os.environ.get(name)
            if value is None or _set_by_loaded_peer(value):
                continue
            del os.environ[name]
            late = " (too late for rasterio, which was already loaded)" if "rasterio" in sys.modules else ""
            said.append(f"{name}={value} set aside: it belongs to another installation{late}.")
    if not network_is_allowed() and os.environ.get(_GRIDS, "OFF").upper() not in ("OFF", "NO", "FALSE"):
        os.environ[_GRIDS] = "OFF"
        said.append(f"{_GRIDS} set aside: grids are not fetched from a network unless that is allowed.")
    threads = os.environ.get("NUMBA_NUM_THREADS")
    if threads is not None and not (threads.isdecimal() and int(threads) > 0):
        del os.environ["NUMBA_NUM_THREADS"]
        said.append(f"NUMBA_NUM_THREADS={threads} set aside: it is no number of threads.")
    if "MPLBACKEND" in os.environ:
        said.append(f"MPLBACKEND={os.environ.pop('MPLBACKEND')} set aside: pictures go into files.")
    if not numba_cache_usable():
        folder = _private_folder("numba")
        if folder is None:
            os.environ.pop("NUMBA_CACHE_DIR", None)
            said.append("No folder to keep compiled code in: every run compiles anew.")
        else:
            os.environ["NUMBA_CACHE_DIR"] = str(folder)
            said.append(f"Compiled code is kept in {folder}.")
    if "MPLCONFIGDIR" not in os.environ and not _has_writable_home("XDG_CONFIG_HOME", ".config"):
        folder = _private_folder("matplotlib")
        if folder is not None:
            os.environ["MPLCONFIGDIR"] = str(folder)
            said.append(f"Font lists are kept in {folder}.")
    _settled.extend(text for text in said if text not in _settled)
    return said


def numba_cache_usable() -> bool:
    """Whether numba finds a folder for compiled code; if not, compile with ``cache=False``, or it raises.

    Code that is kept is run when it is loaded: a folder that others own or may write to is none.

    Follows numba's own order: NUMBA_CACHE_DIR if set, then beside the source, then the user's cache folder
    (the locators of numba.core.caching).
    """
    own = os.environ.get("NUMBA_CACHE_DIR")
    if own:
        return _keeps_code(_nearest_existing(Path(own)))
    package = Path(__file__).resolve().parents[1]
    with_kernels = (package / name for name in ("kernels", "sight", "landform", "reading"))
    rooms = (room for room in with_kernels if room.is_dir())
    places = [_nearest_existing(room / "__pycache__") for room in rooms]
    if all(_writable(place) for place in places):
        return all(trusted(place) for place in places)  # numba would take them, trusted or not
    return _has_writable_home("XDG_CACHE_HOME", ".cache", _keeps_code)


def _set_by_loaded_peer(value: str) -> bool:
    """Whether an already imported osgeo package of this interpreter set it for itself."""
    peer = sys.modules.get("osgeo")
    folders = getattr(peer, "__path__", []) if peer else []
    return any(Path(value).resolve().is_relative_to(Path(folder).resolve()) for folder in folders)


def trusted(folder: Path) -> bool:
    """Whether only this user, or the system's own, can put files into a folder or another in its place."""
    if sys.platform == "win32":
        return True  # folders of a user's profile are the user's own there
    try:
        place = folder.resolve()
        return _only_ours(place.stat(), leaf=True) and all(
            _only_ours(above.stat(), leaf=False) for above in place.parents
        )
    except OSError:
        return False


def _only_ours(state: os.stat_result, *, leaf: bool) -> bool:
    if state.st_uid not in (os.getuid(), 0):
        return False
    writers = state.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
    if writers and not leaf and state.st_mode & stat.S_ISVTX:
        return True  # as the temporary folder: all may add, none may replace what is another's
    if writers == stat.S_IWGRP:
        return _is_own_group(state.st_gid)
    return not writers


def _is_own_group(number: int) -> bool:
    """Whether a group is the user's own, of whom many systems let it write."""
    import grp
    import pwd

    try:
        user, group = pwd.getpwuid(os.getuid()), grp.getgrgid(number)
    except KeyError:
        return False
    return number == user.pw_gid and set(group.gr_mem) <= {user.pw_name}


def _keeps_code(folder: Path) -> bool:
    return _writable(folder) and trusted(folder)


def _has_writable_home(xdg_variable: str, folder: str, usable: Callable[[Path], bool] | None = None) -> bool:
    usable = usable or _writable
    given = os.environ.get(xdg_variable)
    if given:
        return usable(_nearest_existing(Path(given)))
    home = Path(os.path.expanduser("~"))  # noqa: PTH111 - Path.home() raises where there is none
    if not home.is_dir():
        return False  # the superuser could create it, but nobody asked for that
    if sys.platform == "win32":
        return usable(_nearest_existing(Path(os.environ.get("LOCALAPPDATA", home))))
    if sys.platform == "darwin":
        folder = "Library/Caches" if folder == ".cache" else folder
    return usable(_nearest_existing(home / folder))


def _nearest_existing(folder: Path) -> Path:
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    return folder


def _writable(folder: Path) -> bool:
    """Tried, not asked: permission bits say nothing about read-only or full file systems."""
    unnamed = getattr(os, "O_TMPFILE", 0)
    if unnamed:  # leaves nothing behind, whenever the process is ended
        try:
            os.close(os.open(folder, unnamed | os.O_WRONLY, 0o600))
            return True
        except OSError:
            pass  # not every file system knows it: the named one decides
    probe = folder / f".hillsight-probe-{os.getpid()}"
    try:
        os.close(os.open(probe, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        probe.unlink()
    except FileExistsError:
        return True
    except OSError:
        return False
    return True


def _private_folder(purpose: str) -> Path | None:
    """A folder of this user alone under the system's temporary folder, or None.

    Compiled code is run when it is loaded, so a folder that anybody else owns or can write to is refused.
    """
    import tempfile  # seldom needed

    owner = str(os.getuid()) if sys.platform != "win32" else os.environ.get("USERNAME", "user")
    top = Path(tempfile.gettempdir()).absolute() / f"hillsight-{owner}"
    folder = top / purpose
    try:
        for place in (top, folder):
            place.mkdir(mode=0o700, exist_ok=True)
            if not _ours_alone(place):
                return None
    except OSError:
        return None
    return folder if _writable(folder) else None


def _ours_alone(folder: Path) -> bool:
    state = folder.lstat()
    if not stat.S_ISDIR(state.st_mode):
        return False  # a link could lead anywhere
    if sys.platform == "win32":
        return True
    if state.st_uid != os.getuid():
        return False
    if state.st_mode & 0o077:
        folder.chmod(0o700)
    return True
