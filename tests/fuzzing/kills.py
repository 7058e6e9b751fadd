"""Runs that write a GeoPackage, styles and rasters over older ones, in processes killed at random moments.

`python tests/fuzzing/kills.py --kills 90 --seed 1` prints a line for each kill, then counts. A third of the
kills come anywhere in a run, a third while files are written, a third while they take their names. What lies
there afterwards is that of the older run, that of the newer, or some of both; then the next run that reads
there ends what was left. `test_kills.py` does a few.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import hillsight
from jobs.worlds import world

#: Where a kill is to fall, in turn.
PHASES = ("anywhere", "while files are written", "while files take their names")
_PLACES = ("300800,699200,Near", "300800,698600,Far", "300300,699300,West")


def visible(folder: Path) -> dict[str, str]:
    """Checksums of the files that a user sees."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith(".")
    }


def hidden(folder: Path) -> list[str]:
    """Names of the files that runs keep for themselves."""
    return [path.name for path in folder.rglob(".hillsight-*")]


def names_taken(folder: Path) -> list[tuple[str, int]]:
    """Which file stands under each name that a user sees."""
    found = []
    for inside, _, names in os.walk(folder):
        for name in names:
            if not name.startswith("."):
                with contextlib.suppress(OSError):  # it is just being replaced
                    found.append((name, Path(inside, name).stat().st_ino))
    return found


def begun(work: Callable[[], object]) -> int:
    """Do some work in a forked process, which has all it needs loaded already; its number."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of threads: libraries' own, which wait
        number = os.fork()
    if number == 0:
        try:
            work()
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    return number


def write(ground: Path, folder: Path, target_m: float) -> None:
    """A viewshed of three stations, with everything it writes in one folder."""
    hillsight.viewshed(
        ground,
        at=_PLACES,
        reach=500,
        target_height=target_m,
        out=folder / "seen.gpkg",
        rasters=folder / "rasters",
    )


def read(ground: Path, folder: Path) -> None:
    """What the next run may do there: read stations out of the GeoPackage, and a raster as terrain."""
    hillsight.viewshed(ground, stations=folder / "seen.gpkg", station_layer="stations", reach=50)
    states = min((folder / "rasters").glob("viewshed_far*.tif"))
    hillsight.viewshed(states, at=_PLACES[1:2], reach=50, vertical_unit="m")


class Kills:
    """What kills leave.

    ``before`` counts what lay there after the kill, ``after`` what the next run left: "older", "newer" or
    "some of both".
    """

    def __init__(self, folder: Path, seed: int) -> None:
        self._chance = random.Random(seed)
        self._folder = folder
        world(folder / "world")
        self._ground = folder / "world" / "ground.tif"
        self._made = {}
        for name, target_m in (("older", 0), ("newer", 2)):
            place = folder / name / "out"
            place.mkdir(parents=True)
            start = time.monotonic()
            write(self._ground, place, target_m)
            self._takes_s = time.monotonic() - start
            self._made[name] = visible(place)
        self.before: Counter[str] = Counter()
        self.after: Counter[str] = Counter()
        self.left = 0

    def kill(self, number: int) -> str:
        """Kill one run; a line about it."""
        place = self._folder / "out"
        shutil.rmtree(place, ignore_errors=True)
        shutil.copytree(self._folder / "older" / "out", place)
        phase = PHASES[number % 3]
        run = begun(lambda: write(self._ground, place, 2))
        ended = self._watched(run, place, phase)
        if ended is None:
            os.kill(run, signal.SIGKILL)
            _, ended = os.waitpid(run, 0)
        found, unfinished = self._state(place), len(hidden(place))
        _, trouble = os.waitpid(begun(lambda: read(self._ground, place)), 0)
        then = "the next run failed" if trouble else self._state(place)
        late = not os.WIFSIGNALED(ended)
        if not late:
            self.before[found] += 1
            self.after[then] += 1
            self.left += sum(name.endswith(".json") for name in hidden(place))
        return f"{number} {phase}: {found}, {unfinished} hidden; then {then}{'; too late' if late else ''}"

    def _watched(self, run: int, place: Path, phase: str) -> int | None:
        """Wait for the moment of the kill; how the run ended, if it did before."""
        most_s = {PHASES[0]: self._takes_s, PHASES[1]: 0.3, PHASES[2]: 0.002}[phase]
        before = names_taken(place)
        moment = {
            PHASES[0]: lambda: True,
            PHASES[1]: lambda: bool(hidden(place)),
            PHASES[2]: lambda: names_taken(place) != before,
        }[phase]
        end = None
        while end is None or time.monotonic() < end:
            if end is None and moment():
                end = time.monotonic() + self._chance.uniform(0, most_s)
            done, ended = os.waitpid(run, os.WNOHANG)
            if done:
                return ended
        return None

    def _state(self, place: Path) -> str:
        there = visible(place)
        return next((name for name, files in self._made.items() if files == there), "some of both")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=90)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    os.environ["SOURCE_DATE_EPOCH"] = "1780000000"
    with tempfile.TemporaryDirectory() as folder:
        kills, number = Kills(Path(folder), given.seed), 0
        while kills.before.total() < given.kills:
            print(kills.kill(number), flush=True)
            number += 1
    print(f"after the kill: {dict(kills.before)}; after the next run: {dict(kills.after)}")
    print(f"journals left: {kills.left}")


if __name__ == "__main__":
    main()
