"""How far a kind of feature can be trusted as evidence of position: ground shape, water, man-made."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources

from hillsight.errors import FeatureError
from hillsight.frozen import FrozenMapping
from hillsight.ground.small_files import read_small
from hillsight.ground.toml_lines import TomlLines
from hillsight.words.trust import TRUST

_BUILT_IN = "evidence_classes.toml"


def _key(kind: str) -> str:
    """A kind without case, spaces, hyphens, underscores and full stops: Re-entrant, re_entrant, reentrant."""
    return re.sub(r"[\s\-_.'’]+", "", kind.casefold())


def _singulars(key: str) -> list[str]:
    """The key itself and what it may be the plural of, likeliest first."""
    forms = [key]
    if key.endswith("ies"):
        forms += [key[:-1], key[:-3] + "y"]  # corries, bothies
    elif key.endswith("ves"):
        forms += [key[:-1], key[:-3] + "f", key[:-3] + "fe"]  # groves, sheaves
    elif key.endswith("es"):
        forms += [key[:-1], key[:-2]]  # fences, marshes
    elif key.endswith("s") and not key.endswith("ss"):
        forms.append(key[:-1])
    return forms


def kind_forms(kind: str) -> list[str]:
    """A kind as tables of kinds hold it (small letters and digits only), and what it may be the plural of."""
    return _singulars(_key(kind))


@dataclass(frozen=True)
class EvidenceTable:
    """Which class each kind of feature belongs to.

    Parameters
    ----------
    classes : normalised kind -> class; build it with ``load`` or ``from_kinds``
    source : the file it was read from, for provenance
    """

    classes: Mapping[str, str]
    source: str

    @classmethod
    def load(cls, path: str | None = None) -> EvidenceTable:
        """The user's table, which replaces the built-in one whole, or the built-in one.

        The file is TOML with one table ``[kinds]``, a line a kind: ``"trig pillar" = "man_made"``. Case,
        spaces, hyphens and English plurals make no difference.

        Raises
        ------
        FeatureError : the file cannot be read, is no TOML, or names an unknown class; with its line
        """
        if path is None:
            text = resources.files("hillsight.ground").joinpath(_BUILT_IN).read_text(encoding="utf-8")
            return _parse(text, _BUILT_IN)
        try:
            text = read_small(path).decode("utf-8")
        except OSError as error:
            raise FeatureError(
                f"the evidence table cannot be read: {error.strerror or error}",
                where=path,
                remedy="Check the path, or name no table to have the built-in one",
                parameters=("evidence",),
            ) from error
        except UnicodeDecodeError as error:
            raise FeatureError(
                "the evidence table is not UTF-8 text", where=path, remedy="Save it as UTF-8"
            ) from error
        return _parse(text, path)

    def class_of(self, kind: str | None) -> str:
        """Evidence class of a kind; ``unclassed`` where the kind is absent or not in the table."""
        if kind is None:
            return "unclassed"
        for form in kind_forms(kind):
            if form in self.classes:
                return self.classes[form]
        return "unclassed"


def _parse(text: str, source: str) -> EvidenceTable:
    remedy = 'Write one table [kinds] with lines such as "trig pillar" = "man_made"'
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FeatureError(f"the evidence table is no TOML: {error}", where=source, remedy=remedy) from error
    kinds = content.get("kinds")
    if not isinstance(kinds, dict) or not kinds:
        raise FeatureError("the evidence table has no [kinds]", where=f"{source}, line 1", remedy=remedy)
    stray = [name for name in content if name != "kinds"]
    if stray:
        where = f"{source}, line {TomlLines(text).of(stray[0])}"
        raise FeatureError(
            f"the evidence table knows [kinds] only, not {stray[0]!r}", where=where, remedy=remedy
        )
    classes: dict[str, str] = {}
    plurals: dict[str, str] = {}

    def line_of(kind: str) -> str:  # sought only for an error: it goes through the whole text
        return f"{source}, line {TomlLines(text).of('kinds', kind)}"

    for kind, evidence_class in kinds.items():
        if not isinstance(evidence_class, str) or evidence_class not in TRUST:
            raise FeatureError(
                f"kind {kind!r} has the class {evidence_class!r}",
                where=line_of(kind),
                remedy=f"The classes are {', '.join(TRUST)}",
            )
        key = _key(kind)
        if not key:
            raise FeatureError("a kind has no letters", where=line_of(kind), remedy=remedy)
        if classes.setdefault(key, evidence_class) != evidence_class:
            raise FeatureError(
                f"kind {kind!r} is given twice with different classes",
                where=line_of(kind),
                remedy="Keep one of the two",
            )
        for form in _singulars(key)[1:]:
            plurals.setdefault(form, evidence_class)
    return EvidenceTable(FrozenMapping({**plurals, **classes}), source)
