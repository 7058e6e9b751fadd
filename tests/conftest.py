"""For all tests: tables have no width but the one that a test gives them."""

from __future__ import annotations

import os

# pytest-xdist tells its workers how wide its own terminal is.
os.environ.pop("COLUMNS", None)
