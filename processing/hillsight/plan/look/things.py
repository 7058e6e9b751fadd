"""What statements are about: map features and landforms, found by name or by kind."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.spatial import KDTree

from hillsight.errors import CallError
from hillsight.ground.evidence import kind_forms
from hillsight.plan.look.sizes import look_of
from hillsight.reading.things.samples import sample
from hillsight.words.english import folded
from hillsight.words.trust import least_trusted

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import geopandas

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.plan.statement import Statement


#: Names and kinds listed when a statement's thing is on no map.
_NEAR_MATCHES = 5

#: Longest thing is sampled by some so many places: a person sees no more of it in a picture.
_MOST_PLACES = 120


#: What hill-goers say for landforms, with the kinds meant. Common speech, no source.
_ALSO = {
    word: kinds
    for words, kinds in (
        ("hill top peak hilltop mountain", frozenset({"summit", "knoll"})),
        ("col pass gap bealach hause", frozenset({"saddle"})),
        ("gully clough combe gill", frozenset({"reentrant"})),
        ("nose shoulder", frozenset({"spur"})),
        ("bench terrace", frozenset({"shelf"})),
    )
    for word in words.split()
}


@dataclass(frozen=True)
class Things:
    """Map features and landforms that a picture may show, sampled.

    frame : columns name, kind, evidence_class, target_height_m and geometry, one row a thing
    easting_m, northing_m, height_m, weight : (n,) samples of all things, one thing after the other; height_m
        is that of the target above the ground, weight the share of its thing that each stands for
    starts : (m + 1,) where each thing's samples begin, and the end
    is_line : (m,) whether each is a line
    size_m, contrast : (m,) thickness of a line, or least dimension of what is a point on the map; and how
        plainly each stands out, 0 to 1
    apart_m : (m,) how far each thing's samples stand apart
    closely_m : how far apart samples stand where a thing is looked at closely
    """

    frame: geopandas.GeoDataFrame
    easting_m: Floats
    northing_m: Floats
    height_m: Floats
    weight: Floats
    starts: Integers
    is_line: Flags
    size_m: Floats
    contrast: Floats
    apart_m: Floats
    closely_m: float
    _found: dict[str, Integers] = field(default_factory=dict, repr=False)
    _classes: dict[str, str] = field(default_factory=dict, repr=False)
    _closely: dict[int, tuple[Floats, KDTree]] = field(default_factory=dict, repr=False)

    @classmethod
    def of(cls, frame: geopandas.GeoDataFrame, spacing_m: float) -> Things:
        """Sample the things of a table, at the spacing wanted or wider where they are long.

        Looked at closely, they are sampled a quarter as far apart: two posts make half a post, as in a
        bearing list.
        """
        places, weights, apart = [], [], []
        for geometry in frame.geometry:
            apart_m = max(spacing_m, shapely.length(geometry) / _MOST_PLACES)
            if shapely.get_dimensions(geometry) == 2:
                apart_m = max(apart_m, float(np.sqrt(shapely.area(geometry) / _MOST_PLACES)))
            taken = sample(geometry, apart_m)
            places.append(np.column_stack((taken.easting_m, taken.northing_m)))
            weights.append(taken.weight)
            apart.append(apart_m)
        counts = np.array([len(p) for p in places], np.int64)
        together = np.concatenate(places) if places else np.zeros((0, 2))
        tall_m = np.nan_to_num(frame["target_height_m"].to_numpy(np.float64), nan=0.0)
        looks = [
            look_of(kind if isinstance(kind, str) else None, str(of_class))
            for kind, of_class in zip(frame["kind"], frame["evidence_class"], strict=True)
        ]
        usual_m = np.array([look.size_m for look in looks], np.float64)
        return cls(
            frame.reset_index(drop=True),
            together[:, 0],
            together[:, 1],
            np.repeat(tall_m, counts),
            np.concatenate(weights) if weights else np.zeros(0),
            np.concatenate(([0], np.cumsum(counts))),
            shapely.get_dimensions(frame.geometry.to_numpy()) == 1,
            np.where(tall_m > 0, tall_m, usual_m),
            np.array([look.contrast for look in looks], np.float64),
            np.array(apart, np.float64),
            spacing_m / 4.0,
        )

    @cached_property
    def is_area(self) -> Flags:
        """Whether each is an area, (m,)."""
        found: Flags = shapely.get_dimensions(self.frame.geometry.to_numpy()) == 2
        return found

    def __len__(self) -> int:
        return len(self.frame)

    def moved(self, east_m: Floats, north_m: Floats) -> Things:
        """The same where each thing, (m,), stands so far from where the map has it."""
        counts = np.diff(self.starts)
        return replace(
            self,
            easting_m=self.easting_m + np.repeat(east_m, counts),
            northing_m=self.northing_m + np.repeat(north_m, counts),
        )

    def closely(self, thing: int, samples: Integers) -> Floats:
        """Easting and northing (k, 2) of places about some samples of a thing, as a bearing list has them."""
        if thing not in self._closely:
            taken = sample(self.frame.geometry.iloc[thing], self.closely_m)
            places = np.column_stack((taken.easting_m, taken.northing_m))
            self._closely[thing] = places, KDTree(places)
        places, tree = self._closely[thing]
        around = np.column_stack((self.easting_m[samples], self.northing_m[samples]))
        found = tree.query_ball_point(around, self.apart_m[thing])
        chosen = np.unique(np.concatenate([np.asarray(near, np.int64) for near in found]))
        about: Floats = places[chosen]
        return about

    def called(self, thing: int) -> str:
        """Its name, or its kind."""
        name = self.frame["name"].iloc[thing]
        return str(name) if isinstance(name, str) else str(self.frame["kind"].iloc[thing])

    def rows(self, what: str) -> Integers:
        """Things that a name or kind stands for."""
        if what not in self._found:
            self._found[what] = find(self.frame, what)
        return self._found[what]

    def of_one(self, what: str, row: int) -> Things:
        """The same where a name or kind stands for one thing alone."""
        return replace(self, _found={**self._found, what: np.array([row], np.int64)}, _classes={})

    def some(self, rows: Integers) -> Things:
        """Some of them alone, in their order."""
        return Things.of(self.frame.iloc[rows], 4.0 * self.closely_m)

    def is_named(self, what: str) -> bool:
        """Whether this is something's name rather than a kind."""
        rows = self.rows(what)
        return (
            bool(rows.size)
            and isinstance(self.frame["name"].iloc[int(rows[0])], str)
            and (folded(self.frame["name"].iloc[int(rows[0])]) == folded(what))
        )

    def evidence_class(self, what: str) -> str:
        """Class of what a name or kind stands for: the least trusted of all things found."""
        if what not in self._classes:
            classes = [str(c) for c in self.frame["evidence_class"].iloc[self.rows(what)]]
            self._classes[what] = least_trusted(classes)
        return self._classes[what]


