"""The layer of places that a search found."""

from __future__ import annotations

from hillsight.schema.columns import ABOVE_LEVEL_DEG, DATUM_M, GRID_M, TRUE_DEG, Layer, integer, real, text

POSSIBLE_PLACES = Layer(
    "possible_places",
    "Point",
    "places that a photograph may have been taken from, likeliest first; those close together are one",
    (
        integer("rank", "", "1 for the place that fits best"),
        real("easting_m", "m in the terrain's grid", "easting"),
        real("northing_m", "m in the terrain's grid", "northing"),
        real("ground_height_m", DATUM_M, "ground there"),
        real("probability", "0 to 1", "that the photograph was taken there or close by"),
        real("distance_to_best_m", GRID_M, "from the place that fits best"),
        real("heading_true_deg", TRUE_DEG, "where the optical axis points"),
        real("heading_grid_deg", "degrees from grid north", "where the optical axis points"),
        real("heading_plus_minus_deg", "degrees, one standard deviation", "of the heading"),
        real("tilt_deg", ABOVE_LEVEL_DEG, "of the optical axis, up positive"),
        real("roll_deg", "degrees", "camera turned clockwise as seen from behind: its right side lower"),
        real("width_deg", "degrees", "angle between the picture's left and right sides"),
        real("misfit_deg", "degrees", "root mean square of what the trace is off the skyline in view"),
        real("hidden_share", "0 to 1", "part of the trace that lies on something before the skyline"),
        real("within_100_m", "0 to 1", "probability within 100 m of the best place, the same in every row"),
        real("within_500_m", "0 to 1", "probability within 500 m of the best place, the same in every row"),
        text("state", "decided, undecided or none_fits", "of the search, the same in every row"),
    ),
)

SEARCH_LAYERS = (POSSIBLE_PLACES,)
