"""What a search found, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hillsight.plan.relocation.decision import DECIDED, NONE_FITS
from hillsight.words.quantities import probability_words

if TYPE_CHECKING:
    import pandas as pd

    from hillsight.plan.search.ranking import Ranking

#: Places told of beside the best.
_MORE = 4

_CAUTION = (
    "This is a search for where a picture may have been taken, not a rescue tool: where somebody may be in "
    "danger, call the emergency services."
)


def search_lines(ranking: Ranking, places: pd.DataFrame, count: int) -> list[str]:
    """Sentences, the best place first.

    Parameters
    ----------
    places : the layer ``possible_places``; count : places that were weighed
    """
    rows = places.to_dict("records")
    best = rows[0]
    place = f"E {best['easting_m']:.0f} N {best['northing_m']:.0f}"
    near, about = (probability_words(share) for share in ranking.about)
    shares = f"{near} within 100 m of it, {about} within 500 m"
    heads = {
        DECIDED: f"Decided: taken about {place} ({shares})",
        NONE_FITS: f"None of the places fits; the best is {place}, and its skyline strays from that traced",
    }
    lines = [
        heads.get(ranking.state, f"Undecided: likeliest about {place} ({shares})"),
        f"There the picture looks {best['heading_true_deg']:.1f} ± {best['heading_plus_minus_deg']:.1f} "
        f"degrees true (± is one standard deviation) and is {best['width_deg']:.0f} degrees wide; the "
        f"skyline is {best['misfit_deg']:.2f} degrees off that traced; {count:,} places weighed",
    ]
    lines += [
        f"{row['rank']}. E {row['easting_m']:.0f} N {row['northing_m']:.0f}, "
        f"{row['distance_to_best_m'] / 1000:.1f} km from the best, looks "
        f"{row['heading_true_deg']:.0f} degrees true: {probability_words(row['probability'])}"
        for row in rows[1 : 1 + _MORE]
        if row["probability"] >= 0.005
    ]
    return [*lines, _CAUTION]
