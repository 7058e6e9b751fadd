"""The traced skyline of a photograph and the expected one of each candidate, drawn one above the other."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sheets.paper import palette
from hillsight.sheets.verdict.verdict_text import plain

if TYPE_CHECKING:
    from hillsight.plan.verdict import MeasuredEvidence

#: Inches: width of the drawing, height of a candidate's, and of the scale below; most candidates drawn.
_WIDTH, _HEIGHT, _FOOT, _MOST = 9.0, 1.5, 0.6, 8

_DOTS_PER_INCH = 110

#: Points of a trace farther apart than this, degrees, are of two pieces: nothing is drawn between them.
_PIECES_APART_DEG = 3.0


def skyline_plot(measured: MeasuredEvidence) -> bytes:
    """A PNG with a panel for each candidate, all at one scale; empty where no skyline was traced."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    fits = [fit for fit in measured.fits if len(fit.bearing_true_deg) > 1][:_MOST]
    if not fits:
        return b""
    tall = _HEIGHT * len(fits) + _FOOT
    figure = Figure(figsize=(_WIDTH, tall), dpi=_DOTS_PER_INCH, facecolor=palette.PAPER)
    FigureCanvasAgg(figure)
    spans = [
        float(np.nanmax(every) - np.nanmin(every))
        for every in ([*fit.traced_deg, *fit.expected_deg] for fit in fits)
    ]
    half = 0.55 * max(spans) + 0.3
    for k, fit in enumerate(fits):
        bottom = (_FOOT + _HEIGHT * (len(fits) - 1 - k)) / tall
        axes = figure.add_axes((0.09, bottom + 0.12 / tall, 0.89, (_HEIGHT - 0.42) / tall), facecolor="none")
        turn = np.unwrap(np.array(fit.bearing_true_deg), period=360.0)
        every = [*fit.traced_deg, *fit.expected_deg]
        middle = float(np.nanmin(every) + np.nanmax(every)) / 2.0
        breaks = np.flatnonzero(np.abs(np.diff(turn)) > _PIECES_APART_DEG) + 1
        expected = np.insert(np.array(fit.expected_deg, np.float64), breaks, np.nan)
        axes.plot(np.insert(turn, breaks, np.nan), expected, color=palette.INK, linewidth=1.4)
        axes.plot(turn, fit.traced_deg, linestyle="none", marker=".", markersize=4, color=palette.BROW)
        axes.set_ylim(middle - half, middle + half)
        axes.set_title(
            f"{plain(fit.station, 60)}: strays {fit.misfit_deg:.2f} degrees", fontsize=9, loc="left", pad=3
        )
        axes.tick_params(labelsize=8)
        axes.xaxis.set_major_formatter(lambda value, _: f"{value % 360:.0f}°")
        axes.yaxis.set_major_formatter(lambda value, _: f"{value:+.0f}°" if round(value) else "0°")
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
    figure.text(
        0.09, 0.12 / tall, "True bearing; vertical angle as the camera that fits best has it", fontsize=8
    )

    held = io.BytesIO()
    figure.savefig(held, format="png", metadata={"Software": None})
    return held.getvalue()
