"""The layers of a plan of marshal posts."""

from __future__ import annotations

from hillsight.schema.columns import DATUM_M, GRID_M, TRUE_DEG, Column, Layer, boolean, integer, real, text

_FROM = real("from_m", "m on the grid, along the course", "where it begins")
_TO = real("to_m", "m on the grid, along the course", "where it ends")
_LENGTH = real("length_m", GRID_M, "how long it is")
_FIRST = "minutes after the start, at the first runner's pace"
_LAST = "minutes after the start, at the last runner's pace"


def _passing(name: str, unit: str, meaning: str) -> Column:
    return real(name, unit, f"{meaning}; null if it sees nothing", optional=True)


def _at(name: str) -> Column:
    minutes = f"{name.removesuffix('_at')}_min"
    return text(name, "ISO 8601", f"{minutes} as a time; null where the plan says no start", optional=True)


UNSEEN_STRETCHES = Layer(
    "unseen_stretches",
    "LineString",
    "stretches of the course that no post sees, in running order",
    (
        integer("number", "", "1 for the first on the course"),
        _FROM,
        _TO,
        _LENGTH,
        real("share", "0 to 1", "of the length of the course"),
        text("danger", "", "why it is dangerous; empty if it is not"),
        real(
            "seen_probability",
            "0 to 1",
            "least chance along it that some post sees a runner all the same",
            optional=True,
        ),
        real("first_minutes", "minutes", "that the first runner is out of sight there"),
        real("last_minutes", "minutes", "that the last runner is out of sight there"),
        real("first_runner_min", _FIRST, "when the first runner comes there"),
        real("last_runner_min", _LAST, "when the last runner has passed it"),
    ),
)

HANDOVER_GAPS = Layer(
    "handover_gaps",
    "LineString",
    "from where one post loses runners out of sight to where the next sees them, longest first",
    (
        integer("rank", "", "1 for the longest"),
        text("from_post", "", "that sees them last; empty at the start of the course"),
        text("to_post", "", "that sees them next; empty at its end"),
        _FROM,
        _TO,
        _LENGTH,
        real("first_minutes", "minutes", "that the first runner is out of sight"),
        real("last_minutes", "minutes", "that the last runner is out of sight"),
    ),
)

POSTS = Layer(
    "posts",
    "Point",
    "marshal posts in running order",
    (
        text("post", "", "name of the post, unique within the file"),
        text("role", "fixed or chosen", "whether the plan puts it there or it was chosen"),
        real("easting_m", "m in the terrain's grid", "easting"),
        real("northing_m", "m in the terrain's grid", "northing"),
        real("ground_height_m", DATUM_M, "ground there"),
        real("slope_deg", "degrees from level", "of the ground there", optional=True),
        real("open_share", "0 to 1", "openness to wind: share of 16 bearings without shelter within 300 m"),
        real("along_m", "m on the grid, along a lap", "where the course is nearest"),
        real("course_distance_m", GRID_M, "to the nearest place of the course"),
        real("seen_m", GRID_M, "length of the course that it sees, ground run over twice counted twice"),
        real("seen_share", "0 to 1", "of the weighed course that it sees"),
        real("own_share", "0 to 1", "of the weighed course that it alone of the posts sees"),
        _passing("first_passing_min", _FIRST, "when the first runner passes nearest, of what the post sees"),
        _passing("last_passing_min", _LAST, "when the last runner passes there, the last time"),
        _passing("first_runner_min", _FIRST, "when the first runner comes into its sight"),
        _passing("last_runner_min", _LAST, "when the last runner leaves its sight"),
        _at("first_passing_at"),
        _at("last_passing_at"),
        _at("first_runner_at"),
        _at("last_runner_at"),
        real(
            "twilight_minutes",
            "minutes",
            "of that time with the sun up to 6 degrees below a level horizon; null without start and zone",
            optional=True,
        ),
        real("dark_minutes", "minutes", "of that time with the sun lower still", optional=True),
        text("access", "", "where the walk to it starts; null where no access is given", optional=True),
        real("walking_minutes", "minutes", "from the access, by Tobler's function", optional=True),
        real(
            "hill_rule_minutes",
            "minutes",
            "the same way by Naismith's rule with Langmuir's corrections",
            optional=True,
        ),
        real("walk_m", GRID_M, "length of the way", optional=True),
        real("climb_m", "m", "climbed on the way", optional=True),
    ),
)

