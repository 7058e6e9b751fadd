"""The file of marks as a JSON Schema (2020-12), by which other programs can write and check one."""

from __future__ import annotations

from typing import Any

FORMAT = "hillsight marks"
VERSION = 1
PIXEL_FRAME = "x right, y down, pixels; 0,0 is the upper left corner of the picture as shown"

#: Who drew a line: a person, or a program.
HOWS = ("traced", "found")

#: More marks than anybody makes on one picture.
MOST_MARKS = 10_000

Schema = dict[str, Any]


def marks_schema() -> Schema:
    """Schema of a file of marks.

    It lets pass what the reader alone can tell: marks outside the picture.
    """
    size: Schema = {"type": "integer", "minimum": 1, "maximum": 1_000_000}
    pieces: Schema = {"type": "array", "maxItems": MOST_MARKS, "items": {"$ref": "#/$defs/trace"}}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": FORMAT,
        "description": "What is marked on one photograph. Holds nothing of where it was taken.",
        "type": "object",
        "required": ["format", "version", "photograph"],
        "additionalProperties": False,
        "properties": {
            "format": {"const": FORMAT},
            "version": {"const": VERSION},
            "photograph": {
                "description": "The photograph; its size is that of the picture as shown.",
                "type": "object",
                "required": ["name", "width_px", "height_px", "sha256"],
                "additionalProperties": False,
                "properties": {
                    "name": _text(),
                    "width_px": size,
                    "height_px": size,
                    "sha256": {"type": "string", "pattern": "^[0-9a-fA-F]{64}$"},
                },
            },
            "pixel_frame": {"const": PIXEL_FRAME},
            "landmarks": {"type": "array", "maxItems": MOST_MARKS, "items": {"$ref": "#/$defs/landmark"}},
            "skyline": {"description": "Pieces of the sky's edge.", **pieces},
            "brow": {"description": "Pieces of the near brow's edge.", **pieces},
        },
        "$defs": {"landmark": _landmark(), "trace": _trace()},
    }


def _text() -> Schema:
    return {"type": "string", "pattern": r"\S"}


def _pixels(meaning: str, least: float = 0.0) -> Schema:
    return {"description": meaning, "type": "number", "minimum": least}


def _landmark() -> Schema:
    metres: Schema = {"type": "number", "minimum": -1e8, "maximum": 1e8}
    return {
        "description": "A place in the picture that is known on the map.",
        "type": "object",
        "required": ["x_px", "y_px"],
        "anyOf": [{"required": ["feature"]}, {"required": ["easting_m"]}],
        "dependentRequired": {
            "easting_m": ["northing_m"],
            "northing_m": ["easting_m"],
            "height_m": ["easting_m"],
            "crs": ["easting_m"],
        },
        "additionalProperties": False,
        "properties": {
            "feature": {"description": "Name of a feature on the map.", **_text()},
            "easting_m": metres,
            "northing_m": metres,
            "height_m": {"description": "In the terrain's datum.", **metres, "minimum": -1e5, "maximum": 1e5},
            "crs": {"description": "Of the coordinates; the terrain's grid if left out.", **_text()},
            "x_px": _pixels("From the left side."),
            "y_px": _pixels("From the upper side."),
            "give_or_take_px": _pixels("One standard deviation.", 0.01),
        },
    }


def _trace() -> Schema:
    point: Schema = {"type": "array", "items": _pixels("x or y."), "minItems": 2, "maxItems": 2}
    return {
        "description": "A piece of a line in the picture.",
        "type": "object",
        "required": ["points_px"],
        "additionalProperties": False,
        "properties": {
            "points_px": {"type": "array", "items": point, "minItems": 2},
            "how": {"description": "By a person or by a program.", "enum": list(HOWS)},
            "give_or_take_px": _pixels(
                "One standard deviation. Without it a verdict takes a skyline to be 0.3 degrees out.", 0.01
            ),
        },
    }
