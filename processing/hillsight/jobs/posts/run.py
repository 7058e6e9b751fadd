"""Where marshals stand along a course, what of it they see, and what nobody sees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.ground.geodesy import Geodesy
from hillsight.ground.sun import daylight
from hillsight.jobs.doubts import error_model, error_note
from hillsight.jobs.inputs import described, settled_out_crs
from hillsight.jobs.listener import SILENT, Listener, say_if_compiling
from hillsight.jobs.outputs import (
    output_way,
    provenance_of,
    write_style_folder,
    write_text,
)
from hillsight.jobs.posts.checks import (
    check_pairs,
    check_refused,
    check_request,
    check_size,
    check_written,
)
from hillsight.jobs.posts.course import read_course
from hillsight.jobs.posts.drawings import draw_posts
from hillsight.jobs.posts.found import LAYERS, FoundPosts
from hillsight.jobs.posts.ground import NamedPlaces, opened_plan
from hillsight.jobs.posts.places import StandingGround, surface_over, where_to_stand
from hillsight.jobs.posts.request import PostsRequest
from hillsight.jobs.posts.shown import ShownPosts
from hillsight.jobs.results import Result
from hillsight.jobs.sink import sink_for
from hillsight.layers.atomic import together
from hillsight.layers.posts_gpx import posts_gpx
from hillsight.plan.posts.choosing import choose
from hillsight.plan.posts.course import cut
from hillsight.plan.posts.dangers import weighed
from hillsight.plan.posts.drawn import watch_drawn
from hillsight.plan.posts.manned import manned
from hillsight.plan.posts.meeting import meetings
from hillsight.plan.posts.outcome import CAUTIONS, Outcome
from hillsight.plan.posts.posts_words import posts_lines
from hillsight.plan.posts.radio import RADIO_CAUTION, radio_words
from hillsight.plan.posts.watching import Watching, watch
from hillsight.words.quantities import metres

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats
    from hillsight.ground.grid import Surface
    from hillsight.ground.sun import Daylight
    from hillsight.ground.terrain import Terrain
    from hillsight.jobs.posts.ground import PlanGround
    from hillsight.jobs.posts.places import Standing
    from hillsight.plan.posts.choosing import Choice
    from hillsight.plan.posts.course import Course, Stretches
    from hillsight.plan.posts.plan import PostsPlan

#: No place is walked to from nowhere: its effort, minutes, where no way leads there.
_NO_WAY_MIN = 1_440.0


@dataclass(frozen=True, eq=False, kw_only=True)
class PlannedPosts(Result):
    """Where marshals stand; the layers are those of ``LAYERS``.

    outcome : the posts in running order and what they see
    lines : the same in sentences and tables of 80 columns
    """

    outcome: Outcome
    lines: tuple[str, ...]

    @property
    def is_short(self) -> bool:
        """Whether less is seen than is wanted, or a pair does not reach each other."""
        return self.outcome.is_short


def posts(
    plan: Any,
    *,
    terrain: Any = None,
    terrain_crs: str | None = None,
    band: int | None = None,
    vertical_unit: str | None = None,
    nodata: float | None = None,
    grid_crs: str | None = None,
    surface: Any = None,
    cover: Any = (),
    cover_layer: Sequence[str] | str = (),
    cover_heights: str | Path | None = None,
    leaf: str = "on",
    features: Any = (),
    feature_layer: Sequence[str] | str = (),
    evidence: str | Path | None = None,
    refraction: float = 0.13,
    terrain_product: str | None = None,
    terrain_error: float | None = None,
    error_correlation: float | None = None,
    between_posts: str = "unknown",
    draws: int = 128,
    out: str | Path | None = None,
    out_crs: str | None = None,
    gpx: str | Path | None = None,
    sheets: str | Path | None = None,
    map_file: str | Path | None = None,
    listener: Listener = SILENT,
) -> PlannedPosts:
    """Choose where marshals stand along a course, and tell what of it nobody sees.

    Parameters
    ----------
    plan : a file, or a ``PostsPlan``
    terrain : a raster file, a ``Raster`` or an xarray DataArray; the plan's own if not given
    surface, cover, cover_layer, cover_heights, leaf : what stands on the ground and hides
    features : vector files or GeoDataFrames, one or several; the plan's own if not given
    refraction : of light
    draws : of the terrain's errors, for the chances of being seen
    out : GeoPackage to write; gpx : posts and unseen stretches as GPX too
    sheets : a folder for a sheet of each post; map_file : the map of all posts, .pdf, .svg or .png
    listener : hears of progress and notes

    docs/scripts/posts.md tells of the plan and of the rest.

    Raises
    ------
    HillsightError : bad input, or a file cannot be written
    """
    return run_posts(PostsRequest.of(locals()), listener)


@together()
def run_posts(request: PostsRequest, listener: Listener = SILENT) -> PlannedPosts:
    """Do what a request asks for; see :func:`posts`."""
    out_crs = settled_out_crs(request.out_crs)
    check_request(request)
    with opened_plan(request) as ground:
        plan, inputs = ground.plan, ground.inputs
        check_written(request, plan)
        errors = error_model(request, inputs.spacing_m)
        way, cautions = output_way(inputs, out_crs)
        to_wgs84 = inputs.terrain.to_wgs84 if request.gpx is not None else None
        course, course_notes = read_course(plan, ground.terrain, _checkpoint_places(ground))
        places = NamedPlaces.of(ground)
        to_stand = StandingGround.of(ground, course)
        check_pairs(plan, [*(place.name for place in places.fixed), *to_stand.names])
        area = surface_over(ground, course, places.all)
        stretches = weighed(
            course,
            cut(course, plan.course.stretch_m, plan.course.shared_within_m),
            area,
            plan.dangers,
            plan.named_dangers,
            ground.water,
            ground.paths,
            plan.course.shared_within_m,
        )
        say_if_compiling(listener, pairs=True)
        with listener.work("places to stand"):
            standing = where_to_stand(ground, to_stand, area, places.fixed, places.banned, places.access)
        check_refused(plan, standing)
        check_size(standing.places, stretches)
        notes = list(
            dict.fromkeys(
                (
                    *inputs.notes,
                    *course_notes,
                    *standing.notes,
                    error_note(errors, covered=inputs.is_covered),
                    f"radio: {radio_words(plan.radios)}",
                    RADIO_CAUTION,
                    *_light_notes(plan),
                    *_unknown_notes(stretches, area),
                    *cautions,
                )
            )
        )
        for text in notes:
            listener.note(text)
        how = _watching(plan, request.refraction)
        with listener.work("what each place sees") as advance:
            seen = watch(ground.terrain, standing.places, stretches, how, advance)
        with listener.work("choosing"):
            choice = _chosen(plan, seen, stretches, standing)
        in_order = manned(standing.places, choice, course)
        with listener.work("chances") as advance:
            drawn = watch_drawn(
                ground.terrain,
                standing.places,
                stretches,
                how,
                errors,
                in_order.place,
                request.draws,
                advance,
            )
        heads = watch(
            ground.terrain,
            standing.places.taken(in_order.place),
            stretches,
            replace(how, runner_least_m=plan.eyes.runner_most_m),
        )
        reached = meetings(
            area,
            in_order,
            places.control,
            plan,
            standing.places,
            _earth_radius_m(course, ground.terrain),
            request.refraction,
        )
        outcome = Outcome.of(
            plan,
            course,
            stretches,
            in_order,
            choice,
            seen[in_order.place],
            heads,
            drawn,
            _rise_m(course, stretches, area),
            reached.answers,
        )
        access = tuple(place.name for place in places.access)
        found = FoundPosts(outcome, reached, standing, area, access, _light(plan, ground.terrain))
        frames = found.frames()
        provenance = provenance_of("posts", request.told(), inputs)
        files = (described(plan.beside(plan.course.file)), *standing.files)
        provenance = replace(
            provenance,
            inputs=tuple(dict.fromkeys((*provenance.inputs, *files))),
            operations=(*provenance.operations, *way),
            notes=(*CAUTIONS, *notes),
        )
        paths = [file.path for file in provenance.inputs]
        written: dict[str, tuple[Path, ...]] = {}
        with sink_for(
            request.out,
            LAYERS,
            provenance,
            inputs=paths,
            out_crs=out_crs,
            near=inputs.terrain.near,
            rasters_wanted=False,
        ) as sink:
            sink.add(frames)
            sink.close(provenance)
        if request.out is not None:
            write_style_folder(request.out)
            written["out"] = (request.out,)
        if request.gpx is not None and to_wgs84 is not None:
            text = posts_gpx(
                plan.title,
                " ".join(CAUTIONS),
                frames["posts"],
                frames["unseen_stretches"],
                to_wgs84,
            )
            write_text(request.gpx, text, paths)
            written["gpx"] = (request.gpx,)
        if request.sheets is not None or request.map_file is not None:
            with listener.work("sheets"):
                shown = ShownPosts.of(found, frames, ground, places.access, request.refraction)
                written |= draw_posts(shown, ground.request, provenance)
        return PlannedPosts(
            frames=sink.frames,
            rasters={},
            notes=tuple(notes),
            provenance=provenance,
            files=written,
            outcome=outcome,
            lines=tuple(posts_lines(outcome, frames, found.light)),
        )


def _checkpoint_places(ground: PlanGround) -> list[tuple[float, float] | None]:
    """Places of checkpoints on the working grid; None of those told by how far along they stand."""
    return [
        None
        if one.easting_m is None or one.northing_m is None
        else ground.on_grid(one.easting_m, one.northing_m, f"checkpoint {one.name!r}")
        for one in ground.plan.course.checkpoints
    ]


def _light_notes(plan: PostsPlan) -> list[str]:
    start = plan.paces.start
    if start is None or start.tzinfo is not None:
        return []
    return ["the start is told without its zone: daylight is not reckoned with"]


def _unknown_notes(stretches: Stretches, surface: Surface) -> list[str]:
    """What is said where the course runs over voids of the terrain."""
    known = np.isfinite(surface.heights_at_m(stretches.easting_m, stretches.northing_m))
    length_m = float(stretches.length_m[~known].sum())
    if length_m == 0:
        return []
    return [f"{metres(length_m)} of the course lie on unknown ground: counted as seen by nobody"]


def _light(plan: PostsPlan, terrain: Terrain) -> Daylight | None:
    """The light of the day of the start; None where the plan does not say it, with its zone."""
    start = plan.paces.start
    if start is None or start.tzinfo is None:
        return None
    return daylight(start.date(), start.tzinfo, *terrain.near)


def _earth_radius_m(course: Course, terrain: Terrain) -> float:
    """Mean radius of curvature amid the course."""
    middle = float(course.easting_m.mean()), float(course.northing_m.mean())
    return float(Geodesy(terrain.crs).gaussian_radius_m(*middle))


def _rise_m(course: Course, stretches: Stretches, surface: Surface) -> Floats:
    """(n,) how much the ground rises along each stretch; 0 where it is not known."""
    from_m, to_m = (surface.heights_at_m(*course.at(at)) for at in (stretches.from_m, stretches.to_m))
    return np.nan_to_num(to_m - from_m)


def _watching(plan: PostsPlan, refraction: float) -> Watching:
    eyes = plan.eyes
    return Watching(
        eyes.eye_height_m,
        eyes.runner_least_m,
        eyes.runner_width_m,
        eyes.glass,
        eyes.air == "hazy",
        eyes.made_out == "recognised",
        eyes.reach_m,
        refraction,
    )


def _chosen(plan: PostsPlan, seen: Flags, stretches: Stretches, standing: Standing) -> Choice:
    """The choice; where more is wanted than all places see, as much as they do."""
    weight = stretches.piece_weight_m()
    twice = None
    if plan.wanted.twice == "all":
        twice = np.ones(len(weight), np.bool_)
    elif plan.wanted.twice == "dangerous":
        twice = np.zeros(len(weight), np.bool_)
        twice[stretches.piece[stretches.weight > 1.0]] = True
    share, most = plan.wanted.share, plan.wanted.posts
    if share is not None:
        asked = np.where(twice, 2, 1) if twice is not None else np.ones(len(weight), np.int64)
        reachable = float(weight / asked @ np.minimum(seen.sum(axis=0), asked) / weight.sum())
        share = share if share <= reachable else None if most is not None else reachable
    effort = np.where(np.isfinite(standing.minutes), standing.minutes, _NO_WAY_MIN)
    return choose(
        seen,
        weight,
        posts=most,
        share=share,
        fixed=standing.places.fixed,
        twice=twice,
        effort=effort if standing.walks is not None else None,
        effort_price=plan.wanted.effort / 60.0,
        seconds=plan.wanted.seconds,
    )
