"""What somebody marked on a photograph: landmarks, the sky's edge, the near brow's edge.

The file (JSON) says which photograph it is of, by size and SHA-256, and holds nothing of where it was taken.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.errors import MarksError
from hillsight.ground.small_files import read_small
from hillsight.plan.picture.marks_schema import FORMAT, HOWS, MOST_MARKS, PIXEL_FRAME, VERSION
from hillsight.words.marks import marks_escaped

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.plan.picture.photograph import Photograph

#: How far a mark is out where nothing is said, pixels, one standard deviation: a click and a traced line.
#: Common practice, no source.
CLICK_PX, TRACE_PX = 2.0, 3.0

#: Characters of a value that a message shows at most.
_SHOWN = 60


@dataclass(frozen=True)
class MarkedPhotograph:
    """The photograph that marks belong to; its size is that of the picture as shown."""

    name: str
    width_px: int
    height_px: int
    sha256: str


@dataclass(frozen=True)
class Landmark:
    """A place in the picture that is known on the map: by a feature's name, by coordinates, or by both.

    x_px, y_px : in the picture as shown; give_or_take_px : one standard deviation of either
    feature : name on the map, or empty
    easting_m, northing_m, height_m : None where not given; of a height left out the ground's is taken
    crs : of the coordinates; empty for the terrain's grid
    """

    x_px: float
    y_px: float
    feature: str = ""
    easting_m: float | None = None
    northing_m: float | None = None
    height_m: float | None = None
    crs: str = ""
    give_or_take_px: float = CLICK_PX


@dataclass(frozen=True, eq=False)
class Trace:
    """A piece of a line in the picture as shown; x_px, y_px (n,), n >= 2, in the order drawn.

    how : "traced" by a person or "found" by a program
    give_or_take_px : one standard deviation, None where nobody says
    """

    x_px: Floats
    y_px: Floats
    how: str = "traced"
    give_or_take_px: float | None = None

    @property
    def spread_px(self) -> float:
        """One standard deviation, the usual one where nobody says."""
        return TRACE_PX if self.give_or_take_px is None else self.give_or_take_px

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Trace) and self._values() == other._values()

    def __hash__(self) -> int:
        return hash(json.dumps(self._values()))

    def _values(self) -> list[Any]:
        points = np.stack([self.x_px, self.y_px], axis=-1)
        return [points.tolist(), self.how, self.give_or_take_px]


@dataclass(frozen=True)
class Marks:
    """All that is marked on one photograph."""

    photograph: MarkedPhotograph
    landmarks: tuple[Landmark, ...] = ()
    skyline: tuple[Trace, ...] = ()
    brow: tuple[Trace, ...] = ()

    @classmethod
    def read(cls, path: str | Path) -> Marks:
        """The marks that a file holds.

        Raises
        ------
        MarksError : the file cannot be read, is no JSON, or says what marks cannot say; with the place in it
        """
        top = _Place(str(path))
        try:
            content = json.loads(read_small(path).decode("utf-8-sig"))
        except OSError as error:
            raise top.error(
                f"the marks cannot be read: {error.strerror or error}", "Check the path"
            ) from error
        except (ValueError, RecursionError) as error:
            what = f"the file of marks is no JSON: {error}"
            raise top.error(what, "Give the file that was saved when the marks were made") from error
        return _marks(content, top)

    def check(self, photograph: Photograph) -> None:
        """Refuse another photograph.

        Raises
        ------
        MarksError : its size as shown or its SHA-256 is another
        """
        own, given = self.photograph, photograph
        if own.sha256 == given.sha256 and (own.width_px, own.height_px) == (given.width_px, given.height_px):
            return
        sizes = f"{own.width_px} x {own.height_px} and {given.width_px} x {given.height_px} pixels"
        alike = (own.width_px, own.height_px) == (given.width_px, given.height_px)
        what = "the files differ though their sizes agree" if alike else f"their sizes are {sizes}"
        raise MarksError(
            f"the marks are of another photograph ({own.name}): {what}",
            where=given.name,
            remedy="Give the very file that was marked, not a copy that was saved anew",
        )

    def write(self, path: str | Path) -> None:
        """Write the file of marks; whoever calls sees to it that it replaces an older one as a whole."""
        Path(path).write_text(self.to_json(), encoding="utf-8", newline="\n")

    def to_json(self) -> str:
        """The text of the file."""
        photograph = self.photograph
        content: dict[str, Any] = {
            "format": FORMAT,
            "version": VERSION,
            "photograph": {
                "name": photograph.name,
                "width_px": photograph.width_px,
                "height_px": photograph.height_px,
                "sha256": photograph.sha256,
            },
            "pixel_frame": PIXEL_FRAME,
            "landmarks": [_landmark_values(one) for one in self.landmarks],
            "skyline": [_trace_values(one) for one in self.skyline],
            "brow": [_trace_values(one) for one in self.brow],
        }
        return marks_escaped(json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)) + "\n"


def _shown(value: Any) -> str:
    """A value of a file for a message; long ones are cut."""
    try:
        text = repr(value)
    except ValueError:  # Python turns no whole number of thousands of digits into text
        return "a number of thousands of digits"
    return text if len(text) <= _SHOWN else f"{text[: _SHOWN - 20]}... ({len(text):,} characters)"


def _landmark_values(mark: Landmark) -> dict[str, Any]:
    values = {"feature": mark.feature or None, "easting_m": mark.easting_m, "northing_m": mark.northing_m}
    values |= {"height_m": mark.height_m, "crs": mark.crs or None, "x_px": mark.x_px, "y_px": mark.y_px}
    values["give_or_take_px"] = mark.give_or_take_px
    return {name: value for name, value in values.items() if value is not None}


def _trace_values(trace: Trace) -> dict[str, Any]:
    points = np.stack([trace.x_px, trace.y_px], axis=-1).tolist()
    values: dict[str, Any] = {"points_px": points, "how": trace.how}
    if trace.give_or_take_px is not None:
        values["give_or_take_px"] = trace.give_or_take_px
    return values


@dataclass(frozen=True)
class _Place:
    """A file and where in it the reading stands."""

    source: str
    path: str = ""

    def within(self, step: str) -> _Place:
        return _Place(self.source, f"{self.path}, {step}" if self.path else step)

    def error(self, what: str, remedy: str) -> MarksError:
        where = f"{self.source}, {self.path}" if self.path else self.source
        return MarksError(what, where=where, remedy=remedy, parameters=("marks",))


@dataclass(frozen=True)
class _Fields:
    """An object of the file, whose fields are taken one by one."""

    values: Mapping[str, Any]
    place: _Place

    @classmethod
    def of(cls, value: Any, place: _Place, allowed: tuple[str, ...]) -> _Fields:
        if not isinstance(value, dict):
            raise place.error("an object with fields is needed here", f"Fields are {', '.join(allowed)}")
        for name in value:
            if name not in allowed:
                raise place.error(f"there is no field {_shown(name)}", f"Fields are {', '.join(allowed)}")
        return cls(value, place)

    def number(self, name: str, least: float, most: float) -> float:
        value = self.values.get(name)
        if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
            what = "is missing" if value is None else f"is {_shown(value)}"
            raise self.place.error(f"{name} {what}", f"Give a number from {least:g} to {most:g}")
        return float(value)

    def whole(self, name: str, least: int, most: int) -> int:
        value = self.number(name, least, most)
        if value != int(value):
            raise self.place.error(f"{name} is {value:g}", "Give a whole number")
        return int(value)

    def text(self, name: str) -> str:
        value = self.values.get(name)
        if not isinstance(value, str) or not value.strip():
            raise self.place.error(f"{name} is no text", "Give it in quotation marks")
        return value

    def members(self, name: str, most: int) -> list[Any]:
        value = self.values.get(name, [])
        if not isinstance(value, list):
            raise self.place.error(f"{name} is no list", "Put it in square brackets")
        if len(value) > most:
            raise self.place.error(f"{name} has {len(value):,} members", f"Keep to {most:,}")
        return value


def _marks(content: Any, top: _Place) -> Marks:
    allowed = ("format", "version", "photograph", "pixel_frame", "landmarks", "skyline", "brow")
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise top.error(
            f"this is no file of marks: its format is not {FORMAT!r}",
            "Give the file that was saved when the marks were made",
        )
    if content.get("version") != VERSION:
        raise top.error(
            f"the marks are of version {_shown(content.get('version'))}, and this program reads {VERSION}",
            "Use the program that they were made with, or mark anew",
        )
    fields = _Fields.of(content, top, allowed)
    if content.get("pixel_frame", PIXEL_FRAME) != PIXEL_FRAME:
        raise top.error("pixel_frame is another one", f"It must be: {PIXEL_FRAME}")
    photograph = _photograph(content.get("photograph"), top.within("photograph"))
    landmarks = tuple(
        _landmark(one, top.within(f"landmark {number}"), photograph)
        for number, one in enumerate(fields.members("landmarks", MOST_MARKS), 1)
    )
    traces = {
        name: tuple(
            _trace(one, top.within(f"{name} piece {number}"), photograph)
            for number, one in enumerate(fields.members(name, MOST_MARKS), 1)
        )
        for name in ("skyline", "brow")
    }
    return Marks(photograph, landmarks, **traces)


def _photograph(value: Any, place: _Place) -> MarkedPhotograph:
    fields = _Fields.of(value, place, ("name", "width_px", "height_px", "sha256"))
    sha256 = fields.text("sha256").lower()
    if len(sha256) != 64 or set(sha256) - set("0123456789abcdef"):
        raise place.error("sha256 is no SHA-256", "It has 64 hexadecimal digits")
    width_px, height_px = (fields.whole(name, 1, 1_000_000) for name in ("width_px", "height_px"))
    return MarkedPhotograph(fields.text("name"), width_px, height_px, sha256)


def _landmark(value: Any, place: _Place, photograph: MarkedPhotograph) -> Landmark:
    names = ("feature", "easting_m", "northing_m", "height_m", "crs", "x_px", "y_px", "give_or_take_px")
    fields = _Fields.of(value, place, names)
    given = {name for name in names if fields.values.get(name) is not None}
    if ("easting_m" in given) != ("northing_m" in given) or not given & {"feature", "easting_m"}:
        raise place.error(
            "the landmark has neither the name of a feature nor coordinates",
            "Give feature, or easting_m and northing_m, or all three",
        )
    if given & {"height_m", "crs"} and "easting_m" not in given:
        raise place.error("a height or crs stands without coordinates", "Give easting_m and northing_m")
    coordinates = {
        name: fields.number(name, -least, least)
        for name, least in (("easting_m", 1e8), ("northing_m", 1e8), ("height_m", 1e5))
        if name in given
    }
    return Landmark(
        fields.number("x_px", 0.0, photograph.width_px),
        fields.number("y_px", 0.0, photograph.height_px),
        feature=fields.text("feature") if "feature" in given else "",
        crs=fields.text("crs") if "crs" in given else "",
        give_or_take_px=_give_or_take(fields, CLICK_PX) or CLICK_PX,
        **coordinates,
    )


def _trace(value: Any, place: _Place, photograph: MarkedPhotograph) -> Trace:
    fields = _Fields.of(value, place, ("points_px", "how", "give_or_take_px"))
    points = fields.members("points_px", 1_000_000)
    if len(points) < 2:
        raise place.error("points_px has fewer than two points", "Give [[x, y], [x, y], ...]")
    shape = (photograph.width_px, photograph.height_px)
    for number, point in enumerate(points, 1):
        if not isinstance(point, list) or len(point) != 2:
            raise place.error(f"point {number} is no pair", "Give [x, y] in pixels")
        pair = _Fields({"x": point[0], "y": point[1]}, place.within(f"point {number}"))
        for name, most in zip(("x", "y"), shape, strict=True):
            pair.number(name, 0.0, most)
    how = fields.values.get("how", "traced")
    if how not in HOWS:
        raise place.error(f"how is {_shown(how)}", f"It is one of {', '.join(HOWS)}")
    array = np.asarray(points, np.float64)
    return Trace(array[:, 0], array[:, 1], how, _give_or_take(fields, None))


def _give_or_take(fields: _Fields, otherwise: float | None) -> float | None:
    if fields.values.get("give_or_take_px") is None:
        return otherwise
    return fields.number("give_or_take_px", 0.01, 1e5)
