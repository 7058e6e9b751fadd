"""Settles the parameters of a request: floats, tuples, paths, or one clear error.

A request says by its annotations what each parameter is; the annotations below are the ones it may use.
"""

from __future__ import annotations

import datetime
import math
import numbers
import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any, Self

from hillsight.errors import CallError

type Number = float
type Numbers = tuple[float, ...]
type Texts = tuple[str, ...]
#: A vector or raster file by its name, or the thing itself in memory.
type Source = Any
type Sources = tuple[Any, ...]
#: A file to read by its name alone.
type FileName = str
type FileNames = tuple[str, ...]
#: Landforms to list: None, "computed", a GeoPackage by its name, or frames by layer.
type LandformSource = Any
#: A number as a file may hold it, infinite or not-a-number too.
type StoredNumber = float

#: Stands for landforms that are read about the stations, in place of a file that holds them.
COMPUTED = "computed"


def words(name: str) -> str:
    """A parameter's name in plain words: inner_distance is "inner distance"."""
    return name.replace("_", " ")


def a_number(name: str, value: Any) -> float:
    """A finite number.

    Raises
    ------
    CallError : something else
    """
    number = stored_number(name, value)
    if not math.isfinite(number):
        raise CallError(f"{words(name)} is {value!r}, which is not a finite number", parameters=(name,))
    return number


def stored_number(name: str, value: Any) -> float:
    """Any number, infinite too.

    Raises
    ------
    CallError : something else
    """
    try:
        return float(value)
    except (TypeError, ValueError):
        raise CallError(f"{words(name)} is {value!r}, which is not a number", parameters=(name,)) from None


def a_whole_number(name: str, value: Any) -> int:
    """A whole number.

    Raises
    ------
    CallError : something else
    """
    number = a_number(name, value)
    if not number.is_integer():
        raise CallError(f"{words(name)} is {value!r}, which is not a whole number", parameters=(name,))
    return int(number)


def a_text(name: str, value: Any) -> str:
    """A text that is not empty; a path counts as its name.

    Raises
    ------
    CallError : something else
    """
    if isinstance(value, os.PathLike):
        value = os.fspath(value)
    if not isinstance(value, str):
        raise CallError(f"{words(name)} is {value!r}, which is not a text", parameters=(name,))
    if not value.strip():
        raise CallError(f"{words(name)} is empty", parameters=(name,))
    return value


def a_path(name: str, value: Any) -> Path:
    """A file or folder to write.

    Raises
    ------
    CallError : no path, or an empty one
    """
    return Path(a_text(name, value))


def a_day(name: str, value: Any) -> datetime.date:
    """A calendar day: a date, ``YYYY-MM-DD`` or ``today`` (in UTC).

    Raises
    ------
    CallError : something else
    """
    if isinstance(value, datetime.datetime):
        return value.date()
    if isinstance(value, datetime.date):
        return value
    if str(value).strip().lower() == "today":
        return datetime.datetime.now(datetime.UTC).date()
    try:
        return datetime.date.fromisoformat(str(value).strip())
    except ValueError:
        raise CallError(
            f"{words(name)} {value!r} is not a day",
            remedy="Write YYYY-MM-DD, or today",
            parameters=(name,),
        ) from None


def a_source(name: str, value: Any) -> Any:
    """A file by its name; whatever is no text or path is taken as the data itself."""
    return a_text(name, value) if isinstance(value, str | os.PathLike) else value


def a_place(name: str, value: Any) -> str:
    """A place as text, "E,N" or "E,N,NAME"; given as numbers it is written out in full.

    Raises
    ------
    CallError : neither a text nor two numbers and perhaps a name
    """
    if isinstance(value, str):
        return value
    try:
        x, y, *rest = value
        x, y = a_number(name, x), a_number(name, y)
        if len(rest) > 1:
            raise ValueError
    except (TypeError, ValueError):
        raise CallError(
            f"{words(name)} holds {value!r}, which is not a place",
            remedy='Give (easting, northing, "name") or a text "easting,northing,name"',
            parameters=(name,),
        ) from None
    named = [str(part) for part in rest if not _is_missing(part)]
    return ",".join([repr(x), repr(y), *named])


def _is_missing(cell: Any) -> bool:
    """Whether a cell of a table is empty: None, NaN, or what pandas has for them."""
    return cell is None or (not isinstance(cell, str) and str(cell) in ("<NA>", "NaT", "nan"))


