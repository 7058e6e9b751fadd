"""Text put up so that nobody reads it by looking at the file that holds it.

It is no secret: the key is inside. Packed bytes are a key of 4 bytes, then raw deflate (RFC 1951) of the text
in UTF-8, each byte changed by the high byte of a linear congruential generator that starts at the key; all of
it is in base64 (RFC 4648).
"""

from __future__ import annotations

import base64
import hashlib
import zlib

#: Of the generator: Knuth and Lewis, as in Press et al., Numerical Recipes, "quick and dirty" (from memory).
_TIMES, _PLUS = 1_664_525, 1_013_904_223


def packed(text: str) -> str:
    """The text, packed; the same text gives the same letters."""
    content = text.encode("utf-8")
    key = hashlib.sha256(content).digest()[:4]
    deflate = zlib.compressobj(9, zlib.DEFLATED, -zlib.MAX_WBITS)
    return base64.b64encode(key + _changed(deflate.compress(content) + deflate.flush(), key)).decode("ascii")


def unpacked(letters: str) -> str:
    """What was packed."""
    content = base64.b64decode(letters)
    return zlib.decompress(_changed(content[4:], content[:4]), -zlib.MAX_WBITS).decode("utf-8")


def _changed(content: bytes, key: bytes) -> bytes:
    """Bytes exclusive-or the generator's high bytes; done twice it is undone."""
    state = int.from_bytes(key, "big")
    changed = bytearray(content)
    for i in range(len(changed)):
        state = (state * _TIMES + _PLUS) & 0xFFFFFFFF
        changed[i] ^= state >> 24
    return bytes(changed)
