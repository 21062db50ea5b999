"""Arrays and plain values as bytes that any program may read: nothing in them can be run.

A line of JSON says what follows, with a checksum; then the arrays, one after the other.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

Arrays = dict[str, NDArray[Any]]


def pack(told: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> bytes:
    """Written down; the same gives the same bytes.

    Args:
        told: mapping of str to plain values of JSON.
        arrays: mapping of str to arrays of numbers. [any unit]
    """
    parts = [np.ascontiguousarray(value).tobytes() for value in arrays.values()]
    body = b"".join(parts)
    shapes = [[name, value.dtype.str, value.shape] for name, value in arrays.items()]
    head = {"told": dict(told), "arrays": shapes, "crc32": zlib.crc32(body)}
    return json.dumps(head, sort_keys=True).encode() + b"\n" + body


def unpack(packed: bytes) -> tuple[dict[str, Any], Arrays]:
    """What was packed.

    Raises:
        ValueError, KeyError, TypeError: bytes that are not whole or were never packed.
    """
    line, _, body = packed.partition(b"\n")
    head = json.loads(line)
    if zlib.crc32(body) != head["crc32"]:
        raise ValueError("the checksum differs")
    arrays, at = {}, 0
    for name, kind, shape in head["arrays"]:
        size = int(np.prod(shape, dtype=np.int64)) * np.dtype(kind).itemsize
        # A copy: arrays that may be written are what compiled code was made for.
        arrays[name] = np.frombuffer(body[at : at + size], dtype=kind).reshape(shape).copy()
        at += size
    return head["told"], arrays
