"""A page to draw on, measured in pixels: text with known boxes, lines, images and framed maps."""

from __future__ import annotations

import re
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.layers.atomic import replacing
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.palette import ALL_COLOURS, INK, PAPER
from hillsight.words.marks import marks_shown
from hillsight.words.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

    from hillsight.arrays import Bytes

DOTS_PER_INCH = 150
PER_MM = DOTS_PER_INCH / 25.4  # pixels
A4_SHORT, A4_LONG = 1240, 1754  # 210 x 297 mm at 150 dots an inch, whole pixels
# How lines end and bend, said outright because the user's settings may say otherwise.
LINES: dict[str, Any] = {
    "antialiased": True,
    "solid_capstyle": "projecting",
    "solid_joinstyle": "round",
    "dash_capstyle": "butt",
    "dash_joinstyle": "round",
}
_PNG_LEVEL = 3  # of deflate: at 6, writing takes more than twice as long for files hardly smaller
_LINE_FEED = 1.42  # distance of lines of text, in letter sizes
_BREAKS = re.compile(rf"(?<!\d) | (?!(?:{'|'.join(UNITS)})(?!\w))")


class Page:
    """A page of whole pixels, origin at the lower left; sizes and fonts do not depend on the user's settings.

    ``texts`` holds every text drawn with its box, in order, so that checks can see that none overlaps.
    """

    def __init__(self, width: float, height: float) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.width, self.height = width, height
        self.texts: list[tuple[str, Box]] = []
        self.figure = Figure(
            figsize=(width / DOTS_PER_INCH, height / DOTS_PER_INCH), dpi=DOTS_PER_INCH, facecolor=PAPER
        )
        self._canvas = FigureCanvasAgg(self.figure)
        self.sheet = self.frame(Box(0, 0, width, height), Box(0, 0, width, height))
        self.sheet.set_zorder(5)
        self._onto = self.sheet

    @classmethod
    def of_mm(cls, width_mm: float, height_mm: float, colour: str = PAPER) -> Page:
        """A page of exact millimetres, whatever fractions of pixels that takes; ``colour`` is its ground."""
        page = cls(width_mm * PER_MM, height_mm * PER_MM)
        page.figure.set_facecolor(colour)
        return page

    @contextmanager
    def onto(self, axes: Axes) -> Iterator[Axes]:
        """Put the lines, boxes and texts of the block on axes of the page, where they are cut at its frame.

        They are still given in the page's pixels. Texts are not cut.
        """
        before, self._onto = self._onto, axes
        try:
            yield axes
        finally:
            self._onto = before

    def add(self, artist: Artist) -> None:
        """Put something drawn in the page's pixels where lines and boxes go now."""
        artist.set_transform(self.sheet.transData)
        self._onto.add_artist(artist)

    def frame(self, place: Box, limits: Box) -> Axes:
        """Axes without ticks or ground at a place of the page; what is drawn in it is cut at its edge."""
        axes = self.figure.add_axes(
            (
                place.left / self.width,
                place.bottom / self.height,
                place.width / self.width,
                place.height / self.height,
            ),
            facecolor="none",
        )
        axes.set_axis_off()
        axes.set_autoscale_on(False)
        axes.set_xlim(limits.left, limits.right)
        axes.set_ylim(limits.bottom, limits.top)
        axes.margins(0)
        return axes

    def image(self, rgb: Bytes, left: int, bottom: int) -> None:
        """Pixels on pixels: (rows, columns, 3) with the top row first."""
        self.figure.figimage(rgb, left, bottom, origin="upper", zorder=-1)

    def size_of(self, text: str, size: float, *, bold: bool = False) -> tuple[float, float]:
        """Width and height in pixels; the height is that of a line with descenders, whatever the letters."""
        shown = marks_shown(text)
        # What is measured anew costs a millisecond, and a legend tries its lines at many sizes.
        key = shown, size, bold, *self._measuring()
        width = _widths.get(key)
        if width is None:
            renderer = self._canvas.get_renderer()  # type: ignore[no-untyped-call]
            width = float(renderer.get_text_width_height_descent(shown, font(size, bold=bold), False)[0])
            if len(_widths) >= _MOST_WIDTHS:
                _widths.clear()
            _widths[key] = width
        return width, size * DOTS_PER_INCH / 72 * 1.18

    def _measuring(self) -> tuple[str, float]:
        """What else decides how wide letters are: whether they are rounded to pixels, and to which."""
        from matplotlib import rcParams

        return str(rcParams["text.hinting"]), float(self.figure.dpi)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float = 8,
        *,
        bold: bool = False,
        align: str = "left",
        colour: str = INK,
        halo: bool = False,
        measured: bool = True,
    ) -> Box:
        """Write one line, its middle at height ``y``; never read as mathematics.

        Parameters
        ----------
        x, y : pixels; ``x`` is the left edge, the middle or the right edge as ``align`` says
        size : letter size, points
        halo : paper-coloured rim, for text on a map
        measured : whether to record the box in ``texts``
        """
        from matplotlib import patheffects

        text = marks_shown(text)
        width, height = self.size_of(text, size, bold=bold)
        left = x - {"left": 0.0, "center": width / 2, "right": width}[align]
        given: dict[str, Any] = {
            "fontproperties": font(size, bold=bold),
            "ha": "left",
            "va": "baseline",
            "parse_math": False,
            "transform": self.sheet.transData,
        }
        # The rim by itself, so that the letters above it stay text in files that can hold text.
        if halo:
            rim = [patheffects.Stroke(linewidth=2.4, foreground=PAPER)]
            self._onto.text(left, y - height * 0.27, text, color=PAPER, path_effects=rim, zorder=9, **given)
        self._onto.text(left, y - height * 0.27, text, color=colour, zorder=9, **given)
        box = Box(left, y - height / 2, left + width, y + height / 2)
        if measured and text:
            self.texts.append((text, box))
        return box

    def turned_text(
        self, x: float, y: float, text: str, size: float, turned_deg: float, *, colour: str = INK
    ) -> None:
        """Write one line about its middle, turned anticlockwise; its box is the caller's to keep."""
        self._onto.text(
            x,
            y,
            marks_shown(text),
            color=colour,
            zorder=9,
            fontproperties=font(size),
            ha="center",
            va="center_baseline",
            rotation=turned_deg,
            rotation_mode="anchor",
            parse_math=False,
            transform=self.sheet.transData,
        )

    def paragraph(self, left: float, top: float, width: float, text: str, size: float, **style: Any) -> float:
        """Write text wrapped to a width, downwards from ``top``; returns the height below its last line."""
        step, y = self.line_height(size), top
        for line in self.wrapped(text, width, size):
            self.text(left, y - step / 2, line, size, **style)
            y -= step
        return y

    def line_height(self, size: float) -> float:
        """From one line of a paragraph to the next, pixels."""
        return size * DOTS_PER_INCH / 72 * _LINE_FEED

    def wrapped(self, text: str, width: float, size: float) -> list[str]:
        """Lines no wider than ``width`` pixels, broken at spaces, in long words anywhere.

        A figure stays with its unit.
        """
        lines: list[str] = []
        line, about = "", 0.0
        space = self.size_of("n n", size)[0] - self.size_of("nn", size)[0]
        for word in _BREAKS.split(marks_shown(text)):
            wide = self.size_of(word, size)[0]
            longer = f"{line} {word}"
            # Words side by side, which recur, are nearly the line: it is measured where that matters.
            more = about + space + wide
            if abs(more - width) < 0.06 * width + 0.3 * len(longer):
                more = self.size_of(longer, size)[0]
            if line and more > width:
                lines.append(line)
                line, about = word, wide
            else:
                line, about = longer.strip(), more if line else wide
            if about > 0.9 * width:
                while self.size_of(line, size)[0] > width and len(line) > 1:
                    keep = max(1, int(len(line) * width / self.size_of(line, size)[0]) - 1)
                    lines.append(line[:keep])
                    line = line[keep:]
                about = self.size_of(line, size)[0]
        return [*lines, line] if line else lines

    def line(self, xs: Sequence[float], ys: Sequence[float], **style: Any) -> None:
        """A line on the page."""
        from matplotlib.lines import Line2D

        self.add(Line2D(xs, ys, **{"color": INK, "linewidth": 0.8, **LINES, **style}))

    def lines(self, ends: Sequence[tuple[float, float, float, float]], linewidth: float) -> None:
        """Many straight lines of one width, each from x, y to x, y: quicker than one by one."""
        from matplotlib.collections import LineCollection

        paths = [[(x0, y0), (x1, y1)] for x0, y0, x1, y1 in ends]
        self.add(LineCollection(paths, colors=[INK], linewidths=[linewidth], capstyle="projecting"))

    def box(self, place: Box, **style: Any) -> None:
        """A rectangle on the page, an outline unless told."""
        from matplotlib.patches import Rectangle

        given = {"facecolor": "none", "edgecolor": INK, "linewidth": 0.8, **style}
        self.add(Rectangle((place.left, place.bottom), place.width, place.height, **given))

    def pixels(self, denser: float = 1.0) -> Bytes:
        """The page as drawn: (height, width, 3), top row first.

        denser : how many times as many pixels along either side; not for pages with :meth:`image`
        """
        self.figure.set_dpi(DOTS_PER_INCH * denser)
        try:
            self._canvas.draw()  # type: ignore[no-untyped-call]
            return np.asarray(self._canvas.buffer_rgba())[..., :3].copy()  # type: ignore[no-untyped-call]
        finally:
            self.figure.set_dpi(DOTS_PER_INCH)

    def small_png(self) -> bytes:
        """The page as the bytes of a PNG file of 256 colours: a third of the size, and no difference to see.

        The house colours are kept as they are, also half mixed with paper; the rest is for the shades of
        the ground. The same page gives the same bytes.
        """
        import io

        from matplotlib.colors import to_rgb
        from PIL import Image

        signs = np.array([to_rgb(colour) for colour in sorted(ALL_COLOURS)])
        kept = np.rint(255 * np.concatenate([signs, (signs + to_rgb(PAPER)) / 2])).astype(int)
        whole = Image.fromarray(self.pixels())
        others = 256 - len(kept)
        shades = whole.quantize(others, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
        table = Image.new("P", (1, 1))
        table.putpalette((shades.getpalette() or [])[: 3 * others] + kept.ravel().tolist())
        file = io.BytesIO()
        whole.quantize(palette=table, dither=Image.Dither.NONE).save(file, "PNG", optimize=True)
        return file.getvalue()

    def save(self, out: Path, described: str = "") -> Path:
        """Write the page as PNG; the same page gives the same bytes.

        Parameters
        ----------
        described : told in the file's metadata

        Raises
        ------
        OutputError : the place or the disk does not allow it; an older file stays as it was
        """
        with replacing(out) as temporary:
            # Not savefig, which lets the user's settings change size and margins.
            told = {"Software": None, **({"Description": described} if described else {})}
            self._canvas.print_png(  # type: ignore[no-untyped-call]
                str(temporary), metadata=told, pil_kwargs={"compress_level": _PNG_LEVEL}
            )
        return out


#: Widths of texts already measured, pixels, by text, letter size, weight and the way of measuring.
_widths: dict[tuple[str, float, bool, str, float], float] = {}
_MOST_WIDTHS = 20_000


@cache
def _font_file(bold: bool) -> str:
    import matplotlib

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name)


def font(size: float, *, bold: bool = False) -> Any:
    """The font that travels with matplotlib, at a size in points."""
    from matplotlib.font_manager import FontProperties

    return FontProperties(fname=_font_file(bold), size=size, weight="bold" if bold else "normal")


@cache
def known_characters() -> frozenset[int]:
    """Code points that the font can draw."""
    from matplotlib.font_manager import get_font

    return frozenset(get_font(_font_file(True)).get_charmap()) & frozenset(
        get_font(_font_file(False)).get_charmap()
    )
