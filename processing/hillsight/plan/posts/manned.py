"""The posts that are manned, named and in running order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.words.english import folded

if TYPE_CHECKING:
    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.plan.posts.choosing import Choice
    from hillsight.plan.posts.course import Course
    from hillsight.plan.posts.places import Places


@dataclass(frozen=True)
class MannedPosts:
    """The posts that are manned, in running order of where the course passes nearest.

    place : (n,) their numbers among the places; name : (n,) no two alike
    easting_m, northing_m, ground_m : (n,) metres on the working grid; ground in the terrain's own datum
    fixed : (n,); along_m, apart_m : (n,) where a lap is nearest, and how far off that is, m on the grid
    """

    place: Integers
    name: tuple[str, ...]
    easting_m: Floats
    northing_m: Floats
    ground_m: Floats
    fixed: Flags
    along_m: Floats
    apart_m: Floats

    def __len__(self) -> int:
        return len(self.place)


def manned(places: Places, choice: Choice, course: Course) -> MannedPosts:
    """The chosen places in running order, those without a name called "Post" with their number."""
    line = shapely.LineString(np.column_stack((course.easting_m, course.northing_m)))
    points = shapely.points(places.easting_m[choice.chosen], places.northing_m[choice.chosen])
    along_m, apart_m = shapely.line_locate_point(line, points), shapely.distance(line, points)
    order = np.lexsort((choice.chosen, along_m))
    chosen = choice.chosen[order]
    names, taken = list[str](), {folded(places.name[k]) for k in chosen if places.name[k]}
    used = set[str]()
    for number, k in enumerate(chosen, start=1):
        name = places.name[k] or f"Post {number}"
        wanted, count = name, 2
        while folded(name) in used or (not places.name[k] and folded(name) in taken):
            name, count = f"{wanted} ({count})", count + 1
        used.add(folded(name))
        names.append(name)
    return MannedPosts(
        chosen,
        tuple(names),
        places.easting_m[chosen],
        places.northing_m[chosen],
        places.ground_m[chosen],
        places.fixed[chosen],
        along_m[order],
        apart_m[order],
    )
