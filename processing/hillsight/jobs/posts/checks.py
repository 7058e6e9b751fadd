"""What is refused of a plan of posts before the work."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.errors import CallError, OutputError, PostsError
from hillsight.jobs.input_files import named_files
from hillsight.jobs.outputs import check_outputs
from hillsight.jobs.posts.drawings import check_drawings
from hillsight.layers.atomic import check_place
from hillsight.plan.posts.fields import CONTROL
from hillsight.plan.posts.file import unknown_post, which_posts
from hillsight.words.english import folded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.jobs.posts.places import Standing
    from hillsight.jobs.posts.request import PostsRequest
    from hillsight.plan.posts.course import Stretches
    from hillsight.plan.posts.places import Places
    from hillsight.plan.posts.plan import PostsPlan

#: Fewest and most draws of the terrain's errors.
_DRAWS = (16, 1024)

#: Most places times pieces of the course: a byte each, and more while they are seen.
_MOST_PAIRS = 200_000_000


def check_request(request: PostsRequest) -> None:
    """Refuse what makes no sense before the work."""
    check_outputs(request)
    if not _DRAWS[0] <= request.draws <= _DRAWS[1]:
        raise CallError(
            f"{request.draws:,} draws make no chance",
            remedy=f"Give a number from {_DRAWS[0]} to {_DRAWS[1]:,}",
            parameters=("draws",),
        )
    check_drawings(request)
    if request.gpx is None:
        return
    check_place(request.gpx, inputs=named_files(request))
    if request.gpx.suffix.lower() != ".gpx":
        raise OutputError(
            "the name must end in .gpx",
            where=str(request.gpx),
            remedy=f"Name it {request.gpx.stem}.gpx or alike",
            parameters=("gpx",),
        )


def check_written(request: PostsRequest, plan: PostsPlan) -> None:
    """Refuse to write over a file that the plan names, before the work.

    Raises
    ------
    OutputError : it would be
    """
    grounds = [ground.file for ground in (*plan.stands, *plan.no_go) if ground.file is not None]
    named = [plan.course.file, plan.terrain, plan.surface, *plan.features, *plan.cover, *grounds]
    for file in (request.out, request.gpx, request.map_file):
        if file is not None:
            check_place(file, inputs=[plan.beside(name) for name in named if name is not None])


def check_size(places: Places, stretches: Stretches) -> None:
    """Refuse more places and pieces than can be held.

    Raises
    ------
    PostsError : there are
    """
    pairs = len(places) * stretches.pieces
    if pairs > _MOST_PAIRS:
        raise PostsError(
            f"{len(places):,} places and {stretches.pieces:,} pieces of the course make {pairs:,} sight "
            f"lines, and {_MOST_PAIRS:,} are the most",
            remedy="Widen every_m below [[stand]], or stretch_m below [course]",
        )


def check_pairs(plan: PostsPlan, named: Sequence[str]) -> None:
    """Refuse a pair that names neither a fixed post, a named place nor control, before the work.

    Parameters
    ----------
    named : fixed posts and named places to stand

    Raises
    ------
    PostsError : it does
    """
    known = [*dict.fromkeys(named), *([] if plan.radios.control is None else [CONTROL])]
    for pair in plan.pairs:
        for name in (pair.one, pair.other):
            if folded(name) not in map(folded, known):
                raise PostsError(unknown_post(name), where=plan.source, remedy=which_posts(name, known))


def check_refused(plan: PostsPlan, standing: Standing) -> None:
    """Refuse a pair that names a place on which the limits let nobody stand.

    Raises
    ------
    PostsError : it does
    """
    for pair in plan.pairs:
        for name in (pair.one, pair.other):
            limits = standing.refused_names.get(folded(name))
            if limits:
                raise PostsError(
                    f"a pair names {name!r}, where the limits let nobody stand: {', '.join(limits)}",
                    where=plan.source,
                    remedy="Loosen the limit, name the place as [[fixed]], or take the pair out",
                )
