"""An exercise: one picture, and several places of which it was taken from one."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime

QUESTION = "From which of these places was the picture taken, and how do you know?"
"""What is asked where the exercise asks nothing else."""

GRADES = ("easy", "moderate", "hard")
"""How fine the judgement is that an exercise asks for."""

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
"""What places are called on sheets."""

#: A name that is but a place's coordinates, as places are called that a search finds.
_COORDINATES = re.compile(r"E -?\d+ N -?\d+")


@dataclass(frozen=True)
class ExercisePlace:
    """One of the places; easting and northing in the exercise's CRS, metres.

    name : for the setter alone; it never stands on a question sheet
    """

    name: str
    easting_m: float
    northing_m: float
    is_true: bool = False


@dataclass(frozen=True)
class ExercisePicture:
    """The picture that is shown.

    looks_deg : bearing of its middle, counted from ``north``
    width_deg : angle between its sides
    eye_height_m : of the eye or the camera above the ground
    photo, marks : files as the exercise names them; None where a drawn view is shown
    taken : the day, which magnetic bearings need
    """

    looks_deg: float
    north: str = "true"
    width_deg: float = 60.0
    eye_height_m: float = 1.6
    photo: str | None = None
    marks: str | None = None
    taken: datetime.datetime | datetime.date | None = None


@dataclass(frozen=True)
class Exercise:
    """The whole of it.

    terrain, features, surface, cover : files as the exercise names them, see ``beside``; the last two tell
        what stands on the ground and hides
    crs : of the places; the terrain's own, or its metric grid, where None
    seed : draws the letters of the places
    theme : what it is about; grade : one of ``GRADES``; empty where nothing is said
    source : the file, for messages and provenance; empty where there is none
    """

    title: str
    picture: ExercisePicture
    places: tuple[ExercisePlace, ...]
    question: str = QUESTION
    terrain: str | None = None
    features: tuple[str, ...] = ()
    surface: str | None = None
    cover: tuple[str, ...] = ()
    crs: str | None = None
    seed: int = 1
    theme: str = ""
    grade: str = ""
    source: str = ""

    def truth(self) -> int:
        """Number of the place where the picture was taken, from 0."""
        return next(k for k, place in enumerate(self.places) if place.is_true)

    def letters(self) -> tuple[str, ...]:
        """Letter of each place, in the order of ``places``: the same every time, and telling nothing."""
        letters = [""] * len(self.places)
        for letter, k in zip(LETTERS, self.by_letter(), strict=False):
            letters[k] = letter
        return tuple(letters)

    def called(self, number: int) -> str:
        """A place as its setter is told of it: its letter, and its name unless that is but coordinates."""
        name, letter = self.places[number].name, self.letters()[number]
        return letter if _COORDINATES.fullmatch(name) else f"{letter} ({name})"

    def by_letter(self) -> list[int]:
        """Numbers of the places in the order of their letters, which is how sheets show them."""
        return sorted(range(len(self.places)), key=self._drawn)

    def beside(self, name: str) -> str:
        """A file that the exercise names: as it lies from the exercise's own folder."""
        return str(Path(self.source).parent / name) if self.source else name

    def _drawn(self, number: int) -> str:
        """A number of the lot of a place; its coordinates keep truths from having one letter everywhere."""
        place = self.places[number]
        lot = f"{self.seed} {place.easting_m:.3f} {place.northing_m:.3f}"
        return hashlib.sha256(lot.encode()).hexdigest()
