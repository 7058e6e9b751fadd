"""Every error that hillsight raises on purpose: what is wrong, where, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence


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
