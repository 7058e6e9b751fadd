"""Kept code that is damaged, cannot be kept, or lies where others write: runs go on, and answer right."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

import hillsight

PACKAGE = Path(hillsight.__file__).parent
POSIX = pytest.mark.skipif(os.name == "nt", reason="POSIX permissions")

#: Two kernels, one within the other, kept in the folder that NUMBA_CACHE_DIR names.
KERNELS = """
from hillsight.kernels.compiled import compiled, inlined
@inlined
def half(x):
    return x / 2
@compiled
def halves(n):
    total = 0.0
    for i in range(n):
        total += half(i)
    return total
"""
CALLS = """
import sys
sys.path.insert(0, sys.argv[1])
import made_kernels as k
assert k.halves(5) == 5.0 and k.halves(4) == 3.0
stats = k.halves.stats
print("compiled", sum(stats.cache_misses.values()), "loaded", sum(stats.cache_hits.values()))
"""


@pytest.fixture
def kernels(tmp_path: Path) -> Path:
    (tmp_path / "made").mkdir()
    (tmp_path / "made" / "made_kernels.py").write_text(KERNELS)
    return tmp_path


def start(kernels: Path, cache: Path) -> subprocess.Popen[str]:
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(cache), "PYTHONPATH": str(PACKAGE.parent)}
    return subprocess.Popen(
        [sys.executable, "-c", CALLS, str(kernels / "made")],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    )


def call(kernels: Path, cache: Path | None = None) -> str:
    run = start(kernels, cache or kernels / "cache")
    out, err = run.communicate(timeout=300)
    assert run.returncode == 0, err
    return out.strip()


def test_code_is_kept_and_loaded(kernels: Path) -> None:
    assert call(kernels) == "compiled 1 loaded 0"
    assert call(kernels) == "compiled 0 loaded 1"


@pytest.mark.slow
@pytest.mark.parametrize("damage", ["cut", "emptied", "overwritten", "flipped", "another's"])
@pytest.mark.parametrize("suffix", ["nbi", "nbc"])
def test_damaged_files_are_made_anew(kernels: Path, suffix: str, damage: str) -> None:
    call(kernels)
    chance = random.Random(f"{suffix} {damage}")
    files = sorted((kernels / "cache").rglob(f"*halves*.{suffix}"))
    assert files
    for path in files:
        content = bytearray(path.read_bytes())
        if damage == "flipped":  # anywhere: head, length, checksum, pickle, machine code
            content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
        elif damage == "another's":  # whole in itself, as numba writes it without checks
            content = content[content.index(b"\n") + 1 :]
        path.write_bytes(
            {"cut": content[: len(content) // 2], "emptied": b"", "overwritten": b"x" * 5000}.get(
                damage, bytes(content)
            )
        )
    assert call(kernels) == "compiled 1 loaded 0"
    assert call(kernels) == "compiled 0 loaded 1"


@pytest.mark.slow
def test_any_flipped_bit(kernels: Path) -> None:
    call(kernels)
    chance = random.Random(20)
    for _ in range(40):
        path = chance.choice(sorted(p for p in (kernels / "cache").rglob("*.nb*")))
        content = bytearray(path.read_bytes())
        content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
        path.write_bytes(content)
        assert call(kernels).startswith("compiled")


@pytest.mark.slow
def test_eight_first_runs_at_once(kernels: Path) -> None:
    runs = [start(kernels, kernels / "cache") for _ in range(8)]
    for run in runs:
        out, err = run.communicate(timeout=600)
        assert run.returncode == 0, err
        assert out.startswith("compiled")
    assert call(kernels) == "compiled 0 loaded 1"
    assert not list((kernels / "cache").rglob("*.tmp.*"))


FULL = """
import errno, os, builtins
from numba.core import caching
real = caching.open if hasattr(caching, "open") else builtins.open
class Full:
    def __init__(self, file): self.file = file
    def __enter__(self): return self
    def __exit__(self, *_): self.file.close()
    def write(self, _): raise OSError(errno.ENOSPC, "No space left on device")
caching.open = lambda path, mode="r", *more, **named: (
    Full(real(path, mode)) if "w" in mode else real(path, mode, *more, **named))
"""


def test_a_disk_without_room(kernels: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys.modules[__name__], "CALLS", FULL + CALLS)
    assert call(kernels) == "compiled 1 loaded 0"
    assert not [p for p in (kernels / "cache").rglob("*") if p.is_file()]


@POSIX
def test_a_folder_that_others_may_write_to_is_not_used(kernels: Path) -> None:
    """As numba's files are pickles, whoever may write there could have anything run (numba #10656)."""
    cache = kernels / "open"
    cache.mkdir()
    cache.chmod(0o777)
    call(kernels, cache)
    assert not list(cache.iterdir())
    cache.chmod(0o755)
    kernels.chmod(0o777)  # then another folder may be put in its place
    call(kernels, cache)
    assert not list(cache.iterdir())
    kernels.chmod(0o700)
    call(kernels, cache)
    assert list(cache.iterdir()), "it would not be used anyway"


@POSIX
def test_a_folder_that_another_owns_is_not_used(kernels: Path) -> None:
    if os.getuid() != 0:
        pytest.skip("only the superuser can give a folder away")
    cache = kernels / "given"
    cache.mkdir()
    os.chown(cache, 12345, 12345)
    call(kernels, cache)
    assert not list(cache.iterdir())
