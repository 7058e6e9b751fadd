"""An exercise as one HTML file that needs nothing else: the question to be seen, the answer packed."""

from __future__ import annotations

import base64
import io
import json
import math
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.colors import to_rgb

from hillsight.errors import OutputError
from hillsight.plan.exercise.marking import DECIDES, NOT_SO, TELLS_NOTHING
from hillsight.sheets.exercise.packing import packed
from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.labels import drawable
from hillsight.sheets.paper.page_files import environment, hashed, inside_script, program, sayable
from hillsight.words.english import listed
from hillsight.words.trust import CLASS_NAMES, TRUST, trust_order

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Floats
    from hillsight.sheets.exercise.page_data import PageData, PagePlace, PageReason

#: The page's program, in the order in which its parts build on each other.
_PARTS = ("unpacking.js", "sizes.js", "lighting.js", "standing.js", "answering.js", "start.js")

#: No page is larger, in bytes: clubs' sites and phones on the hill take it.
MOST_BYTES = 2_000_000

#: Tried one after another until the page is small enough: most pixels across of a picture, JPEG quality.
_SIZES = ((1600, 86), (1400, 80), (1200, 74), (1000, 66), (800, 58))

#: CSS pixels that a picture is taken to be wide where no program says how wide it is.
_USUAL_PX = 720.0

#: CSS pixels a point, by which signs are sized.
_POINT_PX = 4 / 3


def load_parts() -> int:
    """Load everything that the page is made of; returns how many files there are.

    Raises
    ------
    jinja2.TemplateError, OSError : one is missing or broken
    """
    templates = ("exercise.html.j2", "exercise.css.j2", "drawn.html.j2", "answer.html.j2")
    for name in templates:
        _environment().get_template(name)
    program("hillsight.sheets.exercise", _PARTS)
    return len(templates) + len(_PARTS)


def exercise_html(exercise: PageData) -> str:
    """The page, whole.

    Pictures are encoded anew from their pixels: whatever their files held besides stays behind. What gives
    the answer away is packed.

    Raises
    ------
    OutputError : the page would be too large however much its pictures shrink
    """
    for widest_px, quality in _SIZES:
        page = _page(exercise, widest_px, quality)
        if len(page.encode("utf-8")) <= MOST_BYTES:
            return page
    raise OutputError(
        f"the page would be larger than {MOST_BYTES:,} bytes",
        where=exercise.title,
        remedy="Set fewer places, or give a smaller map",
    )


def _page(exercise: PageData, widest_px: int, quality: int) -> str:
    from markupsafe import Markup

    templates = _environment()
    style = templates.get_template("exercise.css.j2").render(palette=palette, dead=signs.DEAD_GROUND)
    script = program("hillsight.sheets.exercise", _PARTS)
    told = {
        "exercise": exercise,
        "letters": listed([one.letter for one in exercise.places]),
        "k": lambda of: of.rgb.shape[1] / _USUAL_PX,
    }
    page: str = templates.get_template("exercise.html.j2").render(
        told,
        view_image=Markup(_jpeg(exercise.picture.rgb, widest_px, quality)),
        map_image=Markup(_png(exercise.map.rgb, widest_px)),
        packed=Markup(packed(_answer(exercise, told, widest_px, quality))),
        style=Markup(style),
        style_hash=Markup(hashed(style)),
        script=Markup(script),
        script_hash=Markup(hashed(script)),
    )
    return sayable(page)


def _answer(exercise: PageData, told: dict[str, Any], widest_px: int, quality: int) -> str:
    """What the page unpacks: JSON with pieces of HTML that are put where they belong."""
    from markupsafe import Markup

    by_trust = {name: [r for r in _of_role(exercise, DECIDES) if r.evidence_class == name] for name in TRUST}
    pieces = (
        _environment()
        .get_template("answer.html.j2")
        .make_module(
            {
                **told,
                "landmarks": {one.number: one for one in exercise.landmarks},
                "reasons": {one.number: one for one in exercise.reasons},
                "by_trust": [(CLASS_NAMES[n].capitalize(), group) for n, group in by_trust.items() if group],
                "by_role": {role: _of_role(exercise, role) for role in (TELLS_NOTHING, NOT_SO)},
                "washes": {
                    one.letter: Markup(_wash(one.dead, exercise.map.rgb.shape[:2])) for one in exercise.places
                },
                "views": {
                    one.letter: Markup(_jpeg(one.view.rgb, widest_px, quality))
                    for one in exercise.places
                    if one.view is not None
                },
                "unknown": any((one.dead == 3).any() for one in exercise.places),
                "provenance": Markup(inside_script(exercise.provenance)),
            }
        )
    )
    truth = exercise.truth
    return json.dumps(
        {
            "truth": truth.letter,
            "name": drawable(truth.name, 200),
            "most": sum(max(one.worth, 0) for one in exercise.reasons),
            "worth": {one.number: one.worth for one in exercise.reasons},
            "against": {
                one.letter: [drawable(words, 10_000) for words in one.ruled_out] for one in exercise.places
            },
            "pieces": {
                name: str(getattr(pieces, name)())
                for name in ("under_map", "over_map", "over_picture", "others", "choice", "list", "answer")
            },
        },
        allow_nan=False,
    )


