"""A verdict that counts cover, held against the one of the bare ground.

Trees grow and are felled, walls fall and are built. So cover decides nothing: as works of man do, it may only
take a decision away.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hillsight.plan.relocation.decision import DECIDED, NONE_FITS, UNDECIDED
from hillsight.plan.relocation.summary import headline

if TYPE_CHECKING:
    from hillsight.plan.verdict import Verdict


def held_to_bare_ground(covered: Verdict, bare: Verdict) -> Verdict:
    """The verdict with cover, undecided where the bare ground does not bear it out, and a word on that.

    Parameters
    ----------
    covered, bare : of the same sighting and candidates, with cover and without
    """
    same = covered.state == bare.state and (
        covered.state != DECIDED or covered.best.station == bare.best.station
    )
    if same:
        told = "undecided with the cover given and by the bare ground alike"
        if covered.state != UNDECIDED:
            told = "the bare ground gives the same verdict: nothing hangs on the cover"
        return replace(covered, cautions=(*covered.cautions, told))
    told = (
        f"with the cover given {_answer(covered)}, by the bare ground {_answer(bare)}: trees grow and are "
        "felled, walls are built and fall, so cover decides nothing; look at the dates of the cover's data "
        "and of the picture"
    )
    held = replace(covered, state=UNDECIDED, cautions=(*covered.cautions, told))
    return replace(held, headline=headline(held))


def _answer(verdict: Verdict) -> str:
    if verdict.state == DECIDED:
        return f"it would be decided for {verdict.best.station}"
    return "none of the places fits" if verdict.state == NONE_FITS else "it stays undecided"
