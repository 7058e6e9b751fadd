"""What a request may say of each option, by what the option takes; refused where that is not known."""

from __future__ import annotations

from typing import Any, Literal

#: file: a name in the folder of inputs. word_or_file: a plain word, or that. output: the server decides where
#: it goes, a request only that it is wanted. code: a CRS by its authority's code. text, number and flag: as
#: they are. refused: nothing.
type Role = Literal["file", "word_or_file", "output", "code", "text", "number", "flag", "refused"]

#: Options that decide for the machine and not for the job, by script and name.
_OF_THE_SERVER = {
    ("batch", "workers"),
    ("batch", "scheduler"),
    ("batch", "afresh"),
    ("doctor", "mend"),
}
#: Placeholders of options and arguments that name a file or folder to read.
_FILES = {"FILE", "FILE.toml", "FILE.json", "FILE.gpkg", "[FILE.gpkg]", "PICTURE", "PHOTO", "JOB", "PLAN"}
_FILES |= {"EXERCISE"}
#: Those of texts that no script takes for a file or an address.
_TEXTS = {
    "NAME",
    "UNIT",
    "WORD",
    "DIRECTION",
    "LABEL",
    "LINE",
    "X,Y",
    "STATION",
    "SIZE",
    "WAY",
    "TEXT",
    "WIDTHxHEIGHT",
    "YYYY-MM-DD",
    "E,N[,NAME]",
    "W,S,E,N",
}
_NUMBERS = {"number", "integer", "integer range", "float", "float range"}


def role(script: str, option: Any) -> Role:
    """The role of an option or argument of a script's command.

    Parameters
    ----------
    script : as ``hillsight`` lists it
    option : a parameter of a click command
    """
    placeholder = (option.metavar or "").strip('"')
    kind = option.type.name
    if (script, option.name) in _OF_THE_SERVER:
        return "refused"
    if getattr(option, "is_flag", False):
        return "flag"
    if kind in ("path", "directory"):
        return "output"
    if kind in _NUMBERS:
        return "number"
    if kind in ("choice", "date") or (script, option.name) in _PLAIN or placeholder in _TEXTS:
        return "text"
    if placeholder == "CRS":
        return "code"
    if placeholder == "WORD|FILE":
        return "word_or_file"
    return "file" if placeholder in _FILES else "refused"


#: Texts without a placeholder.
_PLAIN = {("exercise print", "title")}
