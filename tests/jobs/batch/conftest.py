"""For the tests of batches: files tell of one fixed time, those that processes of their own write too."""

from __future__ import annotations

from collections.abc import Iterator

import pytest


@pytest.fixture(scope="module", autouse=True)
def _fixed_time() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1780000000")
        yield
