"""A kind of statement is one file: a kind that nobody has written yet works everywhere once it is there."""

from __future__ import annotations

import importlib
import importlib.util
import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from hillsight.errors import SightingError
from hillsight.plan import kinds
from hillsight.plan.kinds import registry
from hillsight.plan.relocation.comparing import compare
from hillsight.plan.relocation.describing import describe_view
from hillsight.plan.sighting.contradictions import check_contradictions
from hillsight.plan.sighting.file import read_sighting
from hillsight.plan.sighting.json_schema import json_schema
from hillsight.plan.sighting.template import template, write_sighting
from hillsight.plan.sighting.wording import statement_words
from hillsight.plan.statement import Sighting
from hillsight.plan.vocabulary import FORMAT
from hillsight.plan.weighing.facts import fact
from hillsight.plan.weighing.questions import is_answered, questions
from hillsight.plan.weighing.statements import judgements, topic
from plan.made_hills import cone, look, plane, surface_of, together, told, weighing_of

#: How high the skyline stands, in words: no kind that hillsight has.
MODULE = '''
"""How high the skyline stands."""

import numpy as np

from hillsight.plan.kinds.shared.exclusions import alike, differ
from hillsight.plan.kinds.shared.kind import Question, StatementKind, WordFigures
from hillsight.plan.kinds.shared.nouns import in_part
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Fact
from hillsight.plan.vocabulary import SightingField

LEVELS = {"low": (-90.0, 2.0), "high": (2.0, 90.0)}


def level_deg(case):
    return case.glance.skyline_deg[case.bearings()].mean(axis=1)


def fit(case):
    low, high = LEVELS[case.values["stands"]]
    level = level_deg(case)
    return np.where((low <= level) & (level < high), 0.9, 0.1)


def fact(case):
    level = float(level_deg(case)[case.direction])
    return Fact(f"the skyline stands {level:.1f} degrees up", level, "degrees")


def sentence(statement, nouns):
    return f"{in_part(statement.part)}the skyline stands {statement.values['stands']}"


def excludes(one, other, things):
    return "it stands high or low" if alike(one, other) and differ(one, other, "stands") else ""


def questions(subjects):
    answers = tuple(Statement("skyline_level", {"stands": word}) for word in LEVELS)
    return [Question("How high does the skyline stand?", answers)]


KIND = StatementKind(
    name="skyline_level",
    meaning="how high the skyline stands",
    place=85,
    section="Of our own",
    fields=(
        SightingField("stands", "word", "in words", tuple(LEVELS), needed=True),
        SightingField("cloud", "yes_no", "whether cloud lies on it"),
    ),
    example={"part": "left half", "stands": "high"},
    rests_on={"cloud": "stands"},
    figures=(WordFigures("level of the skyline", "degrees", LEVELS),),
    fit=fit,
    fact=fact,
    sentence=sentence,
    topic=lambda statement: ("skyline level", statement.part),
    excludes=excludes,
    questions=questions,
    described=35,
)
'''