CHECKPOINTS = Layer(
    "checkpoints",
    "Point",
    "checkpoints in running order, and who sees them",
    (
        text("checkpoint", "", "its name"),
        real("along_m", "m on the grid, along a lap", "where it stands"),
        integer("posts_count", "", "posts that see a runner there"),
        text("posts", "", "their names; empty if none does"),
        real("seen_probability", "0 to 1", "chance that some post sees a runner there"),
        real("first_passing_min", _FIRST, "when the first runner is there, the first time"),
        real("last_passing_min", _LAST, "when the last runner is there, the last time"),
    ),
)

SEEN_STRETCHES = Layer(
    "seen_stretches",
    "LineString",
    "stretches of the course that posts see, in running order",
    (
        _FROM,
        _TO,
        _LENGTH,
        integer("piece", "", "number of the piece of ground; stretches run over the same ground share it"),
        real("weight", "times", "how much it counts; 1 where it is not dangerous"),
        text("danger", "", "why it is dangerous; empty if it is not"),
        integer("posts_count", "", "posts that see it"),
        text("posts", "", "their names"),
        real("seen_probability", "0 to 1", "chance that some post sees a runner there"),
    ),
)

OTHER_PLACES = Layer(
    "other_places",
    "Point",
    "places that could be manned instead of a post, those first that lose least",
    (
        text("post", "", "instead of this one, all others staying"),
        integer("rank", "", "1 for the place that loses least"),
        real("easting_m", "m in the terrain's grid", "easting"),
        real("northing_m", "m in the terrain's grid", "northing"),
        real(
            "loss_share",
            "-1 to 1",
            "of the weighed course that would no longer be seen; below 0 if more would be",
        ),
    ),
)

SIGHT_MATRIX = Layer(
    "sight_matrix",
    "LineString",
    "whether posts see each other, a line for every two",
    (
        text("from_post", "", "name of the one, or control"),
        text("to_post", "", "name of the other"),
        real("distance_m", GRID_M, "between them"),
        real("bearing_true_deg", TRUE_DEG, "from the one to the other"),
        text(
            "state",
            "visible, hidden, uncertain or unknown",
            "whether a person there shows, by the terrain as it is",
        ),
        boolean("is_wanted", "", "whether the plan asks that they see each other"),
    ),
)

RADIO_LINKS = Layer(
    "radio_links",
    "LineString",
    "whether posts reach each other by radio, a line for every two",
    (
        text("from_post", "", "name of the one, or control"),
        text("to_post", "", "name of the other"),
        real("distance_m", GRID_M, "between them"),
        real(
            "first_zone_clear",
            "radii of the first Fresnel zone",
            "room below the line at the worst place, at most 1; null where it is not known",
            optional=True,
        ),
        integer("ridges", "", "pieces of ground that top the line between the antennas"),
        real(
            "worst_m",
            GRID_M,
            "from the one to the worst obstacle; null where nothing is between",
            optional=True,
        ),
        text(
            "worst_is",
            "ground, or a kind of cover",
            "what the worst obstacle is; null where nothing is between",
            optional=True,
        ),
        real("free_space_db", "dB", "lost by distance alone"),
        real(
            "knife_edge_db",
            "dB",
            "lost at the worst obstacle, were it the only one and sharp; null where it is not known",
            optional=True,
        ),
        real(
            "diffraction_db",
            "dB",
            "lost over all the ground between; null where it is not known",
            optional=True,
        ),
        real(
            "margin_db",
            "dB",
            "above what can only just be understood; null where it is not known",
            optional=True,
        ),
        text("answer", "likely, doubtful, unlikely or unknown", "whether they reach each other"),
        boolean("is_wanted", "", "whether the plan asks that they reach each other"),
    ),
)

RELAYS = Layer(
    "relays",
    "Point",
    "ways round for radio links that are wanted and not likely",
    (
        text("from_post", "", "name of the one"),
        text("to_post", "", "name of the other"),
        text("by", "", "who passes messages on; or that a further person would stand there"),
        real("easting_m", "m in the terrain's grid", "easting"),
        real("northing_m", "m in the terrain's grid", "northing"),
        real("margin_db", "dB", "of the weakest link on the way"),
    ),
)

POSTS_LAYERS = (
    *(UNSEEN_STRETCHES, HANDOVER_GAPS, POSTS, CHECKPOINTS, SEEN_STRETCHES, OTHER_PLACES),
    *(SIGHT_MATRIX, RADIO_LINKS, RELAYS),
)
"""Unseen stretches come first: they are what an organiser must know."""
