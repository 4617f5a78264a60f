"""The width and height of a JPEG or PNG from its header, without decoding it, as a browser shows it.

Sources: ITU-T T.81 (JPEG), B.1 and B.2; W3C, Portable Network Graphics (third edition), 5.2, 5.3 and 11.2.1; CIPA
DC-008 (Exif), 4.5 and 4.6 (clauses from memory); TIFF 6.0, section 2.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

_PNG = b"\x89PNG\r\n\x1a\n"
_EXIF = b"Exif\0\0"
_ORIENTATION, _SHORT = 0x0112, 3
_SIDEWAYS = range(5, 9)
"""Orientations of Exif in which width and height change places."""
_SOF = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
"""Markers of JPEG that begin a frame, and with it give its size."""
_ALONE = frozenset({0x01, *range(0xD0, 0xD9)})
"""Markers of JPEG that nothing belongs to."""
_SOS, _EOI, _APP1 = 0xDA, 0xD9, 0xE1
_REMEDY = "save it again as JPEG or PNG"


def picture_size(octets: bytes) -> tuple[int, int]:
    """The width and height of a picture in points, turned by its Exif orientation.

    Args:
        octets: the file, or as much of it as comes before its first points.

    Raises:
        ValueError: it is neither a JPEG nor a PNG, or is broken off or damaged before its size is known.
    """
    if octets.startswith(_PNG):
        width, height, exif = _png(octets)
    elif octets.startswith(b"\xff\xd8\xff"):
        width, height, exif = _jpeg(octets)
    else:
        raise ValueError(f"is neither a JPEG nor a PNG → {_REMEDY}")
    if not (width and height):
        raise ValueError(f"does not say its width and height → {_REMEDY}")
    return (height, width) if _orientation(exif) in _SIDEWAYS else (width, height)


def _broken(what: str) -> ValueError:
    return ValueError(f"is a {what} that is broken off or damaged → copy it again, or {_REMEDY}")


def _number(octets: bytes) -> int:
    return int.from_bytes(octets, "big")


# --- PNG ----------------------------------------------------------------------------------------------------------


def _png(octets: bytes) -> tuple[int, int, bytes]:
    """Width, height and Exif of a PNG; its Exif is read where it stands before the picture."""
    width = height = 0
    exif = b""
    for number, (kind, data) in enumerate(_chunks(octets)):
        if (kind == b"IHDR") != (number == 0) or (kind == b"IHDR" and len(data) != 13):
            break
        if kind == b"IHDR":
            width, height = _number(data[:4]), _number(data[4:8])
            if max(width, height) >= 1 << 31:
                break
        elif kind == b"eXIf":
            exif = exif or data
        elif kind == b"IDAT":
            return width, height, exif
    raise _broken("PNG")


def _chunks(octets: bytes) -> Iterator[tuple[bytes, bytes]]:
    """The chunks of a PNG up to its picture's first; of that one only the kind."""
    at = len(_PNG)
    while len(head := octets[at : at + 8]) == 8:
        length, kind = _number(head[:4]), head[4:]
        if kind == b"IDAT":
            yield kind, b""
            return
        yield kind, octets[at + 8 : at + 8 + length]
        at += 12 + length


# --- JPEG ---------------------------------------------------------------------------------------------------------


def _jpeg(octets: bytes) -> tuple[int, int, bytes]:
    """Width, height and Exif of a JPEG; the first Exif counts, and so does the first frame."""
    size: tuple[int, int] | None = None
    exif = b""
    for marker, data in _segments(octets):
        if marker in _SOF and size is None:
            if len(data) < 6:
                break
            size = _number(data[3:5]), _number(data[1:3])
        elif marker == _APP1 and data.startswith(_EXIF):
            exif = exif or data.removeprefix(_EXIF)
        elif marker == _SOS and size is not None:
            return *size, exif
    raise _broken("JPEG")


def _segments(octets: bytes) -> Iterator[tuple[int, bytes]]:
    """The segments of a JPEG with their markers, up to its first scan."""
    at = 2
    while at + 1 < len(octets) and octets[at] == 0xFF:
        marker = octets[at + 1]
        if marker == 0xFF:  # any number of them may stand before a marker
            at += 1
            continue
        at += 2
        if marker in _ALONE:
            continue
        length = _number(octets[at : at + 2])
        if marker in (0, _EOI) or length < 2 or at + length > len(octets):
            return
        yield marker, octets[at + 2 : at + length]
        if marker == _SOS:
            return
        at += length


# --- Exif ---------------------------------------------------------------------------------------------------------


def _orientation(exif: bytes) -> int:
    """The orientation of a TIFF header's first directory, as it is written there; 1 where it does not say one."""
    if exif[:4] not in (b"II*\0", b"MM\0*"):
        return 1

    def number(at: int, octets: int) -> int:
        return int.from_bytes(exif[at : at + octets], "little" if exif.startswith(b"II") else "big")

    first = number(4, 4) + 2
    entries = range(first, first + 12 * number(first - 2, 2) + 1, 12)
    for at, end in pairwise(entries):
        if end > len(exif):
            break
        if number(at, 2) == _ORIENTATION:
            return number(at + 8, 2) if (number(at + 2, 2), number(at + 4, 4)) == (_SHORT, 1) else 1
    return 1
