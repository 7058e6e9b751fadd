"""How well statements fit places, draw by draw of what is not known."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.look.drawn import bearings_in_pictures, drawn_glance, draws

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from hillsight.arrays import Flags, Floats32, Integers
    from hillsight.plan.look.drawn import Draw, Place
    from hillsight.plan.look.framing import Framing
    from hillsight.plan.look.glance import Glance
    from hillsight.plan.look.looking import Looker
    from hillsight.plan.look.things import Things
    from hillsight.plan.statement import Statement
    from hillsight.plan.weighing.statements import Weighing

#: Draws among which every width is found.
_WIDTHS_IN = 256

_SEED = 7


@dataclass(frozen=True)
class DrawnFits:
    """Looks from places draw by draw, and says how well each statement fits.

    raised_m : how much higher than usual every eye stands
    """

    looker: Looker
    weighing: Weighing
    statements: Sequence[Statement]
    raised_m: float = 0.0

    def of_all(
        self, places: Sequence[Place], first: int, last: int, report: Callable[[float], None] | None = None
    ) -> tuple[Floats32, Flags]:
        """Fits of every place in draws first to last - 1, (p, d, s, h), and in which it is known, (p, d)."""
        count = last - first
        which = np.repeat(np.arange(len(places)), count)
        numbers = np.tile(np.arange(first, last), len(places))
        fits, known = self._of(places, which, numbers, report)
        return fits.reshape(len(places), count, *fits.shape[1:]), known.reshape(len(places), count)

    def of_each(
        self, places: Sequence[Place], among: int, report: Callable[[float], None] | None = None
    ) -> tuple[Floats32, Flags]:
        """Fits of every place in one draw of so many, taken in turn, (p, 1, s, h), and if known, (p, 1)."""
        fits, known = self._of(places, np.arange(len(places)), np.arange(len(places)) % max(among, 1), report)
        return fits[:, None], known[:, None]

    def _of(
        self,
        places: Sequence[Place],
        which: Integers,
        numbers: Integers,
        report: Callable[[float], None] | None,
    ) -> tuple[Floats32, Flags]:
        """Fits of pairs of a place and a draw, (n, s, h), and which of them are known, (n,)."""
        headings = self.weighing.framing.heading_deg.size
        fits = np.zeros((which.size, len(self.statements), headings), np.float32)
        known = np.zeros(which.size, bool)
        if not which.size or not self.statements:
            # Where nothing is said there is nothing to look for.
            known[:] = True
            return fits, known
        drawn = draws(int(numbers.max()) + 1, self.weighing.observer)
        looks = self.looks(places, which, [drawn[int(number)] for number in numbers], report)
        for k, view, weighing in looks:
            if view is not None:
                fits[k], known[k] = weighing.fits(self.statements, view), True
        return fits, known

    def looks(
        self,
        places: Sequence[Place],
        which: Integers,
        drawn: Sequence[Draw],
        report: Callable[[float], None] | None = None,
    ) -> Iterator[tuple[int, Glance | None, Weighing]]:
        """Look from pairs of a place and a draw, those of one ground together.

        Parameters
        ----------
        which : (n,) number of each pair's place; drawn : n draws

        Yields
        ------
        number of the pair, what is seen (None off the terrain), what is said of it in that draw
        """
        # Ground is drawn once for all places that share it.
        share = self.looker.shares_terrain(places)
        numbers = np.array([draw.number for draw in drawn])
        order = np.lexsort((which, numbers)) if share else np.lexsort((numbers, which))
        moved: dict[int, Things] = {}
        for done, k in enumerate(order, 1):
            draw, place = drawn[int(k)], places[int(which[k])]
            if draw.number not in moved:
                moved = (
                    {draw.number: self._moved(draw)} if share else moved | {draw.number: self._moved(draw)}
                )
            view = drawn_glance(
                self.looker.drawn_ground(place, draw.number),
                place,
                replace(draw, eye_m=draw.eye_m + self.raised_m),
                self.looker.viewing,
                moved[draw.number],
                self._bearings,
                self.looker.far(place),
            )
            framing = self._framed(draw.width_share)
            yield int(k), view, replace(self._judging, framing=framing, things=moved[draw.number])
            if report is not None:
                report(done / order.size)

    def _moved(self, draw: Draw) -> Things:
        """Things as far from where the map has them as they may be."""
        things, errors = self.weighing.things, self.looker.errors
        off_m = errors.feature_position_m * np.random.default_rng((_SEED, draw.number)).standard_normal(
            (2, len(things))
        )
        return things.moved(*off_m)

    @cached_property
    def _judging(self) -> Weighing:
        return replace(self.weighing, observer=self.weighing.observer.of_one_draw())

    @cached_property
    def _framings(self) -> dict[float, Framing]:
        return {}

    def _framed(self, width_share: float) -> Framing:
        if width_share not in self._framings:
            self._framings[width_share] = self.weighing.framing.wider(width_share)
        return self._framings[width_share]

    @cached_property
    def _bearings(self) -> Integers:
        return bearings_in_pictures(
            [self._framed(draw.width_share) for draw in draws(256, self.weighing.observer)]
        )
