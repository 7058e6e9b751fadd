"""Settings of GDAL while files are written: the same whatever the user's environment says, and given back."""

from __future__ import annotations

import os
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

_DATE = "OGR_CURRENT_DATE"

#: pyogrio's GDAL has one set of options for all threads.
_lock = threading.RLock()
#: Blocks now in work, and what to give back when the last of them ends.
_blocks: list[object] = []
_restored: dict[str, str | bool | int | None] = {}


@contextmanager
def fixed_settings(stamp: str) -> Iterator[None]:
    """One time for everything GDAL writes, and no journal settings from the user's environment.

    Two GDALs are at work, pyogrio's and rasterio's; both get the settings, and get their own back. Several
    blocks may be in work at once, in as many threads: the last to end gives the settings back.

    stamp : the time, as OGR_CURRENT_DATE takes it
    """
    import pyogrio
    import rasterio

    settings = {
        _DATE: stamp,
        "OGR_SQLITE_JOURNAL": "DELETE",
        "OGR_SQLITE_SYNCHRONOUS": "OFF",  # the file is flushed once, when it is complete
        "OGR_SQLITE_PRAGMA": None,
        "GDAL_PAM_ENABLED": "NO",
    }
    block = object()
    with _lock:
        if not _blocks:
            before = {name: pyogrio.get_gdal_config_option(name) for name in settings}
            # An option that was never set in the program shows the environment's value: give that back as
            # "not set".
            _restored.update(
                (name, None if value is not None and str(value) == os.environ.get(name) else value)
                for name, value in before.items()
            )
        _blocks.append(block)
        pyogrio.set_gdal_config_options(settings)
    try:
        with rasterio.Env(**{name: value for name, value in settings.items() if value is not None}):
            yield
    finally:
        with _lock:
            _blocks.remove(block)
            if not _blocks:
                pyogrio.set_gdal_config_options(_restored)
                _restored.clear()


@contextmanager
def stamped(stamp: str) -> Iterator[None]:
    """The time of what pyogrio writes in the block, where files of other times are written meanwhile.

    Within :func:`fixed_settings`; other threads wait for the block to end.
    """
    import pyogrio

    with _lock:
        pyogrio.set_gdal_config_options({_DATE: stamp})
        yield
