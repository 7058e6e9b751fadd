"""Pages as files: PNG, SVG or PDF, as the name's end says; the same page gives the same bytes."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.layers.atomic import replacing
from hillsight.sheets.paper.page import DOTS_PER_INCH
from hillsight.sheets.paper.palette import BLANK, PAPER
from hillsight.words.marks import marks_shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

    from hillsight.arrays import AnyArray
    from hillsight.sheets.paper.page import Page

#: What a page can be saved as.
DRAWINGS = (".svg", ".png", ".pdf")


@dataclass(frozen=True)
class Printing:
    """How pages become files.

    kind : of files whose names are made here: png, svg or pdf; dots_per_inch : of a PNG; white_paper : plain
    white in place of the tint of paper
    """

    kind: str = "png"
    dots_per_inch: int = DOTS_PER_INCH
    white_paper: bool = False

    def named(self, folder: Path, stem: str) -> Path:
        """The file of a picture in a folder."""
        return folder / f"{stem}.{self.kind}"


AS_DRAWN = Printing()


@dataclass(frozen=True)
class About:
    """What a file says of itself: its title, and where it comes from, as JSON of ``layers.provenance``."""

    title: str
    provenance: str


def save_page(
    page: Page,
    out: Path,
    *,
    as_text: bool = True,
    settings: Mapping[str, Any] | None = None,
    printing: Printing = AS_DRAWN,
    about: About | None = None,
) -> Path:
    """Write a page.

    Parameters
    ----------
    as_text : whether letters of an SVG stay text that can be searched and edited; else they are outlines that
        look the same everywhere. Letters of a PDF are text, with their font
    settings : of matplotlib, besides those for letters
    printing : resolution and paper; the kind of file is what the name's end says
    about : told in the file's metadata

    Raises
    ------
    OutputError : the place or the disk does not allow it; an older file stays as it was
    """
    kind = out.suffix.lower()
    if kind == ".pdf":
        return save_pages([page], out, settings=settings, printing=printing, about=about)
    if printing.white_paper:
        _whiten(page)
    if kind != ".svg":
        return _save_png(page, out, printing.dots_per_inch, "" if about is None else about.provenance)
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    told: dict[str, Any] = {"Date": None, "Creator": "hillsight"}
    if about is not None:
        told |= {"Title": marks_shown(about.title), "Description": about.provenance}
    with _kept(page), replacing(out) as temporary, matplotlib.rc_context(_given(settings, as_text)):
        FigureCanvasSVG(page.figure).print_svg(str(temporary), metadata=told)  # type: ignore[no-untyped-call]
        _keep_spaces(temporary)
    return out


def save_pages(
    pages: Iterable[Page],
    out: Path,
    *,
    settings: Mapping[str, Any] | None = None,
    printing: Printing = AS_DRAWN,
    about: About | None = None,
) -> Path:
    """Write pages as one PDF, in their order; each is let go before the next is asked for.

    Raises
    ------
    OutputError : the place or the disk does not allow it; an older file stays as it was
    """
    import matplotlib
    from matplotlib.backends.backend_pdf import FigureCanvasPdf, PdfPages

    told: dict[str, Any] = {"CreationDate": None, "Creator": "hillsight", "Producer": None}
    if about is not None:
        told |= {"Title": marks_shown(about.title), "Subject": about.provenance}
    with (
        replacing(out) as temporary,
        matplotlib.rc_context(_given(settings, True)),
        PdfPages(temporary, metadata=told) as file,
    ):
        for page in pages:
            if printing.white_paper:
                _whiten(page)
            with _kept(page):
                FigureCanvasPdf(page.figure).print_pdf(file)  # type: ignore[no-untyped-call]
    return out


def _given(settings: Mapping[str, Any] | None, as_text: bool) -> Any:
    """Settings of matplotlib for letters, and those asked for."""
    return {
        **(settings or {}),
        "font.family": ["sans-serif"],
        "font.sans-serif": ["DejaVu Sans", "Verdana"],
        "svg.hashsalt": "hillsight",
        "svg.fonttype": "none" if as_text else "path",
        "pdf.fonttype": 42,
        "pdf.compression": 6,
    }


@contextmanager
def true_letters() -> Iterator[None]:
    """Measure and draw letters as long as their font has them, not rounded to the pixels of a screen.

    For pages that are saved at more than one resolution: their texts keep to their room on all of them.
    """
    import matplotlib

    with matplotlib.rc_context({"text.hinting": "none"}):
        yield


@contextmanager
def _kept(page: Page) -> Iterator[None]:
    """Give a page its canvas and resolution back after it was saved with others."""
    canvas, dots_per_inch = page.figure.canvas, page.figure.dpi
    try:
        yield
    finally:
        page.figure.set_dpi(dots_per_inch)
        page.figure.set_canvas(canvas)


def _save_png(page: Page, out: Path, dots_per_inch: int, described: str) -> Path:
    """A PNG file; lines and letters are drawn anew for a finer one, painted ground is enlarged."""
    if dots_per_inch == DOTS_PER_INCH:
        return page.save(out, described)
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    share = dots_per_inch / DOTS_PER_INCH
    painted = [(image, image.get_array(), image.ox, image.oy) for image in page.figure.images]  # type: ignore[attr-defined]
    try:
        with _kept(page), replacing(out) as temporary:
            for image, array, left, bottom in painted:
                image.set_data(_enlarged(array, share))
                image.ox, image.oy = left * share, bottom * share  # type: ignore[attr-defined]
            page.figure.set_dpi(dots_per_inch)
            FigureCanvasAgg(page.figure).print_png(  # type: ignore[no-untyped-call]
                str(temporary),
                metadata={"Software": None, **({"Description": described} if described else {})},
            )
    finally:
        for image, array, left, bottom in painted:
            image.set_data(array)
            image.ox, image.oy = left, bottom  # type: ignore[attr-defined]
    return out


def _keep_spaces(svg: Path) -> None:
    """Have spaces in a row drawn as they are, not as one (SVG 1.1, section 10.15, from memory)."""
    # On each text: browsers do not hand it down from the root.
    written = svg.read_text(encoding="utf-8")
    svg.write_text(written.replace("<text ", '<text xml:space="preserve" '), encoding="utf-8", newline="\n")


def _enlarged(array: Any, share: float) -> AnyArray:
    from PIL import Image

    rows, columns = array.shape[:2]
    size = max(1, round(columns * share)), max(1, round(rows * share))
    return np.asarray(Image.fromarray(np.asarray(array)).resize(size, Image.Resampling.BICUBIC))


def _drawn_on(page: Page) -> Iterator[Any]:
    """Everything drawn on a page; not the scales of its axes, which are never shown and slow to make."""
    yield page.figure.patch
    for axes in page.figure.axes:
        yield axes.patch
        for artists in (axes.lines, axes.patches, axes.collections, axes.texts):
            yield from artists


def _whiten(page: Page) -> None:
    """Make all that has the colour of paper plain white, and painted ground as much lighter; signs stay."""
    from matplotlib.colors import to_rgb
    from matplotlib.text import Text

    paper, whole = np.array(to_rgb(PAPER)), to_rgb(BLANK)

    def is_paper(colour: Any) -> bool:
        values = np.asarray(colour, float).ravel()
        return values.size in (3, 4) and bool(np.allclose(values[:3], paper, atol=1e-3))

    def white(colour: Any) -> Any:
        if isinstance(colour, str):
            if colour.lower() in ("none", "auto"):
                return colour
            return whole if is_paper(to_rgb(colour)) else colour
        values = np.asarray(colour, float)
        if values.ndim == 2:
            return [white(row) for row in values] if any(is_paper(row) for row in values) else colour
        return (*whole, *values[3:]) if is_paper(values) else colour

    for artist in _drawn_on(page):
        for name in (
            "color",
            "facecolor",
            "edgecolor",
            "markerfacecolor",
            "markeredgecolor",
            "markerfacecoloralt",
        ):
            get, put = getattr(artist, f"get_{name}", None), getattr(artist, f"set_{name}", None)
            if get is None or put is None:
                continue
            old = get()
            new = white(old)
            if new is not old:
                put(new)
        if isinstance(artist, Text):
            for effect in artist.get_path_effects():
                rim = getattr(effect, "_gc", {})
                if "foreground" in rim and is_paper(to_rgb(rim["foreground"])):
                    rim["foreground"] = whole
    for image in page.figure.images:
        array = np.asarray(image.get_array())
        image.set_data(np.rint(np.clip(array / paper, 0, 255)).astype(np.uint8))
