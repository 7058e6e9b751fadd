"""A photograph whose file tells private things, and a search for them in whatever is written from it."""

from __future__ import annotations

import base64
import re
import struct
import zlib
from pathlib import Path

from PIL import Image
from PIL.TiffImagePlugin import IFDRational

OWNER, SERIAL, MAKER_NOTE = "Ysolde Quillfeather", "SN-40118-77XQ", "thumbnail-bytes-8d1f6a"
LATITUDE, LONGITUDE = ((54, 1), (27, 1), (1_827_361, 100_000)), ((3, 1), (12, 1), (2_938_477, 100_000))


def private_photograph(path: Path, image: Image.Image) -> None:
    """A JPEG whose file tells position, owner and serial number, with a small picture inside the file."""
    exif = Image.Exif()
    exif[0x013B] = OWNER  # Artist
    exif[0x8298] = OWNER  # Copyright
    inner = exif.get_ifd(0x8769)
    inner[0xA430], inner[0xA431], inner[0x927C] = OWNER, SERIAL, MAKER_NOTE.encode()
    gps = exif.get_ifd(0x8825)
    gps[1], gps[3] = "N", "W"
    gps[2], gps[4] = (tuple(IFDRational(*pair) for pair in place) for place in (LATITUDE, LONGITUDE))
    image.save(path, "JPEG", exif=exif, comment=f"{OWNER} {SERIAL}".encode())
    content = path.read_bytes()
    small = path.with_suffix(".small.jpg")
    image.resize((160, 107)).save(small, "JPEG", comment=MAKER_NOTE.encode())
    inside = b"MPF\x00" + small.read_bytes()
    small.unlink()
    # An application segment after the start of the image holds it, as cameras put previews there.
    path.write_bytes(content[:2] + b"\xff\xe2" + struct.pack(">H", len(inside) + 2) + inside + content[2:])


def secrets() -> list[bytes]:
    """Bytes that no output may hold."""
    words = [OWNER, SERIAL, MAKER_NOTE]
    numbers = [pair[0] for pair in (LATITUDE[2], LONGITUDE[2])]
    found = [word.encode() for word in words]
    found += [word.encode("utf-16-le") for word in words]
    found += [b"Exif\x00\x00", b"GPSLatitude", b"54.450"]
    return found + [struct.pack(order, number) for number in numbers for order in (">I", "<I")]


def opened_up(content: bytes) -> list[bytes]:
    """A file's bytes, and what is packed inside: streams of a PDF, chunks of a PNG, pictures in a page."""
    parts = [content]
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", content, re.DOTALL):
        try:
            parts.append(zlib.decompress(stream))
        except zlib.error:
            continue
    packed = re.findall(rb"data:[a-z]+/[a-z+]+;base64,\s*([A-Za-z0-9+/=\s]+)", content)
    parts += [base64.b64decode(one) for one in packed]
    for part in list(parts):
        if part[:8] == b"\x89PNG\r\n\x1a\n":
            for kind, body in png_chunks(part):
                if kind in (b"zTXt", b"iTXt"):
                    parts.append(zlib.decompress(body.split(b"\0", 2)[-1]))
    return parts


def png_chunks(content: bytes) -> list[tuple[bytes, bytes]]:
    at, found = 8, []
    while at < len(content):
        (size,) = struct.unpack(">I", content[at : at + 4])
        found.append((content[at + 4 : at + 8], content[at + 8 : at + 8 + size]))
        at += size + 12
    return found
