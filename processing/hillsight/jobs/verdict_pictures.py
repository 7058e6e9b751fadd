"""Pictures of a verdict's page, encoded so that all of them together leave the page small."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from hillsight.arrays import Bytes
    from hillsight.sheets.paper.page import Page

#: Bytes of all pictures. In the page they take a third more, and with its words it stays under 1.5 MB.
_MOST_BYTES = 1_050_000

#: Tried one after another: share of a picture's width that is kept, quality by Pillow's scale.
_SIZES = ((1.0, 85), (0.85, 80), (0.75, 75), (0.65, 70), (0.55, 65), (0.45, 60), (0.35, 50))


@dataclass(frozen=True, eq=False)
class Shot:
    """A page as it looks at a moment: its pixels, and the bytes of a PNG file of few colours."""

    rgb: Bytes
    png: bytes

    @classmethod
    def of(cls, page: Page) -> Shot:
        """The page as it looks now."""
        return cls(page.pixels(), page.small_png())


def fitted(
    maps: Mapping[str, Shot], overlays: Mapping[str, Page]
) -> tuple[dict[str, bytes], dict[str, bytes]]:
    """Maps and photographs as files: PNG or WebP, and JPEG; as large as fits, their pixels alone.

    Parameters
    ----------
    maps, overlays : by the candidate's label
    """
    laid = {label: page.pixels() for label, page in overlays.items()}
    drawn: dict[str, bytes] = {}
    photographs: dict[str, bytes] = {}
    for share, quality in _SIZES:
        if share == 1.0:
            drawn = {label: shot.png for label, shot in maps.items()}
        else:
            drawn = {label: _encoded(shot.rgb, "WEBP", share, quality) for label, shot in maps.items()}
        photographs = {label: _encoded(rgb, "JPEG", share, quality) for label, rgb in laid.items()}
        if sum(len(one) for one in (*drawn.values(), *photographs.values())) <= _MOST_BYTES:
            break
    return drawn, photographs


def _encoded(rgb: Bytes, kind: str, share: float, quality: int) -> bytes:
    from PIL import Image

    image = Image.fromarray(rgb)
    if share < 1.0:
        size = (round(image.width * share), round(image.height * share))
        image = image.resize(size, Image.Resampling.LANCZOS)
    file = io.BytesIO()
    settings = {"optimize": True} if kind == "JPEG" else {}
    image.save(file, kind, quality=quality, **settings)
    return file.getvalue()