def find(frame: geopandas.GeoDataFrame, what: str) -> Integers:
    """Rows that a name stands for, or, where nothing is called so, all of that kind."""
    wanted = folded(what)
    names = [folded(name) if isinstance(name, str) else None for name in frame["name"]]
    by_name = np.flatnonzero([name == wanted for name in names])
    if by_name.size:
        return by_name.astype(np.int64)
    forms = set(kind_forms(what))
    kinds = [k if isinstance(k, str) and k.strip() else None for k in frame["kind"]]
    same = [k is not None and bool(forms & set(kind_forms(k))) for k in kinds]
    if not any(same) and forms & set(_ALSO):
        also = frozenset().union(*(_ALSO[form] for form in forms & set(_ALSO)))
        same = [k is not None and bool(also & set(kind_forms(k))) for k in kinds]
    if not any(same):  # "wall" is said of an intake wall too
        same = [k is not None and bool(forms & set(kind_forms(k.split()[-1]))) for k in kinds]
    return np.flatnonzero(same).astype(np.int64)


def wanted_rows(frame: geopandas.GeoDataFrame, statements: Iterable[Statement], source: str) -> Integers:
    """Rows that any of the statements is about.

    Raises
    ------
    CallError : a statement's thing is on no map; with what is called nearly so
    """
    rows: set[int] = set()
    for statement in statements:
        for what in statement.things:
            found = find(frame, what)
            if not found.size:
                where = f"{source}, line {statement.line}" if statement.line else source
                raise CallError(
                    f"no map feature or landform is called {what!r}, and none is of that kind",
                    where=where,
                    remedy=_near(frame, what),
                    parameters=("features",),
                )
            rows.update(found.tolist())
    return np.array(sorted(rows), np.int64)


def _near(frame: geopandas.GeoDataFrame, what: str) -> str:
    names = _texts(frame["name"])
    kinds = _texts(frame["kind"])
    known = {text.casefold(): text for text in (*names, *kinds)}
    close = difflib.get_close_matches(what.casefold(), known, _NEAR_MATCHES, 0.7)
    told = ", ".join(kinds[:30]) or "none"
    if close:
        meant = " or ".join(repr(known[text]) for text in close)
        return f"Did you mean {meant}? The kinds are {told}"
    return f"Name the map features that hold it, or use one of these kinds: {told}"


def _texts(column: Sequence[object]) -> list[str]:
    return sorted({text for text in column if isinstance(text, str)})
