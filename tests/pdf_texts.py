"""Texts of a PDF as a reader would copy them: what its pages show, and what its properties say.

After ISO 32000-1:2008: 7.3.4 (strings), 7.9.2.2 (text strings), 9.4 (text objects: Tf, Tj, TJ, ' and "),
9.10.2 and 9.10.3 (ToUnicode: bfchar, bfrange); from memory. Files as matplotlib writes them: objects in the
open, streams packed by Flate, fonts under one name throughout.
"""

from __future__ import annotations

import re
import zlib
from pathlib import Path

_OBJECT = re.compile(rb"(\d+) 0 obj(.*?)endobj", re.DOTALL)
_STREAM = re.compile(rb"stream\r?\n(.*?)\r?\nendstream", re.DOTALL)
_STRING = rb"\((?:\\.|[^\\()])*\)"
_SHOWN = re.compile(rb"/(\w+) [\d.]+ Tf|(" + _STRING + rb")|<([0-9A-Fa-f\s]*)>", re.DOTALL)
_TOLD = re.compile(
    rb"/(?:Title|Subject|Author|Keywords|Creator|Producer|Contents|URI|T)\s*(?:("
    + _STRING
    + rb")|<([0-9A-Fa-f]*)>)",
    re.DOTALL,
)
_ESCAPED = re.compile(rb"\\(?:([0-7]{1,3})|(\r\n|.))", re.DOTALL)
_LETTERS = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f", b"\n": b"", b"\r\n": b""}


def texts_of(path: Path) -> str:
    """All texts of a file, a line each; codes of no known font as Latin-1."""
    objects = {int(number): body for number, body in _OBJECT.findall(path.read_bytes())}
    unpacked = {number: _unpacked(body) for number, body in objects.items()}
    fonts: dict[bytes, dict[int, str]] = {}
    for body in objects.values():
        for name, number in re.findall(rb"/(F\d+) (\d+) 0 R", body):
            mapped = re.search(rb"/ToUnicode (\d+) 0 R", objects.get(int(number), b""))
            if mapped is not None:
                fonts[name] = _characters(unpacked[int(mapped.group(1))] or b"")
    lines = [
        _text_string(_bytes_of(told, hexed))
        for body in objects.values()
        for told, hexed in _TOLD.findall(body)
    ]
    for content in unpacked.values():
        if content is not None and b"begincmap" not in content:
            pieces = re.findall(rb"\bBT\b(.*?)\bET\b", content, re.DOTALL)
            lines += [_shown(piece, fonts) for piece in pieces]
    return "\n".join(lines)


def _unpacked(body: bytes) -> bytes | None:
    found = _STREAM.search(body)
    if found is None:
        return None
    try:
        return zlib.decompress(found.group(1))
    except zlib.error:
        return None


def _shown(content: bytes, fonts: dict[bytes, dict[int, str]]) -> str:
    characters: dict[int, str] | None = None
    text = ""
    for name, string, hexed in _SHOWN.findall(content):
        if name:
            characters = fonts.get(name)
            continue
        codes = _bytes_of(string, hexed)
        if characters is None:
            text += codes.decode("latin-1")
        else:
            pairs = (int.from_bytes(codes[at : at + 2], "big") for at in range(0, len(codes), 2))
            text += "".join(characters.get(code, f"<no character {code}>") for code in pairs)
    return text


def _characters(table: bytes) -> dict[int, str]:
    """Text of each code of a font."""
    found: dict[int, str] = {}
    for part in re.findall(rb"beginbfchar(.*?)endbfchar", table, re.DOTALL):
        for code, text in re.findall(rb"<(\w+)>\s*<(\w+)>", part):
            found[int(code, 16)] = _utf_16(text)
    for part in re.findall(rb"beginbfrange(.*?)endbfrange", table, re.DOTALL):
        for first, last, listed, start in re.findall(rb"<(\w+)>\s*<(\w+)>\s*(?:\[([^\]]*)\]|<(\w+)>)", part):
            codes = range(int(first, 16), int(last, 16) + 1)
            if listed:
                texts = [_utf_16(text) for text in re.findall(rb"<(\w+)>", listed)]
            else:
                texts = [chr(ord(_utf_16(start)) + step) for step in range(len(codes))]
            found.update(zip(codes, texts, strict=True))
    return found


def _utf_16(digits: bytes) -> str:
    return bytes.fromhex(digits.decode()).decode("utf-16-be")


def _bytes_of(string: bytes, hexed: bytes) -> bytes:
    if not string:
        return bytes.fromhex(hexed.decode())
    return _ESCAPED.sub(
        lambda found: (
            bytes([int(found.group(1), 8) & 255])
            if found.group(1)
            else _LETTERS.get(found.group(2), found.group(2))
        ),
        string[1:-1],
    )


def _text_string(content: bytes) -> str:
    if content.startswith(b"\xfe\xff"):
        return content[2:].decode("utf-16-be")
    return content.decode("latin-1")
