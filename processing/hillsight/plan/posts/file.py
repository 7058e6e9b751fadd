"""Reading a plan of marshal posts from its file, with the line of whatever is wrong in it."""

from __future__ import annotations

import contextlib
import datetime
from typing import TYPE_CHECKING, Any

from hillsight.errors import PostsError
from hillsight.plan.posts import fields
from hillsight.plan.posts.fields import CONTROL, FORMAT, TABLES, TOP, TOP_LISTS
from hillsight.plan.posts.plan import (
    DangerWeights,
    Eyes,
    Ground,
    Limits,
    NamedDanger,
    NamedPlace,
    Paces,
    Pair,
    PlannedCheckpoint,
    PlannedCourse,
    PostsPlan,
    Radios,
    Walking,
    Wanted,
)
from hillsight.plan.posts.toml_tables import TomlTable, table_of, values_of
from hillsight.plan.toml_file import FileKind, FilePlace, check_crs, instead, read_toml, told
from hillsight.words.english import folded

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


_KIND = FileKind("plan of posts", "[[fixed]]", FORMAT, PostsError)
_BANNED_WITHIN_M = 25.0
#: Places nearer one another are one, metres.
_ONE_SPOT_M = 1.0
#: Events lie in these years; common sense, no source.
_YEARS = (1900, 2100)


def read_plan(path: str) -> PostsPlan:
    """The plan that a file holds.

    The file is TOML: a line ``format``, the fields of ``fields.TOP`` and the tables of ``fields.TABLES``. A
    byte order mark and the line ends of any system do no harm.

    Raises
    ------
    PostsError : the file cannot be read, is no TOML, or says what a plan cannot say: unknown fields, more
        fixed posts than are wanted, one name twice; with its line
    """
    content, top = read_toml(path, _KIND)
    names = ["format", *(field.name for field in TOP), *(table.name for table in TABLES)]
    for key in content:
        if key not in names:
            raise top.within(key).error(f"a plan of posts has no {key!r}", instead(key, names, "It may have"))
    raw = {field.name: content[field.name] for field in TOP if field.name in content}
    values = values_of(raw, TOP, TOP_LISTS, "plan of posts", top)
    if "crs" in values:
        check_crs(values["crs"], top.within("crs"))
    wanted = _wanted(content, top)
    course = table_of(content, fields.COURSE, top)
    fixed = _named(content, fields.FIXED, top)
    stands = tuple(Ground(**raw) for raw in _many(content, fields.STAND, top))
    walking = _walking(content, top)
    _check_effort(wanted, walking, top)
    posts = None if stands else [place.name for place in fixed]
    if wanted.posts is not None and len(fixed) > wanted.posts:
        raise top.within("fixed", wanted.posts).error(
            f"{len(fixed)} posts are fixed, and {wanted.posts} are the most that are wanted",
            "Raise posts in [wanted], or take fixed posts out",
        )
    control = content.get("control")
    radio = table_of(content, fields.RADIO, top)
    if control is not None:
        radio["control"] = NamedPlace(**table_of(content, fields.CONTROL_PLACE, top))
    return PostsPlan(
        **values,
        course=PlannedCourse(**course, checkpoints=_checkpoints(content, top)),
        wanted=wanted,
        paces=_paces(content, top),
        dangers=DangerWeights(**table_of(content, fields.DANGERS, top)),
        named_dangers=_named_dangers(content, top),
        eyes=_eyes(content, top),
        stands=stands,
        no_go=tuple(Ground(**raw) for raw in _many(content, fields.NO_GO, top)),
        limits=Limits(**table_of(content, fields.LIMITS, top)),
        walking=walking,
        radios=Radios(**radio),
        fixed=tuple(fixed),
        banned=tuple(
            NamedPlace(**{"within_m": _BANNED_WITHIN_M} | raw) for raw in _many(content, fields.BANNED, top)
        ),
        pairs=_pairs(content, top, posts, has_control=control is not None),
        source=path,
    )


def _moment(value: Any, place: FilePlace) -> datetime.datetime:
    if isinstance(value, str) and ":" in value:
        with contextlib.suppress(ValueError):
            value = datetime.datetime.fromisoformat(value.strip())
    if isinstance(value, datetime.datetime):
        if not _YEARS[0] <= value.year <= _YEARS[1]:
            raise place.error(
                f"paces: 'start' is in the year {value.year}", f"Give a year from {_YEARS[0]} to {_YEARS[1]}"
            )
        return value
    raise place.error(
        f"paces: 'start' is {told(value)}",
        "Write day and time, with the zone, as in 2026-09-12T10:00:00+01:00",
    )


def _many(content: Mapping[str, Any], table: TomlTable, top: FilePlace) -> list[dict[str, Any]]:
    """Values of each table of a kind that may stand several times."""
    raws = content.get(table.name, [])
    if not isinstance(raws, list) or not all(isinstance(raw, dict) for raw in raws):
        raise top.within(table.name).error(
            f"a {table.name} is not headed [[{table.name}]]",
            f"Write [[{table.name}]], in double brackets, above each",
        )
    return [
        values_of(raw, table.fields, table.lists, table.name, top.within(table.name, k))
        for k, raw in enumerate(raws)
    ]


