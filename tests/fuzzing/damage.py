"""Ways to damage a file: bits, bytes, cuts, lost and doubled pieces, and words that are no numbers."""

from __future__ import annotations

import random
import re

#: What is put in the place of a piece.
_TOKENS = (
    b"",
    b"0",
    b"-1",
    b"nan",
    b"inf",
    b"1e300",
    b"99999999999999999999",
    b"\xff\xfe",
    b"\xe2\x80\xae",
    b"\x00",
    b"<",
    b'"',
    b"[",
    b"}",
)
#: Numbers of 2, 4 and 8 bytes that headers of binary files stumble over.
_WHOLE = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")
#: Half of the damage falls on the first bytes, where headers are.
_HEAD_BYTES = 2048


def damaged(content: bytes, chance: random.Random) -> bytes:
    """The content with one piece of damage of ten kinds; of a text, numbers and lines are hit too."""
    if not content:
        return content
    data = bytearray(content)
    place = chance.randrange(min(len(data), _HEAD_BYTES) if chance.random() < 0.5 else len(data))
    length = min(chance.choice((1, 2, 4, 16, 100)), len(data) - place)
    match chance.randrange(10):
        case 0:
            data[place] ^= 1 << chance.randrange(8)
        case 1:
            for _ in range(chance.randrange(1, 20)):
                data[chance.randrange(len(data))] = chance.randrange(256)
        case 2:
            del data[place:]
        case 3:
            del data[place : place + length]
        case 4:
            data[place:place] = data[place : place + length]
        case 5 | 6:
            data[place : place + length] = chance.choice(_TOKENS)
        case 7:
            size, order = chance.choice((1, 2, 4, 8)), chance.choice(("little", "big"))
            whole = chance.choice(_WHOLE) & (256**size - 1)
            data[place : place + size] = whole.to_bytes(size, order)
        case 8:
            _hit_a_number(data, chance)
        case _:
            _hit_a_line(data, chance)
    return bytes(data)


def _hit_a_number(data: bytearray, chance: random.Random) -> None:
    """Another number, or none, in the place of one written in digits."""
    found = list(_NUMBER.finditer(data[: 64 * 1024]))
    if found:
        one = chance.choice(found)
        data[one.start() : one.end()] = chance.choice(_TOKENS)


def _hit_a_line(data: bytearray, chance: random.Random) -> None:
    """A line lost, doubled or put in the place of another."""
    lines = bytes(data).splitlines(keepends=True)
    one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    match chance.randrange(3):
        case 0:
            del lines[one]
        case 1:
            lines.insert(other, lines[one])
        case _:
            lines[one], lines[other] = lines[other], lines[one]
    data[:] = b"".join(lines)
