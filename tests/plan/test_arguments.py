"""Arguments say what the weights say, and claim nothing of a place that is not told of it."""

from __future__ import annotations

import re

import numpy as np
import pytest

from hillsight.plan.relocation.arguments import (
    DECIDES_FROM,
    FITS_FROM,
    ROLES,
    SUPPORTS_FROM,
    role_of,
    sentence,
)
from hillsight.plan.relocation.decision import Rules
from hillsight.plan.relocation.relocation import Relocation
from hillsight.plan.relocation.setting import Setting
from hillsight.plan.sighting.wording import statement_words
from hillsight.plan.verdict import Argument
from hillsight.words.trust import TRUST
from plan.made_hills import told
from plan.made_relocations import OF_A, PLACES, setting_of, weigh

LABELS = "Aye", "Bee"
HERE_THERE = "the ground falls", "the ground rises"


@pytest.mark.parametrize(
    ("times", "role"),
    [
        (100.0, "decides"),
        (2.0, "decides"),
        (1.99, "supports"),
        (1.15, "supports"),
        (1.14, "tells_nothing"),
        (1.0, "tells_nothing"),
        (0.88, "tells_nothing"),
        (0.01, "tells_nothing"),
    ],
)
def test_roles_by_how_many_times_likelier(times: float, role: str) -> None:
    assert role_of(times) == role


def test_what_does_not_fit_the_best_itself_decides_nothing() -> None:
    assert role_of(50.0, FITS_FROM + 0.01) == "decides"
    assert role_of(50.0, FITS_FROM) == "tells_nothing"


def test_what_holds_at_the_best_does_not_speak_against_it() -> None:
    assert role_of(0.2, FITS_FROM + 0.01) == "tells_nothing"
    assert role_of(0.2, FITS_FROM) == "against"


def said(times: float, *holds: bool) -> str:
    return sentence("a tarn is seen", times, LABELS, HERE_THERE, (holds[0], holds[1]))


def test_sentences_by_where_a_statement_holds() -> None:
    assert said(5.0, True, False) == (
        "A tarn is seen: so it is from Aye, where the ground falls; not from Bee, where the ground rises."
    )
    assert said(0.2, False, True) == (
        "A tarn is seen: so it is from Bee, where the ground rises; not from Aye, where the ground falls."
    )
    assert said(1.05, True, True) == (
        "A tarn is seen: so it is from both. From Aye the ground falls; from Bee the ground rises."
    )
    assert "so it is from both, and more plainly from Bee." in said(0.6, True, True)
    assert "not so from either, though rather from Aye." in said(3.0, False, False)


def test_a_sentence_without_a_rival() -> None:
    assert sentence("a tarn is seen", 1.0, ("Aye", None), ("it is hidden", None), (False, False)) == (
        "A tarn is seen: not so from Aye, where it is hidden."
    )


def test_a_sentence_where_both_show_the_same() -> None:
    assert sentence("a tarn is seen", 3.0, LABELS, ("it shows", "it shows"), (True, True)) == (
        "A tarn is seen: from Aye and from Bee alike it shows."
    )


@pytest.fixture(scope="module")
def setting(tmp_path_factory: pytest.TempPathFactory) -> Setting:
    # That none of these fits is hardly reckoned with, so that the best is argued against a rival.
    rules = Rules(none_prior=1e-15, none_from=0.999)
    return setting_of(tmp_path_factory.mktemp("hill"), rules=rules, elsewhere=20)


#: All that may be said of the made hill, true of one place or another or of none.
MIXED = (
    *OF_A,
    told("brow", "left", distance="none"),
    told("brow", "right", distance="far", slope_before="level"),
    told("brow", "middle", slope_before="rises steeply"),
    told("dead_ground", "left", extent="none"),
    told("dead_ground", "middle", extent="little", beyond="rises gently"),
    told("seen", "left", what="East Knoll"),
    told("seen", what="Wall 3"),
    told("seen", what="Wall 1", seen=False),
    told("seen", what="wall", within_m=400.0),
    told("height", what="The Saddle", stands="below"),
    told("height", what="knoll", stands="well below"),
    told("height", what="East Knoll", metres_above=150.0),
    told("vertical_angle", what="East Knoll", degrees=15.0),
    told("relation", what="West Knoll", is_="right of", other="East Knoll"),
    told("relation", what="Wall 2", is_="in front of", other="The Saddle"),
    told("bearing", what="The Saddle", degrees=355.0),
    told("skyline", shape="pointed"),
    told("skyline", "left half", shape="falls left"),
    told("skyline_points", points=[[-20, 3.0], [0, 1.0], [20, 4.0]]),
    told("number", what="knoll", count=5),
    told("number", what="wall", count=3),
    told("comes_down", what="Long Spur", to="left"),
)

