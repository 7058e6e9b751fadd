"""On which line each key of a TOML text stands: the standard library's reader keeps no positions."""

from __future__ import annotations

import re
import tomllib
from typing import Any

_PART = r"""(?:[A-Za-z0-9_-]+|"(?:\\.|[^"\\\n])*"|'[^'\n]*')"""
_DOTTED = rf"{_PART}(?:[ \t]*\.[ \t]*{_PART})*"
_HEADER = re.compile(rf"[ \t]*(\[\[?)[ \t]*({_DOTTED})[ \t]*\]")
_KEY = re.compile(rf"[ \t]*({_DOTTED})[ \t]*=")

#: What can hide a bracket or a line's end, and these themselves.
_TOKEN = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}'
    r"|'''.*?'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'"
    r"|#[^\n]*"
    r"|[\[\]{}\n]",
    re.DOTALL,
)


class TomlLines:
    """Lines of the keys and tables of a text that ``tomllib`` has read without complaint.

    A path is made of keys, and of numbers from 0 in arrays: ``("statement", 2, "kind")``.
    """

    def __init__(self, text: str) -> None:
        self._line: dict[tuple[str | int, ...], int] = {}
        self._length: dict[tuple[str | int, ...], int] = {}
        table: tuple[str | int, ...] = ()
        at, line = 0, 1
        while at < len(text):
            if header := _HEADER.match(text, at):
                table = self._opened(_keys(header[2]), len(header[1]) == 2, line)
                path, at = None, header.end()
            elif key := _KEY.match(text, at):
                path, at = (*table, *_keys(key[1])), key.end()
                self._keep(path, line)
            else:
                path = None
            at, line = self._skip(text, at, line, path)

    def of(self, *path: str | int) -> int:
        """Line, from 1, of a key or table, else of the innermost table or array round it that has one."""
        while path:
            if path in self._line:
                return self._line[path]
            path = path[:-1]
        return 1

    def _opened(self, keys: tuple[str, ...], in_array: bool, line: int) -> tuple[str | int, ...]:
        """Path of the table that a header opens."""
        path: tuple[str | int, ...] = ()
        for key in keys[:-1]:
            path = (*path, key)
            if path in self._length:
                path = (*path, self._length[path] - 1)
        path = (*path, keys[-1])
        if in_array:
            number = self._length.get(path, 0)
            self._length[path] = number + 1
            path = (*path, number)
        self._keep(path, line)
        return path

    def _keep(self, path: tuple[str | int, ...], line: int) -> None:
        for end in range(1, len(path) + 1):
            self._line.setdefault(path[:end], line)

    def _skip(self, text: str, at: int, line: int, path: tuple[str | int, ...] | None) -> tuple[int, int]:
        """Where the next line begins that belongs to no value, and its number; notes members of arrays."""
        depth = members = 0
        for token in _TOKEN.finditer(text, at):
            sign = token[0]
            if sign in "[{":
                if depth == 1 and path is not None:
                    self._keep((*path, members), line)
                    members += 1
                depth += 1
            elif sign in "]}":
                depth -= 1
            elif sign == "\n" and depth <= 0:
                return token.end(), line + 1
            line += sign.count("\n")
        return len(text), line


def _keys(dotted: str) -> tuple[str, ...]:
    """Keys of a dotted key, without their quotes."""
    content: Any = tomllib.loads(f"{dotted} = 0")
    keys = []
    while isinstance(content, dict):
        ((key, content),) = content.items()
        keys.append(key)
    return tuple(keys)
