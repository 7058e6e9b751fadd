"""Pages as files: PNG, SVG or PDF, as the name's end says; the same page gives the same bytes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from hillsight.layers.atomic import replacing

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from hillsight.sheets.paper.page import Page

#: What a page can be saved as.
DRAWINGS = (".svg", ".png", ".pdf")


def save_page(
    page: Page, out: Path, *, as_text: bool = True, settings: Mapping[str, Any] | None = None
) -> Path:
    """Write a page.

    Parameters
    ----------
    as_text : whether letters of an SVG stay text that can be searched and edited; else they are outlines that
        look the same everywhere. Letters of a PDF are text, with their font
    settings : of matplotlib, besides those for letters

    Raises
    ------
    OutputError : the place or the disk does not allow it; an older file stays as it was
    """
    kind = out.suffix.lower()
    if kind not in (".svg", ".pdf"):
        return page.save(out)
    import matplotlib
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    given: Any = {
        **(settings or {}),
        "font.family": ["sans-serif"],
        "font.sans-serif": ["DejaVu Sans", "Verdana"],
        "svg.hashsalt": "hillsight",
        "svg.fonttype": "none" if as_text else "path",
        "pdf.fonttype": 42,
        "pdf.compression": 6,
    }
    canvas, dots_per_inch = page.figure.canvas, page.figure.dpi
    try:
        with replacing(out) as temporary, matplotlib.rc_context(given):
            if kind == ".svg":
                FigureCanvasSVG(page.figure).print_svg(  # type: ignore[no-untyped-call]
                    str(temporary), metadata={"Date": None, "Creator": "hillsight"}
                )
                _keep_spaces(temporary)
            else:
                FigureCanvasPdf(page.figure).print_pdf(  # type: ignore[no-untyped-call]
                    str(temporary), metadata={"CreationDate": None, "Creator": "hillsight", "Producer": None}
                )
    finally:  # these count 72 dots an inch, and leave the page with them
        page.figure.set_dpi(dots_per_inch)
        page.figure.set_canvas(canvas)
    return out


def _keep_spaces(svg: Path) -> None:
    """Have spaces in a row drawn as they are, not as one (SVG 1.1, section 10.15, from memory)."""
    # On each text: browsers do not hand it down from the root.
    written = svg.read_text(encoding="utf-8")
    svg.write_text(written.replace("<text ", '<text xml:space="preserve" '), encoding="utf-8", newline="\n")
