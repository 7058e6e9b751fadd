"""What a page of an exercise shows, ready to be laid out: pictures, places on them, words."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Floats


@dataclass(frozen=True, eq=False)
class Trace:
    """Lines that belong to a reason, on a map or a view.

    reason : its number
    lines : each (n, 2), pixels, x right and y down
    """

    reason: int
    lines: tuple[Floats, ...]


@dataclass(frozen=True)
class Spot:
    """Where a landmark is on a picture.

    landmark : its number
    x_px, y_px : x right, y down, 0, 0 the picture's upper left corner
    says : what is to be said of it from there, such as bearing and distance; on a map nothing
    """

    landmark: int
    x_px: float
    y_px: float
    says: str = ""


@dataclass(frozen=True)
class PageLandmark:
    """A landmark that may be pointed at.

    number : left to right in the picture, from 1
    name, kind : as the map has them
    """

    number: int
    name: str
    kind: str
    evidence_class: str


@dataclass(frozen=True, eq=False)
class PageView:
    """A picture of a view.

    rgb : (height, width, 3), its pixels
    is_photograph : whether it is one, or drawn
    says : what it is; where it was taken from is never told here
    spots : landmarks on it
    traces : of reasons
    ticks : x (px) and figure of the scale of bearings along the lower edge; none where no bearing is known
    """

    rgb: Bytes
    is_photograph: bool
    says: str
    spots: tuple[Spot, ...] = ()
    traces: tuple[Trace, ...] = ()
    ticks: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True, eq=False)
class PagePlace:
    """A place that the picture may be from.

    name : the setter's, told with the answer
    where : its coordinates and where it would look, in words
    x_px, y_px : on the map
    left_grid_deg, span_deg : the sector that it would look into, clockwise from up the map
    view : what is seen from there; None where the question's picture is that
    dead : (rows, columns) over all of the map: 0 not judged, 1 seen, 2 dead ground, 3 not known
    traces : of reasons, on the map
    others : landmarks that are not seen from there, and why, by number
    ruled_out : what rules it out, sentences; none for the true place
    """

    letter: str
    name: str
    where: str
    x_px: float
    y_px: float
    left_grid_deg: float
    span_deg: float
    is_true: bool
    view: PageView | None
    dead: Bytes
    traces: tuple[Trace, ...] = ()
    others: tuple[tuple[int, str], ...] = ()
    ruled_out: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class PageMap:
    """The map without the places.

    rgb : (height, width, 3), north of the grid up
    metres_per_px : of the ground
    says : grid, contours, and what is on it, in words
    spots : landmarks on it
    sector_px : how far the places' sectors are drawn
    eastings, northings : of grid lines, x or y (px) and figure
    """

    rgb: Bytes
    metres_per_px: float
    says: str
    spots: tuple[Spot, ...]
    sector_px: float
    eastings: tuple[tuple[float, str], ...] = ()
    northings: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True)
class PageReason:
    """A reason to be ticked.

    number : in the order of the list, from 1; the order tells nothing
    words : what is said of the picture
    role : as ``plan.exercise.marking`` has it: decides, tells_nothing or not_so
    worth : points for ticking it
    because : why it is worth that, told with the answer
    landmarks : numbers of those that it is about
    """

    number: int
    words: str
    role: str
    evidence_class: str
    worth: int
    because: str
    landmarks: tuple[int, ...] = ()


@dataclass(frozen=True, eq=False)
class PageData:
    """An exercise.

    picture : of the question; its spots and traces come with the answer
    places : in the order of their letters
    reasons : in the order to be listed
    mistakes : to be expected, sentences
    made_of : where it all comes from, in words that give nothing away
    provenance : the same as JSON, packed with the answer
    """

    title: str
    question: str
    picture: PageView
    map: PageMap
    places: tuple[PagePlace, ...]
    landmarks: tuple[PageLandmark, ...]
    reasons: tuple[PageReason, ...]
    mistakes: tuple[str, ...]
    made_of: str
    provenance: str
    cautions: tuple[str, ...] = field(default=())

    @property
    def truth(self) -> PagePlace:
        """The place that the picture is from."""
        return next(one for one in self.places if one.is_true)
