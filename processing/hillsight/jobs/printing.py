"""How the pictures of a job become files: the three parameters that all jobs with pictures share."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.errors import CallError
from hillsight.sheets.paper.saving import DRAWINGS, Printing

if TYPE_CHECKING:
    from hillsight.jobs.requests import Pictures

#: Coarser, letters run together; finer, a page of A3 takes gigabytes of memory.
LEAST_DOTS, MOST_DOTS = 72, 600


def printing_of(request: Pictures) -> Printing:
    """What a request says of its pictures.

    Raises
    ------
    CallError : no such kind of file, or a resolution out of bounds
    """
    kinds = [end.removeprefix(".") for end in DRAWINGS]
    if request.picture_format not in kinds:
        raise CallError(
            f"pictures can be {', '.join(kinds[:-1])} or {kinds[-1]}, not {request.picture_format!r}",
            remedy="Name one of them",
            parameters=("picture_format",),
        )
    if not LEAST_DOTS <= request.dots_per_inch <= MOST_DOTS:
        raise CallError(
            f"pictures have {LEAST_DOTS} to {MOST_DOTS} dots an inch, not {request.dots_per_inch}",
            remedy="Ask for 300, as printers do",
            parameters=("dots_per_inch",),
        )
    return Printing(request.picture_format, request.dots_per_inch, request.white_paper)
