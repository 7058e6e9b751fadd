"""Photographs as files give them: formats, turns, damage, size, and what they say of the lens."""

from __future__ import annotations

import hashlib
import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image

from hillsight.errors import PhotographError
from hillsight.plan.picture.exif import ExifFacts, focal_length_px
from hillsight.plan.picture.photograph import Photograph, lens_belief

#: Where row 0 and column 0 of the stored picture are when it is shown (Exif 2.3, tag 274 Orientation, from
#: memory): 1 top left, 2 top right, 3 bottom right, 4 bottom left, 5 left top, 6 right top, 7 right bottom,
#: 8 left bottom.
SIDES = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def quarters() -> np.ndarray:
    """A picture of 96 x 64 with four colours, one a corner."""
    pixels = np.zeros((64, 96, 3), np.uint8)
    pixels[:32, :48], pixels[:32, 48:] = (220, 30, 30), (30, 220, 30)
    pixels[32:, :48], pixels[32:, 48:] = (30, 30, 220), (220, 220, 30)
    return pixels


def corner(pixels: np.ndarray, vertical: str, horizontal: str) -> np.ndarray:
    return pixels[8 if vertical == "top" else -8, 8 if horizontal == "left" else -8].astype(int)


def exif(**tags: object) -> Image.Exif:
    numbers = {"orientation": 274, "make": 271, "model": 272}
    more = {"focal": 0x920A, "equivalent": 0xA405, "width": 0xA002, "height": 0xA003, "zoom": 0xA404}
    more |= {"taken": 0x9003, "plane": 0xA20E, "unit": 0xA210}
    block = Image.Exif()
    for name, value in tags.items():
        if name in numbers:
            block[numbers[name]] = value
        else:
            block.get_ifd(0x8769)[more[name]] = value
    return block


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", ["jpg", "png", "tif", "webp"])
def test_it_is_turned_as_the_file_says(tmp_path, orientation, suffix):
    stored = quarters()
    path = tmp_path / f"a.{suffix}"
    Image.fromarray(stored).save(path, exif=exif(orientation=orientation), quality=95)
    photograph = Photograph.open(path)
    shown = photograph.array()
    row, column = SIDES[orientation]
    on_its_side = row in ("left", "right")
    assert (photograph.width_px, photograph.height_px) == ((64, 96) if on_its_side else (96, 64))
    assert shown.shape == (photograph.height_px, photograph.width_px, 3)
    first = (column, row) if on_its_side else (row, column)
    opposite = {"top": "bottom", "bottom": "top", "left": "right", "right": "left"}
    assert np.abs(corner(shown, *first) - corner(stored, "top", "left")).max() < 40
    # The far end of the stored row 0 lies along the side that is row 0.
    along = (opposite[column], row) if on_its_side else (row, opposite[column])
    assert np.abs(corner(shown, *along) - corner(stored, "top", "right")).max() < 40


def test_heic_is_read_as_phones_write_it(tmp_path):
    heif = pytest.importorskip("pillow_heif", reason="pillow-heif is not installed (extra: photographs)")
    heif.register_heif_opener()
    path = tmp_path / "a.heic"
    block = exif(orientation=6, equivalent=26, width=96, height=64)
    Image.fromarray(quarters()).save(path, exif=block.tobytes(), quality=95)
    photograph = Photograph.open(path)
    assert (photograph.width_px, photograph.height_px) == (64, 96)
    assert np.abs(corner(photograph.array(), "top", "right") - corner(quarters(), "top", "left")).max() < 40
    assert photograph.exif.equivalent_mm == 26


@pytest.mark.parametrize("mode", ["L", "P", "RGBA", "CMYK", "I;16", "1"])
def test_other_kinds_of_pixels_become_red_green_blue(tmp_path, mode):
    grey = np.tile(np.linspace(0, 255, 60).astype(np.uint8), (40, 1))
    image = (
        Image.fromarray(grey.astype(np.uint16) * 257)
        if mode == "I;16"
        else Image.fromarray(grey).convert(mode)
    )
    path = tmp_path / ("a.tif" if mode in ("CMYK", "1") else "a.png")
    image.save(path)
    photograph = Photograph.open(path)
    assert photograph.array().shape == (40, 60, 3)
    assert photograph.grey().shape == (40, 60)
    if mode not in ("1", "P", "CMYK"):
        assert np.abs(photograph.grey().astype(int) - grey).max() <= 1


def test_grey_weighs_colours_as_bt_601_does(tmp_path):
    path = tmp_path / "a.png"
    Image.fromarray(np.array([[[255, 0, 0], [0, 255, 0], [0, 0, 255]]], np.uint8)).save(path)
    assert Photograph.open(path).grey().tolist() == [[76, 150, 29]]  # 0.299, 0.587, 0.114 of 255


def test_its_sum_is_that_of_the_file(tmp_path):
    path = tmp_path / "a.png"
    Image.fromarray(quarters()).save(path)
    photograph = Photograph.open(path)
    assert photograph.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert photograph.name == "a.png"
    with pytest.raises(ValueError, match="read-only"):
        photograph.array()[0, 0] = 0


