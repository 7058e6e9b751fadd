"""English as sentences about places need it: articles by sound, plurals, lists, small numbers."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

from hillsight.words.marks import marks_shown

#: Words written with a vowel and said with a consonant: a unit, a ewe, a one-arch bridge, a U-shaped valley.
_SAID_WITH_CONSONANT = re.compile(
    r"(?:uni(?!d[e]|m[amp]|n[cdfhistv])|u(?![a-z])|uk(?![a-z])|us[aeu]|ut[eio]|ubi|ura|eu|ewe|one(?![a-z])|once)"
)

#: Words written with a consonant and said with a vowel: an hour, an 8-sided fold, an 11 m wall.
_SAID_WITH_VOWEL = re.compile(r"(?:hour|hono|honest|heir|8|1[18](?!\d))")

#: Letters whose names begin with a vowel: an S-bend, an RAF memorial.
_LETTERS_WITH_VOWEL = "AEFHILMNORSX"
_SPELT = re.compile(r"[A-Z]{1,3}(?![A-Za-z])")

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def folded(text: str) -> str:
    """A name or kind without case and with single spaces, as it is shown: how two of them are compared."""
    return " ".join(marks_shown(text).split()).casefold()


def article(noun: str) -> str:
    """``a`` or ``an``, by the sound that the noun begins with.

    >>> [article(noun) for noun in ("wall", "intake wall", "unimproved track", "U-shaped valley")]
    ['a', 'an', 'an', 'a']
    """
    word = re.sub(r"^[^\w]+", "", noun.strip())
    if _SPELT.match(word):
        return "an" if word[0] in _LETTERS_WITH_VOWEL else "a"
    plain = unicodedata.normalize("NFD", word.casefold())
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    if _SAID_WITH_VOWEL.match(plain):
        return "an"
    return "an" if plain[:1] in tuple("aeiou") and not _SAID_WITH_CONSONANT.match(plain) else "a"


def with_article(noun: str) -> str:
    """The noun with ``a`` or ``an`` before it."""
    return f"{article(noun)} {noun}"


def plural(noun: str) -> str:
    """Many of what the noun is one of.

    >>> [plural(noun) for noun in ("knoll", "bothy", "marsh", "sheaf", "valley")]
    ['knolls', 'bothies', 'marshes', 'sheaves', 'valleys']
    """
    low = noun.casefold()
    if low.endswith("y") and low[-2:-1] not in "aeiou":
        return f"{noun[:-1]}ies"
    if low.endswith(("s", "x", "sh", "ch", "z")):
        return f"{noun}es"
    return f"{noun[:-1]}ves" if low.endswith(("lf", "af")) else f"{noun}s"


def counted(count: int, noun: str) -> str:
    """How many there are, in figures: ``1 part``, ``2,300 parts``."""
    return f"{count:,} {noun if count == 1 else plural(noun)}"


def number_word(count: int) -> str:
    """A count as a sentence has it: in words up to ten, none as ``no``."""
    return _NUMBERS[count] if 0 <= count < len(_NUMBERS) else str(count)


def listed(words: Sequence[str]) -> str:
    """``a, b and c``."""
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)