def _of_role(exercise: PageData, role: str) -> list[PageReason]:
    """Reasons of a role, the most trusted first and of those the worthiest."""
    found = [one for one in exercise.reasons if one.role == role]
    return sorted(found, key=lambda one: (trust_order(one.evidence_class), -one.worth, one.number))


def _worth_words(one: PageReason) -> str:
    if one.worth == 0:
        return "worth nothing"
    return f"worth {one.worth}" if one.worth > 0 else f"costs {-one.worth}"


def _shrunk(rgb: Bytes, widest_px: int) -> Any:
    from PIL import Image

    image = Image.fromarray(rgb)
    if image.width <= widest_px:
        return image
    return image.resize(
        (widest_px, max(1, round(image.height * widest_px / image.width))), Image.Resampling.LANCZOS
    )


def _jpeg(rgb: Bytes, widest_px: int, quality: int) -> str:
    """A picture as the address of its own data."""
    file = io.BytesIO()
    _shrunk(rgb, widest_px).save(file, "JPEG", quality=quality, optimize=True)
    return _address("jpeg", file)


def _png(rgb: Bytes, widest_px: int) -> str:
    """A map as the address of its own data, in 256 colours."""
    from PIL import Image

    file = io.BytesIO()
    image = _shrunk(rgb, widest_px).quantize(256, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    image.save(file, "PNG", optimize=True)
    return _address("png", file)


def _wash(dead: Bytes, shape: tuple[int, int]) -> str:
    """Dead ground and unknown ground in their signs, to lay over the map: seen ground is clear."""
    from PIL import Image

    rows = np.arange(shape[0]) * dead.shape[0] // shape[0]
    columns = np.arange(shape[1]) * dead.shape[1] // shape[1]
    codes = dead[np.ix_(rows, columns)]
    row, column = np.indices(shape)
    indexed = np.zeros(shape, np.uint8)
    colours, strengths = [palette.PAPER], [0.0]
    for code, sign in ((2, signs.DEAD_GROUND), (3, signs.UNKNOWN_GROUND)):
        hatch = sign.texture
        assert isinstance(hatch, signs.Hatch)
        scale = _POINT_PX * shape[1] / _USUAL_PX
        pitch_px = round(hatch.pitch * math.sqrt(2.0) * scale)  # along a row, of lines at 45 degrees
        width_px = max(1, round(hatch.width * scale))
        across = row - column if hatch.angle_deg < 0 else row + column
        indexed[codes == code] = len(colours)
        indexed[(codes == code) & (across % pitch_px < width_px)] = len(colours) + 1
        colours += [sign.fill, hatch.colour]
        strengths += [sign.strength, 1 - (1 - sign.strength) * (1 - hatch.strength)]
    image = Image.fromarray(indexed, "P")
    image.putpalette([round(255 * part) for colour in colours for part in to_rgb(colour)])
    file = io.BytesIO()
    image.save(file, "PNG", optimize=True, transparency=bytes(round(255 * one) for one in strengths))
    return _address("png", file)


def _address(kind: str, file: io.BytesIO) -> str:
    return f"data:image/{kind};base64,{base64.b64encode(file.getvalue()).decode('ascii')}"


def _sector_path(place: PagePlace, radius_px: float) -> str:
    """A sector of the map, clockwise from its left edge."""
    ends = [math.radians(place.left_grid_deg + turn) for turn in (0.0, place.span_deg)]
    (x0, y0), (x1, y1) = (
        (place.x_px + radius_px * math.sin(turn), place.y_px - radius_px * math.cos(turn)) for turn in ends
    )
    wide = int(place.span_deg > 180)
    return (
        f"M{place.x_px:.1f} {place.y_px:.1f}L{x0:.1f} {y0:.1f}"
        f"A{radius_px:.1f} {radius_px:.1f} 0 {wide} 1 {x1:.1f} {y1:.1f}Z"
    )


def _line_path(line: Floats) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in line)


@cache
def _environment() -> Any:
    def one_line(value: str) -> str:
        """Every text is one line without control characters."""
        return drawable(value, 10_000)

    found = environment("hillsight.sheets.exercise", finalize=one_line)
    found.filters |= {
        "line_path": _line_path,
        "px": lambda value: f"{value:.2f}".rstrip("0").rstrip("."),
        "sector_path": _sector_path,
        "worth_words": _worth_words,
    }
    return found
