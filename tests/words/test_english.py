"""Articles, plurals and lists of words."""

from __future__ import annotations

import pytest

from hillsight.words.english import article, folded, listed, number_word, plural, with_article

# Usage of any English grammar: the article follows the sound, not the letter. From memory.
_AN = """
intake wall; enclosure; unimproved track; uninhabited island; unidentified top; unincorporated place; hour;
honest man; heir; honourable mention; S-bend; L-shaped wall; H-frame; RAF memorial; OS trig pillar; 8-sided
fold; 11 m wall; 18th tee; old wall; umbrella pine; étang; Allt; urn; usher; island; onerous climb; MSL mark;
outlet; up-slope wall; NE ridge; "old" fold; uninterrupted view; unmade road; undulating crest; udder; utter
""".replace("\n", " ").split(";")
_A = """
wall; knoll; U-shaped valley; unit; university; union; unique top; uniform slope; unidirectional way; used
track; useful cairn; ewe; one-arch bridge; one; once-famous inn; European path; eucalyptus; utility pole;
house; hill; horse; hut; TV mast; BT mast; UK border; yew; re-entrant; 1-arch bridge; 180 m drop; usual way
""".replace("\n", " ").split(";")


@pytest.mark.parametrize("noun", [noun.strip() for noun in _AN])
def test_an_before_a_vowel_sound(noun: str) -> None:
    assert article(noun) == "an"
    assert with_article(noun) == f"an {noun}"


@pytest.mark.parametrize("noun", [noun.strip() for noun in _A])
def test_a_before_a_consonant_sound(noun: str) -> None:
    assert article(noun) == "a"


@pytest.mark.parametrize(
    ("one", "many"),
    [
        ("knoll", "knolls"),
        ("bothy", "bothies"),
        ("valley", "valleys"),
        ("marsh", "marshes"),
        ("pass", "passes"),
        ("box", "boxes"),
        ("shelf", "shelves"),
        ("sheaf", "sheaves"),
        ("re-entrant", "re-entrants"),
        ("cliff", "cliffs"),
    ],
)
def test_plurals(one: str, many: str) -> None:
    assert plural(one) == many


def test_lists_and_numbers_and_case() -> None:
    assert [listed(words) for words in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]
    assert [number_word(count) for count in (0, 1, 10, 11)] == ["no", "one", "ten", "11"]
    assert folded("  Raven   SCAR ") == "raven scar"