def _named(content: Mapping[str, Any], table: TomlTable, top: FilePlace) -> list[NamedPlace]:
    """Places of a kind, none of whose names stands twice."""
    found = [NamedPlace(**values) for values in _many(content, table, top)]
    for k, one in enumerate(found):
        for earlier in found[:k]:
            apart_m = max(abs(one.easting_m - earlier.easting_m), abs(one.northing_m - earlier.northing_m))
            if apart_m < _ONE_SPOT_M:
                raise top.within(table.name, k).error(
                    f"{one.name!r} and {earlier.name!r} are one spot", "Take one of them out"
                )
        where = top.within(table.name, k, "name")
        if folded(one.name) == CONTROL:
            raise where.error(f"{one.name!r} is what pairs call the organisers' place", "Name it otherwise")
        if any(folded(one.name) == folded(earlier.name) for earlier in found[:k]):
            raise where.error(f"two places are called {one.name!r}", "Name each apart")
    return found


def _wanted(content: Mapping[str, Any], top: FilePlace) -> Wanted:
    wanted = Wanted(**table_of(content, fields.WANTED, top))
    if wanted.posts is None and wanted.share is None:
        raise top.within("wanted").error(
            "[wanted] says neither how many posts nor how much is to be seen", "Add posts, or share, or both"
        )
    return wanted


def _walking(content: Mapping[str, Any], top: FilePlace) -> Walking:
    walking = Walking(
        **table_of(content, fields.WALKING, top), access=tuple(_named(content, fields.ACCESS, top))
    )
    if walking.most_minutes is not None and not walking.access:
        raise top.within("walking").error(
            "walks are limited, and the plan does not say where they begin",
            "Add where marshals start as [[access]], or take most_minutes out",
        )
    return walking


def _paces(content: Mapping[str, Any], top: FilePlace) -> Paces:
    paces = Paces(**table_of(content, fields.PACES, top, {"start": _moment}))
    if paces.first_min_per_km > paces.last_min_per_km:
        raise top.within("paces").error(
            f"the first runner takes {paces.first_min_per_km:g} minutes a km and the last "
            f"{paces.last_min_per_km:g}",
            "Give the first runner the shorter time",
        )
    return paces


def _eyes(content: Mapping[str, Any], top: FilePlace) -> Eyes:
    eyes = Eyes(**table_of(content, fields.EYES, top))
    if eyes.runner_least_m > eyes.runner_most_m:
        raise top.within("eyes").error(
            f"runners are from {eyes.runner_least_m:g} m to {eyes.runner_most_m:g} m tall",
            "Give the smaller height as runner_least_m",
        )
    return eyes


def _named_dangers(content: Mapping[str, Any], top: FilePlace) -> tuple[NamedDanger, ...]:
    found = [NamedDanger(**values) for values in _many(content, fields.DANGER, top)]
    for k, one in enumerate(found):
        if one.from_m >= one.to_m:
            raise top.within("danger", k).error(
                f"{one.name!r} begins at {one.from_m:g} m and ends at {one.to_m:g} m",
                "Give from_m less than to_m",
            )
    return tuple(found)


def _checkpoints(content: Mapping[str, Any], top: FilePlace) -> tuple[PlannedCheckpoint, ...]:
    found = []
    for k, values in enumerate(_many(content, fields.CHECKPOINT, top)):
        one = PlannedCheckpoint(**values)
        has_place = one.easting_m is not None and one.northing_m is not None
        if has_place == (one.along_m is not None):
            raise top.within("checkpoint", k).error(
                f"checkpoint {one.name!r} needs a place or how far along the course it is, and not both",
                "Give easting_m and northing_m, or along_m",
            )
        found.append(one)
    return tuple(found)


def _check_effort(wanted: Wanted, walking: Walking, top: FilePlace) -> None:
    if wanted.effort > 0 and not walking.access:
        raise top.within("wanted", "effort").error(
            "effort weighs walks, and the plan does not say where they begin",
            "Add where marshals start as [[access]], or take effort out",
        )


def _pairs(
    content: Mapping[str, Any], top: FilePlace, posts: Sequence[str] | None, *, has_control: bool
) -> tuple[Pair, ...]:
    """Pairs of posts; posts : names they may use, None where ground to stand on may hold more of them."""
    found = []
    known = None if posts is None else [*posts, *([CONTROL] if has_control else [])]
    for k, values in enumerate(_many(content, fields.PAIR, top)):
        one, place = Pair(**values), top.within("pair", k)
        if folded(one.one) == folded(one.other):
            raise place.error(f"{one.one!r} is paired with itself", "Name two posts")
        if CONTROL in (folded(one.one), folded(one.other)) and not has_control:
            raise place.error(
                f"a pair names {CONTROL}, and the plan does not say where that is",
                "Add [control] with its place",
            )
        for key, name in (("one", one.one), ("other", one.other)):
            if known is not None and folded(name) not in map(folded, known):
                raise place.within(key).error(unknown_post(name), which_posts(name, known))
        found.append(one)
    return tuple(found)


def unknown_post(name: str) -> str:
    """What is said of a pair that names no post."""
    return f"a pair names {name!r}, and no fixed post or named place to stand is called so"


def which_posts(name: str, known: Sequence[str]) -> str:
    """What a pair may name instead."""
    if not known:
        return "Add it as [[fixed]], or take the pair out: the plan names no post"
    return f"{instead(name, known, 'There are')}. Or add it as [[fixed]]"
