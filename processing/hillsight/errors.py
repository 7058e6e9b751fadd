"""Every error that hillsight raises on purpose: what is wrong, where, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

#: Faults of one kind that one message names; the rest are counted.
MOST_NAMED = 8


class HillsightError(Exception):
    """Root of all errors meant for the user; the text is complete and needs no traceback.

    Parameters
    ----------
    what : what is wrong, one clause, no full stop
    where : file, layer, row or field the trouble is in; empty if it has no place
    remedy : what the user can do, one sentence without a full stop; empty if nothing helps
    parameters : names of the parameters it is about, as Python has them. The text speaks of them in plain
        words; a script adds how each is given on the command line
    """

    exit_code = 2

    def __init__(
        self, what: str, *, where: str = "", remedy: str = "", parameters: Sequence[str] = ()
    ) -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        self.parameters = tuple(parameters)
        text = f"{where}: {what}" if where else what
        if remedy:
            text = f"{text}. {remedy}"
        super().__init__(f"{text}.")


class Faults:
    """Errors of several things of one kind, which are told together: whoever mends one can mend all.

    things : what they are about, in the plural, as ``stations``
    """

    def __init__(self, things: str) -> None:
        self.things = things
        self.found: list[HillsightError] = []

    @contextmanager
    def kept(self) -> Iterator[None]:
        """Keep the error that ends the block, and go on after it."""
        try:
            yield
        except HillsightError as error:
            self.found.append(error)

    def tell(self) -> None:
        """Raise what was kept, if anything was: one as it is, several as one error that names each.

        Raises
        ------
        HillsightError : of the class of the first
        """
        if not self.found:
            return
        first, *more = self.found
        if not more:
            raise first
        places = [error.where.split(", ") if error.where else [] for error in self.found]
        # What all places begin with, such as a file and its layer, is said once.
        same = 0
        while all(len(place) > same and place[same] == places[0][same] for place in places):
            same += 1
        each = []
        for place, error in zip(places[:MOST_NAMED], self.found, strict=False):
            own = ", ".join(place[same:])
            each.append(f"{own}: {error.what}" if own else error.what)
        if len(self.found) > MOST_NAMED:
            each.append(f"and {len(self.found) - MOST_NAMED} more")
        raise type(first)(
            f"{len(self.found)} {self.things} cannot be used: {'; '.join(each)}",
            where=", ".join(places[0][:same]),
            remedy=". ".join(dict.fromkeys(error.remedy for error in self.found if error.remedy)),
            parameters=tuple(dict.fromkeys(name for error in self.found for name in error.parameters)),
        )


class TerrainError(HillsightError):
    """The terrain cannot be read, or does not say what is needed to use it."""


class StationError(HillsightError):
    """A station is missing, misplaced or ambiguous."""


class FeatureError(HillsightError):
    """Map features cannot be read or used."""


class SightingError(HillsightError):
    """A sighting cannot be read, or contradicts itself."""


class ExerciseError(HillsightError):
    """An exercise cannot be read, or has not the places it needs."""


class PostsError(HillsightError):
    """A plan of marshal posts cannot be read, or asks for what cannot be."""


class BatchError(HillsightError):
    """A batch job cannot be read, or cannot go on from what is there."""


class PhotographError(HillsightError):
    """A photograph cannot be read, or is not the one that is meant."""


class MarksError(HillsightError):
    """What is marked on a photograph cannot be read or used."""


class NetworkError(HillsightError):
    """A file leads to an address on a network, and no request was asked for."""


class CallError(HillsightError):
    """An option or a combination of options makes no sense."""


class OutputError(HillsightError):
    """The result cannot be written where it was asked for."""
