"""Files that people write by hand, read whole: none of them is large."""

from __future__ import annotations

import errno
from pathlib import Path

#: A file larger than this was not written by hand: another was meant.
MOST_BYTES = 16 * 1024 * 1024


def read_small(path: str | Path) -> bytes:
    """The whole content of a small file.

    Raises
    ------
    OSError : it cannot be read, or is larger than any such file is
    """
    with Path(path).open("rb") as file:
        data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise OSError(errno.EFBIG, f"it holds more than {MOST_BYTES // 1024**2} MB, as no such file does")
    return data
