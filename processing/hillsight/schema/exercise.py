"""The layer of places that exercises are made of."""

from __future__ import annotations

from hillsight.schema.columns import DATUM_M, GRID_M, TRUE_DEG, Layer, integer, real, text

EXERCISE_PLACES = Layer(
    "exercise_places",
    "Point",
    "places of exercises with their letters; it holds the answers, so it is for whoever sets them",
    (
        text("exercise", "", "file of the exercise"),
        text("theme", "", "what the exercise is about; empty where it has no theme"),
        text("letter", "", "letter of the place on the sheets of the exercise"),
        text("role", "true or wrong", "whether the picture is from here"),
        text("name", "", "name of the place for whoever sets the exercise; on no question sheet"),
        real("easting_m", "m in the terrain's grid", "easting"),
        real("northing_m", "m in the terrain's grid", "northing"),
        real("ground_height_m", DATUM_M, "ground there"),
        real("looks_true_deg", TRUE_DEG, "where the middle of the picture looks"),
        real("width_deg", "degrees", "angle between the picture's sides"),
        real("distance_to_true_m", GRID_M, "from the true place"),
        text("grade", "easy, moderate or hard", "of the exercise, by how many simulated learners are right"),
        text("judgement", "coarse, fair or fine", "that tells a wrong place apart; empty at the true one"),
        real(
            "unlike", "times", "how unlike the true place at a glance: 1 as alike as told apart, 0 the same"
        ),
        integer("matters", "", "matters of the ground that tell it from the true place"),
        real("bits", "bits", "what the two best of them tell together, taking the terrain at its word"),
        text("told_by", "", "what is said of the true place that tells most against this one"),
    ),
)

EXERCISE_LAYERS = (EXERCISE_PLACES,)
