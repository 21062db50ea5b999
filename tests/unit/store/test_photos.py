"""What is taken out of photos. Markers, tags and chunk names after CIPA DC-008 (Exif 2.32), TIFF 6.0,
ITU-T T.81 (JPEG), the PNG specification (W3C, third edition) and the WebP container specification.
"""

from __future__ import annotations

import struct
import zlib

import pytest

from saltloft.foundation.errors import InputError
from saltloft.store.photos import without_traces

# 48 deg 12' 30" N as three rationals: what a reader of the position would find.
LATITUDE = struct.pack(">6I", 48, 1, 12, 1, 30, 1)


def exif(orientation: int, order: str = ">") -> bytes:
    """IFD0 with Make, Orientation and the pointer (0x8825) to a GPS IFD with GPSLatitude (2)."""
    head = (b"MM" if order == ">" else b"II") + struct.pack(order + "HI", 42, 8)
    gps_at = 8 + 2 + 3 * 12 + 4
    fields = (
        struct.pack(order + "HHI4s", 0x010F, 2, 4, b"Ock\0"),
        struct.pack(order + "HHIHH", 0x0112, 3, 1, orientation, 0),
        struct.pack(order + "HHII", 0x8825, 4, 1, gps_at),
    )
    gps = struct.pack(order + "HHHIII", 1, 2, 5, 3, gps_at + 2 + 12 + 4, 0) + LATITUDE
    return head + struct.pack(order + "H", 3) + b"".join(fields) + bytes(4) + gps


def segment(marker: int, body: bytes) -> bytes:
    """A JPEG segment."""
    return b"\xff" + bytes([marker]) + struct.pack(">H", len(body) + 2) + body


JFIF = segment(0xE0, b"JFIF\0\x01\x02\0\0\x01\0\x01\0\0")
COLOURS = segment(0xE2, b"ICC_PROFILE\0\x01\x01some colours")
PICTURE = segment(0xDB, bytes(65)) + segment(0xDA, bytes(6)) + b"\x12\xff\x00\x34\xff\xd0\x56\xff\xd9"


def jpeg(*told: bytes) -> bytes:
    """A picture's container with segments before its tables."""
    return b"\xff\xd8" + JFIF + b"".join(told) + COLOURS + PICTURE


@pytest.mark.parametrize("order", [">", "<"])
def test_a_phones_photo_loses_its_place_and_keeps_its_pixels_and_what_is_up(order: str) -> None:
    """Exif, XMP, IPTC, comment and a second picture go; tables, scan and colours stay byte for byte."""
    xmp = segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x exif:GPSLatitude='48,12.5N'/>")
    second = segment(0xE2, b"MPF\0 pictures behind")
    photo = jpeg(
        segment(0xE1, b"Exif\0\0" + exif(6, order)),
        xmp, second, segment(0xED, b"Photoshop 3.0\0 place"), segment(0xFE, b"at home"),
    ) + jpeg(segment(0xE1, b"Exif\0\0" + exif(1)))  # fmt: skip
    clean = without_traces(photo)
    for gone in (LATITUDE, b"GPS", b"MPF", b"place", b"home", b"Ock", struct.pack(">H", 0x8825)):
        assert gone not in clean
    up = struct.pack(">HHIHH", 0x0112, 3, 1, 6, 0)
    assert clean.count(up) == 1
    assert clean.startswith(b"\xff\xd8" + JFIF + b"\xff\xe1")
    assert clean.endswith(COLOURS + PICTURE)
    assert without_traces(clean) == clean


def test_an_upright_photo_needs_no_exif() -> None:
    """Orientation 1, a broken Exif or none: nothing is left of it."""
    assert without_traces(jpeg(segment(0xE1, b"Exif\0\0" + exif(1)))) == jpeg()
    assert without_traces(jpeg(segment(0xE1, b"Exif\0\0MM\0*\0\0\xff\xff"))) == jpeg()
    assert without_traces(jpeg()) == jpeg()


def chunk(sort: bytes, body: bytes) -> bytes:
    """A PNG chunk with its sum."""
    return struct.pack(">I", len(body)) + sort + body + struct.pack(">I", zlib.crc32(sort + body))


def test_a_png_loses_exif_texts_and_time() -> None:
    """IHDR, IDAT and IEND stay; eXIf, tEXt, iTXt and tIME go, and so does what follows the end."""
    start = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
    rest = chunk(b"IDAT", zlib.compress(b"\0\x7f")) + chunk(b"IEND", b"")
    told = chunk(b"eXIf", exif(1)) + chunk(b"tEXt", b"Location\0home") + chunk(b"tIME", bytes(7))
    told += chunk(b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0GPS")
    assert without_traces(start + told + rest + b"more") == start + rest


def test_a_webp_loses_exif_and_xmp_and_says_so() -> None:
    """The chunks go, their two flags are cleared, the alpha flag (0x10) stays, and the size is right."""

    def part(sort: bytes, body: bytes) -> bytes:
        return sort + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)

    def whole(*parts: bytes) -> bytes:
        body = b"WEBP" + b"".join(parts)
        return b"RIFF" + struct.pack("<I", len(body)) + body

    pixels = part(b"VP8 ", b"odd")
    told = whole(
        part(b"VP8X", bytes([0x1C]) + bytes(9)), pixels, part(b"EXIF", exif(1)), part(b"XMP ", b"GPS")
    )
    assert without_traces(told) == whole(part(b"VP8X", bytes([0x10]) + bytes(9)), pixels)


@pytest.mark.parametrize(
    "film", [b"\0\0\0\x18ftypheic" + bytes(40), b"\0\0\0\x18ftypisom" + bytes(40), b"II*\0" + bytes(40)]
)
def test_what_cannot_be_cleaned_is_refused(film: bytes) -> None:
    """HEIC, films and TIFF: the words say what to do."""
    with pytest.raises(InputError, match="the place") as caught:
        without_traces(film)
    assert "JPEG" in caught.value.allowed


@pytest.mark.parametrize("length", [3, 30, 60, len(jpeg()) - 1])
def test_a_broken_photo_is_refused(length: int) -> None:
    """Cut off anywhere: refused, never kept half looked through."""
    with pytest.raises(InputError, match="broken"):
        without_traces(jpeg()[:length])


def test_other_files_stay_as_they_are() -> None:
    """A laboratory's report is kept byte for byte."""
    assert without_traces(b"%PDF-1.4 report") == b"%PDF-1.4 report"
    assert without_traces(b"") == b""
