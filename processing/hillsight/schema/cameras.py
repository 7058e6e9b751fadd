"""Layers of a photograph's camera: how it was turned at each station, and how it shows the marks."""

from __future__ import annotations

from hillsight.schema.columns import (
    ABOVE_LEVEL_DEG,
    DATUM_M,
    ELLIPSOID_M,
    STATION,
    TRUE_DEG,
    Column,
    Layer,
    boolean,
    integer,
    real,
    text,
)

_PIXELS = "pixels of the picture as shown"
_SIGMA = "one standard deviation"


def _number(name: str, unit: str, meaning: str) -> Column:
    """A number that is null where no camera shows the marks."""
    return real(name, unit, meaning, optional=True)


def _plus_minus(name: str, unit: str, meaning: str) -> Column:
    return _number(name, f"{unit}, {_SIGMA}", meaning)


CAMERAS = Layer(
    "cameras",
    "Point Z",
    "the camera of a photograph as its marks have it, one row a station; the point is the eye",
    (
        STATION,
        integer("rank", "", "place among the stations, likeliest first"),
        real(
            "probability",
            "0 to 1",
            "that the photograph is from this station, if it is from one of those given",
        ),
        text(
            "state",
            "fits, no_fit, weak or no_camera",
            "whether the marks fit the station; weak where they do not fix the camera",
        ),
        _number("heading_true_deg", TRUE_DEG, "where the optical axis points"),
        _number("heading_grid_deg", "degrees from grid north", "where the optical axis points"),
        real(
            "heading_magnetic_deg",
            "degrees from magnetic north",
            "where the optical axis points; null without a date",
            optional=True,
        ),
        _plus_minus("heading_plus_minus_deg", "degrees", "of the heading"),
        _number("tilt_deg", ABOVE_LEVEL_DEG, "of the optical axis, up positive"),
        _plus_minus("tilt_plus_minus_deg", "degrees", "of the tilt"),
        _number("roll_deg", "degrees", "camera turned clockwise as seen from behind: its right side lower"),
        _plus_minus("roll_plus_minus_deg", "degrees", "of the roll"),
        _number("focal_px", _PIXELS, "focal length"),
        _plus_minus("focal_plus_minus_px", _PIXELS, "of the focal length"),
        _number("width_deg", "degrees", "angle between the picture's sides"),
        _plus_minus("width_plus_minus_deg", "degrees", "of that angle"),
        _number("principal_x_px", _PIXELS, "where the optical axis meets the picture, from its left side"),
        _number("principal_y_px", _PIXELS, "where the optical axis meets the picture, from its upper side"),
        _plus_minus("principal_plus_minus_px", _PIXELS, "of either; 0 where it is taken as the middle"),
        _number("radial", "", "radial term: shown = straight (1 + radial r^2), r in focal lengths"),
        _plus_minus("radial_plus_minus", "", "of the radial term"),
        _number("easting_m", "m in the terrain's grid", "of the eye"),
        _number("northing_m", "m in the terrain's grid", "of the eye"),
        _number("eye_level_m", DATUM_M, "height of the eye"),
        boolean("place_solved", "", "whether the place comes from the marks"),
        _plus_minus("place_plus_minus_m", "m on the grid", "of easting and northing together"),
        _number("from_station_m", "m on the grid", "how far the eye is from the station as given"),
        integer("marks", "", "landmarks marked"),
        integer("marks_used", "", "of them taken as right"),
        _number("misfit_ratio", "", "residuals over what is expected of them; about 1 where all is right"),
        _number("residual_px", _PIXELS, "root of the mean square of the used marks' residuals"),
        _number("residual_deg", "degrees", "the same as an angle at the eye"),
        text("worst_mark", "", "the mark that the others fit worst", optional=True),
        text("photograph", "", "name of the photograph's file"),
        integer("width_px", _PIXELS, "width of the picture"),
        integer("height_px", _PIXELS, "height of the picture"),
    ),
)

CAMERA_MARKS = Layer(
    "camera_marks",
    "LineString Z",
    "how each station's camera shows each marked landmark; a line from the eye to the landmark",
    (
        STATION,
        integer("mark", "", "number of the mark, in the file's order"),
        text("feature", "", "name of the landmark"),
        real("x_px", _PIXELS, "where it is marked, from the left side"),
        real("y_px", _PIXELS, "where it is marked, from the upper side"),
        _number("shown_x_px", _PIXELS, "where the camera shows it; null behind the camera"),
        _number("shown_y_px", _PIXELS, "where the camera shows it"),
        _number("residual_px", _PIXELS, "distance between the two"),
        _number("residual_deg", "degrees", "the same as an angle at the eye"),
        _plus_minus(
            "expected_px", _PIXELS, "residual to expect by the errors of click, landmark and terrain"
        ),
        _number(
            "left_out_px", _PIXELS, "distance of the mark from where the other marks alone put the landmark"
        ),
        _number("times_expected", "", "that distance over what is expected of it"),
        boolean("used", "", "whether the mark is taken as right"),
        real("bearing_true_deg", TRUE_DEG, "of the landmark from the eye"),
        real("vertical_angle_deg", ABOVE_LEVEL_DEG, "of the landmark, with curvature and refraction"),
        real("distance_m", ELLIPSOID_M, "of the landmark"),
        real(
            "visible_probability",
            "0 to 1",
            "that the terrain leaves the landmark in view; null where it was not looked at",
            optional=True,
        ),
    ),
)

CAMERA_LAYERS = (CAMERAS, CAMERA_MARKS)
