"""The glossary has every word of a sighting, of a verdict, and every figure that these rest on."""

from __future__ import annotations

from dataclasses import fields

from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.observer import Noticing, Observer
from hillsight.plan.relocation.arguments import ROLES
from hillsight.plan.relocation.decision import STATES, Rules
from hillsight.plan.vocabulary import COMMON, PARTS, PICTURE, SURENESS
from house.test_docs import glossary_words


def test_every_word_of_a_sighting_has_a_row() -> None:
    of_kinds = [field for kind in KINDS.values() for field in kind.fields]
    wanted = {"kind", *KINDS, *PARTS, *SURENESS}
    wanted |= {field.name for field in (*of_kinds, *COMMON, *PICTURE)}
    wanted |= {word for field in of_kinds for word in field.words}
    assert wanted - glossary_words() == set()


def test_every_word_of_a_verdict_has_a_row() -> None:
    assert {*ROLES, *STATES} - glossary_words() == set()


def test_every_figure_has_a_row() -> None:
    figures = {field.name for made in (Observer, Noticing, Rules) for field in fields(made)}
    assert figures - glossary_words() == set()
