"""A plan of marshal posts: the course, who watches it, and where they may stand."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime

AIRS = ("clear", "hazy")
"""How far the air lets a person be made out."""

MADE_OUT = ("detected", "recognised")
"""What a marshal must make of a runner: that something is there, or that it is a person."""

MEANS = ("sight", "radio")
"""How the posts of a pair must reach each other."""

TWICE = ("nothing", "dangerous", "all")
"""What of the course two posts are to see."""


@dataclass(frozen=True)
class NamedPlace:
    """A place of the plan; easting and northing in the plan's CRS, metres.

    within_m : how far about it is meant, of banned places; 0 elsewhere
    """

    name: str
    easting_m: float
    northing_m: float
    within_m: float = 0.0


@dataclass(frozen=True)
class PlannedCheckpoint:
    """A checkpoint: a place on the course, or how far along a lap it stands (m on the grid)."""

    name: str
    easting_m: float | None = None
    northing_m: float | None = None
    along_m: float | None = None


@dataclass(frozen=True)
class PlannedCourse:
    """The course as the plan tells of it.

    file, layer : lines, as the plan names them
    legs : names of lines in running order, a minus sign before one that is run from its end; all lines, in
        the file's order, where empty
    reverse : whether the whole is run from its end
    stretch_m : longest stretch it is cut into, m on the grid
    shared_within_m : ground run along twice is one where the lines lie so near, m on the grid
    """

    file: str
    layer: str | None = None
    legs: tuple[str, ...] = ()
    reverse: bool = False
    laps: int = 1
    stretch_m: float = 20.0
    shared_within_m: float = 10.0
    checkpoints: tuple[PlannedCheckpoint, ...] = ()


@dataclass(frozen=True)
class Paces:
    """When runners pass: minutes for a kilometre of level ground, on the grid.

    start : with its zone or without; last_start_min : how long after it the last runner leaves
    """

    start: datetime.datetime | None = None
    last_start_min: float = 0.0
    first_min_per_km: float = 5.0
    last_min_per_km: float = 15.0


@dataclass(frozen=True)
class NamedDanger:
    """A stretch that the plan calls dangerous, metres along one lap of the course."""

    name: str
    from_m: float
    to_m: float
    weight: float = 3.0


@dataclass(frozen=True)
class DangerWeights:
    """What makes a stretch dangerous, and how much more it then counts; 1 leaves it ordinary.

    steep_deg : slope of the ground; edge_deg : slope of ground that counts as an edge within edge_within_m
    water_within_m : of streams and lakes; choice_within_m : of a path that leaves or crosses the course

    All weights are common practice, no source.
    """

    steep: float = 2.0
    steep_deg: float = 25.0
    edge: float = 3.0
    edge_deg: float = 40.0
    edge_within_m: float = 30.0
    water: float = 2.0
    water_within_m: float = 10.0
    choice: float = 1.5
    choice_within_m: float = 25.0


@dataclass(frozen=True)
class Wanted:
    """What is asked for: so many posts, or so much of the course; where both are given, the fewest up to it.

    posts : most that may stand, those that are fixed among them
    share : of the weighed course that is to be seen, 0 to 1
    twice : one of ``TWICE``
    seconds : longest search for the choice
    effort : how much the walking weighs: what share of the course an hour's walk of one marshal is worth
    """

    posts: int | None = None
    share: float | None = None
    twice: str = "nothing"
    seconds: float = 30.0
    effort: float = 0.0


@dataclass(frozen=True)
class Eyes:
    """Who watches, and what they must see.

    runner_least_m, runner_most_m : heights of runners; runner_width_m : what shows of one
    glass : power of the binoculars, 1 for none
    air : one of ``AIRS``; made_out : one of ``MADE_OUT``
    reach_m : farthest that counts, m on the grid; as far as a person can be made out where None
    """

    eye_height_m: float = 1.6
    runner_least_m: float = 1.0
    runner_most_m: float = 1.8
    runner_width_m: float = 0.5
    glass: float = 1.0
    air: str = "clear"
    made_out: str = "detected"
    reach_m: float | None = None


@dataclass(frozen=True)
class Ground:
    """Ground that the plan names: shapes of a file, or of the plan's features where it names none.

    layer, kinds : take only these; all where None and empty
    within_m : how far about them counts, m on the grid
    every_m : spacing of the places laid over it
    """

    file: str | None = None
    layer: str | None = None
    kinds: tuple[str, ...] = ()
    within_m: float = 0.0
    every_m: float = 50.0


@dataclass(frozen=True)
class Limits:
    """Ground that no marshal is put on.

    slope_deg : steepest ground stood on
    crag_deg, crag_within_m : nothing so steep may lie so near
    water_within_m : of streams and lakes; None where it does not matter
    open_share : openness to wind, at most: share of bearings without shelter (``limits.open_shares``)
    highest_m : highest ground, the terrain's own datum
    """

    slope_deg: float = 25.0
    crag_deg: float = 45.0
    crag_within_m: float = 20.0
    water_within_m: float | None = 5.0
    open_share: float | None = None
    highest_m: float | None = None


@dataclass(frozen=True)
class Walking:
    """How marshals come to their posts.

    access : where they start walking
    most_minutes : longest walk to a post; None for any
    paths : kinds of map features that are walked as paths
    """

    access: tuple[NamedPlace, ...] = ()
    most_minutes: float | None = None
    paths: tuple[str, ...] = ("path", "track", "road", "footpath", "bridleway")


@dataclass(frozen=True)
class Radios:
    """The radios carried; defaults are those of a small hand-held set, common practice, no source.

    control : where the organisers are; None where posts speak with each other alone
    margin_db : what must be left over for a link to count as good
    """

    frequency_mhz: float = 446.0
    power_dbm: float = 27.0
    sensitivity_dbm: float = -117.0
    antenna_height_m: float = 1.5
    margin_db: float = 20.0
    refraction: float = 0.25
    control: NamedPlace | None = None
    control_antenna_m: float = 3.0


@dataclass(frozen=True)
class Pair:
    """Two posts that must reach each other: names of fixed posts, or "control"; by one of ``MEANS``."""

    one: str
    other: str
    by: str


@dataclass(frozen=True)
class PostsPlan:
    """The whole of it.

    terrain, features, surface, cover : files as the plan names them, see ``beside``; the last two tell what
        stands on the ground and hides
    crs : of the places; the terrain's own, or its metric grid, where None
    stands : where marshals may stand; within 300 m of the course where empty
    source : the file, for messages and provenance; empty where there is none
    """

    title: str
    course: PlannedCourse
    wanted: Wanted
    terrain: str | None = None
    features: tuple[str, ...] = ()
    surface: str | None = None
    cover: tuple[str, ...] = ()
    crs: str | None = None
    paces: Paces = field(default_factory=Paces)
    dangers: DangerWeights = field(default_factory=DangerWeights)
    named_dangers: tuple[NamedDanger, ...] = ()
    eyes: Eyes = field(default_factory=Eyes)
    stands: tuple[Ground, ...] = ()
    no_go: tuple[Ground, ...] = ()
    limits: Limits = field(default_factory=Limits)
    walking: Walking = field(default_factory=Walking)
    radios: Radios = field(default_factory=Radios)
    fixed: tuple[NamedPlace, ...] = ()
    banned: tuple[NamedPlace, ...] = ()
    pairs: tuple[Pair, ...] = ()
    source: str = ""

    def beside(self, name: str) -> str:
        """A file that the plan names: as it lies from the plan's own folder."""
        return str(Path(self.source).parent / name) if self.source else name
