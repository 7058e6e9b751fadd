"""What a photograph's file says of its camera (EXIF), and the focal length in pixels that follows.

Tags by number: CIPA DC-008 / JEITA CP-3451 (Exif), from memory, numbers as Pillow's ``ExifTags`` has them.
Where the photograph was taken and which way it looked is not read: nothing here can carry it on.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from PIL import Image

_MAKE, _MODEL, _SUB_DIRECTORY = 0x010F, 0x0110, 0x8769
_TAKEN, _FOCAL_LENGTH, _WIDTH, _HEIGHT = 0x9003, 0x920A, 0xA002, 0xA003
_PLANE_X, _PLANE_UNIT, _ZOOM, _EQUIVALENT = 0xA20E, 0xA210, 0xA404, 0xA405

#: Millimetres in the units that the resolution of the focal plane is counted in: inch, centimetre, and two
#: that some cameras write although the standard has them not.
_UNIT_MM = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}

#: Diagonal of a frame of 36 x 24 mm, by which equivalent focal lengths count (CIPA DCG-001, from memory).
FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)

#: Proportions of pictures that show all of a sensor, long side over short.
_WHOLE_SENSORS = (4 / 3, 3 / 2)
#: How far proportions may be out through pixels cut off at the rim.
_PROPORTIONS_WITHIN = 0.01


@dataclass(frozen=True)
class ExifFacts:
    """What the file says of the camera; None or empty where it says nothing.

    focal_length_mm : of the lens
    equivalent_mm : focal length that gives the same view on a frame of 36 x 24 mm
    zoom : digital zoom, 1 for none
    make, model : of the camera
    taken : by the camera's clock, without a zone
    width_px, height_px : of the picture when the camera wrote it, as stored
    pixels_a_mm : on the sensor
    is_panorama : the file says that it was put together from several, so that it is no flat picture
    """

    focal_length_mm: float | None = None
    equivalent_mm: float | None = None
    zoom: float = 1.0
    make: str = ""
    model: str = ""
    taken: datetime.datetime | None = None
    width_px: int | None = None
    height_px: int | None = None
    pixels_a_mm: float | None = None
    is_panorama: bool = False


def exif_facts(image: Image.Image) -> ExifFacts:
    """What an opened picture's file says; a damaged block says nothing."""
    tags: dict[int, Any]
    more: dict[int, Any]
    try:
        block = image.getexif()
        tags, more = dict(block), dict(block.get_ifd(_SUB_DIRECTORY))
    except Exception:  # Pillow raises whatever a damaged block leads it to
        tags, more = {}, {}
    unit_mm = _UNIT_MM.get(int(_number(more.get(_PLANE_UNIT)) or 2))
    plane = _number(more.get(_PLANE_X))
    return ExifFacts(
        focal_length_mm=_number(more.get(_FOCAL_LENGTH)),
        equivalent_mm=_number(more.get(_EQUIVALENT)),
        zoom=_number(more.get(_ZOOM)) or 1.0,
        make=_text(tags.get(_MAKE)),
        model=_text(tags.get(_MODEL)),
        taken=_moment(more.get(_TAKEN)),
        width_px=_whole(more.get(_WIDTH)),
        height_px=_whole(more.get(_HEIGHT)),
        pixels_a_mm=plane / unit_mm if plane and unit_mm else None,
        is_panorama=_says_panorama(image),
    )


def focal_length_px(facts: ExifFacts, width_px: int, height_px: int) -> tuple[float | None, str]:
    """Focal length in pixels of a picture of this size as shown, and why there is none.

    A picture that was cropped, enlarged by digital zoom or put together has none, for what its file says
    is then of another picture. One that was made smaller as a whole has.

    Returns
    -------
    focal length or None, and one clause that says why there is none
    """
    if facts.is_panorama:
        return None, "the file says that it was put together as a panorama"
    if facts.equivalent_mm is None and not (facts.focal_length_mm and facts.pixels_a_mm):
        return None, "the file tells no focal length that can be turned into pixels"
    if facts.zoom > 1.0:
        return None, "it was taken with digital zoom, which cameras count in different ways"
    if is_cut(facts, width_px, height_px):
        return None, (
            f"the camera wrote {facts.width_px} x {facts.height_px} pixels, so the picture of {width_px} x "
            f"{height_px} is a part of it"
        )
    proportions = max(width_px, height_px) / min(width_px, height_px)
    if facts.equivalent_mm is not None:
        if all(abs(proportions / whole - 1.0) > _PROPORTIONS_WITHIN for whole in _WHOLE_SENSORS):
            return None, (
                f"its sides are as {proportions:.2f} to 1, not those of a whole sensor (4 to 3 or 3 to 2)"
            )
        return facts.equivalent_mm / FULL_FRAME_DIAGONAL_MM * math.hypot(width_px, height_px), ""
    assert facts.focal_length_mm is not None and facts.pixels_a_mm is not None
    if not (facts.width_px and facts.height_px):
        return None, "the file does not tell the size of the picture that its focal length is of"
    shrunk = max(width_px, height_px) / max(facts.width_px, facts.height_px)
    return facts.focal_length_mm * facts.pixels_a_mm * shrunk, ""


def is_cut(facts: ExifFacts, width_px: int, height_px: int) -> bool:
    """Whether a picture of this size as shown is not all of what the camera wrote; no if that is not told."""
    if not (facts.width_px and facts.height_px):
        return False
    told = math.log(facts.width_px / facts.height_px)
    # It is told of the picture as stored, which may lie on its side.
    return not any(
        abs(told - math.log(wide / high)) < 0.5 * _PROPORTIONS_WITHIN and facts.width_px >= 0.999 * wide
        for wide, high in ((width_px, height_px), (height_px, width_px))
    )


def cut_across_px(facts: ExifFacts, width_px: int, height_px: int) -> float:
    """How far the axis of a picture that was cut may lie beside its middle, left or right; pixels.

    Nothing where only its upper or lower side was cut off; infinite where the file does not tell.
    """
    if not (facts.width_px and facts.height_px):
        return math.inf
    # It is told of the picture as stored, which may lie on its side.
    wide = [
        wide
        for wide, high in ((facts.width_px, facts.height_px), (facts.height_px, facts.width_px))
        if wide >= 0.999 * width_px and high >= 0.999 * height_px
    ]
    return max(max(wide) - width_px, 0) / 2.0 if wide else math.inf


def _number(value: Any) -> float | None:
    """A number above 0; EXIF writes 0 for unknown."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if 0.0 < number < math.inf else None


def _whole(value: Any) -> int | None:
    number = _number(value)
    return None if number is None else round(number)


def _text(value: Any) -> str:
    return " ".join(value.replace("\x00", " ").split()) if isinstance(value, str) else ""


def _moment(value: Any) -> datetime.datetime | None:
    try:
        return datetime.datetime.strptime(_text(value), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None


def _says_panorama(image: Image.Image) -> bool:
    """Whether the XMP block names a projection of a panorama (the GPano namespace, from memory)."""
    block = image.info.get("xmp") or image.info.get("XML:com.adobe.xmp") or b""
    return "GPano:ProjectionType" in (
        block.decode("utf-8", "replace") if isinstance(block, bytes) else str(block)
    )
