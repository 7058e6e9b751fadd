"""No request to a network that nobody asked for: files may name addresses, and libraries would follow them.

A virtual raster, a service description, a link in GeoJSON or an ``.aux.xml`` beside a terrain may lead to a
server. GDAL asks it without a word. While a file is read here, GDAL is set to ask nobody:

- its virtual file systems over networks open one named file only, and none is called so
  (CPL_VSIL_CURL_ALLOWED_FILENAME);
- everything else that it fetches goes through a proxy that cannot be (GDAL_HTTP_PROXY), so that no
  connection is tried. The libraries beside it that fetch by themselves, as netCDF's, heed the environment's.

A name that the user gave and that is itself an address is meant: it is read as ever. Settings hold while a
file is read, and are given back. PROJ's grids are settled by :mod:`hillsight.ground.libraries`.
"""

from __future__ import annotations

import os
import re
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NoReturn

from hillsight.errors import NetworkError
from hillsight.ground.libraries import ALLOW_VARIABLE, network_is_allowed

_PROXY = "hillsight-refuses-requests://nowhere"
_SETTINGS = {
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "none but what the user names",
    "GDAL_HTTP_PROXY": _PROXY,
    "GDAL_HTTPS_PROXY": _PROXY,
}
#: What libcurl asks the environment for, where nothing else tells it: lower case goes before upper case.
_PROXIES = ("http_proxy", "https_proxy", "all_proxy")
_EXCEPTED = ("no_proxy", "NO_PROXY")

_SYSTEMS = r"/vsi(?:curl|s3|gs|az|adls|oss|swift|hdfs|webhdfs)(?:_streaming)?(?=[/?])"
_ADDRESS = re.compile(
    rf"(?:{_SYSTEMS}|\b(?:https?|ftps?|s3|gs|az|oss|swift|wasbs?)://)[^\s\"'<>`]+", re.IGNORECASE
)
#: Namespaces and schemas are names that look like addresses.
_NAMESPACE = re.compile(r"(?:xmlns(?::\w+)?|schemaLocation)\s*=\s*(\"[^\"]*\"|'[^']*')")
#: In messages: pages of GDAL that explain them, and the proxy that is none.
_NOT_MEANT = re.compile(rf"https?://(?:www\.)?gdal\.org\S*|{re.escape(_PROXY)}")
_LINKED_CRS = re.compile(r'"crs"\s*:\s*\{[^{}]*\{[^{}]*"href"\s*:\s*"([^"]+)"')
_FILE_NAMED = re.compile(r"<(?:SourceFilename|SrcDataSource|SourceDataset)[^>]*>([^<]+)<")
_MOST_READ = 1 << 20
_MOST_FILES = 50

_lock = threading.RLock()
_blocks = 0
_given_back: list[Callable[[], None]] = []
_set_for: set[str] = set()


def is_address(name: str) -> bool:
    """Whether a name that the user gave leads to a network by itself."""
    return _ADDRESS.search(name) is not None and not _is_there(name)


@contextmanager
def network_allowed() -> Iterator[None]:
    """Requests to the addresses that files name are made while the block runs; children inherit it."""
    before = os.environ.get(ALLOW_VARIABLE)
    os.environ[ALLOW_VARIABLE] = "1"
    try:
        yield
    finally:
        if before is None:
            del os.environ[ALLOW_VARIABLE]
        else:
            os.environ[ALLOW_VARIABLE] = before


@contextmanager
def shut(name: Any) -> Iterator[None]:
    """No request while a file is read, unless its name is an address or requests are allowed.

    Parameters
    ----------
    name : as the user gave it; what is no text (a table in memory) reads nothing

    Raises
    ------
    NetworkError : what failed in the block failed because an address was asked for
    """
    if not isinstance(name, str) or network_is_allowed() or is_address(name):
        yield
        return
    _enter()
    try:
        yield
    except NetworkError:
        raise
    except Exception as fault:
        refuse_if_asked(name, _texts(fault), fault)
        raise
    finally:
        _leave()


def settings(name: str) -> dict[str, str]:
    """GDAL's settings for reading a file, for an environment of rasterio, which puts its own first."""
    return {} if network_is_allowed() or is_address(name) else dict(_SETTINGS)


@contextmanager
def asking(name: Any) -> Iterator[None]:
    """Let one call read a file whose name is an address, also while another file is being read."""
    if not _blocks or not isinstance(name, str) or not is_address(name):
        yield
        return
    with _lock:
        _give_back()
    try:
        yield
    finally:
        with _lock:
            if _blocks:
                _shut_all()


