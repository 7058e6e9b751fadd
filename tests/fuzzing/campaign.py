"""Thousands of damaged files of every format, in processes that may die.

`python tests/fuzzing/campaign.py --each 600 --seed 1` prints counts, a line a seed, and each fault with the
numbers that make it again: `--only NAME --seed 1 --first NUMBER --each 1`. What is a fault stands in
`judging.py`; `test_campaign.py` runs a few of each.
"""

from __future__ import annotations

import argparse
import faulthandler
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from types import TracebackType

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from fuzzing.judging import LONGEST_S, Trial
from fuzzing.seeds import SEEDS, Seed, surroundings

#: Files that one process tries, and memory that it may take beyond what the sound file needs.
AT_A_TIME, MOST_BYTES = 250, 2 * 1024**3


def try_some(seed: Seed, campaign: int, first: int, count: int) -> None:
    """Judge some numbers of a seed, a line of JSON each; the process dies of a crash or a hang."""
    from hillsight.ground.libraries import settle_libraries

    settle_libraries()
    sys.unraisablehook, sys.excepthook = _as_commands_do, _as_commands_print
    faulthandler.enable()
    with tempfile.TemporaryDirectory() as folder:
        trial = Trial(seed, surroundings(Path(folder)))
        pages = int(Path("/proc/self/statm").read_text().split()[0])
        most = pages * resource.getpagesize() + MOST_BYTES
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
        print("ready", flush=True)
        for number in range(first, first + count):
            faulthandler.dump_traceback_later(LONGEST_S, exit=True)
            ended = trial.judge(campaign, number)
            faulthandler.cancel_dump_traceback_later()
            print(json.dumps([number, ended.how, ended.why]), flush=True)


def _as_commands_do(event: sys.UnraisableHookArgs) -> None:
    """A library's log that met a damaged name says nothing: the error that it is of comes by itself."""
    if not issubclass(event.exc_type, UnicodeDecodeError):
        sys.__unraisablehook__(event)


def _as_commands_print(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    """Likewise of an error that a library cannot hand on."""
    if not issubclass(kind, UnicodeDecodeError):
        sys.__excepthook__(kind, error, trace)


def attack(seed: Seed, campaign: int, first: int, count: int) -> tuple[Counter[str], list[str]]:
    """Try so many files of a seed in processes of their own; how they ended, and the faults."""
    ended, faults = Counter[str](), []
    at, end = first, first + count
    while at < end:
        size = min(AT_A_TIME, end - at)
        words = [
            sys.executable,
            __file__,
            "--here",
            seed.name,
            "--seed",
            campaign,
            "--first",
            at,
            "--each",
            size,
        ]
        with tempfile.TemporaryFile() as errors:
            run = subprocess.run(
                [str(word) for word in words],
                stdout=subprocess.PIPE,
                stderr=errors,
                env={**os.environ, "HILLSIGHT_THREADS": "1"},
                check=False,
            )
            errors.seek(0)
            last = errors.read().decode(errors="replace")
        if b"ready" not in run.stdout:
            raise RuntimeError(f"{seed.name}: the sound file is not read: {last[-2000:]}")
        lines = [json.loads(line) for line in run.stdout.splitlines() if line.startswith(b"[")]
        for number, how, why in lines:
            ended[how] += 1
            if how == "fault":
                faults.append(f"{seed.name}, seed {campaign}, number {number}: {why}")
        at += len(lines)
        if len(lines) < size:
            ended["fault"] += 1
            faults.append(f"{seed.name}, seed {campaign}, number {at}: died, {run.returncode}: {last[-600:]}")
            at += 1
    return ended, faults


def main() -> None:
    """Counts as JSON, a line a seed; exit code 1 if there were faults."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=600, help="damaged files of each seed")
    parser.add_argument("--first", type=int, default=0, help="number of the first")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="seeds whose names begin so")
    parser.add_argument("--here", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.here is not None:
        (seed,) = (one for one in SEEDS if one.name == given.here)
        try_some(seed, given.seed, given.first, given.each)
        return
    all_faults = []
    for seed in SEEDS:
        if seed.name.startswith(given.only or ""):
            begun = time.monotonic()
            count = max(1, round(given.each * seed.share))
            ended, faults = attack(seed, given.seed, given.first, count)
            seconds = round(time.monotonic() - begun)
            print(json.dumps({"seed": seed.name, **ended, "seconds": seconds, "faults": faults}), flush=True)
            all_faults += faults
    sys.exit(1 if all_faults else 0)


if __name__ == "__main__":
    main()
