"""Paper: its sizes, where the map and the margins stand on it, which scale would fit."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from hillsight.errors import CallError
from hillsight.sheets.map.frame import grid_metres
from hillsight.sheets.paper.labels import Box

#: Short and long side, mm (ISO 216).
PAPERS = {"A4": (210.0, 297.0), "A3": (297.0, 420.0)}
ORIENTATIONS = ("portrait", "landscape")
#: Denominators of the largest and the smallest scale.
LARGEST, SMALLEST = 10_000.0, 50_000.0

_SIDE = 14.0  # mm beside the map, with the grid's figures
_TOP = 17.0  # title
_SCALES_HEIGHT = 17.0  # figures below the map, then the scale bar and the check bar
_PORTRAIT_LEGEND, _LANDSCAPE_LEGEND = 46.0, 60.0  # its height below, its width beside the map
_EDGE = 7.0
MOST_SHEETS = 200
_ROUND_SCALES = (10_000, 12_500, 15_000, 20_000, 25_000, 30_000, 40_000, 50_000)


@dataclass(frozen=True)
class Layout:
    """A sheet of paper: boxes in mm from its lower left corner.

    room : for the map; scales : the row of bars below it; legend : north, signs and credits
    """

    paper: str
    orientation: str
    width: float
    height: float
    room: Box
    scales: Box
    legend: Box

    @property
    def is_wide(self) -> bool:
        """Whether the legend stands beside the map."""
        return self.orientation == "landscape"


def layout_of(paper: str, orientation: str) -> Layout:
    """Where things stand on a paper.

    Raises
    ------
    CallError : no such paper or orientation
    """
    if paper not in PAPERS:
        raise CallError(
            f"there is no paper {paper!r} here",
            remedy=f"Give one of {', '.join(PAPERS)}",
            parameters=("paper",),
        )
    if orientation not in ORIENTATIONS:
        raise CallError(
            f"the paper cannot lie {orientation!r}",
            remedy=f"Give one of {', '.join(ORIENTATIONS)}",
            parameters=("orientation",),
        )
    short, long = PAPERS[paper]
    if orientation == "portrait":
        bottom = _EDGE + _PORTRAIT_LEGEND + _SCALES_HEIGHT
        room = Box(_SIDE, bottom, short - _SIDE, long - _TOP)
        scales = Box(_SIDE, bottom - _SCALES_HEIGHT, short - _SIDE, bottom)
        legend = Box(_SIDE, _EDGE, short - _SIDE, _EDGE + _PORTRAIT_LEGEND)
        return Layout(paper, orientation, short, long, room, scales, legend)
    right = long - _EDGE - _LANDSCAPE_LEGEND
    bottom = _EDGE + _SCALES_HEIGHT - 2
    room = Box(_SIDE, bottom, right - 5, short - _TOP)
    scales = Box(_SIDE, bottom - _SCALES_HEIGHT, right - 5, bottom)
    legend = Box(right, _EDGE, long - _EDGE, short - _TOP)
    return Layout(paper, orientation, long, short, room, scales, legend)


@dataclass(frozen=True)
class Sheet:
    """One sheet of an area: its number, its row and column from the north-west, its edges on the grid (m)."""

    number: int
    row: int
    column: int
    limits: Box


def divide(area: Box, width_m: float, height_m: float, overlap_m: float) -> list[Sheet]:
    """Sheets of one size that cover an area, from the north-west on, in rows.

    Parameters
    ----------
    area : metres on the grid
    width_m, height_m : of what a sheet shows
    overlap_m : of neighbours at least, less than either; several sheets end at the area's edges and share
        what is over among their overlaps

    Returns
    -------
    one sheet about the area's middle where it fits

    Raises
    ------
    CallError : more than ``MOST_SHEETS``
    """
    count = count_of(area, width_m, height_m, overlap_m)
    if count > MOST_SHEETS:
        raise CallError(
            f"the area takes {count:,} sheets, and no more than {MOST_SHEETS} are drawn at once",
            remedy="Give a smaller area, a smaller scale or larger paper",
            parameters=("extent", "scale", "paper"),
        )
    lefts = _starts(area.left, area.right, width_m, overlap_m)
    bottoms = _starts(area.bottom, area.top, height_m, overlap_m)[::-1]
    return [
        Sheet(row * len(lefts) + column + 1, row, column, Box(x, y, x + width_m, y + height_m))
        for row, y in enumerate(bottoms)
        for column, x in enumerate(lefts)
    ]


def count_of(area: Box, width_m: float, height_m: float, overlap_m: float) -> int:
    """How many sheets of one size an area takes; see ``divide``."""
    across = _pieces(area.left, area.right, width_m, overlap_m)
    return across * _pieces(area.bottom, area.top, height_m, overlap_m)


def _pieces(low: float, high: float, side: float, overlap: float) -> int:
    """How many pieces of one length cover a stretch."""
    return 1 if high - low <= side * (1 + 1e-9) else ceil((high - low - overlap) / (side - overlap))


def _starts(low: float, high: float, side: float, overlap: float) -> list[float]:
    """Where pieces of one length begin that cover a stretch."""
    count = _pieces(low, high, side, overlap)
    if count == 1:
        return [(low + high) / 2 - side / 2]
    return [low + i * (high - low - side) / (count - 1) for i in range(count)]


def chosen_orientation(
    area: Box, paper: str, scale: float, grid_scale_factor: float, overlap_mm: float
) -> str:
    """The way of the paper that takes fewer sheets; of equal ones, that of the area's longer side."""
    per_mm = grid_metres(scale, grid_scale_factor)
    counts = {}
    for orientation in ORIENTATIONS:
        room = layout_of(paper, orientation).room
        counts[orientation] = count_of(area, room.width * per_mm, room.height * per_mm, overlap_mm * per_mm)
    if counts["portrait"] == counts["landscape"]:
        return "landscape" if area.width > area.height else "portrait"
    return min(counts, key=lambda orientation: counts[orientation])


