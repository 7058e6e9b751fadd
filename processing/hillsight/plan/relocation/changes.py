"""What would become of a verdict if something were otherwise: a statement, a place, the eye."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.relocation.decision import decide
from hillsight.plan.relocation.posterior import log_elsewhere, posterior
from hillsight.plan.verdict import Change

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats
    from hillsight.plan.relocation.decision import Rules
    from hillsight.plan.relocation.posterior import Posterior, Table


def judge(
    table: Table,
    about: Table,
    prior: Floats,
    man_made: Flags,
    rules: Rules,
    left_out: Flags | None = None,
) -> tuple[str, Posterior, Posterior]:
    """(state, posterior by all statements, posterior without man-made features).

    Parameters
    ----------
    table : of the candidates; about : of places that are none of them; prior : (c,)
    man_made : (s,) statements about man-made features; left_out : (s,) statements not counted
    """
    nothing = np.zeros(man_made.size, bool) if left_out is None else left_out
    whole, ground = (
        posterior(
            ours := table.without(out),
            prior,
            log_elsewhere(about.without(out), ours, rules.elsewhere_times),
            rules.none_prior,
        )
        for out in (nothing, nothing | man_made)
    )
    return decide(whole, ground, rules), whole, ground


def changed(
    about: str, state: str, best: int, found: tuple[str, Posterior, Posterior], labels: Sequence[str]
) -> Change:
    """A verdict beside the one that stands."""
    then, whole, _ = found
    return Change(
        about,
        then,
        labels[whole.best],
        float(whole.candidates[whole.best]),
        then != state or (then != "none_fits" and whole.best != best),
    )
