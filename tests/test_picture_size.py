"""A picture's size from its header, as a browser shows it; what is no picture is refused in words."""

import base64
import io
import struct
import zlib

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageOps

from patcher.picture_size import picture_size
from rig.browser import chromium
from rig.examples import examples

WIDE = (40, 24)


def tiff(orientation: int, order: str = "<", before: int = 0, kind: int = 3, count: int = 1) -> bytes:
    """A TIFF header whose first directory says an orientation, behind other entries (TIFF 6.0, section 2)."""
    entries = [(0x0100 + n, 3, 1, 5) for n in range(before)] + [(0x0112, kind, count, orientation)]
    head = b"II*\0" if order == "<" else b"MM\0*"
    body = b"".join(struct.pack(f"{order}HHIHH", *entry, 0) for entry in entries)
    return head + struct.pack(f"{order}IH", 8, len(entries)) + body + bytes(4)


def jpeg(size: tuple[int, int] = WIDE, exif: bytes = b"", **more: object) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", size, "teal").save(file, "JPEG", exif=b"Exif\0\0" + exif if exif else b"", **more)
    return file.getvalue()


def png(size: tuple[int, int] = WIDE, exif: bytes = b"", behind: bytes = b"") -> bytes:
    file = io.BytesIO()
    Image.new("RGB", size, "teal").save(file, "PNG")
    octets = file.getvalue()
    picture, end = octets.index(b"IDAT") - 4, octets.index(b"IEND") - 4
    octets = octets[:end] + chunk(b"eXIf", behind) * bool(behind) + octets[end:]
    return octets[:picture] + chunk(b"eXIf", exif) * bool(exif) + octets[picture:]


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def shown(octets: bytes) -> tuple[int, int]:
    """Judge: Pillow, turned as the camera says."""
    return ImageOps.exif_transpose(Image.open(io.BytesIO(octets))).size


@examples(40, 1000)
@given(st.tuples(*[st.integers(1, 300)] * 2), st.integers(1, 8), st.booleans())
def test_the_size_is_that_of_the_picture(size: tuple[int, int], orientation: int, progressive: bool) -> None:
    # Judge: Pillow; OpenCV, which turns a JPEG as its Exif says
    for octets in (jpeg(size, tiff(orientation), progressive=progressive), png(size, tiff(orientation))):
        assert picture_size(octets) == shown(octets)
    octets = jpeg(size, tiff(orientation), progressive=progressive)
    high, wide, _ = cv2.imdecode(np.frombuffer(octets, np.uint8), cv2.IMREAD_COLOR).shape
    assert picture_size(octets) == (wide, high)


@pytest.mark.parametrize("mode", ["1", "L", "P", "RGBA", "I;16"])
def test_a_png_of_any_colour(mode: str) -> None:
    # Judge: Pillow
    file = io.BytesIO()
    Image.new(mode, WIDE).save(file, "PNG")
    assert picture_size(file.getvalue()) == WIDE


TURNED = [
    *((f"jpeg {n}", jpeg(exif=tiff(n))) for n in (1, 3, 5, 6, 7, 8)),
    *((f"png {n}", png(exif=tiff(n))) for n in (1, 3, 6, 8)),
    ("jpeg big-endian", jpeg(exif=tiff(6, ">"))),
    ("jpeg, orientation not first", jpeg(exif=tiff(6, before=3))),
    ("jpeg, orientation 0", jpeg(exif=tiff(0))),
    ("jpeg, orientation 9", jpeg(exif=tiff(9))),
    *((f"jpeg, {n} octets of Exif", jpeg(exif=tiff(6)[:n])) for n in (9, 14, 19, 20, 21, 22)),
    ("jpeg, a long orientation", jpeg(exif=tiff(6, kind=4))),
    ("jpeg, two orientations in one", jpeg(exif=tiff(6, count=2))),
    ("jpeg, its first of two Exif", jpeg(exif=tiff(6))[:2] + jpeg(exif=tiff(1))[20:56] + jpeg(exif=tiff(6))[2:]),
    ("jpeg, no TIFF", jpeg(exif=b"XX*\0" + tiff(6)[4:])),
    ("png behind", png(behind=tiff(6))),
]


@pytest.mark.parametrize("octets", [octets for _, octets in TURNED], ids=[name for name, _ in TURNED])
def test_the_size_is_that_which_a_browser_shows(octets: bytes) -> None:
    # Judge: Chromium: the picture's natural size
    page = chromium().new_page()
    kind = "png" if octets.startswith(b"\x89") else "jpeg"
    page.set_content(f'<img src="data:image/{kind};base64,{base64.b64encode(octets).decode()}">')
    page.wait_for_function("document.images[0].complete")
    size = page.evaluate("[document.images[0].naturalWidth, document.images[0].naturalHeight]")
    page.close()
    assert list(picture_size(octets)) == size


def test_the_beginning_of_the_file_is_enough() -> None:
    # Source: the size stands before the first scan
    octets = jpeg((800, 600), tiff(6))
    assert picture_size(octets[: octets.index(b"\xff\xda") + 14]) == (600, 800)
    octets = png((800, 600))
    assert picture_size(octets[: octets.index(b"IDAT") + 4]) == (800, 600)