def scale_that_fits(area: Box, paper: str, orientation: str | None, grid_scale_factor: float) -> float | None:
    """The largest round scale at which an area fits one sheet of a paper; None where not even 1:50,000."""
    ways = ORIENTATIONS if orientation is None else (orientation,)
    for scale in _ROUND_SCALES:
        per_mm = grid_metres(scale, grid_scale_factor)
        for way in ways:
            room = layout_of(paper, way).room
            if area.width <= room.width * per_mm and area.height <= room.height * per_mm:
                return float(scale)
    return None


def check_scale(scale: float, name: str = "scale") -> None:
    """Refuse scales that the signs are not made for.

    Raises
    ------
    CallError : not from 1:10,000 to 1:50,000
    """
    if not LARGEST <= scale <= SMALLEST:
        raise CallError(
            f"a map sheet at 1:{scale:,.10g} is not drawn",
            remedy=f"Give a number from {LARGEST:.0f} to {SMALLEST:.0f}, such as 25000",
            parameters=(name,),
        )


def does_not_fit(area: Box, paper: str, orientation: str | None, scale: float, factor: float) -> CallError:
    """The error where an area must be on one sheet and is too large: which scale and paper would do."""
    ways = []
    for name in PAPERS:
        found = scale_that_fits(area, name, orientation, factor)
        if found is not None:
            ways.append(f"1:{found:,.0f} on {name}")
    size = f"{area.width / 1000:,.2f} by {area.height / 1000:,.2f} km"
    remedy = f"It fits at {' or at '.join(ways)}" if ways else "Not even 1:50,000 on A3 would do: give less"
    return CallError(
        f"{size} do not fit one sheet of {paper} at 1:{scale:,.10g}",
        remedy=f"{remedy}; or let it be several sheets",
        parameters=("scale", "paper", "one_sheet"),
    )
