"""Exact choices by integer programming (HiGHS, by scipy.optimize.milp), and the bound it comes to in time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers
    from hillsight.plan.posts.solving.table import Table

#: With less time than this the solver is not begun: seconds.
_LEAST_S = 0.05

#: Entries of a table for each second there is: with more the solver runs over its time before it has begun.
_ENTRIES_PER_S = 18_000

#: Products of entries that pieces are compared by; more are not worth the time.
_MOST_COMPARED = 50_000_000

#: How HiGHS says that there is no such choice.
_INFEASIBLE = 2


@dataclass(frozen=True)
class Exact:
    """What the solver found.

    chosen : rows of the table, None where it found no choice
    bound : no choice sees more than this, or costs less; infinite, or nought, where it could not tell
    impossible : there is no choice of the kind asked for
    """

    chosen: Integers | None
    bound: float
    impossible: bool = False


def most_cover(
    table: Table, posts: int, seconds: float, cost: Floats | None = None, floor: float = 0.0
) -> Exact:
    """The choice of at most so many posts that sees most, or most less its cost.

    cost : (places,) what is taken off for each place
    floor : what must be seen
    """
    places, pieces = table.place.size, table.worth.size
    if _too_short(table, seconds):
        return Exact(None, np.inf)
    scale = float(table.worth @ table.times)
    limits = [_seen_only_by_chosen(table), _at_most(posts, places, pieces)]
    if floor > 0.0:
        limits.append(_enough(table, floor))
    paid = np.zeros(places) if cost is None else cost / scale
    found = _solved(np.concatenate((paid, -table.worth / scale)), limits, table.times, places, seconds)
    dual = found.mip_dual_bound
    bound = np.inf if dual is None or not np.isfinite(dual) else -float(dual) * scale
    return Exact(_places_of(found, places), bound)


def least_cost(
    table: Table, wanted: float, cost: Floats, seconds: float, most_posts: int | None = None
) -> Exact:
    """The choice that sees so much at the least cost; bounds are of the cost.

    cost : (places,) >= 0
    """
    places, pieces = table.place.size, table.worth.size
    if _too_short(table, seconds):
        return Exact(None, 0.0)
    whole = float(table.worth @ table.times)
    everything = wanted >= whole - table.tolerance
    limits = [] if most_posts is None else [_at_most(most_posts, places, 0 if everything else pieces)]
    if everything:
        # Whatever is worth seeing must be seen: no piece is left to choose.
        needed = _hardest(table)
        limits.append(LinearConstraint(table.seen.T.tocsr()[needed], table.times[needed], np.inf))
        found = _solved(cost, limits, np.empty(0), places, seconds)
    else:
        limits += [_seen_only_by_chosen(table), _enough(table, wanted)]
        found = _solved(np.concatenate((cost, np.zeros(pieces))), limits, table.times, places, seconds)
    if found.status == _INFEASIBLE:
        return Exact(None, np.inf, impossible=True)
    dual = found.mip_dual_bound
    return Exact(_places_of(found, places), 0.0 if dual is None or not np.isfinite(dual) else float(dual))


def _too_short(table: Table, seconds: float) -> bool:
    """Whether there is no time to begin."""
    return not table.place.size or seconds < max(_LEAST_S, table.seen.nnz / _ENTRIES_PER_S)


def _solved(
    cost: Floats, limits: list[LinearConstraint], times: Floats, places: int, seconds: float
) -> OptimizeResult:
    """Minimise the cost over whole places, and over how often each piece counts."""
    upper = np.concatenate((np.ones(places), times))
    whole = np.concatenate((np.ones(places), np.zeros(times.size)))
    return milp(
        cost,
        constraints=limits,
        bounds=Bounds(np.zeros(upper.size), upper),
        integrality=whole,
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )


def _seen_only_by_chosen(table: Table) -> LinearConstraint:
    """A piece counts no more often than posts see it."""
    pieces = table.worth.size
    matrix = sparse.hstack((-table.seen.T, sparse.eye_array(pieces)), format="csr")
    return LinearConstraint(matrix, -np.inf, 0.0)


def _enough(table: Table, wanted: float) -> LinearConstraint:
    """So much is seen at least."""
    whole = float(table.worth @ table.times)
    row = np.concatenate((np.zeros(table.place.size), table.worth / whole))
    return LinearConstraint(sparse.csr_array(row[None, :]), wanted / whole, np.inf)


def _at_most(posts: int, places: int, pieces: int) -> LinearConstraint:
    row = np.concatenate((np.ones(places), np.zeros(pieces)))
    return LinearConstraint(sparse.csr_array(row[None, :]), -np.inf, posts)


def _hardest(table: Table) -> Integers:
    """Pieces to see that are not seen anyway by whoever sees others: those that few see."""
    if float((np.diff(table.seen.indptr).astype(np.float64) ** 2).sum()) > _MOST_COMPARED:
        return np.arange(table.worth.size)
    by_piece = table.seen.T.tocsr()
    few = np.asarray(by_piece.sum(axis=1)).ravel()
    shared = sparse.csr_array(by_piece @ by_piece.T).tocoo()
    by, of = shared.row, shared.col
    # Whoever sees ``by`` sees ``of`` too, and no less often is asked for of it.
    needless = (shared.data >= few[by]) & (table.times[by] >= table.times[of]) & (by != of)
    needless &= (few[by] < few[of]) | (table.times[by] > table.times[of]) | (by < of)
    left = np.ones(few.size, bool)
    left[of[needless]] = False
    return np.flatnonzero(left)


def _places_of(found: OptimizeResult, places: int) -> Integers | None:
    return None if found.x is None else np.flatnonzero(found.x[:places] > 0.5)
