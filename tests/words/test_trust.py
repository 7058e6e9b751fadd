"""One order of trust and one name a class."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import hillsight
from hillsight.words.trust import CLASS_NAMES, TRUST, least_trusted, trust_order


def test_ground_comes_first_and_what_people_build_last() -> None:
    assert TRUST[0] == "ground_shape"
    assert TRUST[-1] == "man_made"
    assert set(CLASS_NAMES) == set(TRUST)
    assert trust_order("of no class that we know") == trust_order("unclassed")


def test_a_man_made_feature_among_others_stays_one() -> None:
    for others in itertools.permutations(TRUST):
        assert least_trusted(others) == "man_made"
    assert least_trusted([]) == "unclassed"
    assert least_trusted([], "ground_shape") == "ground_shape"


def test_no_module_has_an_order_of_its_own() -> None:
    """The classes stand together, in whatever order, in ``words`` alone."""
    package = Path(hillsight.__file__).parent
    together = re.compile(r"""\(\s*(["'](?:ground_shape|water|unclassed|man_made)["'],\s*){2}""")
    found = [
        str(path.relative_to(package))
        for path in sorted(package.rglob("*.py"))
        if together.search(path.read_text(encoding="utf-8"))
    ]
    assert found == ["words/trust.py"]
