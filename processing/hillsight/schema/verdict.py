"""Layers of a verdict: the candidates of a sighting, what speaks for and against them, where they look."""

from __future__ import annotations

from hillsight.schema.columns import DATUM_M, ELLIPSOID_M, EVIDENCE_CLASSES, TRUE_DEG, Column, Layer

_CANDIDATE = Column("station", "text", "", "the candidate's label, unique within the file")
_ARGUMENT = Column("argument", "integer", "", "number of the statement, in the sighting's order")
_LOOKS = Column("looks_true_deg", "real", TRUE_DEG, "where the picture's middle would lie, as it fits best")
_PROBABILITY = Column("probability", "real", "0 to 1", "that the picture was taken there, by all statements")

CANDIDATES = Layer(
    "candidates",
    "Point",
    "the places that a picture may have been taken from, weighed",
    (
        _CANDIDATE,
        Column("easting_m", "real", "m in the terrain's grid", "easting"),
        Column("northing_m", "real", "m in the terrain's grid", "northing"),
        Column("ground_height_m", "real", DATUM_M, "ground under the candidate"),
        Column("eye_level_m", "real", DATUM_M, "ground height plus eye height"),
        Column(
            "prior",
            "real",
            "0 to 1",
            "probability before anything was said of the picture; none of the candidates has the rest",
        ),
        _PROBABILITY,
        Column(
            "probability_by_ground",
            "real",
            "0 to 1",
            "the same by the ground and water, without man-made features",
        ),
        _LOOKS,
        Column(
            "looks_plus_minus_deg",
            "real",
            "degrees, one standard deviation",
            "of the direction that fits best",
        ),
        Column("rank", "integer", "", "place among the candidates, likeliest first"),
        Column(
            "state",
            "text",
            "decided, undecided or none_fits",
            "the verdict on the sighting, the same in every row",
        ),
        Column(
            "none_probability",
            "real",
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
        Column("statement", "text", "", "kind of the statement"),
        Column("says", "text", "", "the statement in plain words"),
        Column("part", "text", "", "where in the picture"),
        Column("sure", "text", "certain, sure, likely or doubtful", "how sure the observer is"),
        Column("evidence_class", "text", EVIDENCE_CLASSES, "trust class of what the statement is about"),
        Column(
            "role",
            "text",
            "decides, supports, against or tells_nothing",
            "what the statement does for the likeliest candidate against the next",
        ),
        Column(
            "times",
            "real",
            "",
            "how many times likelier the statement makes the likeliest candidate than the next; below 1 it "
            "speaks against; null where no number holds it",
            optional=True,
        ),
        Column(
            "agrees",
            "real",
            "0 to 1",
            "how well the statement fits this candidate; null if not weighed",
            optional=True,
        ),
        Column("fact", "text", "", "what would be seen from this candidate"),
        Column(
            "figure", "real", "as the column unit says", "the figure that the fact rests on", optional=True
        ),
        Column("unit", "text", "", "unit of the figure; empty where there is none"),
        Column(
            "bearing_true_deg",
            "real",
            TRUE_DEG,
            "where the fact lies from the candidate; null where on no one bearing",
            optional=True,
        ),
        Column("sentence", "text", "", "the whole argument as an instructor would put it"),
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
        Column("fact", "text", "", "what would be seen from this candidate"),
        Column("bearing_true_deg", "real", TRUE_DEG, "of the line, at the candidate"),
        Column("distance_m", "real", ELLIPSOID_M, "length of the line"),
    ),
)

CANDIDATE_VIEWS = Layer(
    "candidate_views",
    "Polygon",
    "the wedge of ground between the picture's sides, as it fits best from each candidate, out to a distance",
    (
        _CANDIDATE,
        _LOOKS,
        Column("width_deg", "real", "degrees", "angle between the picture's sides"),
        _PROBABILITY,
    ),
)

VERDICT_LAYERS = (CANDIDATES, EVIDENCE, SIGHT_LINES, CANDIDATE_VIEWS)
