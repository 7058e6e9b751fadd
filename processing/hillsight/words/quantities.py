"""Distances, areas, shares and counts as people read them, in one style everywhere.

A comma stands between thousands; a space stands before a unit and before the per cent sign, as before any
unit (ISO 80000-1 and the SI brochure, from memory): ``7,457.5 ha``, ``1,234 m``, ``98 %``. It is an ordinary
space, so that texts can be searched; whatever wraps lines keeps a figure and its unit together.
"""

from __future__ import annotations

import math

UNITS = ("m", "km", "ha", "%")
"""What a figure is not parted from at the end of a line."""


def whole_number(value: float) -> str:
    """A number without decimals.

    >>> whole_number(216671.4)
    '216,671'
    """
    return f"{value:,.0f}"


def metres(value_m: float) -> str:
    """A distance or height in whole metres: ``1,234 m``."""
    return f"{whole_number(value_m)} m"


def length_words(value_m: float) -> str:
    """A length given exactly, as a reach or a grid's spacing: ``500 m``, ``1.5 km``.

    >>> length_words(1234)
    '1.234 km'
    """
    return f"{value_m:g} m" if value_m < 1_000 else f"{value_m / 1_000:,.10g} km"


def rough_distance_words(value_m: float) -> str:
    """A distance as it may be judged or found again: two figures, no more.

    >>> [rough_distance_words(value) for value in (62.4, 644, 998, 1234)]
    ['62 m', '640 m', '1.0 km', '1.2 km']
    """
    if value_m >= 995:
        return f"{value_m / 1_000:,.1f} km"
    return f"{round(value_m, -1) if value_m >= 100 else value_m:.0f} m"


def distance_as_known(value_m: float, spacing_m: float, plus_minus_m: float | None = None) -> str:
    """A distance to an edge of ground, such as a brow, no finer than the posts tell it.

    Parameters
    ----------
    plus_minus_m : how far it may be out, where that is known; the spacing of the posts otherwise

    >>> [distance_as_known(value, 50.0) for value in (17.0, 160.0, 2340.0)]
    ["within a post's spacing (50 m)", '160 m, give or take 50 m', '2.3 km']
    >>> distance_as_known(331.0, 10.0, 57.3)
    '330 m, give or take 60 m'
    """
    if value_m < spacing_m:
        return f"within a post's spacing ({length_words(spacing_m)})"
    out_m = spacing_m if plus_minus_m is None else max(plus_minus_m, spacing_m)
    told = rough_distance_words(value_m)
    if out_m < 0.1 * value_m:
        return told
    return f"{told}, give or take {rough_distance_words(_one_figure(out_m))}"


def _one_figure(value_m: float) -> float:
    """Rounded to its first figure, to 1, 2, 3 ... or 10, 20, 30 ..."""
    step = 10.0 ** math.floor(math.log10(value_m))
    return float(step * math.floor(value_m / step + 0.5))


def hectares(value_ha: float, decimals: int = 1) -> str:
    """An area: ``7,457.5 ha``."""
    return f"{value_ha:,.{decimals}f} ha"


def per_cent(share: float, decimals: int = 0) -> str:
    """A share: ``98 %``, ``30.6 %``."""
    return f"{100.0 * share:.{decimals}f} %"


def probability_words(share: float, limit: float | None = None) -> str:
    """A probability, never stated as nothing or all: ``under 1 %``, ``98 %``, ``over 99 %``.

    Parameters
    ----------
    limit : a probability that decides something; a share below it is not rounded up to it, nor one from it on
        below it, but gets as many figures as that takes

    >>> [probability_words(share, 0.95) for share in (0.9, 0.9468, 0.9496, 0.9504)]
    ['90 %', '94.7 %', '94.96 %', '95 %']
    """
    if share >= 0.995:
        return "over 99 %"
    if share < 0.01:
        return "under 1 %"
    if limit is None:
        return per_cent(share)
    for decimals in range(5):
        rounded = round(100.0 * share, decimals) / 100.0
        if (rounded >= limit - 1e-12) == (share >= limit):
            break
    return per_cent(share, decimals)
