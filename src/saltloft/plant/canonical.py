"""Canonical bytes: the one way a payload is written down before it is hashed.

JSON with sorted keys, no blanks, text in Unicode normal form C, UTF-8; whole
numbers and text only, so that no reader can round what was measured.
"""

from __future__ import annotations

import json
import unicodedata
from typing import Any

from saltloft.foundation.errors import InputError


def canonical_bytes(value: object) -> bytes:
    """The canonical bytes of a plain value (objects, lists, text, whole numbers).

    Raises:
        InputError: for fractions, true/false/null, keys that collide after
            normalising, or text that is not valid Unicode.
    """
    plain = _normal(value)
    try:
        return json.dumps(plain, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode()
    except UnicodeEncodeError as error:
        raise InputError("the text holds half a character", got=repr(error.object)[:60]) from error


def read_canonical(body: bytes) -> Any:
    """The plain value behind canonical bytes.

    Raises:
        InputError: when the bytes are not exactly what `canonical_bytes` writes.
    """
    try:
        value = json.loads(body)
    except (ValueError, RecursionError) as error:
        raise InputError("the entry's bytes are not JSON", got=repr(body[:60])) from error
    if canonical_bytes(value) != body:
        raise InputError("the entry's bytes are not in canonical form", got=repr(body[:60]))
    return value


def refuse_nul(value: object) -> None:
    """Refuse text with a NUL character, which no person types and PostgreSQL cannot keep.

    Args:
        value: object. Plain values, as deep as they go.

    Raises:
        InputError: naming the text.
    """
    if isinstance(value, str) and "\0" in value:
        raise InputError(
            "the text holds a character that cannot be kept (NUL)",
            got=repr(value)[:60],
            do="take it out and send the entry again",
        )
    if isinstance(value, dict):
        for name, item in value.items():
            refuse_nul(name)
            refuse_nul(item)
    elif isinstance(value, list | tuple):
        for item in value:
            refuse_nul(item)


def _normal(value: object) -> Any:
    if isinstance(value, str):
        return unicodedata.normalize("NFC", value)
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    if isinstance(value, list | tuple):
        return [_normal(item) for item in value]
    if isinstance(value, dict):
        normal = {_key(name): _normal(item) for name, item in value.items()}
        if len(normal) != len(value):
            raise InputError("two keys are the same once normalised", got=repr(sorted(value))[:80])
        return normal
    raise InputError(
        "a journal entry holds text, whole numbers, lists and objects only",
        got=f"{type(value).__name__} {value!r}"[:80],
        do='write a measured number as text, such as "5.31"',
    )


def _key(name: object) -> str:
    if not isinstance(name, str):
        raise InputError("keys of a journal entry are text", got=repr(name))
    return unicodedata.normalize("NFC", name)
