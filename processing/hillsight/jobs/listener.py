"""Hears what a job has to say while it runs: notes, progress, and each station's rows as they are read."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import geopandas


#: How the note of the terrain's errors begins: every run has it, and it warns of nothing.
ERRORS_NOTE = "errors of the terrain model: "


class Listener:
    """Hears everything and says nothing; override what is of interest.

    ``progress`` may be called from several threads at once. No note is lost on somebody who does not listen:
    the result holds them all.
    """

    def note(self, text: str) -> None:
        """One thing that the user should know, in one sentence."""

    def waiting(self, why: str) -> None:
        """What comes now takes longer than usual."""

    def progress(self, what: str, share: float) -> None:
        """How much of a piece of work is done, 0 to 1; ``what`` is a station's label or names the work."""

    def station_read(self, frames: Mapping[str, geopandas.GeoDataFrame]) -> None:
        """One station's rows by layer, in the working CRS; the job itself does not keep them."""

    def begins(self, job: str, asked: Mapping[str, Any]) -> None:
        """A job begins as a part of another; ``asked`` are its parameters."""

    def ended(self, job: str, result: Any) -> None:
        """That job is done."""

    @contextmanager
    def work(self, what: str) -> Iterator[Callable[[float], None]]:
        """Tell of a piece of work: call what is yielded with the share done."""
        self.progress(what, 0.0)
        yield partial(self.progress, what)
        self.progress(what, 1.0)


SILENT = Listener()


def say_if_compiling(listener: Listener, *, pairs: bool = False) -> None:
    """Say why the first run takes longer, if this is one; nothing where the kernels are ready.

    pairs : of a job that asks about pairs of places alone, and sweeps over no ground
    """
    from hillsight.kernels.readiness import readiness
    from hillsight.sight.sweep import walk_fan
    from hillsight.sight.walks import clearance_of_pairs

    state = readiness(clearance_of_pairs if pairs else walk_fan)
    if state == "once":
        listener.waiting("compiling the sight kernels for this machine, once: some twenty seconds")
    elif state == "always":
        listener.waiting(
            "compiling the sight kernels, some twenty seconds, as in each run: "
            "no folder to keep them in can be written to (see: hillsight doctor)"
        )
