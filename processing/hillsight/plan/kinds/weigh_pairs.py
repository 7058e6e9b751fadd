"""How well statements about two or more things fit a place: their order, relation and angle."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import special

from hillsight.plan.kinds.weigh_things import shown, told
from hillsight.words.trust import trust_order

if TYPE_CHECKING:
    from collections.abc import Mapping

    from hillsight.arrays import Floats
    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.things import Things
    from hillsight.plan.observer import Observer
    from hillsight.plan.statement import Statement


#: Two things whose bearings differ by less are not told to be left or right of one another, degrees.
_BESIDE_DEG = 1.0

#: Of a kind with more things than these the likeliest are paired with others: no picture shows so many.
_MOST_OF_A_KIND = 60

#: A thing is clearly nearer than another if their distances differ by this ratio, as a logarithm.
_NEARER_LOG = 0.25


def order_fit(
    statement: Statement, glance: Glance, framing: Framing, observer: Observer, things: Things
) -> Floats:
    """Chance that things would be told in that order from left to right, (h,).

    Of kinds with many things the best choice counts: the one with the likeliest order.
    """
    wanted = statement.values["things"]
    best: Floats | None = None
    before: Floats = np.zeros(0)
    for what in wanted:
        rows = things.rows(what)
        each = np.maximum(shown(what, statement.part, glance, framing, things, observer), 1e-6)
        kept = np.argsort(-each.max(axis=0), kind="stable")[:_MOST_OF_A_KIND]
        each, rows = each[:, kept], rows[kept]
        middle = _from_left(glance.things.middle_deg[rows], framing)
        if best is None:
            best, before = each, middle
            continue
        right_of = special.ndtr((middle[:, None, :] - before[:, :, None]) / _BESIDE_DEG)
        best = (best[:, :, None] * right_of).max(axis=1) * each
        before = middle
    assert best is not None
    # One chance for the whole: that of a single thing, so that long lists do not weigh more by their length.
    fits = best.max(axis=1) ** (2.0 / (1.0 + len(wanted)))
    return told(fits, _least_trusted(wanted, things), things, observer)


def relation_fit(
    statement: Statement, glance: Glance, framing: Framing, observer: Observer, things: Things
) -> Floats:
    """Chance that one thing would be told to stand so to the other, (h,)."""
    values = statement.values
    what, other, relation = values["what"], values["other"], values["is"]
    one, two = things.rows(what), things.rows(other)
    seen = glance.things
    offset = _signed(seen.middle_deg[two][None, :] - seen.middle_deg[one][:, None])
    half = (seen.width_deg[one][:, None] + seen.width_deg[two][None, :]) / 2.0
    gap = np.abs(offset) - half  # below nought they overlap
    overlap = special.ndtr((_BESIDE_DEG - gap) / _BESIDE_DEG)
    with np.errstate(divide="ignore", invalid="ignore"):
        nearer = np.log(seen.distance_m[two][None, :] / seen.distance_m[one][:, None])
    fits = {
        "left of": special.ndtr((offset - _BESIDE_DEG / 2) / _BESIDE_DEG),
        "right of": special.ndtr((-offset - _BESIDE_DEG / 2) / _BESIDE_DEG),
        "in front of": overlap * special.ndtr(nearer / _NEARER_LOG),
        "behind": overlap * special.ndtr(-nearer / _NEARER_LOG),
        "overlapping": overlap,
    }[relation]
    if "gap_deg" in values:
        fits = fits * _angle(np.maximum(gap, 0.0), float(values["gap_deg"]), values, observer)
    return _pairs(statement, np.nan_to_num(fits), glance, framing, observer, things)


def angle_fit(
    statement: Statement, glance: Glance, framing: Framing, observer: Observer, things: Things
) -> Floats:
    """How well two things stand so many degrees apart, (h,)."""
    values = statement.values
    one, two = things.rows(values["what"]), things.rows(values["other"])
    middle = glance.things.middle_deg
    apart = np.abs(_signed(middle[two][None, :] - middle[one][:, None]))
    fits = _angle(apart, float(values["degrees"]), values, observer)
    return _pairs(statement, np.nan_to_num(fits), glance, framing, observer, things)


def _pairs(
    statement: Statement,
    fits: Floats,
    glance: Glance,
    framing: Framing,
    observer: Observer,
    things: Things,
) -> Floats:
    """Chance that it would be told of any pair, from how each pair fits, (m, m') to (h,)."""
    what, other = statement.values["what"], statement.values["other"]
    ones = shown(what, statement.part, glance, framing, things, observer)
    twos = shown(other, "anywhere", glance, framing, things, observer)
    one, two = things.rows(what), things.rows(other)
    fits = np.where(one[:, None] == two[None, :], 0.0, fits)
    kept = np.argsort(-ones.max(axis=0, initial=0.0), kind="stable")[:_MOST_OF_A_KIND]
    also = np.argsort(-twos.max(axis=0, initial=0.0), kind="stable")[:_MOST_OF_A_KIND]
    ones, twos, fits, one = ones[:, kept], twos[:, also], fits[np.ix_(kept, also)], one[kept]
    none = np.ones(ones.shape[0])
    for k in range(one.size):
        none = none * np.prod(1.0 - np.clip(ones[:, k : k + 1] * twos * fits[k][None, :], 0.0, 1.0), axis=1)
    return told(1.0 - none, _least_trusted((what, other), things), things, observer)


def _angle(apart_deg: Floats, given_deg: float, values: Mapping[str, Any], observer: Observer) -> Floats:
    default = float(np.hypot(observer.angle_deg, observer.angle_share * given_deg))
    spread = float(values.get("give_or_take_deg", default))
    fits: Floats = np.exp(-0.5 * ((apart_deg - given_deg) / spread) ** 2)
    return fits


def _least_trusted(wanted: tuple[str, ...] | list[str], things: Things) -> str:
    """The thing of the least trusted class among several: the statement is worth no more."""
    return max(wanted, key=lambda what: trust_order(things.evidence_class(what)))


def _from_left(middle_deg: Floats, framing: Framing) -> Floats:
    """Angles from the picture's middle, (h, m), to the right positive."""
    return _signed(middle_deg[None, :] - framing.heading_deg[:, None])


def _signed(angle_deg: Floats) -> Floats:
    signed: Floats = (angle_deg + 180.0) % 360.0 - 180.0
    return signed