PAIRS = [(one, other) for one in PLACES for other in PLACES if one < other]


@pytest.fixture(scope="module", params=PAIRS, ids="-".join)
def found(request: pytest.FixtureRequest, setting: Setting) -> Relocation:
    return weigh(setting, MIXED, *request.param)


def rival_index(found: Relocation) -> int:
    """Candidate argued against."""
    assert found.verdict.state != "none_fits"
    return next(k for k, one in enumerate(found.verdict.candidates) if one.rank == 2)


def best_index(found: Relocation) -> int:
    return next(k for k, one in enumerate(found.verdict.candidates) if one.rank == 1)


@pytest.mark.slow
def test_times_are_what_leaving_a_statement_out_takes_away(found: Relocation) -> None:
    best, rival = best_index(found), rival_index(found)
    for argument in found.verdict.arguments:
        out = np.zeros(len(MIXED), bool)
        out[argument.number - 1] = True
        gained = found.evidence.table.without() - found.evidence.table.without(out)
        assert argument.times == pytest.approx(np.exp(gained[best] - gained[rival]))


def test_roles_agree_with_times(found: Relocation) -> None:
    for argument in found.verdict.arguments:
        fits = argument.facts[best_index(found)].agrees
        if argument.role == "decides":
            assert argument.times >= DECIDES_FROM
            assert fits > FITS_FROM
        elif argument.role == "supports":
            assert argument.times >= SUPPORTS_FROM
            assert fits > FITS_FROM
        elif argument.role == "against":
            assert argument.times <= 1 / SUPPORTS_FROM
            assert fits <= FITS_FROM
        else:
            near = 1 / SUPPORTS_FROM < argument.times < SUPPORTS_FROM
            assert near or (argument.times > 1) is (fits <= FITS_FROM)


def test_arguments_come_by_role_then_trust_then_strength(found: Relocation) -> None:
    order = [
        (ROLES.index(one.role), TRUST.index(one.evidence_class), -abs(np.log(one.times)))
        for one in found.verdict.arguments
    ]
    assert order == sorted(order)
    assert sorted(one.number for one in found.verdict.arguments) == list(range(1, len(MIXED) + 1))


def test_sentences_hold_the_facts_of_the_places_they_name(found: Relocation) -> None:
    best, rival = best_index(found), rival_index(found)
    labels = [one.station for one in found.verdict.candidates]
    names = {name for name in found.weighing.things.frame["name"] if isinstance(name, str)}
    for argument in found.verdict.arguments:
        said = statement_words(MIXED[argument.number - 1], names)
        assert argument.says == said
        assert argument.sentence.startswith(said[0].upper() + said[1:])
        assert argument.facts[best].words in argument.sentence
        assert re.search(rf"\b[Ff]rom {labels[best]}\b", argument.sentence)
        assert argument.facts[rival].words in argument.sentence
        assert re.search(rf"\b[Ff]rom {labels[rival]}\b", argument.sentence)


def test_a_statement_is_called_so_from_a_place_only_where_it_fits(found: Relocation) -> None:
    labels = [one.station for one in found.verdict.candidates]
    claims = 0
    for argument in found.verdict.arguments:
        claimed = re.search(r"so it is from (\w+), where", argument.sentence)
        if claimed:
            claims += 1
            assert_fits(argument, labels.index(claimed.group(1)))
    assert claims > 0


def assert_fits(argument: Argument, k: int) -> None:
    """What is told there is no denial of what is said, and the word told is the word said."""
    fact = argument.facts[k]
    assert fact.agrees > FITS_FROM, argument.sentence
    denies = argument.statement.kind == "seen" and not argument.statement.values.get("seen", True)
    assert denies or not fact.absent, argument.sentence
