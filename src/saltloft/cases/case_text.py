"""The text of a case file, refused by size before it is read, and the line of each of its keys."""

from __future__ import annotations

import re
import stat
import tomllib
from pathlib import Path

from saltloft.foundation.errors import InputError
from saltloft.foundation.words import say

LARGEST_BYTES = 1_000_000


def read_text(path: Path) -> str:
    """The text of a case file, refused by size before it is read.

    Raises:
        InputError: missing, a folder, over 1 MB, empty, or no UTF-8 text.
    """
    name = path.name or str(path)
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise InputError(say("{file} is a folder", file=name), allowed=say("a TOML file"), key="file")
        if status.st_size > LARGEST_BYTES:
            raise _too_large(name, f"{status.st_size} bytes")
        with path.open("rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise InputError(
            say("{file} cannot be read", file=name),
            got=str(error.strerror or error),
            allowed=say("a TOML file that exists"),
            key="file",
        ) from error
    if len(data) > LARGEST_BYTES:
        raise _too_large(name, say("more than {size} bytes", size=LARGEST_BYTES))
    if not data.strip():
        raise InputError(
            say("{file} is empty", file=name), allowed=say("a TOML file with [piece]"), key="file"
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _not_text(name, data, error.start) from error
    if "\x00" in text:
        raise _not_text(name, data, data.index(b"\x00"))
    return text


def _too_large(name: str, got: str) -> InputError:
    return InputError(
        say("{file} is too large for a case file and was not read", file=name),
        got=got,
        allowed=say("at most {size} bytes", size=LARGEST_BYTES),
        key="file",
    )


def _not_text(name: str, data: bytes, position: int) -> InputError:
    return InputError(
        say("{file} is not a text file", file=name),
        got=say("byte {byte} at position {position}", byte=f"0x{data[position]:02x}", position=position),
        allowed=say("UTF-8 text in TOML"),
        key="file",
        line=data.count(b"\n", 0, position) + 1,
    )


def not_toml(path: Path, text: str, error: tomllib.TOMLDecodeError) -> InputError:
    where = re.search(r"at line (\d+)", str(error))
    line = int(where.group(1)) if where else None
    written = text.splitlines()[line - 1] if line and line <= len(text.splitlines()) else ""
    comma = _DECIMAL_COMMA.search(written)
    return InputError(
        say("{file} is not TOML", file=path.name),
        got=str(error),
        allowed=say("lines such as: diameter_mm = 55"),
        key="file",
        do=say("write a decimal point: {number}", number=comma.group(1).replace(",", ".")) if comma else "",
        line=line,
    )


_DECIMAL_COMMA = re.compile(r"=\s*(-?\d+,\d+)")
_HEAD = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.\"' -]+?)\s*\]\]?\s*(#.*)?$")
_ASSIGN = re.compile(r"^\s*([A-Za-z0-9_\"'][A-Za-z0-9_.\"' -]*?)\s*=")


def lines_of_keys(text: str) -> dict[str, int]:
    """Line of every table head and key, by dotted name with list entries counted from 1.

    The standard parser gives no lines, so the heads and assignments are found again
    here; lines inside a multi-line string may add a name nobody asks for.
    """
    lines: dict[str, int] = {}
    counts: dict[str, int] = {}
    table = ""
    for number, line in enumerate(text.splitlines(), start=1):
        head = _HEAD.match(line)
        if head:
            name = head.group(2).replace('"', "").replace("'", "")
            if head.group(1) == "[[":
                counts[name] = counts.get(name, 0) + 1
                table = f"{name}[{counts[name]}]"
            else:
                table = name
            lines.setdefault(name, number)
            lines.setdefault(table, number)
            continue
        assign = _ASSIGN.match(line)
        if assign:
            key = assign.group(1).strip().replace('"', "").replace("'", "")
            dotted = f"{table}.{key}" if table else key
            lines.setdefault(dotted, number)
            lines.setdefault(dotted.split(".", maxsplit=1)[0], number)
    return lines
