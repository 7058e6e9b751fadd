"""Layers of a verdict: the candidates of a sighting, what speaks for and against them, where they look."""

from __future__ import annotations

from hillsight.schema.columns import (
    DATUM_M,
    ELLIPSOID_M,
    EVIDENCE_CLASSES,
    TRUE_DEG,
    Layer,
    integer,
    real,
    text,
)

_CANDIDATE = text("station", "", "the candidate's label, unique within the file")
_ARGUMENT = integer("argument", "", "number of the statement, in the sighting's order")
_LOOKS = real("looks_true_deg", TRUE_DEG, "where the picture's middle would lie, as it fits best")
_PROBABILITY = real("probability", "0 to 1", "that the picture was taken there, by all statements")

CANDIDATES = Layer(
    "candidates",
    "Point",
    "the places that a picture may have been taken from, weighed",
    (
        _CANDIDATE,
        real("easting_m", "m in the terrain's grid", "easting"),
        real("northing_m", "m in the terrain's grid", "northing"),
        real("ground_height_m", DATUM_M, "ground under the candidate"),
        real("eye_level_m", DATUM_M, "ground height plus eye height"),
        real(
            "prior",
            "0 to 1",
            "probability before anything was said of the picture; none of the candidates has the rest",
        ),
        _PROBABILITY,
        real(
            "probability_by_ground", "0 to 1", "the same by the ground and water, without man-made features"
        ),
        _LOOKS,
        real("looks_plus_minus_deg", "degrees, one standard deviation", "of the direction that fits best"),
        integer("rank", "", "place among the candidates, likeliest first"),
        text(
            "state", "decided, undecided or none_fits", "the verdict on the sighting, the same in every row"
        ),
        real(
            "none_probability",
            "0 to 1",
            "probability that the picture is from none of the candidates, the same in every row",
        ),
    ),
)

EVIDENCE = Layer(
    "evidence",
    "LineString Z",
    "what each candidate shows of each statement: a line from its eye to the middle of what the fact is "
    "about, along its bearing where that is all that is known, or a short one to where the picture looks; "
    "z is not known at the far end",
    (
        _CANDIDATE,
        _ARGUMENT,
        text("statement", "", "kind of the statement"),
        text("says", "", "the statement in plain words"),
        text("part", "", "where in the picture"),
        text("sure", "certain, sure, likely or doubtful", "how sure the observer is"),
        text("evidence_class", EVIDENCE_CLASSES, "trust class of what the statement is about"),
        text(
            "role",
            "decides, supports, against or tells_nothing",
            "what the statement does for the likeliest candidate against the next",
        ),
        real(
            "times",
            "",
            "how many times likelier the statement makes the likeliest candidate than the next; below 1 it "
            "speaks against; null where no number holds it",
            optional=True,
        ),
        real(
            "agrees",
            "0 to 1",
            "how well the statement fits this candidate; null if not weighed",
            optional=True,
        ),
        text("fact", "", "what would be seen from this candidate"),
        real("figure", "as the column unit says", "the figure that the fact rests on", optional=True),
        text("unit", "", "unit of the figure; empty where there is none"),
        real(
            "bearing_true_deg",
            TRUE_DEG,
            "where the fact lies from the candidate; null where on no one bearing",
            optional=True,
        ),
        text("sentence", "", "the whole argument as an instructor would put it"),
    ),
)

SIGHT_LINES = Layer(
    "sight_lines",
    "LineString Z",
    "lines from each candidate's eye to the places that its facts are about, one for each place; z is not "
    "known at the far end",
    (
        _CANDIDATE,
        _ARGUMENT,
        text("fact", "", "what would be seen from this candidate"),
        real("bearing_true_deg", TRUE_DEG, "of the line, at the candidate"),
        real("distance_m", ELLIPSOID_M, "length of the line"),
    ),
)

CANDIDATE_VIEWS = Layer(
    "candidate_views",
    "Polygon",
    "the wedge of ground between the picture's sides, as it fits best from each candidate, out to a distance",
    (_CANDIDATE, _LOOKS, real("width_deg", "degrees", "angle between the picture's sides"), _PROBABILITY),
)

VERDICT_LAYERS = (CANDIDATES, EVIDENCE, SIGHT_LINES, CANDIDATE_VIEWS)
