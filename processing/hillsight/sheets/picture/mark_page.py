"""The page on which a photograph is marked: one HTML file that holds all it needs and fetches nothing."""

from __future__ import annotations

import base64
import io
import json
import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from hillsight.sheets.paper import palette
from hillsight.sheets.paper.page_files import environment, hashed, inside_script, program, sayable

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from hillsight.arrays import Bytes

#: The page's program, in the order in which its parts build on each other.
_PARTS = (
    "view.js",
    "edges.js",
    "assisted_line.js",
    "marks.js",
    "marks_file.js",
    "gestures.js",
    "drawing.js",
    "choosing.js",
    "bench.js",
    "keys.js",
    "lists.js",
    "keeping.js",
    "start.js",
)

#: Colours of what is drawn over the photograph; dark rims make them stand out from sky, grass and snow.
_COLOURS = {
    "ink": palette.INK,
    "paper": palette.PAPER,
    "skyline": palette.VISIBLE,
    "brow": palette.STEEP[1],
    "landmark": palette.SPUR,
}

#: JPEG quality of a photograph in a page, its colours at full width: edges stay where they are.
_QUALITY = 92


def load_parts() -> int:
    """Load everything that the page is made of; returns how many files there are.

    Raises
    ------
    jinja2.TemplateError, OSError : one is missing or broken
    """
    templates = ("mark.html.j2", "mark.css.j2")
    for name in templates:
        _environment().get_template(name)
    program("hillsight.sheets.picture", _PARTS)
    return len(templates) + len(_PARTS)


@dataclass(frozen=True, eq=False)
class PagePicture:
    """A picture as a page shows it.

    name : what it is called
    rgb : (height, width, 3) uint8, upright
    is_drawing : whether it is kept exactly, as a drawing should be, and not as a photograph
    """

    name: str
    rgb: Bytes
    is_drawing: bool = False


@dataclass(frozen=True)
class OfferedName:
    """A name of the map that the page offers for landmarks.

    kind : what it is, and what there is to heed
    is_one : whether one feature alone has it; else the name does not say which is meant, and is not taken
    """

    name: str
    kind: str
    is_one: bool = True


def mark_html(
    photograph: PagePicture,
    sha256: str,
    *,
    features: Sequence[OfferedName],
    pictures: Sequence[PagePicture],
    marks: Mapping[str, Any] | None,
    pixel_frame: str,
    file_name: str,
    most_pixels: float,
    provenance_words: str,
    provenance: str,
) -> str:
    """The page, whole.

    Pictures are encoded anew from their pixels: whatever their files held besides stays behind.

    Parameters
    ----------
    sha256 : of the photograph's file, in hexadecimal
    features : what may be marked, in the order to list it
    pictures : to compare with
    marks : what to begin with, as the marks file has it; None for nothing
    pixel_frame : the pixel frame in the words of the marks file
    file_name : what the page calls the file that it saves
    most_pixels : a larger photograph is shrunk in the page; marks stay in its own pixels
    provenance_words, provenance : where it all comes from, in words and as JSON
    """
    from markupsafe import Markup

    height_px, width_px = photograph.rgb.shape[:2]
    facts = {
        "photograph": {
            "name": sayable(photograph.name),
            "width_px": width_px,
            "height_px": height_px,
            "sha256": sha256,
        },
        "pixel_frame": pixel_frame,
        "file_name": file_name,
        "features": [{"name": one.name, "kind": one.kind, "one": one.is_one} for one in features],
        "marks": marks,
        "colours": _COLOURS,
    }
    templates = _environment()
    style = templates.get_template("mark.css.j2").render(palette=palette)
    script = program("hillsight.sheets.picture", _PARTS)
    media_type, data = _encoded(photograph, most_pixels)
    page: str = templates.get_template("mark.html.j2").render(
        page={
            "name": sayable(photograph.name),
            "width_px": f"{width_px:,}",
            "height_px": f"{height_px:,}",
            "media_type": media_type,
        },
        photograph=Markup(data),
        pictures=[_compared(one, most_pixels) for one in pictures],
        facts=Markup(inside_script(json.dumps(facts, allow_nan=False))),
        provenance=Markup(inside_script(provenance)),
        provenance_words=sayable(provenance_words),
        style=Markup(style),
        style_hash=Markup(hashed(style)),
        script=Markup(script),
        script_hash=Markup(hashed(script)),
    )
    return page


def _compared(picture: PagePicture, most_pixels: float) -> dict[str, Any]:
    from markupsafe import Markup

    media_type, data = _encoded(picture, most_pixels)
    return {"name": sayable(picture.name), "media_type": media_type, "data": Markup(data)}


def _encoded(picture: PagePicture, most_pixels: float) -> tuple[str, str]:
    """Media type and base64 of the pixels alone, shrunk alike both ways where there are too many.

    Where whole pixels do not allow that to the last row, part of a row is left out below.
    """
    from PIL import Image

    image = Image.fromarray(picture.rgb)
    width, height = image.size
    if width * height > most_pixels:
        smaller = max(1, math.floor(width * math.sqrt(most_pixels / (width * height))))
        rows = max(1, math.floor(height * smaller / width))
        box = (0.0, 0.0, float(width), min(float(height), rows * width / smaller))
        image = image.resize((smaller, rows), Image.Resampling.LANCZOS, box=box)
    content = io.BytesIO()
    if picture.is_drawing:
        image.save(content, "PNG", optimize=True)
    else:
        image.save(content, "JPEG", quality=_QUALITY, subsampling=0)
    kind = "png" if picture.is_drawing else "jpeg"
    return f"image/{kind}", base64.b64encode(content.getvalue()).decode("ascii")


@cache
def _environment() -> Any:
    return environment("hillsight.sheets.picture")
