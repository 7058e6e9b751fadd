"""An exercise written as its file, and a file to fill in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from hillsight.plan.exercise.exercise import Exercise, ExercisePicture
from hillsight.plan.exercise.file import FILE_LISTS, FORMAT, PICTURE, PLACE, TOP
from hillsight.plan.toml_file import toml_value
from hillsight.plan.vocabulary import COMPASS, SightingField

if TYPE_CHECKING:
    from collections.abc import Mapping

_EXAMPLE: dict[str, Any] = {
    "title": "Above the tarn",
    "question": "From which of these places was the picture taken, and how do you know?",
    "terrain": "upland.tif",
    "surface": "treetops.tif",
    "crs": "EPSG:32632",
    "seed": 1,
    "theme": "near brow or far brow",
    "grade": "moderate",
    "looks": "SE",
    "north": "true",
    "width_deg": 60,
    "eye_height_m": 1.6,
    "photo": "view.jpg",
    "marks": "view.json",
    "taken": "2026-06-01",
}

_EXAMPLE_PLACES = (
    {"name": "ridge end", "easting_m": 412300.0, "northing_m": 5215400.0, "true": True},
    {"name": "shelf", "easting_m": 411700.0, "northing_m": 5215100.0},
)


def write_exercise(exercise: Exercise) -> str:
    """The file (TOML) that ``read_exercise`` reads as this exercise."""
    top = {"title": exercise.title}
    if exercise.question != Exercise.question:
        top["question"] = exercise.question
    more = {
        "terrain": exercise.terrain,
        "features": list(exercise.features) or None,
        "surface": exercise.surface,
        "cover": list(exercise.cover) or None,
        "crs": exercise.crs,
        "seed": exercise.seed,
        "theme": exercise.theme or None,
        "grade": exercise.grade or None,
    }
    blocks = [[f"format = {toml_value(FORMAT)}", *_lines(top | more)]]
    blocks.append(["[picture]", *_lines(_picture(exercise.picture))])
    for place in exercise.places:
        values: dict[str, Any] = {
            "name": place.name,
            "easting_m": place.easting_m,
            "northing_m": place.northing_m,
        }
        blocks.append(["[[place]]", *_lines(values | ({"true": True} if place.is_true else {}))])
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _picture(picture: ExercisePicture) -> dict[str, Any]:
    """Fields of the picture, those left out that are as if nothing were said."""
    points = {degrees: name for name, degrees in COMPASS.items()}
    values: dict[str, Any] = {"looks": points.get(picture.looks_deg, picture.looks_deg)}
    for name in ("north", "width_deg", "eye_height_m", "photo", "marks", "taken"):
        value = getattr(picture, name)
        if name in ("width_deg", "eye_height_m") or value != getattr(ExercisePicture, name):
            values[name] = value
    return values


def _lines(values: Mapping[str, Any]) -> list[str]:
    return [f"{name} = {toml_value(value)}" for name, value in values.items() if value is not None]


def template() -> str:
    """An exercise file to fill in; lines that begin with ``#`` and no space may be used without it."""
    lines = [
        f"format = {toml_value(FORMAT)}",
        "",
        "# An exercise: a picture, the place where it was taken, and places that it might be taken for.",
        "# Lines that begin with # and a space explain; take the # from other lines that you want to use.",
        "",
    ]
    lines += _beside(TOP, _EXAMPLE)
    examples = {"features": "upland.gpkg", "cover": "woods.gpkg"}
    lines += [f'#{name} = ["{examples[name]}"]  # {meaning}' for name, meaning in FILE_LISTS.items()]
    lines += ["", "[picture]"]
    lines += _beside(PICTURE, _EXAMPLE)
    lines += ["", "# Two places or more. Coordinates in metres, in the terrain's own CRS or its metric grid."]
    for place in _EXAMPLE_PLACES:
        lines += ["[[place]]", *_beside(PLACE, place, all_kept=True), ""]
    return "\n".join(lines).rstrip() + "\n"


def _beside(
    fields: tuple[SightingField, ...], values: Mapping[str, Any], *, all_kept: bool = False
) -> list[str]:
    """Lines of example values with their meaning above, those that need not be said commented out."""
    lines = []
    for field in fields:
        if field.name in values:
            words = f" ({', '.join(field.words)})" if field.words else ""
            off = "" if field.needed or all_kept else "#"
            lines.append(f"{off}{field.name} = {toml_value(values[field.name])}  # {field.meaning}{words}")
    return lines
