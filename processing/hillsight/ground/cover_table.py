"""How tall cover is by its kind, and whether sight passes through it: the table of heights."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

from hillsight.errors import FeatureError
from hillsight.frozen import FrozenMapping
from hillsight.ground.evidence import kind_forms
from hillsight.ground.small_files import read_small
from hillsight.ground.toml_lines import TomlLines

_BUILT_IN = "cover_heights.toml"
#: Nothing that stands on hills is taller: masts reach 650 m.
TALLEST_M = 1_000.0
#: The tallest trees stand some 116 m (from memory): woods above this are in another unit, or no heights.
TALLEST_WOOD_M = 120.0

_PASSING = ("passing_leaf_on_m", "passing_leaf_off_m")
_REMEDY = 'Write [kinds] with lines such as "hedge" = { height_m = 2.0, passes = false }'
_ABOUT = ("cover_heights",)


@dataclass(frozen=True)
class CoverKind:
    """What the table says of a kind.

    Parameters
    ----------
    height_m : above the ground; 0 hides nothing
    passes : whether some sight passes through it, as through leafy woods
    width_m : of a single one that is given as a point; None for half its height
    """

    height_m: float
    passes: bool = False
    width_m: float | None = None


@dataclass(frozen=True)
class CoverTable:
    """Heights of cover by kind.

    Parameters
    ----------
    kinds : normalised kind -> what is said of it
    passing_leaf_on_m, passing_leaf_off_m : how far into leafy woods sight dies away to 1/e, in leaf and bare
    source : the file it was read from
    """

    kinds: Mapping[str, CoverKind]
    passing_leaf_on_m: float
    passing_leaf_off_m: float
    source: str

    @classmethod
    def load(cls, path: str | None = None) -> CoverTable:
        """The user's table, which replaces the built-in kinds whole, or the built-in one.

        Passing lengths that the user's table does not give stay as they are built in.

        Raises
        ------
        FeatureError : the file cannot be read, is no TOML, or holds what is no height; with its line
        """
        text = resources.files("hillsight.ground").joinpath(_BUILT_IN).read_text(encoding="utf-8")
        built_in = _parse(text, _BUILT_IN, {})
        if path is None:
            return built_in
        try:
            text = read_small(path).decode("utf-8")
        except OSError as error:
            raise FeatureError(
                f"the table of cover heights cannot be read: {error.strerror or error}",
                where=path,
                remedy="Check the path, or name no table to have the built-in one",
                parameters=_ABOUT,
            ) from error
        except UnicodeDecodeError as error:
            raise FeatureError(
                "the table of cover heights is not UTF-8 text", where=path, remedy="Save it as UTF-8"
            ) from error
        return _parse(text, path, {name: getattr(built_in, name) for name in _PASSING})

    def of(self, kind: str) -> CoverKind | None:
        """What is said of a kind; None where the table does not know it."""
        for form in kind_forms(kind):
            if form in self.kinds:
                return self.kinds[form]
        return None

    def passing_m(self, leaf: str) -> float:
        """How far into leafy woods sight dies away to 1/e, m; ``leaf`` is "on" or "off"."""
        return self.passing_leaf_on_m if leaf == "on" else self.passing_leaf_off_m


def _parse(text: str, source: str, passing: dict[str, float]) -> CoverTable:
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FeatureError(
            f"the table of cover heights is no TOML: {error}",
            where=source,
            remedy=_REMEDY,
            parameters=_ABOUT,
        ) from error

    def refuse(what: str, *at: str) -> FeatureError:
        where = f"{source}, line {TomlLines(text).of(*at)}"
        return FeatureError(what, where=where, remedy=_REMEDY, parameters=_ABOUT)

    if stray := [name for name in content if name not in ("kinds", *_PASSING)]:
        raise refuse(f"the table knows {', '.join(_PASSING)} and [kinds], not {stray[0]!r}", stray[0])
    kinds = content.get("kinds")
    if not isinstance(kinds, dict) or not kinds:
        raise refuse("the table of cover heights has no [kinds]")
    lengths = dict(passing)
    for name in _PASSING:
        if name in content:
            length_m = _number(content[name])
            if length_m is None or not 0 <= length_m <= TALLEST_M:
                raise refuse(f"{name} is {content[name]!r}, not metres from 0 to {TALLEST_M:,.0f}", name)
            lengths[name] = length_m
    found: dict[str, CoverKind] = {}
    plurals: dict[str, CoverKind] = {}
    for kind, told in kinds.items():
        forms = kind_forms(kind)
        if not forms[0]:
            raise refuse("a kind has no letters", "kinds", kind)
        entry = _entry(kind, told, refuse)
        if found.setdefault(forms[0], entry) != entry:
            raise refuse(f"kind {kind!r} is given twice with different heights", "kinds", kind)
        for form in forms[1:]:
            plurals.setdefault(form, entry)
    return CoverTable(FrozenMapping({**plurals, **found}), **lengths, source=source)


def _number(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value)


def _entry(kind: str, told: Any, refuse: Any) -> CoverKind:
    if not isinstance(told, dict) or "height_m" not in told:
        raise refuse(f"kind {kind!r} has no height_m", "kinds", kind)
    if stray := [name for name in told if name not in ("height_m", "passes", "width_m")]:
        raise refuse(f"kind {kind!r} has {stray[0]!r}, which is not known", "kinds", kind)
    passes = told.get("passes", False)
    if not isinstance(passes, bool):
        raise refuse(f"kind {kind!r} has passes = {passes!r}, which is neither true nor false", "kinds", kind)
    height_m = _number(told["height_m"])
    most_m = TALLEST_WOOD_M if passes else TALLEST_M
    if height_m is None or not 0 <= height_m <= most_m:
        raise refuse(
            f"kind {kind!r} has height_m = {told['height_m']!r}, not metres from 0 to {most_m:,.0f}",
            "kinds",
            kind,
        )
    width_m = None
    if "width_m" in told:
        width_m = _number(told["width_m"])
        if width_m is None or not 0 < width_m <= TALLEST_M:
            raise refuse(
                f"kind {kind!r} has width_m = {told['width_m']!r}, not metres above 0", "kinds", kind
            )
    return CoverKind(height_m, passes, width_m)