def an_extent(name: str, value: Any) -> str:
    """Edges of an area as text, "W,S,E,N"; given as four numbers they are written out in full.

    Raises
    ------
    CallError : neither a text nor four numbers
    """
    if isinstance(value, str):
        return value
    try:
        edges = [a_number(name, edge) for edge in value]
    except TypeError:
        edges = []
    if len(edges) != 4:
        raise CallError(
            f"{words(name)} holds {value!r}, which is no area",
            remedy='Give four numbers, or a text "west,south,east,north"',
            parameters=(name,),
        )
    return ",".join(repr(edge) for edge in edges)


def a_direction(name: str, value: Any) -> str:
    """A direction in words or degrees, as text; what it means is for the job to say.

    Raises
    ------
    CallError : neither a number nor a text
    """
    if isinstance(value, numbers.Real) and not isinstance(value, bool):
        return repr(float(value))
    return a_text(name, value)


def a_file_name(name: str, value: Any) -> str:
    """The name of a file to read, of a kind that cannot be given in memory.

    Raises
    ------
    CallError : something else
    """
    if isinstance(value, str | os.PathLike):
        return a_text(name, value)
    raise CallError(
        f"{words(name)} is a {type(value).__name__}", remedy="Give the name of a file", parameters=(name,)
    )


def some_landforms(name: str, value: Any) -> Any:
    """Where landforms come from: True is ``COMPUTED``, False is none; a file, or frames by layer.

    Raises
    ------
    CallError : something else, or a frame that does not say its CRS
    """
    if isinstance(value, bool):
        return COMPUTED if value else None
    if isinstance(value, str | os.PathLike):
        return a_text(name, value)
    if not isinstance(value, Mapping):
        raise CallError(
            f"the landforms are a {type(value).__name__}",
            remedy="Give True, the name of a GeoPackage, or the frames of a result: one GeoDataFrame a layer",
            parameters=(name,),
        )
    for layer, frame in value.items():
        if getattr(frame, "crs", None) is None:
            raise CallError(
                f"the landforms of layer {layer} do not say their CRS",
                remedy="Give a GeoDataFrame with one, as the job that reads landforms does",
                parameters=(name,),
            )
    return value


def _several(settle: Callable[[str, Any], Any]) -> Callable[[str, Any], tuple[Any, ...]]:
    """Many of a kind; a single one, or a single text, is one of them; None is none."""

    def settle_all(name: str, value: Any) -> tuple[Any, ...]:
        if value is None:
            return ()
        alone = isinstance(value, str | os.PathLike | Mapping) or hasattr(value, "columns")
        if alone or not isinstance(value, Iterable):
            return (settle(name, value),)
        return tuple(settle(name, one) for one in value)

    return settle_all


def _places(name: str, value: Any) -> tuple[str, ...]:
    """Places; one alone may be given as it is."""
    if isinstance(value, tuple) and len(value) in (2, 3) and not isinstance(value[0], str | tuple | list):
        return (a_place(name, value),)
    return _several(a_place)(name, value)


def _two_numbers(name: str, value: Any) -> tuple[float, ...]:
    found = _several(a_number)(name, value)
    if len(found) != 2:
        raise CallError(f"{words(name)} holds {len(found)} numbers", remedy="Give two", parameters=(name,))
    return found


_SETTLE: dict[str, Callable[[str, Any], Any]] = {
    "Number": a_number,
    "StoredNumber": stored_number,
    "int": a_whole_number,
    "bool": lambda _, value: bool(value),
    "str": a_text,
    "Path": a_path,
    "Day": a_day,
    "Direction": a_direction,
    "Extent": an_extent,
    "Source": a_source,
    "FileName": a_file_name,
    "FileNames": _several(a_file_name),
    "LandformSource": some_landforms,
    "Numbers": _several(a_number),
    "TwoNumbers": _two_numbers,
    "Texts": _several(a_text),
    "Sources": _several(a_source),
    "Places": _places,
}


class Parameters:
    """Base of the parts of a request: frozen dataclasses whose fields are the parameters of a job.

    A field's annotation is one of those above, or one of them ``| None``.
    """

    def __post_init__(self) -> None:
        for field in fields(self):  # type: ignore[arg-type]
            kind, _, optional = str(field.type).partition(" | ")
            value = getattr(self, field.name)
            if not (optional == "None" and value is None):
                object.__setattr__(self, field.name, _SETTLE[kind](field.name, value))

    @classmethod
    def of(cls, given: Mapping[str, Any]) -> Self:
        """A request from the local variables of the function whose parameters it holds.

        Raises
        ------
        CallError : a parameter that is not what it should be
        """
        return cls(**{field.name: given[field.name] for field in fields(cls)})  # type: ignore[arg-type]