def frame(height: int, width: int, marker: int = 0xC0) -> bytes:
    return struct.pack(">BBHBHHB", 0xFF, marker, 11, 8, height, width, 1) + b"\1\x11\0"


SCAN = b"\xff\xda\0\x08\1\1\0\0\x3f\0"


def test_markers_of_a_jpeg_are_passed_over_as_they_are_written() -> None:
    # Source: ITU-T T.81, B.1.1.2 and B.2: fill octets, markers alone, tables; DHT, JPG and DAC are no frames
    begin = b"\xff\xd8"
    wrong = struct.pack(">HHBHHB", 0xFFC4, 11, 8, 1, 2, 1) + b"\1\x11\0"
    for before in (b"\xff\xff\xff", b"\xff\x01", b"\xff\xd0", wrong, wrong.replace(b"\xc4", b"\xc8"),
                   wrong.replace(b"\xc4", b"\xcc"), b"\xff\xfe\0\x06\xff\xc0\0\1"):  # fmt: skip
        assert picture_size(begin + before + frame(24, 40) + SCAN) == (40, 24)
    for marker in (0xC0, 0xC1, 0xC2, 0xC3, 0xC5, 0xC9, 0xCF):
        assert picture_size(begin + frame(24, 40, marker) + SCAN) == (40, 24)


IHDR = chunk(b"IHDR", struct.pack(">IIBBBBB", 40, 24, 8, 2, 0, 0, 0))
PNG = b"\x89PNG\r\n\x1a\n"
IDAT = chunk(b"IDAT", b"x")


@pytest.mark.parametrize(
    ("octets", "says"),
    [
        (b"", "neither a JPEG nor a PNG"),
        (b"GIF89a" + bytes(20), "neither a JPEG nor a PNG"),
        (b"RIFF\0\0\0\0WEBPVP8 " + bytes(20), "neither a JPEG nor a PNG"),
        (b"\0\0\0\x18ftypheic" + bytes(20), "neither a JPEG nor a PNG"),
        (b"<svg/>", "neither a JPEG nor a PNG"),
        (b"\xff\xd8", "neither a JPEG nor a PNG"),
        (PNG, "a PNG that is broken off"),
        (PNG + IHDR, "a PNG that is broken off"),
        (PNG + IHDR[:-6], "a PNG that is broken off"),
        (PNG + IDAT, "a PNG that is broken off"),
        (PNG + chunk(b"tEXt", b"a\0b") + IHDR + IDAT, "a PNG that is broken off"),
        (PNG + IHDR + IHDR + IDAT, "a PNG that is broken off"),
        (PNG + chunk(b"IHDR", bytes(12)) + IDAT, "a PNG that is broken off"),
        (PNG + chunk(b"IHDR", b"\xff" * 8 + bytes(5)) + IDAT, "a PNG that is broken off"),
        (PNG + chunk(b"IHDR", bytes(13)) + IDAT, "does not say its width and height"),
        (PNG + IHDR + b"\xff\xff\xff\xfftEXt", "a PNG that is broken off"),
        (b"\xff\xd8" + frame(24, 40), "a JPEG that is broken off"),
        (b"\xff\xd8" + SCAN, "a JPEG that is broken off"),
        (b"\xff\xd8" + frame(24, 40)[:9], "a JPEG that is broken off"),
        (b"\xff\xd8\xff\xc0\0\x05\0\0\0" + SCAN, "a JPEG that is broken off"),
        (b"\xff\xd8\xff\xe0\0\0" + frame(24, 40) + SCAN, "a JPEG that is broken off"),
        (b"\xff\xd8\xff\xd9" + frame(24, 40) + SCAN, "a JPEG that is broken off"),
        (b"\xff\xd8\xff\xd9\0\2" + frame(24, 40) + SCAN, "a JPEG that is broken off"),
        (b"\xff\xd8" + frame(24, 40) + b"\xff\xda\0\0", "a JPEG that is broken off"),
        (b"\xff\xd8\xff" + bytes(40), "a JPEG that is broken off"),
        (b"\xff\xd8" + frame(0, 40) + SCAN, "does not say its width and height"),
        (b"\xff\xd8" + b"\xff" * 1_000_000, "a JPEG that is broken off"),
    ],
)
def test_what_is_no_picture_is_refused_in_words(octets: bytes, says: str) -> None:
    # Source: the design: what is wrong, and what to do
    with pytest.raises(ValueError, match=f"{says}.* → .*JPEG or PNG"):
        picture_size(octets)


@examples(200, 20_000)
@given(st.sampled_from([jpeg(exif=tiff(6)), png(exif=tiff(6))]), st.data())
def test_any_damage_is_a_size_or_words(octets: bytes, data: st.DataObject) -> None:
    # Source: the design: no traceback ever reaches a person
    damaged = bytearray(octets[: data.draw(st.integers(0, len(octets)))])
    for _ in range(data.draw(st.integers(0, 5)) if damaged else 0):
        damaged[data.draw(st.integers(0, len(damaged) - 1))] = data.draw(st.integers(0, 255))
    try:
        said, size = "", picture_size(bytes(damaged))
    except ValueError as error:
        said, size = str(error), (1, 1)
    assert not said or " → " in said
    assert min(size) > 0
