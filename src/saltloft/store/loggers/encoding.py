"""Which text encoding a file has, and its lines in pieces that fit memory."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import dataclass

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say

PIECE_BYTES = 2_000_000
_SAMPLE = 65_536
_LONGEST_LINE = 20_000
# Bytes of a text file outside tab, line feed, form feed, carriage return and escape.
_CONTROL = bytes(byte for byte in range(32) if byte not in (9, 10, 11, 12, 13, 26, 27))


@dataclass(frozen=True)
class TextForm:
    """How the bytes are to be read as text.

    Args:
        codec: str. Python's name of the encoding.
        skip: int. Length of the byte mark at the start. [bytes]
        words: str. For people.
    """

    codec: str
    skip: int
    words: str


def sniff(data: bytes) -> TextForm:
    """Decide the encoding from the byte mark, else from the whole file's bytes.

    Args:
        data: bytes. The file.

    Raises:
        InputError: empty, or not text.
    """
    if not data[:_SAMPLE].strip(b"\x00 \t\r\n\xef\xbb\xbf\xff\xfe"):
        raise InputError(
            say("the file is empty"), allowed=say("a logger's table as text"), do=say("export it again")
        )
    if data.startswith(codecs.BOM_UTF8):
        return TextForm("utf-8", 3, "UTF-8")
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return TextForm("utf-16-le" if data.startswith(codecs.BOM_UTF16_LE) else "utf-16-be", 2, "UTF-16")
    sample = data[:_SAMPLE]
    nul_even, nul_odd = sample[0::2].count(0), sample[1::2].count(0)
    half = max(1, len(sample) // 2)
    if max(nul_even, nul_odd) > 0.6 * half and min(nul_even, nul_odd) < 0.1 * half:
        return TextForm("utf-16-le" if nul_odd > nul_even else "utf-16-be", 0, "UTF-16")
    _refuse_binary(sample)
    return _eight_bit(data)


def _refuse_binary(sample: bytes) -> None:
    odd = len(sample) - len(sample.translate(None, _CONTROL))
    if odd > max(4, 0.01 * len(sample)):
        raise InputError(
            say("the file is not text"),
            got=say("{share} per cent control bytes", share=round(100 * odd / len(sample))),
            allowed=say("a table as text: CSV, tab or semicolon, UTF-8, UTF-16 or CP1252"),
            do=say("export it from the logger's program as CSV"),
        )


def _eight_bit(data: bytes) -> TextForm:
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for start in range(0, len(data), PIECE_BYTES):
            piece = data[start : start + PIECE_BYTES]
            if not piece.isascii() or decoder.getstate()[0]:
                decoder.decode(piece)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        # A classic Macintosh export has its degree sign at 0xA1; CP1252 has it at 0xB0.
        if data.count(b"\xa1C") + data.count(b"\xa1F") > data.count(b"\xb0C") + data.count(b"\xb0F"):
            return TextForm("mac-roman", 0, "MacRoman")
        return TextForm("cp1252", 0, "CP1252")
    return TextForm("utf-8", 0, "UTF-8")


def lines_in_pieces(data: bytes, form: TextForm) -> Iterator[list[str]]:
    """The file's lines without their ends, a few megabytes at a time.

    Args:
        data: bytes. The file.
        form: TextForm. From `sniff`.

    Raises:
        InputError: when a line is longer than a table's row can be.
    """
    decoder = codecs.getincrementaldecoder(form.codec)(errors="replace")
    rest = ""
    ended_cr = False
    for start in range(form.skip, len(data), PIECE_BYTES):
        last = start + PIECE_BYTES >= len(data)
        text = decoder.decode(data[start : start + PIECE_BYTES], final=last)
        if ended_cr and text.startswith("\n"):
            text = text[1:]
        ended_cr = text.endswith("\r")
        if "\r" in text:
            text = text.replace("\r\n", "\n").replace("\r", "\n")
        if "\x00" in text:
            text = text.replace("\x00", "")
        lines = (rest + text).split("\n")
        rest = lines.pop()
        if len(rest) > _LONGEST_LINE:
            raise InputError(
                say("a line is longer than a table's row can be"),
                allowed=say("rows of at most {most} characters", most=_LONGEST_LINE),
                do=say("export it from the logger's program as CSV"),
            )
        yield lines
    if rest:
        yield [rest]
