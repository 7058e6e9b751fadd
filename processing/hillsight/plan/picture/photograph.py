"""A photograph as it is shown, and what is believed of its lens."""

from __future__ import annotations

import hashlib
import importlib.util
import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import PhotographError
from hillsight.plan.picture.camera import Lens
from hillsight.plan.picture.exif import ExifFacts, exif_facts, focal_length_px

if TYPE_CHECKING:
    from PIL import Image

    from hillsight.arrays import Bytes

#: Largest picture that is opened unless told, in millions of pixels.
MOST_MEGAPIXELS = 100.0

# Pillow tells its log of damage, which Python prints where nobody listens, beside the error that comes of it.
logging.getLogger("PIL").addHandler(logging.NullHandler())

_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")

#: One standard deviation of a focal length as a share of it: from the file of a picture that shows the whole
#: sensor (makers round the equivalent to whole millimetres and count it by diagonal or width; common
#: practice, no source), and from a width in degrees that a person tells.
FILE_SHARE, TOLD_SHARE = 0.02, 0.05

#: A picture so much longer one way than the other may well be put together from several. (Common practice,
#: no source: films and sensors go to 16 to 9, panoramic cameras from 2 to 1 on.)
_LONG = 2.2


@dataclass(frozen=True, eq=False)
class Photograph:
    """A picture as shown: turned as its file says.

    name : of the file, without its folder
    width_px, height_px : as shown
    sha256 : of the file, in hexadecimal digits
    exif : what the file says of the camera
    """

    name: str
    width_px: int
    height_px: int
    sha256: str
    exif: ExifFacts
    _pixels: Bytes = field(repr=False)

    @classmethod
    def open(cls, path: str | Path, *, most_megapixels: float = MOST_MEGAPIXELS) -> Photograph:
        """Read a picture: JPEG, PNG, TIFF, WebP, and HEIC where pillow-heif is installed.

        Raises
        ------
        PhotographError : the file cannot be read, is no picture or one of another format, is truncated or
            damaged, or has more pixels than asked for
        """
        path = Path(path)
        try:
            with path.open("rb") as file:
                sha256 = hashlib.file_digest(file, "sha256").hexdigest()
                file.seek(0)
                head = file.read(32)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise PhotographError(
                f"the photograph cannot be read: {reason}", where=str(path), remedy="Check the path"
            ) from error
        with _opened(path, head, most_megapixels) as image:
            facts = exif_facts(image)
            pixels = _shown(image)
        return cls(path.name, pixels.shape[1], pixels.shape[0], sha256, facts, pixels)

    def array(self) -> Bytes:
        """The pixels (height, width, 3), red, green, blue; not to be written to."""
        return self._pixels

    def grey(self) -> Bytes:
        """Brightness (height, width), by the weights of ITU-R BT.601."""
        weights = np.array([299, 587, 114], np.uint32)
        grey: Bytes = ((self._pixels @ weights + 500) // 1000).astype(np.uint8)
        return grey


@dataclass(frozen=True)
class LensBelief:
    """A lens, and how well its focal length is known.

    focal_share : one standard deviation of the focal length, as a share of it
    source : where it is from, for messages
    """

    lens: Lens
    focal_share: float
    source: str = ""


def refuse_panorama(photograph: Photograph) -> None:
    """Refuse a picture whose file says that it was put together from several.

    Raises
    ------
    PhotographError : it does
    """
    if photograph.exif.is_panorama:
        raise PhotographError(
            "the file says that the picture was put together as a panorama, which is no flat picture",
            where=photograph.name,
            remedy="Mark one of the photographs that it was made of",
            parameters=("photo",),
        )


def long_picture_notes(width_px: int, height_px: int) -> list[str]:
    """That a long picture, of whose making the file says nothing, may be a panorama; else empty."""
    times = max(width_px, height_px) / min(width_px, height_px)
    if times <= _LONG:
        return []
    return [
        f"the picture is {width_px} x {height_px} pixels, {times:.1f} times as long one way as the other. "
        "If it is a panorama, put together from several or swept, it is no flat picture: direction, tilt, "
        "focal length and place worked out from it are wrong. Mark one of the photographs that it was made "
        "of instead. If it was cut from a flat picture, say that it is cropped where its marks are read"
    ]


def lens_belief(
    photograph: Photograph, width_deg: float | None = None, width_share: float = TOLD_SHARE
) -> LensBelief | None:
    """What is known of a photograph's lens beforehand: by a told width, else by its file; else None.

    Parameters
    ----------
    width_deg : angle between the picture's sides, if somebody tells it
    width_share : one standard deviation of the focal length that follows from it, as a share
    """
    if width_deg is not None:
        return told_lens(photograph.width_px, photograph.height_px, width_deg, width_share)
    focal_px, _ = focal_length_px(photograph.exif, photograph.width_px, photograph.height_px)
    if focal_px is None:
        return None
    lens = Lens(photograph.width_px, photograph.height_px, focal_px)
    return LensBelief(lens, FILE_SHARE, "the focal length in the photograph's file")


def told_lens(width_px: int, height_px: int, width_deg: float, width_share: float = TOLD_SHARE) -> LensBelief:
    """The lens of a picture that somebody tells the width of, in degrees."""
    lens = Lens.of_width(width_px, height_px, width_deg)
    return LensBelief(lens, width_share, f"a width of {width_deg:g} degrees, as told")


@contextmanager
def _opened(path: Path, head: bytes, most_megapixels: float) -> Iterator[Image.Image]:
    """The picture in a file, its pixels read, with the faults of files told in plain words."""
    from PIL import Image, UnidentifiedImageError

    formats = list(_FORMATS)
    if importlib.util.find_spec("pillow_heif") is not None:
        import pillow_heif

        pillow_heif.register_heif_opener()
        formats.append("HEIF")
    remedy = "Give a photograph as JPEG, PNG, TIFF, WebP or HEIC"
    before, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path, formats=formats) as image:
                _check_size(path, image.size, most_megapixels)
                image.load()
                yield image
    except UnidentifiedImageError as error:
        if head[4:8] == b"ftyp" and "HEIF" not in formats:
            raise PhotographError(
                "pictures as HEIC need the package pillow-heif, which is not installed",
                where=str(path),
                remedy="Install it, or save the picture as JPEG",
            ) from error
        raise PhotographError(
            "this is no picture that can be read", where=str(path), remedy=remedy
        ) from error
    except (OSError, ValueError, SyntaxError, EOFError, MemoryError, Image.DecompressionBombError) as error:
        raise PhotographError(
            f"the picture is damaged or cut short ({error})",
            where=str(path),
            remedy="Copy it anew from where it came, or save it anew",
        ) from error
    finally:
        Image.MAX_IMAGE_PIXELS = before


def _check_size(path: Path, size: tuple[int, int], most_megapixels: float) -> None:
    """Refuse what would fill the memory, before its pixels are unpacked."""
    megapixels = size[0] * size[1] / 1e6
    if megapixels > most_megapixels:
        raise PhotographError(
            f"the picture has {size[0]:,} x {size[1]:,} pixels, {megapixels:,.0f} million; "
            f"at most {most_megapixels:g} million are opened",
            where=str(path),
            remedy="Allow more, or make it smaller as a whole, without cutting anything off",
            parameters=("most_megapixels",),
        )


def _shown(image: Image.Image) -> Bytes:
    """Pixels red, green, blue as the picture is shown; deep grey ones are brought to 8 bits."""
    from PIL import ImageOps

    upright = ImageOps.exif_transpose(image)
    if upright.mode.startswith("I;16"):
        grey = (np.asarray(upright).astype(np.uint32) >> 8).astype(np.uint8)
        pixels = np.repeat(grey[..., None], 3, axis=2)
    else:
        pixels = np.array(upright.convert("RGB"))
    pixels.flags.writeable = False
    return pixels