def png_of(width: int, height: int) -> bytes:
    """A PNG that says it is of this size and holds next to nothing."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0"))
        + chunk(b"IEND", b"")
    )


def test_too_large_a_picture_is_refused_before_it_is_unpacked(tmp_path):
    path = tmp_path / "huge.png"
    path.write_bytes(png_of(60_000, 60_000))
    limit = Image.MAX_IMAGE_PIXELS
    with pytest.raises(PhotographError, match="3,600 million"):
        Photograph.open(path)
    path.write_bytes(png_of(10_001, 10_000))
    with pytest.raises(PhotographError, match="at most 100 million"):
        Photograph.open(path)
    assert limit == Image.MAX_IMAGE_PIXELS
    Image.fromarray(quarters()).save(path)
    with pytest.raises(PhotographError, match="million"):
        Photograph.open(path, most_megapixels=0.001)


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif", "webp"])
@pytest.mark.parametrize("share", [0.02, 0.5, 0.9])
def test_a_truncated_picture_is_refused(tmp_path, suffix, share):
    noise = np.random.default_rng(1).integers(0, 255, (200, 300, 3), dtype=np.uint8)
    stream = io.BytesIO()
    Image.fromarray(noise).save(stream, format={"jpg": "JPEG", "tif": "TIFF"}.get(suffix, suffix.upper()))
    path = tmp_path / f"cut.{suffix}"
    path.write_bytes(stream.getvalue()[: int(share * len(stream.getvalue()))])
    with pytest.raises(PhotographError, match=r"damaged or cut short|no picture"):
        Photograph.open(path)


def test_what_is_no_picture_is_refused(tmp_path):
    path = tmp_path / "notes.jpg"
    for content in (b"", b"no picture at all", b"<svg xmlns='http://www.w3.org/2000/svg'/>"):
        path.write_bytes(content)
        with pytest.raises(PhotographError, match="no picture"):
            Photograph.open(path)
    with pytest.raises(PhotographError, match="cannot be read"):
        Photograph.open(tmp_path / "missing.jpg")
    with pytest.raises(PhotographError, match="cannot be read"):
        Photograph.open(tmp_path)


def saved(tmp_path, size=(400, 300), **tags):
    path = tmp_path / "a.jpg"
    Image.fromarray(np.zeros((size[1], size[0], 3), np.uint8)).save(path, exif=exif(**tags))
    return Photograph.open(path)


def test_the_file_tells_of_the_camera(tmp_path):
    photograph = saved(
        tmp_path, make="Maker\0", model="Model 3", taken="2024:05:06 07:08:09", focal=4.5, equivalent=26
    )
    facts = photograph.exif
    assert (facts.make, facts.model, facts.focal_length_mm, facts.equivalent_mm) == (
        "Maker",
        "Model 3",
        4.5,
        26,
    )
    assert facts.taken is not None and facts.taken.isoformat() == "2024-05-06T07:08:09"
    assert not any("gps" in name or "position" in name for name in vars(facts))


def test_equivalent_focal_length_gives_the_width(tmp_path):
    """A 4:3 picture at 26 mm by the diagonal (CIPA DCG-001, from memory) is 67.3 degrees wide (reckoned)."""
    belief = lens_belief(saved(tmp_path, equivalent=26, width=400, height=300))
    assert belief is not None
    assert belief.lens.width_deg == pytest.approx(67.3, abs=0.05)
    assert belief.focal_share == 0.02
    turned = lens_belief(saved(tmp_path, equivalent=26, width=400, height=300, orientation=6))
    assert turned is not None and turned.lens.width_px == 300
    assert turned.lens.width_deg == pytest.approx(53.1, abs=0.05)


def test_a_told_width_comes_first(tmp_path):
    belief = lens_belief(saved(tmp_path, equivalent=26), width_deg=50.0)
    assert belief is not None
    assert (belief.lens.width_deg, belief.focal_share) == (pytest.approx(50.0), 0.05)


def test_focal_length_and_sensor_give_pixels():
    """36 mm over 6000 pixels and 50 mm: 8333 pixels; half as many when the picture is made smaller."""
    facts = ExifFacts(focal_length_mm=50.0, pixels_a_mm=6000 / 36, width_px=6000, height_px=4000)
    assert focal_length_px(facts, 6000, 4000)[0] == pytest.approx(8333.33, abs=0.01)
    assert focal_length_px(facts, 3000, 2000)[0] == pytest.approx(4166.67, abs=0.01)


@pytest.mark.parametrize(
    ("facts", "size", "why"),
    [
        (ExifFacts(), (400, 300), "no focal length"),
        (ExifFacts(focal_length_mm=4.5), (400, 300), "no focal length"),
        (ExifFacts(equivalent_mm=26.0, width_px=4000, height_px=3000), (3000, 2000), "a part of it"),
        (ExifFacts(equivalent_mm=26.0, width_px=400, height_px=300), (800, 600), "a part of it"),
        (ExifFacts(equivalent_mm=26.0), (1600, 900), "1.78 to 1"),
        (ExifFacts(equivalent_mm=26.0, zoom=2.0), (400, 300), "digital zoom"),
        (ExifFacts(equivalent_mm=26.0, is_panorama=True), (400, 300), "panorama"),
    ],
)
def test_a_part_of_a_picture_has_no_focal_length(facts, size, why):
    focal_px, told = focal_length_px(facts, *size)
    assert focal_px is None
    assert why in told


def test_a_panorama_is_known_by_its_file(tmp_path):
    path = tmp_path / "a.jpg"
    block = b'<x:xmpmeta xmlns:GPano="http://ns.google.com/photos/1.0/panorama/"'
    block += b' GPano:ProjectionType="cylindrical"/>'
    Image.fromarray(quarters()).save(path, xmp=block)
    assert Photograph.open(path).exif.is_panorama


def test_a_damaged_exif_block_says_nothing(tmp_path):
    path = tmp_path / "a.jpg"
    Image.fromarray(quarters()).save(path, exif=b"Exif\0\0MM\0*\0\0\0\x08\xff\xff" + b"\x92\x0a" * 30)
    photograph = Photograph.open(path)
    assert photograph.exif.equivalent_mm is None
    assert photograph.width_px == 96