def refuse_if_asked(name: str, told: list[str], fault: Exception | None = None) -> None:
    """Raise if what libraries told while a file was read shows that an address was to be asked.

    Parameters
    ----------
    name : the file that was read
    told : texts of errors and warnings
    fault : the error they are from

    Raises
    ------
    NetworkError : with the address, as far as it can be found
    """
    if network_is_allowed() or is_address(name):
        return
    for text in told:
        if (found := _ADDRESS.search(_NOT_MEANT.sub("", text))) is not None:
            _refuse(name, found.group().rstrip("):.,;"), fault)
    if any(_PROXY in text for text in told):
        _refuse(name, _first_address(name), fault)


def refuse_linked_crs(name: str) -> None:
    """Raise if a GeoJSON file gives its CRS as a link: without it GDAL takes degrees.

    Raises
    ------
    NetworkError : it does
    """
    if not name.lower().endswith("json") or network_is_allowed() or is_address(name):
        return
    if (found := _LINKED_CRS.search(_text_of(name))) is not None and _ADDRESS.match(found.group(1)):
        _refuse(name, found.group(1), None)


def _refuse(name: str, address: str, fault: Exception | None) -> NoReturn:
    raise NetworkError(
        f"it leads to {address or 'an address on a network'}, and nobody asked for a request to a network",
        where=name,
        remedy="Fetch what lies there and name the file, or allow requests if you trust both",
        parameters=("allow_network",),
    ) from fault


def _texts(fault: BaseException | None) -> list[str]:
    """What an error and those that it came from say."""
    texts: list[str] = []
    while fault is not None and len(texts) < 20:
        texts.append(str(fault))
        fault = fault.__cause__ or fault.__context__
    return texts


def _is_there(name: str) -> bool:
    try:
        return Path(name).exists()
    except (OSError, ValueError):
        return False


def _text_of(path: str | Path) -> str:
    """The beginning and the end of a file; "" if it cannot be read."""
    try:
        with Path(path).open("rb") as file:
            text = file.read(_MOST_READ)
            if len(text) == _MOST_READ:
                file.seek(max(_MOST_READ, file.seek(0, os.SEEK_END) - _MOST_READ))
                text += file.read(_MOST_READ)
        return text.decode("utf-8", "replace")
    except (OSError, ValueError):
        return ""


def _first_address(name: str) -> str:
    """The first address in the text of a file, its side file, or the files that it names; "" if none."""
    names, done = [name, f"{name}.aux.xml"], 0
    while names and done < _MOST_FILES:
        path, done = Path(names.pop(0)), done + 1
        text = _text_of(path)
        if (found := _ADDRESS.search(_NAMESPACE.sub("", text))) is not None:
            return found.group().rstrip("):.,;")
        names += [str(path.parent / inner.strip()) for inner in _FILE_NAMED.findall(text)]
    return ""


def _enter() -> None:
    global _blocks
    with _lock:
        _blocks += 1
        _shut_all()


def _leave() -> None:
    global _blocks
    with _lock:
        _blocks -= 1
        if not _blocks:
            _give_back()


def _give_back() -> None:
    while _given_back:
        _given_back.pop()()
    _set_for.clear()


def _shut_all() -> None:
    """Set whatever is not set yet: a library may have been loaded since."""
    if "environment" not in _set_for:
        _set_for.add("environment")
        _shut_environment()
    if "pyogrio" in sys.modules and "pyogrio" not in _set_for:
        import pyogrio

        _set_for.add("pyogrio")
        _shut_gdal(
            pyogrio.get_gdal_config_option, lambda name, value: pyogrio.set_gdal_config_options({name: value})
        )
    if "rasterio" in sys.modules and "rasterio" not in _set_for:
        from rasterio import _env as env  # its public face has no way to take a setting back

        _set_for.add("rasterio")

        def put(name: str, value: Any) -> None:
            if value is None:
                env.del_gdal_config(name)
            else:
                env.set_gdal_config(name, value)

        _shut_gdal(lambda name: env.get_gdal_config(name, normalize=False), put)


def _shut_gdal(get: Callable[[str], Any], put: Callable[[str, Any], None]) -> None:
    for name, value in _SETTINGS.items():
        before = get(name)
        # What the environment says is shown too: that is given back by setting nothing.
        own = None if before is not None and str(before) == os.environ.get(name) else before
        put(name, value)
        _given_back.append(lambda name=name, own=own: put(name, own))  # type: ignore[misc]


def _shut_environment() -> None:
    """Set proxies by replacing values only.

    A name that is added or removed moves the whole environment, which other threads may be reading in C. So
    they are added once, empty, which curl takes for "none".
    """
    for name in _PROXIES:
        before = os.environ.get(name)
        if before is None:
            before = os.environ[name] = os.environ.get(name.upper(), "")
        _replace(name, _PROXY, before)
    for name in _EXCEPTED:
        before = os.environ.get(name)
        if before is not None:
            _replace(name, "", before)


def _replace(name: str, value: str, before: str) -> None:
    os.environ[name] = value
    _given_back.append(lambda: os.environ.__setitem__(name, before))
