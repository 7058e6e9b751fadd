"""What would most likely be said of a view: the word, and the figure, that a statement is weighed by.

A place is described by the very chances that statements about it are weighed with. So a description never
contradicts what is said to fit: it uses a word if, and only if, that word would be said with a chance above
a half.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.statement import Statement

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.kinds.shared.kind import Case

#: Chance above which a word is used plainly; below it, the two likeliest are named.
PLAINLY_FROM = 0.5


@dataclass(frozen=True)
class Likeliest:
    """word, other : the two likeliest answers; chance : of the first"""

    word: str
    other: str
    chance: float

    @property
    def plain(self) -> bool:
        """Whether the first is likelier than not."""
        return self.chance > PLAINLY_FROM

    @property
    def stated(self) -> str:
        """The word where it is used plainly; nothing where it is hard to tell."""
        return self.word if self.plain else ""

    def told(self, say: Callable[[str], str]) -> str:
        """The likeliest in words, or the two likeliest where it is hard to tell."""
        if self.plain:
            return say(self.word)
        return f"{say(self.word)}, or it {say(self.other)}: hard to tell"


def likeliest_word(
    case: Case,
    fit: Callable[[Case], Floats],
    key: str,
    words: Sequence[str],
    fixed: Sequence[str] = (),
) -> Likeliest:
    """The answers likeliest to be given to one question in the case's direction.

    Parameters
    ----------
    key, words : the field that answers it, and its answers
    fixed : fields of the statement that the question takes for granted, such as ``what``
    """
    taken = {name: case.values[name] for name in fixed}
    chances = np.array(
        [
            float(
                fit(case.saying(Statement(case.statement.kind, {**taken, key: word}, case.statement.part)))[
                    case.direction
                ]
            )
            for word in words
        ]
    )
    # Of a brow beyond the near ground it may be said that it is far off, and that there is none.
    chances = chances / max(float(chances.sum()), 1.0)
    order = np.argsort(-chances, kind="stable")
    return Likeliest(words[order[0]], words[order[1]], float(chances[order[0]]))


def figure_of(values: Floats, weights: Floats, bounds: tuple[float, float]) -> float:
    """The figure that a word stands for: the median over the bearings, where the word would be said of that.

    Else the median of what speaks for the word, so that word and figure agree; NaN where nothing does.

    Parameters
    ----------
    values, weights : (k,) of each bearing, and how far it speaks for the word
    bounds : between which the word is said
    """
    known = np.isfinite(values)
    if not known.any():
        return float("nan")
    middle = float(np.median(values[known]))
    if bounds[0] <= middle < bounds[1]:
        return middle
    known &= (weights > 0) & (values >= bounds[0]) & (values < bounds[1])
    if not known.any():
        return float("nan")
    order = np.argsort(values[known])
    upto = np.cumsum(weights[known][order])
    return float(values[known][order][int(np.searchsorted(upto, 0.5 * upto[-1]))])
