"""Photos without what they tell beside the picture: where, when and with what they were taken.

A phone writes its position into every photo. Only what is needed to show the
picture stays: pixels, colours, and which way is up. Works on the container, so
the picture itself is not coded anew.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

from saltloft.foundation.errors import InputError

_PNG = b"\x89PNG\r\n\x1a\n"
# Kept of a JPEG: APP0 (JFIF), ICC colours in APP2, and Adobe's word on colours in APP14.
_KEPT_APP = {0xE0: b"", 0xE2: b"ICC_PROFILE\0", 0xEE: b"Adobe"}
_PNG_TELLING = (b"eXIf", b"tEXt", b"zTXt", b"iTXt", b"tIME")
_WEBP_TELLING = (b"EXIF", b"XMP ")
# Flags of the extended WebP header that say such chunks follow.
_WEBP_FLAGS = 0x08 | 0x04
_START, _END, _SCAN, _EXIF, _COMMENT = 0xD8, 0xD9, 0xDA, 0xE1, 0xFE
_ORIENTATION = 0x0112


def without_traces(content: bytes) -> bytes:
    """The same picture without place, time and device; what is no picture comes back as it is.

    Args:
        content: bytes. A whole file. JPEG, PNG and WebP are told by their first bytes.

    Raises:
        InputError: a broken picture, or one of a sort from which the position cannot be taken out
            (TIFF, HEIC, AVIF, films).
    """
    try:
        if content[:2] == b"\xff\xd8":
            return _jpeg(content)
        if content[:8] == _PNG:
            return _png(content)
        if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
            return _webp(content)
    except (struct.error, IndexError) as error:
        raise InputError("the picture is broken", do="take or export it again") from error
    if content[4:8] == b"ftyp" or content[:4] in (b"II*\0", b"MM\0*"):
        raise InputError(
            "such a picture or film may hold the place where it was taken",
            allowed="JPEG, PNG, WebP",
            do="export it as JPEG",
        )
    return content


def _jpeg(content: bytes) -> bytes:
    out, up = [b"\xff\xd8"], b""
    for marker, part in _segments(content):
        body = part[4:]
        if marker == _EXIF:
            up = up or _which_way_up(body)
        elif marker in _KEPT_APP:
            out += [part] if body.startswith(_KEPT_APP[marker]) else []
        elif marker != _COMMENT and not 0xE0 <= marker <= 0xEF:
            out.append(part)
    # After JFIF's own segment, which must come first.
    place = 2 if out[1:2] and out[1][1] == 0xE0 else 1
    return b"".join([*out[:place], up, *out[place:]])


def _segments(content: bytes) -> Iterator[tuple[int, bytes]]:
    """Every segment to the end of the first picture, a scan with its data; later pictures are left out."""
    at = 2
    while True:
        while content[at + 1] == 0xFF:
            at += 1
        if content[at] != 0xFF:
            raise IndexError(at)
        marker = content[at + 1]
        if marker == _END:
            yield marker, content[at : at + 2]
            return
        end = at + 2 + struct.unpack_from(">H", content, at + 2)[0]
        if marker == _SCAN:
            end = _after_scan(content, end)
        if end > len(content):
            raise IndexError(end)
        yield marker, content[at:end]
        at = end


def _after_scan(content: bytes, at: int) -> int:
    while True:
        at = content.find(b"\xff", at)
        if at < 0:
            raise IndexError
        if content[at + 1] != 0 and content[at + 1] != 0xFF and not 0xD0 <= content[at + 1] <= 0xD7:
            return at
        at += 1


def _which_way_up(body: bytes) -> bytes:
    """An Exif segment that holds the orientation alone; empty when none was told."""
    if not body.startswith(b"Exif\0\0"):
        return b""
    tiff = body[6:]
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2], "")
    if not order:
        return b""
    try:
        first = struct.unpack_from(order + "I", tiff, 4)[0]
        for number in range(struct.unpack_from(order + "H", tiff, first)[0]):
            tag, _, _, value = struct.unpack_from(order + "HHIH", tiff, first + 2 + 12 * number)
            if tag == _ORIENTATION and 2 <= value <= 8:
                field = struct.pack(">HHIHH", _ORIENTATION, 3, 1, value, 0)
                exif = b"Exif\0\0MM\0*" + struct.pack(">IH", 8, 1) + field + bytes(4)
                return b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif
    except struct.error:
        # What cannot be read tells nothing, and goes like the rest.
        return b""
    return b""


def _png(content: bytes) -> bytes:
    out, at = [_PNG], 8
    while True:
        length, sort = struct.unpack_from(">I4s", content, at)
        end = at + 12 + length
        if end > len(content) or zlib.crc32(content[at + 4 : end - 4]) != _number(content, end - 4):
            raise IndexError(end)
        if sort not in _PNG_TELLING:
            out.append(content[at:end])
        if sort == b"IEND":
            return b"".join(out)
        at = end


def _number(content: bytes, at: int) -> int:
    return int(struct.unpack_from(">I", content, at)[0])


def _webp(content: bytes) -> bytes:
    out, at = [], 12
    end_of_file = 8 + struct.unpack_from("<I", content, 4)[0]
    while at < end_of_file:
        sort, length = struct.unpack_from("<4sI", content, at)
        end = at + 8 + length + length % 2
        if end > len(content):
            raise IndexError(end)
        part = content[at:end]
        if sort == b"VP8X":
            part = part[:8] + bytes([part[8] & ~_WEBP_FLAGS & 0xFF]) + part[9:]
        if sort not in _WEBP_TELLING:
            out.append(part)
        at = end
    body = b"WEBP" + b"".join(out)
    return b"RIFF" + struct.pack("<I", len(body)) + body