@pytest.fixture
def kind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The kind as a file in a folder that the registry searches; nothing else is touched."""
    (tmp_path / "skyline_level.py").write_text(MODULE, encoding="utf-8")
    monkeypatch.setattr(kinds, "__path__", [*kinds.__path__, str(tmp_path)])
    importlib.invalidate_caches()
    before = dict(registry.KINDS)
    found = registry.find_kinds()
    registry.KINDS.clear()
    registry.KINDS.update(found)
    yield
    registry.KINDS.clear()
    registry.KINDS.update(before)
    sys.modules.pop("hillsight.plan.kinds.skyline_level", None)


def page_builder() -> ModuleType:
    path = Path(__file__).parents[2] / "docs" / "build_pages.py"
    spec = importlib.util.spec_from_file_location("build_pages", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def read(tmp_path: Path, body: str) -> Sighting:
    path = tmp_path / "sighting.toml"
    path.write_text(f'format = "{FORMAT}"\n{body}', encoding="utf-8")
    return read_sighting(str(path))


def test_every_module_of_the_folder_is_a_kind() -> None:
    folder = Path(str(registry.__file__)).parent
    files = {path.stem for path in folder.glob("*.py")} - {"__init__", "registry"}
    assert files == set(registry.KINDS)
    places = [kind.place for kind in registry.KINDS.values()]
    assert places == sorted(set(places))


@pytest.mark.usefixtures("kind")
def test_a_new_kind_stands_in_its_place_among_the_others() -> None:
    names = list(registry.KINDS)
    assert names[names.index("skyline") + 1] == "skyline_level"


@pytest.mark.usefixtures("kind")
def test_a_new_kind_is_read_and_checked_and_written(tmp_path: Path) -> None:
    sighting = read(tmp_path, '[[statement]]\nkind = "skyline_level"\nstands = "high"\npart = "left"\n')
    (statement,) = sighting.statements
    assert (statement.kind, dict(statement.values), statement.part) == (
        "skyline_level",
        {"stands": "high"},
        "left",
    )
    assert 'kind = "skyline_level"' in write_sighting(sighting)
    with pytest.raises(SightingError, match=r"line 4.*Did you mean high\?|Did you mean high\?.*line 4"):
        read(tmp_path, '[[statement]]\nkind = "skyline_level"\nstands = "hig"\n')
    with pytest.raises(SightingError, match=r"Did you mean skyline_level\?"):
        read(tmp_path, '[[statement]]\nkind = "skyline_levl"\nstands = "high"\n')


@pytest.mark.usefixtures("kind")
def test_a_new_kind_is_said_weighed_shown_and_asked() -> None:
    ground = surface_of(together(plane(), cone(0, 400, 150, 200)))
    near, far = look(ground, 0, 0), look(ground, 0, -900)
    weighing = weighing_of()
    high, low = told("skyline_level", stands="high"), told("skyline_level", stands="low")
    assert statement_words(high) == "the skyline stands high"
    middle = int(np.argmax(weighing.framing.prior))
    assert weighing.fit(high, near)[middle] == 0.9 and weighing.fit(high, far)[middle] == 0.1
    shown = fact(high, near, weighing, middle)
    assert re.fullmatch(r"the skyline stands \d+\.\d degrees up", shown.words) and shown.unit == "degrees"
    assert topic(high) == ("skyline level", "anywhere")
    assert judgements([high, low]).tolist() == [0, 0]
    asked = next(q for q in questions([near], weighing) if q.text == "How high does the skyline stand?")
    assert asked.answers == (low, high) and is_answered(asked, high)
    written = [statement for statement in describe_view(near, weighing) if statement.kind == high.kind]
    assert [dict(statement.values) for statement in written] == [{"stands": "high"}]
    apart, _ = compare([near, far], weighing, [("ahead", weighing.framing)])
    (found,) = [one for one in apart if one.kind == "skyline_level"]
    assert found.answers == ("the skyline stands high", "the skyline stands low")
    with pytest.raises(SightingError, match="it stands high or low"):
        check_contradictions(Sighting(statements=(high, low)))


@pytest.mark.usefixtures("kind")
def test_a_new_kind_is_in_the_template_the_schema_and_the_docs() -> None:
    form = template()
    assert "---- Of our own ----" in form and '#kind = "skyline_level"' in form
    assert "level of the skyline (degrees): low below 2, high above 2" in form
    schema = json_schema()
    assert {"$ref": "#/$defs/skyline_level"} in schema["properties"]["statement"]["items"]["oneOf"]
    assert schema["$defs"]["skyline_level"]["dependentRequired"] == {"cloud": ["stands"]}
    assert json.loads(json.dumps(schema)) == schema
    tables = page_builder().sighting_tables()
    assert "### `skyline_level`" in tables
    assert "| high | level of the skyline, degrees | above 2 |" in tables
